"""Size of the tests under no trend, and what persistence does to it: measured, not hidden.

Shares of 5 % tests that find a trend where there is none, from 2,000 to 4,000 simulated records each; one standard
error is 0.3 to 0.5 percentage points.
"""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr

from fathomlight.trends import mann_kendall, network_trends


def persistent(rng, simulations, steps, r):
    noise = rng.standard_normal((simulations, steps))
    for k in range(1, steps):
        noise[:, k] = r * noise[:, k - 1] + np.sqrt(1 - r * r) * noise[:, k]
    return noise


def share(noise, years, seasons, dependence):
    cube = xr.DataArray(noise.reshape(-1, years, seasons), dims=("station", "year", "season"))
    return float((network_trends(cube, serial_dependence=dependence).p < 0.05).mean())


def test_size_is_five_percent_under_independence():
    noise = np.random.default_rng(1).standard_normal((4000, 20 * 12))
    assert share(noise, 20, 12, False) == pytest.approx(0.05, abs=0.01)
    assert share(noise[:, :40], 40, 1, False) == pytest.approx(0.05, abs=0.01)


def test_size_with_ties_and_qualifiers_is_five_percent():
    rng = np.random.default_rng(2)
    depth = 3.0 + 0.6 * rng.standard_normal((4000, 20, 6))
    bottom = 3.5  # a disc seen on the bottom
    cube = xr.DataArray(np.minimum(np.round(depth, 1), bottom), dims=("station", "year", "season"))
    marks = xr.where(cube >= bottom, ">", "=")
    p = network_trends(cube, qualifiers=marks, serial_dependence=False).p
    assert float((p < 0.05).mean()) == pytest.approx(0.05, abs=0.01)


def test_covariance_repairs_what_persistence_breaks(record_property):
    noise = persistent(np.random.default_rng(3), 3000, 20 * 12, 0.3)
    without, with_it = share(noise, 20, 12, False), share(noise, 20, 12, True)
    record_property("false alarms, monthly AR(1) 0.3, independent", without)
    record_property("false alarms, monthly AR(1) 0.3, covariance", with_it)
    assert without > 0.12  # sqrt of (1 + r)/(1 - r) = 1.86 times the variance: 2 Phi(-1.96/1.36) = 0.15
    assert with_it == pytest.approx(0.05, abs=0.025)


def test_yearly_persistence_and_its_corrections(record_property):
    """Corrections help, and are far from perfect: the docstring of mann_kendall reports these shares."""
    noise = persistent(np.random.default_rng(4), 400, 100, 0.6)
    found = {
        (kind, lags): float(
            np.mean([mann_kendall(row, correction=kind, lags=lags).p < 0.05 for row in noise])
        )
        for kind, lags in ((None, 1), ("hamed-rao", "significant"), ("hamed-rao", 1), ("yue-wang", 1))
    }
    for (kind, lags), alarms in found.items():
        record_property(f"false alarms, yearly AR(1) 0.6, n 100, correction {kind}, lags {lags}", alarms)
    assert found[None, 1] > 0.2  # twice the standard deviation: 2 Phi(-1.96/2) = 0.33 with endless years
    for key in (("hamed-rao", "significant"), ("hamed-rao", 1), ("yue-wang", 1)):
        assert 0.05 < found[key] < 0.75 * found[None, 1]
