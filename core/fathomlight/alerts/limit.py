"""Rule kind ``limit``: below or above a limit for some readings or hours, cleared at a limit of its own.

A reading with a qualifier counts only when it is certain: a disc seen on the bottom at 1.5 m (``> 1.5``)
never opens "below 2.0", because the water may be clearer than 2.0.
"""

from __future__ import annotations

import math
from typing import Annotated, Any, ClassVar, Literal

import numpy as np
import pandas as pd
from pydantic import Field, model_validator

from fathomlight.alerts.check import check_episodes
from fathomlight.alerts.context import Context
from fathomlight.alerts.episodes import Episode
from fathomlight.alerts.rules import Rule
from fathomlight.alerts.spans import (
    Span,
    common_fields,
    find_spans,
    open_notes,
    run_starts,
    to_episodes,
)
from fathomlight.alerts.tracks import Bools, Track, tracks
from fathomlight.model import Flag


class LimitRule(Rule):
    """Below or above a limit.

    Attributes
    ----------
    below, above : float
        The limit, one of the two [unit]; the limit itself is still fine.
    clear : float or None
        At or beyond this value, on the good side, the episode is over; the limit itself when None.
    consecutive : int
        Readings in a row that must be beyond the limit.
    for_hours : float or None
        Instead: how long [h] all readings must have been beyond it, from the first to the newest.
    max_gap_hours : float or None
        A longer pause [h] between readings breaks the run. None: with ``for_hours`` as long as that, else
        never.
    """

    kind: Literal["limit"] = "limit"
    parameter: Annotated[str, Field(min_length=1)]
    below: float | None = None
    above: float | None = None
    clear: float | None = None
    consecutive: Annotated[int, Field(ge=1)] = 1
    for_hours: Annotated[float, Field(gt=0)] | None = None
    max_gap_hours: Annotated[float, Field(gt=0)] | None = None

    FIELDS: ClassVar[tuple[str, ...]] = ("value", "limit", "side")
    USUAL: ClassVar[str] = "{station}: {parameter} {side} {limit} since {since}, at worst {value}."

    @model_validator(mode="after")
    def _one_limit(self) -> LimitRule:
        if (self.below is None) == (self.above is None):
            raise ValueError("give one limit: either below or above")
        if self.clear is not None and self.below is not None and self.clear < self.below:
            raise ValueError("clear must not be under the limit below which the rule fires")
        if self.clear is not None and self.above is not None and self.clear > self.above:
            raise ValueError("clear must not be over the limit above which the rule fires")
        return self

    @property
    def limit(self) -> float:
        """The limit, whichever side it is on [unit]."""
        limit = self.below if self.below is not None else self.above
        assert limit is not None
        return limit

    def verdicts(self, track: Track) -> tuple[Bools, Bools]:
        """Return which readings certainly are beyond the limit, and which certainly clear.

        Parameters
        ----------
        track : Track

        Returns
        -------
        fires, clears : ndarray of bool, shape (n,)
        """
        clear = self.limit if self.clear is None else self.clear
        if self.below is not None:
            return track.high < self.below, track.low >= clear
        return track.low > self.limit, track.high <= clear

    def evaluate(self, readings: pd.DataFrame, context: Context) -> list[Episode]:
        """Return all episodes in the readings; see :meth:`fathomlight.alerts.Rule.evaluate`."""
        out = [e for track in tracks(self, readings, context) for e in self._on(track, context)]
        if self.suspect == "check":
            for track in tracks(self, readings, context, flags=(Flag.SUSPECT,)):
                out += check_episodes(self, context, track, self.verdicts(track)[0])
        return out

    def _on(self, track: Track, context: Context) -> list[Episode]:
        fires, clears = self.verdicts(track)
        gap = self.max_gap_hours if self.max_gap_hours is not None else self.for_hours
        began = run_starts(track, fires, min(self.stale_days * 24, math.inf if gap is None else gap))
        if self.for_hours is None:
            ready = fires & (np.arange(track.n) - began + 1 >= self.consecutive)
        else:
            held = (track.times - track.times[began]) / np.timedelta64(1, "h")
            ready = fires & (held >= self.for_hours)
        spans = find_spans(track, ready, began, fires, clears, self.stale_days)
        worst = -track.value if self.below is not None else track.value
        decided = fires | clears | (track.low == track.high)

        def describe(span: Span, peak: int) -> tuple[str, dict[str, Any], tuple[str, ...]]:
            upheld = int(fires[span.began : span.last + 1].sum())
            value = context.text(track.parameter, float(track.value[peak]), str(track.qualifier[peak]))
            message = self.say(
                context,
                track.station,
                value=value,
                limit=context.text(track.parameter, self.limit),
                side="below" if self.below is not None else "above",
                **common_fields(context, track, span, upheld),
            )
            evidence = {
                "limit": self.limit,
                "clear": self.limit if self.clear is None else self.clear,
                "side": "below" if self.below is not None else "above",
                "consecutive": self.consecutive if self.for_hours is None else None,
                "for_hours": self.for_hours,
            }
            return message, evidence, open_notes(track, span, decided)

        return to_episodes(self, context, track, spans, fires, worst, describe=describe)
