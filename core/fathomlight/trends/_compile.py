"""One decorator for compiled functions: lazy, cached on disk where a disk can be written, without the lock."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import numba

F = TypeVar("F", bound=Callable[..., Any])


def compiled(function: F) -> F:
    """Compile a function at its first call and keep the machine code for the next process.

    The code is kept beside the source, or in the user's cache folder when that is read-only
    (``NUMBA_CACHE_DIR`` names another); where neither can be written, it is compiled afresh in each process.
    """
    try:
        result: F = numba.njit(cache=True, nogil=True, error_model="numpy")(function)
    except RuntimeError:
        result = numba.njit(nogil=True, error_model="numpy")(function)
    return result
