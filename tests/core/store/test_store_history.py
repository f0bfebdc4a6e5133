"""Withdrawing, putting back, versions and flags: small stories whose end a person can foresee."""

from __future__ import annotations

import pandas as pd
import pytest

from fathomlight.errors import ArgumentError, NotFoundError
from fathomlight.model import READING_COLUMNS
from fathomlight.store import HISTORY_COLUMNS, BatchInfo

ONE = {"station": "Heron Bay", "parameter": "secchi", "time": "2025-07-01T15:00Z"}


def load(store, table, name="f", who="", why=""):
    return store.load_readings(table, BatchInfo(file=name, who=who, why=why)).batch


def values(store):
    return store.readings()["value"].tolist()


def test_withdrawing_takes_all_away_and_restoring_brings_it_back(store, make):
    first = load(store, make([1.0, 2.0]))
    before = store.readings()
    gone = store.withdraw(first, "reviewer", "wrong lake")
    assert (gone.n_gone, gone.n_back, gone.n_other_value) == (2, 0, 0)
    assert store.readings().empty
    assert store.counts().empty
    back = store.restore(first, "reviewer", "right lake after all")
    assert (back.n_gone, back.n_back, back.n_other_value) == (0, 2, 0)
    pd.testing.assert_frame_equal(store.readings(), before)
    log = store.batch_log(first)
    assert log["action"].tolist() == ["load", "withdraw", "restore"]
    assert log["why"].tolist() == ["", "wrong lake", "right lake after all"]
    assert store.check().ok


def test_a_corrected_value_comes_back_when_the_correction_is_withdrawn(store, make):
    load(store, make([1.0, 2.0]))
    fix = load(store, make([1.0, 2.5, 3.0]))
    change = store.withdraw(fix, "reviewer", "")
    assert (change.n_gone, change.n_back, change.n_other_value) == (1, 0, 1)
    assert values(store) == [1.0, 2.0]
    store.restore(fix, "reviewer", "")
    assert values(store) == [1.0, 2.5, 3.0]
    assert store.check().ok


def test_what_is_written_while_a_withdrawal_is_judged_counts(store, make, monkeypatch):
    """The long part runs before the lock is taken; a correction that comes in between must not be lost."""
    from fathomlight.store import batch_part

    first = load(store, make([1.0, 2.0]))
    calls = []

    def judge(session, batch, state):
        counts = whole(session, batch, state)
        calls.append(0 if calls else load(store, make([1.5, 2.0])))
        return counts

    whole = batch_part.judge
    monkeypatch.setattr(batch_part, "judge", judge)
    change = store.withdraw(first, "reviewer", "wrong lake")
    assert len(calls) == 2  # judged again
    assert values(store) == [1.5, 2.0]  # the second batch corrected one and confirmed the other
    assert (change.n_gone, change.n_other_value) == (0, 0)
    assert store.check().ok
    store.withdraw(calls[0], "", "")
    assert values(store) == []
    store.restore(first, "", "")
    assert values(store) == [1.0, 2.0]
    assert store.check().ok


def test_withdrawing_the_older_batch_leaves_the_correction(store, make):
    old = load(store, make([1.0]))
    fix = load(store, make([1.5]))
    store.withdraw(old, "", "")
    assert values(store) == [1.5]
    store.withdraw(fix, "", "")
    assert values(store) == []
    store.restore(old, "", "")
    assert values(store) == [1.0]
    store.restore(fix, "", "")
    assert values(store) == [1.5]


def test_a_reading_two_batches_speak_of_stays_until_both_are_withdrawn(store, make):
    first = load(store, make([1.0, 2.0]))
    second = load(store, make([1.0, 2.0, 3.0]))
    store.withdraw(first, "", "")
    assert values(store) == [1.0, 2.0, 3.0]
    assert store.readings()["batch"].tolist() == [second] * 3
    assert len(store.readings(batch=second)) == 3
    assert store.readings(batch=first).empty
    store.withdraw(second, "", "")
    assert values(store) == []
    store.restore(first, "", "")
    assert store.readings()["batch"].tolist() == [first] * 2


def test_the_latest_batch_that_speaks_is_right_also_after_a_detour(store, make):
    load(store, make([1.0]))
    fix = load(store, make([2.0]))
    store.withdraw(fix, "", "")
    load(store, make([1.0]))  # found known while the correction was away
    store.restore(fix, "", "")
    assert values(store) == [1.0]


