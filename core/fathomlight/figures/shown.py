"""From canonical values to what a reader sees: their unit, their precision, unambiguous dates.

The canonical value is never changed; only the copy that is drawn or printed is.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from typing import Any, Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from fathomlight.model import Parameter
from fathomlight.units import display_units, to_display, to_display_difference

Units = Literal["metric", "us"]
Floats = npt.NDArray[np.float64]

_PRETTY = {"degC": "°C", "degF": "°F", "ug/L": "µg/L", "umol/m2/s": "µmol/m²/s", "uS/cm": "µS/cm", "m2": "m²"}
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def season_names(labels: Mapping[Any, str] | None) -> dict[Any, str]:
    """Return the names of the seasons: the given ones, or the months by number.

    Examples
    --------
    >>> season_names(None)[7], season_names({"s": "summer"})["s"]
    ('Jul', 'summer')
    """
    return dict(labels) if labels else dict(enumerate(MONTHS, start=1))


def shown_unit(unit: str, units: Units = "metric") -> str:
    """Return the unit a reader sees.

    Examples
    --------
    >>> shown_unit("m"), shown_unit("m", "us"), shown_unit("degC", "us"), shown_unit("NTU", "us")
    ('m', 'ft', '°F', 'NTU')
    """
    known = display_units(units).get(unit)
    name = known.unit if known else unit
    return _PRETTY.get(name, name)


def to_shown(values: Any, unit: str, units: Units = "metric", *, difference: bool = False) -> Any:
    """Return values in the unit a reader sees.

    Parameters
    ----------
    values : float or array_like of float
        In the canonical unit `unit`.
    unit : str
        Canonical unit.
    units : {"metric", "us"}
        What the reader wants.
    difference : bool
        True for slopes and steps, which have no zero point: 1 degC more is 1.8 degF more.

    Returns
    -------
    float or ndarray of float
        Converted copy.

    Examples
    --------
    >>> round(to_shown(3.048, "m", "us"), 6)
    10.0
    >>> round(to_shown(20.0, "degC", "us"), 6), round(to_shown(1.0, "degC", "us", difference=True), 6)
    (68.0, 1.8)
    """
    change = to_display_difference if difference else to_display
    if np.ndim(values) == 0:
        return change(float(values), unit, units)
    return np.asarray(change(np.asarray(values, dtype=np.float64), unit, units))


# Reporting steps of US EPA Method 180.1 (1993), section 12, as given from memory; shown values only.
_TURBIDITY_STEPS = (
    (1.0, 0.05, 2),
    (10.0, 0.1, 1),
    (40.0, 1.0, 0),
    (100.0, 5.0, 0),
    (400.0, 10.0, 0),
    (1000.0, 50.0, 0),
)


def turbidity_text(value: float) -> str:
    """Return a turbidity at the step it is reported with: coarser as it grows.

    Parameters
    ----------
    value : float
        In NTU or FNU.

    Notes
    -----
    Steps after US EPA Method 180.1 (1993), section 12: 0.05 below 1, 0.1 below 10, 1 below 40, 5 below 100,
    10 below 400, 50 below 1000, 100 above. (From memory, not re-read.)

    Examples
    --------
    >>> [turbidity_text(v) for v in (0.37, 7.26, 23.4, 87, 233, 621, 1449)]
    ['0.35', '7.3', '23', '85', '230', '600', '1400']
    """
    for limit, step, digits in _TURBIDITY_STEPS:
        if abs(value) < limit:
            return f"{round(value / step) * step:.{digits}f}"
    return f"{round(value / 100) * 100:.0f}"


def number(value: float, unit: str, decimals: int = 1, units: Units = "metric", qualifier: str = "=") -> str:
    """Return a value with its unit at the precision of the measurement.

    Parameters
    ----------
    value : float
        In the canonical unit.
    unit : str
        Canonical unit; empty for a pure number.
    decimals : int
        Digits after the point that the measurement supports.
    units : {"metric", "us"}
        What the reader wants.
    qualifier : {"=", "<", ">"}
        Shown in front when it is not ``=``.

    Examples
    --------
    >>> number(1.62, "m"), number(3.0, "m", qualifier=">"), number(1.62, "m", units="us")
    ('1.6 m', '> 3.0 m', '5.3 ft')
    """
    if value is None or not math.isfinite(value):
        return "no value"
    converted = to_shown(float(value), unit, units)
    text = turbidity_text(converted) if unit in {"NTU", "FNU"} else f"{converted:.{decimals}f}"
    sign = f"{qualifier} " if qualifier in {"<", ">"} else ""
    return f"{sign}{text} {shown_unit(unit, units)}".strip()


def parameter_number(
    value: float, parameter: Parameter, units: Units = "metric", qualifier: str = "="
) -> str:
    """Return a value of a parameter with unit and precision; see :func:`number`."""
    return number(value, parameter.unit, parameter.decimals, units, qualifier)


def axis_title(parameter: Parameter, units: Units = "metric") -> str:
    """Return the title of an axis: label and unit.

    Examples
    --------
    >>> axis_title(Parameter("secchi", "Disc depth", "m"), "us")
    'Disc depth [ft]'
    """
    return f"{parameter.label} [{shown_unit(parameter.unit, units)}]"


def date_text(when: Any) -> str:
    """Return a date that reads the same everywhere.

    Examples
    --------
    >>> date_text("2025-07-24"), date_text(None)
    ('24 Jul 2025', 'no date')
    """
    if when is None or when is pd.NaT:
        return "no date"
    if not isinstance(when, dt.date):
        when = pd.Timestamp(when)
    if pd.isna(when):
        return "no date"
    return f"{when.day} {MONTHS[when.month - 1]} {when.year}"


def window_text(first: Any, last: Any) -> str:
    """Return a window of time as text.

    Examples
    --------
    >>> window_text("2006-05-01", "2025-07-24")
    '1 May 2006 to 24 Jul 2025'
    """
    return f"{date_text(first)} to {date_text(last)}"


def count_text(n: int, singular: str, plural: str | None = None) -> str:
    """Return a number with its noun.

    Examples
    --------
    >>> count_text(1, "reading"), count_text(1200, "reading")
    ('1 reading', '1,200 readings')
    """
    return f"{n:,} {singular if n == 1 else (plural or singular + 's')}"


def p_text(p: float) -> str:
    """Return a probability as a careful reader wants it.

    Examples
    --------
    >>> p_text(0.0312), p_text(0.00001), p_text(float("nan"))
    ('p = 0.03', 'p < 0.001', 'p not available')
    """
    if p is None or not math.isfinite(p):
        return "p not available"
    if p < 0.001:
        return "p < 0.001"
    return f"p = {p:.3f}" if p < 0.01 else f"p = {p:.2f}"


def slope_text(slope: float, low: float, high: float, unit: str, units: Units = "metric") -> str:
    """Return a slope a decade with its limits, the way people speak of slow change.

    Parameters
    ----------
    slope, low, high : float
        [unit per year].
    unit : str
        Canonical unit of the parameter.
    units : {"metric", "us"}
        What the reader wants.

    Examples
    --------
    >>> slope_text(-0.031, -0.045, -0.012, "m")
    '-0.31 m a decade (-0.45 to -0.12)'
    """
    a, b, c = (10 * to_shown(v, unit, units, difference=True) for v in (slope, low, high))
    digits = 2 if max(abs(a), abs(b), abs(c), 1e-9) < 10 else 1
    limits = ""
    if math.isfinite(b) and math.isfinite(c):
        limits = f" ({_signed(b, digits)} to {_signed(c, digits)})"
    return f"{_signed(a, digits)} {shown_unit(unit, units)} a decade{limits}"


def _signed(value: float, digits: int) -> str:
    """Return a number with its sign; zero has none."""
    text = f"{value:+.{digits}f}"
    return text[1:] if float(text) == 0 else text
