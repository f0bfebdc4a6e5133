"""What trend could be found at all: the smallest slope in a number of years, and the years a slope needs."""

from __future__ import annotations

import math
import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from fathomlight.errors import ArgumentError
from fathomlight.model import Result
from fathomlight.trends._distributions import normal_quantile
from fathomlight.trends._inputs import Floats, check_fraction
from fathomlight.trends.notes import number

FEWEST_YEARS = 4
Noise = npt.NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class DetectableResult(Result):
    """Answer of :func:`detectable_trend`.

    Attributes
    ----------
    slope : float
        Smallest slope found with the wanted power in ``within_years``, [unit per year].
    within_years : int
    years_needed : int or None
        Years after which ``slope_given`` is found with the wanted power; None when not asked or beyond
        ``max_years``.
    slope_given : float
    power, significance : float
        Wanted power and two-sided level, [1].
    false_alarms : float
        Share of simulated records without any trend in which one is found, [1]; above ``significance`` when
        persistence is not fully corrected for.
    noise_sd : float
        Standard deviation around trend and season, [unit].
    persistence : float
        Correlation of one visit with the next, [1].
    visits_per_year : int
    slope_normal : float
        Closed form for comparison: (z_(1-a/2) + z_power) sd sqrt[(1+r)/(1-r)] / sqrt(visits sum (t - mean
        t)^2).
    simulations : int
    method : str
    notes : tuple of str
    """

    slope: float
    within_years: int
    years_needed: int | None
    slope_given: float
    power: float
    significance: float
    false_alarms: float
    noise_sd: float
    persistence: float
    visits_per_year: int
    slope_normal: float
    simulations: int
    method: str = ""
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class NoiseResult(Result):
    """Answer of :func:`station_noise`.

    Attributes
    ----------
    noise_sd : float
        Standard deviation around trend and season, [unit].
    persistence : float
        Correlation of one visit with the next beyond trend and season, 0 to 0.95, [1].
    visits_per_year : int
        Median number of values in a year that has any.
    n : int
        Values used.
    notes : tuple of str
    """

    noise_sd: float
    persistence: float
    visits_per_year: int
    n: int
    notes: tuple[str, ...] = ()


def station_noise(values: Any, years: Any, seasons: Any, *, qualifiers: Any = None) -> NoiseResult:
    """Estimate noise, persistence and visits per year of a station from its own record.

    Residuals are values minus trend line minus season median. With qualifiers the standard deviation is half
    the distance from the 16th to the 84th percentile of their nonparametric distribution.

    Parameters
    ----------
    values, years, seasons : array-like, shape (n,)
        One value per season and year; NaN = missing.
    qualifiers : array-like of {"=", "<", ">"}, shape (n,), optional

    Returns
    -------
    NoiseResult

    Raises
    ------
    ArgumentError
        With fewer than 8 values, or without any noise.
    """
    from fathomlight.trends._blocks import split
    from fathomlight.trends._inputs import as_floats, check_length, series_input
    from fathomlight.trends._slopes import breakpoints, slope_and_limits
    from fathomlight.trends.intercept import distribution, qualified_median
    from fathomlight.trends.persistence import autocorrelation

    series = series_input(values, as_floats(years, "years"), qualifiers)
    labels = np.asarray(seasons, dtype=object)
    check_length(labels, series.n_given, "seasons")
    if series.n < 8:
        raise ArgumentError(
            "values",
            "too few to estimate noise",
            got=series.n,
            expected="8 or more",
            fix="Give noise_sd and persistence from a similar station.",
        )
    blocks = split(series, labels)
    slope, _, _ = slope_and_limits(
        breakpoints([(b.series.times, b.series.values, b.series.codes) for b in blocks]),
        math.nan,
        "interpolated",
    )
    slope = 0.0 if math.isnan(slope) else slope
    parts, places = [], []
    for g, block in enumerate(blocks):
        left = block.series.values - slope * block.series.times
        middle = qualified_median(left, block.series.codes)
        parts.append(left - (middle if math.isfinite(middle) else np.median(left)))
        places.append(np.rint((block.series.times - series.times[0]) * len(blocks)).astype(np.int64) + g)
    residuals, position = np.concatenate(parts), np.concatenate(places)
    codes = np.concatenate([b.series.codes for b in blocks])
    notes = []
    if series.qualified:
        points, mass = distribution(residuals, codes)
        ends = points[np.searchsorted(np.cumsum(mass), [0.16, 0.84])]
        sd = float(ends[1] - ends[0]) / 2 if np.isfinite(ends).all() else float(np.std(residuals[codes == 0]))
        notes.append("Noise estimated with qualified values as bounds.")
    else:
        sd = float(np.sqrt(np.sum(residuals**2) / max(series.n - len(blocks) - 1, 1)))
    if sd <= 0:
        raise ArgumentError("values", "show no noise around trend and season", fix="Give noise_sd.")
    order = np.argsort(position, kind="stable")
    position, first = np.unique(position[order], return_index=True)
    r = float(autocorrelation(residuals[order][first], position, 1)[0])
    r = r + (1 + 4 * r) / series.n
    if r < 0:
        notes.append("Neighbouring visits are not alike beyond trend and season: persistence set to 0.")
    counts = np.unique(series.times, return_counts=True)[1]
    return NoiseResult(
        noise_sd=sd,
        persistence=min(max(r, 0.0), 0.95),
        visits_per_year=max(int(np.median(counts)), 1),
        n=series.n,
        notes=tuple(notes),
    )


