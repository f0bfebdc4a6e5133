"""False discovery across a network: with many stations, some trends are found by chance."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from fathomlight.errors import ArgumentError
from fathomlight.trends._inputs import Floats, check_fraction

if TYPE_CHECKING:
    import xarray as xr


def false_discovery(p: Any) -> Floats:
    """Return p values adjusted so that a limit on them limits the share of false discoveries.

    Sorted p_(1) <= ... <= p_(m): adjusted p_(k) = min over j >= k of (m/j) p_(j), at most 1. Missing ones
    stay missing and do not count into m.

    Parameters
    ----------
    p : array-like, shape (m,)
        Two-sided probabilities; NaN = not tested.

    Returns
    -------
    ndarray, shape (m,)
        Taking those at or below q keeps the expected share of false discoveries at or below q.

    Raises
    ------
    ArgumentError
        When a value is no probability.

    References
    ----------
    Benjamini, Y. & Y. Hochberg. 1995. Controlling the false discovery rate. Journal of the Royal Statistical
    Society B 57:289-300.

    Examples
    --------
    >>> false_discovery([0.01, 0.02, 0.04]).round(3).tolist()
    [0.03, 0.03, 0.04]
    """
    values = np.asarray(p, dtype=np.float64)
    flat = values.ravel()
    tested = ~np.isnan(flat)
    if np.any((flat[tested] < 0) | (flat[tested] > 1)):
        raise ArgumentError("p", "must lie between 0 and 1", got=float(flat[tested].max()))
    adjusted = np.full(flat.size, np.nan)
    if tested.any():
        from scipy.stats import false_discovery_control

        adjusted[tested] = false_discovery_control(flat[tested], method="bh")
    out: Floats = adjusted.reshape(values.shape)
    return out


def with_false_discovery(trends: xr.Dataset, *, level: float = 0.05) -> xr.Dataset:
    """Return network trends with ``p_adjusted`` and ``discovered`` beside them; computes a lazy data set.

    Parameters
    ----------
    trends : xarray.Dataset
        Answer of :func:`~fathomlight.trends.network_trends`.
    level : float
        Accepted share of false discoveries, [1].

    Returns
    -------
    xarray.Dataset
        ``discovered`` is True where ``p_adjusted`` is at or below the level.

    Raises
    ------
    ArgumentError
        When the level is no fraction.
    """
    check_fraction(level, "level")
    held = trends.compute()
    adjusted = held["p"].copy(data=false_discovery(held["p"].values))
    adjusted.attrs["long_name"] = "p adjusted for false discovery (Benjamini and Hochberg 1995)"
    found = adjusted <= level
    found.attrs["long_name"] = f"p_adjusted at or below {level:g}"
    return held.assign(p_adjusted=adjusted, discovered=found)
