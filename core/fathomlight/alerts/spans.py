"""From verdicts on single readings to stretches of time: the one place that opens and clears.

A rule says of each reading whether it certainly upholds the rule (``fires``) and whether it certainly clears
it (``clears``). A reading that does neither (between the two limits, or a qualifier that leaves it open)
keeps an open episode going but does not help to open one.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from fathomlight.alerts.context import Context
from fathomlight.alerts.episodes import CLEARED, LISTED, SEASON_ENDED, STALE, Episode
from fathomlight.alerts.rules import Rule
from fathomlight.alerts.sentence import Quantity
from fathomlight.alerts.tracks import Bools, Floats, Ints, Track, segment_end, to_instant
from fathomlight.model import EQUAL


@dataclass(frozen=True)
class Span:
    """Positions in a track: first of the run, where the condition was met, last that upheld it, end.

    ``stop`` is the position after the last reading that belongs to the same season without too long a pause.
    """

    began: int
    opened: int
    last: int
    cleared: int | None
    stop: int = 0


def run_starts(track: Track, fires: Bools, max_gap_hours: float) -> Ints:
    """Return for each firing reading the position at which its unbroken run began.

    Parameters
    ----------
    track : Track
    fires : ndarray of bool, shape (n,)
    max_gap_hours : float
        A longer pause [h] breaks the run.

    Returns
    -------
    ndarray of int, shape (n,)
        Meaningless where ``fires`` is False.
    """
    joined = np.zeros(track.n, dtype=bool)
    joined[1:] = fires[1:] & fires[:-1] & (track.segment[1:] == track.segment[:-1])
    joined[1:] &= np.diff(track.times) / np.timedelta64(1, "h") <= max_gap_hours
    out: Ints = np.maximum.accumulate(np.where(joined, 0, np.arange(track.n)))
    return out


def find_spans(
    track: Track, ready: Bools, began: Ints, fires: Bools, clears: Bools, stale_days: float = math.inf
) -> list[Span]:
    """Walk from opening to clearing to the next opening.

    Parameters
    ----------
    track : Track
    ready : ndarray of bool, shape (n,)
        Where the rule's condition is met.
    began : ndarray of int, shape (n,)
        Where the run of each reading began.
    fires, clears : ndarray of bool, shape (n,)
    stale_days : float
        A pause longer than this [d] ends what is open.

    Returns
    -------
    list of Span
        In order, not overlapping.
    """
    spans: list[Span] = []
    openings, clearings, firing = np.flatnonzero(ready), np.flatnonzero(clears), np.flatnonzero(fires)
    pauses = 1 + np.flatnonzero(np.diff(track.times) / np.timedelta64(1, "D") > stale_days)
    position = 0
    while True:
        at = np.searchsorted(openings, position)
        if at == len(openings):
            return spans
        opened = int(openings[at])
        stop = int(np.searchsorted(track.segment, track.segment[opened], side="right"))
        pause = np.searchsorted(pauses, opened, side="right")
        stop = min(stop, int(pauses[pause])) if pause < len(pauses) else stop
        to = np.searchsorted(clearings, opened + 1)
        cleared = int(clearings[to]) if to < len(clearings) and clearings[to] < stop else None
        end = stop if cleared is None else cleared
        last = int(firing[np.searchsorted(firing, end) - 1])
        spans.append(Span(int(began[opened]), opened, last, cleared, stop))
        position = end if cleared is None else cleared + 1


def to_episodes(
    rule: Rule,
    context: Context,
    track: Track,
    spans: Sequence[Span],
    fires: Bools,
    worst: Floats,
    *,
    describe: Callable[[Span, int], tuple[str, dict[str, Any], tuple[str, ...]]],
    aspect: str = "",
) -> list[Episode]:
    """Make episodes of spans.

    Parameters
    ----------
    rule, context, track
    spans : sequence of Span
    fires : ndarray of bool, shape (n,)
    worst : ndarray, shape (n,)
        How bad each reading is, larger is worse; the peak is the reading with the largest.
    describe : callable
        ``describe(span, peak) -> (message, evidence, notes)``.
    aspect : str
        See :class:`~fathomlight.alerts.Episode`.

    Returns
    -------
    list of Episode
    """
    out = []
    for span in spans:
        stop = span.last + 1
        upheld = span.began + np.flatnonzero(fires[span.began : stop])
        peak = int(upheld[np.argmax(worst[upheld])])
        over, ending = _ending(rule, context, track, span)
        message, evidence, notes = describe(span, peak)
        listed = upheld if len(upheld) <= LISTED else np.r_[upheld[: LISTED // 2], upheld[-LISTED // 2 :]]
        out.append(
            Episode(
                rule=rule.id,
                kind=rule.kind,
                severity=rule.severity,
                aspect=aspect,
                station=track.station,
                parameter=track.parameter,
                depth_m=track.depth_m,
                began=track.instant(span.began),
                opened=track.instant(span.opened),
                last=track.instant(span.last),
                over=over,
                ending=ending,
                n_readings=len(upheld),
                readings=tuple(to_instant(time) for time in track.times[listed]),
                peak=float(track.value[peak]),
                peak_time=track.instant(peak),
                message=message,
                evidence=evidence,
                notes=notes,
            )
        )
    return out


def _ending(rule: Rule, context: Context, track: Track, span: Span) -> tuple[pd.Timestamp | None, str]:
    if span.cleared is not None:
        return track.instant(span.cleared), CLEARED
    season = segment_end(int(track.segment[span.opened]), rule.months, context.timezone(track.station))
    ends = [] if season is None else [(season, SEASON_ENDED)]
    if math.isfinite(rule.stale_days) and span.stop:
        ends.append((track.instant(span.stop - 1) + pd.Timedelta(days=rule.stale_days), STALE))
    ends = [end for end in ends if end[0] <= context.as_of]
    return min(ends) if ends else (None, "")


def common_fields(context: Context, track: Track, span: Span, upheld: int) -> dict[str, str]:
    """Return the fields of a message that every rule on readings has."""
    known = track.depth_m == track.depth_m
    depth = Quantity(f"{track.depth_m:g} m", "depth", "", track.depth_m) if known else ""
    return {
        "depth": depth,
        "since": context.day(track.station, track.instant(span.began)),
        "count": str(upheld),
    }


def open_notes(track: Track, span: Span, decided: Bools) -> tuple[str, ...]:
    """Say how many readings of a span could not be judged because of their qualifier."""
    part = slice(span.began, span.last + 1)
    unsure = int((~decided[part] & (track.qualifier[part] != EQUAL)).sum())
    if not unsure:
        return ()
    what = "1 reading with < or > was" if unsure == 1 else f"{unsure} readings with < or > were"
    return (f"{what} not counted: the true value may lie on either side.",)
