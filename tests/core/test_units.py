"""Unit texts as they stand in real files, and conversions whose answers are exact by definition."""

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from hypothesis import given
from hypothesis import strategies as st

from fathomlight.errors import ArgumentError, UnitError
from fathomlight.model import Parameter
from fathomlight.units import (
    convert,
    convert_difference,
    display_units,
    format_value,
    parse_unit,
    round_turbidity,
    split_value_unit,
    to_canonical,
    to_display,
    to_display_difference,
)

SPELLINGS = {
    "m": ["m", "M", "Meters", "metres", " meter ", "[m]", "(m)", "m."],
    "ft": ["ft", "FT", "ft.", "feet", "Feet", "foot", "'"],
    "in": ["in", "inches", '"', "in."],
    "cm": ["cm", "CM", "centimetres"],
    "yd": ["yd", "yards"],
    "degC": [
        "degC", "deg C", "deg. C", "C", "°C", "° C", "ºC", "\u02daC", "℃", "Celsius", "degrees C",
        "Degrees Celsius",
        "Â°C", "ÂºC", "Ã‚Â°C", "Ëš C", "\ufffdC", "ï¿½C", "?C", "oC",
    ],
    "degF": ["degF", "°F", "F", "Â°F", "deg F", "Fahrenheit", "\ufffdF", "℉"],
    "K": ["K", "Kelvin"],
    "NTU": ["NTU", "ntu", "NTUs"],
    "FNU": ["FNU", "fnu"],
    "JTU": ["JTU"],
    "ug/L": [
        "ug/L", "UG/L", "µg/L", "μg/l", "Âµg/L", "Î¼g/L", "\ufffdg/L", "mg/m3", "mg/m³", "mg/m^3",
        "mg m-3", "ppb",
        "µg L⁻¹", "ug L-1", "ug.L-1", "micrograms per liter", "ug / L", "mcg/L",
    ],
    "mg/L": ["mg/L", "MG/L", "mg/l", "mg L-1", "mg·L-1", "mg per litre", "milligrams/liter", "ppm", "g/m3"],
    "uS/cm": ["uS/cm", "µS/cm", "US/CM", "umho/cm", "uS cm-1", "uS/cm@25 degC", "uS/cm @25C",
        "µS/cm at 25 °C"],
    "umol/m2/s": ["umol/m2/s", "µmol m-2 s-1", "µmol/m²/s", "uE/m2/s", "umol photons m-2 s-1"],
    "%": ["%", "percent", "% sat"],
    "h": ["h", "hours", "hr"],
    "km": ["km"],
    "mile": ["mile", "mi", "Miles"],
    "m2": ["m2", "m²", "m^2", "sq m", "square metres", "Â²".join(["m", ""])],
    "acre": ["acres", "ac"],
    "ha": ["ha", "hectares"],
    "g": ["g", "grams"],
    "lb": ["lb", "lbs"],
    "lux": ["lux", "lx"],
}  # fmt: skip


@pytest.mark.parametrize(("symbol", "text"), [(s, t) for s, texts in SPELLINGS.items() for t in texts])
def test_spellings(symbol, text):
    assert parse_unit(text).symbol == symbol


@pytest.mark.parametrize(
    ("text", "basis"),
    [
        ("mg/L as N", "N"), ("mg/L N", "N"), ("mg N/L", "N"), ("mg-N/L", "N"), ("ug/L as P", "P"),
        ("ugP/L", "P"),
        ("mg/L as PO4", "PO4"), ("uS/cm@25 degC", "25 degC"), ("uS/cm @ 20 C", "20 degC"),
        ("mg/L", ""), ("mg/m3", ""),
    ],
)  # fmt: skip
def test_basis(text, basis):
    assert parse_unit(text).basis == basis


@pytest.mark.parametrize(
    "text", ["", "  ", "fathom", "furlong", "ppt", "NTU/FNU", "-", "?m", "bananas per hour"]
)
def test_unknown_unit_is_said(text):
    with pytest.raises(UnitError) as caught:
        parse_unit(text)
    assert "unit" in str(caught.value)


