"""The other kinds of rule, each on series a person can follow with a finger."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy import stats

from fathomlight.alerts import (
    ClassChangeRule,
    LimitRule,
    OverdueRule,
    PercentileRule,
    RateRule,
    SilentRule,
    TrendRule,
    evaluate,
    mark_seen,
    merge,
)
from fathomlight.alerts.tracks import tracks
from fathomlight.errors import ArgumentError
from fathomlight.seasons import standing

# --- percentile


def history(table, values_2025, first=2015):
    """Ten years with 2.0, 3.0 and 4.0 m in mid July, then 2025."""
    rows = [
        (f"{year}-07-{10 + 5 * i}", value)
        for year in range(first, 2025)
        for i, value in enumerate((2.0, 3.0, 4.0))
    ]
    return table(rows + [(f"2025-07-{day}", *value) for day, value in values_2025])


def usual(**more):
    return PercentileRule(**{"id": "unusual", "parameter": "secchi", **more})


def test_percentile_murkier_than_the_own_past(table, context):
    readings = history(table, [("12", (1.9,)), ("20", (3.0,))])
    (episode,) = evaluate(usual(), readings, context("2025-07-31"))
    assert (episode.evidence["percentile"], episode.evidence["n_past"]) == (0.0, 30)
    assert episode.ending == "cleared"
    assert episode.message == (
        "Alder point: Disc depth 1.9 m on 12 Jul 2025, outside its own 2.0 m to 4.0 m "
        "of 30 readings at this time of year since 2015."
    )


def test_percentile_counts_equal_values_half_as_scipy_does(table, context):
    for value in (1.0, 2.0, 2.5, 3.0, 4.0, 9.0):
        readings = history(table, [("12", (value,))])
        (track,) = tracks(usual(), readings, context("2025-07-31"))
        low, high, _ = usual().standing(track, track)
        past = readings["value"].to_numpy()[:-1]
        expected = stats.percentileofscore(past, value, kind="mean")
        assert low[-1] == pytest.approx(expected)
        assert high[-1] == pytest.approx(expected)


@settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
    deadline=None,
    max_examples=40,
)
@given(seed=st.integers(0, 10_000))
def test_percentile_is_the_one_of_the_standing(table, context, seed):
    """Every reading, taken as the latest one, has the bounds that the standing of a station gives."""
    rng = np.random.default_rng(seed)
    days = pd.to_datetime("2010-01-01") + pd.to_timedelta(np.sort(rng.integers(0, 5500, 60)), unit="D")
    rows = [
        (f"{d:%Y-%m-%d}", round(rng.uniform(1, 4), 1), str(rng.choice(["=", "=", "<", ">"]))) for d in days
    ]
    readings = table(rows).drop_duplicates("time")
    rule = usual(window_days=60, min_years=1, min_readings=1)
    (track,) = tracks(rule, readings, context("2026-01-01"))
    low, high, compared = rule.standing(track, track)
    for i in range(0, track.n, 7):
        answer = standing(readings.iloc[: i + 1], window_days=60, min_years=1, min_readings=1)
        assert answer.n_past == len(compared[i])
        np.testing.assert_allclose([low[i], high[i]], [answer.percentile_low, answer.percentile_high])


def test_percentile_needs_enough_past_and_the_time_of_year(table, context):
    short = history(table, [("12", (0.5,))], first=2021)
    assert evaluate(usual(), short, context("2025-07-31")) == []
    october = history(table, []).assign(flag=1)
    odd = pd.concat([october, table([("2025-10-12", 0.5)])])
    assert evaluate(usual(), odd, context("2025-12-31")) == []


def test_percentile_window_goes_over_new_year(table, context):
    rows = [(f"{year}-12-28", 3.0 + 0.01 * year % 1) for year in range(2005, 2024)]
    readings = table([*rows, ("2025-01-05T12:00", 0.5)])
    assert len(evaluate(usual(), readings, context("2025-02-01"))) == 1


def test_percentile_with_a_disc_on_the_bottom_is_not_certain(table, context):
    on_bottom = history(table, [("12", (1.9, ">"))])
    assert evaluate(usual(), on_bottom, context("2025-07-31")) == []
    # clearer than usual is certain when even the bottom depth is above the band
    deep = history(table, [("12", (5.0, ">"))])
    assert len(evaluate(usual(side="clearer"), deep, context("2025-07-31"))) == 1


def test_percentile_side_follows_the_parameter(table, context):
    readings = history(table, [("12", (9.0,))]).assign(parameter="turbidity_ntu")
    (episode,) = evaluate(usual(parameter="turbidity_ntu"), readings, context("2025-07-31"))
    assert episode.evidence["percentile"] == 100.0
    assert evaluate(usual(parameter="turbidity_ntu", side="clearer"), readings, context("2025-07-31")) == []


def test_percentile_takes_the_median_of_a_day_and_checks_suspects(table, context):
    many = [("12T15:00", (0.5,)), ("12T16:00", (3.0,)), ("12T17:00", (3.0,)), ("19T17:00", (0.5, "=", 3))]
    (episode,) = evaluate(usual(), history(table, many), context("2025-07-31"))
    assert (episode.aspect, episode.severity, episode.peak) == ("check", "note", 0.5)


# --- rate


def test_rate_fall_per_week(weekly, context):
    rule = RateRule(id="falling", parameter="secchi", direction="fall", per_week=1.0, window_days=7)
    (episode,) = evaluate(rule, weekly([5.0, 4.5, 3.0, 2.8]), context("2025-08-01"))
    assert f"{episode.opened:%m-%d} {episode.over:%m-%d}" == "06-15 06-22"
    assert episode.evidence["found_per_week"] == pytest.approx(-1.5)
    assert episode.message == "Alder point: Disc depth went from 4.5 m to 3.0 m in 7 days."


def test_rate_exactly_at_the_limit_does_not_fire_and_directions(weekly, context):
    def fired(direction, values):
        rule = RateRule(id="fast", parameter="secchi", direction=direction, per_week=1.0, window_days=7)
        return len(evaluate(rule, weekly(values), context("2025-08-01")))

    assert fired("fall", [5.0, 4.0]) == 0
    assert fired("fall", [5.0, 3.9]) == 1
    assert fired("rise", [5.0, 3.9]) == 0
    assert fired("either", [3.9, 5.0]) == 1


def test_rate_is_certain_or_silent(weekly, context):
    rule = RateRule(id="fast", parameter="secchi", direction="fall", per_week=1.0, window_days=7)
    assert evaluate(rule, weekly([5.0, ">1.5"]), context("2025-08-01")) == []
    assert len(evaluate(rule, weekly([">5.0", 2.0]), context("2025-08-01"))) == 1  # fell by 3 at least
    rise = rule.model_copy(update={"direction": "rise"})
    assert evaluate(rise, weekly([">1.5", 5.0]), context("2025-08-01")) == []
    assert len(evaluate(rise, weekly(["<1.5", 5.0]), context("2025-08-01"))) == 1


def test_rate_does_not_take_logger_noise_for_change(table, context):
    times = pd.date_range("2025-07-01", periods=400, freq="h")
    rows = [(t.isoformat(), 15 + 0.3 * (-1) ** i) for i, t in enumerate(times)]
    rule = RateRule(id="fast", parameter="temperature", per_week=1.0, window_days=14, min_days=7)
    assert evaluate(rule, table(rows, parameter="temperature"), context("2025-08-01")) == []


# --- overdue

SEASON = (5, 6, 7, 8, 9)


def late(table, context, days, as_of, **more):
    rows = [(f"{day}T17:00", 3.0) for day in days]
    rule = OverdueRule(id="late", parameter="secchi", months=SEASON, **more)
    found = evaluate(rule, table(rows), context(as_of))
    return [(f"{e.opened.tz_convert('America/Chicago'):%Y-%m-%d}", e.state, e.ending) for e in found]


def test_overdue_after_the_schedule_of_14_days(table, context):
    assert late(table, context, ["2025-06-01"], "2025-06-15 20:00") == []
    assert late(table, context, ["2025-06-01"], "2025-06-16 20:00") == [("2025-06-16", "open", "")]
    assert late(table, context, ["2025-06-01", "2025-06-20"], "2025-06-21") == [
        ("2025-06-16", "over", "cleared")
    ]
    assert late(table, context, ["2025-06-01", "2025-06-15"], "2025-06-21") == []
    assert late(table, context, ["2025-06-01"], "2025-06-20", grace_days=7) == []


def test_nobody_is_late_in_winter_and_spring_begins_anew(table, context):
    found = late(table, context, ["2024-09-25"], "2025-05-14 20:00")
    assert found == []
    assert late(table, context, ["2024-09-25"], "2025-05-15 20:00") == [("2025-05-15", "open", "")]
    assert late(table, context, ["2024-09-10"], "2025-01-31") == [("2024-09-25", "over", "season ended")]


def test_a_suspect_visit_is_a_visit_and_the_message_has_dates(table, context):
    readings = table([("2025-06-01T17:00", 3.0), ("2025-06-10T17:00", 0.1, "=", 3)])
    (episode,) = evaluate(OverdueRule(id="late", parameter="secchi"), readings, context("2025-07-01"))
    assert (
        episode.message
        == "Alder point: Disc depth last read on 10 Jun 2025; the next was due by 24 Jun 2025."
    )
    again = evaluate(OverdueRule(id="late", parameter="secchi"), readings, context("2025-07-09"))
    assert again == [episode]
    (graced,) = evaluate(
        OverdueRule(id="late", parameter="secchi", grace_days=5), readings, context("2025-07-01")
    )
    assert graced.message == episode.message  # due by the schedule; the grace only delays the alert
    assert graced.opened - episode.opened == pd.Timedelta(days=5)


# --- silent


def hourly(table, values, start="2025-07-01T00:00"):
    times = pd.date_range(start, periods=len(values), freq="h")
    rows = [(t.isoformat(), v) for t, v in zip(times, values, strict=True) if v is not None]
    return table(rows, parameter="temperature", depth=1.0)


def test_silent_between_readings_and_up_to_now(table, context):
    rule = SilentRule(id="logger", parameter="temperature", silent_hours=5)
    waves = [15 + np.sin(i) for i in range(10)]
    readings = hourly(table, [*waves, *[None] * 8, *waves])
    (episode,) = evaluate(rule, readings, context("2025-07-02 04:00"))
    assert (episode.aspect, episode.ending, episode.evidence["hours"]) == ("silent", "cleared", 9.0)
    assert f"{episode.opened:%H:%M}" == "14:00"
    both = evaluate(rule, readings, context("2025-07-03"))
    assert [e.state for e in both] == ["over", "open"]
    assert "has sent nothing" in both[1].message
    assert evaluate(rule, readings, context("2025-07-04"))[1] == both[1]


def test_a_date_is_the_day_at_the_station_and_not_yet_over(table, context):
    day = dt.date(2025, 7, 1)
    rule = SilentRule(id="logger", parameter="temperature", silent_hours=5)
    readings = hourly(
        table, [15 + np.sin(i) for i in range(30)]
    )  # up to 2 July 05:00 UTC, midnight in Chicago
    assert evaluate(rule, readings, context(day)) == []
    assert (
        evaluate(rule, readings, context(dt.date(2025, 7, 2))) == []
    )  # nobody knows how late on 2 July it is
    assert len(evaluate(rule, readings, context(dt.date(2025, 7, 3)))) == 1
    evening = table([("2025-07-02T02:00", 1.0)])  # 21:00 on 1 July at the station
    murky = LimitRule(id="murky", parameter="secchi", below=2)
    assert len(evaluate(murky, evening, context(day))) == 1
    assert evaluate(murky, evening, context("2025-07-01 23:00")) == []


def test_flat_logger(table, context):
    rule = SilentRule(id="logger", parameter="temperature", silent_hours=None, flat_hours=6, eps=0.05)
    waves = [15 + np.sin(i) for i in range(10)]
    readings = hourly(table, [*waves, *[12.0, 12.04] * 5, *waves])
    (episode,) = evaluate(rule, readings, context("2025-07-03"))
    assert (episode.aspect, episode.ending) == ("flat", "cleared")
    assert f"{episode.began:%H} {episode.opened:%H} {episode.last:%H} {episode.over:%H}" == "10 16 19 20"
    assert evaluate(rule, hourly(table, waves * 3), context("2025-07-03")) == []
    apart = hourly(
        table, [*waves, 12.0, 12.0, *[None] * 10, 12.0, 12.0]
    )  # equal, but nobody saw the hours between
    assert evaluate(rule, apart, context("2025-07-03")) == []


def test_slow_drift_is_one_episode_and_visits_are_no_logger(table, weekly, context):
    rule = SilentRule(id="logger", parameter="temperature", silent_hours=None, flat_hours=6, eps=0.05)
    drift = [4.0 + 0.002 * i for i in range(80)]  # 0.05 in 25 h: flat all the time
    assert len(evaluate(rule, hourly(table, drift), context("2025-07-05"))) == 1
    discs = SilentRule(id="logger", parameter="secchi", silent_hours=5)
    assert evaluate(discs, weekly([3.0, 3.0, 3.0]), context("2025-08-01")) == []


# --- class change


def classes(labels, first=2015, station="alder"):
    years = range(first, first + len(labels))
    return pd.DataFrame({"station": station, "index": "tsi", "year": years, "label": labels})


def changed(context, table, labels, as_of="2025-01-15", **more):
    rule = ClassChangeRule(id="class", index="tsi", **more)
    found = evaluate(rule, table([("2015-01-01", 1.0)]), context(as_of, classes=classes(labels)))
    return [(e.opened.year - 1, e.ending, e.evidence["before"], e.evidence["now"]) for e in found]


def test_class_change_opens_settles_and_returns(context, table):
    new = "the new class is the usual one"
    assert changed(context, table, ["A", "A", "B"]) == [(2017, "", "A", "B")]
    assert changed(context, table, ["A", "A", "B", "B", "B"]) == [(2017, new, "A", "B")]
    assert changed(context, table, ["A", "B", "A"]) == [(2016, "the class changed again", "A", "B")]
    assert changed(context, table, ["A", "B", "B", "B", "A"])[1] == (2019, "", "B", "A")
    assert changed(context, table, ["A", "B", "A"], hold_years=2) == []
    assert changed(context, table, ["A", "B", "B"], hold_years=2) == [(2017, "", "A", "B")]


def test_class_change_towards(context, table):
    order = {"order": ("A", "B", "C")}
    assert len(changed(context, table, ["B", "C"], towards="murkier", **order)) == 1
    assert changed(context, table, ["B", "A"], towards="murkier", **order) == []
    assert len(changed(context, table, ["B", "A"], towards="clearer", **order)) == 1


def test_class_of_a_year_is_known_when_its_months_are_over(context, table):
    assert changed(context, table, ["A", "B"], as_of="2016-12-31") == []
    assert len(changed(context, table, ["A", "B"], as_of="2017-01-01 01:00")) == 1
    assert len(changed(context, table, ["A", "B"], as_of="2016-10-02", months=(6, 7, 8, 9))) == 1


def test_classes_from_readings_and_a_classifier(context, table):
    def classify(index, value):
        return "murky" if value < 2 else "clear"

    rule = ClassChangeRule(id="class", index="tsi", parameter="secchi")
    clear = [(f"2023-07-0{i}", 3.0) for i in range(1, 4)]
    murky = [(f"2024-07-0{i}", 1.0) for i in range(1, 4)]
    (episode,) = evaluate(rule, table(clear + murky), context("2025-02-01", classify=classify))
    assert episode.message == "Alder point: murky in 2024, clear before (tsi)."
    unsure = [(f"2024-07-0{i}", 1.0, ">") for i in range(1, 4)]  # on the bottom: murky or clear, nobody knows
    assert evaluate(rule, table(clear + unsure), context("2025-02-01", classify=classify)) == []
    assert evaluate(rule, table(clear + murky[:2]), context("2025-02-01", classify=classify)) == []


# --- trend


def trends(p, slope=-0.05):
    return pd.DataFrame(
        {
            "station": ["alder", "birch", "cedar", "x1"][: len(p)],
            "parameter": "secchi",
            "p": p,
            "slope": slope,
            "n": 20,
        }
    ).assign(direction="decreasing", through="2025-09-30")


def test_trend_is_held_to_the_false_discovery_rate(context, table):
    """0.04 alone would be sure; among four stations its adjusted p is 0.08 and it is not."""
    rule = TrendRule(id="trend", parameter="secchi")
    none = table([])
    found = evaluate(rule, none, context("2025-10-01", trends=trends([0.001, 0.04, 0.5, 0.9])))
    assert [e.station for e in found] == ["alder"]
    assert found[0].evidence["p_adjusted"] == pytest.approx(0.004)
    assert (
        found[0].message
        == "Alder point: Disc depth is decreasing, -0.05 m a year (p 0.004 among 4 stations)."
    )
    alone = evaluate(rule, none, context("2025-10-01", trends=trends([0.04])))
    assert len(alone) == 1


def test_trend_selection(context, table):
    both = trends([0.001, 0.001])
    none, at = table([]), context("2025-10-01", trends=both)
    assert evaluate(TrendRule(id="t", parameter="secchi", direction="increasing"), none, at) == []
    assert evaluate(TrendRule(id="t", parameter="secchi", min_slope=0.06), none, at) == []
    assert evaluate(TrendRule(id="t", parameter="temperature"), none, at) == []
    assert len(evaluate(TrendRule(id="t", parameter="secchi", stations=("birch",)), none, at)) == 1
    with pytest.raises(ArgumentError, match="slope"):
        evaluate(
            TrendRule(id="t", parameter="secchi"),
            none,
            context("2025-10-01", trends=both.drop(columns="slope")),
        )


def test_a_trend_is_news_once_and_keeps_its_opening(context, table):
    rule, none = TrendRule(id="trend", parameter="secchi"), table([])

    def look(known, p, as_of):
        sure = trends([p]).assign(through=as_of)
        return merge(known, evaluate(rule, none, context(as_of, trends=sure)), as_of=as_of)

    first = look([], 0.01, "2025-01-01")
    assert len(first.opened) == 1
    seen = mark_seen(first.episodes[0], who="a person", when="2025-01-02")
    second = look([seen], 0.005, "2026-01-01")
    assert len(second.continued) == 1
    assert second.episodes[0].opened == first.episodes[0].opened
    assert second.episodes[0].state == "seen"
    gone = look(second.episodes, 0.5, "2027-01-01")
    assert gone.episodes[0].ending == "no longer holds"
    assert not look(gone.episodes, 0.5, "2028-01-01").any
    back = look(gone.episodes, 0.01, "2029-01-01")
    assert len(back.opened) == 1
    assert len(back.episodes) == 2
