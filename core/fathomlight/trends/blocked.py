"""Kendall's test over blocks (seasons, stations): one engine for the Seasonal and the Regional test."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any, NamedTuple, TypeVar

import numpy as np

from fathomlight.model import Result
from fathomlight.trends._blocks import YEARS_FOR_COVARIANCE, Block, covariance_matrix
from fathomlight.trends._distributions import chi_square_tail, normal_quantile
from fathomlight.trends._inputs import Floats, SeriesInput, check_fraction
from fathomlight.trends._scores import two_sided, z_score
from fathomlight.trends._slopes import breakpoints, slope_and_limits, zero_interval
from fathomlight.trends.intercept import line_intercept
from fathomlight.trends.notes import notes_on_limits, notes_on_qualifiers, number
from fathomlight.trends.results import KendallResult
from fathomlight.trends.words import direction_of
from fathomlight.words import likelihood


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
    """Answer of a Kendall test over blocks; ``method`` says which variance ``variance, z, p`` are of.

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


R = TypeVar("R", bound=BlockedTrendResult)


class _Standard(NamedTuple):
    z: float
    p: float


class _Variances(NamedTuple):
    """The variance of S both ways, and which one counts."""

    independent: float
    dependent: float
    used: bool
    valid: bool
    reduced: bool

    @property
    def chosen(self) -> float:
        return self.dependent if self.used else self.independent


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
    n_times = int(np.unique(series.times).size)
    variances = _variances(blocks, n_times, dependence)
    testable = any(b.series.n >= 3 for b in blocks)
    points = breakpoints([(b.series.times, b.series.values, b.series.codes) for b in blocks])
    spread = (
        normal_quantile((1 + level) / 2) * math.sqrt(max(variances.chosen, 0.0)) if testable else math.nan
    )
    slope, low, high = slope_and_limits(points, spread, "interpolated")
    zero_low, zero_high = zero_interval(points)
    table = block_table(blocks)
    chi2 = van_belle_hughes(table)
    pairs = sum(row.n * (row.n - 1) / 2 for row in table)
    main = _standard(s, variances.chosen, testable, not variances.used)
    alone = _standard(s, variances.independent, testable, True)
    joint = _standard(s, variances.dependent, testable and variances.valid, len(blocks) == 1)
    sure = 0.5 if math.isnan(main.p) else 1 - main.p / 2
    result = kind(
        n=series.n,
        s=float(s),
        variance=variances.chosen,
        z=main.z,
        p=main.p,
        tau=s / pairs if pairs else math.nan,
        slope=slope,
        slope_low=low,
        slope_high=high,
        intercept=line_intercept(series.times, series.values, series.codes, slope),
        direction=direction_of(s),
        confidence=sure,
        likelihood=likelihood(sure),
        level=level,
        variance_independent=variances.independent,
        z_independent=alone.z,
        p_independent=alone.p,
        variance_covariance=variances.dependent if variances.valid else math.nan,
        z_covariance=joint.z,
        p_covariance=joint.p,
        variance_uncorrected=variances.independent,
        covariance_used=variances.used,
        blocks=table,
        n_missing=series.n_missing,
        n_below=int(np.sum(series.codes < 0)),
        n_above=int(np.sum(series.codes > 0)),
        homogeneity_chi2=chi2.homogeneity,
        homogeneity_df=chi2.df,
        homogeneity_p=chi2.p,
        n_times=n_times,
        coverage=_coverage(series.times, blocks),
        zero_low=zero_low,
        zero_high=zero_high,
        method=_method(series, variances.used, level, name, block, len(blocks), n_times),
    )
    return replace(result, notes=tuple(_notes(series, result, dependence, variances.reduced, block)))


def _variances(blocks: list[Block], n_times: int, dependence: bool) -> _Variances:
    independent = sum(b.score.variance for b in blocks)
    if len(blocks) < 2:
        return _Variances(independent, independent, False, independent > 0 and n_times >= 3, False)
    covariance, reduced = covariance_matrix(blocks)
    dependent = float(covariance.sum())
    valid = dependent > 0 and n_times >= 3
    used = dependence and valid and n_times >= YEARS_FOR_COVARIANCE
    return _Variances(independent, dependent, used, valid, reduced)


