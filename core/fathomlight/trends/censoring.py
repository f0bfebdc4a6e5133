"""Bring drifting limits to one limit."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import numpy.typing as npt

from fathomlight.errors import ArgumentError
from fathomlight.model import ABOVE, BELOW, EQUAL
from fathomlight.trends._inputs import Floats, as_codes, as_floats


def recensor(
    values: Any, qualifiers: Any, limit: float | None = None, *, side: str | None = None
) -> tuple[Floats, npt.NDArray[np.object_]]:
    """Censor all values at one limit, so that limits no longer drift with time.

    For ``<``: every value below the limit, and every ``<`` at or below it, becomes ``<`` limit. For ``>``
    the mirror image. Nothing is made up: a value only loses precision.

    Parameters
    ----------
    values : array-like, shape (n,)
    qualifiers : array-like of {"=", "<", ">"}, shape (n,)
    limit : float, optional
        None means the highest ``<`` limit and the lowest ``>`` limit.
    side : {"<", ">"}, optional
        None means each kind that is present; needed with ``limit`` when both are.

    Returns
    -------
    values : ndarray, shape (n,)
    qualifiers : ndarray of object, shape (n,)

    Raises
    ------
    ArgumentError
        On unknown qualifiers, or a limit without a side when both kinds are present.

    Examples
    --------
    >>> recensor([20.0, 10.0, 7.0, 3.0], ["=", "<", "=", "<"])
    (array([20., 10., 10., 10.]), array(['=', '<', '<', '<'], dtype=object))
    """
    x = as_floats(values, "values").copy()
    codes = as_codes(qualifiers, x.size)
    present = [mark for mark, code in ((BELOW, -1), (ABOVE, 1)) if np.any(codes == code)]
    if side is not None and side not in (BELOW, ABOVE):
        raise ArgumentError("side", "unknown side", got=side, expected="'<' or '>'")
    sides = [side] if side is not None else present
    if limit is not None and len(sides) != 1:
        raise ArgumentError("side", "must be named with a limit", got=present, expected="'<' or '>'")
    for mark in sides:
        code = -1 if mark == BELOW else 1
        bounds = x[codes == code]
        if limit is None and not bounds.size:
            continue
        at = limit if limit is not None else float(np.nanmax(bounds) if code < 0 else np.nanmin(bounds))
        if not math.isfinite(at):
            raise ArgumentError("limit", "must be a number", got=at)
        inside = (-code * x < -code * at) & (codes == 0)
        same = (-code * x <= -code * at) & (codes == code)
        chosen = inside | same
        x[chosen], codes[chosen] = at, code
    marks = np.array([EQUAL, ABOVE, BELOW], dtype=object)[codes]
    return x, marks
