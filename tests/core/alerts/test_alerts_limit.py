"""The limit rule: opened and cleared by hand-countable series, and what qualifiers and flags do to it."""

from __future__ import annotations

import pandas as pd
import pytest

from fathomlight.alerts import LimitRule, evaluate
from fathomlight.errors import ArgumentError


def rule(**more):
    return LimitRule(**{"id": "murky", "parameter": "secchi", "below": 2.0, **more})


def days(episode):
    return [
        f"{t:%m-%d}" if t is not None else None
        for t in (episode.began, episode.opened, episode.last, episode.over)
    ]


def test_three_in_a_row_opens_and_the_clear_limit_ends(weekly, context):
    # 1 Jun, 8 Jun, 15 Jun, 22 Jun, 29 Jun, 6 Jul, 13 Jul
    readings = weekly([3.0, 1.9, 1.5, 1.8, 2.2, 1.9, 2.6])
    (episode,) = evaluate(rule(consecutive=3, clear=2.5), readings, context("2025-08-01"))
    assert days(episode) == ["06-08", "06-22", "07-06", "07-13"]
    assert (episode.state, episode.ending) == ("over", "cleared")
    assert (episode.peak, episode.n_readings) == (1.5, 4)
    assert f"{episode.peak_time:%m-%d}" == "06-15"
    assert episode.message == "Alder point: Disc depth below 2.0 m since 8 Jun 2025, at worst 1.5 m."


def test_without_a_clear_limit_the_limit_itself_clears(weekly, context):
    readings = weekly([1.9, 2.0, 1.9])
    found = evaluate(rule(), readings, context("2025-08-01"))
    assert [days(e) for e in found] == [
        ["06-01", "06-01", "06-01", "06-08"],
        ["06-15", "06-15", "06-15", None],
    ]
    assert found[1].state == "open"


def test_the_limit_itself_is_still_fine(weekly, context):
    above = LimitRule(id="turbid", parameter="secchi", above=2.0)
    assert evaluate(above, weekly([2.0, 2.0]), context("2025-08-01")) == []
    assert evaluate(rule(), weekly([2.0, 2.0]), context("2025-08-01")) == []


def test_a_run_that_is_broken_does_not_open(weekly, context):
    assert evaluate(rule(consecutive=3), weekly([1.9, 1.9, 2.0, 1.9, 1.9]), context("2025-08-01")) == []


def test_above_with_hours_and_a_pause(table, context):
    warm = LimitRule(id="warm", parameter="temperature", above=25.0, clear=24.0, for_hours=3)
    rows = [("2025-07-01T00:00", 24.0), *[(f"2025-07-01T0{h}:00", 26.0) for h in range(1, 5)]]
    found = evaluate(warm, table(rows, parameter="temperature"), context("2025-07-02"))
    assert [f"{e.began:%H} {e.opened:%H}" for e in found] == ["01 04"]
    # readings 10 h apart say nothing of the hours between
    rows = [("2025-07-01T00:00", 26.0), ("2025-07-01T10:00", 26.0)]
    assert evaluate(warm, table(rows, parameter="temperature"), context("2025-07-02")) == []


@pytest.mark.parametrize(
    ("values", "opens"),
    [
        ([">1.5"], False),  # seen on the bottom at 1.5 m: may be clearer than 2.0
        (["<1.5"], True),  # less than 1.5 is certainly below 2.0
        (["<2.0"], True),  # strictly less than 2.0
        (["<2.5"], False),
        ([">2.5"], False),
    ],
)
def test_below_fires_only_when_certain(weekly, context, values, opens):
    assert bool(evaluate(rule(), weekly(values), context("2025-08-01"))) == opens


@pytest.mark.parametrize(
    ("values", "opens"),
    [([">12"], True), ([">10"], True), ([">8"], False), (["<12"], False), (["<8"], False)],
)
def test_above_fires_only_when_certain(weekly, context, values, opens):
    above = LimitRule(id="turbid", parameter="turbidity_ntu", above=10)
    assert bool(evaluate(above, weekly(values, parameter="turbidity_ntu"), context("2025-08-01"))) == opens


def test_an_unsure_reading_neither_opens_nor_clears_and_is_named(weekly, context):
    assert evaluate(rule(consecutive=2), weekly([1.9, ">1.5", 1.9]), context("2025-08-01")) == []
    (episode,) = evaluate(rule(consecutive=2), weekly([1.9, 1.8, ">1.5", 1.9]), context("2025-08-01"))
    assert episode.over is None
    assert episode.n_readings == 3
    assert episode.notes[0].startswith("1 reading with < or > was not counted")
    (cleared,) = evaluate(rule(consecutive=2), weekly([1.9, 1.8, ">2.0"]), context("2025-08-01"))
    assert cleared.ending == "cleared"


def test_suspect_readings_ask_quietly_to_be_checked(table, context):
    rows = [
        ("2025-06-01", 3.0),
        ("2025-06-08", 0.2, "=", 3),
        ("2025-06-15", 0.1, "=", 4),
        ("2025-06-22", 3.0),
    ]
    (episode,) = evaluate(rule(severity="act"), table(rows), context("2025-06-23"))
    assert (episode.aspect, episode.severity, episode.state) == ("check", "note", "open")
    assert (
        "check this reading: 0.2 m on 7 Jun 2025" in episode.message
    )  # midnight UTC is the evening before there
    assert evaluate(rule(suspect="ignore"), table(rows), context("2025-06-23")) == []
    (later,) = evaluate(rule(), table(rows), context("2025-07-23"))
    assert (later.state, later.ending) == ("over", "not checked in time")


