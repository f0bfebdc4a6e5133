"""Readings as rules look at them: one track a station, parameter and depth, with what each reading allows."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from fathomlight.alerts.context import Context
from fathomlight.alerts.rules import Rule
from fathomlight.model import ABOVE, BELOW, EQUAL, USED_FLAGS, Flag

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Times = npt.NDArray[np.datetime64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Track:
    """Readings of one station, parameter and depth in order of time.

    Replicates of one instant are taken together. ``low`` and ``high`` bound the true value: equal for a
    measured one, open on one side for ``<`` and ``>``. ``segment`` numbers the stretch of the rule's months,
    -1 outside them.
    """

    station: str
    parameter: str
    depth_m: float
    times: Times
    dates: Times
    value: Floats
    qualifier: npt.NDArray[np.object_]
    low: Floats
    high: Floats
    segment: Ints

    @property
    def n(self) -> int:
        """Number of instants."""
        return len(self.times)

    def instant(self, i: int) -> pd.Timestamp:
        """Return the instant of reading ``i``."""
        return to_instant(self.times[i])

    def take(self, rows: Any) -> Track:
        """Return the track of some of its readings."""
        names = ("times", "dates", "value", "qualifier", "low", "high", "segment")
        return Track(
            self.station, self.parameter, self.depth_m, *(getattr(self, name)[rows] for name in names)
        )


def to_instant(time: np.datetime64) -> pd.Timestamp:
    """Return a UTC instant from numpy's time."""
    stamp: pd.Timestamp = pd.Timestamp(time).tz_localize("UTC").as_unit("us")
    return stamp


def tracks(
    rule: Rule,
    readings: pd.DataFrame,
    context: Context,
    *,
    flags: Sequence[Flag] = USED_FLAGS,
    parameter: str | None = None,
    season: bool = True,
) -> Iterator[Track]:
    """Yield the tracks that a rule watches, up to ``context.as_of``.

    Parameters
    ----------
    rule : Rule
    readings : pandas.DataFrame
    context : Context
    flags : sequence of Flag
        Readings with these flags only.
    parameter : str, optional
        Instead of the rule's own.
    season : bool
        Leave out readings outside the rule's months.

    Yields
    ------
    Track
    """
    rows = readings.loc[readings["parameter"] == (parameter or rule.parameter)]
    if rows.empty:
        return
    times = pd.DatetimeIndex(pd.to_datetime(rows["time"], utc=True))
    keep = rows["value"].notna().to_numpy()
    keep = keep & rows["flag"].isin([int(flag) for flag in flags]).to_numpy()
    if rule.depth is not None:
        keep &= rows["depth_m"].between(*rule.depth).to_numpy()
    watched = {
        s for s in rows["station"].unique() if s in context.stations and rule.watches(context.stations[s])
    }
    station_of = rows["station"].to_numpy()
    in_time = np.zeros(len(rows), dtype=bool)
    for station in watched:
        in_time |= (station_of == station) & (times <= context.until(station))
    keep &= in_time
    rows = rows.loc[keep]
    groups: Any = rows.groupby(["station", "parameter", "depth_m"], sort=True, dropna=False)
    for (station, name, depth), part in groups:
        track = _track(str(station), str(name), float(depth), part, rule.months)
        if season and rule.months:
            track = track.take(track.segment >= 0)
        if track.n:
            yield track


def _track(station: str, parameter: str, depth: float, part: pd.DataFrame, months: tuple[int, ...]) -> Track:
    times = pd.DatetimeIndex(pd.to_datetime(part["time"], utc=True)).tz_localize(None).to_numpy()
    frame = pd.DataFrame(
        {"time": times.astype("datetime64[us]"), "value": part["value"].to_numpy(dtype=float)}
    )
    frame["qualifier"] = part["qualifier"].astype(object).to_numpy() if "qualifier" in part else EQUAL
    dates = part["local_date"] if "local_date" in part else pd.Series(times)
    frame["date"] = dates.to_numpy().astype("datetime64[us]")
    frame["low"], frame["high"] = bounds(frame["value"].to_numpy(), frame["qualifier"].to_numpy())
    frame = frame.sort_values(["time", "value", "qualifier"], kind="stable")
    if frame["time"].duplicated().any():
        frame = _join_replicates(frame)
    date = frame["date"].to_numpy()
    return Track(
        station,
        parameter,
        depth,
        frame["time"].to_numpy(),
        date,
        frame["value"].to_numpy(),
        frame["qualifier"].to_numpy(dtype=object),
        frame["low"].to_numpy(),
        frame["high"].to_numpy(),
        segments(date, months),
    )


