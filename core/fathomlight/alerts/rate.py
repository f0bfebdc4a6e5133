"""Rule kind ``rate``: changes faster than so much per week.

The change is measured from the earliest reading of the last ``window_days`` to the newest, so that the noise
between two readings of a logger, minutes apart, is not taken for a trend. Readings with a qualifier count
only where the change is certain whatever the true value is.
"""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Literal

import numpy as np
import pandas as pd
from pydantic import Field, model_validator

from fathomlight.alerts.context import Context
from fathomlight.alerts.episodes import Episode
from fathomlight.alerts.rules import Rule
from fathomlight.alerts.spans import Span, common_fields, find_spans, open_notes, run_starts, to_episodes
from fathomlight.alerts.tracks import Floats, Ints, Track, tracks

WEEK = np.timedelta64(7 * 86_400_000_000, "us")


class RateRule(Rule):
    """Changes faster than ``per_week``.

    Attributes
    ----------
    per_week : float
        The rate that must be exceeded [unit/week].
    direction : {"fall", "rise", "either"}
    clear_per_week : float or None
        At or under this rate the episode is over; ``per_week`` when None.
    window_days, min_days : float
        The change is taken over at most and at least so long [d].
    consecutive : int
        Readings in a row at which the rate must be exceeded.
    """

    kind: Literal["rate"] = "rate"
    parameter: Annotated[str, Field(min_length=1)]
    per_week: Annotated[float, Field(gt=0)]
    direction: Literal["fall", "rise", "either"] = "either"
    clear_per_week: Annotated[float, Field(ge=0)] | None = None
    window_days: Annotated[float, Field(gt=0)] = 14.0
    min_days: Annotated[float, Field(gt=0)] = 3.0
    consecutive: Annotated[int, Field(ge=1)] = 1

    FIELDS: ClassVar[tuple[str, ...]] = ("change", "value", "before", "days", "limit")
    USUAL: ClassVar[str] = "{station}: {parameter} went from {before} to {value} in {days} days."

    @model_validator(mode="after")
    def _sensible(self) -> RateRule:
        if self.min_days > self.window_days:
            raise ValueError("min_days must not be above window_days")
        if self.clear_per_week is not None and self.clear_per_week > self.per_week:
            raise ValueError("clear_per_week must not be above per_week")
        return self

    def rates(self, track: Track) -> tuple[Floats, Floats, Ints]:
        """Return the smallest and largest rate the readings allow, and the reading it is measured from.

        Parameters
        ----------
        track : Track

        Returns
        -------
        low, high : ndarray, shape (n,)
            [unit/week]; NaN where no reading stands far enough before.
        start : ndarray of int, shape (n,)
        """
        window = np.timedelta64(round(self.window_days * 86_400_000_000), "us")
        start = np.searchsorted(track.times, track.times - window, side="left")
        start = np.maximum(start, np.searchsorted(track.segment, track.segment, side="left"))
        weeks = (track.times - track.times[start]) / WEEK
        enough = weeks * 7 >= self.min_days
        weeks = np.where(enough, weeks, np.nan)
        low, high = (track.low - track.high[start]) / weeks, (track.high - track.low[start]) / weeks
        return low, high, start

    def evaluate(self, readings: pd.DataFrame, context: Context) -> list[Episode]:
        """Return all episodes in the readings; see :meth:`fathomlight.alerts.Rule.evaluate`."""
        return [e for track in tracks(self, readings, context) for e in self._on(track, context)]

    def _on(self, track: Track, context: Context) -> list[Episode]:
        low, high, start = self.rates(track)
        calm = self.per_week if self.clear_per_week is None else self.clear_per_week
        rising, falling = low > self.per_week, high < -self.per_week
        no_rise, no_fall = high <= calm, low >= -calm
        fires = {"rise": rising, "fall": falling, "either": rising | falling}[self.direction]
        clears = {"rise": no_rise, "fall": no_fall, "either": no_rise & no_fall}[self.direction]
        began = run_starts(track, fires, self.stale_days * 24)
        ready = fires & (np.arange(track.n) - began + 1 >= self.consecutive)
        spans = find_spans(track, ready, began, fires, clears & ~fires, self.stale_days)
        worst = np.where(rising, low, -high)
        decided = fires | clears | np.isnan(low)

        def describe(span: Span, peak: int) -> tuple[str, dict[str, Any], tuple[str, ...]]:
            first = int(start[peak])
            days = float((track.times[peak] - track.times[first]) / np.timedelta64(1, "D"))
            change = float(track.value[peak] - track.value[first])
            fields = common_fields(context, track, span, int(fires[span.began : span.last + 1].sum()))
            text = [
                context.text(track.parameter, float(track.value[i]), str(track.qualifier[i]))
                for i in (first, peak)
            ]
            message = self.say(
                context,
                track.station,
                before=text[0],
                value=text[1],
                days=f"{days:.0f}",
                change=f"{change:+g}",
                limit=context.text(track.parameter, self.per_week),
                **fields,
            )
            evidence = {
                "per_week": self.per_week,
                "found_per_week": change / (days / 7),
                "from": float(track.value[first]),
                "to": float(track.value[peak]),
                "days": days,
            }
            return message, evidence, open_notes(track, span, decided)

        return to_episodes(self, context, track, spans, fires, worst, describe=describe)
