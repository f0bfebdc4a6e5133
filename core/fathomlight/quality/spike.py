"""Spike test: one reading that jumps out between its two neighbours.

``neighbour-mean`` (QARTOD): d = abs(x_i - (x_(i-1) + x_(i+1)) / 2). A large spike also lifts the statistic of
the two readings beside it, which may then be flagged although they are right.

``two-difference`` (GTSPP; IOC Manuals & Guides 22): d = abs(x_i - (x_(i-1) + x_(i+1)) / 2) - abs((x_(i+1) -
x_(i-1)) / 2). It subtracts the step between the neighbours, so the readings beside a spike are left alone.

Above ``low`` suspect, above ``high`` fail. First and last readings, readings beside a missing value, a
qualifier or a gap are not evaluated: the newest reading stays 2 until the next arrives. The manual's third
difference is not offered, because it does not say which of its four readings is wrong.
"""

from __future__ import annotations

import numpy as np

from fathomlight.model import Flag
from fathomlight.quality.series import Flags, Floats, Prepared
from fathomlight.quality.settings import SpikeSettings

NAME = "spike"


def statistic(values: Floats, rule: str) -> Floats:
    """Return the spike statistic, NaN at both ends.

    Parameters
    ----------
    values : ndarray, shape (n,)
    rule : {"neighbour-mean", "two-difference"}

    Returns
    -------
    ndarray, shape (n,)
        [unit]

    Examples
    --------
    >>> x = np.array([10, 10.2, 15.1, 10.1, 10])
    >>> statistic(x, "neighbour-mean").round(2).tolist()
    [nan, 2.35, 4.95, 2.45, nan]
    >>> statistic(x, "two-difference").round(2).tolist()
    [nan, -0.2, 4.9, -0.1, nan]
    """
    d = np.full(len(values), np.nan)
    if len(values) > 2:
        before, here, after = values[:-2], values[1:-1], values[2:]
        d[1:-1] = np.abs(here - (before + after) / 2)
        if rule == "two-difference":
            d[1:-1] -= np.abs((after - before) / 2)
    return d


def run(series: Prepared, settings: SpikeSettings) -> Flags:
    """Return 4, 3 or 1; 2 where there are not two neighbours; 9 where there is no value.

    Parameters
    ----------
    series : Prepared
    settings : SpikeSettings

    Returns
    -------
    ndarray of int8, shape (n,)
    """
    flags = series.blank()
    if series.n < 3:
        return flags
    d = statistic(series.values, settings.rule)
    both = np.zeros(series.n, dtype=bool)
    both[1:-1] = series.linked[1:-1] & series.linked[2:]
    flags[both] = Flag.PASS
    flags[both & (d > settings.low)] = Flag.SUSPECT
    flags[both & (d > settings.high)] = Flag.FAIL
    return flags


def reason(series: Prepared, i: int, settings: SpikeSettings, unit: str) -> str:
    """Say why reading ``i`` was flagged."""
    tail = f" {unit}" if unit else ""
    d = statistic(series.values[i - 1 : i + 2], settings.rule)[1]
    limit = settings.high if d > settings.high else settings.low
    return f"{series.values[i]:g}{tail} stands {d:.3g}{tail} off its two neighbours (limit {limit:g}{tail})"
