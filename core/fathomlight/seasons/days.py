"""One value a day, and the distance of days of the year."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import numpy.typing as npt
import pandas as pd

from fathomlight.model import ABOVE, BELOW, EQUAL, READING_COLUMNS, USED_FLAGS
from fathomlight.seasons.cells import bounded_values, need_columns


def day_values(series: pd.DataFrame, *, flags: Iterable[int] = USED_FLAGS) -> pd.DataFrame:
    """Reduce the readings of one station and parameter to one value a day, a bound where qualifiers do.

    Parameters
    ----------
    series : pandas.DataFrame
        Columns local_date, value, qualifier, flag.
    flags : iterable of int

    Returns
    -------
    pandas.DataFrame
        Columns date, value, code (0, -1 ``<``, 1 ``>``), in order of date.
    """
    need_columns(series, ("local_date", "value", "qualifier", "flag"))
    series = series[
        ["local_date", "value", "qualifier", "flag"]
    ]  # of a logger every other column is dead weight
    used = series[series["flag"].isin([int(f) for f in flags]) & series["value"].notna()]
    if used.empty:
        return pd.DataFrame({"date": pd.Series(dtype=READING_COLUMNS["local_date"]), "value": [], "code": []})
    table = used.assign(day=used["local_date"].dt.normalize())
    if table["day"].is_unique:  # one reading a day, as people read a disc: its value and its qualifier
        days = table[["day", "value", "qualifier"]].sort_values("day", ignore_index=True)
        return _coded(days)
    days = bounded_values(table, ["day"], "median").reset_index()
    return _coded(days[days["value"].notna()])


def _coded(days: pd.DataFrame) -> pd.DataFrame:
    code = days["qualifier"].map({EQUAL: 0, BELOW: -1, ABOVE: 1}).astype(np.int8)
    return pd.DataFrame({"date": days["day"], "value": days["value"], "code": code}).reset_index(drop=True)


def day_of_year(dates: pd.Series) -> npt.NDArray[np.int64]:
    """Return the day of the year in a year of 365 days, from 1; 29 February counts as 28 February."""
    day = dates.dt.day_of_year.to_numpy(dtype=np.int64)
    late = dates.dt.is_leap_year.to_numpy() & (day >= 60)
    out: npt.NDArray[np.int64] = day - late
    return out


def days_apart(day: npt.NDArray[np.int64], other: int) -> npt.NDArray[np.int64]:
    """Return the distance of days of the year from one, over new year where that is shorter, [d]."""
    apart = np.abs(day - other)
    out: npt.NDArray[np.int64] = np.minimum(apart, 365 - apart)
    return out
