"""Words for certainty, notes, wrong arguments, and what a result says of itself."""

from __future__ import annotations

import json

import numpy as np
import pytest

from fathomlight.errors import ArgumentError
from fathomlight.trends import (
    change_point,
    direction_words,
    homogeneity,
    likelihood,
    mann_kendall,
    partial_mann_kendall,
    recensor,
    regional_kendall,
    seasonal_kendall,
    seasonal_step,
    smooth_deseasoned,
    theil_sen,
)


@pytest.mark.parametrize(
    ("probability", "word"),
    [  # IPCC guidance note 2010 (bands from memory; AR4 note printed), narrowest that holds
        (0.995, "virtually certain"), (0.96, "extremely likely"), (0.92, "very likely"), (0.7, "likely"),
        (0.5, "about as likely as not"), (0.2, "unlikely"), (0.07, "very unlikely"), (0.02, "extremely unlikely"),
        (0.001, "exceptionally unlikely"),
    ],
)  # fmt: skip
def test_ipcc_words(probability, word):
    assert likelihood(probability) == word


def test_direction_words():
    assert direction_words("decreasing", 0.97, clearer="higher") == "extremely likely getting murkier (97 %)"
    assert direction_words("decreasing", 0.97, clearer="lower") == "extremely likely getting clearer (97 %)"
    assert direction_words("increasing", 0.9999) == "virtually certainly increasing (>99 %)"
    assert direction_words("none", 0.5) == "no direction can be told"
    with pytest.raises(ArgumentError, match="direction"):
        direction_words("up", 0.9)


def test_confidence_goes_with_p():
    answer = mann_kendall([1, 3, 2, 5, 4, 7, 6, 9, 8, 11, 10, 12])
    assert answer.confidence == 1 - answer.p / 2
    assert answer.direction == "increasing"
    assert answer.likelihood == likelihood(answer.confidence)


def test_method_can_be_copied():
    text = mann_kendall([1, 3, 2, 5, 4, 7], qualifiers=["=", "=", "<", "=", "=", ">"]).method
    for part in ("Mann-Kendall", "qualifiers", "Akritas-Theil-Sen", "interpolated ranks", "n = 6", "tau-a"):
        assert part in text
    corrected = mann_kendall(np.sin(np.arange(60) / 3), correction="hamed-rao").method
    assert "significant lags only: 1" in corrected


@pytest.mark.parametrize("n", [0, 1, 2])
def test_too_few_values_is_an_answer(n):
    answer = mann_kendall([5.0] * n)
    assert answer.n == n
    assert np.isnan(answer.p)
    assert answer.confidence == 0.5
    assert any("no test is possible" in note for note in answer.notes)
    json.dumps(answer.to_dict(), allow_nan=False)


def test_empty_and_constant_series():
    assert seasonal_kendall([np.nan] * 3, [1, 2, 3], [1, 1, 1]).n == 0
    constant = mann_kendall([2.0] * 12)
    assert (constant.s, constant.p, constant.slope, constant.direction) == (0, 1.0, 0.0, "none")
    assert change_point([2.0] * 12).p == 1.0


def test_everything_seen_on_the_bottom():
    answer = mann_kendall([3.0] * 12, qualifiers=[">"] * 12)
    assert (answer.s, answer.variance, answer.p) == (0, 0, 1.0)
    assert np.isnan(answer.slope)
    assert any("More than half" in note for note in answer.notes)
    assert any("No slope" in note for note in answer.notes)


def test_results_are_json():
    x, y, g = np.arange(24.0) % 5, np.repeat(np.arange(12), 2), np.tile(["a", "b"], 12)
    for answer in (
        mann_kendall(x), theil_sen(x, y), seasonal_kendall(x, y, g), regional_kendall(x, y, g), homogeneity(x, y, g),
        change_point(x), seasonal_step(x, y, g, at=6), partial_mann_kendall(x, x[::-1] ** 2),
        smooth_deseasoned(x, y, g),
    ):  # fmt: skip
        assert json.loads(json.dumps(answer.to_dict(), allow_nan=False))["method"].endswith(".")


def test_heterogeneous_seasons_are_named():
    up, down = np.arange(12.0), -np.arange(12.0)
    answer = seasonal_kendall([*up, *down], list(range(12)) * 2, ["spring"] * 12 + ["autumn"] * 12)
    assert answer.s == 0
    assert answer.homogeneity_p < 0.001
    assert any("do not share one trend" in note for note in answer.notes)
    assert homogeneity([*up, *down], list(range(12)) * 2, ["s"] * 12 + ["a"] * 12).p == answer.homogeneity_p


def test_coverage_and_gaps_are_named():
    years = [1938, 1961, 1962, 1963, 1964, 1965]
    answer = seasonal_kendall([5, 4, 3, 4, 2, 3], years, ["July"] * 6)
    assert answer.coverage == pytest.approx(6 / 28)
    assert any("21 %" in note for note in answer.notes)
    assert any("One gap of 23 years" in note for note in answer.notes)


def test_several_values_in_one_cell():
    rng = np.random.default_rng(0)
    years, seasons = np.repeat(np.arange(12), 6), np.tile([1, 1, 1, 2, 2, 2], 12)
    values = rng.standard_normal(72) + 0.2 * years
    answer = seasonal_kendall(values, years, seasons)
    assert answer.n == 72
    assert answer.covariance_used
    assert any("median" in note for note in answer.notes)
    # the same data with one value per cell: nearly the same covariance between the two seasons
    assert sum(row.n for row in answer.seasons) == 72


