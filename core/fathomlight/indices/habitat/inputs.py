"""What habitat through the seasons is made from, laid out day by day."""

from __future__ import annotations

import weakref
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from fathomlight.errors import ArgumentError
from fathomlight.indices._values import (
    FloatArray,
    as_floats,
    check_between,
    check_positive,
    local_days,
    qualifier_array,
)
from fathomlight.indices.habitat.daylight import LightCourse, light_course
from fathomlight.indices.light import K_DEFAULT, check_k
from fathomlight.indices.stratification.profile import DatedProfile, profiles_from_readings
from fathomlight.indices.stratification.stability import depth_area
from fathomlight.indices.window import Window, in_window

Days = npt.NDArray[np.datetime64]


@dataclass(frozen=True, kw_only=True)
class HabitatInputs:
    """Readings and settings for one water; whatever is left out is named, and the rest is computed.

    Attributes
    ----------
    dates, secchi_m : array_like, shape (n,)
        Local dates and disc depths, [m]. Several on one day are averaged (geometric mean). Attenuation
        measured with a light meter can be given as the disc depth it stands for, ``k / Kd``.
    qualifiers : array_like of str, shape (n,), optional
        ``=``, ``<`` or ``>``; None means all ``=``.
    temperature_dates, temperature_depths_m, temperatures : array_like, shape (m,), optional
        Temperature readings: local dates, depths [m], values [degC]. Days with fewer than three depths are
        not used.
    area_depths_m, areas_m2 : array_like, optional
        Depth-area table, [m] and [m2].
    latitude : float, optional
        [deg], north positive. (The sum over a whole day does not depend on longitude.)
    season : ((month, day), (month, day))
        Open-water season, both ends included; may cross the end of the year.
    k : float
        k in Kd = k / SD.
    sky_factor : float
        Share of clear-sky light that comes through, above 0 and at most 1. Loss at the surface belongs here
        too; with 0.5 the band lies 0.41 SD higher (ln 2 / 1.7) and is as thick as before.
    light_step : float
        How finely twilight is resolved: step of light levels, [ln lux].
    depth_step_m : float, optional
        Depth step of the temperature grid, [m]; by default 1/250 of the greatest depth, at least 0.02.
    max_gap_days : float
        Days between readings further apart than this are not covered.
    hold_days : float
        A first or last reading also stands for so many days before or after it.
    fill_temperature : bool
        Whether days without a profile of their own take the mean of the same day in other years.
    """

    dates: Any = ()
    secchi_m: Any = ()
    qualifiers: Any = None
    temperature_dates: Any = None
    temperature_depths_m: Any = None
    temperatures: Any = None
    area_depths_m: Any = None
    areas_m2: Any = None
    latitude: float | None = None
    season: Window = ((5, 1), (10, 31))
    k: float = K_DEFAULT
    sky_factor: float = 1.0
    light_step: float = 0.25
    depth_step_m: float | None = None
    max_gap_days: float = 45.0
    hold_days: float = 15.0
    fill_temperature: bool = True


@dataclass(frozen=True)
class DayWeights:
    """How each day draws on two readings: the share of the second, and whether at all (``covered``)."""

    left: npt.NDArray[np.int_]
    right: npt.NDArray[np.int_]
    share: FloatArray
    covered: npt.NDArray[np.bool_]

    def spread(self, values: FloatArray) -> FloatArray:
        """Interpolate reading values (last axis, or first axis of a 2-D array of rows) to days."""
        a, b = values[..., self.left], values[..., self.right]
        return np.asarray(np.where(self.covered, a * (1 - self.share) + b * self.share, np.nan))

    def spread_rows(self, rows: FloatArray) -> FloatArray:
        """Interpolate rows (readings, depth) to (days, depth)."""
        share = self.share[:, None]
        out = rows[self.left] * (1 - share) + rows[self.right] * share
        out[~self.covered] = np.nan
        return np.asarray(out)


