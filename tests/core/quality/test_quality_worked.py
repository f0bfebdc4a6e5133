"""The QARTOD tests against worked cases and answers a person can do in the head."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from hypothesis import given
from hypothesis import strategies as st

from fathomlight.errors import ArgumentError
from fathomlight.quality import QualitySettings, effective_flag, qartod_flags, roll_up

NAN = float("nan")
# Worked by hand from the two definitions: the neighbour mean of QARTOD (manual for temperature and salinity,
# v2.1, test 6) and the two-difference statistic of GTSPP (IOC Manuals & Guides 22).
SPIKE_SERIES = [10, 10.2, 15.1, 10.1, 10]


def hourly(n: int) -> pd.DatetimeIndex:
    return pd.date_range("2025-07-01", periods=n, freq="h", tz="UTC")


def flags(values, test, settings, times=None, **more):
    result = qartod_flags(values, times, settings={test: settings}, **more)
    return np.asarray(result.by_test[test]).tolist()


@pytest.mark.parametrize(
    ("rule", "low", "high", "expected"),
    [
        ("neighbour-mean", 3, 8, [2, 1, 3, 1, 2]),
        ("neighbour-mean", 2, 4, [2, 3, 4, 3, 2]),
        ("two-difference", 3, 8, [2, 1, 3, 1, 2]),
        ("two-difference", 2, 4, [2, 1, 4, 1, 2]),
    ],
)
def test_spike_worked_case(rule, low, high, expected):
    assert flags(SPIKE_SERIES, "spike", {"rule": rule, "low": low, "high": high}) == expected


def test_spike_threshold_is_exceeded_not_met():
    # neighbours 10 and 10, middle 13: d is exactly 3
    assert flags([10, 13, 10], "spike", {"low": 3, "high": 5}) == [2, 1, 2]
    assert flags([10, 13, 10], "spike", {"low": 2.9, "high": 3}) == [2, 3, 2]


def test_spike_is_silent_beside_missing_limits_and_gaps():
    spike = {"low": 1, "high": 3}
    assert flags([1, NAN, 9, 1, 1], "spike", spike) == [2, 9, 2, 4, 2]
    assert flags([1, 1, 9, 1, 1], "spike", spike, qualifiers=["=", "<", "=", "=", "="]) == [2, 2, 2, 4, 2]
    times = pd.DatetimeIndex(["2025-07-01 00:00", "2025-07-01 01:00", "2025-07-01 09:00"])
    broken = qartod_flags(
        [1, 9, 1], times, settings={"spike": spike, "gap": {"hours": 2}, "series": "logger"}
    )
    assert broken.by_test["spike"].tolist() == [2, 2, 2]


def test_gross_range_worked_case():
    # water temperature -0.5 with operator minimum 0 is suspect, 45 with sensor maximum 40 fails, a blank
    # is missing
    result = qartod_flags([-0.5, 45, NAN], settings={"gross_range": {"fail": [-5, 40], "suspect": [0, 30]}})
    assert result.flags.tolist() == [3, 4, 9]


def test_gross_range_limits_are_inside():
    table = {"fail": [0, 40], "suspect": [1, 30]}
    assert flags([0, 1, 30, 40], "gross_range", table) == [3, 1, 1, 3]


@pytest.mark.parametrize(
    ("value", "sign", "expected"),
    [
        (1.5, ">", 2),  # seen on the bottom at 1.5 m: deeper than 1.5, so "below 2" is not certain
        (2.5, ">", 1),
        (45.0, ">", 4),  # more than 45 is certainly more than 40
        (1.0, "<", 3),  # below 1 is certainly below 2
        (35.0, "<", 2),  # below 35 may well be below 30
        (2.5, "<", 1),
        (1.5, "=", 3),
    ],
)
def test_gross_range_respects_qualifiers(value, sign, expected):
    table = {"fail": [-1, 40], "suspect": [2, 30]}
    assert flags([value], "gross_range", table, qualifiers=[sign]) == [expected]


def test_climatology_by_month_has_no_fail_level():
    times = pd.to_datetime(["2025-06-10", "2025-07-10", "2025-07-11", "2025-09-10"])
    table = {"jun": [1, 6], "7": [0.8, 5]}
    assert flags([6.5, 5.0, 999.0, 0.1], "climatology", table, times) == [3, 1, 3, 2]


def test_climatology_by_season_and_depth():
    table = {"windows": [{"name": "summer", "months": [6, 7, 8], "range": [15, 30], "depth": [0, 5]}]}
    times = ["2025-07-10"] * 3
    assert flags([10, 10, 20], "climatology", table, times, depths=[2, 9, 5]) == [3, 2, 1]


def test_climatology_uses_the_date_at_the_station():
    # 30 June at the station (UTC-5) is already 1 July in UTC
    table = {"jun": [0, 1], "jul": [5, 9]}
    at = ["2025-07-01T03:00Z"]
    assert flags([0.5], "climatology", table, at) == [3]
    assert flags([0.5], "climatology", table, at, local_dates=["2025-06-30"]) == [1]


def test_flat_line_text_and_code_count_differently():
    values = [7.0] * 6
    text = {"eps": 0.01, "suspect": 3, "fail": 5}
    assert flags(values, "flat_line", text) == [2, 2, 3, 3, 4, 4]
    assert flags(values, "flat_line", {**text, "counting": "previous"}) == [2, 2, 2, 3, 3, 4]


def test_flat_line_whole_run_and_a_live_signal():
    table = {"eps": 0.01, "suspect": 3, "fail": 5, "flag_points": "run"}
    assert flags([1, 7, 7, 7, 2, 3], "flat_line", table) == [2, 3, 3, 3, 1, 1]
    assert flags([1, 2, 3, 4, 5, 6], "flat_line", {"eps": 0.5}) == [2, 2, 1, 1, 1, 1]


def test_flat_line_is_broken_by_gaps_and_limits():
    table = {"eps": 0.01, "suspect": 3, "fail": 5}
    assert flags([7, 7, 7, 7], "flat_line", table, qualifiers=["=", "<", "=", "="]) == [2, 2, 2, 2]
    times = pd.to_datetime(["2025-07-01 00:00", "2025-07-01 01:00", "2025-07-01 09:00", "2025-07-01 10:00"])
    settings = {"series": "logger", "flat_line": table, "gap": {"hours": 2}}
    assert qartod_flags([7, 7, 7, 7], times, settings=settings).by_test["flat_line"].tolist() == [2, 2, 2, 2]


def test_flat_line_eps_is_not_reached_by_rounding():
    # steps of exactly one count of 0.01: 10.01 - 10.00 is 0.00999... in floats, but not "less than 0.01"
    assert flags([10.00, 10.01, 10.00, 10.01], "flat_line", {"eps": 0.01, "suspect": 3, "fail": 4}) == [
        2,
        2,
        1,
        1,
    ]
    assert flags([10.0, 10.0, 10.0], "flat_line", {"eps": 0}) == [2, 2, 3]


def test_rate_of_change_by_spread_of_the_last_25_hours():
    # 1, 2 in turn: SD of ten such values is 0.527, three of them 1.58; a step of 1 passes, a step of 4
    # does not
    values = [1.0, 2.0] * 5 + [6.0, 2.0]
    found = flags(values, "rate_of_change", {"n_dev": 3, "window_hours": 25}, hourly(12))
    assert found == [2, 2, 2, 2, 2, 1, 1, 1, 1, 1, 3, 1]


def test_rate_of_change_can_flag_both_points_and_use_differences():
    values = [1.0, 2.0] * 5 + [6.0, 2.0]
    both = flags(values, "rate_of_change", {"flag_points": "both"}, hourly(12))
    assert both[9:11] == [3, 3]
    # differences +1, -1 in turn have SD 1.05: a step of 4 exceeds three of them, a step of 3 does not
    table = {"sd_of": "differences"}
    assert flags(values, "rate_of_change", table, hourly(12))[10] == 3
    assert flags([*values[:10], 5.0], "rate_of_change", table, hourly(11))[10] == 1
    assert flags([*values[:10], 5.0], "rate_of_change", {}, hourly(11))[10] == 3


def test_rate_of_change_fixed_rate_counts_time():
    times = pd.to_datetime(["2025-07-01 00:00", "2025-07-01 01:00", "2025-07-01 03:00"])
    assert flags([10, 13, 17], "rate_of_change", {"per_hour": 2}, times) == [2, 3, 1]


def test_attenuated_signal_needs_a_full_window():
    live = [10.0, 10.5] * 7
    table = {"hours": 12, "suspect": 0.4, "fail": 0.2}
    assert flags(live, "attenuated", table, hourly(14)) == [2] * 12 + [1, 1]
    assert flags([10.0, 10.3] * 7, "attenuated", table, hourly(14))[-1] == 3
    assert flags([10.0, 10.1] * 7, "attenuated", table, hourly(14))[-1] == 4


def test_neighbour_clears_a_step_that_both_saw():
    settings = {"rate_of_change": {"per_hour": 2}, "neighbour": {"hours": 1}}
    times = hourly(4)
    here = [10, 10, 15, 15]
    saw = qartod_flags(here, times, settings=settings, neighbour=([8, 8, 8, 12], times))
    did_not = qartod_flags(here, times, settings=settings, neighbour=([8, 8, 8, 8], times))
    assert saw.by_test["neighbour"].tolist() == [2, 1, 1, 1]
    assert did_not.by_test["neighbour"].tolist() == [2, 1, 3, 1]


def test_gap_lists_pauses_and_marks_missing():
    times = pd.to_datetime(["2025-07-01 00:00", "2025-07-01 01:00", "2025-07-01 06:00", "2025-07-01 07:00"])
    result = qartod_flags(
        [1, 2, 3, NAN],
        times,
        settings={"gap": {"hours": 1}},
        as_of=pd.Timestamp("2025-07-01 12:00", tz="UTC"),
    )
    assert result.by_test["gap"].tolist() == [2, 1, 1, 9]
    assert result.gaps["hours"].tolist() == [5.0, 6.0]
    assert pd.isna(result.gaps["end"].iloc[-1])


def test_visits_get_no_tests_made_for_regular_series():
    weekly = pd.date_range("2025-06-01", periods=6, freq="7D")
    settings = {
        "gross_range": {"fail": [0, 40]},
        "spike": {"low": 0.1, "high": 0.2},
        "flat_line": {"eps": 0.1},
    }
    result = qartod_flags([3, 3, 3, 9, 3, 3], weekly, settings=settings)
    assert result.flags.tolist() == [1] * 6
    assert "visits" in result.method
    assert any("spike, flat line" in note for note in result.notes)
    logger = qartod_flags([3, 3, 3, 9, 3, 3], weekly, settings={**settings, "series": "logger"})
    assert logger.flags.tolist() == [1, 1, 4, 4, 4, 1]


def test_roll_up_precedence():
    assert roll_up({"a": np.array([1, 2, 3, 9]), "b": np.array([2, 2, 4, 9])}, 4).tolist() == [1, 2, 4, 9]
    assert roll_up({}, 2).tolist() == [2, 2]


def test_a_person_goes_before_the_tests():
    assert effective_flag([4, 4, 1], [None, 1, 3]).tolist() == [4, 1, 3]
    with pytest.raises(ArgumentError, match="person"):
        effective_flag([1], [7])


def test_pandas_and_xarray_come_back_as_they_went():
    times = hourly(3)
    settings = {"gross_range": {"fail": [0, 5]}}
    series = qartod_flags(pd.Series([1.0, 9.0, NAN], index=times), settings=settings)
    assert series.flags.tolist() == [1, 4, 9]
    assert series.flags.index.equals(times)
    assert list(series.by_test.columns) == ["gross_range"]
    array = xr.DataArray([1.0, 9.0, NAN], dims="time", coords={"time": times.tz_localize(None)})
    cube = qartod_flags(array, settings=settings)
    assert cube.flags.values.tolist() == [1, 4, 9]
    assert cube.by_test["gross_range"].attrs["flag_meanings"].split()[3] == "fail"
    assert cube.to_dict()["by_test"] == {"gross_range": [1, 4, 9]}
    assert cube.counts == {"pass": 1, "not_evaluated": 0, "suspect": 0, "fail": 1, "missing": 1}


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: qartod_flags([[1.0]], settings={}), "values"),
        (lambda: qartod_flags(["clear"], settings={}), "values"),
        (lambda: qartod_flags([1.0], [3], settings={}), "times"),
        (lambda: qartod_flags([1.0], ["soon"], settings={}), "times"),
        (lambda: qartod_flags([1.0], ["2025-07-01", "2025-07-02"], settings={}), "times"),
        (lambda: qartod_flags([1.0], settings={}, qualifiers=["~"]), "qualifiers"),
        (lambda: qartod_flags([1.0], settings={}, neighbour=[1.0]), "neighbour"),
    ],
)
def test_wrong_arguments_are_named(call, argument):
    with pytest.raises(ArgumentError) as caught:
        call()
    assert caught.value.argument == argument


def test_empty_series_and_infinite_values():
    full = QualitySettings.from_table(FULL)
    assert qartod_flags([], [], settings=full).flags.tolist() == []
    result = qartod_flags([np.inf, 1.0], settings={"gross_range": {"fail": [0, 5]}})
    assert result.flags.tolist() == [9, 1]
    assert "infinite" in " ".join(result.notes)


FULL = {
    "series": "logger",
    "gap": {"hours": 3},
    "gross_range": {"fail": [-5, 45], "suspect": [0, 32]},
    "climatology": {"jul": [8, 28]},
    "spike": {"rule": "two-difference", "low": 1, "high": 3},
    "rate_of_change": {"min_points": 3},
    "flat_line": {"eps": 0.01, "suspect": 3, "fail": 5},
    "attenuated": {"hours": 6, "suspect": 0.05, "fail": 0.02},
}
logger_values = st.lists(
    st.one_of(st.floats(-10, 50, allow_nan=False).map(lambda x: round(x, 2)), st.just(NAN)),
    min_size=1,
    max_size=30,
)


@given(values=logger_values, seed=st.integers(0, 1000))
def test_order_of_rows_does_not_matter(values, seed):
    times = hourly(len(values))
    shuffle = np.random.default_rng(seed).permutation(len(values))
    straight = qartod_flags(values, times, settings=FULL)
    mixed = qartod_flags(np.array(values)[shuffle], times[shuffle], settings=FULL)
    assert mixed.flags.tolist() == straight.flags[shuffle].tolist()


@given(values=logger_values)
def test_flags_are_flags_and_missing_is_exactly_missing(values):
    result = qartod_flags(values, hourly(len(values)), settings=FULL)
    assert set(result.flags.tolist()) <= {1, 2, 3, 4, 9}
    assert ((result.flags == 9) == np.isnan(values)).all()
    assert sum(result.counts.values()) == len(values)


@given(values=logger_values, shift=st.integers(-20, 20))
def test_shape_tests_do_not_see_the_level(values, shift):
    table = {"series": "logger", "spike": {"low": 1.005, "high": 3.005}, "flat_line": {"eps": 0.015}}
    moved = [value + shift for value in values]
    assert (
        qartod_flags(values, settings=table).flags.tolist()
        == qartod_flags(moved, settings=table).flags.tolist()
    )


def test_missing_in_every_dress():
    settings = {"gross_range": {"fail": [0, 5]}}
    masked = np.ma.MaskedArray([1.0, 9.0, 2.0], mask=[False, True, False])
    assert qartod_flags(masked, settings=settings).flags.tolist() == [1, 9, 1]
    assert qartod_flags(pd.Series([1.0, None], dtype="Float64"), settings=settings).flags.tolist() == [1, 9]
    assert qartod_flags([1, None, 7], settings=settings).flags.tolist() == [1, 9, 4]


def test_a_reading_without_time_still_has_its_range_tested():
    times = ["2025-07-01T00:00", None, "2025-07-01T01:00", "2025-07-01T02:00"]
    result = qartod_flags([1.0, 99.0, 1.1, 1.0], times, settings={**FULL, "climatology": {"jul": [0, 2]}})
    assert result.flags.tolist() == [1, 4, 1, 1]
    assert result.by_test["spike"].tolist() == [2, 2, 1, 2]
    assert "1 readings have no time" in " ".join(result.notes)
