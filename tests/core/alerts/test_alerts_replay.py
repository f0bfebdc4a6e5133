"""Trying a rule on the past: counts that a person can count."""

from __future__ import annotations

import pytest

from fathomlight.alerts import Context, LimitRule, TrendRule, evaluate_all, replay
from fathomlight.errors import ArgumentError

RULE = LimitRule(id="murky", parameter="secchi", below=2.0)


def readings(table):
    rows = [
        ("2022-07-01", 1.0), ("2022-07-11", 3.0),  # before
        ("2023-07-01", 1.0), ("2023-07-11", 3.0),
        ("2023-08-01", 1.0), ("2023-08-06", 3.0),
        ("2025-07-01", 1.0),
        ("2023-07-01", 1.0, "=", 1, "birch"), ("2023-07-03", 3.0, "=", 1, "birch"),
        ("2025-07-02", 0.5, "=", 3),
    ]  # fmt: skip
    return table(rows)


def test_replay_counts(table, context):
    result = replay(RULE, readings(table), "2023-01-01", context=context("2025-07-05 00:00"))
    assert (result.fired, result.open_now, result.checks) == (4, 1, 1)
    assert result.per_year == {2023: 3, 2024: 0, 2025: 1}
    assert result.per_station == {"alder": 3, "birch": 1}
    assert result.days_open == pytest.approx(10 + 5 + 2 + 4)
    assert result.longest_days == pytest.approx(10)
    assert "would have fired 4 times (1.6 a year) at 2 stations" in result.sentence
    assert result.to_dict()["per_year"] == {"2023": 3, "2024": 0, "2025": 1}


def test_replay_counts_only_the_days_since(table, context):
    result = replay(RULE, readings(table), "2022-07-06", context=context("2022-12-31"))
    assert (result.fired, result.days_open) == (0, 5.0)


def test_replay_of_a_disabled_rule_and_a_wrong_date(table, context):
    off = RULE.model_copy(update={"enabled": False})
    assert replay(off, readings(table), "2023-01-01", context=context("2025-07-05")).fired == 4
    with pytest.raises(ArgumentError, match="since"):
        replay(RULE, readings(table), "2026-01-01", context=context("2025-07-05"))


def test_replay_says_what_it_cannot_know(table, context):
    trend = TrendRule(id="trend", parameter="secchi")
    notes = " ".join(replay(trend, readings(table), "2023-01-01", context=context("2025-07-05")).notes)
    assert "today's results only" in notes
    assert "No trends were given" in notes


def test_evaluate_all_is_in_order_of_time(table, context):
    other = LimitRule(id="other", parameter="secchi", below=1.5)
    found = evaluate_all([RULE, other], readings(table), context("2025-07-05"))
    assert [e.opened for e in found] == sorted(e.opened for e in found)
    assert {e.rule for e in found} == {"murky", "other"}


def test_now_must_be_a_time():
    with pytest.raises(ArgumentError, match="as_of"):
        Context(as_of="some day")
