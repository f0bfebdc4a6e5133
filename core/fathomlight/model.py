"""The nouns of Fathomlight: waters, stations, parameters, flags, and the shape of every table.

Single things are frozen dataclasses; many things travel as pandas DataFrames whose columns are fixed here
(:data:`READING_COLUMNS`, :data:`SURVEY_COLUMNS`, ...), so that every layer agrees on names, units and types.
"""

from __future__ import annotations

import dataclasses
import enum
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import pandas as pd


class Flag(enum.IntEnum):
    """Quality flag of a reading, the primary scheme of IOC Manuals & Guides 54, volume 3 (2013), as QARTOD uses it.

    Statistics use ``PASS`` and ``NOT_EVALUATED`` unless told otherwise.
    """

    PASS = 1
    NOT_EVALUATED = 2
    SUSPECT = 3
    FAIL = 4
    MISSING = 9


USED_FLAGS = (Flag.PASS, Flag.NOT_EVALUATED)
"""Flags that statistics use by default."""

EQUAL, BELOW, ABOVE = "=", "<", ">"
QUALIFIERS = (EQUAL, BELOW, ABOVE)
"""``=`` measured; ``<`` below the limit given as value; ``>`` above it (a disc seen on the bottom)."""

Clearer = Literal["higher", "lower"]


@dataclass(frozen=True, slots=True)
class Parameter:
    """What is measured, in one canonical unit.

    Attributes
    ----------
    name : str
        Short name used in files, the store and the command line, e.g. ``secchi``.
    label : str
        What a reader sees, e.g. ``Disc depth (Secchi)``.
    unit : str
        Canonical unit, e.g. ``m``.
    decimals : int
        Digits after the point that the measurement supports.
    clearer : {"higher", "lower"} or None
        Whether a higher or a lower value means clearer water; None when it says nothing of clarity.
    standard_name : str or None
        CF standard name.
    profile : bool
        True when it is read at several depths in one visit.
    positive : bool
        True when only values above zero are possible.
    """

    name: str
    label: str
    unit: str
    decimals: int = 1
    clearer: Clearer | None = None
    standard_name: str | None = None
    profile: bool = False
    positive: bool = True


@dataclass(frozen=True, slots=True)
class Water:
    """A lake, bay or river reach.

    ``depth_areas`` is the depth-area table: pairs (depth [m], area inside that depth contour [m2]), shallow first.
    ``kd_constant`` is k in Kd = k / Secchi depth, [1].
    """

    id: str
    name: str
    kind: Literal["lake", "bay", "river", "reservoir"] = "lake"
    latitude: float = math.nan
    longitude: float = math.nan
    max_depth_m: float | None = None
    depth_areas: tuple[tuple[float, float], ...] = ()
    kd_constant: float = 1.7
    description: str = ""


@dataclass(frozen=True, slots=True)
class Station:
    """A fixed place where readings are taken.

    ``timezone`` is an IANA name; ``bottom_depth_m`` [m] the usual depth to the bottom, None when unknown;
    ``schedule_days`` [d] the longest planned pause between readings inside the open-water season.
    """

    id: str
    name: str
    water: str
    latitude: float
    longitude: float
    timezone: str = "UTC"
    bottom_depth_m: float | None = None
    schedule_days: float = 30.0
    aliases: tuple[str, ...] = ()


READING_COLUMNS: Mapping[str, str] = {
    "station": "str",
    "parameter": "str",
    "depth_m": "float64",
    "time": "datetime64[us, UTC]",
    "local_date": "datetime64[us]",
    "replicate": "int64",
    "value": "float64",
    "qualifier": "str",
    "flag": "int64",
    "original_value": "str",
    "original_unit": "str",
    "batch": "int64",
    "method": "str",
    "note": "str",
}
"""Columns of a table of readings. ``value`` is canonical; ``depth_m`` is 0 for a disc and for the surface;
``local_date`` is midnight of the day at the station, without zone; ``replicate`` counts from 1."""

MEASURED = ("depth_m", "time", "local_date", "replicate", "value", "qualifier", "flag")
"""Columns of one series that answers and pictures are made of: a third of the memory of all."""

IDENTITY = ("station", "parameter", "depth_m", "time", "replicate")
"""What makes two readings the same reading."""

REFUSED_COLUMNS: Mapping[str, str] = {
    "file": "str",
    "line": "int64",
    "column": "str",
    "value": "str",
    "reason": "str",
    "remedy": "str",
    "row_text": "str",
}
"""Columns of a table of refused rows; ``line`` counts from 1 as a text editor does."""

