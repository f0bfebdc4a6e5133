"""The QARTOD tests against an independent implementation (ioos-qc, from the package index), flag by flag.

Where the two differ on purpose, the difference is stated and the comparison made where both mean the same.
"""

from __future__ import annotations

import warnings

import numpy as np
import pandas as pd
import pytest

from fathomlight.quality import qartod_flags

pytestmark = pytest.mark.reference
N = 2000


@pytest.fixture(scope="module")
def qartod():
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return pytest.importorskip("ioos_qc.qartod", reason="ioos-qc is not installed")


@pytest.fixture(scope="module")
def series():
    """An invented temperature logger: a daily wave, noise, spikes, stuck stretches, dull stretches, holes."""
    rng = np.random.default_rng(20250701)
    hours = np.arange(N)
    values = 18 + 3 * np.sin(hours / 24 * 2 * np.pi) + rng.normal(0, 0.4, N)
    values[rng.choice(N, 25, replace=False)] += rng.choice([-9, 6, 9, 30], 25)
    for start in (200, 700, 1500):
        values[start : start + 9] = values[start]
    values[1000:1060] = 18 + rng.normal(0, 0.02, 60)
    values = values.round(2)
    values[rng.choice(N, 20, replace=False)] = np.nan
    return values, pd.date_range("2025-05-01", periods=N, freq="h")


def ours(series, test, table):
    values, times = series
    return np.asarray(qartod_flags(values, times, settings={"series": "logger", test: table}).by_test[test])


def theirs(function, *arguments, **named):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return np.asarray(function(*arguments, **named))


def several(flags, wanted):
    """Guard against a comparison that compares nothing: every wanted flag must occur."""
    assert set(wanted) <= set(flags.tolist())


def test_gross_range(qartod, series):
    mine = ours(series, "gross_range", {"fail": [0, 40], "suspect": [13, 23]})
    several(mine, {1, 3, 4, 9})
    assert mine.tolist() == theirs(qartod.gross_range_test, series[0], (0, 40), (13, 23)).tolist()


def test_climatology(qartod, series):
    """That library (3.0.0, in this environment) passes a missing value here; we say 9."""
    config = qartod.ClimatologyConfig()
    config.add(tspan=(5, 5), vspan=(12, 22), period="month")
    config.add(tspan=(6, 7), vspan=(14, 23), period="month")
    values, times = series
    other = theirs(qartod.climatology_test, config, values, times, np.zeros(N))
    mine = ours(series, "climatology", {"may": [12, 22], "jun": [14, 23], "jul": [14, 23]})
    several(mine, {1, 3, 9})
    present = ~np.isnan(values)
    assert mine[present].tolist() == other[present].tolist()
    assert set(mine[~present].tolist()) == {9}


def test_spike_neighbour_mean(qartod, series):
    mine = ours(series, "spike", {"low": 3, "high": 8})
    several(mine, {1, 2, 3, 4, 9})
    assert mine.tolist() == theirs(qartod.spike_test, series[0], 3, 8).tolist()


def test_rate_of_change_fixed_rate(qartod, series):
    """That library passes the first reading and the one after a hole, where there is no step; we say 2."""
    values, times = series
    other = theirs(qartod.rate_of_change_test, values, times, 2.0 / 3600)
    mine = ours(series, "rate_of_change", {"per_hour": 2.0})
    several(mine, {1, 2, 3, 9})
    said = mine != 2
    assert mine[said].tolist() == other[said].tolist()
    assert set(other[~said].tolist()) <= {1, 2}


def test_flat_line_as_coded(qartod, series):
    """That library compares the spread of the window with eps, we every earlier value with the newest.

    For a stuck instrument it is the same. Its thresholds are times: 3 and 5 hours, the newest excluded."""
    values, times = series
    other = theirs(qartod.flat_line_test, values, times, 3 * 3600, 5 * 3600, 0.001)
    mine = ours(series, "flat_line", {"eps": 0.001, "suspect": 3, "fail": 5, "counting": "previous"})
    several(mine, {1, 2, 3, 4, 9})
    said = mine != 2
    assert mine[said].tolist() == other[said].tolist()
    assert set(other[~said].tolist()) <= {1}


@pytest.mark.parametrize("statistic", ["range", "sd"])
def test_attenuated_signal(qartod, series, statistic):
    """Compared where our window is full.

    Their window leaves out its oldest instant and their SD divides by n, so our window is taken one hour
    shorter and few readings may differ on the borderline of suspect."""
    values, times = series
    suspect, fail = (0.5, 0.2) if statistic == "range" else (0.3, 0.1)
    kind = "range" if statistic == "range" else "std"
    other = theirs(
        qartod.attenuated_signal_test,
        values,
        times,
        suspect,
        fail,
        test_period=12 * 3600,
        min_obs=5,
        check_type=kind,
    )
    mine = ours(
        series, "attenuated", {"hours": 11.0, "statistic": statistic, "suspect": suspect, "fail": fail}
    )
    several(mine, {1, 2, 4, 9})
    said = ~np.isin(mine, (2, 9))
    assert (mine[said] == other[said]).mean() > 0.995
    assert (mine[said] == 4).sum() == (other[said] == 4).sum() > 20


def test_roll_up(qartod, series):
    """Same order: 4 before 3 before 1 before 2; where a value is missing every test says 9."""
    values, times = series
    settings = {
        "series": "logger",
        "gross_range": {"fail": [0, 40], "suspect": [13, 23]},
        "spike": {"low": 3, "high": 8},
        "flat_line": {"eps": 0.001},
    }
    result = qartod_flags(values, times, settings=settings)
    vectors = [result.by_test[name].to_numpy() for name in result.by_test]
    other = theirs(qartod.qartod_compare, vectors)
    several(result.flags, {1, 3, 4, 9})
    assert result.flags.tolist() == other.tolist()
