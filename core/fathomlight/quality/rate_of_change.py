"""Rate of change test: a step from the reading before that is too large.

QARTOD: abs(x_i - x_(i-1)) > n_dev x SD, the SD taken over the last ``window_hours``. The window ends with the
reading before, so that a jump does not widen its own limit. ``sd_of`` chooses the spread of the values or of
their first differences, because the manuals differ. With ``per_hour`` the limit is a fixed rate instead.
There is no fail level. A hit does not say which of the two readings is wrong; by default the later one is
flagged.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from fathomlight.model import Flag
from fathomlight.quality.series import Bools, Flags, Floats, Prepared
from fathomlight.quality.settings import RateOfChangeSettings

NAME = "rate_of_change"


def limits(series: Prepared, settings: RateOfChangeSettings) -> Floats:
    """Return the largest step allowed at each reading, NaN where it is unknown.

    Parameters
    ----------
    series : Prepared
    settings : RateOfChangeSettings

    Returns
    -------
    ndarray, shape (n,)
        [unit]
    """
    out = np.full(series.n, np.nan)
    if series.hours is None or series.times is None:
        return out
    if settings.per_hour is not None:
        out[1:] = settings.per_hour * np.diff(series.hours)
        return out
    known = ~np.isnan(series.hours)
    values = np.where(series.exact, series.values, np.nan)
    if settings.sd_of == "differences":
        values = np.where(series.linked, np.diff(values, prepend=np.nan), np.nan)
    rolling = pd.Series(values[known], index=pd.DatetimeIndex(series.times[known])).rolling(
        pd.Timedelta(hours=settings.window_hours), min_periods=settings.min_points, closed="left"
    )
    out[known] = settings.n_dev * rolling.std().to_numpy()
    allowed: Floats = np.maximum(out, settings.min_change)
    return allowed


def hits(series: Prepared, settings: RateOfChangeSettings) -> tuple[Bools, Bools]:
    """Return at which readings the step could be judged, and at which it was too large."""
    limit = limits(series, settings)
    judged = series.linked & ~np.isnan(limit)
    step = np.abs(np.diff(series.values, prepend=np.nan))
    return judged, judged & (step > limit)


def run(series: Prepared, settings: RateOfChangeSettings) -> Flags:
    """Return 3 or 1; 2 where the step or its limit is unknown; 9 where there is no value.

    Parameters
    ----------
    series : Prepared
    settings : RateOfChangeSettings

    Returns
    -------
    ndarray of int8, shape (n,)
    """
    flags = series.blank()
    judged, hit = hits(series, settings)
    flags[judged] = Flag.PASS
    flags[hit] = Flag.SUSPECT
    if settings.flag_points == "both":
        flags[np.flatnonzero(hit) - 1] = Flag.SUSPECT
    return flags


def reason(series: Prepared, i: int, settings: RateOfChangeSettings, unit: str) -> str:
    """Say why reading ``i`` was flagged."""
    tail = f" {unit}" if unit else ""
    step = series.values[i] - series.values[i - 1] if i else np.nan
    how = (
        f"faster than {settings.per_hour:g}{tail} per hour"
        if settings.per_hour is not None
        else f"more than {settings.n_dev:g} times the spread of the last {settings.window_hours:g} h"
    )
    return f"a step of {step:+.3g}{tail} from the reading before, {how}; either of the two may be wrong"
