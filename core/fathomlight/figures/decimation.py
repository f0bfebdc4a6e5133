"""Fewer points, same picture: the smallest and the largest value of every bin, with gaps kept.

A browser cannot draw more points than its screen has columns; a logger of a million readings needs no more
than a few thousand, provided that no spike and no gap is lost.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from fathomlight.errors import ArgumentError

Floats = npt.NDArray[np.float64]
Times = npt.NDArray[np.datetime64]

MAX_POINTS = 4000
"""Above this number of points a series is decimated."""


def find_gaps(times: Times, *, factor: float = 4.0) -> npt.NDArray[np.intp]:
    """Return the positions after which a gap opens.

    Parameters
    ----------
    times : ndarray of datetime64, shape (n,)
        Ascending.
    factor : float
        A pause longer than `factor` times the median pause is a gap, [1].

    Returns
    -------
    ndarray of int
        Index of the last reading before each gap.

    Examples
    --------
    >>> days = np.array(["2025-01-01", "2025-01-02", "2025-01-03", "2025-03-01"], "datetime64[D]")
    >>> find_gaps(days)
    array([2])
    """
    if times.size < 3:
        return np.empty(0, dtype=np.intp)
    pauses = np.diff(times).astype("timedelta64[us]").astype(np.float64)
    positive = pauses[pauses > 0]
    if positive.size == 0:
        return np.empty(0, dtype=np.intp)
    return np.flatnonzero(pauses > factor * np.median(positive))


def decimate(
    times: Times, values: Floats, *, max_points: int = MAX_POINTS, gap_factor: float = 4.0
) -> tuple[Times, Floats]:
    """Return a series with at most about `max_points` points that looks the same.

    Parameters
    ----------
    times : ndarray of datetime64, shape (n,)
        Ascending.
    values : ndarray of float, shape (n,)
        NaN = missing.
    max_points : int
        Wanted number of points, at least 4. Breaks for gaps come on top.
    gap_factor : float
        See :func:`find_gaps`.

    Returns
    -------
    times, values : ndarray
        The first, last, smallest and largest reading of every bin in their true order, and a NaN where a gap
        is. Series short enough come back with the breaks only.

    Raises
    ------
    ArgumentError
        When the two arrays differ in length, or `max_points` is below 4.

    Examples
    --------
    >>> t = np.datetime64("2025-01-01") + np.arange(100_000).astype("timedelta64[m]")
    >>> v = np.zeros(100_000); v[54_321] = 9.0
    >>> few_t, few_v = decimate(t, v, max_points=400)
    >>> len(few_t) <= 404, few_v.max()
    (True, np.float64(9.0))
    """
    if times.shape != values.shape:
        raise ArgumentError(
            "values", "times and values must be equally long", got=values.shape, expected=times.shape
        )
    if max_points < 4:
        raise ArgumentError("max_points", "at least 4 points are needed", got=max_points)
    breaks = find_gaps(times, factor=gap_factor)
    if times.size > max_points:
        keep = _extremes(values, max_points)
        keep = np.union1d(keep, np.union1d(breaks, breaks + 1)) if breaks.size <= max_points else keep
        breaks = np.searchsorted(keep, breaks) if breaks.size <= max_points else np.empty(0, dtype=np.intp)
        times, values = times[keep], values[keep]
    if breaks.size == 0:
        return times, values
    at = breaks + 1
    return np.insert(times, at, times[breaks]), np.insert(values, at, np.nan)


def _extremes(values: Floats, max_points: int) -> npt.NDArray[np.intp]:
    """Return sorted indices of the first, last, smallest and largest value of every bin."""
    n = values.size
    bins = max(max_points // 4, 1)
    edges = np.linspace(0, n, bins + 1).astype(np.intp)
    starts, ends = edges[:-1], edges[1:]
    low = np.where(np.isnan(values), np.inf, values)
    high = np.where(np.isnan(values), -np.inf, values)
    smallest = _position(low, starts, ends, np.minimum)
    largest = _position(high, starts, ends, np.maximum)
    kept: npt.NDArray[np.intp] = np.unique(np.concatenate([starts, ends - 1, smallest, largest]))
    return kept


def _position(
    values: Floats, starts: npt.NDArray[np.intp], ends: npt.NDArray[np.intp], extreme: np.ufunc
) -> npt.NDArray[np.intp]:
    """Return, for every bin, the index of its first extreme value."""
    best = extreme.reduceat(values, starts)
    hit = np.flatnonzero(values == np.repeat(best, ends - starts))
    first: npt.NDArray[np.intp] = hit[np.searchsorted(hit, starts)]
    return first
