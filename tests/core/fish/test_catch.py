"""Catch per effort, zeros, and the yearly index."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fathomlight.errors import ArgumentError, UnitError
from fathomlight.fish import (
    CAUTIONS,
    EFFORT_UNITS,
    GEARS,
    catch_per_effort,
    catch_table,
    cautions,
    effort_unit,
    gear_key,
    yearly_index,
    zero_filled,
)
from fathomlight.model import CATCH_COLUMNS, SURVEY_COLUMNS, empty_frame


def surveys(rows):
    """Rows of (survey, water, gear, start, effort, unit)."""
    frame = pd.DataFrame(rows, columns=["survey", "water", "gear", "start", "effort", "effort_unit"])
    frame["start"] = pd.to_datetime(frame["start"])
    return frame.assign(station="", end=pd.NaT, note="")[list(SURVEY_COLUMNS)].astype(dict(SURVEY_COLUMNS))


def catches(rows):
    """Rows of (survey, species, count, pass)."""
    if not rows:
        return empty_frame(CATCH_COLUMNS)
    frame = pd.DataFrame(rows, columns=["survey", "species", "count", "pass_number"])
    return frame.assign(mesh_mm=math.nan)[list(CATCH_COLUMNS)].astype(dict(CATCH_COLUMNS))


FOUR = [
    ("a", "Mirror", "seine", "2024-07-01", 2.0, "haul"),
    ("b", "Mirror", "seine", "2024-07-02", 1.0, "haul"),
    ("c", "Mirror", "gill net", "2024-07-02", 1.0, "net-night"),
    ("d", "Slate", "seine", "2023-07-02", math.nan, "haul"),
]


def test_by_head():
    """2, 0 and 4 fish per haul: mean 2, standard deviation 2; 8 fish in 4 hauls: 2 per haul."""
    result = catch_per_effort([4, 0, 4], [2, 1, 1])
    assert result.mean == 2
    assert result.se == pytest.approx(2 / math.sqrt(3))
    assert result.ratio == 2
    assert result.high == pytest.approx(2 + 4.30265 * 2 / math.sqrt(3), rel=1e-5)  # t(2), 97.5 %: any table
    assert result.low == 0
    assert (result.n, result.zeros) == (3, 1)
    assert result.log_mean == pytest.approx(15 ** (1 / 3) - 1)


def test_ratio_error_vanishes_when_catch_follows_effort_exactly():
    result = catch_per_effort([2, 4, 6], [1, 2, 3])
    assert result.ratio == 2
    assert result.ratio_se == 0


def test_unknown_is_left_out_and_zero_is_kept():
    result = catch_per_effort([4, math.nan, 0, 3], [1, 1, 1, math.nan])
    assert (result.n, result.left_out, result.zeros) == (2, 2, 1)
    assert result.mean == 2
    assert "unknown is not zero" in result.notes[0]


def test_one_or_no_survey_has_no_limits():
    one = catch_per_effort([3], [1])
    assert one.mean == 3
    assert math.isnan(one.se)
    assert math.isnan(one.boot_high)
    assert math.isnan(catch_per_effort([], []).mean)


def test_gears_are_never_pooled():
    with pytest.raises(ArgumentError, match="different gears"):
        catch_per_effort([1, 2], [1, 1], gears=["seine", "gill net"])
    assert catch_per_effort([1, 2], [1, 1], gears=["seine", "Beach Seine"]).n == 2


@pytest.mark.parametrize(
    ("count", "effort", "name"), [([-1], [1], "counts"), ([1], [0], "effort"), ([1, 2], [1, 1, 1], "effort")]
)
def test_refuses(count, effort, name):
    with pytest.raises(ArgumentError) as error:
        catch_per_effort(count, effort)
    assert error.value.argument == name


@given(st.lists(st.tuples(st.integers(0, 200), st.floats(0.1, 20)), min_size=3, max_size=30))
def test_properties(pairs):
    count, effort = (np.array(values) for values in zip(*pairs, strict=True))
    result = catch_per_effort(count, effort, resamples=0)
    cpe = count / effort
    assert cpe.min() - 1e-9 <= result.mean <= cpe.max() + 1e-9
    assert cpe.min() - 1e-9 <= result.ratio <= cpe.max() + 1e-9
    assert result.log_mean <= result.mean * (1 + 1e-9) + 1e-9
    doubled = catch_per_effort(count, 2 * effort, resamples=0)
    assert doubled.mean == pytest.approx(result.mean / 2)


def test_bootstrap_is_the_same_each_time_and_leans_the_right_way():
    skewed = [0, 0, 1, 0, 2, 1, 0, 30, 0, 1]
    one, two = (catch_per_effort(skewed, 1.0) for _ in range(2))
    assert (one.boot_low, one.boot_high) == (two.boot_low, two.boot_high)
    assert one.boot_high - one.mean > one.mean - one.boot_low


def test_absent_row_is_a_zero_only_where_effort_is_known():
    filled = zero_filled(surveys(FOUR), catches([("a", "walleye", 3, 1)]), ["walleye", "sauger"])
    walleye = filled[filled["species"] == "walleye"].set_index("survey")
    assert walleye.loc["a", "cpe"] == 1.5
    assert walleye.loc[["b", "c"], "count"].tolist() == [0, 0]
    assert math.isnan(walleye.loc["d", "count"])
    assert len(filled) == 8


def test_a_count_without_effort_stays_a_count():
    filled = zero_filled(surveys(FOUR), catches([("d", "walleye", 7, 1)])).set_index("survey")
    assert filled.loc["d", "count"] == 7
    assert math.isnan(filled.loc["d", "cpe"])


def test_species_names_are_joined_and_passes_summed_or_not():
    rows = catches([("a", "Walleye", 3, 1), ("a", "Sander vitreus", 2, 2)])
    both = zero_filled(surveys(FOUR), rows).set_index("survey")
    first = zero_filled(surveys(FOUR), rows, "walleye", first_pass=True).set_index("survey")
    assert both.loc["a", "count"] == 5
    assert first.loc["a", "count"] == 3


def test_zero_filling_refuses_surveys_that_cannot_be():
    with pytest.raises(ArgumentError, match="named twice"):
        zero_filled(surveys([FOUR[0], FOUR[0]]), catches([]), "walleye")
    with pytest.raises(ArgumentError, match="above zero"):
        zero_filled(surveys([("a", "Mirror", "seine", "2024-07-01", 0.0, "haul")]), catches([]), "walleye")
    with pytest.raises(ArgumentError, match="columns are missing"):
        zero_filled(surveys(FOUR).drop(columns="effort"), catches([]), "walleye")


def test_catch_table_keeps_gears_units_waters_and_years_apart():
    table = catch_table(surveys(FOUR), catches([("a", "walleye", 4, 1)]), "walleye")
    key = table.set_index(["gear", "water", "year"])
    assert key.loc[("seine", "Mirror", 2024), "mean"] == 1
    assert key.loc[("seine", "Mirror", 2024), "zeros"] == 1
    assert key.loc[("seine", "Slate", 2023), "n"] == 0
    assert key.loc[("seine", "Slate", 2023), "left_out"] == 1
    assert key.loc[("gill net", "Mirror", 2024), "mean"] == 0
    pooled = catch_table(surveys(FOUR), catches([("a", "walleye", 4, 1)]), "walleye", by=())
    assert sorted(pooled["gear"]) == ["gill net", "seine"]
    with pytest.raises(ArgumentError, match="by"):
        catch_table(surveys(FOUR), catches([]), "walleye", by=["moon"])


def test_effort_units():
    assert effort_unit(["30", "min"][1]) == ("hour", pytest.approx(1 / 60))
    assert effort_unit("Miles") == ("km", 1.609344)  # international mile
    assert effort_unit("ft2")[1] == pytest.approx(0.3048**2)
    with pytest.raises(UnitError, match="fathom"):
        effort_unit("fathom")
    for gear in GEARS.values():
        assert set(gear.units) <= set(EFFORT_UNITS)
        assert gear_key(gear.name.upper()) == gear.name


def test_cautions_defer_to_permits_and_trained_crews():
    for gear in GEARS:
        text = " ".join(cautions(gear))
        assert "permit" in text
        assert GEARS[gear].cautions in CAUTIONS
    shock = " ".join(cautions("backpack electrofishing"))
    assert "trained, licensed crew" in shock
    assert "never one person alone" in shock
    assert "never go alone" in " ".join(cautions("ice fishing"))
    assert cautions("unheard-of gear") == CAUTIONS["handling"]


def planted(rng, years, effect, waters=6, nets=4, theta=2.0):
    rows, fish = [], []
    level = rng.normal(1.2, 0.5, waters)
    for i, year in enumerate(years):
        for w in range(waters):
            for k in range(nets):
                name = f"{year}-{w}-{k}"
                effort = float(rng.uniform(0.5, 2))
                rows.append((name, f"Water {w}", "gill net", f"{year}-08-15", effort, "net-night"))
                mean = effort * math.exp(level[w] + effect[i])
                count = int(rng.poisson(mean * rng.gamma(theta, 1 / theta)))
                if count:
                    fish.append((name, "walleye", count, 1))
    return surveys(rows), catches(fish)


def test_yearly_index_of_one_water_is_total_catch_over_total_effort():
    """With year effects alone a Poisson model returns each year's catch over effort exactly."""
    rows = [
        (f"{y}{k}", "Mirror", "seine", f"{y}-07-01", e, "haul")
        for y in (2021, 2022)
        for k, e in ((0, 1.0), (1, 3.0))
    ]
    fish = catches([("20210", "walleye", 4, 1), ("20211", "walleye", 12, 1), ("20220", "walleye", 2, 1),
                    ("20221", "walleye", 6, 1)])  # fmt: skip
    result = yearly_index(surveys(rows), fish, "walleye")
    assert result.fit.family == "poisson"
    assert result.table["index"].tolist() == pytest.approx([4, 2])
    assert result.table["relative"].tolist() == pytest.approx([4 / 3, 2 / 3])


