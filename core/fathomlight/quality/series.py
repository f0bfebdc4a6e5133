"""One series made ready for the tests: sorted by time, with bounds, months and links between neighbours."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from fathomlight.errors import ArgumentError
from fathomlight.model import ABOVE, BELOW, EQUAL, QUALIFIERS, Flag
from fathomlight.quality._labelled import is_array

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Flags = npt.NDArray[np.int8]
Times = npt.NDArray[np.datetime64]

HOUR = np.timedelta64(3_600_000_000, "us")


@dataclass(frozen=True)
class Prepared:
    """A series in order of time.

    ``order`` puts it in order: ``values = given[order]``. ``hours`` [h] counts from the first reading, NaN
    where the time is missing; None without times. ``linked[i]`` is True when readings i-1 and i can be
    compared: both present, both without qualifier, and no gap between.
    """

    values: Floats
    qualifiers: npt.NDArray[np.str_]
    order: npt.NDArray[np.intp]
    times: Times | None = None
    hours: Floats | None = None
    months: npt.NDArray[np.int8] | None = None
    depths: Floats | None = None
    linked: Bools = field(default_factory=lambda: np.zeros(0, dtype=bool))
    infinite: int = 0

    @property
    def n(self) -> int:
        """Number of readings, missing ones included."""
        return len(self.values)

    @property
    def missing(self) -> Bools:
        """True where there is no value."""
        gone: Bools = np.isnan(self.values)
        return gone

    @property
    def exact(self) -> Bools:
        """True where the value is present and measured, not a limit."""
        exact: Bools = ~self.missing & (self.qualifiers == EQUAL)
        return exact

    def blank(self, flag: Flag = Flag.NOT_EVALUATED) -> Flags:
        """Return flags all ``flag``, but MISSING where there is no value."""
        flags = np.full(self.n, int(flag), dtype=np.int8)
        flags[self.missing] = Flag.MISSING
        return flags

    def segment_position(self) -> npt.NDArray[np.int64]:
        """Return how many linked readings stand directly before each reading."""
        index = np.arange(self.n)
        starts = np.where(self.linked, 0, index)
        return index - np.maximum.accumulate(starts) if self.n else index


def prepare(
    values: Any,
    times: Any = None,
    *,
    qualifiers: Any = None,
    depths: Any = None,
    local_dates: Any = None,
    gap_hours: float | None = None,
) -> Prepared:
    """Check the arguments and put the series in order of time.

    Parameters
    ----------
    values : array-like, shape (n,)
        NaN = missing. A Series with a DatetimeIndex or a DataArray with a ``time`` coordinate brings its own
        times.
    times : array-like of datetime, shape (n,), optional
        Without time zone they are taken as UTC.
    qualifiers : array-like of {"=", "<", ">"}, shape (n,), optional
        None = all ``=``.
    depths : array-like, shape (n,) or scalar, optional
        [m]
    local_dates : array-like of datetime, shape (n,), optional
        Dates at the station, for the month; ``times`` when None.
    gap_hours : float, optional
        Neighbours further apart [h] are not linked.

    Returns
    -------
    Prepared

    Raises
    ------
    fathomlight.errors.ArgumentError
        Wrong shape, unknown qualifier, times that are not times.
    """
    found = as_values(values)
    n = len(found)
    instants = as_times(_own_times(values) if times is None else times, n, "times")
    order = np.arange(n) if instants is None else np.argsort(instants, kind="stable")
    signs = as_qualifiers(qualifiers, n)
    dates = instants if local_dates is None else as_times(local_dates, n, "local_dates")
    infinite = np.isinf(found)
    ordered = np.where(infinite, np.nan, found)[order]
    signs = signs[order]
    hours = None if instants is None else _hours(instants[order])
    return Prepared(
        values=ordered,
        qualifiers=signs,
        order=order,
        times=None if instants is None else instants[order],
        hours=hours,
        months=None if dates is None else _months(dates[order]),
        depths=None if depths is None else np.broadcast_to(np.asarray(depths, dtype=float), (n,))[order],
        linked=_links(~np.isnan(ordered) & (signs == EQUAL), hours, gap_hours),
        infinite=int(infinite.sum()),
    )


def as_values(values: Any) -> Floats:
    """Return values as floats of one dimension, whatever they came as."""
    try:
        bare = values.values if is_array(values) else values
        if isinstance(bare, np.ma.MaskedArray):
            bare = np.ma.filled(bare.astype(float), np.nan)
        found = np.asarray(bare)
        if found.dtype.kind not in "fiu":
            flat = pd.to_numeric(pd.Series(found.ravel()))
            found = flat.to_numpy(dtype=float, na_value=np.nan).reshape(found.shape)
    except (TypeError, ValueError) as error:
        raise ArgumentError("values", "must be numbers", got=str(error)) from None
    if found.ndim != 1:
        raise ArgumentError(
            "values",
            "one series at a time",
            got=found.shape,
            expected="shape (n,)",
            fix="Loop over the stations.",
        )
    return found.astype(np.float64)


def _own_times(values: Any) -> Any:
    if isinstance(values, pd.Series) and isinstance(values.index, pd.DatetimeIndex):
        return values.index
    if is_array(values) and "time" in values.coords and values["time"].dims == values.dims:
        return values["time"].values
    return None


def as_times(times: Any, n: int, argument: str) -> Times | None:
    """Return times as UTC instants without zone, or None."""
    if times is None:
        return None
    found = times.values if is_array(times) else times
    if n and getattr(getattr(found, "dtype", None) or np.asarray(found).dtype, "kind", "O") in "iufb":
        raise ArgumentError(
            argument, "must be dates or times", got="numbers", expected="datetime64 or datetime"
        )
    try:
        index = pd.DatetimeIndex(pd.to_datetime(found, utc=True))
    except (TypeError, ValueError) as error:
        raise ArgumentError(argument, "must be dates or times", got=str(error)) from None
    if len(index) != n:
        raise ArgumentError(argument, "must be as long as values", got=len(index), expected=n)
    out: Times = index.tz_localize(None).to_numpy().astype("datetime64[us]")
    return out


def as_qualifiers(qualifiers: Any, n: int) -> npt.NDArray[np.str_]:
    """Return qualifiers as text, checked; missing ones mean ``=``."""
    if qualifiers is None:
        return np.full(n, EQUAL)
    codes, kinds = pd.factorize(pd.Series(qualifiers).to_numpy())
    if len(codes) != n:
        raise ArgumentError("qualifiers", "must be as long as values", got=len(codes), expected=n)
    names = [str(kind).strip() or EQUAL for kind in kinds]
    wrong = [name for name in names if name not in QUALIFIERS]
    if wrong:
        raise ArgumentError("qualifiers", "unknown qualifier", got=wrong[0], expected="=, < or >")
    return np.array([*names, EQUAL])[codes]  # code -1 is a missing qualifier: the last one


def bounds(values: Floats, qualifiers: npt.NDArray[np.str_]) -> tuple[Floats, Floats]:
    """Return the smallest and largest true value that each reading allows.

    ``>`` and ``<`` exclude the stated value itself.

    Examples
    --------
    >>> low, high = bounds(np.array([2.0, 1.5, 0.5]), np.array(["=", ">", "<"]))
    >>> low[0] == high[0] == 2.0, low[1] > 1.5, high[1], low[2], high[2] < 0.5
    (np.True_, np.True_, np.float64(inf), np.float64(-inf), np.True_)
    """
    low = np.where(qualifiers == BELOW, -np.inf, values)
    high = np.where(qualifiers == ABOVE, np.inf, values)
    low = np.where(qualifiers == ABOVE, np.nextafter(values, np.inf), low)
    high = np.where(qualifiers == BELOW, np.nextafter(values, -np.inf), high)
    gone = np.isnan(values)
    return np.where(gone, np.nan, low), np.where(gone, np.nan, high)


def _hours(times: Times) -> Floats:
    if not len(times):
        return np.zeros(0)
    hours = (times - times[0]) / HOUR
    out: Floats = np.where(np.isnat(times), np.nan, hours.astype(float))
    return out


def _months(dates: Times) -> npt.NDArray[np.int8]:
    known = ~np.isnat(dates)
    months = np.zeros(len(dates), dtype=np.int8)
    months[known] = (dates[known].astype("datetime64[M]").astype(np.int64) % 12 + 1).astype(np.int8)
    return months


def _links(exact: Bools, hours: Floats | None, gap_hours: float | None) -> Bools:
    linked = np.zeros(len(exact), dtype=bool)
    linked[1:] = exact[1:] & exact[:-1]
    if hours is not None:
        step = np.diff(hours)
        linked[1:] &= ~np.isnan(step)
        if gap_hours is not None:
            linked[1:] &= ~(step > gap_hours)
    return linked
