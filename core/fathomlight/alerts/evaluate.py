"""Run rules over readings, now or over the past."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import pandas as pd

from fathomlight.alerts.context import Context, as_instant
from fathomlight.alerts.episodes import Episode
from fathomlight.alerts.rules import Rule
from fathomlight.errors import ArgumentError
from fathomlight.model import Result

NEEDED = ("station", "parameter", "depth_m", "time", "value", "flag")


def evaluate(rule: Rule, readings: pd.DataFrame, context: Context) -> list[Episode]:
    """Return every episode that a rule finds in the readings, open and over, oldest first.

    Parameters
    ----------
    rule : Rule
        A disabled rule finds nothing.
    readings : pandas.DataFrame
        Columns of :data:`fathomlight.model.READING_COLUMNS`, in any order, the whole history.
    context : Context
        Stations, parameters and the instant taken as now.

    Returns
    -------
    list of Episode
        Without keys; :func:`~fathomlight.alerts.merge` joins them with the known ones.

    Raises
    ------
    fathomlight.errors.ArgumentError
        When a needed column is missing.
    """
    lost = [name for name in NEEDED if name not in readings.columns]
    if lost:
        raise ArgumentError(
            "readings", "columns are missing", got=", ".join(lost), expected=", ".join(NEEDED)
        )
    if not rule.enabled:
        return []
    return sorted(rule.evaluate(readings, context), key=lambda e: (e.opened, e.station, str(e.place)))


def evaluate_all(rules: Iterable[Rule], readings: pd.DataFrame, context: Context) -> list[Episode]:
    """Return the episodes of several rules, oldest first.

    Parameters
    ----------
    rules : iterable of Rule
    readings : pandas.DataFrame
    context : Context

    Returns
    -------
    list of Episode
    """
    found = [episode for rule in rules for episode in evaluate(rule, readings, context)]
    return sorted(found, key=lambda e: (e.opened, e.rule, str(e.place)))


@dataclass(frozen=True, kw_only=True)
class Replay(Result):
    """What a rule would have done.

    Attributes
    ----------
    rule : str
    since, until : pandas.Timestamp
        The stretch looked at.
    fired : int
        Episodes opened in it; ``checks`` counts the quiet ones about suspect readings, not in ``fired``.
    days_open : float
        Days with the rule open, added over stations [d].
    per_year : dict of int to int
        Episodes opened in each calendar year (UTC), years without any as 0.
    per_station : dict of str to int
    open_now : int
        Not over at the end.
    longest_days : float or None
        The longest episode [d].
    episodes : tuple of Episode
    sentence : str
        The answer in words.
    notes : tuple of str
        What the answer cannot know.
    """

    rule: str
    since: pd.Timestamp
    until: pd.Timestamp
    fired: int
    checks: int
    days_open: float
    per_year: dict[int, int]
    per_station: dict[str, int]
    open_now: int
    longest_days: float | None
    episodes: tuple[Episode, ...]
    sentence: str
    notes: tuple[str, ...] = ()


def replay(rule: Rule, readings: pd.DataFrame, since: Any, *, context: Context) -> Replay:
    """Say how often a rule would have fired since a date, so that its limits are chosen from data.

    Parameters
    ----------
    rule : Rule
    readings : pandas.DataFrame
        The whole history; what lies before ``since`` is used to know the state at its start.
    since : date or datetime
    context : Context
        ``as_of`` is the end of the stretch.

    Returns
    -------
    Replay

    Raises
    ------
    fathomlight.errors.ArgumentError
        When ``since`` is not before ``context.as_of``.
    """
    start, until = as_instant(pd.Timestamp(since)), context.as_of
    if start >= until:
        raise ArgumentError("since", "must be before the end", got=str(since), expected=f"before {until}")
    live = rule.model_copy(update={"enabled": True})
    found = [e for e in evaluate(live, readings, context) if e.over is None or e.over > start]
    real = [e for e in found if e.aspect != "check"]
    days = [((e.over or until) - max(e.opened, start)) / pd.Timedelta(days=1) for e in real]
    days = [max(length, 0.0) for length in days]
    fired = [e for e in real if e.opened >= start]
    years = dict.fromkeys(range(start.year, until.year + 1), 0)
    stations: dict[str, int] = {}
    for episode in fired:
        years[episode.opened.year] += 1
        stations[episode.station] = stations.get(episode.station, 0) + 1
    span = (until - start) / pd.Timedelta(days=365.25)
    open_now = sum(e.over is None for e in real)
    sentence = (
        f"Since {start:%Y-%m-%d} the rule {rule.id} would have fired {_count(len(fired), 'time')} "
        f"({len(fired) / span:.1f} a year) at {_count(len(stations), 'station')}, "
        f"open for {_count(round(sum(days)), 'station-day')}; {open_now} would be open now."
    )
    return Replay(
        rule=rule.id,
        since=start,
        until=until,
        fired=len(fired),
        checks=len(found) - len(real),
        days_open=float(sum(days)),
        per_year=years,
        per_station=dict(sorted(stations.items())),
        open_now=open_now,
        longest_days=max(days, default=None),
        episodes=tuple(found),
        sentence=sentence,
        notes=_replay_notes(rule, context),
    )


def _count(n: int, noun: str) -> str:
    return f"{n} {noun}" if n == 1 else f"{n} {noun}s"


def _replay_notes(rule: Rule, context: Context) -> tuple[str, ...]:
    notes = ["Looked at with all readings known today, corrections and late ones included."]
    if rule.kind == "trend":
        notes.append(
            "This kind looks at today's results only: it cannot say what it would have found in the past."
        )
        if context.trends is None:
            notes.append("No trends were given, so nothing could be found.")
    if rule.kind == "class-change" and context.classes is None and context.classify is None:
        notes.append("No classes were given, so nothing could be found.")
    return tuple(notes)
