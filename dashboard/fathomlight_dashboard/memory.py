"""Keeps the server small: memory of finished work goes back to the system instead of staying with its thread."""

from __future__ import annotations

import ctypes
import sys

M_ARENA_MAX = -8
"""Number of the setting in ``malloc.h`` of the GNU C library (``mallopt(3)``)."""


def settle(pools: int = 2) -> bool:
    """Let all threads share few pools of memory, and Arrow use the same ones.

    Every page is drawn in a thread of its own. By default each gets a pool that grows to the largest table it has
    ever held and is not given back.

    Parameters
    ----------
    pools : int
        At most so many.

    Returns
    -------
    bool
        False where the system's C library has no such setting; nothing is changed then.
    """
    import pyarrow as pa

    if not sys.platform.startswith("linux"):
        return False
    try:
        done = bool(ctypes.CDLL(None).mallopt(M_ARENA_MAX, pools))
    except (OSError, AttributeError):  # another C library
        return False
    pa.set_memory_pool(pa.system_memory_pool())
    return done
