"""Declared stretches of time in which readings may stand for the clarity of a survey."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from fathomlight.errors import ArgumentError

DAY = np.timedelta64(1, "D")


@dataclass(frozen=True, slots=True)
class Window:
    """A declared stretch of time before (or around) a survey.

    Attributes
    ----------
    name : str
        Shown in tables.
    kind : {"days", "season"}
        A number of days up to the survey, or a growing season.
    days, after_days : int
        For "days": from ``days`` before the survey to ``after_days`` after it [d].
    months : tuple of int
        For "season": first and last month, both whole; (11, 3) runs over the turn of the year.
    years_back : int
        For "season": 0 the season of the survey, 1 the one before.
    until_survey : bool
        For "season": leave out readings made after the survey, which cannot have shaped its catch.
    """

    name: str
    kind: Literal["days", "season"] = "days"
    days: int = 30
    after_days: int = 0
    months: tuple[int, int] = (5, 9)
    years_back: int = 0
    until_survey: bool = True

    def __post_init__(self) -> None:
        if self.kind not in ("days", "season"):
            raise ArgumentError("kind", "unknown kind of window", got=self.kind, expected="days or season")
        if self.days < 0 or self.after_days < 0 or self.years_back < 0:
            raise ArgumentError("days", "days and years of a window cannot be below zero", got=self.days)
        if not all(1 <= month <= 12 for month in self.months):
            raise ArgumentError("months", "months run from 1 to 12", got=self.months)

    def bounds(self, survey: np.datetime64) -> tuple[np.datetime64, np.datetime64]:
        """Return first and last day of the window for a survey that began on a day."""
        day = survey.astype("datetime64[D]")
        if self.kind == "days":
            return day - self.days * DAY, day + self.after_days * DAY
        month = int(day.astype("datetime64[M]").astype(int)) % 12 + 1
        year = int(day.astype("datetime64[Y]").astype(int)) + 1970 - self.years_back
        first, last = self.months
        wraps = first > last
        if wraps and month < first:
            year -= 1
        begin = np.datetime64(f"{year:04d}-{first:02d}-01", "D")
        next_month = np.datetime64(f"{year + wraps:04d}-{last:02d}", "M") + 1
        end = next_month.astype("datetime64[D]") - DAY
        return begin, min(end, day) if self.until_survey else end

    def words(self) -> str:
        """Say the window in words."""
        if self.kind == "days":
            after = f" to {self.after_days} days after" if self.after_days else ""
            return f"{self.name}: {self.days} days before the survey{after}"
        back = {0: "of the survey", 1: "of the year before"}.get(
            self.years_back, f"{self.years_back} years before"
        )
        cut = ", up to the survey" if self.until_survey and self.years_back == 0 else ""
        return f"{self.name}: growing season (months {self.months[0]} to {self.months[1]}) {back}{cut}"


DEFAULT_WINDOWS = (
    Window("before the survey", "days", days=30),
    Window("growing season", "season"),
    Window("year before", "season", years_back=1),
)
"""30 days up to the survey; the growing season up to the survey; the growing season of the year before."""
