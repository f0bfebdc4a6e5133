"""What could be detected: against the normal case in closed form, and for sense."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import owens_t
from scipy.stats import norm

from fathomlight.errors import ArgumentError
from fathomlight.trends import detectable_trend, station_noise

PLAIN = {"noise_sd": 1.0, "persistence": 0.0, "visits_per_year": 1}


def both_signs(h, k, r):
    """E[sign A sign B] of normal A, B with means h, k, variance 1 and correlation r, by Owen's T (Owen 1956)."""
    root = math.sqrt(1 - r * r)
    both = (
        (norm.cdf(h) + norm.cdf(k)) / 2
        - owens_t(h, (k - r * h) / (h * root))
        - owens_t(k, (h - r * k) / (k * root))
    )
    return 4 * both - 2 * norm.cdf(h) - 2 * norm.cdf(k) + 1


def moments_of_s(years, b):
    """Mean and variance of Kendall's S for normal noise of variance 1 and slope b, one value a year, in closed form."""
    lag = np.arange(1, years)
    rises = 2 * norm.cdf(b * lag / math.sqrt(2)) - 1
    mean = float(np.sum((years - lag) * rises))
    d1, d2 = (d.ravel() for d in np.meshgrid(lag, lag))
    times = years - d1 - d2
    d1, d2, times = d1[times > 0], d2[times > 0], times[times > 0]
    h, k, whole = (b * d / math.sqrt(2) for d in (d1, d2, d1 + d2))
    m = [2 * norm.cdf(x) - 1 for x in (h, k, whole)]
    shared = both_signs(h, whole, 0.5) - m[0] * m[2] + both_signs(k, whole, 0.5) - m[1] * m[2]
    shared += both_signs(h, k, -0.5) - m[0] * m[1]
    return mean, float(np.sum((years - lag) * (1 - rises**2)) + 2 * np.sum(times * shared))


def kendall_closed_form(years, visits=1, power=0.8):
    """Slope at which E(S) lies z_power standard deviations beyond the critical value of the test."""
    null = math.sqrt(visits * years * (years - 1) * (2 * years + 5) / 18)

    def beyond(b):
        mean, variance = moments_of_s(years, b)
        return visits * mean - 1 - norm.ppf(0.975) * null - norm.ppf(power) * math.sqrt(visits * variance)

    return brentq(beyond, 1e-6, 5)


def test_closed_form_without_slope_is_the_known_variance():
    mean, variance = moments_of_s(12, 1e-9)
    assert (mean, variance) == (pytest.approx(0, abs=1e-6), pytest.approx(12 * 11 * 29 / 18))


@pytest.mark.parametrize("years", [15, 25, 40])
def test_one_visit_a_year_like_closed_form(years):
    answer = detectable_trend(**PLAIN, within_years=years, simulations=4000)
    assert answer.slope == pytest.approx(kendall_closed_form(years), rel=0.03)
    assert answer.false_alarms == pytest.approx(0.05, abs=0.012)


def test_several_visits_like_closed_form():
    answer = detectable_trend(
        noise_sd=2.0,
        persistence=0.0,
        visits_per_year=6,
        within_years=20,
        serial_dependence=False,
        simulations=3000,
    )
    assert answer.slope == pytest.approx(2 * kendall_closed_form(20, visits=6), rel=0.03)


def test_long_record_nears_the_least_squares_line():
    # the rank test loses 1.5 % of slope to least squares for normal noise: (pi/3)^(1/3) = 1.0155
    answer = detectable_trend(**PLAIN, within_years=80, simulations=2000)
    assert answer.slope / answer.slope_normal == pytest.approx((math.pi / 3) ** (1 / 3), abs=0.05)
    assert answer.slope_normal == pytest.approx(2.8016 / math.sqrt(80 * (80**2 - 1) / 12), rel=1e-4)


def test_years_needed_is_the_inverse():
    answer = detectable_trend(**PLAIN, within_years=20, slope=kendall_closed_form(20), simulations=3000)
    assert answer.years_needed in (19, 20, 21)


def test_directions_of_sense():
    base = detectable_trend(**PLAIN, within_years=15)
    assert detectable_trend(**{**PLAIN, "visits_per_year": 6}, within_years=15).slope < base.slope
    assert detectable_trend(**{**PLAIN, "persistence": 0.5}, within_years=15).slope > base.slope
    assert detectable_trend(**PLAIN, within_years=30).slope < base.slope
    assert detectable_trend(**PLAIN, within_years=15, power=0.95).slope > base.slope
    scaled = detectable_trend(**{**PLAIN, "noise_sd": 0.3}, within_years=15)
    assert scaled.slope == pytest.approx(0.3 * base.slope)


def test_same_seed_same_answer():
    one, two = (detectable_trend(**PLAIN, within_years=12, simulations=400) for _ in range(2))
    assert one == two
    other = detectable_trend(**PLAIN, within_years=12, simulations=400, seed=7)
    assert other.slope == pytest.approx(one.slope, rel=0.15)


def test_beyond_reach_says_so():
    answer = detectable_trend(**PLAIN, within_years=10, slope=0.001, max_years=20, simulations=300)
    assert answer.years_needed is None
    assert any("not found" in note for note in answer.notes)


def planted(seed=3, years=25, visits=6, sd=0.5, r=0.4, slope=0.03):
    rng = np.random.default_rng(seed)
    noise = rng.standard_normal(years * visits)
    for k in range(1, noise.size):
        noise[k] = r * noise[k - 1] + math.sqrt(1 - r * r) * noise[k]
    year, season = np.repeat(np.arange(2000, 2000 + years), visits), np.tile(np.arange(visits), years)
    return 4 + slope * (year - 2000) + np.cos(season) + sd * noise, year, season


def test_own_noise_is_recovered():
    found = station_noise(*planted())
    assert found.noise_sd == pytest.approx(0.5, rel=0.15)
    assert found.persistence == pytest.approx(0.4, abs=0.15)
    assert (found.visits_per_year, found.n) == (6, 150)


def test_own_noise_with_the_bottom_in_the_way():
    values, year, season = planted(r=0.0)
    bottom = np.quantile(values, 0.9)
    found = station_noise(
        np.minimum(values, bottom), year, season, qualifiers=np.where(values >= bottom, ">", "=")
    )
    assert found.noise_sd == pytest.approx(0.5, rel=0.2)


def test_station_record_or_settings():
    values, year, season = planted()
    answer = detectable_trend(values, year, season, within_years=10, slope=0.03, simulations=500)
    assert answer.visits_per_year == 6
    assert answer.years_needed is not None
    with pytest.raises(ArgumentError, match="values, years and seasons"):
        detectable_trend(noise_sd=1.0)


@pytest.mark.parametrize(
    "wrong",
    [
        {"noise_sd": 0.0}, {"persistence": 1.0}, {"visits_per_year": 0}, {"within_years": 3}, {"power": 1.5},
        {"power": 0.01}, {"simulations": 5}, {"slope": 0.0}, {"max_years": 1000},
    ],
)  # fmt: skip
def test_impossible_settings(wrong):
    with pytest.raises(ArgumentError) as caught:
        detectable_trend(**{**PLAIN, **wrong})
    assert caught.value.argument == next(iter(wrong))
