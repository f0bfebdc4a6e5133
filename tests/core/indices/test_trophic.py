"""Trophic indices against their published tables, and the properties their authors state."""

import math
import runpy
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from hypothesis import given
from hypothesis import strategies as st

from fathomlight.errors import ArgumentError, OutOfRangeWarning
from fathomlight.indices.trophic import (
    CARLSON_BANDS,
    CLASS_TABLES,
    LEVEL_LIMITS,
    NURNBERG_CLASSES,
    ClassLimits,
    ClassTable,
    carlson_band,
    carlson_class,
    carlson_deviations,
    national_survey_class,
    nurnberg_class,
    oecd_class,
    trophic_level,
    tsi_chlorophyll,
    tsi_nitrogen,
    tsi_phosphorus,
    tsi_secchi,
)
from fathomlight.indices.words import CLARITY_CAUTION

T = runpy.run_path(str(Path(__file__).parents[2] / "reference" / "index_tables.py"))
FORMS = [
    (tsi_secchi, T["TSI_SECCHI"]),
    (tsi_chlorophyll, T["TSI_CHLOROPHYLL"]),
    (tsi_phosphorus, T["TSI_PHOSPHORUS"]),
]
positive = st.floats(1e-3, 1e4)


@pytest.mark.parametrize(("index", "rows"), FORMS)
def test_both_forms_give_their_published_values(index, rows):
    for value, simplified, original in rows:
        assert index(value) == pytest.approx(simplified, abs=6e-4)
        assert index(value, form="simplified") == index(value)
        assert index(value, form="original") == pytest.approx(original, abs=6e-4)
        assert abs(index(value) - index(value, form="original")) < 0.05


def test_chlorophyll_values_printed_elsewhere():
    for value, answer in T["TSI_CHLOROPHYLL_PRINTED"]:
        assert tsi_chlorophyll(value, form="original") == pytest.approx(answer, abs=1e-6)


def test_carlsons_table_row_by_row():
    for tsi, disc, tp, chl_printed, tp_inverse, chl_inverse in T["CARLSON_TABLE"]:
        assert tsi_secchi(disc, form="original") == pytest.approx(tsi, abs=1e-9)  # exact by definition
        assert tsi_phosphorus(tp, form="original") == pytest.approx(tsi, abs=1e-9)
        assert tsi_phosphorus(tp_inverse) == pytest.approx(tsi, abs=0.02)
        assert tsi_chlorophyll(chl_inverse) == pytest.approx(tsi, abs=0.15)
        if tsi not in (
            0,
            50,
        ):  # printed chlorophyll (from memory) is rounded; at 50 it contradicts the equation
            assert tsi_chlorophyll(chl_printed) == pytest.approx(tsi, abs=0.2)


def test_the_equation_is_followed_where_the_printed_table_contradicts_it():
    assert tsi_chlorophyll(6.4) == pytest.approx(48.8, abs=0.05)
    assert tsi_chlorophyll(7.225) == pytest.approx(50.0, abs=0.01)
    # a reprinted four-class table sets 20 ug/L at index 50; by the equation 20 ug/L is eutrophic, index 60
    assert carlson_class(tsi_chlorophyll(15.0)) == "eutrophic"


def test_nitrogen():
    for value, answer in T["TSI_NITROGEN"]:
        assert tsi_nitrogen(value) == pytest.approx(answer, abs=6e-4)
    with pytest.warns(OutOfRangeWarning, match="ug/L"):
        tsi_nitrogen(400.0)


@given(positive)
def test_halving_the_disc_depth_adds_ten(disc):
    assert tsi_secchi(disc / 2, form="original") - tsi_secchi(disc, form="original") == pytest.approx(10)
    assert tsi_secchi(disc / 2) - tsi_secchi(disc) == pytest.approx(10, abs=0.02)


