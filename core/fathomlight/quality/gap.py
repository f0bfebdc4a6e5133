"""Gap test: readings that did not come when they should.

QARTOD gives flag 9 to the reading that did not come. Such a reading has no row in a stored series, so the
gaps are listed beside the flags (:func:`gaps`), a row without a value keeps its 9, and the reading after a
gap passes: it did come. The first reading has nothing before it and is not evaluated.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from fathomlight.model import Flag
from fathomlight.quality.series import Flags, Prepared, as_times
from fathomlight.quality.settings import GapSettings

NAME = "gap"


def run(series: Prepared, settings: GapSettings) -> Flags:
    """Return 1 for readings that came, 9 for rows without a value, 2 where there is nothing to compare with.

    Parameters
    ----------
    series : Prepared
    settings : GapSettings

    Returns
    -------
    ndarray of int8, shape (n,)
    """
    flags = series.blank()
    if series.hours is None:
        return flags
    known = ~np.isnan(series.hours)
    first = int(np.argmax(known)) if known.any() else 0
    came = known & ~series.missing
    came[: first + 1] = False
    flags[came] = Flag.PASS
    return flags


def reason(series: Prepared, i: int, settings: GapSettings, unit: str) -> str:
    """Say why reading ``i`` was flagged."""
    return "no value came"


def gaps(series: Prepared, settings: GapSettings | None, as_of: Any = None) -> pd.DataFrame:
    """List the pauses longer than planned.

    Parameters
    ----------
    series : Prepared
    settings : GapSettings or None
        None gives an empty list.
    as_of : datetime, optional
        The instant to which the newest reading is compared; an unfinished gap has no ``end``.

    Returns
    -------
    pandas.DataFrame
        Columns ``start`` and ``end`` (the readings on both sides, UTC), ``hours`` [h].
    """
    empty = np.zeros(0, dtype="datetime64[us]")
    if settings is None or series.times is None:
        return _table(empty, empty, np.zeros(0))
    times = series.times[~series.missing & ~np.isnat(series.times)]
    if as_of is not None and len(times):
        end = as_times([as_of], 1, "as_of")
        times = np.concatenate([times, times[-1:] if end is None else np.maximum(end, times[-1])])
    pause = np.diff(times) / np.timedelta64(1, "h")
    long = np.flatnonzero(pause > settings.hours)
    ends = times[1:][long].copy()
    if as_of is not None and len(long) and long[-1] == len(times) - 2:
        ends[-1] = np.datetime64("NaT")
    return _table(times[:-1][long], ends, pause[long])


def _table(start: Any, end: Any, hours: Any) -> pd.DataFrame:
    frame = pd.DataFrame({"start": start, "end": end, "hours": hours})
    return frame.assign(start=frame["start"].dt.tz_localize("UTC"), end=frame["end"].dt.tz_localize("UTC"))
