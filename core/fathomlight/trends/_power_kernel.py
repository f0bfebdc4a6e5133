"""The compiled kernel of :func:`~fathomlight.trends.detectable_trend`: z of many simulated records."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from fathomlight.trends._blocks import YEARS_FOR_COVARIANCE
from fathomlight.trends._compile import compiled
from fathomlight.trends._inputs import Floats
from fathomlight.trends._network_kernel import _signs_of


@compiled("void(float64[:,:,:], int64, float64, boolean, float64[:])")
def seasonal_z(
    noise: npt.NDArray[np.float64], years: int, slope: float, dependence: bool, out: Floats
) -> None:
    """Fill ``out`` with the Seasonal Kendall z of noise plus a trend.

    Parameters
    ----------
    noise : ndarray, shape (simulation, year, season)
    years : int
        Years used, from the first.
    slope : float
        Trend added, per year.
    dependence : bool
        Include the covariance between seasons from ten years on.
    out : ndarray, shape (simulation,)
    """
    seasons = noise.shape[2]
    pairs = years * (years - 1) // 2
    pair_sums, rows = np.empty(pairs, dtype=np.int16), np.empty(years, dtype=np.int16)
    values, all_sums = np.empty(years), np.empty(years)
    use = dependence and years >= YEARS_FOR_COVARIANCE and seasons > 1
    single = years * (years - 1.0) * (2.0 * years + 5.0) / 18.0
    for k in range(noise.shape[0]):
        pair_sums[:] = 0
        all_sums[:] = 0.0
        score, own = 0, 0.0
        for g in range(seasons):
            for i in range(years):
                values[i] = noise[k, i, g] + slope * i
            s, decided = _signs_of(values, values, pair_sums, rows)
            score += s
            own += decided
            for i in range(years):
                row = float(rows[i])
                own += row * row
                all_sums[i] += row
        variance, size = seasons * single, max(abs(float(score)) - 1.0, 0.0)
        if use:
            together = 0.0
            for m in range(pairs):
                together += float(pair_sums[m]) * float(pair_sums[m])
            for i in range(years):
                together += all_sums[i] * all_sums[i]
            dependent = variance + (together - own) / 3.0
            if dependent > 0.0:
                variance, size = dependent, abs(float(score))
        out[k] = math.copysign(size, float(score)) / math.sqrt(variance)
