"""Which reading belongs to which survey: small cases a person can do, and a brute-force twin."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from fathomlight.errors import ArgumentError
from fathomlight.fish import DEFAULT_WINDOWS, Window, linkage_table, match_readings
from fathomlight.model import CATCH_COLUMNS, READING_COLUMNS, SURVEY_COLUMNS, Flag, Station, empty_frame

STATIONS = {"A": "Mirror", "B": "Mirror", "Z": "Slate"}


def readings(rows):
    """Rows of (station, day, value, qualifier[, parameter, depth, flag])."""
    full = [(*row, *("secchi", 0.0, 1)[len(row) - 4 :]) if len(row) < 7 else row for row in rows]
    frame = pd.DataFrame(
        full, columns=["station", "local_date", "value", "qualifier", "parameter", "depth_m", "flag"]
    )
    frame["local_date"] = pd.to_datetime(frame["local_date"])
    frame = frame.assign(
        time=frame["local_date"].dt.tz_localize("UTC"),
        replicate=1,
        original_value="",
        original_unit="m",
        batch=1,
        method="",
        note="",
    )
    return frame[list(READING_COLUMNS)].astype(dict(READING_COLUMNS))


def surveys(*rows):
    frame = pd.DataFrame(rows, columns=["survey", "water", "start"])
    frame["start"] = pd.to_datetime(frame["start"])
    frame = frame.assign(station="A", gear="seine", end=pd.NaT, effort=1.0, effort_unit="haul", note="")
    return frame[list(SURVEY_COLUMNS)].astype(dict(SURVEY_COLUMNS))


BEFORE = (Window("before", days=30),)


def test_median_count_and_distance_by_head():
    rows = [
        ("A", "2024-07-01", 2.0, "="),
        ("A", "2024-07-11", 3.0, "="),
        ("B", "2024-07-21", 7.0, "="),
        ("A", "2024-07-22", 9.0, "="),
        ("A", "2024-06-20", 9.0, "="),
        ("Z", "2024-07-20", 9.0, "="),
    ]
    result = match_readings(
        surveys(("s", "Mirror", "2024-07-21 22:00")), readings(rows), stations=STATIONS, windows=BEFORE
    )
    row = result.table.iloc[0]
    assert (row["clarity"], row["clarity_qualifier"], row["readings"], row["stations"]) == (3.0, "=", 3, 2)
    assert (row["nearest_days"], row["median_days"]) == (0, 10)
    assert result.unmatched.empty


def test_a_logger_does_not_outvote_a_disc():
    rows = [("A", "2024-07-01", 1.0, "=")] * 50 + [
        ("B", "2024-07-02", 3.0, "="),
        ("B", "2024-07-03", 5.0, "="),
    ]
    row = match_readings(
        surveys(("s", "Mirror", "2024-07-10")), readings(rows), stations=STATIONS, windows=BEFORE
    ).table.iloc[0]
    assert row["clarity"] == 3.0
    assert (row["readings"], row["reading_days"]) == (52, 3)


@pytest.mark.parametrize(
    ("values", "clarity", "qualifier"),
    [
        ([(2, "="), (3, "="), (4, ">")], 3, "="),  # the bound lies above the middle: the median is known
        ([(2, "="), (4, ">"), (5, "=")], 4, ">"),  # the disc on the bottom at 4 m decides: at least 4
        ([(4, ">")], 4, ">"),
        ([(4, "<"), (5, "="), (6, "=")], 5, "="),
        ([(4, "<"), (3, "<"), (6, "=")], 4, "<"),
        ([(2, "="), (4, "=")], 3, "="),
        ([(2, "="), (4, ">")], 3, ">"),  # mean of 2 and at least 4
    ],
)
def test_bounds_take_part_as_bounds(values, clarity, qualifier):
    rows = [("A", f"2024-07-{day:02d}", float(v), q) for day, (v, q) in enumerate(values, 1)]
    row = match_readings(
        surveys(("s", "Mirror", "2024-07-10")), readings(rows), stations=STATIONS, windows=BEFORE
    ).table.iloc[0]
    assert (row["clarity"], row["clarity_qualifier"]) == (clarity, qualifier)
    assert row["clarity_low"] <= clarity <= row["clarity_high"]


def test_bounds_on_both_sides_match_nothing_and_say_so():
    rows = [("A", "2024-07-01", 2.0, "<"), ("A", "2024-07-02", 4.0, ">")]
    result = match_readings(
        surveys(("s", "Mirror", "2024-07-10")), readings(rows), stations=STATIONS, windows=BEFORE
    )
    assert result.table.empty
    assert "no median" in result.unmatched["reason"].iloc[0]


def test_every_survey_is_matched_or_listed_with_a_reason():
    rows = [
        ("A", "2024-05-01", 2.0, "="),
        ("A", "2024-07-01", 2.0, "=", "secchi", 0.0, Flag.FAIL),
        ("A", "2023-07-01", 4.0, "="),
    ]
    asked = surveys(
        ("s1", "Mirror", "2024-07-10"),
        ("s2", "Slate", "2024-07-10"),
        ("s3", "Mirror", None),
        ("s4", "Mirror", "2024-04-10"),
    )
    result = match_readings(asked, readings(rows), stations=STATIONS)
    assert len(result.table) + len(result.unmatched) == len(asked) * len(DEFAULT_WINDOWS)
    reasons = result.unmatched.set_index(["survey", "window"])["reason"]
    assert "the nearest is 70 days before" in reasons["s1", "before the survey"]
    assert "at all" in reasons["s2", "growing season"]
    assert "no date" in reasons["s3", "year before"]
    assert "before the season began" in reasons["s4", "growing season"]
    found = result.table.set_index(["survey", "window"])["clarity"]
    assert found["s1", "growing season"] == 2.0  # the flagged reading does not count
    assert found["s1", "year before"] == 4.0
    assert found["s4", "year before"] == 4.0


def test_at_least_and_flags():
    rows = [("A", "2024-07-01", 2.0, "="), ("A", "2024-07-02", 4.0, "=", "secchi", 0.0, Flag.SUSPECT)]
    one = surveys(("s", "Mirror", "2024-07-10"))
    strict = match_readings(one, readings(rows), stations=STATIONS, windows=BEFORE, at_least=2)
    assert "only 1 of the 2" in strict.unmatched["reason"].iloc[0]
    loose = match_readings(
        one, readings(rows), stations=STATIONS, windows=BEFORE, at_least=2, flags=tuple(Flag)
    )
    assert loose.table["clarity"].iloc[0] == 3.0


def test_seasons_and_days():
    season = Window("s", "season", months=(5, 9))
    july = np.datetime64("2024-07-10")
    assert season.bounds(july) == (np.datetime64("2024-05-01"), july)
    whole = Window("s", "season", months=(5, 9), until_survey=False)
    assert whole.bounds(july)[1] == np.datetime64("2024-09-30")
    before = Window("s", "season", years_back=1)
    assert before.bounds(july) == (np.datetime64("2023-05-01"), np.datetime64("2023-09-30"))
    south = Window("s", "season", months=(11, 2), until_survey=False)
    assert south.bounds(np.datetime64("2024-01-10")) == (
        np.datetime64("2023-11-01"),
        np.datetime64("2024-02-29"),
    )
    assert south.bounds(np.datetime64("2024-12-10")) == (
        np.datetime64("2024-11-01"),
        np.datetime64("2025-02-28"),
    )
    assert Window("d", days=3, after_days=2).bounds(july) == (
        np.datetime64("2024-07-07"),
        np.datetime64("2024-07-12"),
    )
    with pytest.raises(ArgumentError):
        Window("x", days=-1)
    with pytest.raises(ArgumentError):
        Window("x", "season", months=(0, 9))
    with pytest.raises(ArgumentError):
        Window("x", "moon")  # type: ignore[arg-type]


def test_temperature_comes_along_from_the_surface():
    rows = [
        ("A", "2024-07-01", 2.0, "="),
        ("A", "2024-07-01", 20.0, "=", "temperature", 0.5, 1),
        ("A", "2024-07-01", 8.0, "=", "temperature", 12.0, 1),
    ]
    row = match_readings(
        surveys(("s", "Mirror", "2024-07-10")), readings(rows), stations=STATIONS, windows=BEFORE
    ).table.iloc[0]
    assert row["temperature"] == 20.0


def test_distance_between_stations_and_other_ways_to_name_waters():
    rows = readings([("B", "2024-07-01", 2.0, "=")])
    one = surveys(("s", "Mirror", "2024-07-10"))
    places = [Station("A", "A", "Mirror", 45.0, -90.0), Station("B", "B", "Mirror", 46.0, -90.0)]
    table = match_readings(one, rows, stations=places, windows=BEFORE).table
    assert table["distance_km"].iloc[0] == pytest.approx(111.19, abs=0.1)  # one degree of latitude
    frame = pd.DataFrame({"station": ["B"], "water": ["Mirror"]})
    assert math.isnan(match_readings(one, rows, stations=frame, windows=BEFORE).table["distance_km"].iloc[0])
    assert len(match_readings(one, rows.assign(water="Mirror"), windows=BEFORE).table) == 1
    with pytest.raises(ArgumentError, match="water of each reading"):
        match_readings(one, rows, windows=BEFORE)
    with pytest.raises(ArgumentError, match="windows"):
        match_readings(one, rows, stations=STATIONS, windows=(*BEFORE, *BEFORE))
    with pytest.raises(ArgumentError, match="readings"):
        match_readings(one, rows.drop(columns="flag"), stations=STATIONS)


def test_readings_of_unknown_stations_are_counted():
    rows = readings([("A", "2024-07-01", 2.0, "="), ("Q", "2024-07-01", 9.0, "=")])
    result = match_readings(surveys(("s", "Mirror", "2024-07-10")), rows, stations=STATIONS, windows=BEFORE)
    assert result.table["clarity"].iloc[0] == 2.0
    assert any("water is not known" in note for note in result.notes)


def test_no_readings_and_no_surveys():
    empty = readings([])
    result = match_readings(surveys(("s", "Mirror", "2024-07-10")), empty, stations=STATIONS)
    assert len(result.unmatched) == 3
    nothing = match_readings(empty_frame(SURVEY_COLUMNS), empty, stations=STATIONS)
    assert nothing.table.empty
    assert nothing.unmatched.empty


def test_agrees_with_a_brute_force_twin():
    rng = np.random.default_rng(4)
    days = pd.to_datetime("2020-01-01") + pd.to_timedelta(rng.integers(0, 1500, 600), unit="D")
    rows = readings(
        [
            (s, d, float(v), "=")
            for s, d, v in zip(rng.choice(list("ABZ"), 600), days, rng.uniform(1, 6, 600), strict=True)
        ]
    )
    start = pd.to_datetime("2020-06-01") + pd.to_timedelta(rng.integers(0, 1400, 40), unit="D")
    asked = surveys(*[(f"s{i}", rng.choice(["Mirror", "Slate"]), d) for i, d in enumerate(start)])
    table = match_readings(asked, rows, stations=STATIONS, windows=BEFORE).table.set_index("survey")
    water = rows["station"].map(STATIONS)
    for survey in asked.itertuples():
        gap = (survey.start - rows["local_date"]).dt.days
        inside = rows[(water == survey.water) & (gap >= 0) & (gap <= 30)]
        if inside.empty:
            assert survey.survey not in table.index
        else:
            median = inside.groupby(["station", "local_date"])["value"].median().median()
            assert table.loc[survey.survey, "clarity"] == pytest.approx(median)
            assert table.loc[survey.survey, "readings"] == len(inside)


def test_linkage_table_joins_zeros_and_keeps_one_window():
    rows = readings([("A", "2024-07-01", 2.0, "="), ("A", "2023-07-01", 4.0, "=")])
    asked = surveys(("s1", "Mirror", "2024-07-10"), ("s2", "Mirror", "2024-07-11"))
    caught = pd.DataFrame([("s1", "Walleye", 3, 1, math.nan)], columns=list(CATCH_COLUMNS)).astype(
        dict(CATCH_COLUMNS)
    )
    match = match_readings(asked, rows, stations=STATIONS)
    table = linkage_table(match, caught, "Sander vitreus")
    assert table["count"].tolist() == [3, 0]
    assert table["year"].tolist() == [2024, 2024]
    assert table["day_of_year"].tolist() == [192, 193]  # 2024 is a leap year
    assert set(table["window"]) == {"before the survey"}
    assert linkage_table(match, caught, "walleye", window="year before")["clarity"].tolist() == [4.0, 4.0]
    assert linkage_table(match, caught, "walleye", gear="gill net").empty
    with pytest.raises(ArgumentError, match="not declared"):
        linkage_table(match, caught, "walleye", window="some day")
