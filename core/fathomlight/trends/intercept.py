"""The height of the trend line."""

from __future__ import annotations

import math

import numpy as np

from fathomlight.trends._inputs import Codes, Floats


def line_intercept(times: Floats, values: Floats, codes: Codes, slope: float) -> float:
    """Return the value of the trend line at time zero.

    Without qualifiers median(x) - slope median(t) (Conover, W.J. 1999, Practical Nonparametric Statistics,
    3rd ed.); with qualifiers the median of the residuals x - slope t under their nonparametric distribution.

    Returns
    -------
    float
        NaN when more than half of the residuals are unbounded.
    """
    if values.size == 0 or math.isnan(slope):
        return math.nan
    if not np.any(codes):
        return median(values) - slope * median(times)
    return qualified_median(values - slope * times, codes)


def median(values: Floats) -> float:
    """Return the median of values without gaps, as numpy does but without its overhead."""
    k = (values.size - 1) // 2
    parted = np.partition(values, k)
    return float(parted[k] if values.size % 2 else 0.5 * (parted[k] + parted[k + 1 :].min()))


def qualified_median(values: Floats, codes: Codes) -> float:
    """Return the median of values some of which are only bounds.

    Parameters
    ----------
    values : ndarray, shape (n,)
    codes : ndarray of int8, shape (n,)
        0 exact, -1 ``<``, 1 ``>``.

    Returns
    -------
    float
        Median of :func:`distribution`: the middle of the interval where it is 1/2, or the finite end of that
        interval; NaN when it falls on the unbounded part.
    """
    points, mass = distribution(values, codes)
    total = np.cumsum(mass)
    first = int(np.searchsorted(total, 0.5 - 1e-9))
    if abs(total[first] - 0.5) < 1e-9 and first + 1 < points.size:
        later = first + 1 + int(np.argmax(mass[first + 1 :] > 1e-12))
        ends = points[[first, later]]
        median = ends.mean() if np.isfinite(ends).all() else ends[np.isfinite(ends)].sum()
    else:
        median = points[first]
    return float(median) if np.isfinite(median) else math.nan


def distribution(values: Floats, codes: Codes, *, rounds: int = 500) -> tuple[Floats, Floats]:
    """Return the nonparametric maximum-likelihood distribution of values with ``<`` and ``>``.

    The self-consistent estimate: the mass of a qualified value is spread over the points it allows in
    proportion to their mass, until nothing changes. With ``<`` only or ``>`` only this is the product-limit
    estimate.

    Returns
    -------
    points, mass : ndarray, shape (m,)
        Sorted support (from -inf to +inf) and its probabilities, [1].

    References
    ----------
    Turnbull, B.W. 1974. Nonparametric estimation of a survivorship function with doubly censored data.
    Journal of the American Statistical Association 69:169-173.
    """
    exact, counts = np.unique(values[codes == 0], return_counts=True)
    below, above = values[codes < 0], values[codes > 0]
    middles = _open_middles(exact, below, above)
    points = np.concatenate([[-np.inf], exact, middles, [np.inf]])
    own = np.concatenate([[0.0], counts, np.zeros(middles.size), [0.0]])
    order = np.argsort(points, kind="stable")
    points, own = points[order], own[order]
    upto = np.searchsorted(points, below, side="left") - 1
    onward = np.searchsorted(points, above, side="right")
    below_at = np.bincount(upto, minlength=points.size).astype(float)
    above_at = np.bincount(onward, minlength=points.size).astype(float)
    n = values.size
    mass = np.full(points.size, 1.0 / points.size)
    for _ in range(rounds):
        lower = np.cumsum(mass)
        upper = np.cumsum(mass[::-1])[::-1]
        with np.errstate(divide="ignore", invalid="ignore"):
            from_below = np.where(below_at > 0, below_at / lower, 0.0)[::-1].cumsum()[::-1]
            from_above = np.where(above_at > 0, above_at / upper, 0.0).cumsum()
        new = (own + mass * (from_below + from_above)) / n
        moved = float(np.abs(new - mass).max())
        mass = new
        if moved < 1e-12:
            break
    return points, mass


def _open_middles(exact: Floats, below: Floats, above: Floats) -> Floats:
    """Return a point inside each gap from a ``>`` bound to the next ``<`` bound without exact values."""
    if not (below.size and above.size):
        return np.empty(0)
    left, right = np.unique(above), np.unique(below)
    following = np.searchsorted(right, left, side="right")
    left = left[following < right.size]
    ends = right[following[following < right.size]]
    held = np.searchsorted(exact, ends, side="left") > np.searchsorted(exact, left, side="right")
    last = np.append(left[1:] >= ends[:-1], True) if left.size else np.empty(0, dtype=bool)
    keep = last & ~held
    middles: Floats = (left[keep] + ends[keep]) / 2.0
    return middles
