"""Seasons: from readings to one value per season and year, and this year against its own past.

A season cell is one value per station, parameter, year and season: the median of its readings by default. A
median that qualified readings decide is itself a bound (:func:`bounded_median`). Standing and envelope
compare a reading with earlier readings at the same time of year.
"""

from fathomlight.seasons.cells import bounded_median, cells_by_station, coverage, season_cells, season_cube
from fathomlight.seasons.days import day_of_year, day_values, days_apart
from fathomlight.seasons.envelopes import envelope
from fathomlight.seasons.scheme import CALENDAR_MONTHS, GROWING_SEASON, MONTHS, Season, SeasonScheme
from fathomlight.seasons.standings import StandingResult, standing

__all__ = [
    "CALENDAR_MONTHS",
    "GROWING_SEASON",
    "MONTHS",
    "Season",
    "SeasonScheme",
    "StandingResult",
    "bounded_median",
    "cells_by_station",
    "coverage",
    "day_of_year",
    "day_values",
    "days_apart",
    "envelope",
    "season_cells",
    "season_cube",
    "standing",
]
