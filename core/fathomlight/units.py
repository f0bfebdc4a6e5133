"""Units: what people write, and what Fathomlight keeps.

Field sheets, spreadsheets and loggers spell one unit in many ways (``ft``, ``feet``, ``1 Meters``, ``µg/L``
damaged to ``Âµg/L``). :func:`parse_unit` reads them; :func:`to_canonical` turns a value into the one unit its
parameter is stored in; :func:`to_display` turns it back into what a reader wants to see.

Turbidity units (NTU, FNU, JTU ...) name the optics of the instrument as well as the scale. Each is a kind of its
own here, and nothing converts one into another: that would need the instrument and the water, not a factor
(US EPA Method 180.1, 1993, for NTU; ISO 7027-1:2016 for FNU).

Every conversion is ``(value + shift) * ratio`` with an exact ratio: 1 ft = 0.3048 m, 1 in = 0.0254 m,
1 yd = 0.9144 m, 1 mile = 1609.344 m, 1 acre = 4046.8564224 m2, 1 lb = 453.59237 g (international yard and
pound agreement, 1959).
"""

from __future__ import annotations

import functools
import math
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from types import MappingProxyType
from typing import Any, Literal

import numpy as np

from fathomlight.errors import ArgumentError, UnitError
from fathomlight.model import Parameter

__all__ = [
    "DisplayUnit",
    "Unit",
    "convert",
    "convert_difference",
    "display_units",
    "format_value",
    "parse_unit",
    "split_value_unit",
    "to_canonical",
    "to_display",
    "to_display_difference",
]

