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
from fathomlight.trends._scores import time_codes
from fathomlight.trends._slopes import Breakpoints
from fathomlight.trends.kernels import WEIGHTS, Index, Kinds, merge_walk

_NONE = np.empty(0, dtype=np.int64)
_SURE = 2.0
"""Half width of a bracket in standard errors of the sampled rank."""


@dataclass
class _Bracket:
    """Slopes in (low, high]: their ranks, and the order of the points at ``low``."""

    low: float
    high: float
    rank_low: int
    rank_high: int
    pairs_low: int
    pairs_high: int
    order: Index

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
    """

    def __init__(self, times: Floats, values: Floats, codes: Codes, doubled: bool) -> None:
        same = np.bincount(time_codes(times))
        if (
            same.size < times.size
        ):  # points at one time go by value, so that no pair of them ever changes places
            order = np.lexsort((values, times))
            times, values, codes = times[order], values[order], codes[order]
        self.times = times - 0.5 * (times[0] + times[-1])
        self.values = values - np.median(values)
        self.kinds: Kinds = np.empty(0, dtype=np.uint8) if doubled else _kinds(codes)
        n = times.size
        self.all_pairs = n * (n - 1) // 2 - int(np.sum(same * (same - 1) // 2))
        self.start = np.arange(n, dtype=np.int32)
        self.size = self.all_pairs if doubled else int(self._walk(self.start, math.inf)[2])
        self.list_up_to = max(6 * n, 20_000)
        self.sample_size = min(max(2 * n, 10_000), 2_000_000)
        self.random = np.random.default_rng(19450717)
        self._listed: list[tuple[int, Floats]] = []
        self._common_ends = (math.nan, math.nan)
        self._sampled: tuple[Floats, Ints] | None = None
        self._shortest, self._reach = _gaps(self.times)
        self._tallest = float(np.abs(self.values).max())

    def take(self, ranks: npt.NDArray[np.int64]) -> Floats:
        """Return the entries of the given ranks, counted from 1."""
        open_ranks = [int(rank) for rank in ranks if self._held(int(rank)) is None]
        if open_ranks:
            self._listed = self._listed[-3:]
            common = self._common_bracket(min(open_ranks), max(open_ranks))
            self._common_ends, self._sampled = (common.low, common.high), None
        found = []
        for rank in ranks.tolist():
            held = self._held(rank)
            found.append(self._search(rank, replace(common)) if held is None else held)
        self._sampled = None
        return np.array(found, dtype=np.float64)

    def _common_bracket(self, lowest: int, highest: int) -> _Bracket:
        """Return a bracket around all ranks, from the first sample."""
        bracket = _Bracket(-math.inf, math.inf, 0, self.size, 0, self.all_pairs, self.start)
        if bracket.pairs > self.list_up_to:
            slopes, weights = self._sample(bracket)
            total = np.cumsum(weights)
            places = [
                (self._place(bracket, r, total, side), side) for r, side in ((lowest, -1), (highest, 1))
            ]
            for at, side in places:
                if 0 < at < slopes.size:
                    slope = float(slopes[at])
                    self._probe(bracket, lowest, highest, slope + side * self._rounding(slope))
        return bracket

    def _held(self, rank: int) -> float | None:
        for below, listed in self._listed:
            if below < rank <= below + listed.size:
                return float(listed[rank - below - 1])
        return None

    def _walk(self, order: Index, slope: float, wanted: Ints = _NONE) -> tuple[Index, int, int, Index, Index]:
        keys = -self.times if math.isinf(slope) else self.values - slope * self.times
        result: tuple[Index, int, int, Index, Index] = merge_walk(
            order, keys, self.times, self.kinds, WEIGHTS, wanted
        )
        return result

    def _search(self, rank: int, bracket: _Bracket) -> float:
        pivot = math.nan
        for _ in range(200):
            if bracket.pairs <= self.list_up_to:
                return self._list(bracket, rank)
            before = bracket.pairs
            pivot = self._narrow(bracket, rank)
            if bracket.pairs > before // 2 and bracket.pairs > self.list_up_to:
                found = self._split(bracket, rank, pivot)
                if found is not None:
                    return found
        return pivot

    def _place(self, bracket: _Bracket, rank: int, total: Ints, side: int) -> int:
        """Return where in a sample (running weights ``total``) a rank lies, moved outward a little."""
        share = (rank - bracket.rank_low) / (bracket.rank_high - bracket.rank_low)
        heaviest = 1 if self.kinds.size == 0 else 2
        margin = _SURE * math.sqrt(total[-1] * share * (1 - share) * heaviest) + 2
        return int(np.searchsorted(total, share * total[-1] + side * margin))

    def _narrow(self, bracket: _Bracket, rank: int) -> float:
        """Tighten the bracket by two sampled slopes around the rank; return the sampled slope of the rank."""
        slopes, weights = self._sample(bracket)
        total = np.cumsum(weights)
        at = [self._place(bracket, rank, total, side) for side in (-1, 0, 1)]
        lower, pivot, upper = (float(slopes[min(k, slopes.size - 1)]) for k in at)
        if at[0] > 0:
            self._probe(bracket, rank, rank, lower - self._rounding(lower))
        if at[2] < slopes.size:
            self._probe(bracket, rank, rank, upper + self._rounding(upper))
        return pivot

    def _split(self, bracket: _Bracket, rank: int, pivot: float) -> float | None:
        """Cut the bracket on both sides of a slope many pairs share; return it when the rank is there."""
        rounding = self._rounding(pivot)
        self._probe(bracket, rank, rank, pivot - rounding)
        self._probe(bracket, rank, rank, pivot + rounding)
        return pivot if bracket.width <= 2.5 * rounding else None

    def _probe(self, bracket: _Bracket, lowest: int, highest: int, slope: float) -> None:
        """Count the pairs up to a slope and tighten the bracket there, unless that cuts off a rank."""
        if not bracket.low < slope < bracket.high:
            return
        order, pairs, weighted, _, _ = self._walk(bracket.order, slope)
        rank_there, pairs_there = bracket.rank_low + weighted, bracket.pairs_low + pairs
        if rank_there < lowest:
            bracket.low, bracket.rank_low = slope, rank_there
            bracket.pairs_low, bracket.order = pairs_there, order
        elif rank_there >= highest:
            bracket.high, bracket.rank_high, bracket.pairs_high = slope, rank_there, pairs_there

    def _rounding(self, slope: float) -> float:
        """Return the distance within which residuals cannot tell slopes apart."""
        size = self._tallest + abs(slope) * self._reach
        return 8 * float(np.finfo(float).eps) * size / self._shortest

    def _sample(self, bracket: _Bracket) -> tuple[Floats, Ints]:
        key = (bracket.low, bracket.high)
        if key == self._common_ends and self._sampled is not None:
            return self._sampled
        if bracket.pairs == self.all_pairs:
            n = self.times.size
            left = self.random.integers(0, n, self.sample_size, dtype=np.int32)
            right = self.random.integers(0, n, self.sample_size, dtype=np.int32)
            apart = self.times[left] != self.times[right]
            left, right = left[apart], right[apart]
        else:
            wanted = np.sort(self.random.integers(0, bracket.pairs, self.sample_size))
            _, _, _, left, right = self._walk(bracket.order, bracket.high, wanted)
        sample = self._sorted_slopes(left, right)
        if key == self._common_ends:
            self._sampled = sample
        return sample

    def _list(self, bracket: _Bracket, rank: int) -> float:
        wanted = np.arange(bracket.pairs, dtype=np.int64)
        _, _, _, left, right = self._walk(bracket.order, bracket.high, wanted)
        slopes, weights = self._sorted_slopes(left, right)
        listed = np.repeat(slopes, weights) if self.kinds.size else slopes
        self._listed.append((bracket.rank_low, listed))
        return float(listed[rank - bracket.rank_low - 1])

    def _sorted_slopes(self, left: Index, right: Index) -> tuple[Floats, Ints]:
        slopes = (self.values[right] - self.values[left]) / (self.times[right] - self.times[left])
        if not self.kinds.size:
            return np.sort(slopes), np.ones(slopes.size, dtype=np.int64)
        weights = WEIGHTS[self.kinds[left], self.kinds[right]]
        order = np.argsort(slopes)
        order = order[weights[order] > 0]
        return slopes[order], weights[order]


def _gaps(times: Floats) -> tuple[float, float]:
    """Return the shortest time between points (not below a millionth of the whole) and the longest from 0."""
    gaps, reach = np.diff(times), abs(float(times[-1]))
    apart = gaps[gaps > 0]
    return max(float(apart.min()) if apart.size else 1.0, 1e-6 * reach), reach


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