def test_replicates_are_one_reading(table, context):
    rows = [("2025-06-01", 1.8, "=", 1, "alder", r) for r in (1, 2, 3)]
    assert evaluate(rule(consecutive=2), table(rows), context("2025-08-01")) == []
    # median of 1.8 and 2.4 is 2.1; with the bottom at 1.5 in the pair nothing is certain
    pair = [("2025-06-01", 1.8, "=", 1, "alder", 1), ("2025-06-01", 2.4, "=", 1, "alder", 2)]
    assert evaluate(rule(), table(pair), context("2025-08-01")) == []
    unsure = [("2025-06-01", 1.8, "=", 1, "alder", 1), ("2025-06-01", 1.5, ">", 1, "alder", 2)]
    assert evaluate(rule(), table(unsure), context("2025-08-01")) == []


def test_months_start_and_end_the_watch(weekly, context):
    # 24 Aug, 31 Aug, 7 Sep: the rule looks in June to August only
    readings = weekly([1.0, 1.0, 1.0], start="2025-08-24T12:00")
    summer = rule(months=(6, 7, 8))
    (going,) = evaluate(summer, readings, context("2025-08-31 18:00"))
    assert going.over is None
    (over,) = evaluate(summer, readings, context("2025-09-10"))
    assert over.ending == "season ended"
    assert over.over == pd.Timestamp("2025-09-01 05:00", tz="UTC")  # midnight in Chicago
    assert over.n_readings == 2


def test_a_run_does_not_leap_over_winter(table, context):
    rows = [("2024-08-30", 1.0), ("2025-06-01", 1.0)]
    assert evaluate(rule(months=(6, 7, 8), consecutive=2), table(rows), context("2025-08-01")) == []
    assert evaluate(rule(consecutive=2), table(rows), context("2025-08-01")) == []
    patient = rule(consecutive=2, stale_days=float("inf"))
    assert len(evaluate(patient, table(rows), context("2025-08-01"))) == 1


def test_without_readings_for_long_an_episode_is_over(table, context):
    # last read on 11 June: 90 days later, on 9 September, nobody knows any more
    rows = [("2025-06-01", 1.0), ("2025-06-11", ">1.5"[1:], ">"), ("2025-12-01", 1.0), ("2025-12-02", 3.0)]
    before = evaluate(rule(), table(rows), context("2025-09-08"))
    assert [e.state for e in before] == ["open"]
    found = evaluate(rule(), table(rows), context("2026-01-01"))
    assert [e.ending for e in found] == ["no reading for too long", "cleared"]
    assert found[0].over == pd.Timestamp("2025-09-09", tz="UTC")
    assert [e.ending for e in evaluate(rule(stale_days=200), table(rows), context("2026-01-01"))] == [
        "cleared"
    ]
    summer = rule(months=(6, 7, 8))
    assert [e.ending for e in evaluate(summer, table(rows), context("2026-01-01"))] == ["season ended"]


def test_where_it_looks(table, context):
    rows = [("2025-06-01", 1.0, "=", 1, station) for station in ("alder", "birch", "cedar", "unknown")]
    readings = table(rows)

    def at(**more):
        return [e.station for e in evaluate(rule(**more), readings, context("2025-08-01"))]

    assert at() == ["alder", "birch", "cedar"]
    assert at(stations=("birch",)) == ["birch"]
    assert at(waters=("north",)) == ["alder", "birch"]
    assert at(waters=("south",), stations=("alder",)) == ["alder", "cedar"]
    assert at(enabled=False) == []
    assert at(depth=(0.5, 3)) == []


def test_depths_are_watched_each_on_its_own(table, context):
    warm = LimitRule(id="warm", parameter="temperature", above=20, consecutive=2)
    shallow = table([("2025-06-01", 21), ("2025-06-08", 21)], parameter="temperature", depth=1.0)
    deep = table([("2025-06-02", 8), ("2025-06-07", 8)], parameter="temperature", depth=9.0)
    (episode,) = evaluate(warm, pd.concat([shallow, deep]), context("2025-08-01"))
    assert episode.depth_m == 1.0


def test_later_readings_are_not_looked_at(weekly, context):
    readings = weekly([3.0, 1.0])
    assert evaluate(rule(), readings, context("2025-06-05")) == []


def test_own_message_and_units_of_the_reader(weekly, context):
    own = rule(message="{water}, {station}: only {value} (limit {limit}), {count} readings.")
    feet = context("2025-08-01", show=lambda parameter, value: f"{value / 0.3048:.1f} ft")
    (episode,) = evaluate(own, weekly([1.524]), feet)
    assert episode.message == "North Lake, Alder point: only 5.0 ft (limit 6.6 ft), 1 readings."


def test_missing_columns_are_named(weekly, context):
    with pytest.raises(ArgumentError, match="flag"):
        evaluate(rule(), weekly([1.0]).drop(columns="flag"), context("2025-08-01"))
