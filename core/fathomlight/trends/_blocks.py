"""Kendall's test over blocks (seasons, stations): scores added up, and their covariance."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from fathomlight.trends._inputs import Codes, Floats, SeriesInput
from fathomlight.trends._scores import interval_codes, row_sums
from fathomlight.trends.kendall import Score, score

YEARS_FOR_COVARIANCE = 10
"""Years from which on the covariance between blocks is used (common practice asks for about ten)."""


@dataclass(frozen=True)
class Block:
    """One season or station: its label, its series in order of time, and its score."""

    label: Any
    series: SeriesInput
    score: Score


def split(series: SeriesInput, labels: Sequence[Any] | npt.NDArray[Any]) -> list[Block]:
    """Return one block per label, in order; ``labels`` are as long as the arrays handed over."""
    held = pd.Series(np.asarray(labels, dtype=object)[series.kept])
    number, distinct = pd.factorize(held)
    order = sorted(range(len(distinct)), key=lambda k: _sort_key(distinct[k]))
    blocks = []
    for k in order:
        chosen = np.flatnonzero(number == k)
        part = SeriesInput(
            series.values[chosen],
            series.times[chosen],
            series.codes[chosen],
            series.kept[chosen],
            chosen.size,
            series.dated,
        )
        blocks.append(Block(distinct[k], part, score(part)))
    return blocks


def _sort_key(label: Any) -> tuple[int, Any]:
    if isinstance(label, (int, float, np.integer, np.floating)):
        return (0, float(label))
    return (1, label) if isinstance(label, tuple) else (2, str(label))


def covariance_matrix(blocks: list[Block]) -> tuple[Floats, bool]:
    """Return the covariance matrix of the blocks' scores, variances on the diagonal.

    cov(S_g, S_h) = [K_gh + sum_i r_ig r_ih] / 3 with K_gh = sum over i < j of the products of the pair
    scores and r_ig the row sum of pair scores of time i in block g (0 where missing). With r = 2 R - n_g - 1
    this is the formula of Hirsch & Slack in mid-ranks, [K_gh + 4 sum R_ig R_ih - n (n_g + 1)(n_h + 1)]/3,
    and takes qualifiers as well.

    Returns
    -------
    covariance : ndarray, shape (m, m)
    reduced : bool
        True when several values at one time and block had to be reduced to their median for the off-diagonal.

    References
    ----------
    Dietz, E.J. & T.J. Killeen. 1981. A nonparametric multivariate test for monotone trend with
    pharmaceutical applications. Journal of the American Statistical Association 76:169-174. Hirsch, R.M. &
    J.R. Slack. 1984. A nonparametric trend test for seasonal data with serial dependence. Water Resources
    Research 20:727-732.
    """
    times = np.unique(np.concatenate([b.series.times for b in blocks])) if blocks else np.empty(0)
    shape = (times.size, len(blocks))
    sums, lows, highs = np.zeros(shape), np.full(shape, np.nan), np.full(shape, np.nan)
    reduced = False
    for g, block in enumerate(blocks):
        when, values, codes, repeated = one_per_time(block.series)
        reduced = reduced or repeated
        low, high = interval_codes(values, codes)
        at = np.searchsorted(times, when)
        sums[at, g] = row_sums(low, high)[0]
        lows[at, g], highs[at, g] = low, high
    products = sums.T @ sums
    for i in range(times.size - 1):
        rising = (highs[i] < lows[i + 1 :]).astype(np.float64)
        falling = (lows[i] > highs[i + 1 :]).astype(np.float64)
        signs = rising - falling
        products += signs.T @ signs
    covariance: Floats = products / 3.0
    for g, block in enumerate(blocks):
        covariance[g, g] = block.score.variance
    return covariance, reduced


def one_per_time(series: SeriesInput) -> tuple[Floats, Floats, Codes, bool]:
    """Return one value per time: the median of those at one time, as a bound where qualifiers decide it."""
    distinct, first, counts = np.unique(series.times, return_index=True, return_counts=True)
    if distinct.size == series.n:
        return series.times, series.values, series.codes, False
    from fathomlight.seasons import bounded_median

    values, codes = np.empty(distinct.size), np.zeros(distinct.size, dtype=np.int8)
    for k, (start, count) in enumerate(zip(first, counts, strict=True)):
        part = slice(start, start + count)
        values[k], codes[k] = bounded_median(series.values[part], series.codes[part])
    held = ~np.isnan(values)
    return distinct[held], values[held], codes[held], True