@dataclass(frozen=True)
class HabitatDays:
    """Everything day by day; the computing functions need nothing else.

    ``log_disc`` (days,) is ln of disc depth; ``light`` the light through each day of a year; ``bed`` (days,
    nodes) and ``plain_bed`` (nodes,) are suited bed and bed shallower than each grid node, with the flat
    bottom at the end. ``bound`` marks readings with a qualifier, ``above`` those of them that only say that
    the water was clearer.
    """

    days: Days
    year: npt.NDArray[np.int_]
    weights: DayWeights | None
    log_readings: FloatArray
    bound: npt.NDArray[np.bool_]
    above: npt.NDArray[np.bool_]
    reading_days: Days
    log_disc: FloatArray
    light: LightCourse | None
    nodes: FloatArray | None
    bed: FloatArray | None
    plain_bed: FloatArray | None
    surface_m2: float
    profile_days: Days
    temperature_filled: npt.NDArray[np.bool_]
    short_profiles: int
    missing: tuple[str, ...] = field(default=())


def _weights(visits: Days, days: Days, max_gap: float, hold: float) -> DayWeights:
    v, d = visits.astype(float), days.astype(float)
    right = np.clip(np.searchsorted(v, d, side="left"), 0, v.size - 1)
    left = np.clip(np.searchsorted(v, d, side="right") - 1, 0, v.size - 1)
    gap = v[right] - v[left]
    share = np.where(gap > 0, (d - v[left]) / np.where(gap > 0, gap, 1.0), 0.0)
    nearest = np.minimum(np.abs(d - v[left]), np.abs(d - v[right]))
    inside = (d >= v[0]) & (d <= v[-1]) & (gap <= max_gap)
    held = ~inside & (nearest <= hold)
    share = np.where(held, np.where(np.abs(d - v[right]) < np.abs(d - v[left]), 1.0, 0.0), share)
    return DayWeights(left, right, share, inside | held)


def _season_days(
    first: np.datetime64, last: np.datetime64, season: Window
) -> tuple[Days, npt.NDArray[np.int_]]:
    """List the season days of all years from ``first`` to ``last``, and the year each belongs to."""
    start = first.astype("datetime64[Y]").astype("datetime64[D]")
    end = (last.astype("datetime64[Y]") + 1).astype("datetime64[D]")
    days = np.arange(start, end)
    inside, year = in_window(days, season, "season")
    return days[inside], year[inside]


def day_of_year(days: Days) -> npt.NDArray[np.int_]:
    """Row of the light table of each day: position of its month and day in a leap year, from 0."""
    month = days.astype("datetime64[M]")
    offset = np.asarray((days - month).astype(int))
    leap = np.datetime64("2024-01", "M") + (month.astype(int) % 12)
    first = (leap.astype("datetime64[D]") - np.datetime64("2024-01-01")).astype(int)
    return np.asarray(first + offset)


def _by_day(
    inputs: HabitatInputs,
) -> tuple[Days, FloatArray, npt.NDArray[np.bool_], npt.NDArray[np.bool_]]:
    """Disc readings as one ln(depth) a day, whether it is a bound, and whether the water was clearer."""
    days = local_days("dates", inputs.dates)
    disc = as_floats("secchi_m", inputs.secchi_m).ravel()
    if days.size != disc.size:
        raise ArgumentError("secchi_m", "not as many values as dates", got=disc.size, expected=str(days.size))
    check_positive("secchi_m", disc, "a disc depth")
    qualifiers = qualifier_array(inputs.qualifiers, disc.size)
    used = ~np.isnat(days) & np.isfinite(disc)
    days, disc, signs = days[used], disc[used], qualifiers[used]
    unique, where = np.unique(days, return_inverse=True)
    count = np.bincount(where, minlength=unique.size)
    logs = np.bincount(where, weights=np.log(disc), minlength=unique.size) / np.maximum(count, 1)
    bound, above = (
        np.bincount(where, weights=marked, minlength=unique.size) > 0
        for marked in (signs != "=", signs == ">")
    )
    return unique, logs, bound, above


