"""Canonical values as a reader wants to see them."""

from __future__ import annotations

import functools
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Literal

import numpy as np

from fathomlight.errors import ArgumentError
from fathomlight.units.conversion import convert, convert_difference, number_like
from fathomlight.units.spelling import parse_unit

System = Literal["metric", "us"]


@dataclass(frozen=True, slots=True)
class DisplayUnit:
    """How values of one canonical unit are shown: ``value * factor + offset``, with so many decimals."""

    unit: str
    factor: float = 1.0
    offset: float = 0.0
    decimals: int = 1


_DECIMALS: Mapping[str, int] = {
    "m": 1, "cm": 0, "mm": 0, "km": 2, "degC": 1, "NTU": 1, "FNU": 1, "JTU": 0, "FTU": 1, "ug/L": 1,
    "mg/L": 2,
    "uS/cm": 0, "umol/m2/s": 0, "%": 0, "m2": 0, "ha": 1, "lux": 0, "1/m": 2, "h": 1, "d": 0, "g": 0,
    "kg": 2, "1": 2,
}  # fmt: skip
_US: Mapping[str, tuple[str, int]] = {
    "m": ("ft", 1), "cm": ("in", 1), "mm": ("in", 1), "km": ("mile", 2), "degC": ("degF", 1),
    "m2": ("acre", 1),
    "ha": ("acre", 1), "g": ("lb", 2), "kg": ("lb", 1),
}  # fmt: skip


@functools.cache
def display_units(system: System = "metric") -> Mapping[str, DisplayUnit]:
    """Say how each canonical unit is shown.

    Parameters
    ----------
    system : {"metric", "us"}
        ``us`` shows feet, inches, degF, miles, acres and pounds; concentrations and turbidity are the same in
        both.

    Returns
    -------
    mapping of str to DisplayUnit
        Canonical unit to shown unit, factor, offset and decimals.

    Raises
    ------
    ArgumentError
        ``system`` is neither.

    Examples
    --------
    >>> display_units("us")["m"].unit, display_units("us")["degC"].offset
    ('ft', 32.0)
    """
    if system not in ("metric", "us"):
        raise ArgumentError("system", "unknown unit system", got=system, expected="metric or us")
    out = {}
    for symbol, decimals in _DECIMALS.items():
        shown, shown_decimals = _US.get(symbol, (symbol, decimals)) if system == "us" else (symbol, decimals)
        source, target = parse_unit(symbol), parse_unit(shown)
        factor = float(source.ratio / target.ratio)
        out[symbol] = DisplayUnit(shown, factor, source.shift * factor - target.shift, shown_decimals)
    return MappingProxyType(out)


def _shown(unit: str, system: System) -> DisplayUnit:
    return display_units(system).get(unit) or DisplayUnit(unit)


def to_display(values: Any, unit: str, system: System = "metric") -> Any:
    """Convert canonical values into the unit they are shown in, ``display_units(system)[unit].unit``.

    Parameters
    ----------
    values : float or array_like
        In ``unit``, any shape.
    unit : str
        Canonical unit; one that has no other display unit comes back unchanged.
    system : {"metric", "us"}
        Unit system of the reader.

    Returns
    -------
    float or array
        Same shape.

    Examples
    --------
    >>> round(to_display(3.048, "m", "us"), 6), to_display(20.0, "degC", "us")
    (10.0, 68.0)
    """
    target = _shown(unit, system).unit
    return number_like(values) if target == unit else convert(values, unit, target)


def to_display_difference(values: Any, unit: str, system: System = "metric") -> Any:
    """Convert canonical differences, slopes or interval widths into the shown unit; no shift of the zero.

    Parameters
    ----------
    values : float or array_like
        In ``unit`` (or ``unit`` per something), any shape.
    unit : str
        Canonical unit.
    system : {"metric", "us"}
        Unit system of the reader.

    Returns
    -------
    float or array
        Same shape.

    Examples
    --------
    >>> to_display_difference(10.0, "degC", "us")
    18.0
    """
    target = _shown(unit, system).unit
    return number_like(values) if target == unit else convert_difference(values, unit, target)


def format_value(value: float, unit: str, system: System = "metric", *, decimals: int | None = None) -> str:
    """Write one canonical value with its shown unit, e.g. ``5.2 ft``.

    Parameters
    ----------
    value : float
        In ``unit``; NaN gives ``no value``.
    unit : str
        Canonical unit.
    system : {"metric", "us"}
        Unit system of the reader.
    decimals : int, optional
        Digits after the point; by default those of the shown unit, and for NTU and FNU the reporting steps of
        :func:`round_turbidity`.

    Returns
    -------
    str
        Number, blank, unit, with ``°C``, ``°F`` and ``µ`` as print writes them.

    Examples
    --------
    >>> format_value(1.6, "m"), format_value(1.6, "m", "us"), format_value(20, "degC", "us")
    ('1.6 m', '5.2 ft', '68.0 °F')
    >>> format_value(7.26, "NTU"), format_value(233.0, "FNU")
    ('7.3 NTU', '230 FNU')
    """
    if value is None or not math.isfinite(value):
        return "no value"
    shown = _shown(unit, system)
    number_shown = float(to_display(float(value), unit, system))
    digits = shown.decimals if decimals is None else decimals
    if decimals is None and unit in _BY_REPORTING_STEP:
        number_shown = round_turbidity(number_shown)
        digits = 2 if number_shown <= 1 else 1 if number_shown <= 10 else 0
    number = f"{number_shown:.{digits}f}"
    symbol = shown.unit.replace("deg", "°")
    symbol = re.sub(r"^u(?=[gSm])", "µ", symbol).replace("m2", "m²")
    return number if symbol == "1" else f"{number} {symbol}"


_BY_REPORTING_STEP = frozenset({"NTU", "FNU"})
_REPORTING_STEPS = ((1.0, 0.05), (10.0, 0.1), (40.0, 1.0), (100.0, 5.0), (400.0, 10.0), (1000.0, 50.0))
_COARSEST_STEP = 100.0


def round_turbidity(values: Any) -> Any:
    """Round turbidity to the step in which it is reported.

    Parameters
    ----------
    values : float or array_like
        Turbidity, [NTU] or [FNU], any shape.

    Returns
    -------
    float or array
        To the nearest 0.05 up to 1, 0.1 up to 10, 1 up to 40, 5 up to 100, 10 up to 400, 50 up to 1000 and
        100 above; halves away from zero; NaN stays NaN.

    References
    ----------
    US EPA. 1993. Method 180.1, Determination of turbidity by nephelometry, section 12 (the table is quoted
    from memory; a value on a limit takes the finer step).

    Examples
    --------
    >>> [round_turbidity(v) for v in (0.37, 7.26, 87.0, 621.0)]
    [0.35, 7.3, 85.0, 600.0]
    """
    v = np.asarray(values, dtype=float)
    size = np.abs(v)
    step = np.select(
        [size <= limit for limit, _ in _REPORTING_STEPS], [s for _, s in _REPORTING_STEPS], _COARSEST_STEP
    )
    per_unit = np.round(1.0 / step, 6)
    out = np.where(step < 1, np.floor(size * per_unit + 0.5) / per_unit, np.floor(size / step + 0.5) * step)
    out = np.copysign(out, v)
    return float(out) if out.ndim == 0 else out
