"""Pairwise slopes and the order statistics of them, with and without qualifiers.

With qualifiers, each pair i, j (t_i < t_j) gives two breakpoints: u = (low_j - high_i)/(t_j - t_i), below
which it is certainly rising along the residuals x - b t, and d = (high_j - low_i)/(t_j - t_i), above which
it is certainly falling. S(b) = #(u > b) - #(d < b) falls from the number of finite u to minus that of finite
d. Without qualifiers u = d = slope and S(b) = 0 at the median. One list of breakpoints therefore serves
both: its length without qualifiers is twice the number of slopes, and S crosses zero after its ``anchor``-th
entry.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, Protocol

import numpy as np
import numpy.typing as npt

from fathomlight.errors import ArgumentError
from fathomlight.trends._inputs import Codes, Floats

Ranks = Literal["interpolated", "nearest", "outward"]

PAIRS_AT_ONCE_UP_TO = 1_000
"""Up to this many values, all pairwise slopes are held in memory."""


PAIRS_IN_ALL_UP_TO = 100_000_000
"""Most pairs within blocks that are held in memory (about 1 GB)."""


class Ordered(Protocol):
    """Something that can say its k-th smallest entry, k from 1."""

    @property
    def size(self) -> int:
        """Number of entries."""

    def take(self, ranks: npt.NDArray[np.int64]) -> Floats:
        """Return the entries of the given ranks, counted from 1."""


@dataclass(frozen=True)
class SortedList:
    """Breakpoints held in memory."""

    entries: Floats

    @property
    def size(self) -> int:
        """Number of entries."""
        return int(self.entries.size)

    def take(self, ranks: npt.NDArray[np.int64]) -> Floats:
        """Return the entries of the given ranks, counted from 1."""
        where = np.unique(ranks) - 1
        parted = np.partition(self.entries, where)
        out: Floats = parted[ranks - 1]
        return out


@dataclass(frozen=True)
class Breakpoints:
    """The breakpoints of one or several blocks, and where S crosses zero.

    ``doubled`` is True when each slope stands for two equal breakpoints (no qualifiers), so ``ordered``
    holds it once.
    """

    ordered: Ordered
    anchor: int
    pairs: int
    doubled: bool


def block_breakpoints(times: Floats, values: Floats, codes: Codes, doubled: bool) -> tuple[Floats, int, int]:
    """Return the finite breakpoints of one block, the number of finite u, and the pairs apart in time."""
    i, j = np.triu_indices(times.size, 1)
    apart = times[j] != times[i]
    i, j = i[apart], j[apart]
    slopes = (values[j] - values[i]) / (times[j] - times[i])
    if doubled:
        return slopes, slopes.size, slopes.size
    has_u = (codes[j] >= 0) & (codes[i] <= 0)
    has_d = (codes[j] <= 0) & (codes[i] >= 0)
    return np.concatenate([slopes[has_u], slopes[has_d]]), int(has_u.sum()), slopes.size


def breakpoints(blocks: list[tuple[Floats, Floats, Codes]]) -> Breakpoints:
    """Return the breakpoints of blocks (times sorted, values, codes) between which no pair is formed."""
    doubled = not any(np.any(codes) for _, _, codes in blocks)
    if len(blocks) == 1 and blocks[0][0].size > PAIRS_AT_ONCE_UP_TO:
        from fathomlight.trends.selection import implicit_breakpoints

        return implicit_breakpoints(*blocks[0], doubled)
    pairs = sum(t.size * (t.size - 1) // 2 for t, _, _ in blocks)
    if pairs > PAIRS_IN_ALL_UP_TO:
        raise ArgumentError(
            "values",
            "too many pairs within blocks",
            got=f"{pairs:.3g}",
            expected=f"at most {PAIRS_IN_ALL_UP_TO:.0e}",
            fix="Reduce the readings to one value per season and year first.",
        )
    parts = [block_breakpoints(t, x, c, doubled) for t, x, c in blocks]
    entries = np.concatenate([part[0] for part in parts]) if parts else np.empty(0)
    return Breakpoints(SortedList(entries), sum(p[1] for p in parts), sum(p[2] for p in parts), doubled)


def slope_and_limits(points: Breakpoints, spread: float, ranks: Ranks) -> tuple[float, float, float]:
    """Return slope, lower and upper limit.

    Parameters
    ----------
    points : Breakpoints
    spread : float
        C = z sqrt(Var S), [1].
    ranks : {"interpolated", "nearest", "outward"}
        What to do with fractional ranks.

    Returns
    -------
    slope, low, high : float
        NaN slope when S never crosses zero; infinite limits when the data do not bound the slope on that
        side.
    """
    if points.ordered.size == 0:
        return math.nan, math.nan, math.nan
    centre = float(points.anchor)
    below, above = _limit_centres(points, spread, ranks)
    cuts = [(centre - 1, centre + 1), (below - 1, below + 1), (above - 1, above + 1)]
    slope, low, high = _averages(points, cuts)
    crosses = points.doubled or 1 <= points.anchor < points.ordered.size
    return (slope if crosses and math.isfinite(slope) else math.nan), low, high


def zero_interval(points: Breakpoints) -> tuple[float, float]:
    """Return the interval of slopes over which S of the residuals is zero; its middle is reported."""
    size = points.ordered.size
    first = (points.anchor + 1) // 2 if points.doubled else points.anchor
    last = points.anchor // 2 + 1 if points.doubled else points.anchor + 1
    ends = [k for k in (first, last) if 1 <= k <= size]
    found = (
        dict(zip(ends, points.ordered.take(np.array(ends, dtype=np.int64)).tolist(), strict=True))
        if ends
        else {}
    )
    return found.get(first, -math.inf), found.get(last, math.inf)


def _limit_centres(points: Breakpoints, spread: float, ranks: Ranks) -> tuple[float, float]:
    """Return the middles of the two pieces of the breakpoint list that the limits average over.

    Each piece is two entries wide.

    Without qualifiers the piece (2k - 2, 2k] is slope k, so a piece between two slopes interpolates linearly
    between them: the lower limit is Gilbert's slope of fractional rank M1 = (N' - C)/2, the upper that of M2
    + 1 = (N' + C)/2 + 1. ``nearest`` and ``outward`` round M1 and M2; with qualifiers they round C + 1.
    """
    if ranks == "interpolated" or math.isnan(spread):
        return points.anchor - spread - 1, points.anchor + spread + 1
    if not points.doubled:
        step = np.round(spread + 1) if ranks == "nearest" else math.ceil(spread + 1)
        return float(points.anchor - step), float(points.anchor + step)
    m1, m2 = (points.pairs - spread) / 2, (points.pairs + spread) / 2
    if ranks == "nearest":
        return float(2 * np.round(m1) - 1), float(2 * np.round(m2) + 1)
    return float(2 * math.floor(m1) - 1), float(2 * math.ceil(m2) + 1)


def _averages(points: Breakpoints, cuts: list[tuple[float, float]]) -> list[float]:
    size = points.ordered.size * (2 if points.doubled else 1)
    needed: list[list[tuple[int, float]]] = []
    for start, stop in cuts:
        needed.append(_weights(start, stop))
    inside = sorted({rank for part in needed for rank, _ in part if 1 <= rank <= size})
    held = [(rank + 1) // 2 for rank in inside] if points.doubled else inside
    taken = points.ordered.take(np.array(held, dtype=np.int64)) if held else np.empty(0)
    entry = dict(zip(inside, taken.tolist(), strict=True))
    return [_average(part, entry, size, points.doubled) for part in needed]


def _weights(start: float, stop: float) -> list[tuple[int, float]]:
    """Return (rank, weight) of the unit cells (k - 1, k] that the piece (start, stop] covers."""
    if math.isnan(start):
        return []
    cells = range(math.floor(start) + 1, math.ceil(stop) + 1)
    parts = [(k, (min(stop, k) - max(start, k - 1)) / (stop - start)) for k in cells]
    return [(k, w) for k, w in parts if w > 1e-12]


def _average(part: list[tuple[int, float]], entry: dict[int, float], size: int, whole: bool) -> float:
    """Average the entries of a piece; one out of the list (by half, with qualifiers) is unbounded."""
    if not part:
        return math.nan
    outside = sum(weight for rank, weight in part if not 1 <= rank <= size)
    if outside > (1e-9 if whole else 0.5):
        return -math.inf if min(rank for rank, _ in part) < 1 else math.inf
    inside = [(entry[rank], weight) for rank, weight in part if rank in entry]
    if len({value for value, _ in inside}) == 1:
        return inside[0][0]
    return sum(weight * value for value, weight in inside) / sum(weight for _, weight in inside)
