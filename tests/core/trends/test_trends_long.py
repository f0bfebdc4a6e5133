"""Long series: the compiled paths give what pair-by-pair computation gives, ties and qualifiers included."""

from __future__ import annotations

from unittest.mock import patch

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from fathomlight.trends import kernels, mann_kendall, selection, theil_sen
from fathomlight.trends._scores import interval_codes, kendall_score, sign_matrix
from fathomlight.trends._slopes import block_breakpoints
from fathomlight.trends.selection import implicit_breakpoints


def made(seed, n, tied_times, rounded, qualified):
    rng = np.random.default_rng(seed)
    t = np.sort(rng.integers(0, max(n // 3, 2), n)).astype(float) if tied_times else np.arange(n, dtype=float)
    x = rng.standard_normal(n) + 0.01 * t
    x = np.round(x, 1) if rounded else x
    codes = rng.choice([-1, 0, 0, 0, 1], n).astype(np.int8) if qualified else np.zeros(n, dtype=np.int8)
    return t, x, codes


@settings(max_examples=120)
@given(
    st.integers(0, 2**32), st.integers(20, 300), st.booleans(), st.booleans(), st.booleans(), st.booleans()
)
def test_any_rank_of_all_slopes(seed, n, tied_times, rounded, qualified, anew):
    t, x, codes = made(seed, n, tied_times, rounded, qualified)
    doubled = not codes.any()
    entries, anchor, pairs = block_breakpoints(t, x, codes, doubled)
    entries = np.sort(entries)
    found = implicit_breakpoints(t, x, codes, doubled)
    assert (found.ordered.size, found.anchor, found.pairs) == (entries.size, anchor, pairs)
    found.ordered.list_up_to, found.ordered.sample_size = 200, 100  # make it search
    rng = np.random.default_rng(seed)
    with patch.object(selection, "NUMBERED_ANEW_FROM", 0 if anew else 10**9):
        for _ in range(2):  # a second question finds the points numbered as at first
            ranks = np.unique(rng.integers(1, entries.size + 1, 5))
            assert found.ordered.take(ranks) == pytest.approx(entries[ranks - 1], rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("anew", [True, False])
@pytest.mark.parametrize("share_tied", [0.0, 0.5, 0.99])
def test_heavy_ties_in_slope(share_tied, anew, monkeypatch):
    # most slopes are exactly zero: the search must stop at the tie instead of listing it
    rng = np.random.default_rng(1)
    monkeypatch.setattr(selection, "NUMBERED_ANEW_FROM", 0 if anew else 10**9)
    x = np.where(rng.random(3000) < share_tied, 0.0, rng.standard_normal(3000))
    t = np.arange(3000.0)
    found = implicit_breakpoints(t, x, np.zeros(3000, dtype=np.int8), True)
    i, j = np.triu_indices(3000, 1)
    slopes = np.sort((x[j] - x[i]) / (t[j] - t[i]))
    ranks = np.array([1, 1000, slopes.size // 4, slopes.size // 2, slopes.size - 5])
    assert found.ordered.take(ranks) == pytest.approx(slopes[ranks - 1], rel=1e-9, abs=1e-12)


@pytest.mark.parametrize(("tied_times", "rounded"), [(False, False), (False, True), (True, True)])
def test_slope_and_limits_like_scipy(tied_times, rounded):
    t, x, _ = made(3, 1500, tied_times, rounded, False)
    ours, theirs = theil_sen(x, t, ranks="nearest"), stats.theilslopes(x, t)
    assert ours.slope == pytest.approx(theirs.slope, rel=1e-9, abs=1e-12)
    if not tied_times:  # scipy's variance takes no account of repeated times
        assert ours.slope_low == pytest.approx(theirs.low_slope, rel=1e-9)
        assert ours.slope_high == pytest.approx(theirs.high_slope, rel=1e-9)


@settings(max_examples=40)
@given(st.integers(0, 2**32), st.integers(2, 90), st.floats(0.02, 40))
def test_pairs_that_change_places(seed, n, nearly):
    # against every pair, looked up one by one
    rng = np.random.default_rng(seed)
    order = rng.permutation(n).astype(np.int32)
    keys = np.empty(n)
    keys[order] = np.round(np.arange(n) + nearly * rng.standard_normal(n))  # with ties
    target = np.lexsort((np.arange(n), keys)).astype(np.int32)
    place = np.argsort(target)
    moved = {(int(a), int(b)) for k, a in enumerate(order) for b in order[k + 1 :] if place[a] > place[b]}
    count, left, right = kernels.moved_pairs(order, target, np.arange(len(moved) + 5))
    assert count == len(moved) == kernels.moved_pairs(order, target)[0]
    assert sorted(zip(left.tolist(), right.tolist(), strict=True)) == sorted(moved)
    all_left, all_right = kernels.all_moved_pairs(order, keys, len(moved))
    assert sorted(zip(all_left.tolist(), all_right.tolist(), strict=True)) == sorted(moved)
    if moved:
        assert kernels.all_moved_pairs(order, keys, len(moved) - 1)[0].size == len(moved)
    twice = np.sort(rng.integers(0, count + 3, 2 * n))  # some wanted more than once, some out of reach
    _, again_left, again_right = kernels.moved_pairs(order, target, twice)
    within = twice[twice < count]
    assert np.array_equal(again_left, left[within])
    assert np.array_equal(again_right, right[within])
    kinds = rng.integers(0, 3, n).astype(np.uint8)
    weight = sum(int(kernels.WEIGHTS[kinds[a], kinds[b]]) for a, b in moved)
    assert kernels.moved_weight(order, target, kinds) == weight


@settings(max_examples=30)
@given(st.lists(st.integers(0, 12), min_size=1, max_size=60))
def test_falling_pairs_of_ranks(ranks):
    _, dense = np.unique(ranks, return_inverse=True)
    falling = sum(a > b for k, a in enumerate(ranks) for b in ranks[k + 1 :])
    assert kernels.falling_pairs(dense.astype(np.int64)) == falling


@settings(max_examples=30)
@given(st.integers(0, 2**32), st.booleans(), st.booleans(), st.booleans())
def test_score_of_a_long_series(seed, tied_times, rounded, qualified):
    t, x, codes = made(seed, 400, tied_times, rounded, qualified)
    low, high = interval_codes(x, codes)
    later = t[:, None] < t[None, :]
    assert kendall_score(t, low, high) == int(sign_matrix(low, high)[later].sum())


def test_qualifiers_of_a_long_series():
    t, x, codes = made(5, 1200, False, True, True)
    marks = np.array(["=", ">", "<"])[codes]
    plain, mirror = (
        theil_sen(x, t, qualifiers=marks),
        theil_sen(-x, t, qualifiers=np.array(["=", "<", ">"])[codes]),
    )
    entries, anchor, _ = block_breakpoints(t, x, codes, False)
    entries = np.sort(entries)
    assert (plain.zero_low, plain.zero_high) == (
        pytest.approx(entries[anchor - 1], abs=1e-12),
        pytest.approx(entries[anchor], abs=1e-12),
    )
    assert plain.slope == pytest.approx((entries[anchor - 1] + entries[anchor]) / 2, abs=1e-12)
    assert (mirror.slope_low, mirror.slope_high) == (
        pytest.approx(-plain.slope_high),
        pytest.approx(-plain.slope_low),
    )


@pytest.mark.slow
def test_numbered_anew_or_not_the_answer_is_the_same():
    rng = np.random.default_rng(8)
    t = np.arange(250_000.0)
    x = 1e-6 * t + np.round(rng.standard_normal(t.size), 2)
    anew = theil_sen(x, t)
    with patch.object(selection, "NUMBERED_ANEW_FROM", 10**9):
        plain = theil_sen(x, t)
    assert (anew.slope, anew.slope_low, anew.slope_high) == pytest.approx(
        (plain.slope, plain.slope_low, plain.slope_high), rel=1e-9
    )


@pytest.mark.slow
def test_two_hundred_thousand_readings():
    rng = np.random.default_rng(2)
    t = np.arange(200_000.0)
    answer = mann_kendall(2e-6 * t + 0.1 * rng.standard_normal(t.size), t)
    assert answer.slope_low < 2e-6 < answer.slope_high
    assert answer.slope_high - answer.slope_low < 1e-7
    n = t.size
    assert answer.variance == pytest.approx(n * (n - 1.0) * (2 * n + 5) / 18)
