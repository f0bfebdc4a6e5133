"""Against independent programs on random, tied and gappy series: pymannkendall, scipy."""

from __future__ import annotations

import numpy as np
import pymannkendall
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from fathomlight.trends import (
    false_discovery,
    mann_kendall,
    regional_kendall,
    seasonal_kendall,
    seasonal_step,
    theil_sen,
)

values = st.lists(st.integers(-20, 20).map(lambda k: k / 4), min_size=4, max_size=40)


@given(values)
def test_mann_kendall_like_pymannkendall(x):
    theirs = pymannkendall.original_test(x)
    ours = mann_kendall(x)
    assert ours.s == theirs.s
    assert ours.variance == pytest.approx(theirs.var_s)
    assert ours.z == pytest.approx(theirs.z)
    assert ours.slope == pytest.approx(theirs.slope)
    assert ours.intercept == pytest.approx(theirs.intercept)
    if not ours.exact:
        assert ours.p == pytest.approx(theirs.p)


@given(values, st.data())
def test_gaps_like_pymannkendall(x, data):
    gaps = data.draw(st.lists(st.booleans(), min_size=len(x), max_size=len(x)))
    gappy = np.where(gaps, np.nan, x)
    if np.sum(~np.isnan(gappy)) < 4:
        return
    theirs = pymannkendall.original_test(gappy)
    ours = mann_kendall(gappy)
    assert (ours.s, ours.n_missing) == (theirs.s, int(np.sum(gaps)))
    assert ours.variance == pytest.approx(theirs.var_s)


@given(values)
def test_tau_b_like_scipy(x):
    ours = mann_kendall(x)
    theirs = stats.kendalltau(np.arange(len(x)), x).statistic
    if np.isnan(theirs):
        assert np.isnan(ours.tau_b)
    else:
        assert ours.tau_b == pytest.approx(theirs)


# scipy's variance with repeated times can be below zero: it warns, and its limits are not compared then
@pytest.mark.filterwarnings("ignore:invalid value encountered:RuntimeWarning")
@pytest.mark.filterwarnings("ignore:.*confidence interval:RuntimeWarning")
@given(values, st.data())
def test_slopes_like_scipy(x, data):
    times = data.draw(st.lists(st.integers(0, 30), min_size=len(x), max_size=len(x)))
    if len(set(times)) < 2:
        return
    ours = theil_sen(x, times, ranks="nearest")
    theirs = stats.theilslopes(x, times)
    assert ours.slope == pytest.approx(theirs.slope)
    repeated = len(set(times)) < len(times)
    if np.isfinite([ours.slope_low, ours.slope_high]).all() and not repeated:
        assert (ours.slope_low, ours.slope_high) == (
            pytest.approx(theirs.low_slope),
            pytest.approx(theirs.high_slope),
        )


@settings(max_examples=40)
@given(st.integers(0, 2**32), st.integers(3, 14), st.integers(2, 6), st.booleans())
def test_seasonal_like_pymannkendall(seed, years, seasons, rounded):
    rng = np.random.default_rng(seed)
    x = rng.standard_normal((years, seasons)) + 0.5 * rng.standard_normal((years, 1))
    x = np.round(x) if rounded else x
    y, g = np.meshgrid(np.arange(years), np.arange(seasons), indexing="ij")
    ours = seasonal_kendall(x.ravel(), y.ravel(), g.ravel())
    alone = pymannkendall.seasonal_test(x.ravel(), period=seasons)
    assert (ours.s, ours.variance_independent) == (alone.s, pytest.approx(alone.var_s))
    assert ours.z_independent == pytest.approx(alone.z)
    assert ours.slope == pytest.approx(alone.slope)
    with np.errstate(all="ignore"):  # theirs divides by a variance that may be zero
        joint = pymannkendall.correlated_seasonal_test(x.ravel(), period=seasons)
    if joint.var_s <= 0:
        assert np.isnan(ours.variance_covariance)
    elif not rounded:  # with ties the two programs differ on the diagonal of the covariance matrix only
        assert ours.variance_covariance == pytest.approx(joint.var_s)
        assert ours.z_covariance == pytest.approx(joint.z)


@settings(max_examples=20)
@given(st.integers(0, 2**32))
def test_regional_like_pymannkendall(seed):
    x = np.random.default_rng(seed).standard_normal((12, 4))
    y, g = np.meshgrid(np.arange(12), np.arange(4), indexing="ij")
    ours = regional_kendall(x.ravel(), y.ravel(), g.ravel(), cross_correlation=False)
    theirs = pymannkendall.regional_test(x)
    assert (ours.s, ours.variance, ours.z) == (theirs.s, pytest.approx(theirs.var_s), pytest.approx(theirs.z))


@given(
    st.lists(st.integers(0, 8), min_size=2, max_size=12), st.lists(st.integers(0, 8), min_size=2, max_size=12)
)
def test_step_like_rank_sum_of_scipy(before, after):
    years = [2000] * len(before) + [2010] * len(after)
    ours = seasonal_step(before + after, years, ["May"] * len(years), at=2010)
    u = stats.mannwhitneyu(after, before, method="asymptotic", use_continuity=True)
    assert ours.s == 2 * u.statistic - len(before) * len(after)
    if ours.variance > 0 and abs(ours.s) >= 1:
        assert ours.p == pytest.approx(u.pvalue)
    differences = np.subtract.outer(after, before)
    assert ours.step == pytest.approx(np.median(differences))


@given(st.lists(st.floats(0, 1), min_size=1, max_size=30))
def test_false_discovery_by_definition(p):
    ours = false_discovery([*p, np.nan])
    ordered = np.sort(p)
    for value, adjusted in zip(p, ours, strict=False):
        ranks = np.flatnonzero(ordered >= value) + 1
        assert adjusted == pytest.approx(min(1.0, float(np.min(ordered[ranks - 1] * len(p) / ranks))))
    assert np.isnan(ours[-1])


@pytest.mark.parametrize("seed", range(3))
def test_corrections_like_pymannkendall(seed):
    rng = np.random.default_rng(seed)
    noise = rng.standard_normal(60)
    x = np.array([noise[: k + 1] @ 0.6 ** np.arange(k, -1, -1) for k in range(60)])
    for kind, test in (
        ("hamed-rao", pymannkendall.hamed_rao_modification_test),
        ("yue-wang", pymannkendall.yue_wang_modification_test),
    ):
        ours, theirs = mann_kendall(x, correction=kind, lags=2), test(x, lag=2)
        if kind == "yue-wang":
            assert ours.variance == pytest.approx(theirs.var_s)
        else:  # theirs keeps significant lags even when lags are named
            full, full_theirs = mann_kendall(x, correction=kind), test(x)
            assert full.variance == pytest.approx(full_theirs.var_s, rel=1e-6)
