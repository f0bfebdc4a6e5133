"""Loading: what is new, known, corrected or refused. The answers can be counted on one's fingers."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from fathomlight.errors import ArgumentError, NotFoundError
from fathomlight.model import READING_COLUMNS, REFUSED_COLUMNS, empty_frame
from fathomlight.store import BatchInfo

FILE = BatchInfo(file="july.csv", file_hash="aa", recipe="plain", who="volunteer")


def counts(result):
    return (result.n_new, result.n_known, result.n_corrected, result.n_refused, result.n_empty)


def test_what_goes_in_comes_out(store, make):
    table = make(
        [1.5, 2.5, 3.5], qualifier=["=", "<", ">"], note=["", "haze", "disc on the bottom"], flag=[1, 2, 3]
    )
    result = store.load_readings(table, FILE)
    assert counts(result) == (3, 0, 0, 0, 0)
    read = store.readings()
    assert {name: str(dtype) for name, dtype in read.dtypes.items()} == dict(READING_COLUMNS)
    expected = table.assign(batch=result.batch)[list(READING_COLUMNS)].astype(dict(READING_COLUMNS))
    pd.testing.assert_frame_equal(read, expected)


def test_the_same_file_again_changes_nothing(store, make):
    first = store.load_readings(make([1.0, 2.0]), FILE)
    again = store.load_readings(make([1.0, 2.0]), FILE)
    assert again.skipped
    assert again.batch == first.batch
    assert counts(again) == (0, 2, 0, 0, 0)
    assert again.data_version == first.data_version == store.data_version()
    assert len(store.batches()) == 1
    assert "batch 1" in again.notes[0]


def test_the_same_rows_from_another_file_are_known(store, make):
    store.load_readings(make([1.0, 2.0]), FILE)
    before = store.readings()
    again = store.load_readings(make([1.0, 2.0, 3.0]), BatchInfo(file="august.csv", file_hash="bb"))
    assert counts(again) == (1, 2, 0, 0, 0)
    pd.testing.assert_frame_equal(store.readings().iloc[:2], before)


def test_a_changed_recipe_reads_the_same_file_anew(store, make):
    store.load_readings(make([3.28, 6.56]), FILE)
    feet = BatchInfo(file="july.csv", file_hash="aa", recipe="feet")
    assert counts(store.load_readings(make([1.0, 2.0]), feet)) == (0, 0, 2, 0, 0)
    assert store.readings()["value"].tolist() == [1.0, 2.0]


def test_an_unchanged_file_may_be_loaded_on_demand(store, make):
    store.load_readings(make([1.0]), FILE)
    store.load_readings(make([9.0]), BatchInfo(file="other.csv", file_hash="bb"))
    forced = BatchInfo(file="july.csv", file_hash="aa", recipe="plain", unchanged_file="load")
    assert counts(store.load_readings(make([1.0]), forced)) == (0, 0, 1, 0, 0)
    assert store.readings()["value"].tolist() == [1.0]


def test_another_value_is_a_correction_and_so_is_another_qualifier(store, make):
    store.load_readings(make([1.0, 2.0, 3.0]), FILE)
    result = store.load_readings(make([1.0, 2.1, 3.0], qualifier=["=", "=", ">"]), BatchInfo(file="b"))
    assert counts(result) == (0, 1, 2, 0, 0)
    read = store.readings()
    assert read["value"].tolist() == [1.0, 2.1, 3.0]
    assert read["qualifier"].tolist() == ["=", "=", ">"]
    assert read["batch"].tolist() == [1, 2, 2]


def test_rounding_noise_is_no_correction(store, make):
    store.load_readings(make([0.1 + 0.2]), FILE)
    assert counts(store.load_readings(make([0.3]), BatchInfo(file="b"))) == (0, 1, 0, 0, 0)


def test_minus_zero_and_rounding_noise_in_depth_are_one_place(store, make):
    store.load_readings(make([5.0, 6.0, 0.0], depth_m=[0.0, 0.1 + 0.2, 1.0], parameter="temperature"), FILE)
    again = make([5.0, 6.0, -0.0], depth_m=[-0.0, 0.3, 1.0], parameter="temperature")
    assert counts(store.load_readings(again, BatchInfo(file="b"))) == (0, 3, 0, 0, 0)
    assert not np.signbit(store.readings()[["depth_m", "value"]].to_numpy()).any()


def test_depth_replicate_station_parameter_and_time_tell_readings_apart(store, make):
    same = make([1.0]).loc[[0] * 6].reset_index(drop=True)
    same.loc[1, "depth_m"] = 0.5
    same.loc[2, "replicate"] = 2
    same.loc[3, "station"] = "Otter Point"
    same.loc[4, "parameter"] = "temperature"
    same.loc[5, "time"] += pd.Timedelta(1, "us")
    assert counts(store.load_readings(same, FILE)) == (6, 0, 0, 0, 0)


def test_repeats_within_one_file(store, make):
    table = pd.concat([make([1.0, 2.0, 3.0]), make([1.0, 2.5]), make([1.0, 2.0])], ignore_index=True)
    result = store.load_readings(table, FILE)
    # 1.0 three times: one new, two known; 2.0, 2.5, 2.0: the last is new, the others were overruled; 3.0 is
    # new
    assert counts(result) == (3, 2, 2, 0, 0)
    assert any("overruled" in note for note in result.notes)
    assert store.readings()["value"].tolist() == [1.0, 2.0, 3.0]
    history = store.history(station="Heron Bay", only_changed=True)
    assert history["value"].tolist() == [2.0, 2.5, 2.0]
    assert history["state"].tolist() == ["overruled", "overruled", "in force"]


def test_repeats_across_pieces_are_found_too(store, make):
    pieces = [make([1.0, 2.0]), make([1.0, 5.0])]
    assert counts(store.load_readings(iter(pieces), FILE)) == (2, 1, 1, 0, 0)
    assert store.readings()["value"].tolist() == [1.0, 5.0]


def test_a_row_that_comes_back_to_the_stored_value_is_known(store, make):
    store.load_readings(make([1.0]), FILE)
    twice = pd.concat([make([2.0]), make([1.0])], ignore_index=True)
    assert counts(store.load_readings(twice, BatchInfo(file="b"))) == (0, 1, 1, 0, 0)
    assert store.readings()["value"].tolist() == [1.0]
    store.withdraw(1, "", "")
    assert store.readings()["value"].tolist() == [1.0]  # batch 2 said so too
    store.withdraw(2, "", "")
    assert store.readings().empty


def test_rows_without_a_value_are_counted_not_stored(store, make):
    result = store.load_readings(make([1.0, np.nan, 3.0]), FILE)
    assert counts(result) == (2, 0, 0, 0, 1)
    assert result.n_rows == 3
    assert len(store.readings()) == 2


def test_bad_rows_are_refused_and_lose_no_good_one(store, make):
    table = make([1.0] * 8)
    table.loc[0, "station"] = " "
    table.loc[1, "time"] = pd.NaT
    table.loc[2, "depth_m"] = np.nan
    table.loc[3, "replicate"] = 0
    table.loc[4, "value"] = np.inf
    table.loc[5, "qualifier"] = "~"
    table.loc[6, "flag"] = 7
    result = store.load_readings(table.assign(line=range(2, 10)), FILE)
    assert counts(result) == (1, 0, 0, 7, 0)
    refused = store.refused(result.batch)
    assert list(refused.columns) == list(REFUSED_COLUMNS)
    assert sorted(refused["column"]) == sorted(
        ["station", "time", "depth_m", "replicate", "value", "qualifier", "flag"]
    )
    assert sorted(refused["line"]) == list(range(2, 9))
    assert set(refused["file"]) == {"july.csv"}
    assert (refused["remedy"] != "").all()


def test_rows_refused_by_the_reader_are_kept_with_the_batch(store, make):
    refused = pd.DataFrame(
        [["july.csv", 7, "secchi", "12 ft?", "not a number", "Write 12", "2025-07-07;12 ft?"]],
        columns=list(REFUSED_COLUMNS),
    )
    result = store.load_readings(make([1.0]), FILE, refused=refused)
    assert (result.n_rows, result.n_refused) == (2, 1)
    kept = store.refused(result.batch)
    pd.testing.assert_frame_equal(kept, refused.astype(dict(REFUSED_COLUMNS)))


def test_a_refused_row_is_put_right_or_set_aside(store, make):
    table = make([1.0] * 3).assign(qualifier=["~", "~", "="], line=[2, 3, 4])
    store.load_readings(table, FILE)
    fixed = store.load_readings(make([1.0]), BatchInfo(file="july.csv line 2", source="form"))
    assert store.settle_refused(1, 2, "qualifier", who="volunteer", by_batch=fixed.batch) == 1
    assert store.refused(1, open_only=True)["line"].tolist() == [3]
    assert store.settle_refused(1, 3, who="reviewer", why="not a reading") == 1
    assert store.refused(1, open_only=True).empty
    assert store.refused(1)["line"].tolist() == [2, 3]
    store.withdraw(fixed.batch, "", "")
    assert store.refused(1, open_only=True)["line"].tolist() == [2]
    with pytest.raises(NotFoundError, match="no open refused row"):
        store.settle_refused(1, 3, who="reviewer")
    with pytest.raises(NotFoundError, match="no such batch"):
        store.settle_refused(9, 3, who="reviewer")


def test_a_load_of_nothing_is_a_batch_of_nothing(store):
    result = store.load_readings(
        empty_frame({k: v for k, v in READING_COLUMNS.items() if k != "batch"}), FILE
    )
    assert counts(result) == (0, 0, 0, 0, 0)
    assert store.batches()["batch"].tolist() == [result.batch]


def test_columns_with_a_default_may_be_missing(store, make):
    needed = make([1.0])[["station", "parameter", "time", "local_date", "value"]]
    store.load_readings(needed, BatchInfo(source="form"))
    row = store.readings().iloc[0]
    assert (row["depth_m"], row["replicate"], row["qualifier"], row["flag"]) == (0.0, 1, "=", 2)


@pytest.mark.parametrize(
    ("change", "argument"),
    [
        (lambda t: t.drop(columns="value"), "frame"),
        (lambda t: t.assign(colour="green"), "frame"),
        (lambda t: t.assign(time=t["time"].dt.tz_localize(None)), "time"),
        (lambda t: t.assign(local_date="2025-07-01"), "local_date"),
        (lambda t: t["value"], "frame"),
    ],
)
def test_a_wrong_table_is_an_error_and_changes_nothing(store, make, change, argument):
    good = make([1.0])

    def source():
        yield good
        wrong = change(make([2.0], start="2025-08-01T15:00Z"))
        yield wrong

    with pytest.raises(ArgumentError) as caught:
        store.load_readings(source(), FILE)
    assert caught.value.argument == argument
    assert store.readings().empty
    assert store.batches().empty


def test_an_error_in_the_middle_of_a_source_leaves_nothing(store, make):
    def source():
        yield make([1.0, 2.0])
        raise RuntimeError("the file ends early")

    with pytest.raises(RuntimeError, match="ends early"):
        store.load_readings(source(), FILE)
    assert store.readings().empty
    assert store.batches().empty
    assert store.check().ok


def test_progress_is_told_by_rows(store, make):
    seen: list[int] = []
    store.load_readings(
        iter([make([1.0, 2.0]), make([3.0], station="Otter Point")]), FILE, progress=seen.append
    )
    assert seen == [2, 3]


def test_odd_names_and_notes_survive(store, make):
    odd = ["O'Brien; DROP TABLE", 'Łabędź "x"', "a,b\nc", "{'?': $1}", "n\u00e4he \u6e56"]
    table = pd.concat([make([1.0], station=name, note=name) for name in odd], ignore_index=True)
    store.load_readings(table, BatchInfo(file=odd[0], who=odd[1], why=odd[3]))
    assert sorted(store.readings()["station"]) == sorted(odd)
    assert sorted(store.readings(station=odd)["note"]) == sorted(odd)
    assert store.batches().loc[0, ["file", "who", "why"]].tolist() == [odd[0], odd[1], odd[3]]


def test_times_before_1970_and_microseconds_survive(store, make):
    table = make([1.0, 2.0], start="1938-08-06T12:00:00.000001Z")
    store.load_readings(table, FILE)
    read = store.readings()
    assert read["time"].tolist() == table["time"].tolist()
    assert read["local_date"].tolist() == table["local_date"].tolist()


def test_data_version_grows_with_every_change(store, make):
    seen = [store.data_version()]
    for act in (
        lambda: store.load_readings(make([1.0]), FILE),
        lambda: store.withdraw(1, "", ""),
        lambda: store.restore(1, "", ""),
        lambda: store.set_flags(make([1.0]).assign(flag=3, reason="wake"), "reviewer"),
        lambda: store.undo_flag(make([1.0]), "reviewer", "no"),
    ):
        act()
        seen.append(store.data_version())
    assert seen == sorted(set(seen))


def test_tables_of_other_types_load_as_well(store, make):
    plain = make([1.0, 2.0])
    other = plain.astype(
        {"station": "category", "parameter": object, "value": "float32", "replicate": "int8"}
    )
    other = other.assign(
        time=plain["time"].dt.tz_convert("America/New_York").dt.as_unit("ns"),
        local_date=plain["local_date"].dt.as_unit("s"),
        original_value=[1.0, None],
        flag=pd.array([2, 2], dtype="Int64"),
    )  # fmt: skip
    assert counts(store.load_readings(other, FILE)) == (2, 0, 0, 0, 0)
    read = store.readings()
    pd.testing.assert_series_equal(read["time"], plain["time"])
    assert read["original_value"].tolist() == ["1.0", ""]


def test_find_batch_by_hash(store, make):
    store.load_readings(make([1.0]), FILE)
    assert store.find_batch_by_hash("aa")["batch"].tolist() == [1]
    assert store.find_batch_by_hash("zz").empty
    assert store.find_batch_by_hash("").empty


def test_a_withdrawn_file_can_be_loaded_again(store, make):
    store.load_readings(make([1.0]), FILE)
    store.withdraw(1, "reviewer", "wrong lake")
    again = store.load_readings(make([1.0]), FILE)
    assert not again.skipped
    assert again.n_new == 1
    assert "withdrawn before as batch 1" in again.notes[0]


def test_the_batch_list_tells_everything(store, make):
    store.load_readings(
        make([1.0, 1.5]), BatchInfo(file="f", file_hash="h", recipe="r", who="w", why="y", source="api")
    )
    row = store.batches().iloc[0]
    assert row[["kind", "state", "file", "file_hash", "recipe", "who", "why", "source"]].tolist() == [
        "readings", "active", "f", "h", "r", "w", "y", "api",
    ]  # fmt: skip
    assert abs(pd.Timestamp.now("UTC") - row["loaded"]) < pd.Timedelta(1, "min")


def test_batch_info_knows_its_choices():
    with pytest.raises(ArgumentError, match="source"):
        BatchInfo(source="pigeon")  # type: ignore[arg-type]