System = Literal["metric", "us"]


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit.

    Attributes
    ----------
    symbol : str
        How Fathomlight writes it, e.g. ``ft``.
    dimension : str
        What it measures; only units of one dimension convert into each other. Every turbidity unit is a
        dimension of its own.
    ratio : fractions.Fraction
        Size in the base unit of the dimension, [base unit per unit].
    shift : float
        Added before the ratio is applied; not zero for degF and K only.
    basis : str
        What the number is expressed as, when the text says so: ``N`` in ``mg/L as N``, ``25 degC`` in
        ``uS/cm @ 25 degC``; empty otherwise.
    """

    symbol: str
    dimension: str
    ratio: Fraction = Fraction(1)
    shift: float = 0.0
    basis: str = ""

    def __str__(self) -> str:
        return self.symbol


@dataclass(frozen=True, slots=True)
class DisplayUnit:
    """How values of one canonical unit are shown: ``value * factor + offset``, with so many decimals."""

    unit: str
    factor: float = 1.0
    offset: float = 0.0
    decimals: int = 1


def _known() -> dict[str, tuple[Unit, tuple[str, ...]]]:
    """Every unit with the spellings it is known by, lower case and without blanks."""
    f = Fraction
    rows: list[tuple[str, str, Fraction, float, str]] = [
        ("m", "length", f(1), 0, "m meter meters metre metres mtr mtrs"),
        ("cm", "length", f(1, 100), 0, "cm cms centimeter centimeters centimetre centimetres"),
        ("mm", "length", f(1, 1000), 0, "mm millimeter millimeters millimetre millimetres"),
        ("km", "length", f(1000), 0, "km kilometer kilometers kilometre kilometres"),
        ("in", "length", f(254, 10000), 0, "in in. inch inches \" ''"),
        ("ft", "length", f(3048, 10000), 0, "ft ft. feet foot '"),
        ("yd", "length", f(9144, 10000), 0, "yd yd. yds yard yards"),
        ("mile", "length", f(1609344, 1000), 0, "mile miles mi mi."),
        ("m2", "area", f(1), 0, "m2 sqm sqmeter sqmeters squaremeter squaremeters squaremetre squaremetres"),
        ("ha", "area", f(10000), 0, "ha hectare hectares"),
        ("km2", "area", f(1000000), 0, "km2 sqkm squarekilometers squarekilometres"),
        ("acre", "area", f(40468564224, 10000000), 0, "acre acres ac"),
        ("ft2", "area", f(9290304, 100000000), 0, "ft2 sqft squarefeet squarefoot"),
        (
            "degC",
            "temperature",
            f(1),
            0.0,
            "degc c degreesc degreec celsius degcelsius degreescelsius centigrade",
        ),
        (
            "degF",
            "temperature",
            f(5, 9),
            -32.0,
            "degf f degreesf degreef fahrenheit degfahrenheit degreesfahrenheit",
        ),
        ("K", "temperature", f(1), -273.15, "k degk kelvin kelvins"),
        (
            "NTU",
            "turbidity in NTU",
            f(1),
            0,
            "ntu ntus nephelometricturbidityunits nephelometricturbidityunit",
        ),
        ("FNU", "turbidity in FNU", f(1), 0, "fnu fnus formazinnephelometricunits formazinnephelometricunit"),
        ("JTU", "turbidity in JTU", f(1), 0, "jtu jtus jacksonturbidityunits"),
        ("FTU", "turbidity in FTU", f(1), 0, "ftu ftus formazinturbidityunits"),
        ("FAU", "turbidity in FAU", f(1), 0, "fau faus"),
        ("NTRU", "turbidity in NTRU", f(1), 0, "ntru"),
        ("FNMU", "turbidity in FNMU", f(1), 0, "fnmu"),
        ("ug/L", "mass concentration", f(1), 0, "ug/l mcg/l mg/m3 ppb microgram/l micrograms/l ng/ml"),
        ("mg/L", "mass concentration", f(1000), 0, "mg/l g/m3 ug/ml ppm milligram/l milligrams/l"),
        ("ng/L", "mass concentration", f(1, 1000), 0, "ng/l ug/m3 ppt nanograms/l"),
        ("g/L", "mass concentration", f(1000000), 0, "g/l kg/m3 grams/l"),
        ("uS/cm", "conductance", f(1), 0, "us/cm umho/cm umhos/cm microsiemens/cm microsiemens/centimeter"),
        ("mS/cm", "conductance", f(1000), 0, "ms/cm mmho/cm mmhos/cm millisiemens/cm"),
        ("mS/m", "conductance", f(10), 0, "ms/m"),
        ("S/m", "conductance", f(10000), 0, "s/m"),
        ("umol/m2/s", "photon flux", f(1), 0, "umol/m2/s umol/s/m2 ue/m2/s umolphotons/m2/s umolphoton/m2/s"),
        ("W/m2", "irradiance", f(1), 0, "w/m2 watts/m2 watt/m2"),
        ("lux", "illuminance", f(1), 0, "lux lx"),
        ("%", "share", f(1), 0, "% percent pct %sat %saturation percentsaturation"),
        ("1", "share", f(100), 0, "1 fraction"),
        ("1/m", "attenuation", f(1), 0, "1/m /m"),
        ("s", "time", f(1), 0, "s sec secs second seconds"),
        ("min", "time", f(60), 0, "min mins minute minutes"),
        ("h", "time", f(3600), 0, "h hr hrs hour hours"),
        ("d", "time", f(86400), 0, "d day days"),
        ("g", "mass", f(1), 0, "g gram grams gm gms"),
        ("kg", "mass", f(1000), 0, "kg kgs kilogram kilograms"),
        ("mg", "mass", f(1, 1000), 0, "mg milligram milligrams"),
        ("lb", "mass", f(45359237, 100000), 0, "lb lbs lb. lbs. pound pounds"),
        ("oz", "mass", f(45359237, 1600000), 0, "oz oz. ounce ounces"),
    ]
    return {s: (Unit(s, dim, ratio, shift), tuple(names.split())) for s, dim, ratio, shift, names in rows}


_UNITS = _known()
_BY_NAME: Mapping[str, Unit] = {name: unit for unit, names in _UNITS.values() for name in names}

_DEGREE = "\N{DEGREE SIGN}"
_DAMAGED: tuple[tuple[str, str], ...] = (
    # UTF-8 read as Windows-1252 or Latin-1 (once or twice); the longer spelling first
    ("Ã‚Â°", _DEGREE), ("Ã‚Âº", _DEGREE), ("Ã‚Âµ", "u"), ("Ã‚Â²", "2"), ("Ã‚Â³", "3"),
    ("Â°", _DEGREE), ("Âº", _DEGREE), ("Ëš", _DEGREE), ("Ë\x9a", _DEGREE), ("Âµ", "u"), ("Î¼", "u"),
    ("Â²", "2"), ("Â³", "3"), ("Â", ""), ("ï¿½", "\ufffd"),
    # look-alikes of the degree sign
    ("º", _DEGREE), ("\u02da", _DEGREE), ("\u2218", _DEGREE), ("\u1d52", _DEGREE), ("\u20dd", _DEGREE),
    ("℃", _DEGREE + "C"), ("℉", _DEGREE + "F"),
    # quotes and signs
    ("\u2032", "'"), ("\u2019", "'"), ("\u2033", '"'), ("\u201d", '"'), ("\u2212", "-"), ("⁻", "-"),
    ("\u2044", "/"),
)  # fmt: skip

_ELEMENT = r"(no3|nh4|po4|caco3|n|p|c)"
_BASIS = (
    re.compile(rf"\bas\s*{_ELEMENT}$"),
    re.compile(rf"(?<=/l)[\s_-]*{_ELEMENT}$"),
    re.compile(r"(?<=[mu]g)[\s_-]*(n|p)(?=/)"),
)
_REFERENCE = re.compile(r"\s*(?:@|\bat\b)\s*([\d.]+)\s*(?:deg(?:rees?)?\s*)?c?$|\s+([\d.]+)\s*degc$")


def _tidy(text: str) -> str:
    """Undo damage, then reduce a unit text to lower case with ``/`` for every "per"."""
    for bad, good in _DAMAGED:
        text = text.replace(bad, good)
    text = re.sub(
        r"[\ufffd?](?=\s*[CcFf]\b)", _DEGREE, text
    )  # a lost character before C or F was a degree sign
    text = re.sub(
        r"[\ufffd?](?=(?:[gG]|[sS]/|mol|mho|E/|M/))", "u", text
    )  # and before these it was a micro sign
    text = unicodedata.normalize("NFKC", text).replace("\u03bc", "u").replace("\xb5", "u")
    text = text.strip().strip("[](){}").strip().lower()
    text = re.sub(rf"{_DEGREE}\s*", "deg", text)
    text = re.sub(r"^o\s*(?=[cf]$)", "deg", text)
    text = re.sub(r"\bper\b", "/", text)
    text = re.sub(r"\b(?:lit(?:re|er)s?)\b", "l", text)
    text = re.sub(r"[\s·*.]*\b(l|cm|m|s)\s*\^?\s*-\s*([123])(?!\d)", _negative_power, text)
    return re.sub(r"\s*/\s*", "/", text).replace("^", "")


def _negative_power(found: re.Match[str]) -> str:
    name, power = found.groups()
    return f"/{name}" if power == "1" else f"/{name}{power}"


def _take_basis(text: str) -> tuple[str, str]:
    """Split ``mg/l as n`` into ``mg/l`` and ``N``, ``us/cm@25degc`` into ``us/cm`` and ``25 degC``."""
    if "/cm" in text or "/m" in text:
        found = _REFERENCE.search(text)
        if found:
            number = float(found.group(1) or found.group(2))
            return text[: found.start()], f"{number:g} degC"
    for pattern in _BASIS:
        found = pattern.search(text)
        if found:
            return text[: found.start()] + text[found.end() :], found.group(1).upper()
    return text, ""


@functools.lru_cache(maxsize=4096)
def parse_unit(text: str) -> Unit:
    """Read a unit as people write it.

    Case, blanks, brackets, degree and micro signs (also damaged ones), ``per``, negative powers and American
    or British spelling do not matter.

    Parameters
    ----------
    text : str
        E.g. ``"Feet"``, ``"µg/L"``, ``"° C"``, ``"mg/L as N"``, ``"uS/cm@25 degC"``, ``"umol m-2 s-1"``.

    Returns
    -------
    Unit
        The unit, with its ``basis`` when the text names one.

    Raises
    ------
    UnitError
        The text is empty or names no unit known here.

    Examples
    --------
    >>> parse_unit("Meters").symbol, parse_unit("Âµg/L").symbol, parse_unit("deg. F").symbol
    ('m', 'ug/L', 'degF')
    >>> parse_unit("mg/L as N").basis
    'N'
    """
    if not isinstance(text, str) or not text.strip():
        raise UnitError("no unit given", expected="a unit such as m, ft, degC, NTU or ug/L")
    rest, basis = _take_basis(_tidy(text))
    key = re.sub(r"\s+", "", rest).strip("_-,;:")
    unit = _BY_NAME.get(key) or _BY_NAME.get(key.replace(".", ""))
    if unit is None:
        raise UnitError(
            "unknown unit",
            got=text,
            expected="one of " + ", ".join(_UNITS),
            fix="Correct the unit in the file, or name the unit of that column in the recipe",
        )
    return replace(unit, basis=basis) if basis else unit


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


def _number_like(values: Any) -> Any:
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
    values = _number_like(values)
    if source.symbol == target.symbol:
        return values
    ratio = source.ratio / target.ratio
    return (values + source.shift) * ratio.numerator / ratio.denominator - target.shift


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
    values = _number_like(values)
    if source.symbol == target.symbol:
        return values
    ratio = source.ratio / target.ratio
    return values * ratio.numerator / ratio.denominator


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


_NUMBER = re.compile(r"^\s*([+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*$", re.DOTALL)
_FEET_INCHES = re.compile(
    r"^\s*(\d+)\s*(?:'|ft\.?|feet|foot)\s*(\d+(?:\.\d+)?)\s*(?:\"|''|in\.?|inches|inch)?\s*$", re.I
)


def split_value_unit(text: str, *, decimal: Literal[".", ","] = ".") -> tuple[float, str]:
    r"""Split a number from the unit written behind it.

    Parameters
    ----------
    text : str
        E.g. ``"12.5 ft"``, ``"1m"``, ``"20.5°C"``, ``"5' 6\""`` (feet and inches) or a bare number.
    decimal : {".", ","}
        Decimal sign of the file.

    Returns
    -------
    value : float
        The number.
    unit : str
        What stands behind it, unparsed; empty when nothing does.

    Raises
    ------
    UnitError
        The text does not begin with a number. Qualifiers (``<``, ``>``) must be taken off before.

    Examples
    --------
    >>> split_value_unit("12.5 ft"), split_value_unit("1m"), split_value_unit("7")
    ((12.5, 'ft'), (1.0, 'm'), (7.0, ''))
    """
    tidy = text
    for bad, good in (("\u2212", "-"), ("\u2032", "'"), ("\u2019", "'"), ("\u2033", '"'), ("\u201d", '"')):
        tidy = tidy.replace(bad, good)
    if decimal == ",":
        tidy = re.sub(r"(?<=\d),(?=\d)", ".", tidy, count=1)
    both = _FEET_INCHES.match(tidy)
    if both:
        return float(both.group(1)) + float(both.group(2)) / 12.0, "ft"
    found = _NUMBER.match(tidy)
    if not found or found.group(2)[:1] in {",", "."}:
        raise UnitError(
            "not a number with a unit",
            got=text,
            expected='text such as "12.5 ft"' + (" with a decimal comma" if decimal == "," else ""),
        )
    return float(found.group(1)), found.group(2)


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
    return _number_like(values) if target == unit else convert(values, unit, target)


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
    return _number_like(values) if target == unit else convert_difference(values, unit, target)


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
        Digits after the point; by default those of the shown unit.

    Returns
    -------
    str
        Number, blank, unit, with ``°C``, ``°F`` and ``µ`` as print writes them.

    Examples
    --------
    >>> format_value(1.6, "m"), format_value(1.6, "m", "us"), format_value(20, "degC", "us")
    ('1.6 m', '5.2 ft', '68.0 °F')
    """
    if value is None or not math.isfinite(value):
        return "no value"
    shown = _shown(unit, system)
    digits = shown.decimals if decimals is None else decimals
    number = f"{float(to_display(float(value), unit, system)):.{digits}f}"
    symbol = shown.unit.replace("deg", "°")
    symbol = re.sub(r"^u(?=[gSm])", "µ", symbol).replace("m2", "m²")
    return number if symbol == "1" else f"{number} {symbol}"
