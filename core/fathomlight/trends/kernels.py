"""Compiled counting for long series: Kendall's S, and how many pairs have a slope at or below a number.

A pair of points i, j with t_i < t_j has a slope at or below b exactly when point j comes before point i in the order of
the residuals x - b t (later points first among equals). Such pairs are the inversions of a permutation, and a
merge sort counts them in O(n log n) time and O(n) memory.

With qualifiers each pair has up to two breakpoints, the slopes at which it stops being certainly rising and at
which it begins to be certainly falling. Each point is still one line, so the same inversions count them, with
weight :data:`WEIGHTS` by the kinds of the two points (0 exact, 1 ``<``, 2 ``>``).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from fathomlight.trends._compile import compiled
from fathomlight.trends._inputs import Floats, Ints

Kinds = npt.NDArray[np.uint8]

WEIGHTS = np.array([[2, 1, 1], [1, 0, 1], [1, 1, 0]], dtype=np.int64)
"""Finite breakpoints of a pair by the kinds of its points: two exact ones share one slope, counted twice."""


@compiled
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
