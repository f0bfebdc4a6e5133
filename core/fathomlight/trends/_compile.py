"""One decorator for compiled functions: cached on disk where a disk can be written, without Python's lock."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import numba

_njit: Any = numba.njit
F = TypeVar("F", bound=Callable[..., Any])


def compiled(*signature: str) -> Callable[[F], F]:
    """Compile a function, at once with a signature, else at its first call, and keep the machine code.

    The code is kept beside the source, or in the user's cache folder when that is read-only
    (``NUMBA_CACHE_DIR`` names another); where neither can be written, it is compiled afresh in each process.

    Parameters
    ----------
    *signature : str
        One numba signature; it keeps constants from making versions of their own.
    """

    def decorate(function: F) -> F:
        options: dict[str, Any] = {"nogil": True, "error_model": "numpy"}
        try:
            made: Any = _njit(*signature, cache=True, **options)(function)
        except RuntimeError:
            made = _njit(*signature, **options)(function)
        result: F = made
        return result

    return decorate


def inner(function: F) -> F:
    """Compile a function as part of the compiled functions of its module that call it, and keep it with them.

    It has no entry from Python, and where the caller's machine code is kept it is not compiled at all. Give
    each argument one type throughout: each set of types is compiled anew.
    """
    options: dict[str, Any] = {"no_cpython_wrapper": True, "no_cfunc_wrapper": True, "no_rewrites": True}
    made: F = _njit(nogil=True, error_model="numpy", **options)(function)
    return made
