"""Trend of a series that is not the trend of its covariate (rain, flow, temperature)."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from fathomlight.errors import ArgumentError
from fathomlight.model import TrendResult
from fathomlight.trends._inputs import Floats, SeriesInput, as_floats, check_length, series_input
from fathomlight.trends._scores import interval_codes, row_sums, sign_matrix, two_sided
from fathomlight.trends.notes import notes_on_qualifiers, notes_on_size
from fathomlight.trends.words import direction_of
from fathomlight.words import likelihood

_UP_TO = 5_000


@dataclass(frozen=True, kw_only=True)
class PartialTrendResult(TrendResult):
    """Answer of :func:`partial_mann_kendall`; ``s``, ``variance``, ``z`` and ``p`` are given the covariate.

    Attributes
    ----------
    s_unadjusted, variance_unadjusted : float
        Of the series alone.
    correlation : tuple of float
        Of the scores of the series with those of each covariate, [1].
    """

    s_unadjusted: float
    variance_unadjusted: float
    correlation: tuple[float, ...] = ()


def partial_mann_kendall(
    values: Any, covariate: Any, times: Any = None, *, qualifiers: Any = None
) -> PartialTrendResult:
    """Test a series for a trend beyond what its covariates explain.

    With the score vector (S_x, S_c1, ...) and its covariance matrix under no trend, S given the covariates is
    S_x - C V^-1 S_c, its variance Var(S_x) - C V^-1 C'; z is their ratio without continuity correction.

    Parameters
    ----------
    values : array-like, shape (n,)
    covariate : array-like, shape (n,) or (n, k)
        Times at which a value or a covariate is missing are left out.
    times : array-like, shape (n,), optional
        No two alike.
    qualifiers : array-like of {"=", "<", ">"}, shape (n,), optional
        Of the values.

    Returns
    -------
    PartialTrendResult
        No slope: a partial slope needs a model of the covariate.

    Raises
    ------
    ArgumentError
        On wrong shapes, repeated times, more than 5,000 values, or covariates that determine each other.

    References
    ----------
    Libiseller, C. & A. Grimvall. 2002. Performance of partial Mann-Kendall tests for trend detection in the
    presence of covariates. Environmetrics 13:71-84. Dietz, E.J. & T.J. Killeen. 1981. J. Am. Stat. Assoc.
    76:169-174.

    Examples
    --------
    >>> flow = [3.0, 1.0, 4.0, 1.5, 5.0, 9.0, 2.0, 6.0]
    >>> partial_mann_kendall([1, 2, 3, 4, 5, 6, 7, 8], flow).direction
    'increasing'
    """
    x = as_floats(values, "values")
    others = _covariates(covariate, x.size)
    complete = np.where(np.isnan(others).any(axis=1), np.nan, x)
    series = series_input(complete, times, qualifiers)
    if np.unique(series.times).size < series.n:
        raise ArgumentError(
            "times", "two values at one time", fix="Reduce the readings to one value per time."
        )
    if series.n > _UP_TO:
        raise ArgumentError(
            "values", "too many for a partial test", got=series.n, expected=f"at most {_UP_TO}"
        )
    s, v = _scores_and_covariance(series, others[series.kept])
    known, of = v[0, 1:], v[1:, 1:]
    try:
        weight = np.linalg.solve(of, known)
    except np.linalg.LinAlgError as error:
        raise ArgumentError("covariate", "is constant, or the covariates determine each other") from error
    given, variance = float(s[0] - weight @ s[1:]), float(v[0, 0] - weight @ known)
    testable = series.n >= 3 and variance > 1e-9 * max(float(v[0, 0]), 1.0)
    z = given / math.sqrt(variance) if testable else math.nan
    p = two_sided(z) if testable else math.nan
    sure = 1 - p / 2 if testable else 0.5
    notes = notes_on_size(series.n, series.n_missing) + notes_on_qualifiers(series)
    if not testable:
        notes.append("Nothing is left to test once the covariate is known.")
    notes.append(
        "The covariate must not be changed by what changes the series; else that effect is taken out too."
    )
    scale = np.sqrt(np.diag(v))
    return PartialTrendResult(
        n=series.n,
        s=given,
        variance=variance,
        z=z,
        p=p,
        tau=given / (series.n * (series.n - 1) / 2),
        direction=direction_of(given),
        confidence=sure,
        likelihood=likelihood(sure),
        notes=tuple(notes),
        s_unadjusted=float(s[0]),
        variance_unadjusted=float(v[0, 0]),
        correlation=tuple((v[0, 1:] / (scale[0] * scale[1:])).tolist()),
        method=(
            f"Partial Mann-Kendall test given {others.shape[1]} covariate(s) (Libiseller & Grimvall 2002); "
            f"n = {series.n}."
        ),
    )


def _covariates(covariate: Any, n: int) -> Floats:
    array = covariate.to_numpy() if hasattr(covariate, "to_numpy") else covariate
    table = np.asarray(array, dtype=np.float64)
    table = table[:, None] if table.ndim == 1 else table
    if table.ndim != 2:
        raise ArgumentError(
            "covariate", "must have one or two dimensions", got=table.shape, expected="(n,) or (n, k)"
        )
    check_length(table, n, "covariate")
    return table


def _scores_and_covariance(series: SeriesInput, others: Floats) -> tuple[Floats, Floats]:
    """Return scores and their covariance, cov(S_g, S_h) = [K_gh + sum_i r_ig r_ih]/3."""
    n = series.n
    upper = np.triu_indices(n, 1)
    exact = np.zeros(n, dtype=np.int8)
    columns = [interval_codes(series.values, series.codes)]
    columns += [interval_codes(others[:, k], exact) for k in range(others.shape[1])]
    signs = np.stack([sign_matrix(low, high)[upper] for low, high in columns]).astype(np.float64)
    rows = np.stack([row_sums(low, high)[0] for low, high in columns]).astype(np.float64)
    return signs.sum(axis=1), (signs @ signs.T + rows @ rows.T) / 3.0
