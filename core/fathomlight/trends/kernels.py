"""Compiled counting for long series: Kendall's S, and how many pairs have a slope at or below a number.

A pair of points i, j with t_i < t_j has a slope at or below b exactly when point j comes before point i in
the order of the residuals x - b t (later points first among equals). Such pairs are the inversions of a
permutation, and a merge sort counts them in O(n log n) time and O(n) memory.

With qualifiers each pair has up to two breakpoints, the slopes at which it stops being certainly rising and
at which it begins to be certainly falling. Each point is still one line, so the same inversions count them,
with weight :data:`WEIGHTS` by the kinds of the two points (0 exact, 1 ``<``, 2 ``>``).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from fathomlight.trends._compile import compiled
from fathomlight.trends._inputs import Floats, Ints

Kinds = npt.NDArray[np.uint8]
Index = npt.NDArray[np.int32]

WEIGHTS = np.array([[2, 1, 1], [1, 0, 1], [1, 1, 0]], dtype=np.int64)
"""Finite breakpoints of a pair by the kinds of its points: two exact ones share one slope, counted twice."""


@compiled()
def fenwick_score(times: Floats, low: Ints, high: Ints) -> int:
    """Return Kendall's S from sorted times and positive interval codes; O(n log n)."""
    n = times.size
    top = 1
    for k in range(n):
        top = max(top, high[k], low[k])
    highs = np.zeros(top + 1, dtype=np.int64)
    lows = np.zeros(top + 1, dtype=np.int64)
    score = 0
    start = 0
    while start < n:
        stop = start
        while stop < n and times[stop] == times[start]:
            k = low[stop] - 1
            while k > 0:
                score += highs[k]
                k -= k & -k
            score -= start
            k = high[stop]
            while k > 0:
                score += lows[k]
                k -= k & -k
            stop += 1
        for m in range(start, stop):
            k = high[m]
            while k <= top:
                highs[k] += 1
                k += k & -k
            k = low[m]
            while k <= top:
                lows[k] += 1
                k += k & -k
        start = stop
    return score


@compiled()
def merge_walk(  # noqa: C901 -- the merge and its bookkeeping belong in one loop
    order: Index,
    keys: Floats,
    times: Floats,
    kinds: Kinds,
    weights: Ints,
    wanted: Ints,
) -> tuple[Index, int, int, Index, Index]:
    """Sort points by residual and count, or list, the pairs that change places.

    Parameters
    ----------
    order : ndarray of int32, shape (n,)
        Points in their order at a smaller slope.
    keys : ndarray, shape (n,)
        Residuals at the larger slope, by point; equal ones go by later time first.
    times : ndarray, shape (n,)
    kinds : ndarray of uint8, shape (n,) or (0,)
        Kinds of the points; empty when all are exact.
    weights : ndarray of int64, shape (3, 3)
    wanted : ndarray of int64, shape (k,)
        Sorted numbers (from 0) of the inversions to report.

    Returns
    -------
    order : ndarray
        Points in their order at the larger slope.
    pairs, weighted : int
        Inversions, plain and weighted.
    left, right : ndarray, shape (k,)
        The points of the inversions wanted.
    """
    n = order.size
    qualified = kinds.size > 0
    index, key = order.copy(), np.empty(n)
    held_index, held_key = np.empty(n, dtype=np.int32), np.empty(n)
    for m in range(n):
        key[m] = keys[order[m]]
    left, right = np.empty(wanted.size, dtype=np.int32), np.empty(wanted.size, dtype=np.int32)
    pairs, weighted, reported = 0, 0, 0
    waiting = np.zeros(3, dtype=np.int64)
    width = 1
    while width < n:
        for start in range(0, n - width, 2 * width):
            middle, stop = start + width, min(start + 2 * width, n)
            first, top = middle, middle
            a, b = key[middle], key[middle - 1]
            while first > start and (
                a < key[first - 1] or (a == key[first - 1] and times[index[middle]] > times[index[first - 1]])
            ):
                first -= 1
            while top < stop and (
                key[top] < b or (key[top] == b and times[index[top]] > times[index[middle - 1]])
            ):
                top += 1
            size = middle - first
            for m in range(size):
                held_index[m], held_key[m] = index[first + m], key[first + m]
            if qualified:
                waiting[:] = 0
                for m in range(size):
                    waiting[kinds[held_index[m]]] += 1
            i, j, k = 0, middle, first
            while i < size and j < top:
                if key[j] < held_key[i] or (key[j] == held_key[i] and times[index[j]] > times[held_index[i]]):
                    remaining = size - i
                    while reported < wanted.size and wanted[reported] < pairs + remaining:
                        left[reported] = held_index[i + wanted[reported] - pairs]
                        right[reported] = index[j]
                        reported += 1
                    pairs += remaining
                    if qualified:
                        for m in range(3):
                            weighted += weights[kinds[index[j]], m] * waiting[m]
                    index[k], key[k] = index[j], key[j]
                    j += 1
                else:
                    if qualified:
                        waiting[kinds[held_index[i]]] -= 1
                    index[k], key[k] = held_index[i], held_key[i]
                    i += 1
                k += 1
            for m in range(i, size):
                index[k + m - i], key[k + m - i] = held_index[m], held_key[m]
        width *= 2
    return index, pairs, weighted if qualified else pairs, left, right