def _join_replicates(frame: pd.DataFrame) -> pd.DataFrame:
    """Take the median of replicates; the median of the bounds bounds the median."""
    frame = frame.assign(measured=frame["qualifier"] == EQUAL)
    by_time = frame.groupby("time", sort=True)
    out = by_time[["value", "low", "high"]].median()
    limits = frame.loc[~frame["measured"]].groupby("time")["qualifier"].first()
    out["qualifier"] = limits.reindex(out.index).fillna(EQUAL).astype(object)
    out["date"] = by_time["date"].first()
    out = out.reset_index()
    # Where the bounds met, the median is a measured value after all.
    out.loc[out["low"] == out["high"], "qualifier"] = EQUAL
    return out


def bounds(values: Floats, qualifiers: npt.NDArray[Any]) -> tuple[Floats, Floats]:
    """Return the smallest and largest true value that each reading allows.

    Examples
    --------
    >>> low, high = bounds(np.array([1.5, 0.2]), np.array([">", "<"], dtype=object))
    >>> bool(low[0] > 1.5), float(high[0]), float(low[1]), bool(high[1] < 0.2)
    (True, inf, -inf, True)
    """
    below, above = qualifiers == BELOW, qualifiers == ABOVE
    low = np.where(below, -np.inf, np.where(above, np.nextafter(values, np.inf), values))
    high = np.where(above, np.inf, np.where(below, np.nextafter(values, -np.inf), values))
    return low, high


def segments(dates: Times, months: tuple[int, ...]) -> Ints:
    """Number the stretches of consecutive months of a rule; -1 outside them, 0 everywhere for the whole year.

    Parameters
    ----------
    dates : ndarray of datetime64, shape (n,)
        Local dates.
    months : tuple of int
        The rule's months; empty means all.

    Returns
    -------
    ndarray of int, shape (n,)
        The number is that of the stretch's first month, counted from January 1970.

    Examples
    --------
    >>> days = np.array(["2024-11-30", "2024-12-01", "2025-01-31", "2025-03-01"], dtype="datetime64[D]")
    >>> segments(days, (12, 1)).tolist()
    [-1, 659, 659, -1]
    """
    if not months or len(set(months)) == 12:
        return np.zeros(len(dates), dtype=np.int64)
    absolute = dates.astype("datetime64[M]").astype(np.int64)
    back = np.full(12, -1, dtype=np.int64)
    for month in months:
        steps = 0
        while (month - 2 - steps) % 12 + 1 in months:
            steps += 1
        back[month - 1] = steps
    steps_back = back[absolute % 12]
    return np.where(steps_back < 0, -1, absolute - steps_back)


def segment_end(segment: int, months: tuple[int, ...], timezone: str) -> pd.Timestamp | None:
    """Return the instant at which a stretch of months ends, None for the whole year.

    Parameters
    ----------
    segment : int
        As numbered by :func:`segments`.
    months : tuple of int
    timezone : str
        IANA name; the end is midnight there.

    Returns
    -------
    pandas.Timestamp or None
    """
    if not months or len(set(months)) == 12:
        return None
    end = segment
    while end % 12 + 1 in months:
        end += 1
    midnight = pd.Timestamp(np.datetime64(end, "M").astype("datetime64[us]"))
    stamp: pd.Timestamp = midnight.tz_localize(
        timezone, ambiguous=False, nonexistent="shift_forward"
    ).tz_convert("UTC")
    return stamp.as_unit("us")
