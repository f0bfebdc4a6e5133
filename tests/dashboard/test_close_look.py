"""A logger of a million readings: thinned as a whole, and thinned anew for a period looked at more closely."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
import pandas as pd
import pytest

from fathomlight.figures import readings_series, stations_beside
from fathomlight.figures.decimation import MAX_POINTS
from fathomlight.model import Parameter
from fathomlight_dashboard.station_views import _within

TURBIDITY = Parameter("turbidity_fnu", "Turbidity", "FNU", clearer="lower")
SPIKE = pd.Timestamp("2015-07-01T12:15Z")


@pytest.fixture(scope="module")
def logger() -> pd.DataFrame:
    """A million readings every 15 minutes from 2000 on, flat, with one spike, and without August 2010."""
    time = pd.date_range("2000-01-01", periods=1_000_000, freq="15min", tz="UTC")
    time = time[(time < "2010-08-01") | (time >= "2010-09-01")]
    return pd.DataFrame(
        {
            "time": time,
            "local_date": time.tz_localize(None).normalize(),
            "value": np.where(time == SPIKE, 90.0, 5.0) + np.arange(len(time)) % 7 / 10,
            "qualifier": "=",
            "flag": 1,
        }
    )


def line(picture: Any) -> tuple[Any, Any]:
    longest = max(picture.figure.data, key=lambda t: len(t.x))
    return np.asarray(longest.x, "datetime64[us]"), np.asarray(longest.y, float)


def test_the_whole_record_is_thinned_with_its_spike_and_its_gap(logger: pd.DataFrame) -> None:
    when, values = line(readings_series(logger, TURBIDITY))
    assert len(when) <= MAX_POINTS + 4
    assert np.nanmax(values) >= 90
    assert np.isnan(values).sum() == 1  # the one gap stays open


PERIODS = [("2015-06-25", "2015-07-05", 11 * 96), ("2015-01-01", "2015-12-31", MAX_POINTS)]


@pytest.mark.parametrize(("start", "end", "most"), PERIODS)
def test_a_period_shows_every_reading_or_is_thinned_anew(
    logger: pd.DataFrame, start: str, end: str, most: int
) -> None:
    first, last = dt.date.fromisoformat(start), dt.date.fromisoformat(end)
    part = _within(logger, first, last)
    expected = logger[(logger["local_date"] >= start) & (logger["local_date"] <= end)]
    assert part["time"].tolist() == expected["time"].tolist()
    when, values = line(readings_series(part, TURBIDITY))
    whole, _ = line(readings_series(logger, TURBIDITY))
    inside = (whole >= np.datetime64(start)) & (whole < np.datetime64(last + dt.timedelta(days=1)))
    assert 3 * inside.sum() < len(when) <= most + 4
    assert np.nanmax(values) >= 90


def test_no_period_is_the_whole_record_without_a_copy(logger: pd.DataFrame) -> None:
    assert _within(logger, None, None) is logger


def test_stations_side_by_side_show_more_of_a_period_too(logger: pd.DataFrame) -> None:
    two = {"one": logger, "other": logger}
    whole = stations_beside(two, TURBIDITY)
    day = dt.date(2015, 7, 1)
    close = stations_beside({n: _within(t, day, day) for n, t in two.items()}, TURBIDITY)
    assert sum(len(t.x) for t in whole.figure.data) <= MAX_POINTS + 8
    assert [len(t.x) for t in close.figure.data] == [96, 96]
