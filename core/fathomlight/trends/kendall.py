"""Mann-Kendall test and Theil-Sen slope of one series."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from fathomlight.errors import ArgumentError
from fathomlight.trends._distributions import normal_quantile
from fathomlight.trends._inputs import Ints, SeriesInput, check_fraction, series_input
from fathomlight.trends._scores import (
    daniels,
    exact_two_sided,
    interval_codes,
    kendall_score,
    row_sums,
    time_codes,
    two_sided,
    z_score,
)
from fathomlight.trends._slopes import Ranks, breakpoints, slope_and_limits, zero_interval
from fathomlight.trends.intercept import line_intercept
from fathomlight.trends.notes import notes_on_limits, notes_on_qualifiers, notes_on_size
from fathomlight.trends.persistence import Correction, Lags, correct, notes_on_persistence
from fathomlight.trends.results import KendallResult
from fathomlight.trends.words import direction_of
from fathomlight.words import likelihood

EXACT_UP_TO = 10
"""Up to this many values without ties or qualifiers, p comes from the exact distribution."""


ROUGH_BELOW = 100
"""Below this many values a correction for serial dependence is called rough (simulated, see mann_kendall)."""


@dataclass(frozen=True)
class Score:
    """Kendall's score of one series and what its probability rests on."""

    s: int
    variance: float
    tau: float
    tau_b: float
    exact: bool
    sums: Ints
    """Per value the number certainly below it less the number certainly above."""


def score(series: SeriesInput) -> Score:
    """Return S, its permutation variance and tau."""
    n = series.n
    low, high = interval_codes(series.values, series.codes)
    s = kendall_score(series.times, low, high)
    pairs = n * (n - 1) / 2
    rank = 2 * time_codes(series.times)
    by_time, timed = row_sums(rank, rank)
    by_value, decided = row_sums(low, high)
    tied = decided / 2 < pairs or timed / 2 < pairs
    return Score(
        s=s,
        variance=daniels(n, by_time, timed, by_value, decided) if n > 1 else 0.0,
        tau=s / pairs if pairs else math.nan,
        tau_b=2 * s / math.sqrt(timed * decided) if timed and decided else math.nan,
        exact=3 <= n <= EXACT_UP_TO and not tied,
        sums=by_value,
    )


def mann_kendall(
    values: Any,
    times: Any = None,
    *,
    qualifiers: Any = None,
    correction: Correction | None = None,
    lags: Lags = "significant",
    confidence: float = 0.95,
) -> KendallResult:
    """Test one series for a monotonic trend.

    S = (pairs certainly rising) - (pairs certainly falling); Var(S) from all permutations of the values over
    the times (Daniels' formula, which serves ties in value, ties in time and qualifiers); Z = (S - sign
    S)/sqrt(Var S). For n <= 10 without ties or qualifiers p is exact.

    Parameters
    ----------
    values : array-like, shape (n,)
        NaN = missing.
    times : array-like, shape (n,), optional
        Numbers or dates (then slopes are per year); None means 0, 1, 2, ... in the order given.
        Several values at one time are allowed; pairs of them score 0.
    qualifiers : array-like of {"=", "<", ">"}, shape (n,), optional
        ``<`` below the number given, ``>`` above it. None means all exact.
    correction : {None, "hamed-rao", "yue-wang"}
        Correction of Var(S) for serial dependence; needs evenly spaced times (gaps allowed).
    lags : "significant", "all" or int
        Which lags enter the correction. All lags together can cancel it: significant ones are the default.
    confidence : float
        Level of the slope limits, [1].

    Returns
    -------
    KendallResult
        ``s, variance, z, p, tau`` (tau-a), ``slope`` with limits and intercept as :func:`theil_sen` gives
        them, direction, confidence 1 - p/2, its IPCC word, method and notes.

    Raises
    ------
    ArgumentError
        On wrong shapes, infinite values, unknown qualifiers, uneven times with a correction.

    Notes
    -----
    The corrections for serial dependence are rough in short series. Simulated here (600 records each,
    first-order autoregressive noise without trend, 5 % tests), share in which a trend is found:

    ====  ===  ======  ======================  ==================
    r     n    none    significant lags (H-R)  lag 1 only (H-R)
    ====  ===  ======  ======================  ==================
    0.0   40   6 %     10 %                    9 %
    0.3   40   14 %    16 %                    9 %
    0.3   100  11 %    11 %                    6 %
    0.6   100  26 %    17 %                    11 %
    ====  ===  ======  ======================  ==================

    For series with seasons, the covariance between seasons of ``seasonal_kendall`` does better.

    References
    ----------
    Mann, H.B. 1945. Nonparametric tests against trend. Econometrica 13:245-259. Kendall, M.G. 1975. Rank
    Correlation Methods. Gilbert, R.O. 1987. Statistical Methods for Environmental Pollution Monitoring, ch.
    16. Helsel, D.R. 2012. Statistics for Censored Environmental Data (scores under qualifiers).

    Examples
    --------
    >>> answer = mann_kendall([10, 10, 10, 5, 10, 20, 18, 17, 15, 24, 15])
    >>> answer.s, round(answer.variance, 2), round(answer.z, 3), answer.slope
    (22.0, 155.33, 1.685, 1.0)
    """
    series = series_input(values, times, qualifiers)
    return analyse(
        series, correction=correction, lags=lags, level=confidence, ranks="interpolated", lead="test"
    )


