"""Seasonal Kendall test: each season is compared only with itself."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any, TypeVar

import numpy as np
from scipy.special import chdtrc, ndtri

from fathomlight.errors import ArgumentError
from fathomlight.model import Result
from fathomlight.trends._blocks import YEARS_FOR_COVARIANCE, Block, covariance_matrix, split
from fathomlight.trends._inputs import (
    Floats,
    SeriesInput,
    as_floats,
    check_fraction,
    check_length,
    series_input,
)
from fathomlight.trends._scores import two_sided, z_score
from fathomlight.trends._slopes import breakpoints, slope_and_limits, zero_interval
from fathomlight.trends.intercept import line_intercept
from fathomlight.trends.kendall import with_direction
from fathomlight.trends.notes import notes_on_limits, notes_on_qualifiers, number
from fathomlight.trends.results import KendallResult


@dataclass(frozen=True, kw_only=True)
class BlockTrend(Result):
    """One season (or station) of a test over blocks.

    Attributes
    ----------
    label : object
        Season or station.
    n : int
        Values used.
    s, variance, z, p, tau : float
        Score, variance, standard score with continuity correction, two-sided probability, tau-a.
    slope : float
        Theil-Sen slope of this block alone, [unit per year].
    n_below, n_above : int
        Values that are ``<`` or ``>`` their number.
    """

    label: Any
    n: int
    s: float
    variance: float
    z: float
    p: float
    tau: float
    slope: float
    n_below: int = 0
    n_above: int = 0


@dataclass(frozen=True, kw_only=True)
class BlockedTrendResult(KendallResult):
    """Answer of a Kendall test over blocks; ``variance``, ``z`` and ``p`` are those of the variance named in ``method``.

    Attributes
    ----------
    variance_independent, z_independent, p_independent : float
        With blocks taken as independent.
    variance_covariance, z_covariance, p_covariance : float
        With the covariance between blocks; NaN when it cannot be computed.
    covariance_used : bool
        Which of the two ``variance``, ``z`` and ``p`` are.
    blocks : tuple of BlockTrend
        The table of blocks.
    homogeneity_chi2, homogeneity_df, homogeneity_p : float, int, float
        Do the blocks share one trend (van Belle & Hughes 1984).
    n_times : int
        Different times (years) with a value.
    coverage : float
        Part of the cells (times x blocks, from first to last whole time) that hold a value, [1].
    """

    variance_independent: float = math.nan
    z_independent: float = math.nan
    p_independent: float = math.nan
    variance_covariance: float = math.nan
    z_covariance: float = math.nan
    p_covariance: float = math.nan
    covariance_used: bool = False
    blocks: tuple[BlockTrend, ...] = ()
    homogeneity_chi2: float = math.nan
    homogeneity_df: int = 0
    homogeneity_p: float = math.nan
    n_times: int = 0
    coverage: float = math.nan


@dataclass(frozen=True, kw_only=True)
class SeasonalTrendResult(BlockedTrendResult):
    """Answer of :func:`seasonal_kendall`; ``blocks`` are the seasons."""

    @property
    def seasons(self) -> tuple[BlockTrend, ...]:
        """The season table."""
        return self.blocks


R = TypeVar("R", bound=BlockedTrendResult)


def seasonal_kendall(
    values: Any,
    years: Any,
    seasons: Any,
    *,
    qualifiers: Any = None,
    serial_dependence: bool = True,
    confidence: float = 0.95,
) -> SeasonalTrendResult:
    """Test a series with seasons for a monotonic trend.

    S = sum_g S_g over seasons; Var(S) = sum_g Var(S_g), plus 2 sum_(g<h) cov(S_g, S_h) when seasons depend on each
    other. Z has one continuity correction with independent seasons and none with the covariance, as published results
    of either have it. The slope is the median of all slopes between years within a season.

    Parameters
    ----------
    values : array-like, shape (n,)
        NaN = missing. Best one value per season and year; several are allowed.
    years : array-like, shape (n,)
        Year (season year, water year) of each value.
    seasons : array-like, shape (n,)
        Season of each value: numbers or names.
    qualifiers : array-like of {"=", "<", ">"}, shape (n,), optional
    serial_dependence : bool
        Use the covariance between seasons for ``variance``, ``z`` and ``p``, provided there are 10 years or more.
        Both versions are reported side by side in any case.
    confidence : float
        Level of the slope limits, [1].

    Returns
    -------
    SeasonalTrendResult
        Slope and limits in [unit of values per year]; ``tau`` is S over all pairs compared.

    Raises
    ------
    ArgumentError
        On wrong shapes, infinite values or unknown qualifiers.

    References
    ----------
    Hirsch, R.M., J.R. Slack & R.A. Smith. 1982. Techniques of trend analysis for monthly water quality data. Water
    Resources Research 18:107-121. Hirsch, R.M. & J.R. Slack. 1984. A nonparametric trend test for seasonal data with
    serial dependence. Water Resources Research 20:727-732.

    Examples
    --------
    >>> answer = seasonal_kendall([1.0, 2.0, 3.0, 5.0, 6.0, 7.0], [1, 2, 3, 1, 2, 3], ["May"] * 3 + ["July"] * 3)
    >>> answer.s, answer.slope
    (6.0, 1.0)
    """
    when = as_floats(years, "years")
    series = series_input(values, when, qualifiers)
    check_length(_labels(seasons), series.n_given, "seasons")
    blocks = split(series, _labels(seasons))
    return analyse_blocks(
        SeasonalTrendResult, series, blocks, dependence=serial_dependence, level=confidence, name="Seasonal Kendall test",
        block="season",
    )  # fmt: skip


def _labels(labels: Any) -> Any:
    array = np.asarray(labels, dtype=object) if not isinstance(labels, np.ndarray) else labels
    if array.ndim != 1:
        raise ArgumentError("seasons", "must have one dimension", got=array.shape, expected="shape (n,)")
    return array


def analyse_blocks(
    kind: type[R],
    series: SeriesInput,
    blocks: list[Block],
    *,
    dependence: bool,
    level: float,
    name: str,
    block: str,
) -> R:
    """Return test, slope, block table and notes of a Kendall test over blocks."""
    check_fraction(level, "confidence")
    s = sum(b.score.s for b in blocks)
    independent = sum(b.score.variance for b in blocks)
    n_times = int(np.unique(series.times).size)
    covariance, reduced = covariance_matrix(blocks)
    dependent = float(covariance.sum()) if len(blocks) > 1 else independent
    valid = dependent > 0 and n_times >= 3
    used = dependence and valid and n_times >= YEARS_FOR_COVARIANCE and len(blocks) > 1
    variance = dependent if used else independent
    testable = any(b.series.n >= 3 for b in blocks)
    points = breakpoints([(b.series.times, b.series.values, b.series.codes) for b in blocks])
    spread = float(ndtri((1 + level) / 2)) * math.sqrt(max(variance, 0.0)) if testable else math.nan
    slope, low, high = slope_and_limits(points, spread, "interpolated")
    table = block_table(blocks)
    chi2 = van_belle_hughes(table)
    pairs = sum(row.n * (row.n - 1) / 2 for row in table)
    result = kind(
        n=series.n, s=float(s), variance=variance, **_z_and_p("", s, variance, testable, not used),
        tau=s / pairs if pairs else math.nan, slope=slope, slope_low=low, slope_high=high,
        intercept=line_intercept(series.times, series.values, series.codes, slope), level=level,
        variance_independent=independent, **_z_and_p("_independent", s, independent, testable),
        variance_covariance=dependent if valid else math.nan,
        **_z_and_p("_covariance", s, dependent if valid else math.nan, testable and valid, len(blocks) == 1),
        variance_uncorrected=independent, covariance_used=used, blocks=table, n_missing=series.n_missing,
        n_below=int(np.sum(series.codes < 0)), n_above=int(np.sum(series.codes > 0)),
        homogeneity_chi2=chi2.homogeneity, homogeneity_df=chi2.df, homogeneity_p=chi2.p, n_times=n_times,
        coverage=_coverage(series.times, len(blocks), blocks), zero_low=zero_interval(points)[0],
        zero_high=zero_interval(points)[1], ranks="interpolated",
    )  # fmt: skip
    notes = _notes(series, result, dependence, reduced, block)
    how = (
        f"covariance between {block}s included, normal approximation"
        if used
        else (f"{block}s taken as independent, normal approximation with continuity correction")
    )
    slope_name = "Akritas-Theil-Sen" if series.qualified else "Theil-Sen"
    method = (
        f"{name} ({how}, permutation variance for ties"
        f"{' and qualifiers' if series.qualified else ''}); {slope_name} slope within {block}s with {100 * level:g} % limits "
        f"(interpolated ranks); n = {series.n} in {len(blocks)} {block}s and {n_times} years; tau is S over all pairs compared."
    )
    return with_direction(replace(result, notes=tuple(notes), method=method))


def _z_and_p(
    suffix: str, s: float, variance: float, testable: bool, continuity: bool = True
) -> dict[str, float]:
    if not testable:
        return {f"z{suffix}": math.nan, f"p{suffix}": math.nan}
    z = z_score(s, variance) if continuity else s / math.sqrt(variance)
    return {f"z{suffix}": z, f"p{suffix}": two_sided(z)}


def block_table(blocks: list[Block]) -> tuple[BlockTrend, ...]:
    """Return the blocks one by one."""
    return tuple(_row(b) for b in blocks)


def _row(block: Block) -> BlockTrend:
    part, found = block.series, block.score
    points = breakpoints([(part.times, part.values, part.codes)])
    slope, _, _ = slope_and_limits(points, math.nan, "interpolated")
    label = block.label.item() if isinstance(block.label, np.generic) else block.label
    z_p = _z_and_p("", found.s, found.variance, part.n >= 3)
    return BlockTrend(
        label=label, n=part.n, s=float(found.s), variance=found.variance, tau=found.tau, slope=slope,
        n_below=int(np.sum(part.codes < 0)), n_above=int(np.sum(part.codes > 0)), **z_p,
    )  # fmt: skip


@dataclass(frozen=True)
class ChiSquares:
    """The parts of van Belle & Hughes' chi-square."""

    total: float
    trend: float
    homogeneity: float
    df: int
    p: float
    trend_p: float


