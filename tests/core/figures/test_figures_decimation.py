"""Fewer points lose no extreme, no end and no gap."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from fathomlight.errors import ArgumentError
from fathomlight.figures.decimation import decimate, find_gaps

START = np.datetime64("2020-01-01T00:00:00", "us")


def every(minutes: int, n: int) -> np.ndarray:
    return START + np.arange(n) * np.timedelta64(minutes * 60_000_000, "us")


@given(
    hnp.arrays(np.float64, st.integers(1, 3000), elements=st.floats(-1e6, 1e6) | st.just(float("nan"))),
    st.integers(4, 500),
)
def test_extremes_and_ends_survive(values: np.ndarray, max_points: int) -> None:
    times = every(15, values.size)
    t, v = decimate(times, values, max_points=max_points)
    assert t.size <= max_points or values.size <= max_points
    assert t[0] == times[0]
    assert t[-1] == times[-1]
    assert (np.diff(t) >= np.timedelta64(0)).all()
    if np.isfinite(values).any():
        assert np.nanmax(v) == np.nanmax(values)
        assert np.nanmin(v) == np.nanmin(values)
    known = dict(zip(times.tolist(), values.tolist(), strict=True))
    for when, value in zip(t.tolist(), v.tolist(), strict=True):
        assert np.isnan(value) or known[when] == value


def test_a_gap_stays_a_gap() -> None:
    times = np.concatenate([every(15, 5000), every(15, 5000) + np.timedelta64(200, "D")])
    values = np.ones(10_000)
    t, v = decimate(times, values, max_points=400)
    assert np.isnan(v).sum() == 1
    hole = int(np.flatnonzero(np.isnan(v))[0])
    assert t[hole - 1] == times[4999]  # last before
    assert t[hole + 1] == times[5000]  # first after


def test_a_short_series_is_left_alone() -> None:
    times, values = every(15, 10), np.arange(10.0)
    t, v = decimate(times, values)
    assert t.tolist() == times.tolist()
    assert v.tolist() == values.tolist()


def test_a_million_readings_become_a_few_thousand() -> None:
    values = np.sin(np.arange(1_000_000) / 5000)
    values[123_456] = 50.0
    t, v = decimate(every(15, 1_000_000), values)
    assert t.size <= 4004
    assert v.max() == 50.0


def test_equal_times_open_no_gap() -> None:
    assert find_gaps(np.array([START] * 5)).size == 0


def test_wrong_arguments_are_named() -> None:
    with pytest.raises(ArgumentError, match="values"):
        decimate(every(15, 3), np.ones(2))
    with pytest.raises(ArgumentError, match="max_points"):
        decimate(every(15, 3), np.ones(3), max_points=2)