def test_regional_with_seasons():
    years = np.tile(np.arange(12), 4)
    stations, seasons = np.repeat(["A", "B"], 24), np.tile(np.repeat(["s", "w"], 12), 2)
    answer = regional_kendall(np.arange(48.0), years, stations, seasons=seasons)
    assert [row.label for row in answer.stations] == [("A", "s"), ("A", "w"), ("B", "s"), ("B", "w")]
    assert answer.s == 4 * 66


def test_cross_correlation_matters():
    rng = np.random.default_rng(5)
    shared = rng.standard_normal(30)
    values = np.concatenate([shared + 0.1 * rng.standard_normal(30) for _ in range(8)])
    answer = regional_kendall(values, np.tile(np.arange(30), 8), np.repeat(np.arange(8), 30))
    assert answer.variance_covariance > 5 * answer.variance_independent  # eight copies of one series


def test_partial_removes_what_rain_explains():
    rng = np.random.default_rng(6)
    rain = np.arange(30.0) + 2 * rng.standard_normal(30)
    turbidity = rain + 0.5 * rng.standard_normal(30)
    assert mann_kendall(turbidity).p < 0.001
    assert partial_mann_kendall(turbidity, rain).p > 0.05
    two = partial_mann_kendall(turbidity, np.column_stack([rain, rng.standard_normal(30)]))
    assert len(two.correlation) == 2


def test_change_point_counts_missing_values():
    answer = change_point([1, np.nan, 1, 2, np.nan, 8, 9, 8, 9])
    assert (answer.index, answer.median_before, answer.median_after) == (4, 1, 8.5)


def test_change_point_with_qualifiers():
    values = [1, 1, 2, 1, 2, 3, 3, 3, 3, 3]
    answer = change_point(values, qualifiers=["="] * 5 + [">"] * 5)
    assert answer.index == 5
    assert np.isnan(answer.median_after)
    assert answer.direction == "increasing"


def test_smooth_follows_a_curve_without_its_season():
    year = np.repeat(np.arange(40.0), 4)
    season = np.tile(np.arange(4), 40)
    curve = 3 + np.sin(year / 8)
    answer = smooth_deseasoned(curve + np.array([0, 2, 0, -2])[season], year + season / 4, season, span=0.2)
    assert np.abs(answer.smooth - np.median(answer.smooth) - (curve - np.median(curve))).max() < 0.15
    assert answer.season_effects[1] - answer.season_effects[3] == pytest.approx(4, abs=0.01)


def test_smooth_with_the_bottom_in_the_way_is_not_pulled_down():
    rng = np.random.default_rng(8)
    time = np.arange(300.0)
    truth = 3 + 0.4 * rng.standard_normal(300)
    bottom = rng.choice([2.8, 3.0, 3.2, 4.5], 300)  # the boat drifts
    seen, marks = np.minimum(truth, bottom), np.where(truth > bottom, ">", "=")
    taken_as_numbers = smooth_deseasoned(seen, time).smooth.mean()
    answer = smooth_deseasoned(seen, time, qualifiers=marks).smooth.mean()
    assert taken_as_numbers < 2.9
    assert answer == pytest.approx(truth.mean(), abs=0.06)


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: mann_kendall([1, np.inf, 2]), "values"),
        (lambda: mann_kendall([[1, 2], [3, 4]]), "values"),
        (lambda: mann_kendall(["a", "b"]), "values"),
        (lambda: mann_kendall([1, 2], [1]), "times"),
        (lambda: mann_kendall([1, 2], [1, np.nan]), "times"),
        (lambda: mann_kendall([1, 2], qualifiers=["=", "~"]), "qualifiers"),
        (lambda: mann_kendall([1, 2], qualifiers=["="]), "qualifiers"),
        (lambda: mann_kendall(range(20), np.arange(20.0) ** 2, correction="hamed-rao"), "times"),
        (lambda: mann_kendall(range(20), correction="none"), "correction"),
        (lambda: mann_kendall(range(20), correction="hamed-rao", lags=0), "lags"),
        (lambda: mann_kendall(range(9), correction="yue-wang", qualifiers=["<"] * 9), "correction"),
        (lambda: theil_sen([1, 2], [1, 2], confidence=95), "confidence"),
        (lambda: theil_sen([1, 2], [1, 2], ranks="odd"), "ranks"),
        (lambda: seasonal_kendall([1, 2], [1, 2], [1]), "seasons"),
        (lambda: seasonal_step([1, 2], [1, 2], [1, 1], at=np.nan), "at"),
        (lambda: partial_mann_kendall([1, 2, 3], [1, 1, 1]), "covariate"),
        (lambda: partial_mann_kendall([1, 2, 3], [1, 2, 3], [1, 1, 2]), "times"),
        (lambda: recensor([1, 2], ["<", ">"], 1.5), "side"),
        (lambda: smooth_deseasoned([1, 2, 3], [1, 2, 3]), "values"),
    ],
)
def test_wrong_arguments_are_named(call, argument):
    with pytest.raises(ArgumentError) as caught:
        call()
    assert caught.value.argument == argument
