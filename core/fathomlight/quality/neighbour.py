"""Neighbour test: a step that a second instrument nearby did not see.

A step that fails the rate-of-change test here, with no such step at the other instrument within ``hours``, is
suspect; a step that both saw passes. Where the other instrument has no judged reading near, nothing is said.
The test never lifts the flag that rate of change has set.
"""

from __future__ import annotations

import numpy as np

from fathomlight.model import Flag
from fathomlight.quality.rate_of_change import hits
from fathomlight.quality.series import Bools, Flags, Floats, Prepared
from fathomlight.quality.settings import NeighbourSettings, RateOfChangeSettings

NAME = "neighbour"


def _near(hours: Floats, others: Floats, reach: float) -> Bools:
    """Return for which ``hours`` at least one of the sorted ``others`` lies within ``reach``."""
    left = np.searchsorted(others, hours - reach, side="left")
    right = np.searchsorted(others, hours + reach, side="right")
    near: Bools = right > left
    return near


def run(
    series: Prepared, other: Prepared | None, rate: RateOfChangeSettings, settings: NeighbourSettings
) -> Flags:
    """Return 3 or 1; 2 where the two cannot be compared; 9 where there is no value.

    Parameters
    ----------
    series, other : Prepared
        This instrument and the one nearby, of the same parameter.
    rate : RateOfChangeSettings
        Applied to both.
    settings : NeighbourSettings

    Returns
    -------
    ndarray of int8, shape (n,)
    """
    flags = series.blank()
    if other is None or series.times is None or other.times is None or not other.n or not series.n:
        return flags
    judged, hit = hits(series, rate)
    other_judged, other_hit = hits(other, rate)
    zero = series.times[0]
    other_hours = (other.times - zero) / np.timedelta64(1, "h")
    hours = (
        np.where(np.isnan(series.hours), -np.inf, series.hours) if series.hours is not None else other_hours
    )
    comparable = judged & _near(hours, other_hours[other_judged], settings.hours)
    shared = _near(hours, other_hours[other_hit], settings.hours)
    flags[comparable] = Flag.PASS
    flags[comparable & hit & ~shared] = Flag.SUSPECT
    return flags


def reason(series: Prepared, i: int, settings: NeighbourSettings, unit: str) -> str:
    """Say why reading ``i`` was flagged."""
    return f"a step that the instrument nearby did not show within {settings.hours:g} h"
