"""Climatology test: values that are unusual for the month or season, and the depth.

There is no fail level: an unusual year is news, not an error. Months come from the date at the station.
"""

from __future__ import annotations

import calendar

import numpy as np

from fathomlight.model import Flag
from fathomlight.quality.gross_range import outside
from fathomlight.quality.series import Bools, Flags, Prepared
from fathomlight.quality.settings import ClimateWindow, ClimatologySettings

NAME = "climatology"

MONTHS = tuple(calendar.month_name[1:])


def _fits(series: Prepared, window: ClimateWindow) -> Bools:
    if series.months is None:
        return np.zeros(series.n, dtype=bool)
    fits: Bools = np.isin(series.months, window.months)
    if window.depth is not None:
        if series.depths is None:
            return np.zeros(series.n, dtype=bool)
        fits &= (series.depths >= window.depth[0]) & (series.depths <= window.depth[1])
    return fits


def run(series: Prepared, settings: ClimatologySettings) -> Flags:
    """Return 3 or 1; 2 where no window fits or a qualifier leaves it open; 9 without value.

    Parameters
    ----------
    series : Prepared
    settings : ClimatologySettings

    Returns
    -------
    ndarray of int8, shape (n,)
    """
    flags = series.blank()
    free = ~series.missing
    for window in settings.windows:
        here = free & _fits(series, window)
        certain, unknown = outside(series, *window.range)
        flags[here] = Flag.PASS
        flags[here & unknown] = Flag.NOT_EVALUATED
        flags[here & certain] = Flag.SUSPECT
        free &= ~here
    return flags


def reason(series: Prepared, i: int, settings: ClimatologySettings, unit: str) -> str:
    """Say why reading ``i`` was flagged."""
    tail = f" {unit}" if unit else ""
    for window in settings.windows:
        if _fits(series, window)[i]:
            low, high = window.range
            month = 0 if series.months is None else int(series.months[i])
            when = window.name if len(window.months) > 1 and window.name else MONTHS[month - 1]
            return (
                f"{series.values[i]:g}{tail} is outside what is usual in {when} ({low:g} to {high:g}{tail})"
            )
    return "unusual for the time of year"
