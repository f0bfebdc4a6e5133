"""The ``[login]`` table of ``config/workspace.toml``: who may do what when several people use one installation.

Secrets are not part of it: what the identity provider gave in confidence stands in a file outside the workspace.

::

    [login]
    enabled = true
    provider = "default"     # the table [auth] of the secrets file; another name means [auth.NAME]
    public = "reader"        # people who have not logged in: "nobody" or "reader"
    unknown = "nobody"       # people who have, but are not named below: "nobody", "reader" or "volunteer"

    [[login.person]]
    email = "manager@lakes.example"
    role = "manager"

    [[login.person]]
    email = "volunteer@lakes.example"
    role = "volunteer"
    waters = ["north-bay"]   # may add there only; leave it out for all

    [[login.claim]]          # roles the provider keeps, for instance as groups
    name = "groups"
    value = "lake-crew"
    role = "reviewer"
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator

from fathomlight.errors import ConfigError

__all__ = ["ClaimRow", "LoginTable", "PersonRow", "fold_email"]


def fold_email(email: str) -> str:
    r"""Return an address as it is compared: without blanks around it; small letters when it is plain ASCII.

    Other letters stay as they are, because some of them turn into ASCII when made small.

    Examples
    --------
    >>> fold_email(" Ana@Lakes.Example "), fold_email("\u212aim@lakes.example") == "kim@lakes.example"
    ('ana@lakes.example', False)
    """
    bare = email.strip()
    return bare.lower() if bare.isascii() else bare


def _email(value: str) -> str:
    name, at, place = value.strip().rpartition("@")
    if not (name and at and place) or any(c.isspace() for c in value.strip()):
        raise ValueError("an e-mail address, such as name@lakes.example")
    return fold_email(value)


class _Row(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    role: Literal["reader", "volunteer", "reviewer", "manager"]
    waters: tuple[str, ...] | None = None


class PersonRow(_Row):
    """One person by e-mail address: role, and the waters in which it holds (all when left out)."""

    email: Annotated[str, AfterValidator(_email)]


class ClaimRow(_Row):
    """Everybody of whom the provider says that claim `name` is, or holds, `value`."""

    name: str = Field(min_length=1)
    value: str = Field(min_length=1)


class LoginTable(BaseModel):
    """Whether people log in, and what each of them may do.

    Attributes
    ----------
    enabled : bool
        False: one person, on one machine, who may do everything.
    provider : str
        Table of the secrets file that describes the identity provider: ``default`` is ``[auth]`` itself.
    public : {"nobody", "reader"}
        What people may do who have not logged in.
    unknown : {"nobody", "reader", "volunteer"}
        What people may do who have logged in and are not named.
    person, claim : tuple
        :class:`PersonRow` and :class:`ClaimRow`; a person named by address is never looked up by claim.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    enabled: bool = False
    provider: str = Field(default="default", pattern=r"^[A-Za-z][A-Za-z0-9-]*$")
    public: Literal["nobody", "reader"] = "nobody"
    unknown: Literal["nobody", "reader", "volunteer"] = "nobody"
    person: tuple[PersonRow, ...] = ()
    claim: tuple[ClaimRow, ...] = ()

    @model_validator(mode="after")
    def _consistent(self) -> LoginTable:
        emails = [p.email for p in self.person]
        twice = sorted({e for e in emails if emails.count(e) > 1})
        if twice:
            raise ValueError(f"each address once; more than once: {', '.join(twice)}")
        if self.enabled and not self.person and not self.claim and self.unknown == "nobody":
            raise ValueError("somebody who may log in: a [[login.person]] or a [[login.claim]]")
        return self

    def check_waters(self, known: Iterable[str], where: str = "workspace.toml") -> None:
        """Refuse waters that the workspace does not have.

        Raises
        ------
        fathomlight.errors.ConfigError
            Names the row.
        """
        waters = set(known)
        rows = [(f"person[{i}]", p) for i, p in enumerate(self.person)]
        for name, row in [*rows, *((f"claim[{i}]", c) for i, c in enumerate(self.claim))]:
            stray = sorted(set(row.waters or ()) - waters)
            if stray:
                raise ConfigError(
                    "waters: an unknown name",
                    where=f"{where}: login.{name}.waters",
                    got=stray,
                    expected=f"some of {sorted(waters)}",
                )
