"""Seasonal means: coverage, interval, bounds and class probabilities, by hand and against scipy."""

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from fathomlight.errors import ArgumentError
from fathomlight.indices import (
    CLARITY_CAUTION,
    CLASS_TABLES,
    class_probabilities,
    seasonal_index,
    tsi_secchi,
    window_of_months,
)
from fathomlight.indices.window import in_window, window_days

DATES = ["2024-06-10", "2024-07-10", "2024-08-10", "2024-09-10"]


def only(result):
    assert len(result.years) == 1
    return result.years.iloc[0]


def test_mean_and_t_interval_against_scipy():
    disc = np.array([2.0, 2.5, 1.8, 2.2])
    row = only(seasonal_index(DATES, disc, "secchi"))
    tsi = tsi_secchi(disc)
    low, high = stats.t.interval(0.95, 3, loc=tsi.mean(), scale=stats.sem(tsi))
    assert (row["mean"], row["low"], row["high"]) == pytest.approx((tsi.mean(), low, high))
    assert row["sd"] == pytest.approx(tsi.std(ddof=1))
    assert (row["readings"], row["days"], row["bounds"], row["bound"]) == (4, 4, 0, "")
    assert row["covered"]
    # the mean of the index is the index of the geometric mean
    assert row["mean"] == pytest.approx(tsi_secchi(float(stats.gmean(disc))))


def test_probabilities_add_up_and_name_the_class():
    result = seasonal_index(DATES, [2.0, 2.5, 1.8, 2.2], "secchi")
    row = only(result)
    chances = [row[f"p: {name}"] for name in result.classes]
    assert sum(chances) == pytest.approx(1)
    df, mean, se = 3, row["mean"], row["se"]
    assert row["p: mesotrophic"] == pytest.approx(
        stats.t.cdf((50 - mean) / se, df) - stats.t.cdf((40 - mean) / se, df)
    )
    assert row["class_name"] == "mesotrophic"
    assert "chance of" in row["reading"]
    assert result.reading == row["reading"]
    assert result.caution == CLARITY_CAUTION


def test_class_probabilities_by_hand():
    on_edge = class_probabilities(50.0, 2.0, math.inf)
    assert on_edge["mesotrophic"] == pytest.approx(0.5, abs=1e-6)
    assert on_edge["eutrophic"] == pytest.approx(0.5, abs=1e-6)
    # one standard error inside a limit: the normal distribution leaves 15.87 % beyond it
    assert class_probabilities(48.0, 2.0, math.inf)["eutrophic"] == pytest.approx(0.1587, abs=1e-4)
    assert class_probabilities(50.0, 0.0, 5) == {
        "oligotrophic": 0.0,
        "mesotrophic": 1.0,  # the edge rule: 50 is mesotrophic
        "eutrophic": 0.0,
        "hypereutrophic": 0.0,
    }
    assert all(math.isnan(p) for p in class_probabilities(50.0, 2.0, 0).values())
    assert all(math.isnan(p) for p in class_probabilities(math.nan, 2.0, 5).values())
    deep = class_probabilities(6.5, 0.5, math.inf, CLASS_TABLES["oecd"], "secchi")
    assert deep["oligotrophic"] == pytest.approx(0.8413, abs=1e-4)
    assert deep["mesotrophic"] == pytest.approx(0.1587, abs=1e-4)
    with pytest.raises(ArgumentError, match="se"):
        class_probabilities(50.0, -1.0, 5)


@given(st.floats(0, 100), st.floats(0.01, 20), st.integers(1, 50))
def test_probabilities_are_a_distribution(mean, se, df):
    chances = list(class_probabilities(mean, se, df).values())
    assert sum(chances) == pytest.approx(1)
    assert min(chances) >= 0