def _check_settings(inputs: HabitatInputs) -> None:
    check_k(inputs.k)
    if not 0.01 <= inputs.light_step <= 4:
        raise ArgumentError("light_step", "must lie between 0.01 and 4", got=inputs.light_step)
    if not 0 < inputs.sky_factor <= 1:
        raise ArgumentError("sky_factor", "must be above 0 and at most 1", got=inputs.sky_factor)
    if inputs.depth_step_m is not None:
        check_positive("depth_step_m", as_floats("depth_step_m", inputs.depth_step_m), "a step")
    check_positive("max_gap_days", as_floats("max_gap_days", inputs.max_gap_days), "a gap")
    if inputs.latitude is not None:
        check_between("latitude", as_floats("latitude", inputs.latitude), -90, 90, "a latitude")


def restrict(laid: HabitatDays, keep: npt.NDArray[np.bool_]) -> HabitatDays:
    """Keep some of the days.

    Parameters
    ----------
    laid : HabitatDays
        Inputs by day.
    keep : numpy.ndarray of bool, shape (days,)
        Days to keep.

    Returns
    -------
    HabitatDays
        The same readings, fewer days.
    """
    w = laid.weights
    return replace(
        laid,
        days=laid.days[keep],
        year=laid.year[keep],
        weights=None
        if w is None
        else DayWeights(w.left[keep], w.right[keep], w.share[keep], w.covered[keep]),
        log_disc=laid.log_disc[keep],
        bed=None if laid.bed is None else laid.bed[keep],
        temperature_filled=laid.temperature_filled[keep],
    )


_last: dict[str, tuple[weakref.ref[HabitatInputs], float, float, HabitatDays]] = {}
"""The inputs laid out last: area, sensitivity and interval of one water are usually asked for together."""


def lay_out(inputs: HabitatInputs, low_degc: float, high_degc: float) -> HabitatDays:
    """Bring every input to every season day.

    Parameters
    ----------
    inputs : HabitatInputs
        Readings and settings.
    low_degc, high_degc : float
        Temperature band, [degC].

    Returns
    -------
    HabitatDays
        With ``missing`` naming what was not there.

    Raises
    ------
    ArgumentError
        An input is impossible, or there is neither a disc nor a temperature reading.
    """
    last = _last.get("laid")
    if last is not None and last[0]() is inputs and last[1:3] == (low_degc, high_degc):
        return last[3]
    laid = _lay_out(inputs, low_degc, high_degc)
    _last["laid"] = (weakref.ref(inputs), low_degc, high_degc, laid)
    weakref.finalize(inputs, _last.clear)
    return laid


def _lay_out(inputs: HabitatInputs, low_degc: float, high_degc: float) -> HabitatDays:
    _check_settings(inputs)
    reading_days, log_readings, bound, above = _by_day(inputs)
    profiles = _profiles(inputs)
    profile_days = np.array([p.day for p in profiles], dtype="datetime64[D]")
    known = reading_days if reading_days.size else profile_days
    if not known.size:
        raise ArgumentError("secchi_m", "there is neither a disc reading nor a temperature profile")
    days, year = _season_days(known.min(), known.max(), inputs.season)
    weights, log_disc = None, np.full(days.size, np.nan)
    if reading_days.size:
        weights = _weights(reading_days, days, inputs.max_gap_days, inputs.hold_days)
        log_disc = weights.spread(log_readings)
    basin = _basin(inputs)
    nodes, plain = (None, None) if basin is None else basin
    bed, filled, short = None, np.zeros(days.size, dtype=bool), 0
    if nodes is not None and plain is not None and profiles:
        grid, filled = _daily_temperature(profiles, profile_days, days, nodes, inputs)
        bed = _suited(grid, plain, low_degc, high_degc)
        short = sum(float(p.depths_m[-1]) < 0.8 * float(nodes[-1]) for p in profiles)
    light = _light(inputs)
    there = {
        "disc readings": weights is not None,
        "latitude": light is not None,
        "depth-area table": basin is not None,
        "temperature profiles": bool(profiles),
    }
    return HabitatDays(
        days=days,
        year=year,
        weights=weights,
        log_readings=log_readings,
        bound=bound,
        above=above,
        reading_days=reading_days,
        log_disc=log_disc,
        light=light,
        nodes=nodes,
        bed=bed,
        plain_bed=plain,
        surface_m2=float("nan") if plain is None else float(plain[-1]),
        profile_days=profile_days,
        temperature_filled=filled,
        short_profiles=short,
        missing=tuple(name for name, found in there.items() if not found),
    )


