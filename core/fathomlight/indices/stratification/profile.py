"""Profiles: single readings gathered, sorted and cleaned."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from fathomlight.errors import ArgumentError
from fathomlight.indices._values import FloatArray, as_floats, check_not_negative, local_days
from fathomlight.indices.stratification.density import check_temperature


def tidy_profile(depths_m: Any, temperatures: Any, *, merge: bool = True) -> tuple[FloatArray, FloatArray]:
    """Sort a profile by depth, leave out pairs with NaN, and (``merge``) average repeats at one depth.

    Raises
    ------
    ArgumentError
        Lengths differ, a depth is negative, or a temperature is impossible.
    """
    z, t = as_floats("depths_m", depths_m).ravel(), as_floats("temperatures", temperatures).ravel()
    if z.size != t.size:
        raise ArgumentError("temperatures", "not as many values as depths", got=t.size, expected=str(z.size))
    check_not_negative("depths_m", z, "a depth")
    check_temperature("temperatures", t)
    used = np.isfinite(z) & np.isfinite(t)
    order = np.argsort(z[used], kind="stable")
    z, t = z[used][order], t[used][order]
    if merge and z.size > 1 and np.any(np.diff(z) == 0):
        unique, start = np.unique(z, return_index=True)
        t = np.add.reduceat(t, start) / np.diff(np.append(start, z.size))
        z = unique
    return z, t


@dataclass(frozen=True, slots=True)
class DatedProfile:
    """One profile: day and tidy arrays of depth [m] and temperature [degC]."""

    day: np.datetime64
    depths_m: FloatArray
    temperatures: FloatArray


def profiles_from_readings(
    dates: Any, depths_m: Any, temperatures: Any, *, least_depths: int = 3
) -> list[DatedProfile]:
    """Gather single readings into one profile a day.

    Parameters
    ----------
    dates : array_like of datetime, shape (n,)
        Local date of each reading.
    depths_m, temperatures : array_like, shape (n,)
        [m] and [degC]; NaN is left out.
    least_depths : int
        Days with fewer different depths are left out.

    Returns
    -------
    list of DatedProfile
        In the order of days.

    Raises
    ------
    ArgumentError
        Lengths differ, or a value is impossible.
    """
    days = local_days("dates", dates)
    z, t = as_floats("depths_m", depths_m).ravel(), as_floats("temperatures", temperatures).ravel()
    if not days.size == z.size == t.size:
        raise ArgumentError("dates", "not as many dates as readings", got=days.size, expected=str(z.size))
    used = ~np.isnat(days) & np.isfinite(z) & np.isfinite(t)
    days, z, t = days[used], z[used], t[used]
    order = np.argsort(days, kind="stable")
    days, z, t = days[order], z[order], t[order]
    unique, start = np.unique(days, return_index=True)
    out = []
    for day, a, b in zip(unique, start, np.append(start, days.size)[1:], strict=True):
        depth, temperature = tidy_profile(z[a:b], t[a:b])
        if depth.size >= least_depths:
            out.append(DatedProfile(day, depth, temperature))
    return out