def test_withdrawing_twice_or_nothing(store, make):
    first = load(store, make([1.0]))
    with pytest.raises(NotFoundError, match="no such batch"):
        store.withdraw(99, "", "")
    with pytest.raises(ArgumentError, match="active already"):
        store.restore(first, "", "")
    store.withdraw(first, "", "")
    with pytest.raises(ArgumentError, match="withdrawn already"):
        store.withdraw(first, "", "")
    with pytest.raises(NotFoundError):
        store.refused(99)


def test_only_the_batch_named_is_touched(store, make):
    load(store, make([1.0], station="Otter Point"))
    second = load(store, make([2.0]))
    other = store.readings(station="Otter Point")
    store.withdraw(second, "", "")
    pd.testing.assert_frame_equal(store.readings(), other)


def test_history_tells_who_when_and_why(store, make):
    load(store, make([1.0]), who="volunteer", why="weekly sheet")
    load(store, make([1.5]), who="laboratory", why="typing error")
    load(store, make([1.5]), who="archive")
    history = store.history(ONE)
    assert list(history.columns) == [*READING_COLUMNS, *HISTORY_COLUMNS]
    assert {n: str(history[n].dtype) for n in HISTORY_COLUMNS} == HISTORY_COLUMNS
    assert history["value"].tolist() == [1.0, 1.5]
    assert history["state"].tolist() == ["superseded", "in force"]
    assert history["brought_who"].tolist() == ["volunteer", "laboratory"]
    assert history["ended_by"].tolist() == [2, 0]
    assert history["ended_who"].tolist() == ["laboratory", ""]
    assert history["ended_why"].tolist() == ["typing error", ""]
    assert history["confirmed_by"].tolist() == [(), (3,)]
    assert history["ended_at"][0] == history["brought_at"][1]
    assert pd.isna(history["ended_at"][1])


def test_history_of_a_withdrawn_reading(store, make):
    first = load(store, make([1.0]), who="volunteer")
    store.withdraw(first, "reviewer", "wrong lake")
    row = store.history(ONE).iloc[0]
    assert row[["state", "ended_by", "ended_who", "ended_why"]].tolist() == [
        "withdrawn", first, "reviewer", "wrong lake",
    ]  # fmt: skip


def test_after_a_withdrawal_history_names_what_is_in_force_instead(store, make):
    for value in (1.0, 2.0, 3.0):
        load(store, make([value]))
    store.withdraw(2, "", "")
    history = store.history(ONE)
    assert history["state"].tolist() == ["superseded", "withdrawn", "in force"]
    assert history["ended_by"].tolist() == [3, 2, 0]


def test_history_by_choice(store, make):
    load(store, make([1.0, 2.0]))
    load(store, make([1.0, 2.5]))
    assert len(store.history(station="Heron Bay")) == 3
    assert len(store.history(station="Heron Bay", only_changed=True)) == 2
    assert store.history(station="Heron Bay", end="2025-07-01T23:00Z")["value"].tolist() == [1.0]
    exact = store.history(
        station="Heron Bay", parameter="secchi", time="2025-07-02T15:00Z", depth_m=0.0, replicate=1
    )
    assert exact["value"].tolist() == [2.0, 2.5]
    assert store.history(station="nowhere").empty
    with pytest.raises(NotFoundError):
        store.history({**ONE, "station": "nowhere"})
    with pytest.raises(ArgumentError, match="missing"):
        store.history({"station": "Heron Bay"})


# ---------------------------------------------------------------------------------------------------- flags


def flagged(make, flags, reason="", test=""):
    return make([1.0] * len(flags)).assign(flag=flags, reason=reason, test=test)


def flags_in_force(store):
    return store.readings()["flag"].tolist()


def test_automatic_flags_are_set_once(store, make):
    load(store, make([1.0, 2.0, 3.0]))
    result = store.set_flags(flagged(make, [1, 3, 4], "too high", "gross range"), "tests", automatic=True)
    assert (result.n_set, result.n_same, result.n_kept, result.n_unknown) == (3, 0, 0, 0)
    assert flags_in_force(store) == [1, 3, 4]
    again = store.set_flags(flagged(make, [1, 3, 4], "too high", "gross range"), "tests", automatic=True)
    assert (again.n_set, again.n_same, again.data_version) == (0, 3, result.data_version)
    assert len(store.flags_history()) == 3
    changed = store.set_flags(flagged(make, [1, 1, 4], "too high", "gross range"), "tests", automatic=True)
    assert (changed.n_set, changed.n_same) == (1, 2)
    assert flags_in_force(store) == [1, 1, 4]