def detectable_trend(
    values: Any = None,
    years: Any = None,
    seasons: Any = None,
    *,
    qualifiers: Any = None,
    noise_sd: float | None = None,
    persistence: float | None = None,
    visits_per_year: int | None = None,
    within_years: int = 10,
    slope: float | None = None,
    power: float = 0.8,
    significance: float = 0.05,
    serial_dependence: bool = True,
    simulations: int = 2000,
    max_years: int = 60,
    seed: int = 1964,
) -> DetectableResult:
    """Find the smallest slope a Seasonal Kendall test finds in N years, and the years a given slope needs.

    Simulated records have the noise, persistence (first-order autoregressive from visit to visit) and visits
    per year of the station, or those given; every record is tested as
    :func:`~fathomlight.trends.seasonal_kendall` would test it. The same noise serves every slope, so the
    answer moves smoothly with what is asked.

    Parameters
    ----------
    values, years, seasons : array-like, shape (n,), optional
        The station's own record (see :func:`station_noise`); needed for whichever of the next three is not
        given.
    qualifiers : array-like of {"=", "<", ">"}, shape (n,), optional
    noise_sd : float, optional
        [unit].
    persistence : float, optional
        0 to below 1, [1].
    visits_per_year : int, optional
        One season each.
    within_years : int
        N.
    slope : float, optional
        Slope whose years are wanted, [unit per year]; the sign does not matter.
    power, significance : float
        [1].
    serial_dependence : bool
        As in ``seasonal_kendall``.
    simulations : int
        Records simulated; 2,000 give the power to about 0.9 percentage points (one standard error).
    max_years : int
        Longest record looked at.
    seed : int
        Of numpy's generator: the same call gives the same answer.

    Returns
    -------
    DetectableResult

    Raises
    ------
    ArgumentError
        On impossible settings, or when neither a record nor the settings are given.

    Examples
    --------
    >>> settings = {"noise_sd": 1.0, "persistence": 0.0, "visits_per_year": 1}
    >>> answer = detectable_trend(**settings, within_years=20, simulations=300)
    >>> 0.09 < answer.slope < 0.14
    True
    """
    _check(within_years, slope, power, significance, simulations, max_years)
    sd, r, visits, notes = _settings(
        values, years, seasons, qualifiers, noise_sd, persistence, visits_per_year
    )
    longest = max(within_years, max_years if slope else 0)
    noise = _noise(simulations, longest, visits, r, seed)
    critical = normal_quantile(1 - significance / 2)

    def found(n_years: int, standard_slope: float) -> float:
        return _power(noise, n_years, standard_slope, serial_dependence, critical)

    normal = _closed_form(within_years, visits, r, power, significance)
    smallest = _smallest(lambda b: found(within_years, b), normal, power)
    alarms = found(within_years, 0.0) + _power(-noise, within_years, 0.0, serial_dependence, critical)
    needed = None
    if slope:
        enough = (n for n in range(FEWEST_YEARS, max_years + 1) if found(n, abs(slope) / sd) >= power)
        needed = next(enough, None)
        if needed is None:
            notes.append(
                f"A slope of {number(abs(slope))} is not found with this power within {max_years} years."
            )
    if alarms > 1.4 * significance + 0.01:
        notes.append(
            f"Without any trend, {100 * alarms:.0f} % of such records would still show one (persistence, or "
            "a short record)."
        )
    notes.append(
        "Visits are taken as evenly spread over the year; a long winter gap makes persistence matter less."
    )
    return DetectableResult(
        slope=smallest * sd,
        within_years=within_years,
        years_needed=needed,
        slope_given=abs(slope) if slope else math.nan,
        power=power,
        significance=significance,
        false_alarms=alarms,
        noise_sd=sd,
        persistence=r,
        visits_per_year=visits,
        slope_normal=normal * sd,
        simulations=simulations,
        notes=tuple(notes),
        method=(
            f"Simulation of {simulations} records of {visits} visits a year, noise {number(sd)}, persistence "
            f"{number(r)}; Seasonal Kendall test at {100 * significance:g} %, power {100 * power:g} %."
        ),
    )


