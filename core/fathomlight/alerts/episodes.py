"""An alert from opening to end, and how it lives on from one evaluation to the next.

Rules find episodes from the readings alone; what people did with them (seen, by whom, the note) and what
became of them is kept by :func:`merge`. It may be called again and again, after every load or after a crash:
the same readings always lead to the same episodes, and nothing is opened twice. An episode that late or
corrected readings no longer support is not deleted: it is over, and its trace says why.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal

import pandas as pd

from fathomlight.alerts.context import as_instant
from fathomlight.alerts.sentence import Parts, Sentence
from fathomlight.errors import ArgumentError
from fathomlight.model import Result, plain

State = Literal["open", "seen", "over"]

CLEARED = "cleared"
SEASON_ENDED = "season ended"
STALE = "no reading for too long"
UNSUPPORTED = "no longer supported by the readings"
NO_LONGER = "no longer holds"
RULE_GONE = "the rule is no longer in use"
LISTED = 40
"""At most so many readings are named in an episode; all are counted."""


@dataclass(frozen=True, kw_only=True)
class Trace:
    """One thing that happened to an episode: when (``at``), ``what`` in one word, and ``text``."""

    at: pd.Timestamp
    what: str
    text: str


@dataclass(frozen=True, kw_only=True)
class Episode(Result):
    """An alert from opening to end.

    Attributes
    ----------
    rule, kind, severity : str
        The rule that found it.
    aspect : str
        What is special: ``check`` (a suspect reading to be checked), ``silent`` or ``flat``; else empty.
    station, parameter : str
    depth_m : float or None
        [m]; None where depth says nothing.
    state : {"open", "seen", "over"}
    began, opened, last : pandas.Timestamp
        First reading of the run, the reading at which the rule's condition was met, and the newest reading
        that upheld it; UTC.
    over : pandas.Timestamp or None
        When it ended, and ``ending`` how.
    n_readings : int
        Readings that upheld it; ``readings`` names the first and last of them by time.
    peak : float or None
        The farthest value [unit of the parameter, or of the rule], at ``peak_time``.
    message : str
        The sentence people read, in the units in which it was found.
    parts : tuple of str or mapping
        The same in pieces, values as numbers, for telling it in other units; empty for episodes found before
        pieces were kept. Taken from ``message`` when that is a :class:`Sentence`.
    evidence : mapping
        The numbers behind it, plain data.
    notes : tuple of str
        What could not be counted, and why.
    snapshot : bool
        True when found from results of today instead of the readings' history; such an episode keeps its
        opening.
    key : str
        Unique and lasting name, given by :func:`merge`.
    seen_by, seen_at, seen_note
        Who saw it, when, with what note.
    trace : tuple of Trace
        What happened to it.
    """

    rule: str
    kind: str
    severity: str
    station: str
    parameter: str
    began: pd.Timestamp
    opened: pd.Timestamp
    last: pd.Timestamp
    over: pd.Timestamp | None = None
    aspect: str = ""
    depth_m: float | None = None
    state: State = "open"
    ending: str = ""
    n_readings: int = 0
    readings: tuple[pd.Timestamp, ...] = ()
    peak: float | None = None
    peak_time: pd.Timestamp | None = None
    message: str = ""
    parts: Parts = ()
    evidence: Mapping[str, Any] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    snapshot: bool = False
    key: str = ""
    seen_by: str = ""
    seen_at: pd.Timestamp | None = None
    seen_note: str = ""
    trace: tuple[Trace, ...] = ()

    def __post_init__(self) -> None:
        """Keep what storing as text keeps, so that an episode read back equals the one found again.

        An episode with an end is in the state over; a number that is not one becomes None.
        """
        if isinstance(self.message, Sentence):
            object.__setattr__(self, "parts", tuple(plain(list(self.message.parts))))
            object.__setattr__(self, "message", str(self.message))
        for name in ("depth_m", "peak"):
            value = getattr(self, name)
            object.__setattr__(self, name, None if value is None or math.isnan(value) else float(value))
        object.__setattr__(self, "evidence", plain(self.evidence))
        if self.over is not None and self.state != "over":
            object.__setattr__(self, "state", "over")

    @property
    def place(self) -> tuple[str, str, str, str, float | None]:
        """What an episode is about: rule, aspect, station, parameter, depth."""
        return (self.rule, self.aspect, self.station, self.parameter, self.depth_m)

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Episode:
        """Build an episode from what :meth:`to_dict` gave.

        Parameters
        ----------
        data : mapping
            Plain data, as stored.

        Returns
        -------
        Episode
        """
        known = {f.name for f in dataclasses.fields(cls)}
        stray = sorted(set(data) - known)
        if stray:
            raise ArgumentError("data", "not an episode", got=stray, expected=", ".join(sorted(known)))
        out = dict(data)
        for name in ("began", "opened", "last", "over", "peak_time", "seen_at"):
            if out.get(name) is not None:
                out[name] = as_instant(out[name])
        out["readings"] = tuple(as_instant(time) for time in out.get("readings", ()))
        out["notes"] = tuple(out.get("notes", ()))
        out["parts"] = tuple(out.get("parts", ()))
        out["trace"] = tuple(Trace(**{**step, "at": as_instant(step["at"])}) for step in out.get("trace", ()))
        return cls(**out)


@dataclass(frozen=True, kw_only=True)
class Changes(Result):
    """What an evaluation changed.

    Attributes
    ----------
    episodes : tuple of Episode
        All episodes as they are now, oldest first.
    opened, reopened, amended, continued, ended, retracted, unchanged : tuple of Episode
        The same, each under the most telling heading: new; over before and going again; changed by late or
        corrected readings; gone on with new readings; ended; no longer supported; as before.
    """

    episodes: tuple[Episode, ...] = ()
    opened: tuple[Episode, ...] = ()
    reopened: tuple[Episode, ...] = ()
    amended: tuple[Episode, ...] = ()
    continued: tuple[Episode, ...] = ()
    ended: tuple[Episode, ...] = ()
    retracted: tuple[Episode, ...] = ()
    unchanged: tuple[Episode, ...] = ()

    @property
    def any(self) -> bool:
        """True when something changed."""
        return len(self.unchanged) < len(self.episodes)


_FOUND = tuple(
    f.name
    for f in dataclasses.fields(Episode)
    if f.name not in ("key", "state", "seen_by", "seen_at", "seen_note", "trace")
)


def merge(
    existing: Iterable[Episode],
    evaluated: Iterable[Episode],
    *,
    as_of: Any,
    rules: Collection[str] | None = None,
    in_use: Collection[str] | None = None,
) -> Changes:
    """Join what the rules found now with the episodes known before.

    Parameters
    ----------
    existing : iterable of Episode
        Known episodes, with their keys.
    evaluated : iterable of Episode
        All that the rules find in the readings, open and over.
    as_of : datetime or date
        Written into the trace; no clock is read.
    rules : collection of str, optional
        The rules that were evaluated; episodes of other rules are left alone. None means all.
    in_use : collection of str, optional
        The rules that are there and enabled. Episodes of any other rule that are not over end now, and its
        past is left as it was. None takes every rule for one in use.

    Returns
    -------
    Changes
        A second call with ``changes.episodes`` and the same ``evaluated`` changes nothing.
    """
    now = as_instant(as_of)
    groups: dict[Any, tuple[list[Episode], list[Episode]]] = {}
    for side, episodes in enumerate((existing, evaluated)):
        for episode in episodes:
            groups.setdefault(episode.place, ([], []))[side].append(episode)
    keys = {episode.key for old, _ in groups.values() for episode in old}
    headed: dict[str, list[Episode]] = {
        f.name: [] for f in dataclasses.fields(Changes) if f.name != "episodes"
    }
    for place in sorted(groups, key=str):
        old, new = groups[place]
        active = rules is None or place[0] in rules
        for before, found in _pair(old, new):
            if before is not None and found is None and in_use is not None and place[0] not in in_use:
                heading, episode = _rule_gone(before, now)
            elif before is not None and found is None and not active:
                heading, episode = "unchanged", before
            else:
                heading, episode = _settle(before, found, now, keys)
            headed[heading].append(episode)
    every = sorted((e for some in headed.values() for e in some), key=lambda e: (e.opened, e.key))
    return Changes(episodes=tuple(every), **{name: tuple(some) for name, some in headed.items()})


def _pair(old: list[Episode], new: list[Episode]) -> list[tuple[Episode | None, Episode | None]]:
    """Find for every found episode the known one it is: same opening first, then overlap in time."""
    old = sorted(old, key=lambda e: (e.ending == UNSUPPORTED, e.opened, e.key))
    waiting = sorted(new, key=lambda e: e.opened)
    pairs: list[tuple[Episode | None, Episode | None]] = []
    for fits in (_same_opening, _overlap):
        rest = []
        for found in waiting:
            match = next((before for before in old if fits(before, found)), None)
            if match is None:
                rest.append(found)
            else:
                old.remove(match)
                pairs.append((match, found))
        waiting = rest
    return pairs + [(None, found) for found in waiting] + [(before, None) for before in old]


def _same_opening(before: Episode, found: Episode) -> bool:
    return before.opened == found.opened


def _overlap(before: Episode, found: Episode) -> bool:
    if found.snapshot:
        return before.state != "over"
    starts_in_time = before.over is None or found.began <= before.over
    return starts_in_time and (found.over is None or before.began <= found.over)


def _settle(
    before: Episode | None, found: Episode | None, now: pd.Timestamp, keys: set[str]
) -> tuple[str, Episode]:
    if found is None:
        assert before is not None
        return _without_support(before, now)
    if before is None:
        told = (Trace(at=now, what="opened", text=found.message),)
        return "opened", replace(found, key=_new_key(found, keys), trace=told)
    return _go_on(before, found, now)


def _new_key(episode: Episode, keys: set[str]) -> str:
    depth = "" if episode.depth_m is None else f"{episode.depth_m:g}"
    parts = (episode.rule, episode.aspect, episode.station, episode.parameter, depth)
    base = "|".join((*parts, f"{episode.opened:%Y%m%dT%H%M%S.%fZ}"))
    key, count = base, 1
    while key in keys:
        count += 1
        key = f"{base}#{count}"
    keys.add(key)
    return key


def _without_support(before: Episode, now: pd.Timestamp) -> tuple[str, Episode]:
    if before.ending == UNSUPPORTED or (before.snapshot and before.state == "over"):
        return "unchanged", before
    ending, heading = (NO_LONGER, "ended") if before.snapshot else (UNSUPPORTED, "retracted")
    told = Trace(at=now, what=heading, text=f"{ending} (it was {before.state})")
    over = before.over if before.over is not None else max(now, before.last)
    return heading, replace(before, state="over", over=over, ending=ending, trace=(*before.trace, told))


def _rule_gone(before: Episode, now: pd.Timestamp) -> tuple[str, Episode]:
    if before.state == "over":
        return "unchanged", before
    told = Trace(at=now, what="ended", text=f"{RULE_GONE} (it was {before.state})")
    over = max(now, before.last)
    return "ended", replace(before, state="over", over=over, ending=RULE_GONE, trace=(*before.trace, told))


def _go_on(before: Episode, found: Episode, now: pd.Timestamp) -> tuple[str, Episode]:
    if found.snapshot:  # today's results do not know when it began
        found = replace(found, began=before.began, opened=before.opened)
    changed = [name for name in _FOUND if getattr(before, name) != getattr(found, name)]
    if not changed:
        return "unchanged", before
    heading, text = _what_changed(before, found, changed)
    trace = (
        before.trace if heading == "continued" else (*before.trace, Trace(at=now, what=heading, text=text))
    )
    kept: dict[str, Any] = {"key": before.key, "trace": trace}
    if heading == "reopened":
        kept["state"] = "open"
    else:
        kept |= {name: getattr(before, name) for name in ("seen_by", "seen_at", "seen_note")}
        kept["state"] = "over" if found.over is not None else before.state
    return heading, replace(found, **kept)


def _what_changed(before: Episode, found: Episode, changed: list[str]) -> tuple[str, str]:
    """Name the change: gone on, ended, going again, or amended, with the facts that moved."""
    if before.state == "over" and found.over is None:
        seen = f"; it had been seen by {before.seen_by or 'someone'}" if before.seen_at is not None else ""
        return "reopened", f"it was over ({before.ending}){seen}"
    moved = {"began", "opened", "severity", "depth_m", "snapshot"} & set(changed)
    if found.last <= before.last and {"last", "n_readings", "peak"} & set(changed):
        moved |= {"last", "n_readings", "peak"} & set(changed)
    if before.ending == UNSUPPORTED:
        moved.add("ending")
    if moved or ("over" in changed and before.over is not None):
        moved |= {"over"} & set(changed)
        facts = "; ".join(
            f"{name}: {_say(getattr(before, name))} -> {_say(getattr(found, name))}" for name in sorted(moved)
        )
        return "amended", f"by late or corrected readings, or a changed rule: {facts}"
    if "over" in changed:
        return "ended", found.ending
    return "continued", ""


def _say(value: Any) -> str:
    if isinstance(value, pd.Timestamp):
        return f"{value:%Y-%m-%d %H:%M} UTC"
    return f"{value:g}" if isinstance(value, float) else str(value)


def mark_seen(episode: Episode, *, who: str, when: Any, note: str = "") -> Episode:
    """Say that a person has seen an episode.

    Parameters
    ----------
    episode : Episode
    who : str
        The person.
    when : datetime or date
        No clock is read.
    note : str
        What they want to say.

    Returns
    -------
    Episode
        In the state ``seen``, or still ``over``.
    """
    instant = as_instant(when)
    told = Trace(at=instant, what="seen", text=note)
    state: State = "over" if episode.state == "over" else "seen"
    return replace(
        episode, state=state, seen_by=who, seen_at=instant, seen_note=note, trace=(*episode.trace, told)
    )
