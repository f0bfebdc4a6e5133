"""Exact order statistics of all pairwise slopes, without ever holding them: O(n log n) time, O(n) memory.

The k-th smallest slope is narrowed down between two slopes whose ranks are counted (:mod:`.kernels`); the
next two are taken from a random sample of the slopes that remain, until few enough remain to be listed. The
answer is exact, only the time is random (the generator is seeded), after Matousek, J. 1991, Randomized
optimal algorithm for slope selection, Information Processing Letters 39:183-187, and Dillencourt, M.B., D.M.
Mount & N.S. Netanyahu, 1992.

Slopes are compared through residuals, so two slopes closer than the rounding of a residual count as equal.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from fathomlight.trends._inputs import Codes, Floats, Ints
from fathomlight.trends._scores import tied_pairs, time_codes
from fathomlight.trends._slopes import Breakpoints
from fathomlight.trends.kernels import (
    WEIGHTS,
    Kinds,
    all_moved_pairs,
    moved_pairs,
    moved_weight,
    slopes_of,
)
from fathomlight.trends.ordering import Points, order_of

NUMBERED_ANEW_FROM = 200_000
"""From so many points on they are numbered anew: fewer lie close together in the processor's memory anyway."""

_SURE = 2.0
"""Half width of a bracket in standard errors of the sampled rank."""


@dataclass
class _Bracket:
    """Slopes in (low, high]: their ranks, the order of the points at ``low``, and a sorted sample of them."""

    low: float
    high: float
    rank_low: int
    rank_high: int
    pairs_low: int
    pairs_high: int
    order: Points
    sample: tuple[Floats, Ints | None] | None = None

    @property
    def pairs(self) -> int:
        return self.pairs_high - self.pairs_low

    @property
    def width(self) -> float:
        return self.high - self.low


