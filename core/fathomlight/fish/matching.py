"""Which clarity belongs to which survey: readings of the same water in declared windows of time."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from fathomlight.errors import ArgumentError
from fathomlight.fish.catch import zero_filled
from fathomlight.fish.windows import DAY as _DAY
from fathomlight.fish.windows import DEFAULT_WINDOWS, Window
from fathomlight.model import ABOVE, BELOW, EQUAL, SURVEY_COLUMNS, USED_FLAGS, Flag, Result, Station

Stations = Mapping[str, str] | Iterable[Station] | pd.DataFrame


MATCH_COLUMNS = (
    *SURVEY_COLUMNS,
    "window",
    "clarity",
    "clarity_qualifier",
    "clarity_low",
    "clarity_high",
    "readings",
    "reading_days",
    "stations",
    "nearest_days",
    "median_days",
    "distance_km",
    "first",
    "last",
)
"""Columns of a matched table. ``clarity`` is a median in the parameter's unit; ``clarity_low`` and
``clarity_high``
bound it; days count from reading to survey; ``distance_km`` is NaN unless both stations have coordinates."""


@dataclass(frozen=True, kw_only=True)
class MatchResult(Result):
    """Surveys with the readings that belong to them.

    Attributes
    ----------
    table : pandas.DataFrame
        One row a survey and window that found readings (:data:`MATCH_COLUMNS` and one column for each of
        ``also``).
    unmatched : pandas.DataFrame
        ``survey``, ``water``, ``window``, ``reason`` of the rest.
    parameter : str
        What stands for clarity.
    windows : tuple of Window
        As used.
    surveys : int
        Surveys asked about.
    method, notes
        See :class:`fathomlight.model.TrendResult`.
    """

    table: pd.DataFrame
    unmatched: pd.DataFrame
    parameter: str
    windows: tuple[Window, ...]
    surveys: int
    method: str
    notes: tuple[str, ...]


@dataclass(frozen=True)
class _Days:
    """Medians by station and day of one water, sorted by day; low and high bound each."""

    day: NDArray[np.datetime64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    station: NDArray[Any]
    readings: NDArray[np.int64]


def _station_water(
    readings: pd.DataFrame, stations: Stations | None
) -> tuple[pd.Series, dict[str, tuple[float, float]]]:
    places: dict[str, tuple[float, float]] = {}
    if stations is None:
        if "water" not in readings:
            raise ArgumentError(
                "stations",
                "the water of each reading is not known",
                fix="Give the stations, a mapping from station to water, or a water column in the readings.",
            )
        return readings["water"].astype(str), places
    if isinstance(stations, pd.DataFrame):
        column = "station" if "station" in stations else "id"
        lookup = dict(zip(stations[column].astype(str), stations["water"].astype(str), strict=True))
        if {"latitude", "longitude"} <= set(stations):
            spots = zip(
                stations[column].astype(str), stations["latitude"], stations["longitude"], strict=True
            )
            places = {name: (float(lat), float(lon)) for name, lat, lon in spots}
    elif isinstance(stations, Mapping):
        lookup = {str(key): str(value) for key, value in stations.items()}
    else:
        known = list(stations)
        lookup = {station.id: station.water for station in known}
        places = {station.id: (station.latitude, station.longitude) for station in known}
    return readings["station"].map(lookup), places


def _kilometres(a: tuple[float, float] | None, b: tuple[float, float] | None) -> float:
    """Great-circle distance (haversine) [km]."""
    if a is None or b is None:
        return math.nan
    lat1, lon1, lat2, lon2 = (math.radians(value) for value in (*a, *b))
    h = math.sin((lat2 - lat1) / 2) ** 2 + math.cos(lat1) * math.cos(lat2) * math.sin((lon2 - lon1) / 2) ** 2
    return 2 * 6371.0 * math.asin(math.sqrt(min(1.0, h))) if math.isfinite(h) else math.nan


def _by_day(readings: pd.DataFrame, water: pd.Series, flags: Sequence[Flag]) -> dict[str, _Days]:
    used = (
        readings["flag"].isin([int(flag) for flag in flags]) & np.isfinite(readings["value"]) & water.notna()
    )
    part = readings.loc[used, ["station", "local_date", "value", "qualifier"]].assign(water=water[used])
    part["low"] = part["value"].where(part["qualifier"] != BELOW, -math.inf)
    part["high"] = part["value"].where(part["qualifier"] != ABOVE, math.inf)
    part["day"] = part["local_date"].to_numpy().astype("datetime64[D]")
    grouped = part.groupby(["water", "day", "station"], sort=True)
    table = grouped.agg(
        low=("low", "median"), high=("high", "median"), readings=("low", "size")
    ).reset_index()
    out = {}
    for name, rows in table.groupby("water"):
        out[str(name)] = _Days(
            rows["day"].to_numpy().astype("datetime64[D]"),
            rows["low"].to_numpy(),
            rows["high"].to_numpy(),
            rows["station"].to_numpy(dtype=object),
            rows["readings"].to_numpy(dtype=np.int64),
        )
    return out


def _middle(values: Any) -> float:
    """Median that survives infinities (all of one sign)."""
    ordered = np.sort(np.asarray(values, dtype=float))
    n = ordered.size
    a, b = float(ordered[(n - 1) // 2]), float(ordered[n // 2])
    return a if a == b else (a + b) / 2


def _clarity(low: NDArray[np.float64], high: NDArray[np.float64]) -> tuple[float, str, float, float] | None:
    """Median with its qualifier, lower and upper bound; None when nothing bounds it."""
    least, most = _middle(low), _middle(high)
    if not math.isfinite(least) and not math.isfinite(most):
        return None
    if least == most:
        return least, EQUAL, least, most
    return (least, ABOVE, least, most) if math.isfinite(least) else (most, BELOW, least, most)


def _days_between(a: Any, b: Any) -> NDArray[np.float64]:
    return np.asarray(np.abs((np.asarray(a) - np.asarray(b)) / _DAY), dtype=np.float64)


def _why_not(
    days: _Days | None, survey: np.datetime64, bounds: tuple[np.datetime64, np.datetime64], parameter: str
) -> str:
    if days is None:
        return f"no usable {parameter} reading of this water at all"
    if bounds[1] < bounds[0]:
        return "the survey came before the season began"
    gap = (days.day - survey.astype("datetime64[D]")) / _DAY
    nearest = int(gap[np.argmin(np.abs(gap))])
    side = "before" if nearest < 0 else "after"
    where = "on the day" if nearest == 0 else f"{abs(nearest)} days {side}"
    return f"no usable {parameter} reading in the window; the nearest is {where} the survey"


@dataclass(frozen=True)
class _Matcher:
    parameter: str
    by_water: dict[str, _Days]
    also: dict[str, dict[str, _Days]]
    places: dict[str, tuple[float, float]]
    at_least: int

    def row(self, survey: Mapping[Any, Any], window: Window) -> dict[str, Any] | str:
        """Match one survey and one window; a text says why there is no match."""
        if pd.isna(survey["start"]):
            return "the survey has no date"
        start = np.datetime64(survey["start"])
        bounds = window.bounds(start)
        days = self.by_water.get(str(survey["water"]))
        inside = slice(0, 0) if days is None else _inside(days, bounds)
        if days is None or inside.start >= inside.stop:
            return _why_not(days, start, bounds, self.parameter)
        count = int(days.readings[inside].sum())
        if count < self.at_least:
            return f"only {count} of the {self.at_least} readings asked for"
        clarity = _clarity(days.low[inside], days.high[inside])
        if clarity is None:
            return "half of the readings are bounds from above and half from below: no median"
        apart = _days_between(days.day[inside], start.astype("datetime64[D]"))
        here = self.places.get(str(survey["station"]))
        far = [
            _kilometres(here, self.places.get(str(name)))
            for name in np.unique(days.station[inside].astype(str))
        ]
        far = [value for value in far if math.isfinite(value)]
        extra = {name: self._extra(name, str(survey["water"]), bounds) for name in self.also}
        return {
            "window": window.name,
            "clarity": clarity[0],
            "clarity_qualifier": clarity[1],
            "clarity_low": clarity[2],
            "clarity_high": clarity[3],
            "readings": count,
            "reading_days": int(np.unique(days.day[inside]).size),
            "stations": int(np.unique(days.station[inside].astype(str)).size),
            "nearest_days": float(apart.min()),
            "median_days": float(np.median(apart)),
            "distance_km": float(np.median(far)) if far else math.nan,
            "first": days.day[inside].min(),
            "last": days.day[inside].max(),
            **extra,
        }

    def _extra(self, name: str, water: str, bounds: tuple[np.datetime64, np.datetime64]) -> float:
        days = self.also[name].get(water)
        if days is None:
            return math.nan
        inside = _inside(days, bounds)
        found = _clarity(days.low[inside], days.high[inside]) if inside.start < inside.stop else None
        return found[0] if found is not None and found[1] == EQUAL else math.nan


def _inside(days: _Days, bounds: tuple[np.datetime64, np.datetime64]) -> slice:
    first = int(np.searchsorted(days.day, bounds[0], side="left"))
    return slice(first, int(np.searchsorted(days.day, bounds[1], side="right")))


def match_readings(
    surveys: pd.DataFrame,
    readings: pd.DataFrame,
    *,
    stations: Stations | None = None,
    windows: Sequence[Window] = DEFAULT_WINDOWS,
    parameter: str = "secchi",
    also: Sequence[str] = ("temperature",),
    surface_m: float = 2.0,
    at_least: int = 1,
    flags: Sequence[Flag] = USED_FLAGS,
) -> MatchResult:
    """Find the clarity that belongs to each survey.

    The value is the median over station-days of the median of each station-day, so that a logger does not
    outvote a disc. A bound (``>`` a disc on the bottom, ``<``) takes part as a bound: where it decides the
    median, the value carries the qualifier.

    Parameters
    ----------
    surveys : pandas.DataFrame
        ``SURVEY_COLUMNS``.
    readings : pandas.DataFrame
        ``READING_COLUMNS``; only ``parameter`` (and ``also``) with the given flags are used.
    stations : mapping, stations or DataFrame, optional
        Which water each station is in: a mapping from station to water, :class:`~fathomlight.model.Station`
        objects, or a table with ``station`` and ``water``. Not needed when the readings have a ``water``
        column.
    windows : sequence of Window
        One row a survey and window.
    parameter : str
        What stands for clarity.
    also : sequence of str
        Other parameters whose surface median (at ``surface_m`` or shallower) becomes a column of its name.
    surface_m : float
        See ``also`` [m].
    at_least : int
        Readings a window must hold.
    flags : sequence of Flag
        Flags that count.

    Returns
    -------
    MatchResult
        Matched table, unmatched list with reasons.

    Raises
    ------
    ArgumentError
        Missing columns, windows with the same name, or no way to know the water of a reading.
    """
    needed = ("station", "parameter", "depth_m", "local_date", "value", "qualifier", "flag")
    for frame, columns, name in ((surveys, list(SURVEY_COLUMNS), "surveys"), (readings, needed, "readings")):
        absent = [column for column in columns if column not in frame]
        if absent:
            raise ArgumentError(
                name, "columns are missing", got=", ".join(absent), expected=", ".join(columns)
            )
    names = [window.name for window in windows]
    if not names or len(set(names)) < len(names):
        raise ArgumentError("windows", "at least one window is needed, each with its own name", got=names)
    water, places = _station_water(readings, stations)
    shallow = readings["depth_m"].to_numpy(dtype=float) <= surface_m

    def of(name: str, surface: bool) -> dict[str, _Days]:
        mask = (readings["parameter"] == name).to_numpy() & (shallow if surface else True)
        return _by_day(readings[mask], water[mask], flags)

    extra = [name for name in also if name != parameter]
    matcher = _Matcher(parameter, of(parameter, False), {n: of(n, True) for n in extra}, places, at_least)
    rows: list[dict[Any, Any]] = []
    lost: list[dict[str, Any]] = []
    base = surveys[list(SURVEY_COLUMNS)]
    for survey in base.to_dict("records"):
        for window in windows:
            found = matcher.row(survey, window)
            if isinstance(found, str):
                lost.append(
                    {
                        "survey": survey["survey"],
                        "water": survey["water"],
                        "window": window.name,
                        "reason": found,
                    }
                )
            else:
                rows.append({**dict(survey), **found})
    table = pd.DataFrame(rows, columns=[*MATCH_COLUMNS, *extra])
    unmatched = pd.DataFrame(lost, columns=["survey", "water", "window", "reason"])
    return MatchResult(
        table=table,
        unmatched=unmatched,
        parameter=parameter,
        windows=tuple(windows),
        surveys=len(base),
        method=f"Median over station-days of {parameter} readings of the same water. Windows: "
        + "; ".join(window.words() for window in windows)
        + ".",
        notes=_notes(table, unmatched, int(water.isna().sum())),
    )


def _notes(table: pd.DataFrame, unmatched: pd.DataFrame, strangers: int) -> tuple[str, ...]:
    notes = []
    if len(unmatched):
        notes.append(
            f"{len(unmatched)} pairs of survey and window found no clarity; each is listed with the reason."
        )
    bounds = int((table["clarity_qualifier"] != EQUAL).sum())
    if bounds:
        notes.append(f"{bounds} medians are bounds, not measured values (a disc on the bottom, most often).")
    single = int((table["readings"] == 1).sum())
    if single:
        notes.append(f"{single} matches rest on a single reading.")
    if strangers:
        notes.append(f"{strangers} readings are of stations whose water is not known; they were not used.")
    return tuple(notes)


def linkage_table(
    match: MatchResult,
    catches: pd.DataFrame,
    species: str,
    *,
    window: str | None = None,
    gear: str | None = None,
    first_pass: bool = False,
) -> pd.DataFrame:
    """Join matched surveys with the zero-filled catch of one species, as ``clarity_effect`` takes it.

    Parameters
    ----------
    match : MatchResult
        From :func:`match_readings`.
    catches : pandas.DataFrame
        ``CATCH_COLUMNS``.
    species : str
        Which species.
    window : str, optional
        Which window; by default the first that was declared.
    gear : str, optional
        Keep one gear.
    first_pass : bool
        As in :func:`fathomlight.fish.zero_filled`.

    Returns
    -------
    pandas.DataFrame
        The matched table of the window with ``species``, ``count``, ``cpe``, ``year`` and ``day_of_year``.

    Raises
    ------
    ArgumentError
        A window that was not declared.
    """
    from fathomlight.fish.gears import gear_key

    declared = [item.name for item in match.windows]
    wanted = declared[0] if window is None else window
    if wanted not in declared:
        raise ArgumentError(
            "window", "this window was not declared", got=wanted, expected=", ".join(declared)
        )
    table = match.table.loc[match.table["window"] == wanted].reset_index(drop=True)
    if gear is not None:
        table = table.loc[table["gear"].map(gear_key) == gear_key(gear)].reset_index(drop=True)
    filled = zero_filled(table, catches, species, first_pass=first_pass)
    start = pd.to_datetime(table["start"])
    return table.assign(
        species=filled["species"].to_numpy(),
        count=filled["count"].to_numpy(),
        cpe=filled["cpe"].to_numpy(),
        year=start.dt.year.to_numpy(),
        day_of_year=start.dt.day_of_year.to_numpy(),
    )