@pytest.mark.parametrize(
    ("value", "source", "target", "answer"),
    [
        # exact by definition (international yard and pound, 1959; degF defined from degC)
        (10, "ft", "m", 3.048), (1, "in", "cm", 2.54), (1, "yd", "ft", 3.0), (1, "mile", "km", 1.609344),
        (250, "cm", "m", 2.5), (57, "cm", "m", 0.57), (1, "acre", "m2", 4046.8564224),
        (1, "lb", "g", 453.59237),
        (68, "degF", "degC", 20.0), (39.2, "degF", "degC", 4.0), (-40, "degF", "degC", -40.0),
        (32, "degF", "degC", 0.0),
        (212, "degF", "degC", 100.0), (273.15, "K", "degC", 0.0), (20, "degC", "degF", 68.0),
        (0, "K", "degC", -273.15),
        (0.012, "mg/L", "ug/L", 12.0), (12, "ppb", "ug/L", 12.0), (5, "mg/m3", "ug/L", 5.0),
        (0.35, "mS/cm", "uS/cm", 350),
        (3.983035, "degC", "degF", 39.169463),
    ],
)  # fmt: skip
def test_conversions(value, source, target, answer):
    assert convert(value, source, target) == pytest.approx(answer, rel=1e-12, abs=1e-12)


def test_short_decimals_stay_short():
    assert convert(57, "cm", "m") == 0.57
    assert convert(12.5, "ft", "m") == 3.81


def test_difference_of_18_degf_is_10_degc():
    assert convert_difference(18, "degF", "degC") == 10.0
    assert to_display_difference(10.0, "degC", "us") == 18.0
    assert to_display_difference([1.0], "m", "us") == pytest.approx([1 / 0.3048])


OPTICS = ["NTU", "FNU", "JTU", "FTU", "FAU", "NTRU", "FNMU"]


@pytest.mark.parametrize(("a", "b"), [(a, b) for a in OPTICS for b in OPTICS if a != b])
def test_optics_never_convert(a, b):
    with pytest.raises(UnitError, match="different optics"):
        convert(1.0, a, b)
    with pytest.raises(UnitError, match="different optics"):
        convert_difference(1.0, a, b)


def test_different_kinds_never_convert():
    with pytest.raises(UnitError, match="degC cannot be turned into m"):
        convert(1.0, "degC", "m")


def test_to_canonical():
    secchi = Parameter("secchi", "Disc depth", "m")
    assert to_canonical(12.5, "Feet", secchi) == 3.81
    assert to_canonical(np.array([100.0, np.nan]), "cm", secchi) == pytest.approx([1.0, np.nan], nan_ok=True)
    ntu = Parameter("turbidity_ntu", "Turbidity", "NTU")
    with pytest.raises(UnitError, match="parameter turbidity_ntu") as caught:
        to_canonical(3.0, "FNU", ntu)
    assert "never converted" in str(caught.value)
    with pytest.raises(UnitError, match="no unit given"):
        to_canonical(3.0, "", secchi)
    nitrogen = Parameter("total_nitrogen", "Total nitrogen", "mg/L")
    assert to_canonical(400, "ug/L as N", nitrogen) == pytest.approx(0.4)
    with pytest.raises(UnitError, match="expressed as"):
        to_canonical(1.0, "mg/L as NO3", nitrogen)
    conductance = Parameter("specific_conductance", "Specific conductance", "uS/cm")
    assert to_canonical(350, "uS/cm@25 degC", conductance) == 350
    with pytest.raises(UnitError, match="expressed as"):
        to_canonical(350, "uS/cm@20 degC", conductance)


@pytest.mark.parametrize(
    ("text", "answer"),
    [
        ("12.5 ft", (12.5, "ft")), ("1m", (1.0, "m")), ("1 Meters", (1.0, "Meters")),
        ("20.5°C", (20.5, "°C")),
        ("-0.5 degC", (-0.5, "degC")), (".5", (0.5, "")), ("1e3 ug/L", (1000.0, "ug/L")),
        ("\u22123 C", (-3.0, "C")),
        ("5' 6\"", (5.5, "ft")), ("5 ft 6 in", (5.5, "ft")), ("12'", (12.0, "'")),
    ],
)  # fmt: skip
def test_split(text, answer):
    value, unit = split_value_unit(text)
    assert (value, unit) == answer
    if unit:
        parse_unit(unit)


def test_split_decimal_comma_and_refusals():
    assert split_value_unit("12,5 m", decimal=",") == (12.5, "m")
    for text in ["12,5 m", "<0.05 mg/L", "m", "", "n/a", "1.2.3"]:
        with pytest.raises(UnitError):
            split_value_unit(text)


