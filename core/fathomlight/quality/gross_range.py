"""Gross range test: what the instrument can give, and what the person in charge believes.

Outside ``fail`` flag 4, outside ``suspect`` flag 3; a value on a limit is inside. A reading with a qualifier
is only flagged when every value it allows is outside: ``> 1.5`` is not below a minimum of 2. Where its stated
limit is beyond the range on the side that stays open, nothing can be said: flag 2.
"""

from __future__ import annotations

from fathomlight.model import Flag
from fathomlight.quality.series import Bools, Flags, Prepared, bounds
from fathomlight.quality.settings import GrossRangeSettings

NAME = "gross_range"


def outside(series: Prepared, low: float, high: float) -> tuple[Bools, Bools]:
    """Return where readings certainly lie outside, and where a qualifier leaves it open.

    Parameters
    ----------
    series : Prepared
    low, high : float
        Limits, inclusive [unit].

    Returns
    -------
    certain, unknown : ndarray of bool, shape (n,)
    """
    least, most = bounds(series.values, series.qualifiers)
    certain = (most < low) | (least > high)
    stated_outside = (series.values < low) | (series.values > high)
    return certain, stated_outside & ~certain


def run(series: Prepared, settings: GrossRangeSettings) -> Flags:
    """Return 4, 3 or 1; 2 where a qualifier leaves it open; 9 where there is no value.

    Parameters
    ----------
    series : Prepared
    settings : GrossRangeSettings

    Returns
    -------
    ndarray of int8, shape (n,)
    """
    flags = series.blank(Flag.PASS)
    if settings.suspect is not None:
        certain, unknown = outside(series, *settings.suspect)
        flags[unknown] = Flag.NOT_EVALUATED
        flags[certain] = Flag.SUSPECT
    certain, unknown = outside(series, *settings.fail)
    flags[unknown & (flags == Flag.PASS)] = Flag.NOT_EVALUATED
    flags[certain] = Flag.FAIL
    return flags


def reason(series: Prepared, i: int, settings: GrossRangeSettings, unit: str) -> str:
    """Say why reading ``i`` was flagged."""
    value = float(series.values[i])
    low, high = settings.fail
    if low <= value <= high and settings.suspect is not None:
        low, high = settings.suspect
        limit = "what is believed here"
    else:
        limit = "what the instrument can give"
    side, edge = ("below", low) if value < low else ("above", high)
    sign = "" if series.qualifiers[i] == "=" else f"{series.qualifiers[i]} "
    return f"{sign}{value:g}{_unit(unit)} is {side} {limit} ({edge:g}{_unit(unit)})"


def _unit(unit: str) -> str:
    return f" {unit}" if unit else ""
