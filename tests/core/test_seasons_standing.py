"""This year against its past: standing, its sentence, and the envelope."""

from __future__ import annotations

import json

import numpy as np
import pandas as pd
import pytest

from fathomlight.errors import ArgumentError
from fathomlight.seasons import day_of_year, days_apart, envelope, standing


def series(dates, values, qualifier="=", flag=1):
    date = pd.to_datetime(pd.Series(dates)).astype("datetime64[us]")
    return pd.DataFrame(
        {"local_date": date, "value": np.asarray(values, dtype=float), "qualifier": qualifier, "flag": flag}
    )


def past(values, last, mark=None, marks=None, start=2006, day="07-24"):
    """One reading a year on one day, then the latest."""
    dates = [f"{start + k}-{day}" for k in range(len(values) + 1)]
    return series(dates, [*values, last], [*(marks or ["="] * len(values)), mark or "="])


def test_the_sentence_of_the_design():
    dates, values = [], []
    for k in range(64):
        dates.append(f"{2006 + k // 4}-07-{15 + 5 * (k % 4)}")
        values.append(2.0 + 0.01 * k if k >= 7 else 1.5 - 0.01 * k)
    answer = standing(series([*dates, "2025-07-24"], [*values, 1.6]), low=12)
    assert answer.standing == "murkier"
    assert answer.sentence == (
        "1.6 m on 24 July: murkier than 57 of 64 readings taken within 15 days of this date since 2006."
    )
    assert (answer.n_past, answer.n_lower, answer.n_higher, answer.n_years, answer.since) == (
        64,
        7,
        57,
        16,
        2006,
    )
    assert answer.percentile == pytest.approx(100 * 7 / 64)


@pytest.mark.parametrize(
    ("last", "word", "turned"),
    [(0.5, "murkier", "clearer"), (5.5, "usual", "usual"), (20, "clearer", "murkier")],
)
def test_words_and_their_mirror(last, word, turned):
    table = past(range(1, 11), last)
    assert standing(table).standing == word
    mirror = standing(table, clearer="lower", unit="NTU", decimals=0)
    assert mirror.standing == turned
    assert "NTU" in mirror.sentence


def test_usual_says_both_sides():
    answer = standing(past([1, 2, 3, 4, 5, 6, 7, 8, 9, 10], 7.5))
    assert "usual, clearer than 7 and murkier than 3 of 10 readings" in answer.sentence


def test_ties_count_half():
    answer = standing(past([2.0] * 4 + [3.0] * 6, 2.0))
    assert (answer.n_lower, answer.n_equal, answer.n_higher, answer.percentile) == (0, 4, 6, 20)


def test_window_wraps_over_new_year():
    dates = [f"{year}-12-{day}" for year in range(2010, 2016) for day in (24, 30)]
    answer = standing(series([*dates, "2017-01-03"], [2.0] * 12 + [3.0]))
    assert (answer.n_past, answer.n_years, answer.standing) == (12, 6, "clearer")
    # the reading of the same winter, ten days before, is not its past
    again = standing(series([*dates, "2016-12-24", "2017-01-03"], [2.0] * 12 + [9.0, 3.0]))
    assert again.n_past == 12


def test_window_is_counted_in_days():
    table = series([f"{year}-07-09" for year in range(2010, 2020)] + ["2021-07-24"], [1.0] * 10 + [2.0])
    assert standing(table, window_days=15).n_past == 10
    assert standing(table, window_days=14).n_past == 0


def test_leap_day():
    day = day_of_year(
        pd.Series(pd.to_datetime(["2020-02-28", "2020-02-29", "2020-03-01", "2021-03-01", "2020-12-31"]))
    )
    assert day.tolist() == [59, 59, 60, 60, 365]
    assert days_apart(day, 1).tolist()[-1] == 1


def test_too_little_past():
    few = standing(past([1, 2, 3], 2))
    assert few.standing == "too little past"
    assert "3 readings from 3 earlier years" in few.sentence
    dates = [f"{year}-07-{day}" for year in (2018, 2019, 2020) for day in (20, 22, 24, 26)]
    crowded = standing(series([*dates, "2021-07-24"], [1.0] * 12 + [2.0]))
    assert (crowded.n_past, crowded.n_years, crowded.standing) == (12, 3, "too little past")
    assert standing(series([*dates, "2021-07-24"], [1.0] * 12 + [2.0]), min_years=3).standing == "clearer"