def test_yearly_index_recovers_planted_years():
    effect = np.array([0.0, 0.5, -0.5, 0.2, 0.0])
    result = yearly_index(*planted(np.random.default_rng(5), range(2018, 2023), effect), "walleye")
    assert result.fit.family == "nb2"
    ratio = np.log(result.table["index"] / result.table["index"].iloc[0])
    assert ratio.to_numpy() == pytest.approx(effect, abs=0.45)


def test_yearly_index_covers():
    """60 simulated records, ratio of year 2 over year 1 judged by the interval of each year's own level."""
    rng = np.random.default_rng(17)
    hits = total = 0
    for _ in range(60):
        table = yearly_index(*planted(rng, range(2018, 2021), np.zeros(3), waters=4), "walleye").table
        middle = float(np.exp(np.log(table["index"]).mean()))
        hits += int(((table["low"] <= middle) & (middle <= table["high"])).sum())
        total += len(table)
    assert hits / total > 0.93


def test_a_year_without_fish_has_an_exact_upper_limit():
    """Nothing in 10 hauls: the 97.5 % Poisson limit is -ln(0.025) / 10."""
    rows = [(f"{y}{k}", "Mirror", "seine", f"{y}-07-01", 5.0, "haul") for y in (2021, 2022) for k in (0, 1)]
    result = yearly_index(
        surveys(rows), catches([("20210", "walleye", 4, 1), ("20211", "walleye", 6, 1)]), "walleye"
    )
    last = result.table.iloc[1]
    assert (last["index"], last["low"]) == (0, 0)
    assert last["high"] == pytest.approx(-math.log(0.025) / 10)
    assert any("Poisson upper limit" in note for note in result.notes)


def test_yearly_index_refuses():
    with pytest.raises(ArgumentError, match="never pooled"):
        yearly_index(surveys(FOUR), catches([("a", "walleye", 4, 1)]), "walleye")
    with pytest.raises(ArgumentError, match="caught the species"):
        yearly_index(surveys(FOUR), catches([]), "walleye", gear="seine")
    apart = [(f"{y}{k}", f"W{y}", "seine", f"{y}-07-01", 1.0, "haul") for y in (2021, 2022) for k in range(5)]
    fish = catches([(row[0], "walleye", 3, 1) for row in apart])
    with pytest.raises(ArgumentError, match="cannot be told apart"):
        yearly_index(surveys(apart), fish, "walleye")
    mixed = [("a", "M", "seine", "2024-07-01", 1.0, "haul"), ("b", "M", "seine", "2024-07-01", 1.0, "m2")]
    with pytest.raises(ArgumentError, match="units of effort"):
        yearly_index(surveys(mixed), catches([("a", "walleye", 4, 1)]), "walleye")
