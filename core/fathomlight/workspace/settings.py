"""The settings of a workspace, for its manager: look at them, try a change, save it, put an earlier version back.

Comments in the files stay, since it is their text that is changed. A change is tried on a copy of the whole
configuration, put in place whole, kept with its predecessor, and written into the audit trail.
"""

from __future__ import annotations

import datetime as dt
import tomllib
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from fathomlight.config import Config, load_config
from fathomlight.configfile import load_toml
from fathomlight.errors import ArgumentError, FathomlightError, NotAllowedError, StoreBusyError
from fathomlight.ingest import Recipe
from fathomlight.model import Result
from fathomlight.workspace.base import Base
from fathomlight.workspace.settings_check import (
    Problem,
    SettingsCheck,
    consequences,
    difference,
    problem_of,
    recipe_notes,
    refuse_other_units,
    try_config,
)
from fathomlight.workspace.settings_files import (
    ABOUT,
    SettingsFile,
    SettingsText,
    encode,
    path_of,
    read_text,
    settings_names,
)
from fathomlight.workspace.settings_guard import guard_text, holds_secret
from fathomlight.workspace.settings_keep import (
    HISTORY,
    history_of,
    keep,
    locked,
    put,
    version_path,
    version_time,
)

__all__ = ["Problem", "Settings", "SettingsCheck", "SettingsFile", "SettingsSaved", "SettingsText"]

_LOOKING = "looking at the settings files"
_CHANGING = "changing the settings"
VERSION_COLUMNS = ("version", "replaced", "who", "why")
IN_FORCE = (
    "It is in force at the next click in every process of the pages that reads this folder; other programs that hold "
    "the workspace open see it when they open it again."
)


@dataclass(frozen=True, kw_only=True)
class SettingsSaved(Result):
    """What saving a settings file did.

    Attributes
    ----------
    name : str
        Of the file.
    version : str
        The earlier version that was kept; empty when there was none.
    n_added, n_removed : int
        Lines put in and taken out.
    notes : tuple of str
        What follows from it.
    sentence : str
        The same in a sentence.
    """

    name: str
    version: str
    n_added: int
    n_removed: int
    notes: tuple[str, ...]
    sentence: str


