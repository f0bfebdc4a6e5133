"""Seasonal Kendall test: each season is compared only with itself."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from fathomlight.errors import ArgumentError
from fathomlight.trends._blocks import split
from fathomlight.trends._inputs import as_floats, check_length, series_input
from fathomlight.trends.blocked import BlockedTrendResult, BlockTrend, analyse_blocks


@dataclass(frozen=True, kw_only=True)
class SeasonalTrendResult(BlockedTrendResult):
    """Answer of :func:`seasonal_kendall`; ``blocks`` are the seasons."""

    @property
    def seasons(self) -> tuple[BlockTrend, ...]:
        """The season table."""
        return self.blocks


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

    S = sum_g S_g over seasons; Var(S) = sum_g Var(S_g), plus 2 sum_(g<h) cov(S_g, S_h) when seasons depend
    on each other. Z has one continuity correction with independent seasons and none with the covariance, as
    published results of either have it. The slope is the median of all slopes between years within a season.

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
        Use the covariance between seasons for ``variance``, ``z`` and ``p``, provided there are 10 years or
        more. Both versions are reported side by side in any case.
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
    Hirsch, R.M., J.R. Slack & R.A. Smith. 1982. Techniques of trend analysis for monthly water quality data.
    Water Resources Research 18:107-121. Hirsch, R.M. & J.R. Slack. 1984. A nonparametric trend test for
    seasonal data with serial dependence. Water Resources Research 20:727-732.

    Examples
    --------
    >>> months = ["May"] * 3 + ["July"] * 3
    >>> answer = seasonal_kendall([1.0, 2.0, 3.0, 5.0, 6.0, 7.0], [1, 2, 3, 1, 2, 3], months)
    >>> answer.s, answer.slope
    (6.0, 1.0)
    """
    when = as_floats(years, "years")
    series = series_input(values, when, qualifiers)
    check_length(_labels(seasons), series.n_given, "seasons")
    blocks = split(series, _labels(seasons))
    return analyse_blocks(
        SeasonalTrendResult,
        series,
        blocks,
        dependence=serial_dependence,
        level=confidence,
        name="Seasonal Kendall test",
        block="season",
    )


def _labels(labels: Any) -> Any:
    array = np.asarray(labels, dtype=object) if not isinstance(labels, np.ndarray) else labels
    if array.ndim != 1:
        raise ArgumentError("seasons", "must have one dimension", got=array.shape, expected="shape (n,)")
    return array