def van_belle_hughes(table: tuple[BlockTrend, ...]) -> ChiSquares:
    """Return chi-square total, trend and homogeneity of blocks; blocks without variance are left out."""
    z: Floats = np.array(
        [row.s / math.sqrt(row.variance) for row in table if row.variance > 0 and row.n >= 3]
    )
    if z.size == 0:
        return ChiSquares(math.nan, math.nan, math.nan, 0, math.nan, math.nan)
    total, trend = float(np.sum(z**2)), float(z.size * z.mean() ** 2)
    apart, df = max(total - trend, 0.0), z.size - 1
    p = float(chdtrc(df, apart)) if df else math.nan
    return ChiSquares(total, trend, apart, df, p, float(chdtrc(1, trend)))


def _coverage(times: Floats, n_blocks: int, blocks: list[Block]) -> float:
    if not times.size or np.any(times != np.floor(times)):
        return math.nan
    cells = (times[-1] - times[0] + 1) * n_blocks
    return float(sum(np.unique(b.series.times).size for b in blocks) / cells)


def _notes(
    series: SeriesInput, result: BlockedTrendResult, dependence: bool, reduced: bool, block: str
) -> list[str]:
    notes = []
    if math.isnan(result.p):
        notes.append(f"No {block} has 3 values or more: no test is possible.")
    elif result.n_times < 5:
        notes.append(f"Only {result.n_times} years: a trend over so few says little about the future.")
    if dependence and not result.covariance_used and len(result.blocks) > 1:
        short = result.n_times < YEARS_FOR_COVARIANCE
        why = (
            f"{result.n_times} years are fewer than the {YEARS_FOR_COVARIANCE} needed"
            if short
            else "it is not positive"
        )
        notes.append(
            f"The covariance between {block}s is reported but not used ({why}): z and p take {block}s as independent."
        )
    estimable = result.n_times >= YEARS_FOR_COVARIANCE and not math.isnan(result.p_covariance)
    if estimable and (result.p_independent < 0.05) != (result.p_covariance < 0.05):
        notes.append(
            f"Dependence between {block}s decides at 5 %: p is {number(result.p_independent)} without and "
            f"{number(result.p_covariance)} with their covariance."
        )
    if reduced:
        notes.append(
            f"Several values in one {block} and year: for the covariance each such cell is its median."
        )
    if result.homogeneity_p < 0.05:
        notes.append(
            f"The {block}s do not share one trend (homogeneity p {number(result.homogeneity_p)}): read each {block} by itself, "
            "the common slope misleads."
        )
    if result.coverage < 0.75:
        notes.append(
            f"Only {100 * result.coverage:.0f} % of the {block} cells between first and last year hold a value."
        )
    gap = float(np.diff(np.unique(series.times)).max(initial=0.0))
    if result.n_times > 2 and gap > max((series.times[-1] - series.times[0]) / 3, 1.0):
        notes.append(
            f"One gap of {gap:g} years is more than a third of the record: what happened in it is unknown."
        )
    notes += notes_on_qualifiers(series)
    return notes + notes_on_limits(result)
