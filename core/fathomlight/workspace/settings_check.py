"""Try a change of a settings file: on a copy of the whole configuration, so that references between files count."""

from __future__ import annotations

import difflib
import shutil
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from fathomlight.config import Config, load_config
from fathomlight.config_notices import read_notices
from fathomlight.configfile import load_toml
from fathomlight.errors import ConfigError, FathomlightError
from fathomlight.ingest import Recipe, load_recipes
from fathomlight.model import Result
from fathomlight.workspace.settings_files import encode, settings_names

__all__ = ["Problem", "SettingsCheck", "difference", "try_config"]


@dataclass(frozen=True, kw_only=True)
class Problem(Result):
    """Why a change cannot be saved: what is wrong, where, what was found, what would be right, what to do."""

    what: str
    where: str
    got: str
    expected: str
    fix: str

    def as_error(self) -> ConfigError:
        """Return it as an error, for whatever shows errors."""
        return ConfigError(
            self.what, where=self.where or None, got=self.got or None, expected=self.expected or None,
            fix=self.fix or None,
        )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class SettingsCheck(Result):
    """What a change of a settings file would do.

    Attributes
    ----------
    name : str
        Of the file.
    ok : bool
        Whether it can be saved.
    changed : bool
        Whether it says anything else than the file on disk.
    problems : tuple of Problem
        What is in the way.
    notes : tuple of str
        What follows from it, for whoever decides.
    difference : str
        Lines taken out (-) and put in (+), in the unified form.
    n_added, n_removed : int
        How many lines.
    mark : str
        Of the file on disk it was compared with.
    sentence : str
        The same in a sentence.
    """

    name: str
    ok: bool
    changed: bool
    problems: tuple[Problem, ...]
    notes: tuple[str, ...]
    difference: str
    n_added: int
    n_removed: int
    mark: str
    sentence: str


def problem_of(error: FathomlightError) -> Problem:
    """Return an error as a problem."""
    return Problem(
        what=error.what,
        where=error.where or "",
        got="" if error.got is None else str(error.got),
        expected="" if error.expected is None else str(error.expected),
        fix=error.fix or "",
    )


def difference(before: str, after: str, name: str) -> tuple[str, int, int]:
    r"""Return the difference of two texts, and how many lines were put in and taken out.

    Examples
    --------
    >>> text, added, removed = difference("a\nb\n", "a\nc\n", "x.toml")
    >>> added, removed, text.splitlines()[-2:]
    (1, 1, ['-b', '+c'])
    """
    lines = list(
        difflib.unified_diff(
            before.splitlines(), after.splitlines(), f"{name} as it is", f"{name} as it would be",
            lineterm="",
        )
    )  # fmt: skip
    body = [line for line in lines[2:] if not line.startswith("@@")]
    added = sum(line.startswith("+") for line in body)
    return "\n".join(lines), added, sum(line.startswith("-") for line in body)


@contextmanager
def _copy(root: Path, name: str, text: str) -> Iterator[Path]:
    """Give a copy of ``config/`` in which one file says something else."""
    config = root / "config"
    with tempfile.TemporaryDirectory(prefix="fathomlight-settings-") as place:
        folder = Path(place)
        (folder / "recipes").mkdir()
        for other in settings_names(config):
            if (config / other).is_file() and other != name:
                shutil.copyfile(config / other, folder / other)
        (folder / name).write_bytes(encode(config / name, text))
        yield folder


def try_config(root: Path, name: str, text: str) -> Config:
    """Read the configuration as it would be with another text in one file.

    Parameters
    ----------
    root : pathlib.Path
        The workspace.
    name, text : str
        Which file, and what it would say.

    Returns
    -------
    Config
        Every reference between files is checked.

    Raises
    ------
    fathomlight.errors.ConfigError
        Names file and key.
    """
    try:
        with _copy(root, name, text) as folder:
            made = load_config(root, folder=folder)
            if name.startswith("recipes/"):
                load_toml(folder / name, Recipe)
                load_recipes(folder / "recipes")
            if name == "notices.toml":
                read_notices(folder / name)
            return made
    except RecursionError:
        raise ConfigError(
            "brackets stand too deep in each other", where=name, fix="Close them where they belong."
        ) from None
    except (ValueError, TypeError) as error:
        if isinstance(error, FathomlightError):
            raise
        raise ConfigError("the file cannot be read", where=name, got=str(error)) from None