def _profiles(inputs: HabitatInputs) -> list[DatedProfile]:
    if inputs.temperatures is None or np.size(inputs.temperatures) == 0:
        return []
    return profiles_from_readings(inputs.temperature_dates, inputs.temperature_depths_m, inputs.temperatures)


def _light(inputs: HabitatInputs) -> LightCourse | None:
    if inputs.latitude is None or np.isnan(inputs.latitude):
        return None
    return light_course(float(inputs.latitude), float(inputs.light_step), float(inputs.sky_factor))


def _basin(inputs: HabitatInputs) -> tuple[FloatArray, FloatArray] | None:
    """Return the depth grid, and the bed shallower than each of its nodes."""
    if inputs.area_depths_m is None or inputs.areas_m2 is None or np.size(inputs.areas_m2) == 0:
        return None
    table = depth_area(inputs.area_depths_m, inputs.areas_m2)
    nodes = _grid(float(table[0][-1]), inputs.depth_step_m)
    return nodes, _plain_bed(nodes, *table)


def _grid(deepest: float, step: float | None) -> FloatArray:
    wanted = max(deepest / 250.0, 0.02) if step is None else step
    return np.linspace(0.0, deepest, max(2, round(deepest / wanted) + 1))


def _plain_bed(nodes: FloatArray, za: FloatArray, areas: FloatArray) -> FloatArray:
    """Bed shallower than each node; one more entry holds it with the flat bottom, if there is one."""
    above = areas[0] - np.interp(nodes, za, areas)
    return np.append(above, areas[0])


def _daily_temperature(
    profiles: list[DatedProfile], profile_days: Days, days: Days, nodes: FloatArray, inputs: HabitatInputs
) -> tuple[FloatArray, npt.NDArray[np.bool_]]:
    """Temperature of each day at each node, and which days were filled from other years."""
    rows = np.array([np.interp(nodes, p.depths_m, p.temperatures) for p in profiles])
    weights = _weights(profile_days, days, inputs.max_gap_days, inputs.hold_days)
    grid = weights.spread_rows(rows)
    filled = np.zeros(days.size, dtype=bool)
    if not inputs.fill_temperature or weights.covered.all() or not weights.covered.any():
        return grid, filled
    row = day_of_year(days)
    total, count = np.zeros((366, nodes.size)), np.zeros(366)
    np.add.at(total, row[weights.covered], grid[weights.covered])
    np.add.at(count, row[weights.covered], 1)
    known = np.flatnonzero(count)
    mean = total[known] / count[known][:, None]
    position = np.searchsorted(known, row)
    exact = (position < known.size) & (known[np.minimum(position, known.size - 1)] == row)
    filled = ~weights.covered & exact
    grid[filled] = mean[position[filled]]
    return grid, filled


def _suited(grid: FloatArray, plain: FloatArray, low: float, high: float) -> FloatArray:
    """Bed of the right temperature shallower than each node, by day; linear within a cell."""
    spread = np.abs(np.diff(grid, axis=1))
    inside = np.abs(np.diff(np.clip(grid, low, high), axis=1))
    even = spread == 0
    share = np.divide(inside, spread, out=np.zeros_like(spread), where=~even)
    share[even] = ((grid[:, :-1] >= low) & (grid[:, :-1] <= high))[even]
    steps = share * np.diff(plain[:-1])
    out = np.zeros((grid.shape[0], plain.size))
    np.cumsum(steps, axis=1, out=out[:, 1:-1])
    flat = (grid[:, -1] >= low) & (grid[:, -1] <= high)
    out[:, -1] = out[:, -2] + flat * (plain[-1] - plain[-2])
    out[np.isnan(grid[:, 0])] = np.nan
    return out
