"""The usual range of a station through the year."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from fathomlight.errors import ArgumentError
from fathomlight.model import USED_FLAGS
from fathomlight.seasons.days import day_of_year, day_values, days_apart


def envelope(
    series: pd.DataFrame,
    *,
    window_days: int = 15,
    percentiles: tuple[float, ...] = (10, 50, 90),
    before: Any = None,
    min_years: int = 5,
    min_readings: int = 10,
    flags: Iterable[int] = USED_FLAGS,
) -> pd.DataFrame:
    """Return the usual range of a station for every day of the year, to draw a year against its past.

    Parameters
    ----------
    series : pandas.DataFrame
        Readings of one station and parameter, as for :func:`standing`.
    window_days : int
        Readings within so many days of a day of the year count for it, [d].
    percentiles : tuple of float
        0 to 100.
    before : int or date-like, optional
        Only readings of years before this one (or before this date's year) count; None takes all.
    min_years, min_readings : int
        A day with fewer has NaN percentiles.
    flags : iterable of int

    Returns
    -------
    pandas.DataFrame
        365 rows: day (1 to 365), one column per percentile (``p10``, ``p50``, ...), n, n_years, and
        ``open_p10``, ...: True where bounds decide that percentile, which is then at least (``>``) or at
        most (``<``) the number shown.

    Raises
    ------
    ArgumentError
        On missing columns or impossible settings.
    """
    if not 0 <= window_days <= 182:
        raise ArgumentError("window_days", "must lie between 0 and 182", got=window_days)
    if any(not 0 <= q <= 100 for q in percentiles) or not percentiles:
        raise ArgumentError("percentiles", "must lie between 0 and 100", got=percentiles)
    days = day_values(series, flags=flags)
    if before is not None:
        year = before if isinstance(before, (int, np.integer)) else pd.Timestamp(before).year
        days = days[days["date"].dt.year < year]
    at, years = (
        day_of_year(days["date"]) if len(days) else np.empty(0, dtype=np.int64),
        days["date"].dt.year.to_numpy(),
    )
    value, code = days["value"].to_numpy(dtype=np.float64), days["code"].to_numpy(dtype=np.int64)
    names = [f"p{q:g}" for q in percentiles]
    rows = []
    for day in range(1, 366):
        near = days_apart(at, day) <= window_days
        row: dict[str, Any] = {"day": day, "n": int(near.sum()), "n_years": int(np.unique(years[near]).size)}
        enough = row["n"] >= max(min_readings, 1) and row["n_years"] >= min_years
        found = (
            _percentiles(value[near], code[near], percentiles) if enough else [(math.nan, False)] * len(names)
        )
        for name, (number, is_open) in zip(names, found, strict=True):
            row[name], row[f"open_{name}"] = number, is_open
        rows.append(row)
    return pd.DataFrame(rows, columns=["day", *names, "n", "n_years", *[f"open_{name}" for name in names]])


def _percentiles(
    value: npt.NDArray[np.float64], code: npt.NDArray[np.int64], percentiles: tuple[float, ...]
) -> list[tuple[float, bool]]:
    plain = np.percentile(value, percentiles)
    if not code.any():
        return [(float(q), False) for q in plain]
    big = 10 * (np.abs(value).max() + 1)
    lower = np.percentile(np.where(code < 0, -big, value), percentiles)
    upper = np.percentile(np.where(code > 0, big, value), percentiles)
    return [(float(q), bool(lo != up)) for q, lo, up in zip(plain, lower, upper, strict=True)]
