"""The files of ``config/`` that a manager may change through the workspace: which, where, and what stands in them.

Only the files named here, and recipes that are there, can be reached; never a path, a link, or a file that holds a
secret.
"""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from pathlib import Path

from fathomlight.errors import ConfigError, NotAllowedError, NotFoundError
from fathomlight.model import Result
from fathomlight.workspace.settings_guard import MOST_BYTES, holds_secret

__all__ = [
    "ABOUT",
    "SettingsFile",
    "SettingsText",
    "encode",
    "path_of",
    "read_text",
    "settings_names",
]

ABOUT: dict[str, str] = {
    "workspace.toml": "name, units, the day taken as today; login and store are read here and changed elsewhere",
    "waters.toml": "lakes, bays, reservoirs and river reaches",
    "stations.csv": "the stations, one a row: water, place, time zone, schedule, other names",
    "parameters.toml": "what is measured, its unit, and the quality tests",
    "seasons.toml": "seasons, growing season, open water, how a reading is held against its past",
    "species.toml": "light and temperature bands of sight-feeding fish",
    "alerts.toml": "the rules that ask for attention",
    "notices.toml": "where notices of new episodes go",
}
"""What each file holds, in the order in which they are offered."""

OPTIONAL = frozenset({"species.toml", "alerts.toml", "notices.toml"})
"""Files a workspace may do without; they can be begun here."""

_RECIPE = re.compile(r"recipes/[A-Za-z0-9][A-Za-z0-9_-]{0,80}\.toml")


@dataclass(frozen=True, kw_only=True)
class SettingsFile(Result):
    """One file of ``config/``.

    Attributes
    ----------
    name : str
        As it is asked for: ``alerts.toml``, ``recipes/volunteer.toml``.
    about : str
        What it holds.
    there : bool
        False for a file that the workspace does without.
    editable : bool
        Whether it can be opened here.
    why_not : str
        Why it cannot.
    """

    name: str
    about: str
    there: bool
    editable: bool
    why_not: str = ""


@dataclass(frozen=True, kw_only=True)
class SettingsText(Result):
    """The text of one file, and the mark by which a later change on disk is noticed.

    Attributes
    ----------
    name : str
        Of the file.
    text : str
        With plain line feeds and without byte order mark; both are put back when it is saved.
    mark : str
        SHA-256 of the bytes on disk, in hexadecimal; empty for a file that is not there.
    """

    name: str
    text: str
    mark: str


def settings_names(config: Path) -> list[str]:
    """Return the names that can be asked for, in order: the known files, then the recipes that are there."""
    recipes = sorted(f"recipes/{p.name}" for p in (config / "recipes").glob("*.toml"))
    return [n for n in ABOUT if (config / n).is_file() or n in OPTIONAL] + [
        n for n in recipes if _RECIPE.fullmatch(n)
    ]


def path_of(config: Path, name: str) -> Path:
    """Return the file of a name.

    Raises
    ------
    fathomlight.errors.NotFoundError
        Not one of :func:`settings_names`; paths are never taken.
    fathomlight.errors.NotAllowedError
        It is a link, and so may lie elsewhere.
    """
    names = settings_names(config)
    if name not in names:
        raise NotFoundError(
            "there is no settings file of this name", got=name, expected=f"one of {', '.join(names)}"
        )
    path = config.resolve() / name
    if path.resolve() != path:
        raise NotAllowedError(
            "this settings file is a link and cannot be changed here", where=name,
            fix="Change it on the server, where it points to.",
        )  # fmt: skip
    return path


def read_text(config: Path, name: str) -> SettingsText:
    """Read one file.

    Raises
    ------
    fathomlight.errors.NotFoundError, fathomlight.errors.NotAllowedError
        As :func:`path_of`; or the file holds a secret, which is never shown.
    fathomlight.errors.ConfigError
        Too large, or not UTF-8.
    """
    path = path_of(config, name)
    if not path.is_file():
        return SettingsText(name=name, text="", mark="")
    if path.stat().st_size > MOST_BYTES:
        raise ConfigError(
            "the file is too large to be changed here", where=name, got=f"{path.stat().st_size} bytes",
            expected=f"at most {MOST_BYTES}", fix="Change it on the server.",
        )  # fmt: skip
    raw = path.read_bytes()
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise ConfigError(
            "the file is not UTF-8 text", where=name, got=str(error), fix="Save it as UTF-8."
        ) from None
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    if holds_secret(name, text):
        raise NotAllowedError(
            "this settings file holds a password, token or key, and is not shown", where=name,
            expected="secrets in the environment, in ~/.pgpass or in the secrets file of the login",
            fix="Move the secret there on the server, change it (it has been in a file), then come back.",
        )  # fmt: skip
    return SettingsText(name=name, text=text, mark=hashlib.sha256(raw).hexdigest())


def encode(path: Path, text: str) -> bytes:
    """Return the bytes of a text, with line ends and byte order mark as the file on disk has them."""
    before = path.read_bytes() if path.is_file() else b""
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    if text and not text.endswith("\n"):
        text += "\n"
    if b"\r\n" in before:
        text = text.replace("\n", "\r\n")
    return (b"\xef\xbb\xbf" if before.startswith(b"\xef\xbb\xbf") else b"") + text.encode("utf-8")
