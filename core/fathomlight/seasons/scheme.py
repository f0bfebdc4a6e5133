"""How dates become seasons and years."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from fathomlight.errors import ArgumentError

MonthDay = tuple[int, int]

MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)


@dataclass(frozen=True)
class Season:
    """A named set of months.

    Attributes
    ----------
    name : str
    months : tuple of int
        1 to 12, in order; (12, 1, 2) runs over the turn of the year and belongs to the year it ends in.
    """

    name: str
    months: tuple[int, ...]

    def __post_init__(self) -> None:
        if (
            not self.months
            or len(set(self.months)) < len(self.months)
            or not set(self.months) <= set(range(1, 13))
        ):
            raise ArgumentError(
                "months", f"season {self.name!r} has impossible months", got=self.months, expected="1 to 12"
            )


@dataclass(frozen=True)
class SeasonScheme:
    """How dates become seasons and years.

    Attributes
    ----------
    seasons : tuple of Season
        No month twice; months in no season are left out.
    year_starts : int
        First month of the year: 1 calendar year; 10 water year (October to December count to the next year).
    open_water : ((month, day), (month, day)) or None
        First and last day of the window whose readings count; None takes the whole year.
    name : str
    """

    seasons: tuple[Season, ...]
    year_starts: int = 1
    open_water: tuple[MonthDay, MonthDay] | None = None
    name: str = ""

    def __post_init__(self) -> None:
        months = [month for season in self.seasons for month in season.months]
        if not months or len(set(months)) < len(months):
            raise ArgumentError(
                "seasons", "a month belongs to two seasons, or there is no season", got=months
            )
        names = [season.name for season in self.seasons]
        if len(set(names)) < len(names):
            raise ArgumentError("seasons", "two seasons share a name", got=names)
        if not 1 <= self.year_starts <= 12:
            raise ArgumentError("year_starts", "must be a month", got=self.year_starts, expected="1 to 12")
        for month, day in self.open_water or ():
            if not (1 <= month <= 12 and 1 <= day <= 31):
                raise ArgumentError("open_water", "must be (month, day) pairs", got=self.open_water)

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the seasons, in order."""
        return tuple(season.name for season in self.seasons)

    def place(self, dates: pd.Series) -> pd.DataFrame:
        """Return season (ordered category, missing outside every season or the window) and year of each date.

        Parameters
        ----------
        dates : pandas.Series of datetime64, shape (n,)

        Returns
        -------
        pandas.DataFrame
            Columns ``season`` and ``year``, index of ``dates``.
        """
        month = dates.dt.month.to_numpy()
        number, later = np.full(13, -1), np.zeros(13, dtype=np.int64)
        for k, season in enumerate(self.seasons):
            since = [(m - self.year_starts) % 12 for m in season.months]
            turn = next((i for i in range(1, len(since)) if since[i] < since[i - 1]), 0)
            for i, m in enumerate(season.months):
                number[m], later[m] = k, int(i < turn)
        year = (
            dates.dt.year.to_numpy() + ((month >= self.year_starts) & (self.year_starts > 1)) + later[month]
        )
        codes = np.where(self._in_window(dates), number[month], -1).tolist()
        season_column = pd.Categorical.from_codes(codes, categories=pd.Index(self.names), ordered=True)
        return pd.DataFrame({"season": season_column, "year": year.astype(np.int64)}, index=dates.index)

    def _in_window(self, dates: pd.Series) -> npt.NDArray[np.bool_]:
        if self.open_water is None:
            return np.ones(len(dates), dtype=bool)
        at = (dates.dt.month * 100 + dates.dt.day).to_numpy()
        (m1, d1), (m2, d2) = self.open_water
        first, last = 100 * m1 + d1, 100 * m2 + d2
        inside = (at >= first) & (at <= last) if first <= last else (at >= first) | (at <= last)
        return np.asarray(inside, dtype=bool)


CALENDAR_MONTHS = SeasonScheme(
    tuple(Season(name, (k + 1,)) for k, name in enumerate(MONTHS)), name="calendar months"
)
"""Twelve seasons, one a month."""

GROWING_SEASON = SeasonScheme((Season("June to September", (6, 7, 8, 9)),), name="growing season")
"""One season a year, June to September."""
