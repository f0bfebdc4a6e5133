"""Can this value be? Hard limits refuse; the station's own past only asks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from fathomlight.model import Parameter
from fathomlight.units import convert, parse_unit

__all__ = ["POSSIBLE", "SURFACE_ONLY", "Past", "possible_range", "rival_units"]

POSSIBLE: Mapping[str, tuple[float, float]] = {
    "secchi": (0.0, 80.0),
    "temperature": (-3.0, 50.0),
    "turbidity_ntu": (0.0, 50_000.0),
    "turbidity_fnu": (0.0, 50_000.0),
    "chlorophyll": (0.0, 10_000.0),
    "total_phosphorus": (0.0, 100_000.0),
    "total_nitrogen": (0.0, 2_000.0),
    "suspended_matter": (0.0, 200_000.0),
    "tube_depth": (0.0, 200.0),
    "dissolved_oxygen": (0.0, 40.0),
    "light": (0.0, 3_000.0),
    "specific_conductance": (0.0, 300_000.0),
}
"""Values outside cannot be, in canonical units. Common practice, no source; the deepest disc reading known is
80 m (Gieskes, Veth, Woehrmann & Graefe 1987, Weddell Sea, Eos 68:123; cited from memory), and damp
instruments read a little below
the freezing point. A workspace narrows them with ``possible`` in parameters.toml."""

SURFACE_ONLY = frozenset({"secchi", "tube_depth"})
"""Read once a visit from the surface: their ``depth_m`` is always 0, whatever stands in a depth column."""

_RIVALS: Mapping[str, tuple[str, ...]] = {
    "m": ("ft", "cm", "in"),
    "cm": ("m", "in"),
    "degC": ("degF",),
    "ug/L": ("mg/L",),
    "mg/L": ("ug/L",),
    "uS/cm": ("mS/cm",),
}
_WORDS = {"ft": "feet", "cm": "centimetres", "in": "inches", "m": "metres", "degF": "degrees Fahrenheit",
          "degC": "degrees Celsius"}  # fmt: skip


def possible_range(
    parameter: Parameter, possible: Mapping[str, tuple[float, float]] | None = None
) -> tuple[float, float]:
    """Return what values a parameter can have.

    Parameters
    ----------
    parameter : Parameter
        What was measured.
    possible : mapping of str to (float, float), optional
        The workspace's own limits, canonical unit; they win over :data:`POSSIBLE`.

    Returns
    -------
    tuple of float
        Lowest and highest possible value, canonical unit. The lowest itself is impossible when it is 0 and
        the parameter is ``positive``.
    """
    low, high = (possible or {}).get(parameter.name) or POSSIBLE.get(parameter.name, (-np.inf, np.inf))
    return (max(low, 0.0) if parameter.positive else low), high


def rival_units(unit: str, canonical: str) -> list[str]:
    """Units that are confused with the one written.

    Parameters
    ----------
    unit, canonical : str
        Unit as written, and the parameter's own.

    Returns
    -------
    list of str
        Symbols, without the written one.

    Examples
    --------
    >>> rival_units("m", "m"), rival_units("degF", "degC")
    (['ft', 'cm', 'in'], ['degC'])
    """
    written = parse_unit(unit).symbol
    return [u for u in (canonical, *_RIVALS.get(canonical, ())) if u != written]


@dataclass
class Past:
    """What stations have shown before, by parameter and season.

    A season is a month with the two on either side. Where that
    holds fewer than ``least`` readings, the whole past counts; where that does too, nothing is asked.

    Attributes
    ----------
    low, high : dict of (station, parameter, month) to float
        Range of the past, canonical unit; month 0 is the whole year.
    least : int
        Readings needed.
    """

    least: int = 10
    low: dict[tuple[str, str, int], float] = field(default_factory=dict)
    high: dict[tuple[str, str, int], float] = field(default_factory=dict)

    @classmethod
    def of(cls, past: pd.DataFrame | None, least: int = 10) -> Past:
        """Learn from a table.

        Parameters
        ----------
        past : pandas.DataFrame or None
            Either readings (``station, parameter, value`` and, for seasons, ``local_date`` or ``time``;
            ``flag`` and ``qualifier`` respected when there) or ranges (``station, parameter, low, high``
            and optionally ``month``; taken as they are).
        least : int, optional
            Readings needed for a range.

        Returns
        -------
        Past
            Empty when ``past`` is None or empty.
        """
        out = cls(least=least)
        if past is None or not len(past):
            return out
        if {"low", "high"} <= set(past.columns):
            months = past["month"] if "month" in past else pd.Series(0, index=past.index)
            for s, p, m, a, b in zip(
                past["station"], past["parameter"], months, past["low"], past["high"], strict=True
            ):
                out.low[(s, p, int(m))], out.high[(s, p, int(m))] = float(a), float(b)
            return out
        out._learn(past)
        return out

    def _learn(self, past: pd.DataFrame) -> None:
        use = past["value"].notna()
        if "flag" in past:
            use &= past["flag"].isin([1, 2])
        if "qualifier" in past:
            use &= past["qualifier"] != "<"
        rows = past[use]
        when = rows["local_date"] if "local_date" in rows else rows.get("time")
        month = pd.DatetimeIndex(when).month.to_numpy() if when is not None else np.zeros(len(rows), int)
        groups: dict[Any, Any] = dict(rows.groupby(["station", "parameter"]).indices)
        for (station, parameter), index in groups.items():
            values, months = rows["value"].to_numpy()[index], month[index]
            self._put(station, parameter, 0, values)
            for m in range(1, 13) if when is not None else ():
                near = np.minimum((months - m) % 12, (m - months) % 12) <= 2
                self._put(station, parameter, m, values[near])

    def _put(self, station: str, parameter: str, month: int, values: np.ndarray) -> None:
        if len(values) < self.least:
            return
        self.low[(station, parameter, month)] = float(values.min())
        self.high[(station, parameter, month)] = float(values.max())

    def ranges(self, station: np.ndarray, parameter: str, month: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Return low and high for many readings of one parameter.

        Parameters
        ----------
        station : numpy.ndarray of object, shape (n,)
            Station ids.
        parameter : str
            What was measured.
        month : numpy.ndarray of int, shape (n,)
            Month of each reading.

        Returns
        -------
        low, high : numpy.ndarray of float, shape (n,)
            NaN where the past is too short.
        """
        codes, ids = pd.factorize(station)
        key = codes.astype(np.int64) * 13 + month
        kinds, back = np.unique(key, return_inverse=True)
        low, high = np.full(len(kinds), np.nan), np.full(len(kinds), np.nan)
        for i, kind in enumerate(kinds.tolist()):
            where = (str(ids[kind // 13]), parameter, int(kind % 13))
            where = where if where in self.low else (where[0], parameter, 0)
            low[i], high[i] = self.low.get(where, np.nan), self.high.get(where, np.nan)
        return low[back], high[back]

    def other_unit(
        self,
        value: np.ndarray,
        number: np.ndarray,
        unit: str,
        canonical: str,
        low: np.ndarray,
        high: np.ndarray,
    ) -> np.ndarray:
        """Find readings that fit the past only if the number was in another unit.

        Asked only when the reading as written is far outside: more than half as much again as the highest,
        or less than two thirds of the lowest, of the past (for temperatures: beyond it by half its width).

        Parameters
        ----------
        value : numpy.ndarray of float, shape (n,)
            Canonical values.
        number : numpy.ndarray of float, shape (n,)
            Numbers as written.
        unit, canonical : str
            Unit as written, and the parameter's own.
        low, high : numpy.ndarray of float, shape (n,)
            From :meth:`ranges`.

        Returns
        -------
        numpy.ndarray of object, shape (n,)
            The unit that would fit, in words; empty where nothing is asked.

        Examples
        --------
        >>> past = Past()
        >>> disc = np.array([9.8, 2.5])
        >>> got = past.other_unit(disc, disc, "m", "m", np.ones(2), np.full(2, 4.0))
        >>> got.tolist()
        ['feet', '']
        """
        out = np.full(len(value), "", dtype=object)
        if canonical == "degC":
            margin = (high - low) / 2
            odd = (value < low - margin) | (value > high + margin)
        else:
            odd = (value < low / 1.5) | (value > high * 1.5)
        if not odd.any():
            return out
        for rival in rival_units(unit, canonical):
            other = convert(number, rival, canonical)
            fits = odd & (other >= np.maximum(low, 1e-12)) & (other <= high) & (out == "")
            out[fits] = _WORDS.get(rival, rival)
        return out