def _check(
    within_years: int,
    slope: float | None,
    power: float,
    significance: float,
    simulations: int,
    max_years: int,
) -> None:
    check_fraction(power, "power")
    check_fraction(significance, "significance")
    if within_years < FEWEST_YEARS:
        raise ArgumentError(
            "within_years",
            "too short for any trend test",
            got=within_years,
            expected=f"{FEWEST_YEARS} or more",
        )
    if max_years < FEWEST_YEARS:
        raise ArgumentError(
            "max_years", "too short for any trend test", got=max_years, expected=f"{FEWEST_YEARS} or more"
        )
    if within_years > 200 or max_years > 200:
        raise ArgumentError(
            "within_years" if within_years > 200 else "max_years", "too long", expected="at most 200"
        )
    if simulations < 100:
        raise ArgumentError("simulations", "too few to say anything", got=simulations, expected="100 or more")
    if slope is not None and not (math.isfinite(slope) and slope != 0):
        raise ArgumentError("slope", "must be a number other than 0", got=slope)
    if power <= significance:
        raise ArgumentError("power", "must be above the significance", got=power)


def _settings(
    values: Any,
    years: Any,
    seasons: Any,
    qualifiers: Any,
    sd: float | None,
    r: float | None,
    visits: int | None,
) -> tuple[float, float, int, list[str]]:
    notes: list[str] = []
    if sd is None or r is None or visits is None:
        if values is None or years is None or seasons is None:
            raise ArgumentError(
                "values",
                "needed",
                expected="values, years and seasons, or noise_sd, persistence and visits_per_year",
            )
        own = station_noise(values, years, seasons, qualifiers=qualifiers)
        notes += own.notes
        sd = own.noise_sd if sd is None else sd
        r = own.persistence if r is None else r
        visits = own.visits_per_year if visits is None else visits
    if not (math.isfinite(sd) and sd > 0):
        raise ArgumentError("noise_sd", "must be greater than zero", got=sd)
    if not 0 <= r < 1:
        raise ArgumentError("persistence", "must lie from 0 to below 1", got=r)
    if not 1 <= visits <= 366:
        raise ArgumentError("visits_per_year", "must lie from 1 to 366", got=visits)
    return float(sd), float(r), int(visits), notes


def _noise(simulations: int, years: int, visits: int, r: float, seed: int) -> Noise:
    noise = np.random.default_rng(seed).standard_normal((simulations, years * visits))
    if r > 0:
        fresh = math.sqrt(1 - r * r)
        for k in range(1, noise.shape[1]):
            noise[:, k] = r * noise[:, k - 1] + fresh * noise[:, k]
    out: Noise = noise.reshape(simulations, years, visits)
    return out


def _power(noise: Noise, years: int, slope: float, dependence: bool, critical: float) -> float:
    """Return the share of records in which a rise is found, over all cores."""
    from fathomlight.trends._power_kernel import seasonal_z

    z: Floats = np.empty(noise.shape[0])
    cores = os.cpu_count() or 1
    cuts = np.linspace(0, z.size, cores + 1).astype(int)
    with ThreadPoolExecutor(cores) as pool:
        list(
            pool.map(
                lambda k: seasonal_z(
                    noise[cuts[k] : cuts[k + 1]], years, slope, dependence, z[cuts[k] : cuts[k + 1]]
                ),
                range(cores),
            )
        )
    return float(np.mean(z > critical))


def _closed_form(years: int, visits: int, r: float, power: float, significance: float) -> float:
    """Return the smallest slope of a least-squares line with known noise 1."""
    needed = normal_quantile(1 - significance / 2) + normal_quantile(power)
    return needed * math.sqrt((1 + r) / (1 - r)) / math.sqrt(visits * years * (years**2 - 1) / 12)


def _smallest(power_of: Any, start: float, power: float) -> float:
    low, high = 0.0, start
    for _ in range(40):
        if power_of(high) >= power:
            break
        low, high = high, 2 * high
    else:
        return math.inf
    while high - low > 2e-3 * high:
        middle = (low + high) / 2
        low, high = (low, middle) if power_of(middle) >= power else (middle, high)
    return high
