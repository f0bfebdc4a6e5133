"""The stretch of days a report is about: a calendar year, or any other from one day to another."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fathomlight.errors import ArgumentError
from fathomlight.figures.shown import date_text

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace

FIRST_YEAR = 1800

Day = dt.date | str
"""A day, or its text as in 2025-07-24."""


@dataclass(frozen=True)
class Period:
    """From one day to another, both included.

    Attributes
    ----------
    first, last : datetime.date
        The days.

    Examples
    --------
    >>> year = Period.of_year(2025)
    >>> year.label, year.within, year.begin, year.stem
    ('2025', 'in 2025', 'In 2025', '2025')
    >>> summers = Period(dt.date(2024, 6, 1), dt.date(2025, 8, 31))
    >>> summers.label, summers.begin
    ('1 Jun 2024 to 31 Aug 2025', 'From 1 Jun 2024 to 31 Aug 2025,')
    """

    first: dt.date
    last: dt.date

    @classmethod
    def of_year(cls, year: int) -> Period:
        """Return a calendar year."""
        return cls(dt.date(year, 1, 1), dt.date(year, 12, 31))

    @property
    def whole_year(self) -> bool:
        """Whether it is exactly one calendar year."""
        return self == Period.of_year(self.first.year)

    @property
    def years(self) -> range:
        """The calendar years it touches."""
        return range(self.first.year, self.last.year + 1)

    @property
    def label(self) -> str:
        """``2025``, or the two days."""
        if self.whole_year:
            return str(self.first.year)
        return f"{date_text(self.first)} to {date_text(self.last)}"

    @property
    def within(self) -> str:
        """``in 2025``, or ``from ... to ...``."""
        return f"in {self.label}" if self.whole_year else f"from {self.label}"

    @property
    def of(self) -> str:
        """``of 2025``, or ``from ... to ...``."""
        return f"of {self.label}" if self.whole_year else f"from {self.label}"

    @property
    def begin(self) -> str:
        """The same at the beginning of a sentence."""
        return f"In {self.label}" if self.whole_year else f"From {self.label},"

    @property
    def noun(self) -> str:
        """``year`` or ``period``."""
        return "year" if self.whole_year else "period"

    @property
    def stem(self) -> str:
        """For the name of a file."""
        return self.label if self.whole_year else f"{self.first}-to-{self.last}"

    def months(self) -> list[tuple[int, int]]:
        """Return (year, month) of every month it touches.

        Examples
        --------
        >>> Period(dt.date(2024, 12, 31), dt.date(2025, 1, 1)).months()
        [(2024, 12), (2025, 1)]
        """
        first, last = (12 * d.year + d.month - 1 for d in (self.first, self.last))
        return [(m // 12, m % 12 + 1) for m in range(first, last + 1)]


def check_period(
    ws: Workspace, year: int | None = None, start: Day | None = None, end: Day | None = None
) -> Period:
    """Return the period of a report: a year, or from one day to another.

    Parameters
    ----------
    ws : Workspace
        Knows the day taken as today.
    year : int, optional
        A calendar year; that of today when nothing is given.
    start, end : datetime.date or str, optional
        First and last day; today when only the first is given.

    Returns
    -------
    Period
        May end after today: then readings up to today are in.

    Raises
    ------
    fathomlight.errors.ArgumentError
        It has not begun yet, ends before it begins, or a year is given beside days.
    """
    if start is None and end is None:
        return Period.of_year(_checked_year(ws, year))
    if year is not None:
        raise ArgumentError("year", "give a year, or the first and last day, not both", got=year)
    if start is None:
        raise ArgumentError("start", "a period needs its first day", got=None, fix="Give the first day too.")
    first = _day("start", start)
    last = ws.as_of if end is None else _day("end", end)
    if not dt.date(FIRST_YEAR, 1, 1) <= first <= ws.as_of:
        raise ArgumentError(
            "start", "no report can be made from this day on", got=first.isoformat(),
            expected=f"{FIRST_YEAR}-01-01 to {ws.as_of.isoformat()}", fix="Today is taken as the last of these.",
        )  # fmt: skip
    if last < first:
        raise ArgumentError(
            "end", "the period ends before it begins", got=f"{first.isoformat()} to {last.isoformat()}",
            fix="Give the earlier day first.",
        )  # fmt: skip
    return Period(first, last)


def _checked_year(ws: Workspace, year: int | None) -> int:
    if year is None:
        return ws.as_of.year
    if not FIRST_YEAR <= year <= ws.as_of.year:
        raise ArgumentError(
            "year", "no report can be made for this year", got=year, expected=f"{FIRST_YEAR} to {ws.as_of.year}",
            fix=f"Today is taken as {ws.as_of.isoformat()}.",
        )  # fmt: skip
    return year


def _day(name: str, day: Day) -> dt.date:
    if isinstance(day, dt.date):
        return day
    try:
        return dt.date.fromisoformat(day)
    except ValueError:
        raise ArgumentError(name, "not a day", got=day, expected="a day such as 2025-07-24") from None
