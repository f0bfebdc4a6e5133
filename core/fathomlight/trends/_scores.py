"""Pair scores under qualifiers, and the permutation variance of Kendall's S.

A pair of values scores +1 or -1 when its order is certain and 0 when it is not. To decide that with integers,
each value becomes an interval of codes: an exact value of rank r is [2r, 2r]; ``<`` at that value is
[-2, 2r - 1]; ``>`` is [2r + 1, top]. Then x is certainly below y exactly when high(x) < low(y).
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from fathomlight.trends._inputs import Codes, Floats, Ints

BRUTE_FORCE_UP_TO = 300
"""Up to this many values, S is found pair by pair in numpy, so that nothing needs compiling."""


def interval_codes(values: Floats, codes: Codes) -> tuple[Ints, Ints]:
    """Return the integer intervals (low, high) that decide which pairs have a certain order.

    Parameters
    ----------
    values : ndarray, shape (n,)
    codes : ndarray of int8, shape (n,)
        0 exact, -1 ``<``, 1 ``>``.

    Returns
    -------
    low, high : ndarray of int64, shape (n,)

    Examples
    --------
    >>> interval_codes(np.array([1.0, 1.0, 5.0]), np.array([0, -1, 1], dtype=np.int8))
    (array([ 0, -2,  3]), array([ 0, -1,  4]))
    """
    rank = dense_ranks(values)
    if not np.any(codes):
        rank *= 2
        return rank, rank
    top = 2 * (int(rank.max()) + 1)
    low = np.where(codes < 0, -2, 2 * rank + (codes > 0))
    high = np.where(codes > 0, top, 2 * rank - (codes < 0))
    return low, high


def dense_ranks(values: Floats) -> Ints:
    """Return the rank of each value, from 0, equal values alike and no rank left out."""
    if values.size > BRUTE_FORCE_UP_TO:
        from fathomlight.trends.ordering import order_of

        places, ordered = order_of(values)
        order = places.astype(np.int64)
    else:
        order = np.argsort(values)
        ordered = values[order]
    ranks = np.empty(values.size, dtype=np.int64)
    ranks[order] = time_codes(ordered)
    return ranks


def row_sums(low: Ints, high: Ints) -> tuple[Ints, int]:
    """Return per value (number certainly below - number certainly above), and the ordered pairs decided.

    Counts codes, so O(n) time and memory for the dense codes of :func:`interval_codes`.
    """
    n = low.size
    if n == 0:
        return np.zeros(0, dtype=np.int64), 0
    if low is high:
        if _all_distinct(low):
            return low - (n - 1), n * n - n
        counts = np.bincount(low)
        sums = 2 * np.cumsum(counts) - counts - n
        return sums[low], n * n - int(np.dot(counts, counts))
    size = int(high.max()) + 3
    highs = np.cumsum(np.bincount(high + 2, minlength=size))
    lows = np.cumsum(np.bincount(low + 2, minlength=size))
    below = np.where(low > -2, highs[low + 1], 0)
    above = n - lows[high + 2]
    return (below - above).astype(np.int64), int(below.sum() + above.sum())


def _all_distinct(codes: Ints) -> bool:
    """Return whether codes of exact values, 2 r for rank r, stand for values no two of which are equal."""
    return int(codes.max()) == 2 * (codes.size - 1)


def kendall_score(times: Floats, low: Ints, high: Ints) -> int:
    """Return S = (pairs certainly rising) - (pairs certainly falling); pairs at the same time score 0.

    ``times`` must be sorted. Exact; O(n log n) for long series.
    """
    if times.size > BRUTE_FORCE_UP_TO:
        from fathomlight.trends.kernels import fenwick_score

        if low is high or np.array_equal(low, high):
            return _exact_score(times, low)
        compact_low, compact_high = _compact(low, high)
        return int(fenwick_score(times, compact_low, compact_high))
    later = times[:, None] < times[None, :]
    up = (high[:, None] < low[None, :]) & later
    down = (low[:, None] > high[None, :]) & later
    return int(up.sum()) - int(down.sum())


def _exact_score(times: Floats, ranks: Ints) -> int:
    """Return S of exact values: pairs apart in time and value, less twice the falling ones."""
    from fathomlight.trends.kernels import falling_pairs, inversions

    group, n = time_codes(times), times.size
    if _all_distinct(ranks) and group[-1] + 1 == n:
        return n * (n - 1) // 2 - 2 * inversions((ranks >> 1).astype(np.int32))
    same = tied_pairs(np.bincount(ranks))
    if group[-1] + 1 < n:  # points at one time go by value, so that no pair of them falls
        ranks = ranks[np.lexsort((ranks, times))]
        _, both = np.unique(group * (int(ranks.max()) + 1) + ranks, return_counts=True)
        same += tied_pairs(np.bincount(group)) - tied_pairs(both)
    return n * (n - 1) // 2 - same - 2 * falling_pairs(ranks)


def tied_pairs(counts: Ints) -> int:
    """Return the number of pairs within groups of these sizes."""
    return int(np.dot(counts, counts - 1)) // 2


def _compact(low: Ints, high: Ints) -> tuple[Ints, Ints]:
    return low + 3, high + 3


def sign_matrix(low: Ints, high: Ints) -> npt.NDArray[np.int8]:
    """Return the antisymmetric matrix of scores: (i, j) is +1 when j is certainly above i; O(n^2) memory."""
    up = (high[:, None] < low[None, :]).astype(np.int8)
    result: npt.NDArray[np.int8] = up - up.T
    return result


def time_codes(times: Floats) -> Ints:
    """Return the rank of each time, from 0, equal times alike; ``times`` must be sorted."""
    later = times[1:] != times[:-1]
    if later.all():
        return np.arange(times.size, dtype=np.int64)
    ranks = np.zeros(times.size, dtype=np.int64)
    np.cumsum(later, out=ranks[1:])
    return ranks


def permutation_variance(times: Floats, low: Ints, high: Ints) -> float:
    """Return Var(S) when every order of the values over the times is equally likely; ``times`` must be sorted.

    Var(S) = (1/4) { 4/[n(n-1)(n-2)] (A - sum a^2)(B - sum b^2) + 2/[n(n-1)] sum a^2 sum b^2 }, where a and b
    are the score matrices of times and values, and A and B the sums of their squared row sums. Serves ties in
    value, ties in time and qualifiers alike.

    References
    ----------
    Daniels, H.E. 1944. The relation between measures of correlation in the universe of sample permutations.
    Biometrika 33:129-135. Kendall, M.G. 1970. Rank Correlation Methods, 4th ed.
    """
    if times.size < 2:
        return 0.0
    rank = 2 * time_codes(times)
    return daniels(times.size, *row_sums(rank, rank), *row_sums(low, high))


def daniels(n: int, a: Ints, a_squares: int, b: Ints, b_squares: int) -> float:
    """Return Daniels' variance from row sums and sums of squared scores over ordered pairs."""
    pairs = float(n) * (n - 1)
    value = 2.0 / pairs * a_squares * b_squares
    if n > 2:
        rows_a, rows_b = _squares(a) - a_squares, _squares(b) - b_squares
        value += 4.0 / (pairs * (n - 2)) * rows_a * rows_b
    return value / 4.0


def _squares(sums: Ints) -> float:
    exact = sums.astype(np.float64)
    return float(np.dot(exact, exact))


def z_score(s: float, variance: float) -> float:
    """Return the standard score of S with continuity correction; 0 when the variance is 0."""
    if variance <= 0.0:
        return 0.0
    return math.copysign(max(abs(s) - 1.0, 0.0), s) / math.sqrt(variance)


def two_sided(z: float) -> float:
    """Return the two-sided normal probability of a standard score."""
    return math.erfc(abs(z) / math.sqrt(2.0))


def exact_two_sided(s: int, n: int) -> float:
    """Return the exact two-sided probability of |S| >= |s| for n values without ties.

    Counts permutations by their inversions (Mahonian numbers): P(S >= s) for s > 0, doubled, at most 1.

    Examples
    --------
    >>> exact_two_sided(4, 4)  # published one-sided: 0.167 (Gilbert 1987)
    0.3333333333333333
    """
    counts = np.array([1.0])
    for size in range(2, n + 1):
        counts = np.convolve(counts, np.ones(size))
    scores = n * (n - 1) // 2 - 2 * np.arange(counts.size)
    return float(min(1.0, 2.0 * counts[scores >= abs(s)].sum() / counts.sum()))
