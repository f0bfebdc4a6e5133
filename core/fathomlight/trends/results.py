"""Result types of the Kendall family."""

from __future__ import annotations

import math
from dataclasses import dataclass

from fathomlight.model import TrendResult


@dataclass(frozen=True, kw_only=True)
class KendallResult(TrendResult):
    """Answer of :func:`~fathomlight.trends.mann_kendall` and :func:`~fathomlight.trends.theil_sen`.

    Attributes
    ----------
    tau : float
        tau-a: S over all pairs n(n-1)/2.
    tau_b : float
        S over the geometric mean of the pairs decided in time and in value.
    exact : bool
        True when ``p`` comes from the exact distribution.
    n_missing, n_below, n_above : int
        Missing values, and values that are ``<`` or ``>`` their number.
    variance_uncorrected : float
        Variance before a correction for serial dependence.
    lags : tuple of int
        Lags that entered the correction.
    ranks : str
        Rank rule of the limits.
    level : float
        Level of the limits, e.g. 0.95.
    zero_low, zero_high : float
        Interval of slopes over which S of the residuals is zero; ``slope`` is its middle.
    """

    tau_b: float = math.nan
    exact: bool = False
    n_missing: int = 0
    n_below: int = 0
    n_above: int = 0
    variance_uncorrected: float = math.nan
    lags: tuple[int, ...] = ()
    ranks: str = "interpolated"
    level: float = 0.95
    zero_low: float = math.nan
    zero_high: float = math.nan