def _standard(s: float, variance: float, testable: bool, continuity: bool) -> _Standard:
    if not testable:
        return _Standard(math.nan, math.nan)
    z = z_score(s, variance) if continuity or variance <= 0 else s / math.sqrt(variance)
    return _Standard(z, two_sided(z))


def _method(
    series: SeriesInput, used: bool, level: float, name: str, block: str, n_blocks: int, n_times: int
) -> str:
    how = f"{block}s taken as independent, normal approximation with continuity correction"
    if used:
        how = f"covariance between {block}s included, normal approximation"
    ties = "ties and qualifiers" if series.qualified else "ties"
    slope = "Akritas-Theil-Sen" if series.qualified else "Theil-Sen"
    return (
        f"{name} ({how}, permutation variance for {ties}); {slope} slope within {block}s with "
        f"{100 * level:g} % limits (interpolated ranks); n = {series.n} in {n_blocks} {block}s and "
        f"{n_times} years; tau is S over all pairs compared."
    )


def block_table(blocks: list[Block]) -> tuple[BlockTrend, ...]:
    """Return the blocks one by one."""
    return tuple(_row(b) for b in blocks)


def _row(block: Block) -> BlockTrend:
    part, found = block.series, block.score
    slope, _, _ = slope_and_limits(
        breakpoints([(part.times, part.values, part.codes)]), math.nan, "interpolated"
    )
    test = _standard(found.s, found.variance, part.n >= 3, True)
    return BlockTrend(
        label=block.label.item() if isinstance(block.label, np.generic) else block.label,
        n=part.n,
        s=float(found.s),
        variance=found.variance,
        z=test.z,
        p=test.p,
        tau=found.tau,
        slope=slope,
        n_below=int(np.sum(part.codes < 0)),
        n_above=int(np.sum(part.codes > 0)),
    )


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
    p = float(chi_square_tail(df, apart)) if df else math.nan
    return ChiSquares(total, trend, apart, df, p, float(chi_square_tail(1, trend)))


def _coverage(times: Floats, blocks: list[Block]) -> float:
    if not times.size or np.any(times != np.floor(times)):
        return math.nan
    cells = (times[-1] - times[0] + 1) * len(blocks)
    return float(sum(np.unique(b.series.times).size for b in blocks) / cells)


def _notes(
    series: SeriesInput, result: BlockedTrendResult, dependence: bool, reduced: bool, block: str
) -> list[str]:
    notes = []
    if math.isnan(result.p):
        notes.append(f"No {block} has 3 values or more: no test is possible.")
    elif result.n_times < 5:
        notes.append(f"Only {result.n_times} years: a trend over so few says little about the future.")
    notes += _notes_on_dependence(result, dependence, block)
    if reduced:
        notes.append(
            f"Several values in one {block} and year: for the covariance each such cell is its median."
        )
    if result.homogeneity_p < 0.05:
        notes.append(
            f"The {block}s do not share one trend (homogeneity p {number(result.homogeneity_p)}): read each "
            f"{block} by itself, the common slope misleads."
        )
    if result.coverage < 0.75:
        notes.append(
            f"Only {100 * result.coverage:.0f} % of the {block} cells from first to last year hold a value."
        )
    gap = float(np.diff(np.unique(series.times)).max(initial=0.0))
    if result.n_times > 2 and gap > max((series.times[-1] - series.times[0]) / 3, 1.0):
        notes.append(
            f"One gap of {gap:g} years is more than a third of the record: what happened in it is unknown."
        )
    return notes + notes_on_qualifiers(series) + notes_on_limits(result)


def _notes_on_dependence(result: BlockedTrendResult, dependence: bool, block: str) -> list[str]:
    if len(result.blocks) < 2:
        return []
    short = result.n_times < YEARS_FOR_COVARIANCE
    notes = []
    if dependence and not result.covariance_used:
        why = "it is not positive"
        if short:
            why = f"{result.n_times} years are fewer than the {YEARS_FOR_COVARIANCE} needed"
        notes.append(
            f"The covariance between {block}s is reported but not used ({why}): z and p take {block}s as "
            "independent."
        )
    differ = (result.p_independent < 0.05) != (result.p_covariance < 0.05)
    if not short and differ and not math.isnan(result.p_covariance):
        notes.append(
            f"Dependence between {block}s decides at 5 %: p is {number(result.p_independent)} without and "
            f"{number(result.p_covariance)} with their covariance."
        )
    return notes