class ImplicitSlopes:
    """All breakpoints of one long series, answering their order statistics on demand.

    Parameters
    ----------
    times, values : ndarray, shape (n,)
        Sorted by time.
    codes : ndarray of int8, shape (n,)
    doubled : bool
        True without qualifiers: each slope is held once.

    Notes
    -----
    Points are numbered from the last time to the first, and by value within one time. Sorted by residual,
    equal ones by number, later points then go first among equals, and no pair at one time ever changes
    places.

    Where no two points are at one time, they are numbered anew at the lower end of the first bracket, from the
    last of its order to the first: of two points whose slope lies above it the later one again goes first among
    equals, and from there on every order hardly differs from that of the numbers, so that what is looked up
    lies close together in memory.
    """

    def __init__(self, times: Floats, values: Floats, codes: Codes, doubled: bool) -> None:
        group = time_codes(times)
        same = np.bincount(group)
        n, tied = times.size, same.size < times.size
        falling = np.arange(n - 1, -1, -1, dtype=np.int32)
        number = np.lexsort((values, -times)) if tied else falling
        self.times = times[number] - 0.5 * (times[0] + times[-1])
        self.values = values[number] - values.mean()
        self.kinds: Kinds = np.empty(0, dtype=np.uint8) if doubled else _kinds(codes[number])
        self._group = group[number] if tied else group[:0]
        self.start = order_of(self.times)[0] if tied else falling
        self._number(self.times, self.values, self.kinds)
        self._first = (self.times, self.values, self.kinds)
        self.all_pairs = n * (n - 1) // 2 - tied_pairs(same)
        self.size = self.all_pairs if doubled else self._weight(self.start, np.arange(n, dtype=np.int32))
        self.list_up_to = max(6 * n, 20_000)
        self.sample_size = min(max(2 * n, 10_000), 2_000_000)
        self.random = np.random.default_rng(19450717)
        self._listed: list[tuple[int, Floats]] = []
        self._shortest, self._reach = _gaps(times - 0.5 * (times[0] + times[-1]))
        self._tallest = float(np.abs(self.values).max())

    def take(self, ranks: npt.NDArray[np.int64]) -> Floats:
        """Return the entries of the given ranks, counted from 1."""
        wanted = [int(rank) for rank in ranks]
        if any(self._held(rank) is None for rank in wanted):
            self._listed = self._listed[-3:]  # before it is asked what the bracket has to hold
            open_ranks = [rank for rank in wanted if self._held(rank) is None]
            if self.times is not self._first[0]:
                self._number(*self._first)
            common = self._common_bracket(min(open_ranks), max(open_ranks))
        found = []
        for rank in wanted:
            held = self._held(rank)
            found.append(self._search(rank, replace(common)) if held is None else held)
        return np.array(found, dtype=np.float64)

    def _number(self, times: Floats, values: Floats, kinds: Kinds) -> None:
        self.times, self.values, self.kinds = times, values, kinds
        self._lines = np.column_stack([times, values])

    def _number_anew(self, bracket: _Bracket) -> None:
        """Number the points by the order at the lower end of a bracket, the last first."""
        if self._group.size or bracket.low == -math.inf or self.times.size < NUMBERED_ANEW_FROM:
            return
        back = bracket.order[::-1]
        lines = self._lines[back]
        kinds = self.kinds[back] if self.kinds.size else self.kinds
        self.times, self.values, self.kinds = lines[:, 0].copy(), lines[:, 1].copy(), kinds
        self._lines, bracket.order = lines, self.start

    def _held(self, rank: int) -> float | None:
        for below, listed in self._listed:
            if below < rank <= below + listed.size:
                return float(listed[rank - below - 1])
        return None

    def _common_bracket(self, lowest: int, highest: int) -> _Bracket:
        """Return a bracket around all ranks, from a first sample, with a sample of its own."""
        bracket = _Bracket(-math.inf, math.inf, 0, self.size, 0, self.all_pairs, self.start)
        if bracket.pairs <= self.list_up_to:
            return bracket
        sample = self._sample_of_all()
        slopes = sample[0]
        first = self._place(bracket, lowest, sample, -1)
        last = self._place(bracket, highest, sample, 1)
        if 0 < first < slopes.size:
            self._probe(bracket, lowest, highest, float(slopes[first]) - self._rounding(float(slopes[first])))
            self._number_anew(bracket)
        if last < slopes.size:
            share = (last - max(first, 0)) / slopes.size
            upper = float(slopes[last]) + self._rounding(float(slopes[last]))
            self._probe(bracket, lowest, highest, upper, int(share * self.all_pairs))
        return bracket

    def _search(self, rank: int, bracket: _Bracket) -> float:
        pivot = math.nan
        for _ in range(200):
            if bracket.pairs <= self.list_up_to:
                found = self._list(bracket, rank, bracket.high)
                if found is not None:
                    return found
            before = bracket.pairs
            found, pivot = self._narrow(bracket, rank)
            if found is None and bracket.pairs > before // 2 and bracket.pairs > self.list_up_to:
                found = self._split(bracket, rank, pivot)
            if found is not None:
                return found
        return pivot

    def _place(self, bracket: _Bracket, rank: int, sample: tuple[Floats, Ints | None], side: int) -> int:
        """Return where in a sample a rank lies, moved outward a little."""
        share = (rank - bracket.rank_low) / (bracket.rank_high - bracket.rank_low)
        slopes, total = sample
        whole, heaviest = (slopes.size, 1) if total is None else (int(total[-1]), 2)
        at = share * whole + side * (_SURE * math.sqrt(whole * share * (1 - share) * heaviest) + 2)
        return int(np.searchsorted(total, at)) if total is not None else min(max(math.ceil(at) - 1, 0), whole)

    def _narrow(self, bracket: _Bracket, rank: int) -> tuple[float | None, float]:
        """Tighten the bracket by two sampled slopes around the rank; list what lies between when it is little.

        Returns the entry when it was listed, and the sampled slope of the rank.
        """
        sample = bracket.sample or self._sample(bracket)
        bracket.sample, slopes = None, sample[0]
        at = [self._place(bracket, rank, sample, side) for side in (-1, 0, 1)]
        lower, pivot, upper = (float(slopes[min(k, slopes.size - 1)]) for k in at)
        upper = upper + self._rounding(upper) if at[2] < slopes.size else bracket.high
        share = (min(at[2], slopes.size) - max(at[0], 0)) / slopes.size
        few = share * bracket.pairs < 0.7 * self.list_up_to
        if at[0] > 0:
            self._probe(bracket, rank, rank, lower - self._rounding(lower))
        found = self._list(bracket, rank, upper) if few and bracket.low < upper < math.inf else None
        if found is None:
            self._probe(bracket, rank, rank, upper)
        return found, pivot

    def _split(self, bracket: _Bracket, rank: int, pivot: float) -> float | None:
        """Cut the bracket on both sides of a slope many pairs share; return it when the rank is there."""
        rounding = self._rounding(pivot)
        self._probe(bracket, rank, rank, pivot - rounding)
        self._probe(bracket, rank, rank, pivot + rounding)
        return pivot if bracket.width <= 2.5 * rounding else None

    def _probe(self, bracket: _Bracket, lowest: int, highest: int, slope: float, expected: int = 0) -> None:
        """Count the pairs up to a slope and tighten the bracket there, unless that cuts off a rank.

        With a number of pairs expected, they are sampled on the way.
        """
        if not bracket.low < slope < bracket.high:
            return
        order = self._order(slope)
        step = max(expected / self.sample_size, 1.0)
        wanted = self._spread(step, int(1.5 * expected / step)) if expected else None
        pairs, left, right = moved_pairs(bracket.order, order, wanted)
        rank_there = bracket.rank_low + (self._weight(bracket.order, order) if self.kinds.size else pairs)
        if rank_there < lowest:
            bracket.low, bracket.rank_low = slope, rank_there
            bracket.pairs_low, bracket.order = bracket.pairs_low + pairs, order
            bracket.sample = None
        elif rank_there >= highest:
            bracket.high, bracket.rank_high, bracket.pairs_high = slope, rank_there, bracket.pairs_low + pairs
            whole = wanted is not None and 0 < left.size < wanted.size
            bracket.sample = self._sorted_slopes(left, right) if whole else None

    def _rounding(self, slope: float) -> float:
        """Return the distance within which residuals cannot tell slopes apart."""
        size = self._tallest + abs(slope) * self._reach
        return 8 * float(np.finfo(float).eps) * size / self._shortest

    def _keys(self, slope: float) -> Floats:
        keys: Floats = -self.times if math.isinf(slope) else self.values - slope * self.times
        return keys

    def _order(self, slope: float) -> Points:
        """Return the points sorted by residual, equal ones by number."""
        return order_of(self._keys(slope))[0]

    def _weight(self, order: Points, target: Points) -> int:
        return moved_weight(order, target, self.kinds)

    def _spread(self, step: float, size: int) -> Ints:
        """Return numbers a step apart, from a random first one."""
        return ((np.arange(size) + self.random.random()) * step).astype(np.int64)

    def _sample(self, bracket: _Bracket) -> tuple[Floats, Ints | None]:
        if bracket.pairs == self.all_pairs:
            return self._sample_of_all()
        wanted = self._spread(max(bracket.pairs / self.sample_size, 1.0), self.sample_size)
        _, left, right = moved_pairs(bracket.order, self._order(bracket.high), wanted)
        return self._sorted_slopes(left, right)

    def _sample_of_all(self) -> tuple[Floats, Ints | None]:
        n = self.times.size
        left = np.resize(np.arange(n, dtype=np.int32), self.sample_size)
        right = self.random.integers(0, n - 1, self.sample_size, dtype=np.int32)
        right += right >= left  # any point but the left one
        if self._group.size:
            apart = self._group[left] != self._group[right]
            left, right = left[apart], right[apart]
        return self._sorted_slopes(left, right)

    def _list(self, bracket: _Bracket, rank: int, slope: float) -> float | None:
        """List the entries from the lower end of a bracket to a slope; return that of the rank if it is there."""
        left, right = all_moved_pairs(bracket.order, self._keys(slope), self.list_up_to)
        if left.size > self.list_up_to:
            return None
        slopes, total = self._sorted_slopes(left, right)
        listed = slopes if total is None else np.repeat(slopes, np.diff(total, prepend=0))
        at = rank - bracket.rank_low - 1
        if at >= listed.size:
            return None
        self._listed.append((bracket.rank_low, listed))
        return float(listed[at])

    def _sorted_slopes(self, left: Points, right: Points) -> tuple[Floats, Ints | None]:
        """Return the sorted slopes of pairs and their running number of breakpoints; None when one each."""
        slopes = slopes_of(left, right, self._lines)
        if not self.kinds.size:
            slopes.sort()
            return slopes, None
        weights = WEIGHTS[self.kinds[left], self.kinds[right]]
        order = np.argsort(slopes)
        order = order[weights[order] > 0]
        return slopes[order], np.cumsum(weights[order])