def test_a_disc_on_the_bottom_gives_a_bound():
    result = seasonal_index(DATES, [2.0, 2.5, 3.0, 2.2], "secchi", qualifiers=["=", "=", ">", "="])
    row = only(result)
    assert row["bound"] == "at most"  # the water was clearer, its index lower
    assert row["bounds"] == 1
    assert math.isnan(row["low"])
    assert math.isfinite(row["high"])
    assert math.isnan(row["p: mesotrophic"])
    assert "or clearer still" in row["reading"]
    assert any("limits" in note for note in result.notes)


@pytest.mark.parametrize(
    ("parameter", "qualifier", "bound"),
    [
        ("secchi", ">", "at most"),
        ("secchi", "<", "at least"),
        ("total_phosphorus", "<", "at most"),
        ("chlorophyll", ">", "at least"),
    ],
)
def test_direction_of_bounds(parameter, qualifier, bound):
    row = only(seasonal_index(DATES, [5.0, 5.0, 5.5, 5.0], parameter, qualifiers=[qualifier, "=", "=", "="]))
    assert row["bound"] == bound
    assert math.isnan(row["low"]) == (bound == "at most")
    assert math.isnan(row["high"]) == (bound == "at least")


def test_both_kinds_of_bounds_leave_the_mean_open():
    row = only(seasonal_index(DATES, [5.0, 5.0, 5.5, 5.0], "secchi", qualifiers=[">", "<", "=", "="]))
    assert row["bound"] == "open"
    assert math.isnan(row["mean"])
    assert row["class_name"] is None or pd.isna(row["class_name"])
    assert "no seasonal mean" in row["reading"]


def test_coverage_rule():
    few = only(seasonal_index(DATES[:2], [2.0, 2.0], "secchi"))
    assert not few["covered"]
    assert few["why_not"] == "readings on 2 of at least 3 days"
    bunched = only(seasonal_index(["2024-06-01", "2024-06-02", "2024-06-03"], [2.0, 2.1, 2.0], "secchi"))
    assert not bunched["covered"]
    assert bunched["why_not"] == "readings in 1 of at least 2 parts of the season"
    assert math.isfinite(bunched["mean"])
    assert "too few readings" in seasonal_index(DATES[:2], [2.0, 2.0], "secchi").reading


def test_part_borders_of_the_season():
    """A third of the 122 days from June to September is 40.67: 11 July, day 41, is the last of part 1."""
    border = ["2024-06-01", "2024-07-12"]
    assert only(seasonal_index(border, [2.0] * 2, "secchi", min_days=2))["covered"]
    inside = ["2024-06-01", "2024-07-11"]
    assert not only(seasonal_index(inside, [2.0] * 2, "secchi", min_days=2))["covered"]


def test_one_day_counts_once_and_outside_the_window_not_at_all():
    dates = [*DATES, "2024-06-10", "2024-10-05", "2024-05-31"]
    row = only(seasonal_index(dates, [2.0, 2.0, 2.0, 2.0, 8.0, 0.1, 0.1], "secchi"))
    assert (row["readings"], row["days"]) == (5, 4)
    assert row["mean"] == pytest.approx((3 * tsi_secchi(2.0) + tsi_secchi(4.0)) / 4)


def test_a_single_day_has_no_interval():
    row = only(seasonal_index(["2024-07-01"], [2.0], "secchi"))
    assert math.isnan(row["low"])
    assert math.isnan(row["p: mesotrophic"])


def test_bootstrap_is_near_t_and_repeats():
    rng = np.random.default_rng(3)
    dates = pd.date_range("2024-06-01", "2024-09-30", freq="5D")
    disc = 2 * np.exp(0.2 * rng.standard_normal(len(dates)))
    one, two = (only(seasonal_index(dates, disc, "secchi", interval="bootstrap")) for _ in range(2))
    t = only(seasonal_index(dates, disc, "secchi"))
    assert (one["low"], one["high"]) == (two["low"], two["high"])
    assert one["low"] == pytest.approx(t["low"], abs=0.3)
    assert one["high"] == pytest.approx(t["high"], abs=0.3)