def test_a_persons_flag_stands_above_the_automatic_one(store, make):
    load(store, make([1.0]))
    store.set_flags(flagged(make, [3], test="spike"), "tests", automatic=True)
    store.set_flags(flagged(make, [1], "I was there"), "reviewer")
    result = store.set_flags(flagged(make, [4], test="spike"), "tests", automatic=True)
    assert (result.n_set, result.n_kept) == (1, 1)
    assert flags_in_force(store) == [1]
    store.undo_flag(ONE, "reviewer", "I was elsewhere")
    assert flags_in_force(store) == [4]
    history = store.flags_history(ONE)
    assert history["flag"].tolist() == [3, 1, 4]
    assert history["undone"].tolist() == [False, True, False]
    assert history["undone_why"].tolist() == ["", "I was elsewhere", ""]
    assert store.flags_history(ONE, automatic=False)["who"].tolist() == ["reviewer"]


def test_undoing_goes_back_one_step_at_a_time(store, make):
    load(store, make([1.0], flag=1))
    store.set_flags(flagged(make, [3], "odd"), "a")
    store.set_flags(flagged(make, [4], "broken"), "b")
    for expected in (3, 1):
        store.undo_flag(make([1.0]), "b", "")
        assert flags_in_force(store) == [expected]
    with pytest.raises(NotFoundError, match="no person"):
        store.undo_flag(ONE, "b", "")
    with pytest.raises(NotFoundError, match="no such reading"):
        store.undo_flag({**ONE, "time": "1999-01-01"}, "b", "")


@pytest.mark.parametrize(
    ("file", "test", "in_force"),
    [
        (2, 1, 1),
        (2, 2, 2),
        (1, 2, 1),
        (1, 3, 3),
        (3, 1, 3),
        (3, 4, 4),
        (4, 1, 4),
        (4, 3, 4),
        (4, 4, 4),
        (9, 1, 9),
    ],
)
def test_a_test_never_clears_what_the_file_called_bad(store, make, file, test, in_force):
    load(store, make([1.0], flag=file))
    store.set_flags(flagged(make, [test]), "tests", automatic=True)
    assert flags_in_force(store) == [in_force]


def test_a_corrected_value_starts_without_the_old_flag_which_comes_back_with_the_old_value(store, make):
    load(store, make([1.0]))
    store.set_flags(flagged(make, [4], "impossible"), "reviewer")
    fix = load(store, make([1.5]))
    assert flags_in_force(store) == [2]
    store.withdraw(fix, "", "")
    assert flags_in_force(store) == [4]
    store.undo_flag(ONE, "reviewer", "")
    assert flags_in_force(store) == [2]


def test_of_two_rows_for_one_reading_the_last_counts_and_strangers_are_counted(store, make):
    load(store, make([1.0]))
    table = pd.concat(
        [flagged(make, [4]), flagged(make, [3]), flagged(make, [3], test="x").assign(station="nowhere"),
         flagged(make, [3]).assign(depth_m=7.0)], ignore_index=True,
    )  # fmt: skip
    result = store.set_flags(table, "tests", automatic=True)
    assert (result.n_set, result.n_unknown) == (1, 2)
    assert flags_in_force(store) == [3]


def test_flags_need_a_reason_a_known_code_and_an_identity(store, make):
    load(store, make([1.0]))
    with pytest.raises(ArgumentError, match="reason"):
        store.set_flags(flagged(make, [3]), "reviewer")
    with pytest.raises(ArgumentError, match="no such flag"):
        store.set_flags(flagged(make, [5]), "tests", automatic=True)
    with pytest.raises(ArgumentError, match="missing"):
        store.set_flags(flagged(make, [3]).drop(columns="depth_m"), "tests", automatic=True)
    assert flags_in_force(store) == [2]
    assert store.set_flags(flagged(make, [3]).iloc[:0], "tests", automatic=True).n_set == 0
