"""The units Fathomlight knows, and how each of them is spelled."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction


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


# symbol, dimension, ratio, shift, spellings in lower case without blanks
_ROWS: tuple[tuple[str, str, Fraction, float, str], ...] = (
    ("m", "length", Fraction(1), 0, "m meter meters metre metres mtr mtrs"),
    ("cm", "length", Fraction(1, 100), 0, "cm cms centimeter centimeters centimetre centimetres"),
    ("mm", "length", Fraction(1, 1000), 0, "mm millimeter millimeters millimetre millimetres"),
    ("km", "length", Fraction(1000), 0, "km kilometer kilometers kilometre kilometres"),
    ("in", "length", Fraction(254, 10000), 0, "in in. inch inches \" ''"),
    ("ft", "length", Fraction(3048, 10000), 0, "ft ft. feet foot '"),
    ("yd", "length", Fraction(9144, 10000), 0, "yd yd. yds yard yards"),
    ("mile", "length", Fraction(1609344, 1000), 0, "mile miles mi mi."),
    (
        "m2",
        "area",
        Fraction(1),
        0,
        "m2 sqm sqmeter sqmeters squaremeter squaremeters squaremetre squaremetres",
    ),
    ("ha", "area", Fraction(10000), 0, "ha hectare hectares"),
    ("km2", "area", Fraction(1000000), 0, "km2 sqkm squarekilometers squarekilometres"),
    ("acre", "area", Fraction(40468564224, 10000000), 0, "acre acres ac"),
    ("ft2", "area", Fraction(9290304, 100000000), 0, "ft2 sqft squarefeet squarefoot"),
    (
        "degC",
        "temperature",
        Fraction(1),
        0.0,
        "degc c degreesc degreec celsius degcelsius degreescelsius centigrade",
    ),
    (
        "degF",
        "temperature",
        Fraction(5, 9),
        -32.0,
        "degf f degreesf degreef fahrenheit degfahrenheit degreesfahrenheit",
    ),
    ("K", "temperature", Fraction(1), -273.15, "k degk kelvin kelvins"),
    (
        "NTU",
        "turbidity in NTU",
        Fraction(1),
        0,
        "ntu ntus nephelometricturbidityunits nephelometricturbidityunit",
    ),
    (
        "FNU",
        "turbidity in FNU",
        Fraction(1),
        0,
        "fnu fnus formazinnephelometricunits formazinnephelometricunit",
    ),
    ("JTU", "turbidity in JTU", Fraction(1), 0, "jtu jtus jacksonturbidityunits"),
    ("FTU", "turbidity in FTU", Fraction(1), 0, "ftu ftus formazinturbidityunits"),
    ("FAU", "turbidity in FAU", Fraction(1), 0, "fau faus"),
    ("NTRU", "turbidity in NTRU", Fraction(1), 0, "ntru"),
    ("FNMU", "turbidity in FNMU", Fraction(1), 0, "fnmu"),
    ("ug/L", "mass concentration", Fraction(1), 0, "ug/l mcg/l mg/m3 ppb microgram/l micrograms/l ng/ml"),
    ("mg/L", "mass concentration", Fraction(1000), 0, "mg/l g/m3 ug/ml ppm milligram/l milligrams/l"),
    ("ng/L", "mass concentration", Fraction(1, 1000), 0, "ng/l ug/m3 nanograms/l"),
    ("g/L", "mass concentration", Fraction(1000000), 0, "g/l kg/m3 grams/l"),
    (
        "uS/cm",
        "conductance",
        Fraction(1),
        0,
        "us/cm umho/cm umhos/cm microsiemens/cm microsiemens/centimeter",
    ),
    ("mS/cm", "conductance", Fraction(1000), 0, "ms/cm mmho/cm mmhos/cm millisiemens/cm"),
    ("mS/m", "conductance", Fraction(10), 0, "ms/m"),
    ("S/m", "conductance", Fraction(10000), 0, "s/m"),
    (
        "umol/m2/s",
        "photon flux",
        Fraction(1),
        0,
        "umol/m2/s umol/s/m2 ue/m2/s umolphotons/m2/s umolphoton/m2/s",
    ),
    ("W/m2", "irradiance", Fraction(1), 0, "w/m2 watts/m2 watt/m2"),
    ("lux", "illuminance", Fraction(1), 0, "lux lx"),
    ("%", "share", Fraction(1), 0, "% percent pct %sat %saturation percentsaturation"),
    ("1", "share", Fraction(100), 0, "1 fraction"),
    ("1/m", "attenuation", Fraction(1), 0, "1/m /m"),
    ("s", "time", Fraction(1), 0, "s sec secs second seconds"),
    ("min", "time", Fraction(60), 0, "min mins minute minutes"),
    ("h", "time", Fraction(3600), 0, "h hr hrs hour hours"),
    ("d", "time", Fraction(86400), 0, "d day days"),
    ("g", "mass", Fraction(1), 0, "g gram grams gm gms"),
    ("kg", "mass", Fraction(1000), 0, "kg kgs kilogram kilograms"),
    ("mg", "mass", Fraction(1, 1000), 0, "mg milligram milligrams"),
    ("lb", "mass", Fraction(45359237, 100000), 0, "lb lbs lb. lbs. pound pounds"),
    ("oz", "mass", Fraction(45359237, 1600000), 0, "oz oz. ounce ounces"),
)

UNITS: Mapping[str, Unit] = {row[0]: Unit(row[0], row[1], row[2], float(row[3])) for row in _ROWS}
"""Every unit by its symbol."""

BY_SPELLING: Mapping[str, Unit] = {name: UNITS[row[0]] for row in _ROWS for name in row[4].split()}
"""Every unit by its spellings, in lower case and without blanks."""
