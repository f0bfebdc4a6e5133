"""Seasons: from readings to one value per season and year."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt


def bounded_median(values: npt.NDArray[np.float64], codes: npt.NDArray[np.int8]) -> tuple[float, int]:
    """Return the median of values some of which are only bounds, itself as a value or a bound.

    Each value is an interval: itself, below it, or above it. The median of the lower ends and that of the upper ends
    enclose the median. Where they agree it is known, however many values are bounds; else it is a bound.

    Parameters
    ----------
    values : ndarray, shape (n,)
        No NaN.
    codes : ndarray of int8, shape (n,)
        0 exact, -1 ``<``, 1 ``>``.

    Returns
    -------
    value : float
        NaN when nothing is known of it.
    code : int
        0, -1 or 1.

    Examples
    --------
    >>> bounded_median(np.array([1.0, 2.0, 3.0]), np.array([0, 0, 1], dtype=np.int8))
    (2.0, 0)
    >>> bounded_median(np.array([2.0, 3.0]), np.array([0, 1], dtype=np.int8))
    (2.5, 1)
    """
    if values.size == 0:
        return math.nan, 0
    low = float(np.median(np.where(codes < 0, -np.inf, values)))
    high = float(np.median(np.where(codes > 0, np.inf, values)))
    if low == high:
        return low, 0
    if math.isfinite(low):
        return low, 1
    return (high, -1) if math.isfinite(high) else (math.nan, 0)
