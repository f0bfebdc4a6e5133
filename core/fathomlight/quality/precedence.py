"""The one place that knows which flag wins.

Several tests, one reading: 9 when there is no value, else 4 before 3 before 1, and 2 only when no test could
say anything. A person's flag stands before every automatic one.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from fathomlight.errors import ArgumentError
from fathomlight.model import Flag
from fathomlight.quality.series import Flags

TESTS = (
    "gap",
    "gross_range",
    "climatology",
    "spike",
    "rate_of_change",
    "flat_line",
    "attenuated",
    "neighbour",
)
"""Tests in the order of QARTOD's hierarchy: required, strongly recommended, suggested. Where several give the
worst flag, the first of them is named as the reason."""

SERIAL_TESTS = ("spike", "rate_of_change", "flat_line", "attenuated", "neighbour")
"""Tests that only make sense on a regular series."""

_RANK = np.full(10, -1, dtype=np.int8)
_RANK[[Flag.NOT_EVALUATED, Flag.PASS, Flag.SUSPECT, Flag.FAIL, Flag.MISSING]] = [0, 1, 2, 3, 4]
_FLAG = np.array([Flag.NOT_EVALUATED, Flag.PASS, Flag.SUSPECT, Flag.FAIL, Flag.MISSING], dtype=np.int8)


def roll_up(by_test: Mapping[str, Flags], n: int) -> Flags:
    """Return one flag per reading from the flags of every test.

    Parameters
    ----------
    by_test : mapping of str to ndarray of int8, shape (n,)
        Test name to flags; may be empty.
    n : int
        Number of readings.

    Returns
    -------
    ndarray of int8, shape (n,)

    Examples
    --------
    >>> roll_up({"a": np.array([1, 3, 2, 9, 1]), "b": np.array([4, 1, 2, 9, 2])}, 5).tolist()
    [4, 3, 2, 9, 1]
    """
    rank = np.zeros(n, dtype=np.int8)
    for flags in by_test.values():
        np.maximum(rank, _RANK[np.asarray(flags, dtype=np.int64)], out=rank)
    out: Flags = _FLAG[rank]
    return out


def deciding_test(by_test: Mapping[str, Flags], flags: Flags) -> np.ndarray:
    """Return the name of the test that decided each flag, empty where it is 1 or 2.

    Parameters
    ----------
    by_test : mapping of str to ndarray of int8, shape (n,)
    flags : ndarray of int8, shape (n,)
        The roll-up.

    Returns
    -------
    ndarray of str, shape (n,)
        The first in :data:`TESTS` among those with the worst flag.
    """
    name = np.full(len(flags), "", dtype=object)
    bad = np.isin(flags, (Flag.SUSPECT, Flag.FAIL, Flag.MISSING))
    for test in sorted(by_test, key=TESTS.index, reverse=True):
        name[bad & (by_test[test] == flags)] = test
    return name


def effective_flag(automatic: Any, person: Any) -> Flags:
    """Return the flag that counts: the person's where there is one, else the automatic one.

    Parameters
    ----------
    automatic : array-like of int, shape (n,)
        Flags of the tests.
    person : array-like of int or missing, shape (n,)
        Flags set by a reviewer; None or NaN where there is none.

    Returns
    -------
    ndarray of int8, shape (n,)

    Examples
    --------
    >>> effective_flag([4, 1, 3], [1, None, None]).tolist()
    [1, 1, 3]
    """
    own = pd.Series(np.asarray(person, dtype=object)).astype("Float64").to_numpy(dtype=float, na_value=np.nan)
    tests = np.asarray(automatic, dtype=np.int8)
    if own.shape != tests.shape:
        raise ArgumentError("person", "must be as long as automatic", got=len(own), expected=len(tests))
    known = np.array([int(flag) for flag in Flag], dtype=float)
    wrong = ~np.isnan(own) & ~np.isin(own, known)
    if wrong.any():
        raise ArgumentError("person", "unknown flag", got=float(own[wrong][0]), expected="1, 2, 3, 4 or 9")
    return np.where(np.isnan(own), tests, np.nan_to_num(own)).astype(np.int8)
