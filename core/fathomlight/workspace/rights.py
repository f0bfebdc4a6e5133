"""Who may do what. Rights are checked here, in the workspace, whatever a page shows or hides."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from fathomlight.config_login import ClaimRow, LoginTable, PersonRow, fold_email
from fathomlight.errors import ArgumentError, NotAllowedError

Role = Literal["reader", "volunteer", "reviewer", "manager"]

ROLES: tuple[Role, ...] = ("reader", "volunteer", "reviewer", "manager")
"""From the fewest rights to the most; whoever has one has all before it."""

MAY: dict[Role, str] = {
    "reader": "look",
    "volunteer": "add readings",
    "reviewer": "set flags, mark episodes as seen, withdraw and restore batches",
    "manager": "everything",
}
"""What each role adds to the one before."""


@dataclass(frozen=True, slots=True)
class Rights:
    """What a person may do in a workspace.

    Attributes
    ----------
    role : {"reader", "volunteer", "reviewer", "manager"}
        See :data:`MAY`.
    waters : frozenset of str or None
        Waters in which anything may be added or changed; None means all. Looking is never limited.
    """

    role: Role = "manager"
    waters: frozenset[str] | None = None

    def __post_init__(self) -> None:
        if self.role not in ROLES:
            raise ArgumentError("role", "there is no such role", got=self.role, expected=", ".join(ROLES))

    def has(self, least: Role) -> bool:
        """Return whether these rights hold a role."""
        return ROLES.index(self.role) >= ROLES.index(least)

    def require(self, least: Role, doing: str, waters: Iterable[str] = ()) -> None:
        """Refuse what these rights do not hold.

        Parameters
        ----------
        least : Role
            Least role that may do it.
        doing : str
            What is being done, for the message.
        waters : iterable of str
            Waters it touches.

        Raises
        ------
        fathomlight.errors.NotAllowedError
            The role is too low, or a water is not among one's own.
        """
        if not self.has(least):
            raise NotAllowedError(
                f"{doing} is not allowed", got=f"the role {self.role}", expected=f"the role {least} or more",
                fix="Ask a manager of this workspace.",
            )  # fmt: skip
        if self.waters is not None:
            foreign = sorted(set(waters) - self.waters)
            if foreign:
                raise NotAllowedError(
                    f"{doing} is not allowed in these waters", got=", ".join(foreign),
                    expected=f"one of {', '.join(sorted(self.waters)) or 'none'}",
                    fix="Ask a manager of this workspace.",
                )  # fmt: skip


EVERYTHING = Rights()
"""The one person of a workspace without login."""


Problem = Literal["", "expired", "unverified", "unknown"]


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody at a page, as the workspace sees them.

    Attributes
    ----------
    actor : str
        E-mail address; empty for people who have not logged in, or whose login does not count.
    rights : Rights or None
        What they may do; None: not even look.
    problem : {"", "expired", "unverified", "unknown"}
        Why a login does not count or gives no more: the token has run out (or does not say until when it is
        good), the provider has not verified the address, the address is not named in ``workspace.toml``.
    """

    actor: str
    rights: Rights | None
    problem: Problem = ""


def person_of(login: LoginTable, claims: Mapping[str, Any] | None, now: float) -> Person:
    """Say who somebody is and what they may do.

    Parameters
    ----------
    login : LoginTable
        The ``[login]`` table.
    claims : mapping or None
        Claims of the identity token, its signature, issuer and audience already verified (OpenID Connect Core
        1.0, sections 2 and 5.1); None for people who have not logged in.
    now : float
        Seconds since 1970.

    Returns
    -------
    Person
        People whose login does not count may do what the public may.

    Examples
    --------
    >>> table = LoginTable(enabled=True, person=[{"email": "a@lakes.example", "role": "reviewer"}])
    >>> claims = {"email": "A@lakes.example", "email_verified": True, "exp": 1000}
    >>> person_of(table, claims, now=999).rights.role, person_of(table, claims, now=1000).problem
    ('reviewer', 'expired')
    """
    public = _rights_of(login.public)
    if claims is None:
        return Person("", public)
    until = claims.get("exp")
    if isinstance(until, bool) or not isinstance(until, int | float) or not now < until:
        return Person("", public, "expired")
    email, verified = claims.get("email"), claims.get("email_verified")
    if not (isinstance(email, str) and "@" in email and (verified is True or verified == "true")):
        return Person("", public, "unverified")
    actor = fold_email(email)
    for person in login.person:
        if person.email == actor:
            return Person(actor, _row_rights([person]))
    found = [row for row in login.claim if _claims_hold(claims, row)]
    if found:
        return Person(actor, _row_rights(found))
    unknown = _rights_of(login.unknown) or public
    return Person(actor, unknown, "unknown")


def _rights_of(role: Literal["nobody", "reader", "volunteer"]) -> Rights | None:
    return None if role == "nobody" else Rights(role)


def _claims_hold(claims: Mapping[str, Any], row: ClaimRow) -> bool:
    held = claims.get(row.name)
    return row.value in held if isinstance(held, list | tuple) else held == row.value


def _row_rights(rows: list[PersonRow] | list[ClaimRow]) -> Rights:
    """Return the highest role; its waters are those of all rows that give it."""
    highest = max((row.role for row in rows), key=ROLES.index)
    waters = [row.waters for row in rows if row.role == highest]
    return Rights(highest, None if None in waters else frozenset(w for ws in waters for w in ws or ()))