@given(positive)
def test_doubling_phosphorus_adds_ten_and_chlorophyll_doubles_about_every_seven(value):
    assert tsi_phosphorus(2 * value, form="original") - tsi_phosphorus(
        value, form="original"
    ) == pytest.approx(10)
    assert tsi_chlorophyll(2 * value) - tsi_chlorophyll(value) == pytest.approx(6.8, abs=0.01)


@given(positive, positive)
def test_clearer_never_scores_higher(a, b):
    low, high = sorted((a, b))
    assert tsi_secchi(high) <= tsi_secchi(low)
    assert tsi_chlorophyll(low) <= tsi_chlorophyll(high)
    assert tsi_phosphorus(low) <= tsi_phosphorus(high)


def test_no_clipping():
    assert tsi_secchi(100.0) < 0 or tsi_secchi(100.0) == pytest.approx(-6.36, abs=0.01)
    assert tsi_secchi(0.01) > 100


@pytest.mark.parametrize(
    ("index", "name"),
    [
        (tsi_secchi, "secchi_m"),
        (tsi_chlorophyll, "chlorophyll_ug_l"),
        (tsi_phosphorus, "tp_ug_l"),
        (tsi_nitrogen, "tn_mg_l"),
    ],
)
@pytest.mark.parametrize("bad", [0.0, -1.0, math.inf, [1.0, -2.0]])
def test_the_impossible_names_its_argument(index, name, bad):
    with pytest.raises(ArgumentError, match=name) as caught:
        index(bad)
    assert caught.value.argument == name
    assert isinstance(caught.value, ValueError)


def test_words_instead_of_numbers_are_refused():
    with pytest.raises(ArgumentError, match="secchi_m"):
        tsi_secchi("deep")
    with pytest.raises(ArgumentError, match="form"):
        tsi_secchi(1.0, form="new")


def test_kinds_in_and_out():
    assert isinstance(tsi_secchi(1), float)
    assert math.isnan(tsi_secchi(math.nan))
    assert math.isnan(tsi_secchi(None))
    array = tsi_secchi([[1.0, np.nan]])
    assert array.shape == (1, 2)
    assert np.isnan(array[0, 1])
    series = tsi_secchi(pd.Series([1.0, 2.0], index=["a", "b"]))
    assert list(series.index) == ["a", "b"]
    cube = tsi_secchi(xr.DataArray([1.0, np.nan], dims="time", coords={"time": [0, 1]}, attrs={"units": "m"}))
    assert cube.dims == ("time",)
    assert cube.attrs["units"] == "1"
    assert float(cube[0]) == 60.0
    classes = carlson_class(xr.DataArray([35.0, np.nan], dims="time"))
    assert classes.values[0] == "oligotrophic"
    assert pd.isna(classes.values[1])  # xarray keeps missing words as NaN
    assert tsi_secchi(pd.Series([1, None], dtype="Float64")).isna().tolist() == [False, True]


def test_dask_arrays_stay_lazy():
    dask = pytest.importorskip("dask.array")
    cube = xr.DataArray(dask.from_array(np.array([1.0, 2.0]), chunks=1), dims="time")
    lazy = tsi_secchi(cube)
    assert lazy.chunks is not None
    assert lazy.compute().values == pytest.approx([60.0, 50.012], abs=1e-3)


# --- classes ----------------------------------------------------------------------------------------------


def just(value, up):
    return float(np.nextafter(value, np.inf if up else 0.0))


@pytest.mark.parametrize("column", range(5))
def test_oecd_rows(column):
    variable, statistic = list(T["OECD_LIMITS"])[column]
    for name, inside in T["OECD_INSIDE"].items():
        assert oecd_class(inside[column], variable, statistic=statistic) == name


@pytest.mark.parametrize(("key", "limits"), T["OECD_LIMITS"].items())
def test_oecd_edges_go_to_the_clearer_class(key, limits):
    variable, statistic = key
    names = list(T["OECD_INSIDE"])
    for i, limit in enumerate(limits):
        falling = variable == "secchi"
        assert oecd_class(limit, variable, statistic=statistic) == names[i]
        assert oecd_class(just(limit, not falling), variable, statistic=statistic) == names[i + 1]
        assert oecd_class(just(limit, falling), variable, statistic=statistic) == names[i]


