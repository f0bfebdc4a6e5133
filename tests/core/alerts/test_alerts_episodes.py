"""Episodes live on: never twice, amended with a trace, whatever the order in which readings come."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fathomlight.alerts import Episode, LimitRule, evaluate, mark_seen, merge

RULE = LimitRule(id="murky", parameter="secchi", below=2.0, clear=2.5, consecutive=2, stale_days=math.inf)
NOW = "2025-12-01"


def step(existing, readings, context, rule=RULE, as_of=NOW):
    return merge(existing, evaluate(rule, readings, context(as_of)), as_of=as_of)


def names(changes):
    headings = ("opened", "reopened", "amended", "continued", "ended", "retracted", "unchanged")
    return {heading: len(getattr(changes, heading)) for heading in headings if getattr(changes, heading)}


def test_opened_once_then_unchanged(weekly, context):
    readings = weekly([1.9, 1.8])
    first = step([], readings, context)
    assert names(first) == {"opened": 1}
    assert first.episodes[0].key == "murky||alder|secchi|0|20250608T120000.000000Z"
    again = step(first.episodes, readings, context)
    assert names(again) == {"unchanged": 1}
    assert not again.any
    assert again.episodes == first.episodes


def test_goes_on_ends_and_keeps_who_saw_it(weekly, context):
    one = step([], weekly([1.9, 1.8]), context)
    seen = mark_seen(one.episodes[0], who="a person", when="2025-06-09", note="asked the lake group")
    assert seen.state == "seen"
    more = step([seen], weekly([1.9, 1.8, 1.7]), context)
    assert names(more) == {"continued": 1}
    assert (more.episodes[0].state, more.episodes[0].peak) == ("seen", 1.7)
    end = step(more.episodes, weekly([1.9, 1.8, 1.7, 3.0]), context)
    assert names(end) == {"ended": 1}
    assert (end.episodes[0].state, end.episodes[0].seen_note) == ("over", "asked the lake group")
    assert [t.what for t in end.episodes[0].trace] == ["opened", "seen", "ended"]


def test_a_late_reading_moves_the_opening_and_leaves_a_trace(weekly, context):
    readings = weekly([1.9, 1.9, 1.8])
    first = step([], readings.iloc[1:], context)
    late = step(first.episodes, readings, context)
    assert names(late) == {"amended": 1}
    assert late.episodes[0].key == first.episodes[0].key
    assert late.episodes[0].opened == pd.Timestamp("2025-06-08 12:00", tz="UTC")
    assert "opened: 2025-06-15 12:00 UTC -> 2025-06-08 12:00 UTC" in late.episodes[0].trace[-1].text


def test_a_corrected_reading_takes_the_ground_away_and_gives_it_back(weekly, context):
    wrong, right = weekly([1.9, 1.8]), weekly([1.9, 5.8])
    first = step([], wrong, context)
    corrected = step(first.episodes, right, context)
    assert names(corrected) == {"retracted": 1}
    assert (corrected.episodes[0].state, corrected.episodes[0].ending) == (
        "over",
        "no longer supported by the readings",
    )
    assert names(step(corrected.episodes, right, context)) == {"unchanged": 1}
    back = step(corrected.episodes, wrong, context)
    assert names(back) == {"reopened": 1}
    assert (back.episodes[0].key, back.episodes[0].state) == (first.episodes[0].key, "open")


def test_the_clearing_reading_was_wrong(weekly, context):
    over = step([], weekly([1.9, 1.8, 3.0]), context)
    assert over.episodes[0].state == "over"
    again = step(over.episodes, weekly([1.9, 1.8, 1.6]), context)
    assert names(again) == {"reopened": 1}
    assert again.episodes[0].state == "open"


def test_a_late_clear_reading_splits_one_in_two(weekly, context):
    whole = weekly([1.9, 1.8, 3.0, 1.9, 1.8])
    first = step([], whole.drop(index=2), context)
    assert len(first.episodes) == 1
    split = step(first.episodes, whole, context)
    assert names(split) == {"amended": 1, "opened": 1}
    assert [e.state for e in split.episodes] == ["over", "open"]
    assert len({e.key for e in split.episodes}) == 2


def test_far_apart_is_another_episode(weekly, context):
    june = step([], weekly([1.9, 1.8, 3.0, 3.0, 3.0, 3.0]), context)
    moved = step(june.episodes, weekly([3.0, 3.0, 3.0, 3.0, 1.9, 1.8]), context)
    assert names(moved) == {"opened": 1, "retracted": 1}
    assert moved.opened[0].key != june.episodes[0].key


def test_two_joined_by_a_correction(weekly, context):
    two = step([], weekly([1.9, 1.8, 3.0, 1.9, 1.8]), context)
    assert len(two.episodes) == 2
    joined = step(two.episodes, weekly([1.9, 1.8, 1.7, 1.9, 1.8]), context)
    assert [e.state for e in joined.episodes] == ["open", "over"]
    assert names(joined) == {"reopened": 1, "retracted": 1}


def test_other_rules_are_left_alone_and_a_removed_rule_ends(weekly, context):
    readings = weekly([1.9, 1.8])
    known = step([], readings, context).episodes
    other = LimitRule(id="other", parameter="secchi", below=1.0)
    alone = merge(known, evaluate(other, readings, context(NOW)), as_of=NOW, rules={"other"})
    assert names(alone) == {"unchanged": 1}
    gone = merge(known, [], as_of=NOW, in_use={"other"})
    assert names(gone) == {"ended": 1}
    assert gone.episodes[0].ending == "the rule is no longer in use"
    assert not merge(gone.episodes, [], as_of=NOW, in_use={"other"}).any
    back = step(gone.episodes, readings, context)
    assert names(back) == {"reopened": 1}


def test_the_past_of_a_removed_rule_stays(weekly, context):
    past = step([], weekly([1.9, 1.8, 3.0]), context).episodes
    assert not merge(past, [], as_of=NOW, in_use=set()).any


def test_survives_storage_as_text(weekly, context):
    readings = weekly([1.9, ">1.5", 1.8, 1.7, 3.0])
    episodes = step([], readings, context).episodes
    episodes = (mark_seen(episodes[0], who="a person", when="2025-07-01"), *episodes[1:])
    stored = [json.loads(json.dumps(episode.to_dict())) for episode in episodes]
    back = [Episode.from_dict(data) for data in stored]
    assert names(step(back, readings, context)) == {"unchanged": len(back)}
    assert [e.to_dict() for e in back] == [e.to_dict() for e in episodes]


def test_a_depth_or_number_that_is_not_known_survives_storage(weekly, context):
    unknown = weekly([1.9, 1.8]).assign(depth_m=np.nan)
    known = step([], unknown, context).episodes
    assert known[0].depth_m is None
    odd = [replace(known[0], evidence={"a": float("nan"), "b": (1, 2), "c": np.float64(2)})]
    back = Episode.from_dict(json.loads(json.dumps(odd[0].to_dict())))
    assert back == odd[0]
    assert not step(known, unknown, context).any


def test_from_dict_refuses_what_is_no_episode():
    with pytest.raises(ValueError, match="not an episode"):
        Episode.from_dict({"rule": "x", "colour": 1})


def live(changes):
    """What the readings say now: everything but the history of how we came to know it."""
    facts = []
    for e in changes.episodes:
        if e.ending != "no longer supported by the readings":
            facts.append((e.opened, e.began, e.last, e.over, e.peak, e.n_readings, e.state, e.message))
    return sorted(facts, key=str)


levels = st.lists(
    st.sampled_from([1.0, 1.5, 1.9, 2.2, 2.6, 3.0, ">1.5", ">2.5", "<1.8"]), min_size=1, max_size=14
)


@settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
    deadline=None,
    max_examples=60,
)
@given(values=levels, seed=st.integers(0, 10_000), parts=st.integers(1, 5))
def test_order_of_arrival_does_not_matter(weekly, context, values, seed, parts):
    readings = weekly(values)
    straight = step([], readings, context)
    rng = np.random.default_rng(seed)
    rows = rng.permutation(len(readings))
    known = ()
    for end in np.linspace(0, len(rows), parts + 1).astype(int)[1:]:
        known = step(known, readings.iloc[rows[:end]], context).episodes
        assert len({e.key for e in known}) == len(known)
    last = step(known, readings, context)
    assert not last.any
    assert live(last) == live(straight)


@settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
    deadline=None,
    max_examples=60,
)
@given(values=levels, wrong=st.integers(0, 13), crash=st.booleans())
def test_corrections_and_restarts_leave_the_same_episodes(weekly, context, values, wrong, crash):
    spoiled = list(values)
    spoiled[wrong % len(values)] = 0.5
    known = step([], weekly(spoiled), context).episodes
    if crash:  # everything in memory is lost; only what was stored is left
        known = [Episode.from_dict(json.loads(json.dumps(e.to_dict()))) for e in known]
    corrected = step(known, weekly(values), context)
    assert live(corrected) == live(step([], weekly(values), context))
    assert not step(corrected.episodes, weekly(values), context).any


@settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
    deadline=None,
    max_examples=60,
)
@given(values=levels)
def test_evaluating_as_readings_come_equals_evaluating_at_the_end(weekly, context, values):
    readings = weekly(values)
    known = ()
    for i in range(len(readings)):
        as_of = readings["time"].iloc[i]
        known = step(known, readings.iloc[: i + 1], context, as_of=as_of).episodes
    final = step(known, readings, context, as_of=readings["time"].iloc[-1])
    assert not final.any
    assert live(final) == live(step([], readings, context))
    assert not any(e.ending == "no longer supported by the readings" for e in known)
