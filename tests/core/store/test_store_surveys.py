"""Fish surveys with the same batches, history and withdrawals as readings."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from fathomlight.errors import ArgumentError
from fathomlight.model import CATCH_COLUMNS, FISH_COLUMNS, SURVEY_COLUMNS
from fathomlight.store import BatchInfo


def surveys(**columns):
    table = pd.DataFrame(
        {
            "survey": ["N1", "N2", "S1"],
            "water": ["Loon Lake", "Loon Lake", "Otter Lake"],
            "station": ["", "", "Otter Point"],
            "gear": ["gill net", "gill net", "seine"],
            "start": pd.to_datetime(["2025-06-01T20:00", "2025-06-02T20:00", "2025-07-01T10:00"]).as_unit(
                "us"
            ),
            "end": pd.to_datetime(["2025-06-02T08:00", "2025-06-03T08:00", None]).as_unit("us"),
            "effort": [1.0, 2.0, np.nan],
            "effort_unit": ["net-night", "net-night", "m2"],
            "note": ["", "storm", ""],
        }
    ).assign(**columns)
    return table.astype(dict(SURVEY_COLUMNS))


def catches(rows=(("N1", "walleye", 3), ("N1", "yellow perch", 12), ("S1", "walleye", 0))):
    table = pd.DataFrame(rows, columns=["survey", "species", "count"])
    return table.assign(pass_number=1, mesh_mm=np.nan)[list(CATCH_COLUMNS)].astype(dict(CATCH_COLUMNS))


def fish(lengths=(400.0, 400.0, 512.0), survey="N1"):
    table = pd.DataFrame({"survey": survey, "species": "walleye", "length_mm": lengths, "weight_g": np.nan})
    return table.assign(age_years=np.nan, pass_number=1, mesh_mm=64.0)[list(FISH_COLUMNS)].astype(
        dict(FISH_COLUMNS)
    )


def counts(result):
    return (result.n_new, result.n_known, result.n_corrected, result.n_refused)


def test_what_goes_in_comes_out(store):
    result = store.load_surveys(surveys(), catches(), fish(), BatchInfo(file="net.csv", who="crew"))
    assert counts(result) == (9, 0, 0, 0)
    pd.testing.assert_frame_equal(store.surveys(), surveys())
    pd.testing.assert_frame_equal(store.catches(), catches())
    pd.testing.assert_frame_equal(store.fish(), fish())
    assert store.batches().loc[0, ["kind", "n_rows"]].tolist() == ["surveys", 9]
    assert store.check().ok


def test_the_same_again_is_known(store):
    store.load_surveys(surveys(), catches(), fish(), BatchInfo(file="a"))
    version = store.data_version()
    assert counts(store.load_surveys(surveys(), catches(), fish(), BatchInfo(file="b"))) == (0, 9, 0, 0)
    pd.testing.assert_frame_equal(store.fish(), fish())
    assert store.data_version() > version
    same = BatchInfo(file="a", file_hash="aa")
    store.load_surveys(surveys(), catches(), fish(), same)
    assert store.load_surveys(surveys(), catches(), fish(), same).skipped


def test_corrections_and_their_withdrawal(store):
    store.load_surveys(surveys(), catches(), None, BatchInfo(file="a", who="crew"))
    other = catches((("N1", "walleye", 4), ("N1", "yellow perch", 12)))
    result = store.load_surveys(
        surveys(effort=[1.0, 3.0, np.nan]), other, None, BatchInfo(file="b", who="office")
    )
    assert counts(result) == (0, 3, 2, 0)
    assert store.catches("N1", species="walleye")["count"].tolist() == [4]
    assert store.surveys()["effort"].tolist()[1] == 3.0
    change = store.withdraw(result.batch, "office", "wrong sheet")
    assert (change.n_gone, change.n_back, change.n_other_value) == (0, 0, 2)
    pd.testing.assert_frame_equal(store.surveys(), surveys())
    pd.testing.assert_frame_equal(store.catches(), catches())
    history = store.survey_history("N1").query("kind == 'catch'")
    assert [c["count"] for c in history["content"]] == [3, 12, 4]
    assert history["state"].tolist() == ["in force", "in force", "withdrawn"]
    assert history["brought_who"].tolist() == ["crew", "crew", "office"]


@pytest.mark.parametrize("there", [False, True])
def test_a_comparison_counts_what_the_load_then_counts(store, there):
    if there:
        store.load_surveys(surveys(), catches(), fish(), BatchInfo(file="a"))
    other = catches((("N1", "walleye", 4), ("N1", "yellow perch", 12), ("N9", "walleye", 1)))
    tables = (surveys(effort=[1.0, 3.0, np.nan]), other, fish((400.0, 400.0, 400.0)))
    version = store.data_version()
    dry = store.compare_surveys(*tables)
    assert store.data_version() == version
    expected = (1, 5, 2, 1) if there else (8, 0, 0, 1)  # a third fish of 400 mm is new; N9 is nobody's survey
    assert (dry.n_new, dry.n_known, dry.n_corrected, len(dry.refused)) == expected
    assert counts(store.load_surveys(*tables, BatchInfo(file="b"))) == expected
    assert (dry.refused["reason"].tolist()) == ["no survey 'N9' is known"]


def test_a_withdrawn_survey_hides_its_catches_which_come_back_with_it(store):
    store.load_surveys(surveys(), None, None, BatchInfo(file="surveys"))
    store.load_surveys(None, catches(), fish(), BatchInfo(file="catches"))
    store.withdraw(1, "", "")
    assert store.surveys().empty
    assert store.catches().empty
    assert store.fish().empty
    store.restore(1, "", "")
    pd.testing.assert_frame_equal(store.catches(), catches())
    pd.testing.assert_frame_equal(store.fish(), fish())


def test_fish_alike_are_counted_and_more_fish_are_added_with_a_note(store):
    store.load_surveys(surveys(), None, fish((400.0, 400.0)), BatchInfo(file="a"))
    result = store.load_surveys(None, None, fish((400.0, 400.0, 400.0)), BatchInfo(file="b"))
    assert counts(result) == (1, 2, 0, 0)
    assert store.fish()["length_mm"].tolist() == [400.0] * 3
    assert "had measured fish already" in result.notes[0]


def test_choices(store):
    store.load_surveys(surveys(), catches(), fish(), BatchInfo())
    assert store.surveys("Loon Lake")["survey"].tolist() == ["N1", "N2"]
    assert store.surveys(gear="seine")["survey"].tolist() == ["S1"]
    assert store.surveys(station="Otter Point")["survey"].tolist() == ["S1"]
    assert store.catches(water="Otter Lake")["count"].tolist() == [0]
    assert store.catches(species="yellow perch")["count"].tolist() == [12]
    assert store.fish(gear="seine").empty
    assert store.fish(survey=["N1", "N2"])["length_mm"].tolist() == [400.0, 400.0, 512.0]
    many = [f"none {i}" for i in range(600)]
    assert len(store.fish(survey=[*many, "N1"])) == 3


@pytest.mark.parametrize(
    ("table", "row", "column"),
    [
        ("surveys", {"survey": ""}, "survey"),
        ("surveys", {"water": "", "station": ""}, "water"),
        ("surveys", {"gear": " "}, "gear"),
        ("surveys", {"effort": 0.0}, "effort"),
        ("surveys", {"end": pd.Timestamp("2025-05-01")}, "end"),
        ("catches", {"survey": "N9"}, "survey"),
        ("catches", {"species": ""}, "species"),
        ("catches", {"count": -1}, "count"),
        ("catches", {"pass_number": 0}, "pass_number"),
        ("catches", {"mesh_mm": -5.0}, "mesh_mm"),
        ("fish", {"length_mm": 0.0}, "length_mm"),
        ("fish", {"weight_g": -1.0}, "weight_g"),
        ("fish", {"age_years": -1.0}, "age_years"),
    ],
)
def test_one_bad_row_is_refused_and_the_rest_is_kept(store, table, row, column):
    tables = {"surveys": surveys(), "catches": catches(), "fish": fish()}
    bad = tables[table].iloc[:1].assign(**row)
    if table == "surveys" and "survey" not in row:
        bad["survey"] = "X1"
    tables[table] = pd.concat([tables[table], bad], ignore_index=True)
    result = store.load_surveys(
        tables["surveys"], tables["catches"], tables["fish"], BatchInfo(file="net.csv")
    )
    assert counts(result) == (9, 0, 0, 1)
    refused = store.refused(result.batch).iloc[0]
    assert (refused["column"], refused["file"]) == (column, "net.csv")
    assert refused["reason"]
    assert refused["remedy"]


def test_a_second_count_is_refused_rather_than_added_or_chosen(store):
    twice = catches((("N1", "walleye", 3), ("N1", "walleye", 3)))
    result = store.load_surveys(surveys(), twice, None, BatchInfo())
    assert result.n_refused == 1
    assert store.catches()["count"].tolist() == [3]


def test_a_survey_told_twice(store):
    same = pd.concat([surveys(), surveys().iloc[:1]], ignore_index=True)
    assert counts(store.load_surveys(same, None, None, BatchInfo())) == (3, 1, 0, 0)
    other = pd.concat([surveys(), surveys(gear="seine").iloc[:1]], ignore_index=True)
    assert counts(store.load_surveys(other, None, None, BatchInfo())) == (0, 3, 0, 1)


def test_wrong_columns_are_an_error(store):
    with pytest.raises(ArgumentError, match="gear"):
        store.load_surveys(surveys().drop(columns="gear"), None, None, BatchInfo())
    with pytest.raises(ArgumentError, match="colour"):
        store.load_surveys(None, catches().assign(colour="green"), None, BatchInfo())
    assert store.batches().empty


def test_an_empty_store_has_typed_tables(store):
    for table, columns in (
        (store.surveys(), SURVEY_COLUMNS),
        (store.catches(), CATCH_COLUMNS),
        (store.fish(), FISH_COLUMNS),
    ):
        assert {n: str(d) for n, d in table.dtypes.items()} == dict(columns)