def _gaps(times: Floats) -> tuple[float, float]:
    """Return the shortest time between points (not below a millionth of the whole) and the longest from 0."""
    gaps, reach = np.diff(times), abs(float(times[-1]))
    least = float(gaps.min())
    if least <= 0:
        apart = gaps[gaps > 0]
        least = float(apart.min()) if apart.size else 1.0
    return max(least, 1e-6 * reach), reach


def _kinds(codes: Codes) -> Kinds:
    kinds = np.zeros(codes.size, dtype=np.uint8)
    kinds[codes < 0] = 1
    kinds[codes > 0] = 2
    return kinds


def implicit_breakpoints(times: Floats, values: Floats, codes: Codes, doubled: bool) -> Breakpoints:
    """Return the breakpoints of one long series, found on demand.

    Parameters
    ----------
    times, values, codes : ndarray, shape (n,)
        Sorted by time.
    doubled : bool
        True without qualifiers.

    Returns
    -------
    Breakpoints
    """
    slopes = ImplicitSlopes(times, values, codes, doubled)
    if doubled:
        return Breakpoints(slopes, slopes.all_pairs, slopes.all_pairs, True)
    return Breakpoints(slopes, _rising_ends(times, codes), slopes.all_pairs, False)


def _rising_ends(times: Floats, codes: Codes) -> int:
    """Return the number of pairs certainly rising for small slopes: earlier not ``>``, later not ``<``."""
    distinct, group = np.unique(times, return_inverse=True)
    early = np.bincount(group.reshape(-1), weights=codes <= 0, minlength=distinct.size)
    late = np.bincount(group.reshape(-1), weights=codes >= 0, minlength=distinct.size)
    before = np.cumsum(early) - early
    return int(np.rint(np.dot(before, late)))
