"""A smooth line through a series with its season removed, for the eye only."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from fathomlight.errors import ArgumentError
from fathomlight.model import Result
from fathomlight.trends._inputs import Codes, Floats, SeriesInput, check_fraction, check_length, series_input
from fathomlight.trends.intercept import distribution, qualified_median

_ROUNDS = 10


@dataclass(frozen=True, kw_only=True)
class SmoothResult(Result):
    """Answer of :func:`smooth_deseasoned`; arrays are in order of time.

    Attributes
    ----------
    times : ndarray, shape (n,)
        As numbers (dates as decimal years).
    deseasoned : ndarray, shape (n,)
        Values minus the median of their season plus the overall median, [unit].
    qualifiers : ndarray of str, shape (n,)
    smooth : ndarray, shape (n,)
        The smooth line, [unit].
    season_effects : dict
        Season to (median of the season - overall median), [unit].
    span : float
        Part of the values each local line uses, [1].
    method : str
    notes : tuple of str
    """

    times: npt.NDArray[np.float64]
    deseasoned: npt.NDArray[np.float64]
    qualifiers: npt.NDArray[np.str_]
    smooth: npt.NDArray[np.float64]
    season_effects: dict[Any, float]
    span: float
    method: str = ""
    notes: tuple[str, ...] = ()


def smooth_deseasoned(
    values: Any, times: Any, seasons: Any = None, *, qualifiers: Any = None, span: float = 0.5
) -> SmoothResult:
    """Smooth a series after removing the median of each season. For the eye only: it tests nothing.

    Parameters
    ----------
    values, times : array-like, shape (n,)
        NaN = missing; dates or numbers.
    seasons : array-like, shape (n,), optional
        None means no season is removed.
    qualifiers : array-like of {"=", "<", ">"}, shape (n,), optional
        A qualified value takes part with the mean of the residuals its bound allows, found by repeated
        smoothing.
    span : float
        Part of the values each local line uses, [1].

    Returns
    -------
    SmoothResult

    Raises
    ------
    ArgumentError
        On wrong shapes, infinite values, unknown qualifiers, or fewer than 5 values.

    References
    ----------
    Cleveland, W.S. 1979. Robust locally weighted regression and smoothing scatterplots. Journal of the
    American Statistical Association 74:829-836. Buckley, J. & I. James. 1979. Linear regression with
    censored data. Biometrika 66:429-436 (the mean of what a bound allows).

    Examples
    --------
    >>> smooth_deseasoned([1, 2, 3, 4, 5, 6], [0, 1, 2, 3, 4, 5], span=0.9).smooth.round(6).tolist()
    [1.0, 2.0, 3.0, 4.0, 5.0, 6.0]
    """
    check_fraction(span, "span")
    series = series_input(values, times, qualifiers)
    if series.n < 5:
        raise ArgumentError("values", "too few to smooth", got=series.n, expected="5 or more")
    effects, removed = _season_effects(series, seasons)
    flat = series.values - removed
    line = _loess(series.times, flat, span)
    if series.qualified:
        for _ in range(_ROUNDS):
            line = _loess(series.times, line + _allowed_residuals(flat - line, series.codes), span)
    notes = [
        "For the eye only: the ends of a smooth line bend with single values; it says nothing of certainty."
    ]
    if series.qualified:
        notes.append("Qualified values take part with the mean of the residuals their bound allows.")
    what = f"{len(effects)} season medians removed" if effects else "no season removed"
    return SmoothResult(
        times=series.times,
        deseasoned=flat,
        qualifiers=np.array(["=", ">", "<"])[series.codes],
        smooth=line,
        season_effects=effects,
        span=span,
        notes=tuple(notes),
        method=f"LOESS, local lines over {100 * span:g} % of the values, robust; {what}; n = {series.n}.",
    )


def _season_effects(series: SeriesInput, seasons: Any) -> tuple[dict[Any, float], Floats]:
    removed: Floats = np.zeros(series.n)
    if seasons is None:
        return {}, removed
    labels = np.asarray(seasons, dtype=object)
    check_length(labels, series.n_given, "seasons")
    held = labels[series.kept]
    overall = _median(series.values, series.codes)
    effects: dict[Any, float] = {}
    for label in dict.fromkeys(held.tolist()):
        chosen = held == label
        effects[label] = _median(series.values[chosen], series.codes[chosen]) - overall
        removed[chosen] = effects[label]
    return effects, removed


def _median(values: Floats, codes: Codes) -> float:
    middle = qualified_median(values, codes)
    return middle if np.isfinite(middle) else float(np.median(values))


def _loess(times: Floats, values: Floats, span: float) -> Floats:
    from statsmodels.nonparametric.smoothers_lowess import lowess

    reach = float(times[-1] - times[0])
    delta = 0.005 * reach if times.size > 1_000 else 0.0
    share = min(max(span, 4 / times.size), 1.0)
    line: Floats = np.asarray(lowess(values, times, frac=share, it=2, delta=delta, return_sorted=False))
    return line


def _allowed_residuals(residuals: Floats, codes: Codes) -> Floats:
    """Return residuals, a bound replaced by the mean of the residuals it allows, if any."""
    points, mass = distribution(residuals, codes)
    inside = np.isfinite(points)
    points, mass = points[inside], mass[inside]
    weight, moment = np.concatenate([[0.0], mass.cumsum()]), np.concatenate([[0.0], (mass * points).cumsum()])
    out = residuals.copy()
    for code in (-1, 1):
        chosen = np.flatnonzero(codes == code)
        at = np.searchsorted(points, residuals[chosen], side="left" if code < 0 else "right")
        allowed = weight[at] if code < 0 else weight[-1] - weight[at]
        sums = moment[at] if code < 0 else moment[-1] - moment[at]
        known = allowed > 1e-9
        out[chosen[known]] = sums[known] / allowed[known]
    return out