def test_oecd_refusals_and_gaps():
    assert oecd_class(math.nan, "secchi") is None
    assert oecd_class([math.nan, 20.0], "total_phosphorus").tolist() == [None, "mesotrophic"]
    with pytest.raises(ArgumentError, match="variable"):
        oecd_class(1.0, "total_nitrogen")
    with pytest.raises(ArgumentError, match="statistic"):
        oecd_class(1.0, "total_phosphorus", statistic="min")
    with pytest.raises(ArgumentError, match="greater than zero"):
        oecd_class(0.0, "secchi")


FOUR = ["oligotrophic", "mesotrophic", "eutrophic", "hypereutrophic"]


@pytest.mark.parametrize(("variable", "limits"), T["NATIONAL_SURVEY_LIMITS"].items())
def test_national_survey_edges(variable, limits):
    """Chlorophyll, TP and TN as the source writes (<=, >); the disc: >4, 4-2.1, 2.1-0.7, <0.7 (from
    memory)."""
    for i, limit in enumerate(limits):
        on = national_survey_class(limit, variable)
        if variable == "secchi":
            assert on == {4: "mesotrophic", 2.1: "mesotrophic", 0.7: "eutrophic"}[limit]
            assert national_survey_class(just(limit, True), variable) == FOUR[i]
            assert national_survey_class(just(limit, False), variable) == FOUR[i + 1]
        else:
            assert on == FOUR[i]
            assert national_survey_class(just(limit, True), variable) == FOUR[i + 1]


@pytest.mark.parametrize(("variable", "limits"), T["NURNBERG_LIMITS"].items())
def test_nurnberg_limits_from_memory(variable, limits):
    """Limits from memory: a value well inside each class, and the table says that it is unverified."""
    inside = [limits[0] * 0.5, (limits[0] + limits[1]) / 2, (limits[1] + limits[2]) / 2, limits[2] * 2]
    if variable == "secchi":
        inside = [limits[0] * 2, (limits[0] + limits[1]) / 2, (limits[1] + limits[2]) / 2, limits[2] * 0.5]
    assert [nurnberg_class(v, variable) for v in inside] == FOUR
    assert nurnberg_class(limits[0], variable) == "oligotrophic"
    assert NURNBERG_CLASSES.verified is False


def test_carlson_edges():
    assert [carlson_class(v) for v in (40, 50, 70)] == FOUR[:3]
    assert [carlson_class(just(v, True)) for v in (40, 50, 70)] == FOUR[1:]
    assert carlson_class(-5.0) == "oligotrophic"
    assert carlson_class(math.nan) is None


def test_carlson_bands():
    """Carlson & Simpson 1996: ``<30`` and ``>80`` do not hold their own limit; shared limits go to the
    clearer row."""
    assert carlson_band(29.9) is CARLSON_BANDS[0]
    assert carlson_band(30.0) is CARLSON_BANDS[1]
    for i, edge in enumerate((40, 50, 60, 70, 80), start=1):
        assert carlson_band(edge) is CARLSON_BANDS[i]
        assert carlson_band(just(edge, True)) is CARLSON_BANDS[i + 1]
    assert carlson_band(math.nan) is None
    # the ranges of disc and phosphorus in each row are the equation's, to the rounding of the table
    for band in CARLSON_BANDS[1:-1]:
        assert tsi_secchi(band.secchi_m[0]) == pytest.approx(band.tsi[0], abs=0.05)
        assert tsi_phosphorus(band.tp_ug_l[1]) == pytest.approx(band.tsi[1], abs=0.05)
        assert tsi_chlorophyll(band.chlorophyll_ug_l[1]) == pytest.approx(band.tsi[1], abs=0.15)
        assert band.name == carlson_class(sum(band.tsi) / 2)


