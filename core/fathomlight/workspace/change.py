"""Is it changing, how fast, how surely: one station, and all of them together."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from fathomlight.errors import ArgumentError
from fathomlight.model import EQUAL, USED_FLAGS, Parameter, Result
from fathomlight.trends import (
    ChangePointResult,
    DetectableResult,
    KendallResult,
    SeasonalTrendResult,
    change_point,
    detectable_trend,
    direction_words,
    false_discovery,
    mann_kendall,
    seasonal_kendall,
    smooth_deseasoned,
    theil_sen,
)
from fathomlight.workspace.looking import Looking


@dataclass(frozen=True, kw_only=True)
class TrendAnswer(Result):
    """What is known of the change of one parameter at one station.

    Attributes
    ----------
    station, parameter, unit : str
        What was asked.
    seasonal : SeasonalTrendResult
        Seasonal Kendall on the season cells: the test this answer rests on.
    annual : KendallResult
        Mann-Kendall and Theil-Sen on the medians of whole years (over their season cells).
    change_point : ChangePointResult
        Pettitt on the same yearly medians.
    by_season : pandas.DataFrame
        One row a season: n, s, p, slope.
    cells, yearly : pandas.DataFrame
        What the tests saw.
    n_readings, n_left_out : int
        Readings used, and left out for their flag.
    first_year, last_year : int
        The window.
    clarity : {"clearer", "murkier", "no direction"}
        The direction in terms of clarity; "no direction" below 66 % confidence or 5 years.
    sentence : str
        The answer in one sentence.
    notes : tuple of str
        What a careful reader must know.
    """

    station: str
    parameter: str
    unit: str
    seasonal: SeasonalTrendResult
    annual: KendallResult
    change_point: ChangePointResult
    by_season: pd.DataFrame
    cells: pd.DataFrame
    yearly: pd.DataFrame
    n_readings: int
    n_left_out: int
    first_year: int
    last_year: int
    clarity: str
    sentence: str
    notes: tuple[str, ...] = ()

    @property
    def method(self) -> str:
        """One sentence fit to be copied into a report."""
        return self.seasonal.method


LEAST_YEARS = 5
"""Below so many years no trend is spoken of (Hirsch & Slack 1984: records of about 5 years are too short)."""


class Change(Looking):
    """Trends of the stations of a workspace."""

    def trend(
        self, station: str, parameter: str = "secchi", *, start: int | None = None, end: int | None = None
    ) -> TrendAnswer:
        """Answer whether a parameter at a station is changing.

        Parameters
        ----------
        station, parameter : str
            Id (or name) of the station, name of the parameter.
        start, end : int, optional
            First and last year of the window.

        Returns
        -------
        TrendAnswer
            Test, slope with limits, certainty in words, season table, change point, notes.

        Raises
        ------
        fathomlight.errors.NotFoundError
            No such station or parameter.
        fathomlight.errors.ArgumentError
            The window is empty.
        """
        where, what = self.station(station), self.parameter(parameter)
        if start is not None and end is not None and start > end:
            raise ArgumentError("start", "the window is empty", got=(start, end), expected="start <= end")
        return self.remember(
            ("trend", where.id, what.name, start, end), lambda: self._trend(where.id, what, start, end)
        )

    def _trend(self, station: str, parameter: Parameter, start: int | None, end: int | None) -> TrendAnswer:
        cells = cells_between(self.season_cells(station, parameter.name), start, end)
        seasonal = seasonal_kendall(
            cells["value"], cells["year"], cells["season"].astype(str), qualifiers=cells["qualifier"]
        )
        yearly = _yearly(cells)
        annual = _annual(yearly)
        step = change_point(yearly["value"], yearly["year"], qualifiers=yearly["qualifier"])
        left_out = int(cells["n_left_out"].sum()) if len(cells) else 0
        years = (int(cells["year"].min()), int(cells["year"].max())) if len(cells) else (0, 0)
        table = pd.DataFrame(
            [{"season": b.label, "n": b.n, "s": b.s, "p": b.p, "slope": b.slope} for b in seasonal.blocks],
            columns=["season", "n", "s", "p", "slope"],
        )
        order = {s.name: i for i, s in enumerate(self.seasons.seasons)}
        table = table.sort_values("season", key=lambda c: c.map(order), ignore_index=True)
        return TrendAnswer(
            station=station,
            parameter=parameter.name,
            unit=parameter.unit,
            seasonal=seasonal,
            annual=annual,
            change_point=step,
            by_season=table,
            cells=cells,
            yearly=yearly,
            n_readings=int(cells["count"].sum()) if len(cells) else 0,
            n_left_out=left_out,
            first_year=years[0],
            last_year=years[1],
            clarity=clarity_word(seasonal, parameter),
            sentence=self._trend_sentence(station, parameter, seasonal, years),
            notes=_notes(seasonal, annual, left_out),
        )

    def _trend_sentence(
        self, station: str, parameter: Parameter, result: SeasonalTrendResult, years: tuple[int, int]
    ) -> str:
        name = self.stations[station].name
        if not math.isfinite(result.p) or result.n_times < LEAST_YEARS:
            return (
                f"{parameter.label} at {name}: {result.n_times} years are too few to speak of a trend; "
                f"{LEAST_YEARS} are the least."
            )
        if result.slope == 0:
            return (
                f"{parameter.label} at {name}, {years[0]} to {years[1]}: no change that readings of this precision "
                f"can show (slope 0, {100 * result.level:g} % limits {result.slope_low:+.3g} to "
                f"{result.slope_high:+.3g} {parameter.unit} a year)."
            )
        words = direction_words(result.direction, result.confidence, clearer=parameter.clearer)
        digits = slope_digits(result.slope, parameter.decimals)
        return (
            f"{parameter.label} at {name}, {years[0]} to {years[1]}: {words}, by "
            f"{result.slope:+.{digits}f} {parameter.unit} a year "
            f"({100 * result.level:g} % limits {result.slope_low:+.{digits}f} to {result.slope_high:+.{digits}f})."
        )

    def trends(
        self,
        parameter: str = "secchi",
        *,
        start: int | None = None,
        end: int | None = None,
        rate: float = 0.05,
        progress: Callable[[int, int], None] | None = None,
    ) -> pd.DataFrame:
        """Answer the same for every station that has the parameter, with false discoveries controlled.

        Parameters
        ----------
        parameter : str
            Name of the parameter.
        start, end : int, optional
            First and last year of the window.
        rate : float
            Share of false discoveries accepted among the stations called sure, [1].
        progress : callable, optional
            Called with (stations done, stations in all).

        Returns
        -------
        pandas.DataFrame
            One row a station: n, n_years (with a value; below 5 no direction is spoken of),
            slope with limits [unit per year], p, p_adjusted (Benjamini & Hochberg 1995,
            over the stations with 5 years or more),
            sure, direction, clarity, confidence, likelihood, notes, sentence; steepest murkier first.
        """
        what = self.parameter(parameter)
        counts = self.counts()
        with_it = list(counts.loc[counts["parameter"] == what.name, "station"])
        self._fetch_cells(what)
        rows = []
        for done, station in enumerate(with_it, start=1):
            rows.append(self._trend_row(station, self.trend(station, what.name, start=start, end=end)))
            if progress is not None:
                progress(done, len(with_it))
        table = pd.DataFrame(rows, columns=list(_ROW))
        enough = table["n_years"] >= LEAST_YEARS
        table["p_adjusted"] = false_discovery(table["p"].where(enough).to_numpy(dtype=float))
        table["sure"] = (table["p_adjusted"] <= rate).fillna(value=False)
        sign = -1.0 if what.clearer == "lower" else 1.0
        return table.sort_values("slope", key=lambda c: sign * c, ignore_index=True)

    def _trend_row(self, station: str, answer: TrendAnswer) -> dict[str, Any]:
        s = answer.seasonal
        return {
            "station": station, "name": self.stations[station].name, "water": self.stations[station].water,
            "n": s.n, "n_readings": answer.n_readings, "first_year": answer.first_year, "last_year": answer.last_year,
            "n_years": s.n_times, "coverage": s.coverage, "slope": s.slope, "slope_low": s.slope_low,
            "slope_high": s.slope_high,
            "z": s.z, "p": s.p, "p_adjusted": math.nan, "sure": False, "tau": s.tau, "direction": s.direction,
            "clarity": answer.clarity, "confidence": s.confidence, "likelihood": s.likelihood,
            "n_below": s.n_below, "n_above": s.n_above, "sentence": answer.sentence, "notes": answer.notes,
        }  # fmt: skip

    def detectable(
        self, station: str, parameter: str = "secchi", *, within_years: int = 10, slope: float | None = None
    ) -> DetectableResult:
        """Say what change would be found at a station, given its own noise, persistence and visits.

        Parameters
        ----------
        station, parameter : str
            Id (or name) of the station, name of the parameter.
        within_years : int
            Years of sampling.
        slope : float, optional
            Slope whose years are wanted [unit per year]; that of the station's own trend when left out.

        Returns
        -------
        fathomlight.trends.DetectableResult
            Smallest slope found with 80 % power, and years needed (seeded simulation).
        """
        where, what = self.station(station), self.parameter(parameter)

        def make() -> DetectableResult:
            answer = self.trend(where.id, what.name)
            cells = answer.cells
            own = answer.seasonal.slope if math.isfinite(answer.seasonal.slope) else None
            return detectable_trend(
                cells["value"], cells["year"], cells["season"].astype(str), qualifiers=cells["qualifier"],
                within_years=within_years, slope=slope if slope is not None else (own or None),
            )  # fmt: skip

        return self.remember(("detectable", where.id, what.name, within_years, slope), make)

    def smooth(self, station: str, parameter: str = "secchi") -> pd.DataFrame:
        """Return a smooth line through the season cells with the season removed; for the eye only.

        Parameters
        ----------
        station, parameter : str
            Id (or name) of the station, name of the parameter.

        Returns
        -------
        pandas.DataFrame
            Columns ``year`` (decimal) and ``smooth`` [unit]; empty with fewer than five cells.
        """
        cells = self.trend(station, parameter).cells
        held = cells[cells["value"].notna()]
        if len(held) < 5:
            return pd.DataFrame(columns=["year", "smooth"], dtype=float)
        names = list(self.seasons.names)
        part = held["season"].astype(str).map({n: (i + 0.5) / len(names) for i, n in enumerate(names)})
        times = held["year"].to_numpy(dtype=float) + part.to_numpy(dtype=float)
        found = smooth_deseasoned(
            held["value"], times, held["season"].astype(str), qualifiers=held["qualifier"]
        )
        return pd.DataFrame({"year": found.times, "smooth": found.smooth})

    def trend_line(self, answer: TrendAnswer) -> pd.DataFrame:
        """Return the line of a trend with the fan of its limits, ready to be drawn.

        Parameters
        ----------
        answer : TrendAnswer
            Of :meth:`trend`.

        Returns
        -------
        pandas.DataFrame
            Columns ``year``, ``line``, ``low``, ``high``; the limits turn about the middle of the record. Empty when
            there is no slope.
        """
        s = answer.seasonal
        if not math.isfinite(s.slope) or not math.isfinite(s.intercept):
            return pd.DataFrame(columns=["year", "line", "low", "high"], dtype=float)
        years = np.linspace(answer.first_year, answer.last_year + 1, 41)
        middle = (answer.first_year + answer.last_year + 1) / 2
        level = s.intercept + s.slope * middle
        low, high = level + s.slope_low * (years - middle), level + s.slope_high * (years - middle)
        return pd.DataFrame({
            "year": years, "line": s.intercept + s.slope * years,
            "low": np.minimum(low, high), "high": np.maximum(low, high),
        })  # fmt: skip


_ROW = (
    "station", "name", "water", "n", "n_readings", "first_year", "last_year", "n_years", "coverage", "slope",
    "slope_low",
    "slope_high", "z", "p", "p_adjusted", "sure", "tau", "direction", "clarity", "confidence", "likelihood",
    "n_below", "n_above", "sentence", "notes",
)  # fmt: skip


def clarity_word(result: SeasonalTrendResult, parameter: Parameter) -> str:
    """Say a direction in terms of clarity, or that none can be told.

    Parameters
    ----------
    result : SeasonalTrendResult
        The test.
    parameter : Parameter
        Knows whether higher or lower means clearer.

    Returns
    -------
    str
        ``clearer``, ``murkier``, ``increasing``, ``decreasing`` or ``no direction`` (confidence below 66 %, fewer
        than 5 years, or a slope of exactly zero: most pairs of readings are equal at their precision).
    """
    if not math.isfinite(result.p) or result.direction == "none":
        return "no direction"
    if result.confidence < 0.66 or result.n_times < LEAST_YEARS or result.slope == 0:
        return "no direction"
    if parameter.clearer is None:
        return result.direction
    rises = result.direction == "increasing"
    return "clearer" if rises == (parameter.clearer == "higher") else "murkier"


def slope_digits(slope: float, decimals: int) -> int:
    """Return the digits after the point with which a slope is written: two that count, one more than the readings.

    Parameters
    ----------
    slope : float
        [unit per year].
    decimals : int
        Digits of the readings.

    Returns
    -------
    int
        2 to 6.

    Examples
    --------
    >>> slope_digits(0.081, 1), slope_digits(0.00042, 1), slope_digits(0.0, 0)
    (3, 5, 2)
    """
    needed = 1 - math.floor(math.log10(abs(slope))) if slope and math.isfinite(slope) else 0
    return min(max(decimals + 1, 2, needed), 6)


def cells_between(cells: pd.DataFrame, start: int | None, end: int | None) -> pd.DataFrame:
    """Return the season cells from one year to another, both included; None leaves a side open."""
    kept = cells
    if start is not None:
        kept = kept[kept["year"] >= start]
    if end is not None:
        kept = kept[kept["year"] <= end]
    return kept.reset_index(drop=True)


def _yearly(cells: pd.DataFrame) -> pd.DataFrame:
    from fathomlight.seasons import bounded_median

    codes = cells["qualifier"].map({"<": -1, EQUAL: 0, ">": 1}).to_numpy(dtype=np.int8)
    values, years = cells["value"].to_numpy(dtype=float), cells["year"].to_numpy()
    rows: list[dict[str, Any]] = []
    for year in np.unique(years):
        at = np.flatnonzero(years == year)
        value, code = bounded_median(values[at], codes[at].astype(np.int8))
        rows.append({"year": int(year), "value": value, "qualifier": {-1: "<", 0: EQUAL, 1: ">"}[code]})
    return pd.DataFrame(rows, columns=["year", "value", "qualifier"])


def _annual(yearly: pd.DataFrame) -> KendallResult:
    test = mann_kendall(yearly["value"], yearly["year"], qualifiers=yearly["qualifier"])
    line = theil_sen(yearly["value"], yearly["year"], qualifiers=yearly["qualifier"])
    return replace(
        test, slope=line.slope, slope_low=line.slope_low, slope_high=line.slope_high, intercept=line.intercept
    )


def _notes(seasonal: SeasonalTrendResult, annual: KendallResult, left_out: int) -> tuple[str, ...]:
    notes = list(seasonal.notes)
    notes += [n for n in annual.notes if "step" in n and n not in notes]
    if left_out:
        used = " or ".join(f.name.lower().replace("_", " ") for f in USED_FLAGS)
        who = "1 reading is" if left_out == 1 else f"{left_out} readings are"
        notes.append(f"{who} left out because of the quality flag; only {used} are used.")
    return tuple(notes)
