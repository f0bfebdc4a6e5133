"""Whole microseconds since 1970 (UTC) in the tables, time stamps outside."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np
import pandas as pd

from fathomlight.errors import ArgumentError

_NONE = np.iinfo(np.int64).min
TimeLike = str | dt.datetime | dt.date | pd.Timestamp | np.datetime64


def now_us() -> int:
    """Return this instant."""
    return int(dt.datetime.now(dt.UTC).timestamp() * 1_000_000)


def to_us(value: TimeLike, name: str = "time") -> int:
    """Return an instant as microseconds; one without a zone is taken as UTC.

    Examples
    --------
    >>> to_us("1970-01-02")
    86400000000
    """
    try:
        stamp = pd.Timestamp(value)
    except (ValueError, TypeError) as error:
        raise ArgumentError(
            name, "not a time", got=value, expected="e.g. 2025-07-24 or 2025-07-24T10:30Z"
        ) from error
    if pd.isna(stamp):
        raise ArgumentError(name, "not a time", got=value, expected="e.g. 2025-07-24")
    stamp = stamp.tz_localize("UTC") if stamp.tzinfo is None else stamp.tz_convert("UTC")
    return int(stamp.as_unit("us").asm8.astype("int64"))


def to_instants(values: Sequence[int | None] | np.ndarray | pd.Series) -> pd.DatetimeIndex:
    """Return microseconds as instants in UTC; None becomes a missing time.

    Examples
    --------
    >>> str(to_instants([86400000000])[0])
    '1970-01-02 00:00:00+00:00'
    """
    return _index(values).tz_localize("UTC")


def to_local(values: Sequence[int | None] | np.ndarray | pd.Series) -> pd.DatetimeIndex:
    """Return microseconds as times without a zone; None becomes a missing time."""
    return _index(values)


def _index(values: Sequence[int | None] | np.ndarray | pd.Series) -> pd.DatetimeIndex:
    numbers = [_NONE if v is None or v != v else int(v) for v in values]
    return pd.DatetimeIndex(np.array(numbers, dtype=np.int64).view("datetime64[us]"))
