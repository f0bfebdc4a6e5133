"""Stratification through the year: depth-time grids and days stratified."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from fathomlight.errors import ArgumentError
from fathomlight.indices._values import FloatArray, as_floats, check_positive
from fathomlight.indices.stratification.density import DENSEST_DEGC, Formula, density_quietly
from fathomlight.indices.stratification.profile import DatedProfile, profiles_from_readings
from fathomlight.indices.stratification.thermocline import thermocline
from fathomlight.model import Result

if TYPE_CHECKING:
    import xarray as xr


def isotherm_grid(
    dates: Any,
    depths_m: Any,
    temperatures: Any,
    *,
    depth_step_m: float = 0.5,
    day_step: int = 1,
    max_gap_days: float = 45.0,
    min_density_gradient: float = 0.1,
    formula: Formula = "tanaka",
) -> xr.Dataset:
    """Temperature on an even depth-time grid, for isotherm pictures, with the thermocline of each visit.

    Parameters
    ----------
    dates : array_like of datetime, shape (n,)
        Local date of each reading.
    depths_m, temperatures : array_like, shape (n,)
        [m] and [degC].
    depth_step_m : float
        Grid step downward, [m].
    day_step : int
        Grid step in time, [d].
    max_gap_days : float
        Between visits further apart than this the grid stays empty.
    min_density_gradient : float
        As for :func:`~fathomlight.indices.stratification.thermocline`.
    formula : str
        Density formula.

    Returns
    -------
    xarray.Dataset
        ``temperature`` (time, depth) [degC], linear between readings and NaN below the deepest reading of the
        neighbouring visits; ``thermocline_depth``, ``metalimnion_top`` and ``metalimnion_bottom`` (visit)
        [m].

    Raises
    ------
    ArgumentError
        No day has three depths, or a value or step is impossible.
    """
    import xarray as xr

    check_positive("depth_step_m", as_floats("depth_step_m", depth_step_m), "a step")
    check_positive("day_step", as_floats("day_step", day_step), "a step")
    profiles = profiles_from_readings(dates, depths_m, temperatures)
    if not profiles:
        raise ArgumentError("depths_m", "no day has readings at three depths or more")
    deepest = max(float(p.depths_m[-1]) for p in profiles)
    depth = np.arange(0.0, deepest + depth_step_m / 2, depth_step_m)
    rows = np.array(
        [np.interp(depth, p.depths_m, p.temperatures, right=np.nan) for p in profiles]
    )  # above the first reading the first one is held
    visits = np.array([p.day for p in profiles])
    days = np.arange(visits[0], visits[-1] + np.timedelta64(1, "D"), np.timedelta64(day_step, "D"))
    grid = _between_visits(visits, rows, days, max_gap_days)
    layers = [
        thermocline(p.depths_m, p.temperatures, min_density_gradient=min_density_gradient, formula=formula)
        for p in profiles
    ]
    metres = {"units": "m", "positive": "down"}
    seconds = "datetime64[s]"
    return xr.Dataset(
        {
            "temperature": (
                ("time", "depth"),
                grid,
                {"units": "degC", "standard_name": "sea_water_temperature", "comment": "fresh water"},
            ),
            "thermocline_depth": ("visit", [r.depth for r in layers], metres),
            "metalimnion_top": ("visit", [r.metalimnion_top for r in layers], metres),
            "metalimnion_bottom": ("visit", [r.metalimnion_bottom for r in layers], metres),
        },
        coords={
            "time": days.astype(seconds),
            "depth": ("depth", depth, metres),
            "visit": visits.astype(seconds),
        },
    )


def _between_visits(visits: Any, rows: FloatArray, days: Any, max_gap_days: float) -> FloatArray:
    """Interpolate rows in time, column by column; nothing across a gap longer than ``max_gap_days``."""
    v, d = visits.astype(float), days.astype(float)
    right = np.clip(np.searchsorted(v, d, side="left"), 0, v.size - 1)
    left = np.clip(np.searchsorted(v, d, side="right") - 1, 0, v.size - 1)
    gap = v[right] - v[left]
    share = np.where(gap > 0, (d - v[left]) / np.where(gap > 0, gap, 1), 0.0)[:, None]
    out = np.where(share == 0, rows[left], rows[left] * (1 - share) + rows[right] * share)
    out[gap > max_gap_days] = np.nan
    return np.asarray(out)


@dataclass(frozen=True, kw_only=True)
class DaysStratifiedResult(Result):
    """Days stratified, year by year.

    Attributes
    ----------
    table : pandas.DataFrame
        ``year``, ``profiles``, ``days`` (stratified days among the covered ones), ``covered_days`` (days
        between visits close enough to judge), ``first`` and ``last`` stratified day (NaT when none),
        ``open_start`` and ``open_end`` (True when the lake was already, or still, stratified at the first
        or last covered day: ``days`` is a lower bound).
    threshold : float
        Density difference that counts as stratified, [kg/m3].
    reading, method : str
        One plain sentence, and how it was done.
    notes : tuple of str
        What to know before using it.
    """

    table: pd.DataFrame
    threshold: float
    reading: str
    method: str
    notes: tuple[str, ...] = ()


def days_stratified(
    dates: Any,
    depths_m: Any,
    temperatures: Any,
    *,
    threshold: float = 0.1,
    max_gap_days: float = 45.0,
    formula: Formula = "tanaka",
) -> DaysStratifiedResult:
    """Count the days of each year on which warm water lay on cold.

    Parameters
    ----------
    dates : array_like of datetime, shape (n,)
        Local date of each reading.
    depths_m, temperatures : array_like, shape (n,)
        [m] and [degC].
    threshold : float
        Density of the deepest minus that of the shallowest reading that counts as stratified, [kg/m3]; 0.1
        is common practice (no source).
    max_gap_days : float
        Days between visits further apart than this are not judged.
    formula : str
        Density formula.

    Returns
    -------
    DaysStratifiedResult
        The difference is taken linear between visits. Colder water over warmer (under ice) never counts.

    Raises
    ------
    ArgumentError
        A value or setting is impossible.
    """
    check_positive("threshold", as_floats("threshold", threshold), "a threshold")
    profiles = profiles_from_readings(dates, depths_m, temperatures, least_depths=2)
    rows = [
        _year_row(year, [p for p in profiles if _year(p.day) == year], threshold, max_gap_days, formula)
        for year in sorted({_year(p.day) for p in profiles})
    ]
    columns = ("year", "profiles", "days", "covered_days", "first", "last", "open_start", "open_end")
    table = pd.DataFrame(rows, columns=list(columns)).astype(
        {"first": "datetime64[s]", "last": "datetime64[s]"}
    )
    notes = ["Between visits the density difference is taken as a straight line."]
    if (table["open_start"] | table["open_end"]).any():
        notes.append(
            "Where the record begins or ends while the water is stratified, the count is a lower bound."
        )
    return DaysStratifiedResult(
        table=table,
        threshold=threshold,
        reading=_days_reading(table),
        method=(
            f"Days with a density difference of at least {threshold:g} kg/m3 between the deepest and the "
            f"shallowest reading ({formula}), linear between visits at most {max_gap_days:g} days apart."
        ),
        notes=tuple(notes),
    )


def _year(day: np.datetime64) -> int:
    return int(day.astype("datetime64[Y]").astype(int)) + 1970


def _year_row(
    year: int, profiles: list[DatedProfile], threshold: float, max_gap: float, formula: Formula
) -> tuple[Any, ...]:
    visits = np.array([p.day for p in profiles])
    difference = []
    for p in profiles:
        rho = density_quietly(p.temperatures[[0, -1]], formula)
        inverse = p.temperatures[0] < DENSEST_DEGC and p.temperatures[-1] > p.temperatures[0]
        difference.append(0.0 if inverse else float(rho[1] - rho[0]))
    days = np.arange(visits[0], visits[-1] + np.timedelta64(1, "D"))
    course = _between_visits(visits, np.array(difference)[:, None], days, max_gap)[:, 0]
    covered = np.isfinite(course)
    on = covered & (np.nan_to_num(course, nan=-math.inf) >= threshold)
    first, last = (days[on][0], days[on][-1]) if on.any() else (np.datetime64("NaT"), np.datetime64("NaT"))
    return (year, len(profiles), int(on.sum()), int(covered.sum()), first, last, bool(on[0]), bool(on[-1]))


def _days_reading(table: pd.DataFrame) -> str:
    if table.empty:
        return "There are no profiles to tell when the water was layered."
    row = table.iloc[-1]
    if not row["days"]:
        return f"In {row['year']} none of the visits found a warm layer over cold water."
    bound = "at least " if row["open_start"] or row["open_end"] else "about "
    first, last = (f"{d.day} {d:%b}" for d in (row["first"], row["last"]))
    return f"In {row['year']} warm water lay on cold for {bound}{row['days']} days, from {first} to {last}."