def test_array_types_are_kept():
    series = pd.Series([10.0, np.nan], index=["a", "b"])
    assert isinstance(convert(series, "ft", "m"), pd.Series)
    cube = xr.DataArray([10.0], dims="time")
    assert convert(cube, "ft", "m").dims == ("time",)
    assert convert([10, 20], "ft", "m") == pytest.approx([3.048, 6.096])


def test_display():
    us, metric = display_units("us"), display_units("metric")
    assert (us["m"].unit, us["degC"].unit, us["cm"].unit) == ("ft", "degF", "in")
    assert us["NTU"].unit == "NTU"
    assert all(metric[u].unit == u and metric[u].factor == 1 and metric[u].offset == 0 for u in metric)
    assert us["degC"].factor == pytest.approx(1.8)
    assert us["degC"].offset == pytest.approx(32)
    assert to_display(3.048, "m", "us") == pytest.approx(10)
    assert to_display([1.0], "a unit of the future", "us") == [1.0]
    assert format_value(float("nan"), "m") == "no value"
    assert format_value(12.34, "ug/L") == "12.3 µg/L"
    assert format_value(4046.8564224, "m2", "us") == "1.0 acre"
    with pytest.raises(ArgumentError, match="system"):
        display_units("imperial")


@given(
    st.floats(-1e6, 1e6),
    st.sampled_from([("ft", "m"), ("degF", "degC"), ("K", "degF"), ("mg/L", "ug/L"), ("in", "cm")]),
)
def test_there_and_back(value, pair):
    a, b = pair
    assert convert(convert(value, a, b), b, a) == pytest.approx(value, rel=1e-12, abs=1e-9)


@given(st.floats(-1e4, 1e4), st.floats(-1e4, 1e4))
def test_difference_of_converted_is_converted_difference(a, b):
    both = convert(a, "degF", "degC") - convert(b, "degF", "degC")
    assert convert_difference(a - b, "degF", "degC") == pytest.approx(both, abs=1e-9)


@given(st.sampled_from(["m", "degC", "m2", "cm", "kg"]), st.floats(-1e4, 1e4))
def test_display_factor_says_the_same_as_display(unit, value):
    d = display_units("us")[unit]
    assert to_display(value, unit, "us") == pytest.approx(value * d.factor + d.offset, rel=1e-9, abs=1e-9)


def test_turbidity_is_reported_in_steps():
    """EPA Method 180.1, section 12; table from memory, hence a soft check of one value in each step."""
    given_and_reported = [
        (0.37, 0.35),
        (7.26, 7.3),
        (23.4, 23),
        (87, 85),
        (233, 230),
        (621, 600),
        (1449, 1400),
        (0.0, 0.0),
        (1.0, 1.0),
    ]
    for value, reported in given_and_reported:
        assert round_turbidity(value) == pytest.approx(reported, abs=1e-9)
    assert round_turbidity([7.26, np.nan]) == pytest.approx([7.3, np.nan], nan_ok=True)
    assert [format_value(v, "NTU") for v in (0.37, 7.26, 23.4)] == ["0.35 NTU", "7.3 NTU", "23 NTU"]
    assert format_value(23.4, "NTU", decimals=1) == "23.4 NTU"


@given(st.text(max_size=20))
def test_any_text_is_a_unit_or_a_unit_error(text):
    try:
        symbol = parse_unit(text).symbol
    except UnitError:
        return
    assert symbol


@given(st.text(max_size=20), st.sampled_from([".", ","]))
def test_any_text_splits_or_is_refused(text, decimal):
    try:
        value, unit = split_value_unit(text, decimal=decimal)
    except UnitError:
        return
    assert isinstance(value, float)
    assert isinstance(unit, str)


@given(
    st.floats(-1e6, 1e6), st.text("abcdefghijklmnopqrstuvwxyz/%", max_size=8).filter(lambda t: t[:1] != "e")
)
def test_split_gives_back_what_was_joined(value, unit):
    found = split_value_unit(f"{value!r} {unit}")
    assert found == (value, unit)


def test_small_integers_do_not_overflow():
    assert convert(np.array([100], dtype=np.int8), "ft", "m") == pytest.approx([30.48])
    assert convert_difference(np.array([100], dtype=np.int8), "ft", "m") == pytest.approx([30.48])
