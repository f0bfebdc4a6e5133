"""Who did what: the audit trail, as it is kept and in words."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from typing import Any

import pandas as pd

from fathomlight.errors import ArgumentError
from fathomlight.model import Flag
from fathomlight.workspace.base import Base
from fathomlight.workspace.rights import Role

__all__ = ["DEEDS", "TRAIL_COLUMNS", "Trail", "deed_words"]

DEEDS: dict[str, str] = {
    "load": "loaded a batch",
    "withdraw": "withdrew a batch",
    "restore": "put a batch back",
    "set aside": "set a refused row aside",
    "flag": "set a flag",
    "undo flag": "took back a flag",
    "seen": "marked an episode as seen",
    "recipe": "kept a recipe",
    "settings": "changed the settings",
    "login": "logged in",
    "logout": "logged out",
    "refused": "was refused",
}
"""What each action of the trail is called."""

TRAIL_COLUMNS = ("done", "who", "role", "action", "deed", "what", "why")
"""Columns of :meth:`Trail.trail`."""

_LEAST: Role = "reviewer"
_DOING = "reading the audit trail"


def deed_words(action: str) -> str:
    """Return what an action is called.

    Examples
    --------
    >>> deed_words("undo flag"), deed_words("something new")
    ('took back a flag', 'something new')
    """
    return DEEDS.get(action, action)


class Trail(Base):
    """The audit trail: reviewers and managers may read it."""

    def audit_log(
        self,
        *,
        who: str | None = None,
        action: str | Iterable[str] | None = None,
        start: dt.date | dt.datetime | str | None = None,
        end: dt.date | dt.datetime | str | None = None,
        limit: int = 1000,
    ) -> pd.DataFrame:
        """Return who did what, the newest first: ``id``, ``done``, ``who``, ``action``, ``detail``.

        Parameters
        ----------
        who : str, optional
            Only what this person did.
        action : str or iterable of str, optional
            Only these; see :data:`DEEDS`.
        start, end : date or time, optional
            First and last day (UTC), or first and last instant.
        limit : int
            At most so many.

        Returns
        -------
        pandas.DataFrame
            As it is kept.

        Raises
        ------
        fathomlight.errors.NotAllowedError
            The person at work is neither reviewer nor manager.
        fathomlight.errors.ArgumentError
            `start` lies after `end`.
        """
        self.rights.require(_LEAST, _DOING)
        first, last = _span(start, end)
        return self.store.audit_log(who=who, action=action, start=first, end=last, limit=limit)

    def audit_counts(
        self,
        *,
        start: dt.date | dt.datetime | str | None = None,
        end: dt.date | dt.datetime | str | None = None,
    ) -> dict[str, int]:
        """Return how often each action was done; parameters and errors as :meth:`audit_log`."""
        self.rights.require(_LEAST, _DOING)
        first, last = _span(start, end)
        return self.store.audit_counts(start=first, end=last)

    def trail(
        self,
        *,
        who: str | None = None,
        action: str | Iterable[str] | None = None,
        start: dt.date | dt.datetime | str | None = None,
        end: dt.date | dt.datetime | str | None = None,
        limit: int = 1000,
    ) -> pd.DataFrame:
        """Return the audit trail in words, the newest first.

        Parameters
        ----------
        who, action, start, end, limit
            As :meth:`audit_log`.

        Returns
        -------
        pandas.DataFrame
            ``done`` (instant, UTC), ``who`` (as it is kept; empty where one person works without login),
            ``role`` (where it was kept), ``action``, ``deed`` (the action in words), ``what`` (it was done
            to), ``why``.

        Raises
        ------
        fathomlight.errors.NotAllowedError, fathomlight.errors.ArgumentError
            As :meth:`audit_log`.
        """
        log = self.audit_log(who=who, action=action, start=start, end=end, limit=limit)
        details: list[Mapping[str, Any]] = [d if isinstance(d, Mapping) else {"": d} for d in log["detail"]]
        files = self._file_names(log["action"].tolist(), details)
        table = pd.DataFrame(
            {
                "done": log["done"],
                "who": log["who"],
                "role": [str(d.get("role", "")) for d in details],
                "action": log["action"],
                "deed": [deed_words(a) for a in log["action"]],
                "what": [self._what(a, d, files) for a, d in zip(log["action"], details, strict=True)],
                "why": [str(d.get("why") or d.get("note") or "") for d in details],
            },
            columns=list(TRAIL_COLUMNS),
        )
        return table.astype({name: "str" for name in TRAIL_COLUMNS if name != "done"})

    def _file_names(self, actions: list[str], details: list[Mapping[str, Any]]) -> dict[int, str]:
        """Return the files of the batches that are spoken of only by number."""
        if not any("batch" in d and a != "load" for a, d in zip(actions, details, strict=True)):
            return {}
        batches = self.store.batches()
        return {int(n): str(f) for n, f in zip(batches["batch"], batches["file"], strict=True)}

    def _what(self, action: str, detail: Mapping[str, Any], files: Mapping[int, str]) -> str:
        if action in ("flag", "undo flag"):
            return self._reading_words(detail)
        if action == "seen":
            return self._episode_words(str(detail.get("episode", "")))
        if "batch" in detail:
            file = detail.get("file") or files.get(int(detail["batch"]), "")
            text = f"batch {detail['batch']}" + (f" ({file})" if file else "")
            place = [f"{name} {detail[name]}" for name in ("line", "column") if detail.get(name)]
            return ", ".join([text, *place])
        for name in ("doing", "file", "kept", ""):
            if detail.get(name):
                return str(detail[name]) + (f" ({detail['how']})" if detail.get("how") else "")
        return ""

    def _reading_words(self, detail: Mapping[str, Any]) -> str:
        station = self._station_name(str(detail.get("station", "")))
        parts = [station, self._parameter_name(str(detail.get("parameter", ""))).lower()]
        depth = str(detail.get("depth_m", ""))
        if depth not in ("", "0.0", "nan"):
            parts.append(f"at {depth} m")
        text = " ".join(p for p in parts if p)
        moment = pd.to_datetime(str(detail.get("time", "")), utc=True, errors="coerce")
        if pd.notna(moment):
            text += f", {moment.day} {moment:%b %Y %H:%M} UTC"
        if "flag" in detail:
            text += f": {Flag(int(detail['flag'])).name.lower().replace('_', ' ')}"
        return text

    def _episode_words(self, key: str) -> str:
        """Say which episode a key names: rule, aspect, station, parameter, depth, opening."""
        parts = key.split("|")
        if len(parts) < 6:
            return key
        opened = pd.to_datetime(parts[5].split("#")[0], format="%Y%m%dT%H%M%S.%fZ", utc=True, errors="coerce")
        day = f", opened {opened.day} {opened:%b %Y}" if pd.notna(opened) else ""
        return f"{parts[0]} at {self._station_name(parts[2])}{day}"

    def _station_name(self, station: str) -> str:
        return self.stations[station].name if station in self.stations else station

    def _parameter_name(self, parameter: str) -> str:
        return self.parameters[parameter].label if parameter in self.parameters else parameter


def _span(
    start: dt.date | dt.datetime | str | None, end: dt.date | dt.datetime | str | None
) -> tuple[pd.Timestamp | None, pd.Timestamp | None]:
    """Return a first instant, and the one that no longer belongs to it."""
    first, last = _instant("start", start), _instant("end", end)
    if last is not None:
        whole_day = (isinstance(end, dt.date) and not isinstance(end, dt.datetime)) or (
            isinstance(end, str) and len(end.strip()) == 10
        )
        last += pd.Timedelta(days=1) if whole_day else pd.Timedelta(microseconds=1)
    if first is not None and last is not None and first >= last:
        raise ArgumentError(
            "start", "the period ends before it begins", got=f"{start} to {end}", fix="Swap the two days."
        )
    return first, last


def _instant(name: str, value: dt.date | dt.datetime | str | None) -> pd.Timestamp | None:
    if value is None:
        return None
    try:
        stamp = pd.Timestamp(value)
    except (ValueError, TypeError):
        raise ArgumentError(name, "not a day", got=value, expected="e.g. 2025-07-24") from None
    return stamp.tz_localize("UTC") if stamp.tzinfo is None else stamp.tz_convert("UTC")
