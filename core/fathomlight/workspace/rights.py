"""Who may do what. Rights are checked here, in the workspace, whatever a page shows or hides."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

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
