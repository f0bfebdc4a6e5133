"""A water's own attenuation, day by day from light profiles, and the k that ties it to its own discs."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from fathomlight.errors import ArgumentError
from fathomlight.indices._values import (
    as_floats,
    check_not_negative,
    check_positive,
    local_days,
    qualifier_array,
)
from fathomlight.indices.light.water import attenuation_from_light, attenuation_from_profile
from fathomlight.model import Result


def attenuation_by_day(dates: Any, depths_m: Any, light: Any, *, confidence: float = 0.95) -> pd.DataFrame:
    """Attenuation coefficient of each day from light read at two depths or more.

    Parameters
    ----------
    dates : array_like of datetime, shape (n,)
        Local date of each reading.
    depths_m, light : array_like, shape (n,)
        Depths, [m], and light in one unit (e.g. [umol/m2/s]), greater than zero. NaN is left out; repeats
        at one depth are averaged.
    confidence : float
        Of the limits, between 0 and 1.

    Returns
    -------
    pandas.DataFrame
        One row a day: ``date``, ``kd`` [1/m] with ``kd_low`` and ``kd_high``, ``r2``, ``depths``, ``note``.
        With two depths, ``ln(I1 / I2) / (z2 - z1)`` without limits; with more, the least-squares slope of
        ln(light) on depth. Days with one depth are left out.

    Raises
    ------
    ArgumentError
        Lengths differ, a depth is negative or light is not greater than zero.
    """
    days = local_days("dates", dates)
    z, i = as_floats("depths_m", depths_m).ravel(), as_floats("light", light).ravel()
    if not days.size == z.size == i.size:
        raise ArgumentError(
            "light", "not as many values as dates and depths", got=i.size, expected=str(days.size)
        )
    check_not_negative("depths_m", z, "a depth")
    check_positive("light", i, "light")
    used = ~np.isnat(days) & np.isfinite(z) & np.isfinite(i)
    table = pd.DataFrame({"date": days[used].astype("datetime64[s]"), "z": z[used], "i": i[used]})
    rows = []
    for day, part in table.groupby(["date", "z"], as_index=False)["i"].mean().groupby("date"):
        depth, value = part["z"].to_numpy(), part["i"].to_numpy()
        if depth.size == 2:
            kd = float(attenuation_from_light(value[0], value[1], depth[0], depth[1]))
            rows.append((day, kd, math.nan, math.nan, math.nan, 2, "two depths only: no limits"))
        elif depth.size > 2:
            fit = attenuation_from_profile(depth, value, confidence=confidence)
            rows.append((day, fit.kd, fit.kd_low, fit.kd_high, fit.r2, fit.n, " ".join(fit.notes)))
    columns = ["date", "kd", "kd_low", "kd_high", "r2", "depths", "note"]
    return pd.DataFrame(rows, columns=columns).astype({"date": "datetime64[s]"})


@dataclass(frozen=True, kw_only=True)
class LocalK(Result):
    """k in Kd = k / disc depth, from one water's own pairs.

    Attributes
    ----------
    k, k_low, k_high : float
        Geometric mean of ``Kd * disc depth`` and its limits, [1]; NaN when refused.
    n, left_out : int
        Days used; days left out for a qualifier or an attenuation that is not greater than zero.
    usable : bool
        False when there are too few pairs.
    confidence : float
        Of the limits.
    reading, method : str
        One plain sentence, and how it was done.
    notes : tuple of str
        What to know before using it.
    """

    k: float
    k_low: float
    k_high: float
    n: int
    left_out: int
    usable: bool
    confidence: float
    reading: str
    method: str
    notes: tuple[str, ...] = ()


def local_k(
    kd: Any, secchi_m: Any, *, qualifiers: Any = None, min_pairs: int = 5, confidence: float = 0.95
) -> LocalK:
    """Estimate k in Kd = k / disc depth from attenuation and disc depth read on the same days.

    Parameters
    ----------
    kd, secchi_m : array_like, shape (n,)
        Attenuation from light readings, [1/m], and disc depth, [m]. Pairs with NaN, with a qualifier, or
        with an attenuation that is not greater than zero are left out.
    qualifiers : array_like of str, optional
        Of the disc readings: ``=``, ``<`` or ``>``.
    min_pairs : int
        Fewest pairs, 2 or more (common practice, no source).
    confidence : float
        Of the limits, between 0 and 1.

    Returns
    -------
    LocalK
        ``exp(mean ln(Kd SD))`` with Student's t limits; its range suits
        :func:`~fathomlight.indices.habitat.habitat_uncertainty`.

    Raises
    ------
    ArgumentError
        A disc depth is not greater than zero, lengths differ, or a setting is impossible.

    Examples
    --------
    >>> round(local_k([0.85, 0.7, 1.0, 0.6, 0.9], [2.0, 2.4, 1.7, 2.9, 1.9]).k, 2)
    1.71
    """
    from scipy import stats

    if min_pairs < 2:
        raise ArgumentError("min_pairs", "limits need two pairs or more", got=min_pairs)
    if not 0 < confidence < 1:
        raise ArgumentError("confidence", "must lie between 0 and 1", got=confidence)
    a, disc = as_floats("kd", kd).ravel(), as_floats("secchi_m", secchi_m).ravel()
    if a.size != disc.size:
        raise ArgumentError("secchi_m", "not as many values as kd", got=disc.size, expected=str(a.size))
    check_positive("secchi_m", disc, "a disc depth")
    there = np.isfinite(a) & np.isfinite(disc)
    used = there & (a > 0) & (qualifier_array(qualifiers, disc.size) == "=")
    n, left_out = int(used.sum()), int(there.sum() - used.sum())
    method = f"Geometric mean of Kd times disc depth over {n} days, {confidence:.0%} limits by Student's t."
    if n < min_pairs:
        return LocalK(
            k=math.nan, k_low=math.nan, k_high=math.nan, n=n, left_out=left_out, usable=False, confidence=confidence,
            reading=f"There are too few days with both light and disc readings ({n} of at least {min_pairs}).",
            method=method,
        )  # fmt: skip
    logs = np.log(a[used] * disc[used])
    half = float(stats.t.ppf((1 + confidence) / 2, n - 1)) * float(logs.std(ddof=1)) / math.sqrt(n)
    centre = float(logs.mean())
    k, low, high = (math.exp(v) for v in (centre, centre - half, centre + half))
    return LocalK(
        k=k,
        k_low=low,
        k_high=high,
        n=n,
        left_out=left_out,
        usable=True,
        confidence=confidence,
        reading=(
            f"In this water the disc disappears where about {math.exp(-k):.0%} of the surface light is left "
            f"(k = {k:.2f}, between {low:.2f} and {high:.2f})."
        ),
        method=method,
        notes=(
            "Light of the wavelengths that plants use, and of the whole sky, can give a somewhat different k.",
        ),
    )
