"""Flat line test: an instrument that says the same again and again.

A reading is equal to an earlier one when they differ by less than ``eps`` (by nothing when ``eps`` is 0). The
manual's text counts the most recent values, the newest included; its code compares the newest with that many
before it, one more. ``counting`` chooses: ``values`` (the text, our default) or ``previous`` (the code).
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from fathomlight.model import Flag
from fathomlight.quality.series import Bools, Flags, Prepared
from fathomlight.quality.settings import FlatLineSettings

NAME = "flat_line"


def _flat(series: Prepared, others: int, eps: float) -> Bools:
    """Return where the ``others`` readings directly before are all equal to this one, within ``eps``."""
    if series.n <= others:
        return np.zeros(series.n, dtype=bool)
    x = series.values
    rolling = pd.Series(x).rolling(others + 1)
    farthest = np.maximum(rolling.max().to_numpy() - x, x - rolling.min().to_numpy())
    slack = 8 * np.spacing(np.abs(x))  # a difference equal to eps but for rounding is not "less than eps"
    enough: Bools = series.segment_position() >= others
    flat: Bools = enough & ((farthest < eps - slack) | (farthest == 0))
    return flat


def run(series: Prepared, settings: FlatLineSettings) -> Flags:
    """Return 4, 3 or 1; 2 where too few readings stand before; 9 where there is no value.

    Parameters
    ----------
    series : Prepared
    settings : FlatLineSettings

    Returns
    -------
    ndarray of int8, shape (n,)
    """
    flags = series.blank()
    minus = 1 if settings.counting == "values" else 0
    exact = series.exact
    flags[exact & (series.segment_position() >= settings.suspect - minus)] = Flag.PASS
    for count, flag in ((settings.suspect, Flag.SUSPECT), (settings.fail, Flag.FAIL)):
        hit = _flat(series, count - minus, settings.eps)
        if settings.flag_points == "run":
            hit = _whole_run(hit, count - minus)
        flags[hit] = flag
    return flags


def _whole_run(hit: Bools, others: int) -> Bools:
    """Return the hits with the ``others`` readings before each."""
    edges = np.zeros(len(hit) + 1, dtype=np.int64)
    found = np.flatnonzero(hit)
    np.add.at(edges, found - others, 1)
    np.add.at(edges, found + 1, -1)
    whole: Bools = np.cumsum(edges)[:-1] > 0
    return whole


def reason(series: Prepared, i: int, settings: FlatLineSettings, unit: str) -> str:
    """Say why reading ``i`` was flagged."""
    tail = f" {unit}" if unit else ""
    return (
        f"{series.values[i]:g}{tail} repeated within {settings.eps:g}{tail} "
        f"(suspect from {settings.suspect}, fail from {settings.fail} readings)"
    )
