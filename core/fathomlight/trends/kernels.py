"""Compiled counting for long series: Kendall's S, and how many pairs have a slope at or below a number.

A pair of points i, j with t_i < t_j has a slope at or below b exactly when point j comes before point i in
the order of the residuals x - b t (later points first among equals). The pairs with a slope between two
numbers are thus those that change places from one order to the other: the inversions of a permutation. They
are counted by splitting the permutation bit by bit, the highest bit of the new place first, in O(n log n)
time and O(n) memory and without a branch that depends on the data.

With qualifiers each pair has up to two breakpoints, the slopes at which it stops being certainly rising and
at which it begins to be certainly falling. Each point is still one line, so the same inversions count them,
with weight :data:`WEIGHTS` by the kinds of the two points (0 exact, 1 ``<``, 2 ``>``).
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from fathomlight.trends._compile import compiled
from fathomlight.trends._inputs import Floats, Ints
from fathomlight.trends.ordering import Points

Kinds = npt.NDArray[np.uint8]
Lines = npt.NDArray[np.float64]

WEIGHTS = np.array([[2, 1, 1], [1, 0, 1], [1, 1, 0]], dtype=np.int64)
"""Finite breakpoints of a pair by the kinds of its points: two exact ones share one slope, counted twice."""

_LEAF = 3
"""Below this bit, places are compared pair by pair."""

_NEVER = np.full(1, np.iinfo(np.int64).max)
_NONE = np.empty(0, dtype=np.int32)


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


@compiled("int64(int32[::1], int32[::1], int64)")
def _split(places: Points, out: Points, bit: int) -> int:
    """Part each run of places that agree above a bit by that bit, keeping order; return the inversions."""
    half, pairs = 1 << bit, 0
    for start in range(0, places.size, 2 * half):
        middle, ones = start + half, 0
        for k in range(start, min(middle + half, places.size)):
            place = places[k]
            up: Any = np.int64((place >> bit) & 1)
            out[middle + ones if up else k - ones] = place
            pairs += (1 - up) * ones
            ones += up
    return pairs


@compiled("void(int32[::1], int32[::1], int64, int64[::1], int64[::1], int32[::1], int32[::1])")
def _split_and_report(
    places: Points, out: Points, bit: int, wanted: Ints, tally: Ints, first: Points, second: Points
) -> None:
    """Do as :func:`_split`, and report the inversions wanted.

    ``tally`` holds the inversions so far and the number reported so far; ``wanted`` ends with a number never
    reached. Reported are the places of both points, the one passed first.
    """
    half = 1 << bit
    pairs, reported = tally[0], tally[1]
    following = wanted[reported]
    for start in range(0, places.size, 2 * half):
        zero, one, middle = start, start + half, start + half
        for k in range(start, min(middle + half, places.size)):
            place = places[k]
            up: Any = np.int64((place >> bit) & 1)
            out[one if up else zero] = place
            pairs += (1 - up) * (one - middle)
            while following < pairs:
                first[reported], second[reported] = out[one - (pairs - following)], place
                reported += 1
                following = wanted[reported]
            one += up
            zero += 1 - up
    tally[0], tally[1] = pairs, reported


@compiled("void(int32[::1], int64, int64[::1], int64[::1], int32[::1], int32[::1])")
def _compare(places: Points, size: int, wanted: Ints, tally: Ints, first: Points, second: Points) -> None:
    """Count and report the inversions within runs of a small size, pair by pair."""
    pairs, reported = tally[0], tally[1]
    for start in range(0, places.size, size):
        for k in range(start + 1, min(start + size, places.size)):
            place, before = places[k], pairs
            for m in range(start, k):
                pairs += places[m] > place
            if wanted[reported] >= pairs:
                continue
            for m in range(start, k):
                if places[m] > place:
                    while wanted[reported] == before:
                        first[reported], second[reported] = places[m], place
                        reported += 1
                    before += 1
    tally[0], tally[1] = pairs, reported


@compiled("int64(int32[::1], int32[::1], int32[::1], int64[::1], int32[::1], int32[::1])")
def _inversions(
    places: Points, other: Points, target: Points, wanted: Ints, first: Points, second: Points
) -> int:
    """Count the inversions of a permutation (overwritten), and report those of the sorted numbers wanted.

    ``target`` holds the point at each place.
    """
    tally = np.zeros(2, dtype=np.int64)
    bit = 0
    while (2 << bit) < places.size:
        bit += 1
    while bit >= _LEAF:
        if first.size:
            _split_and_report(places, other, bit, wanted, tally, first, second)
        else:
            tally[0] += _split(places, other, bit)
        places, other = other, places
        bit -= 1
    _compare(places, 2 << bit, wanted, tally, first, second)
    for k in range(tally[1]):
        first[k], second[k] = target[first[k]], target[second[k]]
    return int(tally[0])


@compiled("void(int64[::1], int64[::1], int32[::1])")
def _fill(ranks: Ints, following: Ints, places: Points) -> None:
    """Give each value the next free place of its rank."""
    for k in range(ranks.size):
        rank = ranks[k]
        places[k] = following[rank]
        following[rank] += 1


def falling_pairs(ranks: Ints) -> int:
    """Return the number of pairs whose later rank (from 0) is smaller."""
    counts = np.bincount(ranks)
    places = np.empty(ranks.size, dtype=np.int32)
    _fill(ranks, np.cumsum(counts) - counts, places)
    return inversions(places)


def inversions(places: Points) -> int:
    """Return the number of inversions of a permutation, which is overwritten."""
    return int(_inversions(places, np.empty_like(places), _NONE, _NEVER, _NONE, _NONE))


@compiled("void(int32[::1], int32[::1], int32[::1], int32[::1])")
def _look_up(order: Points, target: Points, where: Points, places: Points) -> None:
    for k in range(target.size):
        where[target[k]] = k
    for k in range(order.size):
        places[k] = where[order[k]]


def _places(order: Points, target: Points) -> Points:
    """Return the places in ``target`` of the points in ``order``."""
    places = np.empty_like(order)
    _look_up(order, target, np.empty_like(order), places)
    return places


def moved_pairs(order: Points, target: Points, wanted: Ints | None = None) -> tuple[int, Points, Points]:
    """Count the pairs that change places between two orders of the points, and report some of them.

    Parameters
    ----------
    order, target : ndarray of int32, shape (n,)
        Points in their order at a smaller and at a larger slope.
    wanted : ndarray of int64, shape (k,), optional
        Sorted numbers (from 0) of the pairs to report; those beyond the last pair are left out.

    Returns
    -------
    count : int
    left, right : ndarray of int32, shape (k or fewer,)
        The points of the pairs wanted, the earlier in ``order`` left.
    """
    places = _places(order, target)
    if wanted is None:
        return inversions(places), _NONE, _NONE
    left, right = np.empty(wanted.size, dtype=np.int32), np.empty(wanted.size, dtype=np.int32)
    count = int(_inversions(places, np.empty_like(places), target, np.append(wanted, _NEVER), left, right))
    size = int(np.searchsorted(wanted, count))
    return count, left[:size], right[:size]


def moved_weight(order: Points, target: Points, kinds: Kinds) -> int:
    """Return the sum of :data:`WEIGHTS` over the pairs that change places between two orders of the points.

    The pairs between two kinds are the inversions of the points of both kinds together less those within
    each.
    """
    places, kind = _places(order, target), kinds[order]
    within = [_count_among(places, kind == a) for a in range(3)]
    total = sum(int(WEIGHTS[a, a]) * within[a] for a in range(3))
    for a, b in ((0, 1), (0, 2), (1, 2)):
        both = _count_among(places, (kind == a) | (kind == b))
        total += int(WEIGHTS[a, b]) * (both - within[a] - within[b])
    return total


def _count_among(places: Points, chosen: npt.NDArray[np.bool_]) -> int:
    kept = places[chosen]
    present = np.zeros(places.size, dtype=np.int32)
    present[kept] = 1
    return inversions((np.cumsum(present, dtype=np.int32) - 1)[kept])


@compiled("int64(int32[::1], float64[::1], float64[::1], int32[::1], int32[::1])")
def _insert(index: Points, keys: Floats, key: Floats, left: Points, right: Points) -> int:
    """Sort points by key and point, writing down the pairs that change places while there is room."""
    size = 0
    for m in range(index.size):
        key[m] = keys[index[m]]
    for m in range(1, index.size):
        own, point, k = key[m], index[m], m
        while k > 0 and (key[k - 1] > own or (key[k - 1] == own and index[k - 1] > point)):
            if size == left.size:
                return size
            left[size], right[size] = index[k - 1], point
            size += 1
            index[k], key[k] = index[k - 1], key[k - 1]
            k -= 1
        index[k], key[k] = point, own
    return size


def all_moved_pairs(order: Points, keys: Floats, most: int) -> tuple[Points, Points]:
    """Return every pair that changes places when points are sorted anew, by insertion: for few pairs only.

    Parameters
    ----------
    order : ndarray of int32, shape (n,)
        Points in their order at a smaller slope.
    keys : ndarray, shape (n,)
        Residuals at the larger slope, by point; equal ones go by point.
    most : int
        Pairs after which to stop; then one more than that is returned.

    Returns
    -------
    left, right : ndarray of int32
    """
    left, right = np.empty(most + 1, dtype=np.int32), np.empty(most + 1, dtype=np.int32)
    size = int(_insert(order.copy(), keys, np.empty(order.size), left, right))
    return left[:size], right[:size]


@compiled("void(int32[::1], int32[::1], float64[:,::1], float64[::1])")
def _slopes(left: Points, right: Points, lines: Lines, out: Floats) -> None:
    for k in range(left.size):
        i, j = left[k], right[k]
        out[k] = (lines[j, 1] - lines[i, 1]) / (lines[j, 0] - lines[i, 0])


def slopes_of(left: Points, right: Points, lines: Lines) -> Floats:
    """Return the slopes of pairs of points, each point a row of (time, value): one look into memory a point."""
    out = np.empty(left.size)
    _slopes(left, right, lines, out)
    return out
