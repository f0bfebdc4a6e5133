"""The order of a long series by a key, faster than sorting places by it.

Each key is packed with its place into one integer, the key in the upper bits as far as they reach, and the
integers are sorted as they stand: no comparison has to look elsewhere in memory. Keys that the upper bits
cannot tell apart are put right afterwards by insertion, so the order is exact.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from fathomlight.trends._compile import compiled
from fathomlight.trends._inputs import Floats

Points = npt.NDArray[np.int32]
Packed = npt.NDArray[np.uint64]

_MOVES = 4
"""Moves per key after which insertion is given up."""


@compiled("void(float64[::1], uint64[::1], float64, float64, uint64)")
def _pack(keys: Floats, packed: Packed, lowest: float, scale: float, bits: int) -> None:
    for k in range(keys.size):
        packed[k] = (np.uint64((keys[k] - lowest) * scale) << bits) | np.uint64(k)


@compiled("boolean(uint64[::1], uint64, float64[::1], int32[::1], float64[::1], int64)")
def _unpack(packed: Packed, mask: int, keys: Floats, order: Points, ordered: Floats, moves: int) -> bool:
    """Fill the order and the keys in it, exact among keys of equal upper bits; False when too far from it."""
    for k in range(packed.size):
        place = np.int64(packed[k] & mask)
        order[k], ordered[k] = place, keys[place]
    for m in range(1, ordered.size):
        if ordered[m - 1] <= ordered[m]:
            continue
        own, point, k = ordered[m], order[m], m
        while k > 0 and ordered[k - 1] > own:
            ordered[k], order[k] = ordered[k - 1], order[k - 1]
            k -= 1
        ordered[k], order[k] = own, point
        moves -= m - k
        if moves < 0:
            return False
    return True


def order_of(keys: Floats) -> tuple[Points, Floats]:
    """Return the places of numbers in rising order, equal ones by place, and the numbers in that order.

    Parameters
    ----------
    keys : ndarray, shape (n,)
        Finite numbers; up to 2**31 - 1 of them.

    Returns
    -------
    order : ndarray of int32, shape (n,)
    ordered : ndarray, shape (n,)

    Examples
    --------
    >>> order_of(np.array([3.0, 1.0, 3.0, 2.0]))
    (array([1, 3, 0, 2], dtype=int32), array([1., 2., 3., 3.]))
    """
    if keys.size:
        bits = max((keys.size - 1).bit_length(), 1)
        lowest = float(keys.min())
        span = float(keys.max()) - lowest
        scale = math.ldexp(1.0, 63 - bits) / span if span > 0 else math.inf
        if 0.0 < scale < math.inf:
            packed = np.empty(keys.size, dtype=np.uint64)
            order, ordered = np.empty(keys.size, dtype=np.int32), np.empty(keys.size)
            _pack(keys, packed, lowest, scale, bits)
            packed.sort()
            if _unpack(packed, (1 << bits) - 1, keys, order, ordered, _MOVES * keys.size):
                return order, ordered
    stable = np.argsort(keys, kind="stable")
    return stable.astype(np.int32), keys[stable]
