"""Sentences of episodes told again in other units, from their numbers; old ones stand as they were written."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

from fathomlight import open_workspace
from fathomlight.alerts import Episode, LimitRule, RateRule, evaluate, merge
from fathomlight.alerts.sentence import retell


def feet(part: Any) -> str:
    return f"{part['value'] / 0.3048:.1f} ft"


def test_a_sentence_is_told_again_from_its_numbers(weekly, context):
    rule = LimitRule(id="murky", parameter="secchi", below=2.0)
    (episode,) = evaluate(rule, weekly([1.524]), context("2025-08-01"))
    assert episode.message == "Alder point: Disc depth below 2.0 m since 1 Jun 2025, at worst 1.5 m."
    again = retell(episode.parts, feet)
    assert again == "Alder point: Disc depth below 6.6 ft since 1 Jun 2025, at worst 5.0 ft."


def test_numbers_live_through_the_store(weekly, context):
    rule = RateRule(id="falling", parameter="secchi", per_week=1.0)
    (episode,) = evaluate(rule, weekly([4.5, 3.0]), context("2025-06-20"))
    (kept,) = merge([], [episode], as_of="2025-06-20").episodes
    back = Episode.from_dict(json.loads(json.dumps(kept.to_dict())))
    assert back == kept
    assert not merge([back], [episode], as_of="2025-06-21").any  # found again: nothing has changed


def test_own_words_with_a_width_are_told_as_written(weekly, context):
    rule = LimitRule(id="murky", parameter="secchi", below=2.0, message="{value:>8} {{at}} {station}")
    (episode,) = evaluate(rule, weekly([1.5]), context("2025-08-01"))
    assert episode.message == "   1.5 m {at} Alder point"
    assert retell(episode.parts, feet) == episode.message


def test_a_suspect_reading_is_told_in_other_units_too(table, context):
    rule = LimitRule(id="murky", parameter="secchi", below=2.0)
    (episode,) = evaluate(rule, table([("2025-06-07T12:00", 0.3048, "=", 3)]), context("2025-06-10"))
    assert "0.3 m on 7 Jun 2025" in episode.message
    assert "1.0 ft on 7 Jun 2025" in retell(episode.parts, feet)


def test_pages_and_notices_tell_their_own_units(own_workspace):
    with open_workspace(own_workspace) as ws:
        ws.evaluate_alerts()
        rows = ws.episodes()
        row = rows[(rows["kind"] == "percentile") & (rows["parameter"] == "secchi")].iloc[0]
        metres, shown = f"{row['peak']:.1f} m", f"{row['peak'] / 0.3048:.1f} ft"
        assert metres in row["message"]  # the feed and notices: units of the workspace
        assert row["message_units"] == "metric"
        us = ws.episodes(units="us").set_index("key").loc[row["key"]]
        assert shown in us["message"]
        assert " m " not in us["message"]
        assert us["peak"] == row["peak"]
        episode = ws.episode(row["key"])
        assert episode.message == row["message"]
        old = replace(episode, parts=())
        assert ws.told(old, "us") == (episode.message, "")


def test_an_old_episode_gets_its_numbers_without_being_told_anew(weekly, context):
    rule = LimitRule(id="murky", parameter="secchi", below=2.0)
    (found,) = evaluate(rule, weekly([1.5]), context("2025-06-20"))
    (kept,) = merge([], [found], as_of="2025-06-20").episodes
    changes = merge([replace(kept, parts=())], [found], as_of="2025-06-21")
    assert [e.key for e in changes.continued] == [kept.key]
    assert changes.episodes[0].trace == kept.trace
    assert changes.episodes[0].parts == kept.parts
