"""A window of the year, such as a growing season, by month and day."""

from __future__ import annotations

import calendar
from collections.abc import Iterable
from typing import Any

import numpy as np
import numpy.typing as npt

from fathomlight.errors import ArgumentError

MonthDay = tuple[int, int]
Window = tuple[MonthDay, MonthDay]

GROWING_SEASON: Window = ((6, 1), (9, 30))
"""June to September, for seasonal means of trophic indices in the north; a setting (common practice, no
source)."""


def check_window(window: Window, argument: str = "window") -> None:
    """Refuse what is no pair of month and day."""
    for month, day in window:
        if not 1 <= month <= 12 or not 1 <= day <= calendar.monthrange(2024, month)[1]:
            raise ArgumentError(argument, "not a month and a day of it", got=(month, day))


def window_of_months(months: Iterable[int]) -> Window:
    """Window of whole months that follow one another, also across New Year.

    Parameters
    ----------
    months : iterable of int
        1 to 12, in any order.

    Returns
    -------
    ((month, day), (month, day))
        First and last day, both included.

    Raises
    ------
    ArgumentError
        No month, a number that is no month, or months with a gap between them.

    Examples
    --------
    >>> window_of_months([6, 7, 8, 9]), window_of_months([12, 1, 2])
    (((6, 1), (9, 30)), ((12, 1), (2, 29)))
    """
    chosen = set(months)
    if not chosen or not chosen <= set(range(1, 13)):
        raise ArgumentError("months", "must be numbers from 1 to 12", got=sorted(chosen))
    if len(chosen) == 12:
        return (1, 1), (12, 31)
    first = [m for m in chosen if (m - 2) % 12 + 1 not in chosen]
    last = [m for m in chosen if m % 12 + 1 not in chosen]
    if len(first) != 1:
        raise ArgumentError("months", "must follow one another", got=sorted(chosen))
    return (first[0], 1), (last[0], calendar.monthrange(2024, last[0])[1])


def in_window(
    days: npt.NDArray[np.datetime64], window: Window, argument: str = "window"
) -> tuple[npt.NDArray[np.bool_], npt.NDArray[np.int_]]:
    """Tell which days lie in a window, and to which year's window they belong.

    Parameters
    ----------
    days : numpy.ndarray of datetime64[D], shape (n,)
        Calendar days; NaT lies outside.
    window : ((month, day), (month, day))
        Both ends included. Across New Year, a window belongs to the year in which it ends.
    argument : str
        Name used in error messages.

    Returns
    -------
    inside : numpy.ndarray of bool, shape (n,)
        Whether the day lies in the window.
    year : numpy.ndarray of int, shape (n,)
        Year of the window; meaningless outside.

    Raises
    ------
    ArgumentError
        The window is not made of months and days.
    """
    check_window(window, argument)
    month_start = days.astype("datetime64[M]")
    month: Any = month_start.astype(int) % 12 + 1
    code = month * 100 + (days - month_start).astype(int) + 1
    (m1, d1), (m2, d2) = window
    a, b = m1 * 100 + d1, m2 * 100 + d2
    year: Any = days.astype("datetime64[Y]").astype(int) + 1970
    if a <= b:
        inside = (code >= a) & (code <= b)
    else:
        inside = (code >= a) | (code <= b)
        year = np.where(code >= a, year + 1, year)
    return np.asarray(inside & ~np.isnat(days)), np.asarray(year)


def window_days(year: int, window: Window) -> npt.NDArray[np.datetime64]:
    """All days of one year's window."""
    days = np.arange(np.datetime64(f"{year - 1}-01-01"), np.datetime64(f"{year + 1}-01-01"))
    inside, of_year = in_window(days, window)
    return np.asarray(days[inside & (of_year == year)])
