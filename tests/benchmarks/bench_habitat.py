"""Habitat of one lake over 30 years: daily light, temperature and lake bed, its sensitivity and its
interval."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from fathomlight.indices.habitat import (
    HabitatInputs,
    habitat_sensitivity,
    habitat_uncertainty,
    thermal_optical_area,
)


@pytest.fixture(scope="module")
def thirty_years():
    """A made-up lake: a disc reading and a profile of 25 depths every two weeks, May to October,
    1990-2019."""
    rng = np.random.default_rng(0)
    days = pd.DatetimeIndex(
        np.concatenate([pd.date_range(f"{y}-05-05", f"{y}-10-25", freq="14D") for y in range(1990, 2020)])
    )
    z = np.arange(25.0)
    surface = 12 + 12 * np.sin(np.pi * (days.day_of_year.to_numpy() - 100) / 220)
    profile = 7 + np.maximum(surface - 7, 0)[:, None] / (1 + np.exp((z - 8) / 1.2))
    return HabitatInputs(
        dates=days,
        secchi_m=2.5 * np.exp(0.2 * rng.standard_normal(len(days))),
        temperature_dates=days.repeat(z.size),
        temperature_depths_m=np.tile(z, len(days)),
        temperatures=profile.ravel(),
        area_depths_m=[0, 2, 5, 10, 15, 20, 25],
        areas_m2=[8e6, 7e6, 5e6, 3e6, 1.5e6, 5e5, 0],
        latitude=46.0,
    )


@pytest.mark.benchmark(group="habitat")
def test_thirty_years(benchmark, thirty_years):
    result = benchmark(
        lambda: thermal_optical_area(replace(thirty_years))
    )  # a new object: nothing laid out before
    assert result.years.covered.all()
    assert len(result.years) == 30


@pytest.mark.benchmark(group="habitat")
def test_thirty_years_sensitivity(benchmark, thirty_years):
    assert benchmark(lambda: habitat_sensitivity(replace(thirty_years))).area_m2 > 0


@pytest.mark.benchmark(group="habitat")
def test_thirty_years_uncertainty(benchmark, thirty_years):
    result = benchmark(lambda: habitat_uncertainty(replace(thirty_years), draws=200))
    assert result.years.low_m2.notna().all()
