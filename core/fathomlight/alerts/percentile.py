"""Rule kind ``percentile``: outside the station's own usual band for the time of year.

Each day's reading (the median of a day, for loggers) is held against the station's readings of earlier years
within ``window_days`` of the same day of the year, as :func:`fathomlight.seasons.standing` does for the
latest one. Its percentile is the share of them below it, equal ones counted half. Where a qualifier, here or
in the past, leaves the order of two readings open, the percentile has a lower and an upper bound, and the
rule fires only when both are outside the band.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Any, ClassVar, Literal

import numpy as np
import pandas as pd
from pydantic import Field, model_validator

from fathomlight.alerts.check import check_episodes
from fathomlight.alerts.context import MONTHS, Context
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
from fathomlight.alerts.tracks import Bools, Floats, Ints, Track, segments, tracks
from fathomlight.model import EQUAL, Flag
from fathomlight.seasons import day_of_year, days_apart

HALF_A_YEAR = 182
"""Readings less than this before [d] belong to the same season, not to an earlier year."""

Side = Literal["murkier", "clearer", "lower", "higher", "either"]


class PercentileRule(Rule):
    """Outside the station's own band for the time of year.

    Attributes
    ----------
    side : {"murkier", "clearer", "lower", "higher", "either"}
        ``murkier`` and ``clearer`` follow what the parameter says of clarity.
    low, high : float
        The band, percentiles 0 to 100.
    clear_low, clear_high : float or None
        Inside this narrower band the episode is over; the band itself when None.
    window_days : int
        Past readings so close in the year [d] are compared.
    min_years, min_readings : int
        Fewest earlier years and readings to compare with.
    consecutive : int
        Days with readings in a row.
    """

    kind: Literal["percentile"] = "percentile"
    parameter: Annotated[str, Field(min_length=1)]
    side: Side = "murkier"
    low: Annotated[float, Field(ge=0, le=100)] = 10.0
    high: Annotated[float, Field(ge=0, le=100)] = 90.0
    clear_low: Annotated[float, Field(ge=0, le=100)] | None = None
    clear_high: Annotated[float, Field(ge=0, le=100)] | None = None
    window_days: Annotated[int, Field(ge=1, le=182)] = 15
    min_years: Annotated[int, Field(ge=1)] = 5
    min_readings: Annotated[int, Field(ge=1)] = 10
    consecutive: Annotated[int, Field(ge=1)] = 1

    FIELDS: ClassVar[tuple[str, ...]] = (
        "value",
        "percentile",
        "n_past",
        "first_year",
        "usual_low",
        "usual_high",
        "day",
    )
    USUAL: ClassVar[str] = (
        "{station}: {parameter} {value} on {day}, outside its own {usual_low} to {usual_high} "
        "of {n_past} readings at this time of year since {first_year}."
    )

    @model_validator(mode="after")
    def _band(self) -> PercentileRule:
        clear_low = self.low if self.clear_low is None else self.clear_low
        clear_high = self.high if self.clear_high is None else self.clear_high
        if not self.low <= clear_low <= clear_high <= self.high or self.low >= self.high:
            raise ValueError("give low <= clear_low <= clear_high <= high, with low below high")
        return self

    def sides(self, context: Context) -> tuple[bool, bool]:
        """Return whether to look below the band, and above it.

        Parameters
        ----------
        context : Context

        Returns
        -------
        below, above : bool
            Both for a parameter that says nothing of clarity.
        """
        if self.side in ("lower", "higher"):
            return self.side == "lower", self.side == "higher"
        known = context.parameters.get(self.parameter)
        if self.side == "either" or known is None or known.clearer is None:
            return True, True
        below = (known.clearer == "higher") == (self.side == "murkier")
        return below, not below

    def verdicts(self, low: Floats, high: Floats, context: Context) -> tuple[Bools, Bools]:
        """Return which days certainly fire and certainly clear, from the bounds of their percentiles."""
        below, above = self.sides(context)
        fires = np.zeros(len(low), dtype=bool)
        clears = ~np.isnan(low)
        if below:
            fires |= high < self.low
            clears &= low >= (self.low if self.clear_low is None else self.clear_low)
        if above:
            fires |= low > self.high
            clears &= high <= (self.high if self.clear_high is None else self.clear_high)
        return fires, clears

    def evaluate(self, readings: pd.DataFrame, context: Context) -> list[Episode]:
        """Return all episodes in the readings; see :meth:`fathomlight.alerts.Rule.evaluate`."""
        out = []
        for track in tracks(self, readings, context, season=False):
            past = daily(track, self.months)
            out += self._on(past, context)
        if self.suspect == "check":
            out += self._checks(readings, context)
        return out

    def _checks(self, readings: pd.DataFrame, context: Context) -> list[Episode]:
        """Hold suspect readings against the good past."""
        good = {
            (t.station, t.depth_m): daily(t, self.months)
            for t in tracks(self, readings, context, season=False)
        }
        out = []
        for track in tracks(self, readings, context, flags=(Flag.SUSPECT,)):
            past = good.get((track.station, track.depth_m))
            if past is not None:
                low, high, _ = self.standing(past, track)
                out += check_episodes(self, context, track, self.verdicts(low, high, context)[0])
        return out

    def standing(self, past: Track, track: Track) -> tuple[Floats, Floats, list[Ints]]:
        """Return bounds of each reading's percentile among earlier years, and what it was compared with.

        Parameters
        ----------
        past : Track
            What to compare with.
        track : Track
            What is compared.

        Returns
        -------
        low, high : ndarray, shape (n,)
            Percentiles, 0 to 100; NaN where the past is too short.
        compared : list of ndarray of int
        """
        low, high = np.full(track.n, np.nan), np.full(track.n, np.nan)
        compared = []
        day, own_day = day_of_year(pd.Series(past.dates)), day_of_year(pd.Series(track.dates))
        dates, own = past.dates.astype("datetime64[D]"), track.dates.astype("datetime64[D]")
        wanted = track.segment >= 0
        for i in range(track.n):
            rows = np.zeros(0, dtype=np.int64)
            if wanted[i]:
                before = (own[i] - dates).astype(np.int64)
                near = days_apart(day, int(own_day[i])) <= self.window_days
                rows = np.flatnonzero(near & (before > HALF_A_YEAR))
            years = np.unique(np.rint((own[i] - dates[rows]).astype(np.int64) / 365.25))
            if len(rows) >= self.min_readings and len(years) >= self.min_years:
                surely = (past.high[rows] < track.low[i]).sum()
                maybe = (past.low[rows] < track.high[i]).sum()
                equal = ((past.low[rows] == track.high[i]) & (past.high[rows] == track.low[i])).sum()
                low[i] = 100 * (surely + equal / 2) / len(rows)
                high[i] = 100 * (maybe + equal / 2) / len(rows)
            compared.append(rows)
        return low, high, compared

    def _on(self, track: Track, context: Context) -> list[Episode]:
        low, high, compared = self.standing(track, track)
        inside = np.flatnonzero(track.segment >= 0)
        part, low, high = track.take(inside), low[inside], high[inside]
        fires, clears = self.verdicts(low, high, context)
        began = run_starts(part, fires, self.stale_days * 24)
        ready = fires & (np.arange(part.n) - began + 1 >= self.consecutive)
        spans = find_spans(part, ready, began, fires, clears, self.stale_days)
        worst = np.abs((low + high) / 2 - 50)

        def describe(span: Span, peak: int) -> tuple[str, dict[str, Any], tuple[str, ...]]:
            rows = compared[int(inside[peak])]
            band = np.percentile(track.value[rows], [self.low, self.high])
            percentile = float((low[peak] + high[peak]) / 2)
            first_year = int(track.dates[rows].min().astype("datetime64[Y]").astype(np.int64)) + 1970
            local = pd.Timestamp(part.dates[peak])
            message = self.say(
                context,
                part.station,
                value=context.text(part.parameter, float(part.value[peak]), str(part.qualifier[peak])),
                percentile=f"{percentile:.0f}",
                n_past=str(len(rows)),
                first_year=str(first_year),
                usual_low=context.text(part.parameter, float(band[0])),
                usual_high=context.text(part.parameter, float(band[1])),
                day=f"{local.day} {MONTHS[local.month - 1]} {local.year}",
                **common_fields(context, part, span, int(fires[span.began : span.last + 1].sum())),
            )
            evidence = {
                "percentile": percentile,
                "percentile_low": float(low[peak]),
                "percentile_high": float(high[peak]),
                "n_past": len(rows),
                "first_year": first_year,
                "window_days": self.window_days,
                "usual_low": float(band[0]),
                "usual_high": float(band[1]),
            }
            return message, evidence, open_notes(part, span, fires | clears)

        return to_episodes(self, context, part, spans, fires, worst, describe=describe)


def daily(track: Track, months: tuple[int, ...]) -> Track:
    """Return one reading a local day: the median, bounded where qualifiers leave it open.

    Its instant is the last of the day.

    Parameters
    ----------
    track : Track
    months : tuple of int
        The rule's months, to number the seasons again.

    Returns
    -------
    Track
    """
    date = track.dates.astype("datetime64[D]")
    if len(np.unique(date)) == track.n:
        return track
    frame = pd.DataFrame(
        {"date": date, "time": track.times, "low": track.low, "high": track.high, "value": track.value}
    )
    frame["limit"] = np.where(track.qualifier == EQUAL, "", track.qualifier)
    by_day = frame.groupby("date", sort=True)
    out = by_day[["value", "low", "high"]].median()
    limit = by_day["limit"].max().to_numpy(dtype=object)
    dates = out.index.to_numpy().astype("datetime64[us]")
    return replace(
        track,
        times=by_day["time"].max().to_numpy(),
        dates=dates,
        value=out["value"].to_numpy(),
        qualifier=np.where(out["low"].to_numpy() == out["high"].to_numpy(), EQUAL, limit).astype(object),
        low=out["low"].to_numpy(),
        high=out["high"].to_numpy(),
        segment=segments(dates, months),
    )


__all__ = ["PercentileRule", "daily"]