def theil_sen(
    values: Any,
    times: Any,
    *,
    qualifiers: Any = None,
    confidence: float = 0.95,
    ranks: Ranks = "interpolated",
) -> KendallResult:
    """Return the median of all pairwise slopes, with limits from the distribution of Kendall's S.

    With qualifiers it is the Akritas-Theil-Sen slope: where S of the residuals x - b t against time crosses
    zero (the middle, where it is zero over an interval), and the limits are where that S crosses +C and -C.

    Parameters
    ----------
    values, times : array-like, shape (n,)
        NaN = missing; dates give slopes per year.
    qualifiers : array-like of {"=", "<", ">"}, shape (n,), optional
    confidence : float
        Level of the limits, [1].
    ranks : {"interpolated", "nearest", "outward"}
        With C = z sqrt(Var S) and N' slopes, the limits are the slopes of rank M1 = (N' - C)/2 and
        M2 + 1 = (N' + C)/2 + 1. Fractional ranks are interpolated, rounded, or moved outward.

    Returns
    -------
    KendallResult
        Slope and limits [unit of values per unit of times]; a limit is infinite where the data set none.

    Raises
    ------
    ArgumentError
        On wrong shapes, infinite values, unknown qualifiers or rank rules.

    References
    ----------
    Theil, H. 1950. A rank-invariant method of linear and polynomial regression analysis. Sen, P.K. 1968.
    Estimates of the regression coefficient based on Kendall's tau. Journal of the American Statistical
    Association 63:1379-1389. Gilbert, R.O. 1987. Statistical Methods for Environmental Pollution Monitoring,
    ch. 16. Akritas, M.G., S.A. Murphy & M.P. LaValley. 1995. The Theil-Sen estimator with doubly censored
    data. J. Am. Stat. Assoc. 90:170-177.

    Examples
    --------
    >>> theil_sen([1.0, 2.0, 4.0, 4.5, 6.0], [0, 1, 2, 3, 4]).slope
    1.25
    """
    if ranks not in ("interpolated", "nearest", "outward"):
        raise ArgumentError(
            "ranks", "unknown rank rule", got=ranks, expected="interpolated, nearest or outward"
        )
    series = series_input(values, times, qualifiers)
    return analyse(series, correction=None, lags="significant", level=confidence, ranks=ranks, lead="slope")


def analyse(
    series: SeriesInput, *, correction: Correction | None, lags: Lags, level: float, ranks: Ranks, lead: str
) -> KendallResult:
    """Return test and slope of one checked series."""
    check_fraction(level, "confidence")
    found = score(series)
    points = breakpoints([(series.times, series.values, series.codes)])
    variance, exact, sentence = found.variance, found.exact, ""
    used: tuple[int, ...] = ()
    if correction is not None and series.n >= 3 and points.pairs:
        slope, _, _ = slope_and_limits(points, math.nan, ranks)
        corrected = correct(series, variance, slope, correction, lags)
        variance, used, sentence, exact = corrected.variance, corrected.lags, corrected.sentence, False
    spread = normal_quantile((1 + level) / 2) * math.sqrt(max(variance, 0.0)) if series.n >= 3 else math.nan
    slope, low, high = slope_and_limits(points, spread, ranks)
    z, p = _probability(series.n, found, variance, exact)
    notes = notes_on_size(series.n, series.n_missing)
    notes += notes_on_qualifiers(series)
    if variance <= 0 and series.n >= 3:
        notes.append(
            "No pair of values has a certain order, or the corrected variance is not positive: no test."
        )
    if correction is None:
        notes += notes_on_persistence(series, slope)
    elif series.n < ROUGH_BELOW:
        notes.append(
            "With fewer than 100 values a correction for serial dependence is rough: more false trends than the "
            "level says remain."
        )
    notes += _notes_on_step(series, slope, found.sums)
    zero_low, zero_high = zero_interval(points)
    result = KendallResult(
        n=series.n,
        s=float(found.s),
        variance=variance,
        z=z,
        p=p,
        tau=found.tau,
        tau_b=found.tau_b,
        exact=exact,
        slope=slope,
        slope_low=low,
        slope_high=high,
        intercept=line_intercept(series.times, series.values, series.codes, slope),
        n_missing=series.n_missing,
        n_below=int(np.sum(series.codes < 0)),
        n_above=int(np.sum(series.codes > 0)),
        variance_uncorrected=found.variance,
        lags=used,
        ranks=ranks,
        level=level,
        zero_low=zero_low,
        zero_high=zero_high,
    )
    notes += notes_on_limits(result)
    return with_direction(replace(result, notes=tuple(notes), method=_method(series, result, sentence, lead)))


def _probability(n: int, found: Score, variance: float, exact: bool) -> tuple[float, float]:
    if n < 3:
        return math.nan, math.nan
    z = z_score(found.s, variance)
    return z, exact_two_sided(found.s, n) if exact else two_sided(z)


def with_direction(result: KendallResult) -> KendallResult:
    """Return the result with direction, confidence 1 - p/2 and its word."""
    sure = 0.5 if math.isnan(result.p) else 1 - result.p / 2
    return replace(result, direction=direction_of(result.s), confidence=sure, likelihood=likelihood(sure))


def _method(series: SeriesInput, result: KendallResult, correction: str, lead: str) -> str:
    how = "exact distribution" if result.exact else "normal approximation with continuity correction"
    ties = "ties and qualifiers" if series.qualified else "ties"
    test = f"Mann-Kendall test ({how}, permutation variance for {ties}"
    test += f"; {correction})" if correction else ")"
    name = "Akritas-Theil-Sen" if series.qualified else "Theil-Sen"
    unit = " per year" if series.dated else ""
    slope = f"{name} slope{unit} with {100 * result.level:g} % limits ({result.ranks} ranks)"
    first, second = (test, slope) if lead == "test" else (slope, test)
    return f"{first}; {second}; n = {result.n}; tau is tau-a."


def _notes_on_step(series: SeriesInput, slope: float, sums: Ints) -> list[str]:
    from fathomlight.trends.change import notes_on_step

    return notes_on_step(series, slope, sums)