def test_a_states_own_limits_fit_the_same_table():
    """Connecticut Water Quality Standards, Sec. 22a-426-6: total phosphorus 0-10, 10-30, 30-50, 50+ ug/L."""
    limits = ClassLimits("ug/L", T["STATE_RULE_TP"], ("clearer",) * 3)
    table = ClassTable(
        "state rule", "Sec. 22a-426-6", (*FOUR[:3], "highly eutrophic"), {"total_phosphorus": limits}
    )
    values = [5.0, 10.0, 20.0, 40.0, 60.0]
    assert table.classify(values, "total_phosphorus").tolist() == [
        "oligotrophic", "oligotrophic", "mesotrophic", "eutrophic", "highly eutrophic",
    ]  # fmt: skip


def test_every_table_says_its_source_and_its_edge_rule():
    for table in CLASS_TABLES.values():
        assert table.source
        assert table.edge_rule
        for limits in table.variables.values():
            assert len(limits.limits) == len(table.classes) - 1
            steps = np.diff(limits.limits)
            assert (steps < 0).all() if limits.falling else (steps > 0).all()


# --- trophic level ----------------------------------------------------------------------------------------


def test_trophic_level_values():
    for (chl, tp, tn, disc), answers in T["TROPHIC_LEVEL"]:
        inputs = {"chlorophyll_ug_l": chl, "tp_ug_l": tp, "tn_mg_l": tn / 1000, "secchi_m": disc}
        original, revised = trophic_level(**inputs), trophic_level(**inputs, secchi_equation="revised")
        got = (original.tlc, original.tlp, original.tln, original.tls, revised.tls)
        assert got == pytest.approx(answers, abs=6e-4)


def test_trophic_level_combined():
    inputs = {"chlorophyll_ug_l": 10, "tp_ug_l": 20, "tn_mg_l": 0.3, "secchi_m": 3}
    original, revised = trophic_level(**inputs), trophic_level(**inputs, secchi_equation="revised")
    assert original.tli4 == pytest.approx(4.141, abs=6e-4)
    assert revised.tli4 == pytest.approx(4.214, abs=6e-4)
    assert original.tli3 == revised.tli3 == pytest.approx(4.208, abs=6e-4)
    assert original.classes["tli4"] == "eutrophic"
    assert original.reading.startswith("On the trophic level scale the water is")
    assert original.caution == CLARITY_CAUTION


def test_each_disc_equation_makes_its_own_class_table():
    """Burns et al. 1999: limits are printed with two digits, hence the tolerance in level."""
    for i, (level, chl, tp, tn, disc_original, disc_revised) in enumerate(T["TROPHIC_LEVEL_LIMITS"]):
        assert trophic_level(chlorophyll_ug_l=chl).tlc == pytest.approx(level, abs=0.05)
        assert trophic_level(tp_ug_l=tp).tlp == pytest.approx(level, abs=0.03)
        assert trophic_level(tn_mg_l=tn / 1000).tln == pytest.approx(level, abs=0.01)
        assert trophic_level(secchi_m=disc_original).tls == pytest.approx(level, abs=0.12)
        revised = trophic_level(secchi_m=disc_revised, secchi_equation="revised").tls
        assert revised == pytest.approx(level, abs=0.12)
        assert LEVEL_LIMITS["secchi_m"]["original"][i] == disc_original
        assert LEVEL_LIMITS["secchi_m"]["revised"][i] == disc_revised
        assert LEVEL_LIMITS["chlorophyll_ug_l"]["both"][i] == chl
        assert LEVEL_LIMITS["tp_ug_l"]["both"][i] == tp
        assert LEVEL_LIMITS["tn_mg_l"]["both"][i] == pytest.approx(tn / 1000)