def refuse_other_units(old: Config, new: Config, counts: pd.DataFrame) -> None:
    """Refuse to give another unit to numbers that are in the store.

    Raises
    ------
    fathomlight.errors.ConfigError
        Names the parameter.
    """
    held = set(counts["parameter"])
    for key, now in new.parameters.items():
        before = old.parameters.get(key)
        if before is not None and key in held and now.unit != before.unit:
            n = int(counts.loc[counts["parameter"] == key, "n"].sum())
            raise ConfigError(
                "the unit of a parameter that has readings cannot be changed", where=f"parameters.toml: {key}.unit",
                got=now.unit, expected=before.unit,
                fix=f"The {n} numbers in the store are in {before.unit}; put the unit back. What people see is chosen "
                "by units in workspace.toml.",
            )  # fmt: skip


def consequences(
    name: str, old: Config, new: Config, counts: pd.DataFrame, episodes: pd.DataFrame
) -> list[str]:
    """Say what a change would do to what is in the store.

    Parameters
    ----------
    name : str
        Of the file.
    old, new : Config
        As it is, and as it would be.
    counts : pandas.DataFrame
        Readings by station and parameter.
    episodes : pandas.DataFrame
        Episodes that are not over.

    Returns
    -------
    list of str
        For whoever decides; empty when nothing follows but what the file says.
    """
    notes = []
    for column, gone in (
        ("station", set(old.stations) - set(new.stations)),
        ("parameter", set(old.parameters) - set(new.parameters)),
    ):
        for key in sorted(gone):
            n = int(counts.loc[counts[column] == key, "n"].sum())
            if n:
                notes.append(
                    f"{key} is gone and has {_many(n, 'reading')}: they stay in the store, and no page shows them "
                    "until it is back."
                )
    for key in sorted(set(old.stations) & set(new.stations)):
        if old.stations[key].timezone != new.stations[key].timezone:
            notes.append(
                f"{key}: readings that are loaded keep the local dates of the time zone they were loaded with."
            )
    running = {r.id for r in new.rules if r.enabled}
    for rule, some in episodes.groupby("rule"):
        if str(rule) not in running:
            notes.append(
                f"{rule} no longer runs: {_many(len(some), 'episode')} of it would end when the "
                "rules are run."
            )
    if dict(old.quality) != dict(new.quality):
        notes.append(
            "Readings keep the flags they have until the quality tests are run again (fathomlight quality); what is "
            "loaded from now on is tested the new way."
        )
    if old.rules != new.rules:
        notes.append("The rules run after the next load, or by the button on the page Attention.")
    if name == "workspace.toml" and old.as_of != new.as_of:
        day = f"{new.as_of:%Y-%m-%d}" if new.as_of else "the day of the clock"
        notes.append(f"Every answer is worked out as of {day}.")
    return notes


def recipe_notes(recipes: Iterable[Recipe], old: Config | None, new: Config) -> list[str]:
    """Say which recipes speak of parameters or stations that are not there.

    Parameters
    ----------
    recipes : iterable of Recipe
        Which to look at.
    old : Config or None
        With it, only what was there and would be gone.
    new : Config
        As it would be.
    """
    notes = []
    for recipe in recipes:
        parameters = {v.parameter for v in recipe.values if v.parameter} - set(new.parameters)
        stations = {recipe.station.fixed} - {"", *new.stations}
        if old is not None:
            parameters, stations = parameters & set(old.parameters), stations & set(old.stations)
        stray = sorted(parameters | stations)
        if stray:
            notes.append(
                f"The recipe {recipe.name} names {', '.join(stray)}: there would be no such thing here."
            )
    return notes


def _many(n: int, word: str) -> str:
    return f"{n} {word}{'' if n == 1 else 's'}"
