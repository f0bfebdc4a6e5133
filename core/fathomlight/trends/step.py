"""A step at a known year: rank-sum test per season."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from fathomlight.errors import ArgumentError
from fathomlight.model import Result
from fathomlight.trends._blocks import split
from fathomlight.trends._distributions import normal_quantile
from fathomlight.trends._inputs import SeriesInput, as_floats, check_fraction, check_length, series_input
from fathomlight.trends._scores import two_sided, z_score
from fathomlight.trends._slopes import breakpoints, slope_and_limits
from fathomlight.trends.notes import notes_on_qualifiers
from fathomlight.trends.words import direction_of
from fathomlight.words import likelihood


@dataclass(frozen=True, kw_only=True)
class StepResult(Result):
    """Answer of :func:`seasonal_step`.

    Attributes
    ----------
    n, n_before, n_after : int
        Values used.
    s, variance, z, p : float
        Pairs certainly higher after - pairs certainly lower, its variance, standard score with continuity
        correction, two-sided probability.
    step, step_low, step_high : float
        Hodges-Lehmann size of the step and its limits, [unit].
    direction : str
    confidence : float
        Confidence in that direction, 0.5 to 1.
    likelihood : str
    n_seasons : int
        Seasons with values on both sides.
    method : str
    notes : tuple of str
    """

    n: int
    n_before: int
    n_after: int
    s: float
    variance: float
    z: float
    p: float
    step: float
    step_low: float
    step_high: float
    direction: str
    confidence: float
    likelihood: str
    n_seasons: int
    method: str = ""
    notes: tuple[str, ...] = ()


def seasonal_step(
    values: Any, years: Any, seasons: Any, *, at: float, qualifiers: Any = None, confidence: float = 0.95
) -> StepResult:
    """Test for a step in a known year, season by season.

    Per season the rank-sum statistic of the values after against those before, and its variance with ties;
    both are added up over seasons, one continuity correction. The size is the median of all differences
    after - before within seasons (with qualifiers: where the score of the shifted values crosses zero).

    Parameters
    ----------
    values, years, seasons : array-like, shape (n,)
        NaN = missing.
    at : float
        First year that counts as after.
    qualifiers : array-like of {"=", "<", ">"}, shape (n,), optional
    confidence : float
        Level of the limits, [1].

    Returns
    -------
    StepResult

    Raises
    ------
    ArgumentError
        On wrong shapes, infinite values, unknown qualifiers.

    References
    ----------
    Hirsch, R.M. 1988. Statistical methods and sampling design for estimating step trends in surface-water
    quality. Water Resources Bulletin 24:493-503. Helsel, D.R. & R.M. Hirsch. 2002. Statistical Methods in
    Water Resources.

    Examples
    --------
    >>> seasonal_step([1, 2, 3, 11, 12, 13], [1, 2, 3, 4, 5, 6], ["May"] * 6, at=4).step
    10.0
    """
    check_fraction(confidence, "confidence")
    if not math.isfinite(at):
        raise ArgumentError("at", "must be a year", got=at)
    series = series_input(values, as_floats(years, "years"), qualifiers)
    labels = np.asarray(seasons, dtype=object)
    check_length(labels, series.n_given, "seasons")
    halves = SeriesInput(
        series.values,
        (series.times >= at).astype(np.float64),
        series.codes,
        series.kept,
        series.n_given,
        False,
    )
    blocks = [b for b in split(halves, labels) if np.ptp(b.series.times) > 0]
    s = sum(b.score.s for b in blocks)
    variance = sum(b.score.variance for b in blocks)
    spread = normal_quantile((1 + confidence) / 2) * math.sqrt(variance) if blocks else math.nan
    points = breakpoints([(b.series.times, b.series.values, b.series.codes) for b in blocks])
    step, low, high = slope_and_limits(points, spread, "interpolated")
    z = z_score(s, variance) if blocks else math.nan
    p = two_sided(z) if blocks else math.nan
    sure = 1 - p / 2 if blocks else 0.5
    after = int(np.sum(halves.times))
    return StepResult(
        n=series.n,
        n_before=series.n - after,
        n_after=after,
        s=float(s),
        variance=variance,
        z=z,
        p=p,
        step=step,
        step_low=low,
        step_high=high,
        direction=direction_of(s),
        confidence=sure,
        likelihood=likelihood(sure),
        n_seasons=len(blocks),
        notes=tuple(_notes(series, halves, blocks)),
        method=(
            f"Seasonal rank-sum test of {at:g} and later against earlier years; Hodges-Lehmann step with "
            f"{100 * confidence:g} % limits (interpolated ranks); n = {series.n - after} + {after} in "
            f"{len(blocks)} seasons."
        ),
    )


def _notes(series: SeriesInput, halves: SeriesInput, blocks: list[Any]) -> list[str]:
    notes = [
        "The year must be known beforehand; a year chosen because the data step there makes p too small."
    ]
    if not blocks:
        notes.append("No season has values on both sides of the step: nothing can be compared.")
    after = int(np.sum(halves.times))
    if min(after, series.n - after) < 5:
        notes.append("Fewer than 5 values on one side of the step.")
    return notes + notes_on_qualifiers(series)
