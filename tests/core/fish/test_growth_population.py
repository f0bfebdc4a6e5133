"""Growth curves, mark and recapture, and the rule of Serns."""

from __future__ import annotations

import math
import runpy
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import curve_fit
from scipy.stats import hypergeom

from fathomlight.errors import ArgumentError
from fathomlight.fish import chapman, serns_density, von_bertalanffy

T = runpy.run_path(str(Path(__file__).parents[2] / "reference" / "fish_examples.py"))


def grown(age, l_inf=700.0, k=0.3, t0=-0.5):
    return l_inf * (1 - np.exp(-k * (age - t0)))


def test_growth_recovers_an_exact_curve():
    age = np.repeat(np.arange(1.0, 13.0), 2)
    fit = von_bertalanffy(age, grown(age))
    assert (fit.l_inf, fit.k, fit.t0) == pytest.approx((700, 0.3, -0.5), rel=1e-6)
    assert fit.supported
    assert fit.at_age["n"].tolist() == [2] * 12
    assert fit.curve["length_mm"].iloc[-1] == pytest.approx(grown(12.0))


def test_growth_agrees_with_another_optimiser():
    rng = np.random.default_rng(8)
    age = rng.integers(1, 12, 150) + 0.4
    length = grown(age) + rng.normal(0, 25, age.size)
    fit = von_bertalanffy(age, length)
    found, covariance = curve_fit(lambda t, a, b, c: grown(t, a, b, c), age, length, p0=(650, 0.2, 0.0))
    assert (fit.l_inf, fit.k, fit.t0) == pytest.approx(tuple(found), rel=1e-4)
    half = (fit.l_inf_high - fit.l_inf_low) / 2
    assert half == pytest.approx(1.9762 * math.sqrt(covariance[0, 0]), rel=1e-3)  # t(147), 97.5 %


def test_growth_limits_cover():
    """200 simulated samples of 100 fish; binomial 99.9 % band around 95 %."""
    rng = np.random.default_rng(11)
    hits = 0
    for _ in range(200):
        age = rng.integers(1, 13, 100).astype(float)
        fit = von_bertalanffy(age, grown(age) + rng.normal(0, 25, 100))
        hits += fit.k_low <= 0.3 <= fit.k_high
    assert 0.89 <= hits / 200 <= 0.995


def test_a_straight_line_of_lengths_is_not_trusted():
    rng = np.random.default_rng(2)
    age = np.repeat([1.0, 2.0, 3.0, 4.0], 8)
    fit = von_bertalanffy(age, 100 + 60 * age + rng.normal(0, 12, age.size))
    assert not fit.supported
    assert any("do not bend" in note for note in fit.notes)


@pytest.mark.parametrize(
    ("age", "length", "name"),
    [
        ([1, 2, 3], [1, 2, 3], "age_years"),
        ([-1] * 12, [5] * 12, "age_years"),
        ([1] * 12, [0] * 12, "length_mm"),
        ([1, 2], [1], "length_mm"),
    ],
)
def test_growth_refuses(age, length, name):
    with pytest.raises(ArgumentError) as error:
        von_bertalanffy(age, length)
    assert error.value.argument == name


def test_chapman_by_head():
    """100 x 50 / 10 - 1."""
    assert chapman(99, 49, 9).n == 499


def test_chapman_is_unbiased_where_theory_says_so():
    """With M + C >= N the expectation over the hypergeometric is exactly N (Chapman 1951)."""
    n, m, c = 60, 40, 30
    r = np.arange(max(0, m + c - n), min(m, c) + 1)
    mean = sum(hypergeom.pmf(x, n, m, c) * chapman(m, c, int(x)).n for x in r)
    assert mean == pytest.approx(n)


def test_chapman_variance_is_unbiased_too():
    """Seber (1970): the variance estimate is unbiased for M + C >= N; enumeration over the hypergeometric."""
    n, m, c = 60, 40, 30
    r = np.arange(max(0, m + c - n), min(m, c) + 1)
    p = hypergeom.pmf(r, n, m, c)
    found = [chapman(m, c, int(x)) for x in r]
    variance = sum(w * (x.n - n) ** 2 for w, x in zip(p, found, strict=True))
    assert sum(w * x.se**2 for w, x in zip(p, found, strict=True)) == pytest.approx(variance)


def test_chapman_without_recaptures_has_no_upper_limit():
    result = chapman(50, 40, 0)
    assert math.isinf(result.high)
    assert result.low >= 90
    assert chapman(40, 40, 40).se == 0


@pytest.mark.parametrize(
    ("args", "name"),
    [((0, 5, 0), "marked"), ((5, 0, 0), "caught"), ((5, 5, 6), "recaptured"), ((5.5, 5, 1), "marked")],
)
def test_chapman_refuses(args, name):
    with pytest.raises(ArgumentError) as error:
        chapman(*args)
    assert error.value.argument == name


def test_serns_from_memory():
    per_mile, per_acre = T["SERNS"]
    assert serns_density(per_mile / 1.609344) * 0.40468564224 == pytest.approx(per_acre, rel=0.01)
    assert serns_density(1.0) == pytest.approx(0.9306, abs=5e-5)
    with pytest.raises(ArgumentError):
        serns_density(-1)
