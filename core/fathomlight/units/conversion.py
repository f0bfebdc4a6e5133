"""Exact conversions between units of one kind."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from fathomlight.errors import UnitError
from fathomlight.model import Parameter
from fathomlight.units.known import Unit
from fathomlight.units.spelling import parse_unit


def _as_unit(unit: Unit | str) -> Unit:
    return unit if isinstance(unit, Unit) else parse_unit(unit)


def _check_same_kind(source: Unit, target: Unit) -> None:
    if source.dimension != target.dimension:
        optics = source.dimension.startswith("turbidity") and target.dimension.startswith("turbidity")
        raise UnitError(
            f"{source} cannot be turned into {target}",
            got=source.symbol,
            expected=f"a unit of {target.dimension}",
            fix=(
                "They come from different optics and are never converted: "
                f"keep {source} readings under a parameter of their own"
                if optics
                else None
            ),
        )
    if source.basis and target.basis and source.basis != target.basis:
        raise UnitError(
            "the value is expressed as something else",
            got=f"{source} ({source.basis})",
            expected=f"{target} ({target.basis})",
            fix="Convert it at the source, where the method is known",
        )


def number_like(values: Any) -> Any:
    """Make lists arrays, and leave everything else as it is."""
    return np.asarray(values, dtype=float) if isinstance(values, (list, tuple)) else values


def convert(values: Any, from_unit: Unit | str, to_unit: Unit | str) -> Any:
    """Convert values between two units of one kind.

    Parameters
    ----------
    values : float or array_like
        Any shape; numpy, pandas and xarray objects keep their type. NaN stays NaN.
    from_unit, to_unit : Unit or str
        Unit of ``values``, and the wanted one.

    Returns
    -------
    float or array
        ``(values + shift) * ratio``, in ``to_unit``; same shape.

    Raises
    ------
    UnitError
        A unit is unknown, the two measure different things, or they are turbidity units of different optics.

    Examples
    --------
    >>> convert(10, "ft", "m"), convert(68, "degF", "degC")
    (3.048, 20.0)
    """
    source, target = _as_unit(from_unit), _as_unit(to_unit)
    _check_same_kind(source, target)
    values = number_like(values)
    if source.symbol == target.symbol:
        return values
    ratio = source.ratio / target.ratio
    return (values + source.shift) * float(ratio.numerator) / float(ratio.denominator) - target.shift


def convert_difference(values: Any, from_unit: Unit | str, to_unit: Unit | str) -> Any:
    """Convert differences (or slopes, or widths of intervals): scale without shifting the zero.

    Parameters
    ----------
    values : float or array_like
        Differences, any shape.
    from_unit, to_unit : Unit or str
        Unit of ``values``, and the wanted one.

    Returns
    -------
    float or array
        Differences in ``to_unit``; same shape.

    Raises
    ------
    UnitError
        As for :func:`convert`.

    Examples
    --------
    >>> convert_difference(18, "degF", "degC")
    10.0
    """
    source, target = _as_unit(from_unit), _as_unit(to_unit)
    _check_same_kind(source, target)
    values = number_like(values)
    if source.symbol == target.symbol:
        return values
    ratio = source.ratio / target.ratio
    return values * float(ratio.numerator) / float(ratio.denominator)


_EXPRESSED_AS: Mapping[str, str] = {
    "total_nitrogen": "N",
    "total_phosphorus": "P",
    "specific_conductance": "25 degC",
}


def to_canonical(value: Any, unit_text: str, parameter: Parameter) -> Any:
    """Convert a value as reported into the unit its parameter is stored in.

    Parameters
    ----------
    value : float or array_like
        As reported, any shape.
    unit_text : str
        Unit as reported.
    parameter : Parameter
        What was measured; ``parameter.unit`` is the wanted unit.

    Returns
    -------
    float or array
        In ``parameter.unit``, same shape.

    Raises
    ------
    UnitError
        The unit is missing, unknown, or cannot belong to this parameter (degrees for a depth, NTU for a
        parameter in FNU, ``mg/L as PO4`` for phosphorus expressed as P).

    Examples
    --------
    >>> to_canonical(0.012, "mg/L", Parameter("total_phosphorus", "Total phosphorus", "ug/L"))
    12.0
    """
    where = f"parameter {parameter.name}"
    try:
        source = parse_unit(unit_text)
        target = parse_unit(parameter.unit)
        basis = _EXPRESSED_AS.get(parameter.name, target.basis)
        return convert(value, source, replace(target, basis=basis))
    except UnitError as error:
        raise UnitError(
            error.what, where=where, got=error.got, expected=error.expected, fix=error.fix
        ) from None
