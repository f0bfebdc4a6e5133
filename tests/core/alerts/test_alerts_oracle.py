"""The limit rule against a second, plain way of doing it, and against what its qualifiers may hide."""

from __future__ import annotations

import math

import pandas as pd
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fathomlight.alerts import LimitRule, evaluate

quick = settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
    deadline=None,
    max_examples=80,
)
exact = st.lists(st.integers(10, 35).map(lambda tenths: tenths / 10), min_size=1, max_size=25)
limits = st.lists(
    st.tuples(st.integers(10, 35).map(lambda tenths: tenths / 10), st.sampled_from("=<>")),
    min_size=1,
    max_size=20,
)


def by_hand(values, below, clear, consecutive):
    """One reading after the other, with a counter and a switch, as one would do it on paper."""
    episodes, run, began, opened = [], 0, None, None
    for i, value in enumerate(values):
        if opened is None:
            if value < below:
                began = i if run == 0 else began
                run += 1
                if run == consecutive:
                    opened = i
            else:
                run = 0
        elif value >= clear:
            episodes.append((began, opened, i))
            run, opened = 0, None
    if opened is not None:
        episodes.append((began, opened, None))
    return episodes


@quick
@given(values=exact, consecutive=st.integers(1, 4), width=st.integers(0, 8))
def test_as_by_hand(weekly, context, values, consecutive, width):
    clear = round(2.0 + width / 10, 1)
    rule = LimitRule(
        id="murky", parameter="secchi", below=2.0, clear=clear, consecutive=consecutive, stale_days=math.inf
    )
    readings = weekly(values)
    position = {time: i for i, time in enumerate(readings["time"])}
    position[None] = None
    found = evaluate(rule, readings, context("2026-12-01"))
    told = [tuple(position[t] for t in (e.began, e.opened, e.over)) for e in found]
    assert told == by_hand(values, 2.0, clear, consecutive)


@quick
@given(values=exact, consecutive=st.integers(1, 3))
def test_above_is_below_turned_over(weekly, context, values, consecutive):
    low = LimitRule(
        id="one", parameter="secchi", below=2.0, clear=2.4, consecutive=consecutive, stale_days=math.inf
    )
    high = LimitRule(
        id="one", parameter="secchi", above=-2.0, clear=-2.4, consecutive=consecutive, stale_days=math.inf
    )
    turned = weekly([-value for value in values])
    at = context("2026-12-01")
    first = [(e.opened, e.over, e.peak) for e in evaluate(low, weekly(values), at)]
    assert first == [(e.opened, e.over, -e.peak) for e in evaluate(high, turned, at)]


@quick
@given(data=st.data(), values=limits, consecutive=st.integers(1, 3))
def test_what_opens_is_certain(weekly, context, data, values, consecutive):
    """Whatever the true values behind ``<`` and ``>`` are, the rule is open at every opening it announces."""
    rule = LimitRule(
        id="murky", parameter="secchi", below=2.0, clear=2.4, consecutive=consecutive, stale_days=math.inf
    )
    hidden = [
        value + {"=": 0, "<": -1, ">": 1}[sign] * data.draw(st.floats(0.01, 5, allow_nan=False))
        for value, sign in values
    ]
    at = context("2026-12-01")
    stated = weekly([f"{sign}{value}" for value, sign in values])
    truth = evaluate(rule, weekly(hidden), at)
    for episode in evaluate(rule, stated, at):
        assert any(e.opened <= episode.opened and (e.over is None or e.over > episode.opened) for e in truth)


@quick
@given(values=exact, split=st.integers(0, 24))
def test_the_future_does_not_change_the_past(weekly, context, values, split):
    rule = LimitRule(id="murky", parameter="secchi", below=2.0, clear=2.4, stale_days=60)
    readings = weekly(values)
    now = readings["time"].iloc[min(split, len(values) - 1)]
    then = evaluate(rule, readings, context(now))
    later = evaluate(rule, readings, context(pd.Timestamp("2026-12-01")))
    finished = [e for e in then if e.over is not None]
    assert finished == later[: len(finished)]
