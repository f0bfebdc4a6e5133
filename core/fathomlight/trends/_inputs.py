"""Turn what callers hand over (lists, numpy, pandas, xarray) into sorted, complete, checked arrays."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from fathomlight.errors import ArgumentError
from fathomlight.model import ABOVE, BELOW, EQUAL

Floats = npt.NDArray[np.float64]
Codes = npt.NDArray[np.int8]
Ints = npt.NDArray[np.int64]

_CODE = {EQUAL: 0, BELOW: -1, ABOVE: 1}


@dataclass(frozen=True)
class SeriesInput:
    """Values in order of time, missing ones left out.

    ``codes`` holds 0 for ``=``, -1 for ``<``, 1 for ``>``; ``kept`` the positions in the arrays handed over.
    """

    values: Floats
    times: Floats
    codes: Codes
    kept: Ints
    n_given: int
    dated: bool

    @property
    def qualified(self) -> bool:
        """True when at least one value is only a bound."""
        return bool(np.any(self.codes != 0))

    @property
    def n(self) -> int:
        """Values used."""
        return int(self.values.size)

    @property
    def n_missing(self) -> int:
        """Values handed over but missing."""
        return self.n_given - self.n


def as_floats(values: Any, argument: str) -> Floats:
    """Return a one-dimensional float64 array; masked and null entries become NaN, infinities are refused."""
    if isinstance(values, np.ma.MaskedArray):
        values = np.ma.filled(values.astype(float), np.nan)
    if hasattr(values, "to_numpy") and not isinstance(values, np.ndarray):
        values = _from_pandas_or_xarray(values)
    try:
        array = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise ArgumentError(
            argument, "must be numbers", got=_sample(values), expected="a sequence of numbers"
        ) from error
    if array.ndim != 1:
        raise ArgumentError(argument, "must have one dimension", got=array.shape, expected="shape (n,)")
    if np.isinf(array).any():
        raise ArgumentError(
            argument,
            "holds an infinite value",
            got=float(array[np.isinf(array)][0]),
            expected="finite numbers, NaN for missing",
        )
    return array


def _from_pandas_or_xarray(values: Any) -> Any:
    if isinstance(values, (pd.Series, pd.Index)) and not isinstance(values, pd.DatetimeIndex):
        return values.to_numpy(dtype="float64", na_value=np.nan)
    return values.to_numpy()


def _sample(values: Any) -> str:
    text = repr(values)
    return text if len(text) <= 60 else text[:57] + "..."


def as_times(times: Any, argument: str = "times") -> tuple[Floats, bool]:
    """Return times as float64 and whether they were dates; dates become decimal years (UTC)."""
    raw = times.to_numpy() if hasattr(times, "to_numpy") and not isinstance(times, np.ndarray) else times
    index = raw if isinstance(raw, np.ndarray) else np.asarray(raw)
    looks_dated = index.dtype.kind == "M" or (
        index.dtype == object and index.size and _is_date(index.flat[0])
    )
    if not looks_dated:
        return as_floats(times, argument), False
    try:
        stamps = pd.to_datetime(pd.Series(index.ravel()), utc=True)
    except (TypeError, ValueError) as error:
        raise ArgumentError(argument, "holds something that is no date", got=_sample(times)) from error
    return decimal_years(stamps), True


def _is_date(item: object) -> bool:
    return hasattr(item, "isoformat")


def decimal_years(stamps: pd.Series) -> Floats:
    """Return dates as decimal years: 1 January 00:00 is ``.0``, and a year is 365 or 366 days long."""
    local = stamps.dt.tz_localize(None) if stamps.dt.tz is not None else stamps
    year = local.dt.year
    start = pd.to_datetime({"year": year, "month": 1, "day": 1})
    length = np.where(local.dt.is_leap_year, 366.0, 365.0)
    passed = (local - start) / pd.Timedelta(days=1)
    return np.asarray(year + passed / length, dtype=np.float64)


def as_codes(qualifiers: Any, n: int) -> Codes:
    """Return qualifier codes (0, -1, 1); None and missing entries mean ``=``."""
    if qualifiers is None:
        return np.zeros(n, dtype=np.int8)
    array = np.asarray(qualifiers, dtype=object)
    if array.shape != (n,):
        raise ArgumentError(
            "qualifiers", "must be as long as the values", got=array.shape, expected=f"shape ({n},)"
        )
    codes = np.zeros(n, dtype=np.int8)
    for mark in pd.unique(array):
        if mark is None or mark is pd.NA or (isinstance(mark, float) and np.isnan(mark)) or mark == EQUAL:
            continue
        if mark not in _CODE:
            raise ArgumentError("qualifiers", "unknown qualifier", got=mark, expected="'=', '<' or '>'")
        codes[array == mark] = _CODE[mark]
    return codes


def check_length(array: npt.NDArray[Any], n: int, argument: str) -> None:
    """Refuse an array that is not as long as the values."""
    if len(array) != n:
        raise ArgumentError(argument, "must be as long as the values", got=len(array), expected=f"length {n}")


def check_fraction(value: float, argument: str) -> None:
    """Refuse a number that is not strictly between 0 and 1."""
    if not 0.0 < value < 1.0:
        raise ArgumentError(argument, "must lie between 0 and 1", got=value, expected="e.g. 0.95")


def series_input(values: Any, times: Any = None, qualifiers: Any = None) -> SeriesInput:
    """Check and sort one series.

    Parameters
    ----------
    values : array-like, shape (n,)
        NaN = missing.
    times : array-like, shape (n,), optional
        Numbers or dates; None means 0, 1, 2, ... in the order given.
    qualifiers : array-like of {"=", "<", ">"}, shape (n,), optional

    Returns
    -------
    SeriesInput
        Sorted by time (stable), missing values left out.

    Raises
    ------
    ArgumentError
        On a wrong shape, an infinite value, an unknown qualifier, or a value without a time.
    """
    x = as_floats(values, "values")
    n = x.size
    if times is None:
        t, dated = np.arange(n, dtype=np.float64), False
    else:
        t, dated = as_times(times)
        check_length(t, n, "times")
    codes = as_codes(qualifiers, n)
    present = ~np.isnan(x)
    if np.isnan(t[present]).any():
        raise ArgumentError(
            "times", "a value has no time", got="NaN", expected="a time for each value that is there"
        )
    kept = np.flatnonzero(present)
    kept = kept[np.argsort(t[kept], kind="stable")]
    return SeriesInput(x[kept], t[kept], codes[kept], kept, n, dated)