def test_a_missing_input_leaves_the_combined_level_open_and_is_named():
    part = trophic_level(chlorophyll_ug_l=[5.0, 5.0], secchi_m=[2.8, np.nan])
    assert np.isnan(part.tli4).all()
    assert np.isnan(part.tls[1])
    assert any("phosphorus, nitrogen" in note for note in part.notes)
    with pytest.raises(ArgumentError, match="at least one"):
        trophic_level()
    with pytest.raises(ArgumentError, match="40 m"):
        trophic_level(secchi_m=40.0)


def test_trophic_level_edges_go_to_the_clearer_class():
    table = CLASS_TABLES["trophic-level"]
    assert table.classify([1, 2, 3, 4, 5, 6, 6.5], "trophic_level").tolist() == list(table.classes)


# --- deviations -------------------------------------------------------------------------------------------


def test_deviations_of_the_worked_case():
    """Carlson 1991: disc 1 m, chlorophyll 10, phosphorus 100 ug/L."""
    result = carlson_deviations(secchi_m=1, chlorophyll_ug_l=10, tp_ug_l=100)
    assert result.tsi_secchi == pytest.approx(60.0)
    assert result.tsi_chlorophyll == pytest.approx(53.188, abs=6e-4)
    assert result.tsi_phosphorus == pytest.approx(70.557, abs=6e-4)
    assert (result.x, result.y) == pytest.approx((-6.81, -17.37), abs=0.01)
    assert result.pattern == "non-algal turbidity with surplus phosphorus"
    assert "never averaged" in " ".join(result.notes)


@pytest.mark.parametrize(
    ("disc", "chl", "tp", "pattern"),
    [
        (2.0, 7.3, 24.0, "agreement"),
        (6.0, 20.0, 48.0, "large particles"),
        (0.4, 20.0, 48.0, "non-algal turbidity"),
        (1.0, 20.0, 20.0, "phosphorus limitation"),
        (1.0, 20.0, 150.0, "surplus phosphorus"),
        (0.3, 7.3, 160.0, "non-algal turbidity with surplus phosphorus"),
        (6.0, 20.0, 20.0, "large particles with phosphorus limitation"),
        (math.nan, 20.0, 48.0, "agreement"),
        (1.0, math.nan, 48.0, "unknown"),
    ],
)
def test_patterns(disc, chl, tp, pattern):
    result = carlson_deviations(secchi_m=disc, chlorophyll_ug_l=chl, tp_ug_l=tp)
    assert result.pattern == pattern
    assert result.reading.endswith(".")


def test_clay_needs_disc_and_phosphorus_to_agree():
    """x < 0 and y < 0 with TSI(SD) near TSI(TP) is clay; with the two far apart it is two separate
    findings."""
    near = carlson_deviations(secchi_m=0.3, chlorophyll_ug_l=7.3, tp_ug_l=160.0)
    far = carlson_deviations(secchi_m=1.2, chlorophyll_ug_l=7.3, tp_ug_l=400.0)
    assert "carries the phosphorus" in near.reading
    assert far.pattern == "non-algal turbidity with surplus phosphorus"
    assert "carries the phosphorus" not in far.reading


def test_dead_band_is_a_setting():
    inputs = {"secchi_m": 1.0, "chlorophyll_ug_l": 15.0}
    assert carlson_deviations(**inputs).pattern == "agreement"
    assert carlson_deviations(**inputs, dead_band=1.0).pattern == "non-algal turbidity"
    with pytest.raises(ArgumentError, match="dead_band"):
        carlson_deviations(**inputs, dead_band=-1.0)
    with pytest.raises(ArgumentError, match="secchi_m"):
        carlson_deviations(chlorophyll_ug_l=15.0)


def test_deviations_through_the_years():
    result = carlson_deviations(secchi_m=[1.0, 2.0], chlorophyll_ug_l=[10.0, 7.3], tp_ug_l=[100.0, 24.0])
    assert result.x.shape == (2,)
    assert result.pattern.tolist() == ["non-algal turbidity with surplus phosphorus", "agreement"]
    assert len(result.reading) == 2
    assert result.to_dict()["pattern"][1] == "agreement"