SURVEY_COLUMNS: Mapping[str, str] = {
    "survey": "str",
    "water": "str",
    "station": "str",
    "gear": "str",
    "start": "datetime64[us]",
    "end": "datetime64[us]",
    "effort": "float64",
    "effort_unit": "str",
    "note": "str",
}
"""One fish sampling event a row; times are local; ``effort`` is NaN when unknown (never 0)."""

CATCH_COLUMNS: Mapping[str, str] = {
    "survey": "str",
    "species": "str",
    "count": "int64",
    "pass_number": "int64",
    "mesh_mm": "float64",
}
"""One count a row. A surveyed species without a row was not caught: a zero, made where it is needed."""

FISH_COLUMNS: Mapping[str, str] = {
    "survey": "str",
    "species": "str",
    "length_mm": "float64",
    "weight_g": "float64",
    "age_years": "float64",
    "pass_number": "int64",
    "mesh_mm": "float64",
}
"""One measured fish a row; NaN where not measured."""


def empty_frame(columns: Mapping[str, str]) -> pd.DataFrame:
    """Return an empty table with the given columns and types.

    Parameters
    ----------
    columns : mapping of str to str
        One of the column tables of this module.

    Returns
    -------
    pandas.DataFrame
        No rows, every column typed.

    Examples
    --------
    >>> list(empty_frame(CATCH_COLUMNS).columns)
    ['survey', 'species', 'count', 'pass_number', 'mesh_mm']
    """
    return pd.DataFrame({name: pd.Series([], dtype=dtype) for name, dtype in columns.items()})


def plain(value: Any) -> Any:
    """Turn a result into what JSON can hold: dataclass to dict, NaN to None, arrays to lists, dates to ISO text.

    Parameters
    ----------
    value : object
        A dataclass, mapping, sequence, array, table or scalar.

    Returns
    -------
    object
        Only dict, list, str, int, float, bool and None.

    Examples
    --------
    >>> plain({"a": np.float64("nan"), "b": np.arange(2), "c": Flag.PASS})
    {'a': None, 'b': [0, 1], 'c': 1}
    """
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, pd.DataFrame):
        return [plain(row) for row in value.to_dict("records")]
    if isinstance(value, Mapping):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple, set, frozenset, pd.Series, pd.Index)):
        return [plain(v) for v in value]
    if isinstance(value, np.ndarray):
        return [plain(v) for v in value.tolist()] if value.ndim else plain(value.item())
    return _plain_scalar(value)


def _plain_scalar(value: Any) -> Any:
    if value is None or value is pd.NaT:
        return None
    if isinstance(value, enum.Enum):
        return value.value
    if isinstance(value, (bool, np.bool_)):
        return bool(value)
    if isinstance(value, (int, np.integer)):
        return int(value)
    if isinstance(value, (float, np.floating)):
        return float(value) if math.isfinite(value) else None
    if hasattr(value, "isoformat"):
        return value.isoformat()
    return str(value)


@dataclass(frozen=True, kw_only=True)
class Result:
    """Base of every answer: frozen, and able to say itself as plain data."""

    def to_dict(self) -> dict[str, Any]:
        """Return the answer as plain data that JSON can hold."""
        out: dict[str, Any] = plain(self)
        return out


@dataclass(frozen=True, kw_only=True)
class TrendResult(Result):
    """The answer of a trend test; every test of :mod:`fathomlight.trends` returns one or a subclass.

    Attributes
    ----------
    n : int
        Values used.
    s, variance, z, p, tau : float
        Kendall's score, its variance under no trend, the standard score with continuity correction,
        the two-sided probability, and tau (the method text says which tau).
    slope, slope_low, slope_high : float
        Theil-Sen slope and its limits, [unit per unit of time]. NaN when not computed.
    intercept : float
        Value of the line at time zero, [unit].
    direction : {"increasing", "decreasing", "none"}
        Sign of ``s`` (or of the slope), whatever its certainty.
    confidence : float
        Confidence in that direction, 0.5 to 1.
    likelihood : str
        The same in the words of the IPCC scale.
    method : str
        One sentence naming test, variance, corrections and rank rule, fit to be copied into a report.
    notes : tuple of str
        What a careful reader must know before using the number.
    """

    n: int
    s: float
    variance: float
    z: float
    p: float
    tau: float
    slope: float = math.nan
    slope_low: float = math.nan
    slope_high: float = math.nan
    intercept: float = math.nan
    direction: Literal["increasing", "decreasing", "none"] = "none"
    confidence: float = 0.5
    likelihood: str = "about as likely as not"
    method: str = ""
    notes: tuple[str, ...] = ()
