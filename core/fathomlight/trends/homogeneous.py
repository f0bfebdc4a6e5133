"""Do the seasons share one trend."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from fathomlight.model import Result
from fathomlight.trends._blocks import split
from fathomlight.trends._inputs import as_floats, check_length, series_input
from fathomlight.trends.blocked import BlockTrend, block_table, van_belle_hughes
from fathomlight.trends.notes import number


@dataclass(frozen=True, kw_only=True)
class HomogeneityResult(Result):
    """Answer of :func:`homogeneity`.

    Attributes
    ----------
    chi2, df, p : float, int, float
        Chi-square of the differences between seasons, its degrees of freedom and probability.
    chi2_total, chi2_trend, p_trend : float
        Sum of all z squared; the part of the common trend (1 degree of freedom) and its probability.
    seasons : tuple of BlockTrend
        The seasons one by one.
    method : str
    notes : tuple of str
    """

    chi2: float
    df: int
    p: float
    chi2_total: float
    chi2_trend: float
    p_trend: float
    seasons: tuple[BlockTrend, ...] = ()
    method: str = ""
    notes: tuple[str, ...] = ()


def homogeneity(values: Any, years: Any, seasons: Any, *, qualifiers: Any = None) -> HomogeneityResult:
    """Test whether all seasons share one trend.

    z_g = S_g / sd(S_g) without continuity correction; total = sum z_g^2, trend = m mean(z)^2 (1 df),
    homogeneity = total - trend (m - 1 df).

    Parameters
    ----------
    values, years, seasons : array-like, shape (n,)
        NaN = missing.
    qualifiers : array-like of {"=", "<", ">"}, shape (n,), optional

    Returns
    -------
    HomogeneityResult
        Only when ``p`` is not small do the common trend and slope describe every season.

    Raises
    ------
    ArgumentError
        On wrong shapes, infinite values or unknown qualifiers.

    References
    ----------
    van Belle, G. & J.P. Hughes. 1984. Nonparametric tests for trend in water quality. Water Resources
    Research 20:127-136.

    Examples
    --------
    >>> up, down = [1, 2, 3, 4, 5, 6], [6, 5, 4, 3, 2, 1]
    >>> homogeneity(up + down, [1, 2, 3, 4, 5, 6] * 2, ["May"] * 6 + ["July"] * 6).p < 0.01
    True
    """
    series = series_input(values, as_floats(years, "years"), qualifiers)
    labels = np.asarray(seasons, dtype=object)
    check_length(labels, series.n_given, "seasons")
    table = block_table(split(series, labels))
    found = van_belle_hughes(table)
    notes = []
    left_out = len(table) - (found.df + 1 if found.total == found.total else 0)
    if left_out:
        notes.append(f"{left_out} seasons have too few values and are left out.")
    if found.df >= 1 and found.p < 0.05:
        notes.append(f"The seasons do not share one trend (p {number(found.p)}): read each by itself.")
    if found.df < 1:
        notes.append("Two seasons with three values or more are needed.")
    notes.append("The test takes the seasons as independent; dependence between them makes p too small.")
    return HomogeneityResult(
        chi2=found.homogeneity,
        df=found.df,
        p=found.p,
        chi2_total=found.total,
        chi2_trend=found.trend,
        p_trend=found.trend_p,
        seasons=table,
        notes=tuple(notes),
        method=f"van Belle and Hughes' test of homogeneity over {found.df + 1} seasons; n = {series.n}.",
    )
