"""One value a day, and the distance of days of the year."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from fathomlight.model import ABOVE, BELOW, READING_COLUMNS, USED_FLAGS
from fathomlight.seasons.cells import bounded_values, need_columns

Dates = npt.NDArray[np.datetime64]


@dataclass(frozen=True)
class Days:
    """One value a day, in order of date: what :func:`day_values` returns, as bare arrays.

    Attributes
    ----------
    dates : ndarray of datetime64[D], shape (n,)
    values : ndarray, shape (n,)
    codes : ndarray of int8, shape (n,)
        0, -1 ``<``, 1 ``>``.
    """

    dates: Dates
    values: npt.NDArray[np.float64]
    codes: npt.NDArray[np.int8]

    def where(self, chosen: npt.NDArray[np.bool_]) -> Days:
        """Return the days chosen."""
        return Days(self.dates[chosen], self.values[chosen], self.codes[chosen])


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
    days = days_of(series, flags=flags)
    dtype = READING_COLUMNS["local_date"]
    return pd.DataFrame({"date": days.dates.astype(dtype), "value": days.values, "code": days.codes})


def days_of(series: pd.DataFrame, *, flags: Iterable[int] = USED_FLAGS) -> Days:
    """Do as :func:`day_values`, for the answers that are asked of every station of a network at once."""
    need_columns(series, ("local_date", "value", "qualifier", "flag"))
    values = series["value"].to_numpy(dtype=np.float64)
    used = np.isin(series["flag"].to_numpy(), [int(f) for f in flags]) & ~np.isnan(values)
    if not used.any():
        return Days(np.empty(0, "datetime64[D]"), np.empty(0), np.empty(0, np.int8))
    dates = series["local_date"].to_numpy().astype("datetime64[D]")[used]
    if np.unique(dates).size < dates.size:
        return _reduced(series, used)
    # one reading a day, as people read a disc: its value and its qualifier
    codes = _codes(series["qualifier"])[used]
    order = np.argsort(dates, kind="stable")
    return Days(dates[order], values[used][order], codes[order])


def _reduced(series: pd.DataFrame, used: npt.NDArray[np.bool_]) -> Days:
    """Reduce several readings on one day to their median."""
    # of a logger every other column is dead weight
    table = series.loc[used, ["local_date", "value", "qualifier", "flag"]]
    table["day"] = table["local_date"].dt.normalize()
    days = bounded_values(table, ["day"], "median").reset_index()
    days = days[days["value"].notna()]
    dates = days["day"].to_numpy().astype("datetime64[D]")
    return Days(dates, days["value"].to_numpy(dtype=np.float64), _codes(days["qualifier"]))


def _codes(qualifiers: pd.Series) -> npt.NDArray[np.int8]:
    above, below = qualifiers.eq(ABOVE).to_numpy(dtype=bool), qualifiers.eq(BELOW).to_numpy(dtype=bool)
    return above.astype(np.int8) - below.astype(np.int8)


def day_of_year(dates: pd.Series) -> npt.NDArray[np.int64]:
    """Return the day of the year in a year of 365 days, from 1; 29 February counts as 28 February."""
    return day_numbers(dates.dt.tz_localize(None).to_numpy().astype("datetime64[D]"))


def day_numbers(dates: Dates) -> npt.NDArray[np.int64]:
    """Return the same for bare dates."""
    years = dates.astype("datetime64[Y]")
    day = (dates - years.astype("datetime64[D]")).astype(np.int64) + 1
    length = ((years + 1).astype("datetime64[D]") - years.astype("datetime64[D]")).astype(np.int64)
    out: npt.NDArray[np.int64] = day - ((length == 366) & (day >= 60))
    return out


def days_apart(day: npt.NDArray[np.int64], other: int) -> npt.NDArray[np.int64]:
    """Return the distance of days of the year from one, over new year where that is shorter, [d]."""
    apart = np.abs(day - other)
    out: npt.NDArray[np.int64] = np.minimum(apart, 365 - apart)
    return out