class Settings(Base):
    """The files of ``config/``; everything here takes the role manager."""

    def settings_files(self) -> list[SettingsFile]:
        """Return the files that a manager may change here, in the order in which they are offered.

        Raises
        ------
        fathomlight.errors.NotAllowedError
            The person at work is no manager.
        """
        self.require("manager", _LOOKING)
        out = []
        for name in settings_names(self._config_folder):
            about = ABOUT.get(name) or self._recipe_about(name)
            why = ""
            try:
                there = bool(read_text(self._config_folder, name).mark)
            except FathomlightError as error:
                there, why = True, error.what
            out.append(SettingsFile(name=name, about=about, there=there, editable=not why, why_not=why))
        return out

    def settings_text(self, name: str) -> SettingsText:
        """Return the text of one file.

        Parameters
        ----------
        name : str
            One of :meth:`settings_files`.

        Raises
        ------
        fathomlight.errors.NotAllowedError
            The person at work is no manager; the file holds a secret; it is a link.
        fathomlight.errors.NotFoundError
            No such file.
        fathomlight.errors.ConfigError
            Too large, or not UTF-8.
        """
        self.require("manager", _LOOKING)
        return read_text(self._config_folder, name)

    def check_settings(self, name: str, text: str) -> SettingsCheck:
        """Say what a change of a settings file would do; nothing is changed.

        Parameters
        ----------
        name : str
            One of :meth:`settings_files`.
        text : str
            What the file would say.

        Returns
        -------
        SettingsCheck
            Whether it can be saved, what is in the way, what follows, and the difference. The tables ``[login]``
            and ``[store]`` cannot be changed here, nor a path to outside ``data/``, nor an address with a secret.

        Raises
        ------
        fathomlight.errors.NotAllowedError, fathomlight.errors.NotFoundError, fathomlight.errors.ConfigError
            As :meth:`settings_text`.
        """
        self._may_change()
        before = read_text(self._config_folder, name)
        lines, n_added, n_removed = difference(before.text, text, name)
        problems: tuple[Problem, ...] = ()
        notes: tuple[str, ...] = ()
        try:
            guard_text(self.root, name, text, before.text)
            notes = tuple(self._consequences(name, text, try_config(self.root, name, text)))
        except FathomlightError as error:
            problems = (problem_of(error),)
        changed = bool(problems) or self._would_be(name, text) != self._bytes(name)
        sentence = f"{name}: {_lines(n_added)} put in, {_lines(n_removed)} taken out."
        if problems:
            sentence = f"{name} cannot be saved like this: {problems[0].what}."
        elif not changed:
            sentence = f"{name} says what it says already."
        return SettingsCheck(
            name=name, ok=not problems, changed=changed, problems=problems, notes=notes, difference=lines,
            n_added=n_added, n_removed=n_removed, mark=before.mark, sentence=sentence,
        )  # fmt: skip

    def save_settings(self, name: str, text: str, why: str, *, mark: str) -> SettingsSaved:
        """Put another text into a settings file, whole, and keep the one before.

        Parameters
        ----------
        name, text : str
            Which file, and what it shall say.
        why : str
            Kept in the audit trail. Not empty.
        mark : str
            The mark of the text that was changed (:meth:`settings_text`): with another one on disk nothing is saved.

        Returns
        -------
        SettingsSaved
            What was done, and the earlier version that was kept.

        Raises
        ------
        fathomlight.errors.NotAllowedError
            The person at work is no manager of all waters, or the workspace was opened for reading only.
        fathomlight.errors.ConfigError
            The check found something in the way; nothing was changed.
        fathomlight.errors.StoreBusyError
            The file was changed on disk since it was opened; nothing was changed.
        fathomlight.errors.ArgumentError
            No reason, or nothing that would change.
        """
        return self._save(name, text, why, mark, {})

    def settings_versions(self, name: str) -> pd.DataFrame:
        """Return the earlier versions of a settings file, the newest first.

        Parameters
        ----------
        name : str
            One of :meth:`settings_files`.

        Returns
        -------
        pandas.DataFrame
            ``version`` (its name), ``replaced`` (instant, UTC), ``who`` replaced it, and ``why``.
        """
        self.require("manager", _LOOKING)
        path_of(self._config_folder, name)
        versions = history_of(self.root, name)
        log = self.store.audit_log(action="settings", limit=100_000) if versions else pd.DataFrame()
        told = {
            d.get("kept"): (w, d.get("why", ""))
            for w, d in (zip(log["who"], log["detail"], strict=True) if len(log) else ())
            if isinstance(d, dict) and d.get("file") == name
        }
        rows = [(v, version_time(v), *told.get(v, ("", ""))) for v in versions]
        table = pd.DataFrame(rows, columns=list(VERSION_COLUMNS))
        table["replaced"] = pd.to_datetime(table["replaced"], utc=True)
        return table.astype({"version": "str", "who": "str", "why": "str"})

    def settings_version(self, name: str, version: str) -> str:
        """Return the text of an earlier version.

        Parameters
        ----------
        name, version : str
            As :meth:`settings_versions`.
        """
        self.require("manager", _LOOKING)
        path_of(self._config_folder, name)
        raw = version_path(self.root, name, version).read_bytes()
        text = raw.decode("utf-8-sig").replace("\r\n", "\n").replace("\r", "\n")
        if holds_secret(name, text):
            raise NotAllowedError(
                "this earlier version holds a password, token or key, and is not shown", where=name
            )
        return text

    def restore_settings(self, name: str, version: str, why: str) -> SettingsSaved:
        """Put an earlier version of a settings file back; the one it replaces is kept in turn.

        Parameters
        ----------
        name, version : str
            As :meth:`settings_versions`.
        why : str
            Kept in the audit trail.

        Returns
        -------
        SettingsSaved
            As :meth:`save_settings`, whose errors apply: an old version must fit what the other files say now.
        """
        self._may_change()
        mark = read_text(self._config_folder, name).mark
        text = self.settings_version(name, version)
        return self._save(
            name, text, why, mark, {"how": f"the version replaced {version[:10]}", "version": version}
        )

    # -- inside ---------------------------------------------------------------------------------------------

    @property
    def _config_folder(self) -> Path:
        return self.root / "config"

    def _would_be(self, name: str, text: str) -> bytes:
        return encode(self._config_folder / name, text)

    def _bytes(self, name: str) -> bytes:
        path = self._config_folder / name
        return path.read_bytes() if path.is_file() else b""

    def _may_change(self) -> None:
        self.require("manager", _CHANGING, self.waters)

    def _recipe_about(self, name: str) -> str:
        known = {f"recipes/{r.name}.toml": r.description for r in self.recipes.values()}
        return known.get(name) or "a recipe: how the columns of a file become readings"

    def _consequences(self, name: str, text: str, new: Config) -> list[str]:
        old = load_config(self.root)
        counts = self.store.counts()
        refuse_other_units(old, new, counts)
        episodes = self.store.episodes(state=["open", "seen"])
        notes = consequences(name, old, new, counts, episodes)
        if name in ("stations.csv", "parameters.toml"):
            folder = self._config_folder / "recipes"
            notes += recipe_notes([load_toml(p, Recipe) for p in sorted(folder.glob("*.toml"))], old, new)
        elif name.startswith("recipes/"):
            notes += recipe_notes([Recipe.model_validate(tomllib.loads(text))], None, new)
        return notes

    def _save(self, name: str, text: str, why: str, mark: str, more: dict[str, str]) -> SettingsSaved:
        self._may_change()
        if self.store.read_only:
            raise NotAllowedError(
                f"{_CHANGING} is not allowed", got="a workspace opened for reading only",
                fix="Open it with read_only=False.",
            )  # fmt: skip
        why = why.strip()
        if not why:
            raise ArgumentError("why", "a change of the settings needs a reason", fix="Say why; it is kept.")
        with locked(self.root):
            done = self.check_settings(name, text)  # once more: nobody else changes a file from here on
            if done.mark != mark:
                raise StoreBusyError(
                    "the file was changed on disk since it was opened; nothing was saved", where=name,
                    fix="Keep a copy of your text, open the file again, and make the change anew.",
                )  # fmt: skip
            if done.problems:
                raise done.problems[0].as_error()
            if not done.changed:
                raise ArgumentError("text", "the file says this already; nothing was saved", got=name)
            version = keep(self.root, name, dt.datetime.now(dt.UTC))
            counted = {"added": done.n_added, "removed": done.n_removed}
            self.audit("settings", {"file": name, "why": why, "kept": version, **counted, **more})
            path = self._config_folder / name
            try:
                put(path, self._would_be(name, text), self.root / HISTORY)
            except OSError as error:
                self.audit(
                    "settings", {"file": name, "why": "could not be written", "how": "nothing was changed"}
                )
                raise error
        return SettingsSaved(
            name=name, version=version, n_added=done.n_added, n_removed=done.n_removed, notes=done.notes,
            sentence=f"{name} is saved: {_lines(done.n_added)} put in, {_lines(done.n_removed)} taken out. {IN_FORCE}",
        )  # fmt: skip


def _lines(n: int) -> str:
    return f"{n} line{'' if n == 1 else 's'}"
