"""What the workspace answers about one station and one period, gathered once for every part of a report."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from fathomlight.errors import ArgumentError, NotFoundError
from fathomlight.figures.shown import Units
from fathomlight.model import ABOVE, BELOW, EQUAL, MEASURED, USED_FLAGS, Parameter, Station, Water
from fathomlight.report.period import Period
from fathomlight.seasons import StandingResult, bounded_median, standing
from fathomlight.seasons.days import day_of_year

if TYPE_CHECKING:
    from fathomlight.workspace import HabitatAnswer, TrendAnswer, TrophicAnswer, Workspace


@dataclass(frozen=True, kw_only=True)
class Facts:
    """One station in one period.

    Attributes
    ----------
    station, water, parameter, period
        What it is about; the parameter speaks for clarity.
    until : datetime.date
        Last day that counts: the end of the period, or the day taken as today.
    rows : pandas.DataFrame
        Used readings of the parameter in the period, with ``where``: clearer, usual or murkier than the band of the
        past, empty on days without a band.
    past_years : tuple of int
        First and last year with used readings before the year the period begins in; empty when there is none.
    median, past_median : (float, str)
        Of the used readings of the period, and of earlier ones at the same days of the year (median of the band's
        medians on those days): number [unit] and qualifier, since a median of bounds may be a bound; NaN without.
    standing : StandingResult
        Of the latest reading of the period.
    envelope, every : pandas.DataFrame
        The band; all readings of the period at the station, any parameter, depth and flag.
    days_by_year : pandas.Series
        Days with used readings of the parameter, by year.
    trend, trophic : TrendAnswer, TrophicAnswer
        By whole years, up to the one the period ends in.
    habitat : HabitatAnswer or None
        Of the water; None where it cannot be told.
    episodes : pandas.DataFrame
        Those that were going on in the period.
    n_refused : int
        Refused rows of files in force that name the station, of any year.
    """

    station: Station
    water: Water
    parameter: Parameter
    period: Period
    until: dt.date
    rows: pd.DataFrame
    past_years: tuple[int, ...]
    median: tuple[float, str]
    past_median: tuple[float, str]
    standing: StandingResult
    envelope: pd.DataFrame
    every: pd.DataFrame
    days_by_year: pd.Series
    trend: TrendAnswer
    trophic: TrophicAnswer
    habitat: HabitatAnswer | None
    episodes: pd.DataFrame
    n_refused: int

    @property
    def year(self) -> int:
        """The year the period ends in: the last one that counts."""
        return self.until.year


def main_parameter(ws: Workspace, station: str, parameter: str | None = None) -> Parameter:
    """Return the parameter that speaks for clarity at a station: the one named, else the first it has.

    Raises
    ------
    fathomlight.errors.ArgumentError
        The parameter says nothing of clarity.
    """
    if parameter is not None:
        what = ws.parameter(parameter)
        if what.clearer is None:
            clear = ", ".join(p.name for p in ws.parameters.values() if p.clearer)
            raise ArgumentError(
                "parameter", "says nothing of clarity", got=parameter, expected=f"one of {clear}"
            )
        return what
    for name in ws.parameters_at(station):
        if ws.parameters[name].clearer is not None:
            return ws.parameters[name]
    return ws.parameters.get("secchi") or next(iter(ws.parameters.values()))


def last_day(ws: Workspace, period: Period) -> dt.date:
    """Return the last day of a period that can have been read."""
    return min(ws.as_of, period.last)


def used(rows: pd.DataFrame) -> pd.DataFrame:
    """Return the readings that statistics use."""
    return rows[rows["flag"].isin([int(f) for f in USED_FLAGS])]


def gather(
    ws: Workspace,
    station: str,
    period: Period | int,
    *,
    parameter: str | None = None,
    species: str = "walleye",
    habitat: bool = True,
    units: Units | None = None,
) -> Facts:
    """Ask the workspace everything a report on one station needs.

    Parameters
    ----------
    ws : Workspace
        Open.
    station : str
        Id, name or alias.
    period : Period or int
        The period, or a year.
    parameter : str, optional
        What speaks for clarity.
    species : str
        Whose habitat, as in ``config/species.toml``.
    habitat : bool
        False leaves the habitat out: it is the slowest answer.
    units : {"metric", "us"}, optional
        Of the sentences of episodes; those of the workspace when left out.

    Returns
    -------
    Facts
        Nothing in it is later than the period, but for what is told by whole years.
    """
    period = Period.of_year(period) if isinstance(period, int) else period
    where = ws.station(station)
    what = main_parameter(ws, where.id, parameter)
    until = last_day(ws, period)
    series = ws.series(where.id, what.name, columns=MEASURED)
    series = series[series["local_date"] <= pd.Timestamp(until)]
    good = used(series)
    years = good["local_date"].dt.year
    envelope = ws.envelope(where.id, what.name, year=period.first.year)
    rows = against(good[good["local_date"] >= pd.Timestamp(period.first)], envelope, what)
    past = sorted(years[years < period.first.year].unique())
    return Facts(
        station=where,
        water=ws.waters[where.water],
        parameter=what,
        period=period,
        until=until,
        rows=rows,
        past_years=(int(past[0]), int(past[-1])) if past else (),
        median=median_of(rows),
        past_median=_past_median(rows, envelope, series),
        standing=_standing(ws, series, where, what, until),
        envelope=envelope,
        every=readings_of(ws, where.id, period),
        days_by_year=good.groupby(years)["local_date"].nunique(),
        trend=ws.trend(where.id, what.name, end=until.year),
        trophic=ws.trophic(where.id),
        habitat=habitat_of(ws, where.water, species) if habitat else None,
        episodes=episodes_of(ws, period, where.id, units),
        n_refused=int(refused_by_station(ws).get(where.id, 0)),
    )


def readings_of(ws: Workspace, station: str | None, period: Period) -> pd.DataFrame:
    """Return every reading whose day at the station lies in a period, any parameter, depth and flag."""
    pad = pd.Timedelta(days=3)
    start, end = (pd.Timestamp(d, tz="UTC") for d in (period.first, period.last))
    table = ws.readings(station, start=start - pad, end=end + pad)
    first, last = pd.Timestamp(period.first), pd.Timestamp(last_day(ws, period))
    there = (table["local_date"] >= first) & (table["local_date"] <= last)
    kept: pd.DataFrame = table[there].reset_index(drop=True)
    return kept


def against(rows: pd.DataFrame, envelope: pd.DataFrame, parameter: Parameter) -> pd.DataFrame:
    """Say for every reading where it lies against the band of its day.

    A bound counts only as far as it goes: ``> 3`` is above the band when 3 is, and inside it otherwise.

    Parameters
    ----------
    rows : pandas.DataFrame
        ``local_date``, ``value``, ``qualifier``.
    envelope : pandas.DataFrame
        ``day_of_year``, ``low``, ``high``.
    parameter : Parameter
        Knows whether higher or lower means clearer.

    Returns
    -------
    pandas.DataFrame
        Sorted by day, with a column ``where``: clearer, usual, murkier, or empty on days without a band.
    """
    out = rows.sort_values("local_date", ignore_index=True)
    band = envelope.set_index("day_of_year")
    days = pd.Series(day_of_year(out["local_date"]), index=out.index)
    low, high = days.map(band["low"]), days.map(band["high"])
    above = (out["value"] > high) & (out["qualifier"] != BELOW)
    below = (out["value"] < low) & (out["qualifier"] != ABOVE)
    up, down = ("murkier", "clearer") if parameter.clearer == "lower" else ("clearer", "murkier")
    words = pd.Series("usual", index=out.index, dtype="str")
    return out.assign(where=words.mask(above, up).mask(below, down).mask(low.isna(), ""))


def median_of(rows: pd.DataFrame) -> tuple[float, str]:
    """Return the median of readings some of which may be bounds, and its qualifier.

    Parameters
    ----------
    rows : pandas.DataFrame
        ``value`` and ``qualifier``.
    """
    kept = rows.dropna(subset=["value"])
    if kept.empty:
        return float("nan"), EQUAL
    codes = np.array([{BELOW: -1, ABOVE: 1}.get(q, 0) for q in kept["qualifier"]], dtype=np.int8)
    value, code = bounded_median(kept["value"].to_numpy(dtype=float), codes)
    return value, {-1: BELOW, 0: EQUAL, 1: ABOVE}[code]


def _past_median(rows: pd.DataFrame, envelope: pd.DataFrame, series: pd.DataFrame) -> tuple[float, str]:
    """Return what is usual on the days that were read; a bound when bounds decide half of those days."""
    if rows.empty:
        return float("nan"), EQUAL
    band = envelope.set_index("day_of_year")
    days = pd.Series(day_of_year(rows["local_date"]))
    middle = float(days.map(band["median"]).median())
    opened = float(days.map(band["open_median"].astype(float)).mean())
    kinds = set(series["qualifier"].unique()) - {EQUAL}
    return middle, kinds.pop() if opened > 0.5 and len(kinds) == 1 else EQUAL


def _standing(
    ws: Workspace, series: pd.DataFrame, where: Station, what: Parameter, until: dt.date
) -> StandingResult:
    if until == ws.as_of:
        return ws.standing(where.id, what.name)
    # Of a time long past nobody asks whether its latest reading is recent.
    settings: dict[str, Any] = {**ws.config.standing.model_dump(), "clearer": what.clearer or "higher"}
    return standing(
        series,
        schedule_days=where.schedule_days,
        unit=what.unit,
        decimals=what.decimals,
        as_of=None,
        **settings,
    )


def habitat_of(ws: Workspace, water: str, species: str) -> HabitatAnswer | None:
    """Return the habitat of a water, or None where readings are too few to tell it."""
    if species not in ws.species:
        raise NotFoundError(
            "there is no species of this name", got=species, expected=f"one of {', '.join(ws.species)}"
        )
    try:
        return ws.habitat(water, species)
    except ArgumentError:
        return None


def episodes_of(
    ws: Workspace, period: Period, station: str | None = None, units: Units | None = None
) -> pd.DataFrame:
    """Return the episodes that were going on in a period, with naive ``opened`` and ``over``, oldest first."""
    table = ws.episodes(station=station, units=units)
    for name in ("opened", "over"):
        table[name] = pd.to_datetime(table[name], utc=True).dt.tz_localize(None)
    ended = table["over"].isna() | (table["over"] >= pd.Timestamp(period.first))
    begun = table["opened"] < pd.Timestamp(last_day(ws, period)) + pd.Timedelta(days=1)
    return table[ended & begun].sort_values(["opened", "key"], ignore_index=True)


def refused_by_station(ws: Workspace) -> dict[str, int]:
    """Count the refused rows of files in force by the station they name; rows that name none are left out."""

    def make() -> dict[str, int]:
        names = {n.strip().casefold(): s.id for s in ws.stations.values() for n in (s.id, s.name, *s.aliases)}
        counts: dict[str, int] = {}
        rows = ws.refused().drop_duplicates(["batch", "line"])
        for text in rows["row_text"]:
            for cell in _cells(str(text)):
                found = names.get(cell.strip().casefold())
                if found is not None:
                    counts[found] = counts.get(found, 0) + 1
                    break
        return counts

    return ws.remember(("refused by station",), make)


def _cells(text: str) -> list[str]:
    try:
        row = json.loads(text)
    except ValueError:
        return text.replace(";", ",").split(",")
    return [str(v) for v in row.values()] if isinstance(row, dict) else [str(v) for v in row]
