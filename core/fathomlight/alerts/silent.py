"""Rule kind ``silent``: a logger that sends nothing, or always the same.

``silent``: a pause longer than ``silent_hours``, between two readings or up to now. ``flat``: all readings of
the last ``flat_hours`` or more lie within ``eps`` of each other. Only series whose usual pause is at most
``logger_step_hours`` are looked at. Any reading with a value counts as a sign of life, whatever its flag.
"""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Literal

import numpy as np
import pandas as pd
from pydantic import Field, model_validator

from fathomlight.alerts.context import Context
from fathomlight.alerts.episodes import CLEARED, SEASON_ENDED, Episode
from fathomlight.alerts.rules import Rule
from fathomlight.alerts.spans import Span, common_fields, find_spans, to_episodes
from fathomlight.alerts.tracks import Bools, Ints, Track, segment_end, tracks
from fathomlight.model import Flag

HOUR = np.timedelta64(3_600_000_000, "us")
ALIVE = (Flag.PASS, Flag.NOT_EVALUATED, Flag.SUSPECT, Flag.FAIL)


class SilentRule(Rule):
    """A logger is silent or flat.

    Attributes
    ----------
    silent_hours : float or None
        Longest pause allowed [h]; None does not look for silence.
    flat_hours : float or None
        How long [h] readings may lie within ``eps`` [unit]; None does not look for it.
    eps : float
        Largest minus smallest value of a flat stretch [unit].
    logger_step_hours : float
        A series is a logger's when its median pause is at most this [h].
    """

    kind: Literal["silent"] = "silent"
    parameter: Annotated[str, Field(min_length=1)]
    silent_hours: Annotated[float, Field(gt=0)] | None = 12.0
    flat_hours: Annotated[float, Field(gt=0)] | None = None
    eps: Annotated[float, Field(ge=0)] = 0.0
    logger_step_hours: Annotated[float, Field(gt=0)] = 6.0

    FIELDS: ClassVar[tuple[str, ...]] = ("what", "hours", "value")
    USUAL: ClassVar[str] = "{station}: the logger for {parameter} {depth} {what} since {since}."

    @model_validator(mode="after")
    def _something(self) -> SilentRule:
        if self.silent_hours is None and self.flat_hours is None:
            raise ValueError("give silent_hours or flat_hours")
        return self

    def evaluate(self, readings: pd.DataFrame, context: Context) -> list[Episode]:
        """Return all episodes in the readings; see :meth:`fathomlight.alerts.Rule.evaluate`."""
        out = []
        for track in tracks(self, readings, context, flags=ALIVE):
            steps = np.diff(track.times) / HOUR
            if not len(steps) or float(np.median(steps)) > self.logger_step_hours:
                continue
            if self.silent_hours is not None:
                out += self._silences(track, context, self.silent_hours)
            if self.flat_hours is not None:
                out += self._flats(track, context, self.flat_hours)
        return out

    def _silences(self, track: Track, context: Context, longest: float) -> list[Episode]:
        """Look at each pause; a pause is cut at the end of the rule's months."""
        wait, now = pd.Timedelta(hours=longest), context.surely_past(track.station)
        steps = np.diff(track.times) / HOUR
        changes = track.segment[1:] != track.segment[:-1]
        out = []
        for i in [*np.flatnonzero((steps > longest) | changes).tolist(), track.n - 1]:
            since = track.instant(i)
            end = segment_end(int(track.segment[i]), self.months, context.timezone(track.station))
            back = track.instant(i + 1) if i + 1 < track.n else None
            stop, ending = (back, CLEARED) if back is not None else (None, "")
            if end is not None and (back is None or end < back) and end <= context.as_of:
                stop, ending = end, SEASON_ENDED
            opened = since + wait
            if opened > now or (stop is not None and opened >= stop):
                continue
            what = "has sent nothing" if stop is None else "sent nothing"
            hours = ((stop or now) - since) / pd.Timedelta(hours=1)
            fields = common_fields(context, track, Span(i, i, i, None), 0)
            # an open silence is still growing: no length in its facts, so that looking again changes nothing
            shown = f"{hours:.0f}" if stop is not None else f"more than {longest:g}"
            message = self.say(context, track.station, what=what, hours=shown, value="", **fields)
            out.append(
                Episode(
                    rule=self.id, kind=self.kind, severity=self.severity, aspect="silent",
                    station=track.station, parameter=track.parameter, depth_m=track.depth_m,
                    began=since, opened=opened, last=opened, over=stop, ending=ending, message=message,
                    evidence={"silent_hours": longest, "hours": None if stop is None else hours},
                )
            )  # fmt: skip
        return out

    def _flats(self, track: Track, context: Context, longest: float) -> list[Episode]:
        began = flat_since(track, self.eps, self.logger_step_hours)
        held = (track.times - track.times[began]) / HOUR
        ready = held >= longest
        spans = find_spans(track, ready, began, ready, ~ready)

        def describe(span: Span, peak: int) -> tuple[str, dict[str, Any], tuple[str, ...]]:
            value = context.text(track.parameter, float(track.value[peak]))
            what = f"has said {value}" if span.cleared is None else f"said {value}"
            hours = float((track.times[span.last] - track.times[span.began]) / HOUR)
            fields = common_fields(context, track, span, span.last - span.began + 1)
            message = self.say(context, track.station, what=what, hours=f"{hours:.0f}", value=value, **fields)
            return message, {"flat_hours": longest, "eps": self.eps, "hours": hours}, ()

        everything: Bools = np.ones(track.n, dtype=bool)
        worst = np.zeros(track.n)
        return to_episodes(self, context, track, spans, everything, worst, describe=describe, aspect="flat")


def flat_since(track: Track, eps: float, longest_step_hours: float) -> Ints:
    """Return for each reading the earliest one from which all values lie within ``eps`` of each other.

    Parameters
    ----------
    track : Track
    eps : float
        [unit]
    longest_step_hours : float
        A longer pause [h], like the end of the rule's months, breaks the stretch.

    Returns
    -------
    ndarray of int, shape (n,)
    """
    broken = np.ones(track.n, dtype=bool)
    broken[1:] = (np.diff(track.times) / HOUR > longest_step_hours) | (
        track.segment[1:] != track.segment[:-1]
    )
    value, breaks = track.value.tolist(), broken.tolist()
    slack = eps + 1e-9 * max(1.0, eps)
    out, start, low, high = [], 0, np.inf, -np.inf
    for i, x in enumerate(value):
        if breaks[i]:
            start, low, high = i, x, x
        low, high = min(low, x), max(high, x)
        if high - low > slack:
            start = _first_within(value, i, start, slack)
            low, high = min(value[start : i + 1]), max(value[start : i + 1])
        out.append(start)
    return np.array(out, dtype=np.int64)


def _first_within(value: list[float], i: int, start: int, slack: float) -> int:
    """Walk back from ``i`` while all values stay within ``slack``."""
    low = high = value[i]
    j = i
    while j > start:
        low, high = min(low, value[j - 1]), max(high, value[j - 1])
        if high - low > slack:
            break
        j -= 1
    return j


__all__ = ["SilentRule", "flat_since"]
