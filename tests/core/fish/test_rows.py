"""Row checks: nothing lost, nothing passed over in silence."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fathomlight.errors import ArgumentError
from fathomlight.fish import check_catches, check_fish, check_surveys
from fathomlight.model import CATCH_COLUMNS, FISH_COLUMNS, REFUSED_COLUMNS, SURVEY_COLUMNS

GOOD = {
    "survey": "s1",
    "water": "Mirror",
    "station": "",
    "gear": "Beach seine",
    "start": "2024-07-01 21:30",
    "end": "",
    "effort": "2",
    "effort_unit": "hauls",
    "note": "",
}


def table(*changes):
    return pd.DataFrame([{**GOOD, **change} for change in changes])


def test_a_good_survey_is_taken_typed_and_canonical():
    result = check_surveys(
        table({}, {"survey": "s2", "gear": "boat electrofishing", "effort": "30", "effort_unit": "min"})
    )
    assert result.refused.empty
    assert {k: str(v) for k, v in result.accepted.dtypes.items()} == dict(SURVEY_COLUMNS)
    assert result.accepted["gear"].tolist() == ["seine", "boat electrofishing"]
    assert result.accepted["effort"].tolist() == [2.0, 0.5]
    assert result.accepted["effort_unit"].tolist() == ["haul", "hour"]
    assert result.accepted["start"].iloc[0] == pd.Timestamp("2024-07-01 21:30")
    assert list(result.refused.columns) == list(REFUSED_COLUMNS)


def test_unknown_effort_is_nan_and_said_never_zero():
    result = check_surveys(table({"effort": ""}, {"survey": "s2", "effort": "NA", "effort_unit": ""}))
    assert result.refused.empty
    assert result.accepted["effort"].isna().all()
    assert result.doubts["reason"].str.contains("effort unknown").sum() == 2


@pytest.mark.parametrize(
    ("change", "column", "words"),
    [
        ({"survey": " "}, "survey", "empty"),
        ({"water": ""}, "water", "empty"),
        ({"gear": "NA"}, "gear", "empty"),
        ({"start": ""}, "start", "empty"),
        ({"start": "soon"}, "start", "not a date"),
        ({"start": "2024-02-30"}, "start", "not a date"),
        ({"end": "2024-06-30"}, "end", "ends before"),
        ({"effort": "0"}, "effort", "above zero"),
        ({"effort": "-99"}, "effort", "above zero"),
        ({"effort": "two"}, "effort", "not a number"),
        ({"effort": "inf"}, "effort", "not a number"),
        ({"effort_unit": ""}, "effort_unit", "without a unit"),
        ({"effort_unit": "fortnights"}, "effort_unit", "unknown unit"),
        ({"water": "Nowhere"}, "water", "not known"),
        ({"start": "2031-01-01"}, "start", "future"),
    ],
)
def test_each_fault_is_refused_with_place_reason_and_remedy(change, column, words):
    result = check_surveys(
        table({"survey": "ok"}, change), file="trip.csv", waters={"Mirror"}, latest=pd.Timestamp("2030-01-01")
    )
    assert result.accepted["survey"].tolist() == ["ok"]
    fault = result.refused.iloc[0]
    assert (fault["file"], fault["line"], fault["column"]) == ("trip.csv", 3, column)
    assert words in fault["reason"]
    assert fault["remedy"]
    assert "Beach seine" in fault["row_text"] or change.get("gear")


def test_two_faults_two_lines_one_row():
    result = check_surveys(table({"effort": "0", "start": "soon"}))
    assert len(result.refused) == 2
    assert set(result.refused["line"]) == {2}


def test_the_same_survey_again_is_taken_once_a_different_one_is_refused():
    result = check_surveys(table({}, {}, {"effort": "3"}))
    assert len(result.accepted) == 1
    assert result.repeated == 1
    assert result.refused["line"].tolist() == [4]
    assert "other content" in result.refused["reason"].iloc[0]


def test_a_refused_row_neither_repeats_nor_is_repeated():
    result = check_surveys(table({"effort": "two"}, {"effort": ""}, {"effort": "4"}, {"effort": "4"}))
    assert result.accepted["effort"].isna().tolist() == [True]
    assert result.repeated == 0
    assert result.refused["line"].tolist() == [2, 4, 5]
    rows = check_catches(
        fish_catch(("s", "perch", "-9", "", ""), ("s", "perch", "0", "", ""), ("s", "perch", "1e20", "", ""))
    )
    assert rows.accepted["count"].tolist() == [0]
    assert rows.refused["line"].tolist() == [2, 4]


def test_odd_units_for_a_gear_are_doubted_not_refused():
    result = check_surveys(table({"effort_unit": "km"}))
    assert len(result.accepted) == 1
    assert "unusual for seine" in result.doubts["reason"].iloc[0]


def test_times_with_a_zone_and_missing_columns_are_told_to_the_caller():
    zoned = table({}).assign(start=pd.to_datetime(["2024-07-01"], utc=True))
    with pytest.raises(ArgumentError, match="time zone"):
        check_surveys(zoned)
    with pytest.raises(ArgumentError, match="gear"):
        check_surveys(table({}).drop(columns="gear"))
    with pytest.raises(ArgumentError, match="lines"):
        check_surveys(table({}), lines=[1, 2])


def fish_catch(*rows):
    return pd.DataFrame(rows, columns=["survey", "species", "count", "pass_number", "mesh_mm"])


def test_catches():
    frame = fish_catch(
        ("s1", "Sander vitreus", "4", "", ""),
        ("s1", "walleye", "4", "1", ""),  # the same again
        ("s1", "walleye", "5", "1", ""),  # which is right?
        ("s1", "walleye", "5", "2", ""),
        ("s9", "walleye", "5", "1", ""),
        ("s1", "", "5", "1", ""),
        ("s1", "perch", "-9", "1", ""),
        ("s1", "perch", "2.5", "1", ""),
        ("s1", "perch", "", "1", ""),
        ("s1", "perch", "1", "0", ""),
        ("s1", "perch", "1", "1", "-38"),
        ("s1", "perch", "0", "1", "38"),
    )
    result = check_catches(frame, surveys={"s1"})
    assert {k: str(v) for k, v in result.accepted.dtypes.items()} == dict(CATCH_COLUMNS)
    assert result.accepted[["species", "count", "pass_number"]].to_numpy().tolist() == [
        ["walleye", 4, 1],
        ["walleye", 5, 2],
        ["perch", 0, 1],
    ]
    assert result.repeated == 1
    assert result.refused["line"].tolist() == [4, 6, 7, 8, 9, 10, 11, 12]
    assert len(result.accepted) + result.repeated + result.refused["line"].nunique() == len(frame)


def test_fish():
    columns = ["survey", "species", "length_mm", "weight_g", "age_years", "pass_number", "mesh_mm"]
    rows = [
        ("s1", "walleye", "400", "663", "4", "1", ""),
        ("s1", "walleye", "400", "663", "4", "1", ""),  # a twin is a second fish
        ("s1", "walleye", "40", "663", "", "", ""),
        ("s1", "walleye", "400", "66", "", "", ""),  # a tenth of the weight it should have
        ("s1", "walleye", "1500", "", "", "", ""),
        ("s1", "walleye", "24", "", "", "", ""),  # cm or inches, most likely
        ("s1", "walleye", "0", "5", "", "", ""),
        ("s1", "walleye", "", "", "", "", ""),
        ("s1", "walleye", "300", "", "-1", "", ""),
        ("s1", "walleye", "", "", "3", "", ""),
    ]
    result = check_fish(pd.DataFrame(rows, columns=columns))
    assert {k: str(v) for k, v in result.accepted.dtypes.items()} == dict(FISH_COLUMNS)
    assert result.refused["line"].tolist() == [8, 9, 10]
    assert len(result.accepted) == 7
    assert result.repeated == 0
    assert result.doubts["line"].tolist() == [5, 6, 7]


cells = st.one_of(st.text(max_size=8), st.floats(), st.integers(-(10**20), 10**20), st.none(), st.booleans())


@settings(max_examples=60)
@given(st.lists(st.tuples(*[cells] * 5), max_size=8))
def test_any_rubbish_is_accounted_for(rows):
    frame = fish_catch(*rows)
    result = check_catches(frame)
    assert len(result.accepted) + result.repeated + result.refused["line"].nunique() == len(frame)
    assert (result.accepted["count"] >= 0).all()


@settings(max_examples=60)
@given(st.lists(st.tuples(*[cells] * 9), max_size=6))
def test_any_rubbish_survey_is_accounted_for(rows):
    frame = pd.DataFrame(rows, columns=list(SURVEY_COLUMNS))
    result = check_surveys(frame.astype(object))
    assert len(result.accepted) + result.repeated + result.refused["line"].nunique() == len(frame)
    effort = result.accepted["effort"].to_numpy()
    assert np.all(np.isnan(effort) | (effort > 0))
    assert not any(math.isinf(value) for value in effort)
