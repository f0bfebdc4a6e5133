"""Attenuated signal test: a signal that has lost its life without being quite flat.

The spread (standard deviation, or largest minus smallest) of the readings of the last ``hours``: below
``fail`` flag 4, below ``suspect`` flag 3. Not evaluated until the series is that long without a gap.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from fathomlight.model import Flag
from fathomlight.quality.series import Flags, Floats, Prepared
from fathomlight.quality.settings import AttenuatedSettings

NAME = "attenuated"


def spread(series: Prepared, settings: AttenuatedSettings) -> Floats:
    """Return the spread over the window that ends with each reading, NaN where it cannot be known.

    Parameters
    ----------
    series : Prepared
    settings : AttenuatedSettings

    Returns
    -------
    ndarray, shape (n,)
        [unit]
    """
    out = np.full(series.n, np.nan)
    if series.hours is None or series.times is None or not series.n:
        return out
    known = ~np.isnan(series.hours)
    values = pd.Series(
        np.where(series.exact, series.values, np.nan)[known], index=pd.DatetimeIndex(series.times[known])
    )
    window = values.rolling(
        pd.Timedelta(hours=settings.hours), min_periods=settings.min_points, closed="both"
    )
    found = window.std() if settings.statistic == "sd" else window.max() - window.min()
    out[known] = found.to_numpy()
    start = np.maximum.accumulate(np.where(series.linked, 0, np.arange(series.n)))
    long_enough = series.hours - series.hours[start] >= settings.hours
    return np.where(long_enough & series.exact, out, np.nan)


def run(series: Prepared, settings: AttenuatedSettings) -> Flags:
    """Return 4, 3 or 1; 2 where the window is not full; 9 where there is no value.

    Parameters
    ----------
    series : Prepared
    settings : AttenuatedSettings

    Returns
    -------
    ndarray of int8, shape (n,)
    """
    flags = series.blank()
    found = spread(series, settings)
    flags[~np.isnan(found)] = Flag.PASS
    flags[found < settings.suspect] = Flag.SUSPECT
    flags[found < settings.fail] = Flag.FAIL
    return flags


def reason(series: Prepared, i: int, settings: AttenuatedSettings, unit: str) -> str:
    """Say why reading ``i`` was flagged."""
    tail = f" {unit}" if unit else ""
    word = "standard deviation" if settings.statistic == "sd" else "range"
    return f"the {word} of the last {settings.hours:g} h is below {settings.suspect:g}{tail}"
