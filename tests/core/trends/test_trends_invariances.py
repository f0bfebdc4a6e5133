"""What must not change, or must change sign, when the data are shifted, scaled, reversed or reflected."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st

from fathomlight.trends import (
    change_point,
    mann_kendall,
    recensor,
    seasonal_kendall,
    seasonal_step,
    theil_sen,
)

SWAP = {"=": "=", "<": ">", ">": "<"}
rows = st.lists(
    st.tuples(st.integers(0, 12), st.integers(0, 12), st.sampled_from("====<>")), min_size=4, max_size=25
)


def unpack(chosen):
    return (
        np.array([v for v, _, _ in chosen], float),
        np.array([t for _, t, _ in chosen], float),
        [q for _, _, q in chosen],
    )


def same(a, b):
    return a == pytest.approx(b, nan_ok=True, rel=1e-9, abs=1e-9)


@given(rows)
def test_shift_and_scale(chosen):
    x, t, q = unpack(chosen)
    plain, moved = mann_kendall(x, t, qualifiers=q), mann_kendall(4 * x + 8, t, qualifiers=q)
    assert moved.s == plain.s
    assert same(moved.variance, plain.variance)
    assert same(moved.p, plain.p)
    for name in ("slope", "slope_low", "slope_high"):
        assert same(getattr(moved, name), 4 * getattr(plain, name))


@given(rows)
def test_reflection_swaps_qualifiers(chosen):
    x, t, q = unpack(chosen)
    plain = mann_kendall(x, t, qualifiers=q)
    mirror = mann_kendall(-x, t, qualifiers=[SWAP[mark] for mark in q])
    assert mirror.s == -plain.s
    assert same(mirror.variance, plain.variance)
    assert same(mirror.p, plain.p)
    assert same(mirror.slope, -plain.slope)
    assert same(mirror.slope_low, -plain.slope_high)
    assert same(mirror.slope_high, -plain.slope_low)
    assert (mirror.n_below, mirror.n_above) == (plain.n_above, plain.n_below)


@given(rows)
def test_reversing_time_turns_the_sign(chosen):
    x, t, q = unpack(chosen)
    plain, back = mann_kendall(x, t, qualifiers=q), mann_kendall(x, -t, qualifiers=q)
    assert back.s == -plain.s
    assert same(back.slope, -plain.slope)
    assert same(back.slope_low, -plain.slope_high)


@given(rows, st.randoms(use_true_random=False))
def test_order_of_rows_is_irrelevant(chosen, random):
    x, t, q = unpack(chosen)
    order = list(range(len(x)))
    random.shuffle(order)
    plain = theil_sen(x, t, qualifiers=q)
    mixed = theil_sen(x[order], t[order], qualifiers=[q[k] for k in order])
    assert mixed.s == plain.s
    assert same(mixed.slope, plain.slope)
    assert same(mixed.intercept, plain.intercept)


@given(rows)
def test_one_season_is_a_plain_test(chosen):
    x, t, q = unpack(chosen)
    plain = mann_kendall(x, t, qualifiers=q)
    seasonal = seasonal_kendall(x, t, ["all"] * len(x), qualifiers=q)
    assert seasonal.s == plain.s
    assert same(seasonal.variance, plain.variance)
    assert same(seasonal.z, plain.z)
    assert same(seasonal.slope, plain.slope)
    assert same(seasonal.slope_low, plain.slope_low)


@given(rows)
def test_qualifiers_that_are_all_exact_change_nothing(chosen):
    x, t, _ = unpack(chosen)
    assert mann_kendall(x, t).to_dict() == mann_kendall(x, t, qualifiers=["="] * len(x)).to_dict()


@given(rows)
def test_breakpoints_reduce_to_slopes(chosen):
    """Without qualifiers the general list of breakpoints gives the same slope and limits as the slopes themselves."""
    from fathomlight.trends._slopes import Breakpoints, SortedList, block_breakpoints, slope_and_limits

    x, t, _ = unpack(chosen)
    order = np.argsort(t, kind="stable")
    x, t, codes = x[order], t[order], np.zeros(len(x), dtype=np.int8)
    slopes, _, pairs = block_breakpoints(t, x, codes, True)
    general, anchor, _ = block_breakpoints(t, x, codes, False)
    if not pairs:
        return
    for spread in (0.0, 0.7, 1.3, min(pairs / 2, 4.1)):
        short = slope_and_limits(Breakpoints(SortedList(slopes), pairs, pairs, True), spread, "interpolated")
        long = slope_and_limits(
            Breakpoints(SortedList(general), anchor, pairs, False), spread, "interpolated"
        )
        for a, b in zip(short, long, strict=True):
            assert not np.isfinite(a) or same(b, a)


@given(rows)
def test_slope_is_where_the_residual_score_crosses_zero(chosen):
    x, t, q = unpack(chosen)
    answer = theil_sen(x, t, qualifiers=q)
    if not np.isfinite(answer.slope):
        return
    step = 1e-6 * max(1.0, abs(answer.slope))
    below = mann_kendall(x - (answer.zero_low - step) * t, t, qualifiers=q).s
    above = mann_kendall(x - (answer.zero_high + step) * t, t, qualifiers=q).s
    assert below >= 0 >= above
    if answer.zero_high - answer.zero_low > 4 * step:
        assert mann_kendall(x - answer.slope * t, t, qualifiers=q).s == 0


@given(rows)
def test_change_point_reflects(chosen):
    x, _, q = unpack(chosen)
    plain, mirror = change_point(x, qualifiers=q), change_point(-x, qualifiers=[SWAP[m] for m in q])
    assert (plain.index, plain.statistic, plain.p) == (mirror.index, mirror.statistic, mirror.p)


def test_step_size_of_a_planted_step():
    x = np.tile([1.0, 3.0], 10) + np.repeat([0.0, 0.8], 10)
    answer = seasonal_step(x, np.repeat(np.arange(2005, 2015), 2), np.tile([1, 2], 10), at=2010)
    assert (answer.step, answer.direction, answer.n_before, answer.n_after) == (
        pytest.approx(0.8),
        "increasing",
        10,
        10,
    )


def test_kinds_of_arrays():
    x, dates = [1.0, 2.0, np.nan, 4.0], pd.date_range("2001-01-01", periods=4, freq="YS")
    answers = [
        mann_kendall(x, dates),
        mann_kendall(np.array(x), dates.to_numpy()),
        mann_kendall(pd.Series(x), pd.Series(dates.tz_localize("UTC"))),
        mann_kendall(pd.array([1, 2, None, 4], dtype="Int64"), list(dates.to_pydatetime())),
        mann_kendall(xr.DataArray(x, dims="time"), xr.DataArray(dates, dims="time")),
        mann_kendall(np.ma.masked_invalid(x), dates),
    ]
    for answer in answers:
        assert (answer.n, answer.n_missing, answer.slope) == (3, 1, pytest.approx(1.0))
        assert "per year" in answer.method


def test_recensor_both_sides():
    values, marks = recensor([1, 2, 3, 4, 5, 6, np.nan], ["<", "<", "=", "=", ">", "=", "="])
    assert values[:6].tolist() == [2, 2, 3, 4, 5, 5]
    assert marks.tolist() == ["<", "<", "=", "=", ">", ">", "="]


@settings(max_examples=25)
@given(rows)
def test_recensoring_never_turns_a_pair(chosen):
    x, _, q = unpack(chosen)
    if "<" not in q:
        return
    new, marks = recensor(x, q, side="<")
    limits = {v for v, m in zip(new, marks, strict=True) if m == "<"}
    assert len(limits) == 1
    for i in range(len(x)):
        for j in range(i + 1, min(len(x), i + 4)):
            before = mann_kendall([x[i], x[j]], qualifiers=[q[i], q[j]]).s
            after = mann_kendall([new[i], new[j]], qualifiers=[marks[i], marks[j]]).s
            assert after in (0, before)
