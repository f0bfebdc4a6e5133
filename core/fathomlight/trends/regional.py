"""Regional Kendall test: one question for several stations."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from fathomlight.trends._blocks import split
from fathomlight.trends._inputs import check_length, series_input
from fathomlight.trends.blocked import BlockedTrendResult, BlockTrend, analyse_blocks


@dataclass(frozen=True, kw_only=True)
class RegionalTrendResult(BlockedTrendResult):
    """Answer of :func:`regional_kendall`; ``blocks`` are the stations (or station and season)."""

    @property
    def stations(self) -> tuple[BlockTrend, ...]:
        """The table of stations."""
        return self.blocks


def regional_kendall(
    values: Any,
    times: Any,
    sites: Any,
    *,
    seasons: Any = None,
    qualifiers: Any = None,
    cross_correlation: bool = True,
    confidence: float = 0.95,
) -> RegionalTrendResult:
    """Test several stations for one common monotonic trend.

    The algebra of the Seasonal Kendall test with stations in place of seasons: pairs are formed within a
    station only, and the covariance between stations takes care of a weather they share.

    Parameters
    ----------
    values, times : array-like, shape (n,)
        NaN = missing; times as years.
    sites : array-like, shape (n,)
        Station of each value.
    seasons : array-like, shape (n,), optional
        Then each station and season is a block of its own.
    qualifiers : array-like of {"=", "<", ">"}, shape (n,), optional
    cross_correlation : bool
        Use the covariance between blocks, provided there are ten times or more; both versions are reported.
    confidence : float
        Level of the slope limits, [1].

    Returns
    -------
    RegionalTrendResult
        Homogeneity tells whether the stations share one trend.

    Raises
    ------
    ArgumentError
        On wrong shapes, infinite values or unknown qualifiers.

    References
    ----------
    Helsel, D.R. & L.M. Frans. 2006. Regional Kendall test for trend. Environmental Science & Technology
    40:4066-4073. Douglas, E.M., R.M. Vogel & C.N. Kroll. 2000. Trends in floods and low flows in the United
    States: impact of spatial correlation. Journal of Hydrology 240:90-105.

    Examples
    --------
    >>> regional_kendall([1, 2, 3, 9, 8, 7], [1, 2, 3, 1, 2, 3], ["north"] * 3 + ["south"] * 3).s
    0.0
    """
    series = series_input(values, times, qualifiers)
    labels = np.asarray(sites, dtype=object)
    check_length(labels, series.n_given, "sites")
    name = "station"
    if seasons is not None:
        second = np.asarray(seasons, dtype=object)
        check_length(second, series.n_given, "seasons")
        pairs = np.empty(labels.size, dtype=object)
        pairs[:] = list(zip(labels.tolist(), second.tolist(), strict=True))
        labels, name = pairs, "station-season"
    return analyse_blocks(
        RegionalTrendResult,
        series,
        split(series, labels),
        dependence=cross_correlation,
        level=confidence,
        name="Regional Kendall test",
        block=name,
    )