def test_interval_covers_the_truth_as_often_as_it_says():
    rng = np.random.default_rng(7)
    dates = pd.date_range("2024-06-01", periods=6, freq="20D")
    disc = 2.0 * np.exp(0.25 * rng.standard_normal((400, 6)))
    tsi = tsi_secchi(disc)
    hits = 0
    for row in disc[:150]:
        found = only(seasonal_index(dates, row, "secchi"))
        hits += found["low"] <= tsi_secchi(2.0) <= found["high"]
    assert tsi.shape == (400, 6)
    assert 0.90 <= hits / 150 <= 0.99


def test_arithmetic_means_for_the_oecd_classes():
    result = seasonal_index(
        ["2024-02-01", "2024-05-01", "2024-08-01", "2024-11-01"],
        [20.0, 30.0, 40.0, 30.0],
        "total_phosphorus",
        of="value",
        classes=CLASS_TABLES["oecd"],
        window=((1, 1), (12, 31)),
    )
    row = only(result)
    assert row["mean"] == 30.0
    assert row["class_name"] == "mesotrophic"
    assert 0 < row["p: eutrophic"] < row["p: mesotrophic"]
    assert "never averaged" not in " ".join(result.notes)
    memory = seasonal_index(
        DATES, [2.0] * 4, "secchi", of="value", classes=CLASS_TABLES["nurnberg"], min_days=1
    )
    assert any("memory" in note for note in memory.notes)


def test_several_years_and_nothing():
    dates = [d.replace("2024", y) for y in ("2022", "2024") for d in DATES]
    result = seasonal_index(dates, [1.0] * 4 + [4.0] * 4, "secchi")
    assert result.years.year.tolist() == [2022, 2024]
    assert result.years.class_name.tolist() == ["eutrophic", "mesotrophic"]  # 40.02 lies just above 40
    empty = seasonal_index([], [], "secchi")
    assert empty.years.empty
    assert "too few readings" in empty.reading
    assert empty.to_dict()["years"] == []


@pytest.mark.parametrize(
    ("arguments", "name"),
    [
        ({"parameter": "temperature"}, "parameter"),
        ({"values": [0.0, 1, 1, 1]}, "secchi_m"),
        ({"values": [1.0]}, "values"),
        ({"qualifiers": ["="]}, "qualifiers"),
        ({"qualifiers": ["?"] * 4}, "qualifiers"),
        ({"confidence": 1.0}, "confidence"),
        ({"min_days": 0}, "min_days"),
        ({"min_parts": 4}, "min_parts"),
        ({"interval": "guess"}, "interval"),
        ({"of": "guess"}, "of"),
        ({"window": ((6, 31), (9, 30))}, "window"),
        ({"dates": ["soon"] * 4}, "dates"),
        ({"dates": pd.to_datetime(DATES).tz_localize("UTC")}, "dates"),
        ({"of": "value"}, "variable"),
    ],
)
def test_refusals(arguments, name):
    full = {"dates": DATES, "values": [1.0, 1.2, 1.1, 1.0], "parameter": "secchi", **arguments}
    with pytest.raises(ArgumentError) as caught:
        seasonal_index(**full)
    assert caught.value.argument == name


# --- windows ----------------------------------------------------------------------------------------------


def test_windows():
    assert window_of_months([6, 7, 8, 9]) == ((6, 1), (9, 30))
    assert window_of_months([1, 12, 2]) == ((12, 1), (2, 29))
    assert window_of_months(range(1, 13)) == ((1, 1), (12, 31))
    for bad in ([], [13], [6, 8]):
        with pytest.raises(ArgumentError, match="months"):
            window_of_months(bad)
    days = np.array(["2019-12-01", "2020-02-29", "2020-03-01", "NaT"], dtype="datetime64[D]")
    inside, year = in_window(days, ((12, 1), (2, 29)))
    assert inside.tolist() == [True, True, False, False]
    assert year[:2].tolist() == [2020, 2020]
    assert window_days(2020, ((12, 1), (2, 29))).size == 91
    assert window_days(2021, ((6, 1), (9, 30))).size == 122