def test_no_recent_reading():
    table = past(range(1, 11), 5)  # latest on 24 July 2016
    assert standing(table, as_of="2016-09-22", schedule_days=30).standing == "usual"  # 60 days
    old = standing(table, as_of="2016-09-23", schedule_days=30)
    assert old.standing == "no recent reading"
    assert old.sentence == "No recent reading: the latest, 5.0 m on 24 July, is 61 days old."
    assert "24 July 2016" in standing(table, as_of="2018-01-01").sentence
    assert (
        standing(series([], []).astype({"qualifier": "str", "flag": "int64"})).standing == "no recent reading"
    )


def test_later_readings_are_ignored():
    table = past(range(1, 11), 5)
    answer = standing(table, as_of="2015-08-01", min_readings=5)
    assert (answer.value, answer.n_past) == (10, 9)


def test_latest_good_reading_counts():
    table = past(range(1, 11), 5)
    extra = series(["2016-07-28"], [99.0], flag=4)
    assert standing(pd.concat([table, extra])).value == 5


def test_several_readings_a_day_are_one():
    table = pd.concat([past(range(1, 11), 5), series(["2016-07-24", "2016-07-24"], [8.0, 9.0])])
    answer = standing(table)
    assert (answer.value, answer.n_past) == (8.0, 10)


def test_on_the_bottom_and_surely_clearer():
    answer = standing(past(range(1, 11), 12, mark=">"))
    assert (answer.standing, answer.qualifier) == ("clearer", ">")
    assert answer.sentence.startswith("More than 12.0 m on 24 July: clearer than 10 of 10")
    assert answer.notes == ()


def test_on_the_bottom_leaves_it_open():
    answer = standing(past(range(1, 11), 5.5, mark=">"))
    assert answer.standing == "usual"
    assert answer.percentile_low == 50
    assert answer.percentile_high == 100
    assert "may also be clearer" in answer.notes[0]


def test_past_on_the_bottom_leaves_it_open_or_not():
    marks = ["="] * 5 + [">"] * 5
    assert "may also be" in standing(past([1, 2, 3, 4, 5, 6, 6, 6, 6, 6], 7, marks=marks)).notes[0]
    sure = standing(past([1, 2, 3, 4, 5, 6, 6, 6, 6, 6], 4.5, marks=marks))
    assert sure.notes == ()
    assert sure.standing == "usual"


def test_answer_is_json():
    json.dumps(standing(past(range(1, 11), 5)).to_dict(), allow_nan=False)


@pytest.mark.parametrize("wrong", [{"window_days": 200}, {"low": 95}, {"clearer": "up"}, {"low": -1}])
def test_impossible_settings(wrong):
    with pytest.raises(ArgumentError):
        standing(past(range(1, 11), 5), **wrong)


def test_envelope_in_the_head():
    table = past([1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11], 99)  # 2006 to 2016, then 2017
    band = envelope(table, before=2017).set_index("day")
    middle = band.loc[205]  # 24 July
    assert (middle.n, middle.n_years, middle.p10, middle.p50, middle.p90) == (11, 11, 2, 6, 10)
    assert band.loc[190, "n"] == 11
    assert band.loc[189, "n"] == 0
    assert np.isnan(band.loc[189, "p50"])
    assert len(band) == 365


def test_envelope_wraps_and_takes_dates():
    table = past(range(1, 12), 99, day="01-02")
    band = envelope(table, before=pd.Timestamp("2017-06-01")).set_index("day")
    assert band.loc[360, "n"] == 11
    assert band.loc[17, "n"] == 11
    assert band.loc[18, "n"] == 0


def test_envelope_marks_open_percentiles():
    table = past(range(1, 12), 99, marks=["="] * 6 + [">"] * 5)
    middle = envelope(table, before=2017).set_index("day").loc[205]
    assert (middle.open_p10, middle.open_p50, middle.open_p90) == (False, False, True)


def test_envelope_needs_enough():
    assert envelope(past([1, 2, 3], 4))["p50"].isna().all()
    assert envelope(past([1, 2, 3], 4), min_years=1, min_readings=1)["p50"].notna().any()
    assert envelope(series([], []).astype({"qualifier": "str", "flag": "int64"}))["n"].sum() == 0
    with pytest.raises(ArgumentError):
        envelope(past([1, 2, 3], 4), percentiles=(101,))
