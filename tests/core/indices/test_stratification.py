"""Density, thermocline and stability against published values, closed forms and brute force."""

import math
import runpy
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate

from fathomlight.errors import ArgumentError, OutOfRangeWarning
from fathomlight.indices.stratification import (
    days_stratified,
    depth_area,
    isotherm_grid,
    mixed_layer_temperature,
    profiles_from_readings,
    schmidt_stability,
    thermocline,
    water_density,
)

T = runpy.run_path(str(Path(__file__).parents[2] / "reference" / "index_tables.py"))
BOX = ([0, 20], [1e6, 1e6])


@pytest.mark.parametrize("column", range(5))
def test_density_table(column):
    formula = T["DENSITY_COLUMNS"][column]
    tolerance = 2e-3 if formula in T["DENSITY_FROM_MEMORY"] else 6e-5  # constants from memory: a soft check
    for temperature, *values in T["DENSITY"]:
        if values[column] is not None:
            assert water_density(temperature, formula=formula) == pytest.approx(values[column], abs=tolerance)


def test_density_unesco_check_values():
    for temperature, density in T["EOS80_CHECKS"]:
        assert water_density(temperature, formula="eos80") == pytest.approx(density, abs=6e-6)


def test_the_misprint_of_kell_is_not_used():
    """The misprinted constant gives 999.9046 at 4 degC; the right one 999.9720."""
    assert water_density(4.0, formula="kell") == pytest.approx(999.9720, abs=6e-5)


def test_density_is_greatest_near_four_degrees():
    t = np.arange(0, 10, 0.001)
    assert t[np.argmax(water_density(t))] == pytest.approx(3.983, abs=0.001)
    assert water_density(0.5) < water_density(4.0)


def test_density_refusals_and_kinds():
    with pytest.raises(ArgumentError, match="temperature_degc"):
        water_density(-3.0)
    with pytest.raises(ArgumentError, match="formula"):
        water_density(10.0, formula="other")
    with pytest.warns(OutOfRangeWarning, match="0 to 40"):
        water_density(45.0)
    assert math.isnan(water_density(math.nan))
    assert water_density(xr.DataArray([10.0], dims="depth")).attrs["units"] == "kg/m3"


# --- thermocline ------------------------------------------------------------------------------------------


def test_the_worked_profile():
    depths, temperatures = T["PROFILE_DEPTHS"], T["PROFILE_TEMPERATURES"]
    steps = np.diff(water_density(np.array(temperatures)))
    assert steps == pytest.approx(T["PROFILE_DENSITY_STEPS"], abs=6e-5)
    result = thermocline(depths, temperatures)
    assert result.depth == 6.5
    assert result.steepest_fall_depth == 6.5
    assert result.steepest_fall == pytest.approx(3.7)
    assert result.gradient == pytest.approx(0.6026, abs=6e-5)
    assert (result.metalimnion_top, result.metalimnion_bottom) == (4.0, 9.0)
    assert (result.birge_top, result.birge_bottom) == (5.0, 9.0)
    assert result.stratified
    assert not result.inverse
    assert "6.5 m" in result.reading


@given(st.floats(0, 30), st.integers(3, 30), st.floats(0.1, 5))
def test_isothermal_has_no_thermocline_and_no_stability(temperature, n, step):
    depths = np.arange(n) * step
    result = thermocline(depths, np.full(n, temperature))
    assert math.isnan(result.depth)
    assert math.isnan(result.metalimnion_top)
    assert math.isnan(result.birge_top)
    assert not result.stratified
    table = ([0, depths[-1]], [1e6, 1e5])
    assert schmidt_stability(depths, np.full(n, temperature), *table) == pytest.approx(0, abs=1e-9)


def test_under_ice_is_not_a_thermocline():
    result = thermocline([0, 1, 2, 4, 8, 12], [0.1, 1.8, 2.6, 3.4, 3.9, 4.0])
    assert result.gradient > 0.05  # the steepest step is a rise of density all the same
    assert math.isnan(result.depth)
    assert result.inverse
    assert "ice" in result.reading
    # the same numbers upside down are a real (if weak) fall of temperature, of lighter under denser water
    assert not thermocline([0, 1, 2, 4, 8, 12], [4.0, 3.9, 3.4, 2.6, 1.8, 0.1]).stratified


def test_order_gaps_and_repeats_do_not_matter():
    depths, temperatures = np.array(T["PROFILE_DEPTHS"], float), np.array(T["PROFILE_TEMPERATURES"])
    shuffled = np.random.default_rng(1).permutation(13)
    z = np.append(depths[shuffled], [6.0, np.nan, 3.0])
    t = np.append(temperatures[shuffled], [17.9, 5.0, np.nan])
    assert thermocline(z, t).depth == 6.5
    assert thermocline(z, t).n == 13


def test_thermocline_refusals():
    for call, name in [
        (lambda: thermocline([0, 1], [20, 10]), "depths_m"),
        (lambda: thermocline([-1, 1, 2], [20, 10, 5]), "depths_m"),
        (lambda: thermocline([0, 1, 2], [20, 10, 105]), "temperatures"),
        (lambda: thermocline([0, 1, 2], [20, 10]), "temperatures"),
        (lambda: thermocline([0, 1, 2], [20, 10, 5], min_density_gradient=0), "min_density_gradient"),
        (
            lambda: thermocline([0, 1, 2], [20, 10, 5], min_temperature_gradient=-1),
            "min_temperature_gradient",
        ),
    ]:
        with pytest.raises(ArgumentError) as caught:
            call()
        assert caught.value.argument == name


def test_notes_where_the_profile_is_too_coarse_or_too_short():
    assert any("apart" in note for note in thermocline([0, 5, 10, 20], [20, 20, 8, 7]).notes)
    assert any("deepest" in note for note in thermocline([0, 1, 2, 3], [20, 20, 19.9, 15]).notes)
    assert any("lighter" in note for note in thermocline([0, 1, 2, 3], [18, 20, 15, 10]).notes)


# --- stability --------------------------------------------------------------------------------------------


def test_box_of_two_layers():
    """g (rho2 - rho1) h1 h2 / 2, exactly."""
    got = schmidt_stability([0, 10, 10, 20], [20, 20, 10, 10], *BOX)
    assert got == pytest.approx(T["BOX_STABILITY"], abs=6e-4)
    closed = 9.81 * (water_density(10.0) - water_density(20.0)) * 10 * 10 / 2
    assert got == pytest.approx(closed, rel=1e-10)
    assert water_density(10.0) - water_density(20.0) == pytest.approx(1.495956, abs=1e-6)


@given(st.floats(1, 19), st.floats(5, 30), st.floats(4.1, 30))
def test_any_box_of_two_layers(h1, warm, cold):
    warm, cold = max(warm, cold), min(warm, cold)
    closed = 9.81 * (water_density(cold) - water_density(warm)) * h1 * (20 - h1) / 2
    got = schmidt_stability([0, h1, h1, 20], [warm, warm, cold, cold], *BOX)
    assert got == pytest.approx(closed, rel=1e-8, abs=1e-8)


def test_stability_against_brute_force_on_a_cone():
    depths, temperatures = T["PROFILE_DEPTHS"], T["PROFILE_TEMPERATURES"]
    za = np.linspace(0, 12, 200)
    areas = 1e6 * (1 - za / 12.0) ** 2
    got = schmidt_stability(depths, temperatures, za, areas)

    z = np.linspace(0, 12, 1_200_001)
    area, rho = np.interp(z, za, areas), water_density(np.interp(z, depths, temperatures))
    centre = integrate.trapezoid(z * area, z) / integrate.trapezoid(area, z)
    mean = integrate.trapezoid(area * rho, z) / integrate.trapezoid(area, z)
    moment = integrate.trapezoid((z - centre) * (rho - mean) * area, z)
    assert got == pytest.approx(9.81 / 1e6 * moment, rel=1e-7)
    in_box = schmidt_stability(depths, temperatures, [0, 12], [1e6, 1e6])
    assert got < 0.5 * in_box  # the same profile is far less stable in a cone


@given(st.lists(st.floats(4, 30), min_size=3, max_size=12))
def test_stable_profiles_never_have_negative_stability(values):
    temperatures = np.sort(values)[::-1]
    depths = np.linspace(0, 15, len(values))
    assert schmidt_stability(depths, temperatures, [0, 5, 15], [1e6, 6e5, 0]) >= -1e-9


def test_under_ice_stability_is_positive_too():
    assert schmidt_stability([0, 2, 10], [0.1, 3.0, 4.0], [0, 10], [1e6, 0]) > 0


def test_depth_area_refusals():
    for z, a, name in [
        ([0], [1e6], "area_depths_m"),
        ([1, 10], [1e6, 0], "area_depths_m"),
        ([0, 5, 5], [1e6, 5e5, 0], "area_depths_m"),
        ([0, 10], [1e5, 1e6], "areas_m2"),
        ([0, 10], [-1, -2], "areas_m2"),
        ([0, 10], [0, 0], "areas_m2"),
        ([0, -10], [1e6, 0], "area_depths_m"),
        ([0, 10], [1e6], "areas_m2"),
    ]:
        with pytest.raises(ArgumentError) as caught:
            depth_area(z, a)
        assert caught.value.argument == name
    z, a = depth_area([10, 0], [0, 1e6])
    assert z.tolist() == [0, 10]
    assert a.tolist() == [1e6, 0]


def test_stability_of_too_little_is_nan():
    assert math.isnan(schmidt_stability([0, np.nan], [20, 10], *BOX))
    with pytest.raises(ArgumentError, match="gravity"):
        schmidt_stability([0, 1], [20, 10], *BOX, gravity=0)


# --- mixed layer and course -------------------------------------------------------------------------------


def test_mixed_layer_temperature():
    depths, temperatures = [0, 2, 4, 6, 8, 10], [24, 22, 22, 14, 10, 9]
    # top of the metalimnion by 0.1 kg/m3/m: 0 m (the first step is steep); with a stricter rule the layer
    # reaches 4 m
    strict = mixed_layer_temperature(depths, temperatures, min_density_gradient=0.3)
    assert strict == pytest.approx((23 * 2 + 22 * 2) / 4)
    assert mixed_layer_temperature([0, 5, 10], [12, 12, 12]) == pytest.approx(12.0)
    # cone: volumes of 0-2 m and 2-4 m differ; by hand with A = 1 - z/10 (linear): int T A / int A
    cone = mixed_layer_temperature(
        depths, temperatures, area_depths_m=[0, 10], areas_m2=[1e6, 0], min_density_gradient=0.3
    )
    upper = integrate.quad(lambda z: (24 - z) * (1 - z / 10), 0, 2)[0]
    lower = integrate.quad(lambda z: 22 * (1 - z / 10), 2, 4)[0]
    assert cone == pytest.approx((upper + lower) / (4 - 16 / 20))
    with pytest.raises(ArgumentError, match="areas_m2"):
        mixed_layer_temperature(depths, temperatures, area_depths_m=[0, 10])


def readings(*visits):
    rows = [(day, z, t) for day, profile in visits for z, t in profile]
    return [list(column) for column in zip(*rows, strict=True)]


MIXED = [(0, 8.0), (5, 8.0), (10, 8.0)]
LAYERED = [(0, 22.0), (5, 21.0), (10, 9.0)]
ICE = [(0, 0.2), (5, 3.0), (10, 3.9)]


def test_days_stratified_by_hand():
    """0 kg/m3 on 1 May, d on 31 May: the straight line passes 0.1 at day 30 * 0.1 / d, so d = 0.2 gives 15
    May on."""
    top = 22.0
    bottom = 20.984  # density 0.2 kg/m3 or more below the surface
    weak = [(0, top), (5, 21.5), (10, bottom)]
    d = water_density(bottom) - water_density(top)
    dates, z, t = readings(("2020-05-01", MIXED), ("2020-05-31", weak), ("2020-06-30", MIXED))
    row = days_stratified(dates, z, t).table.iloc[0]
    first = math.ceil(30 * 0.1 / d)
    assert row["days"] == 2 * (30 - first) + 1
    assert row["first"] == pd.Timestamp("2020-05-01") + pd.Timedelta(days=first)
    assert row["covered_days"] == 61
    assert not row["open_start"]
    assert not row["open_end"]


def test_days_stratified_gaps_ice_and_open_ends():
    dates, z, t = readings(
        ("2021-01-15", ICE), ("2021-02-10", ICE), ("2021-06-01", LAYERED), ("2021-06-30", LAYERED)
    )
    result = days_stratified(dates, z, t)
    row = result.table.iloc[0]
    assert row["days"] == 30  # 1-30 June; ice never counts, the gap from February to June is not judged
    assert row["covered_days"] == 27 + 30
    assert row["open_end"]
    assert "at least 30 days" in result.reading
    assert any("lower bound" in note for note in result.notes)
    empty = days_stratified([], [], [])
    assert empty.table.empty
    assert "no profiles" in empty.reading
    mixed_only = readings(("2021-06-01", MIXED), ("2021-06-20", MIXED))
    assert "none of the visits" in days_stratified(*mixed_only).reading


def test_isotherm_grid():
    dates, z, t = readings(("2020-06-01", MIXED), ("2020-06-11", LAYERED), ("2020-12-01", MIXED))
    grid = isotherm_grid(dates, z, t, depth_step_m=5.0)
    assert grid.temperature.dims == ("time", "depth")
    middle = grid.temperature.sel(time="2020-06-06", depth=0.0)
    assert float(middle) == pytest.approx(15.0)  # half way from 8 to 22
    assert np.isnan(grid.temperature.sel(time="2020-09-01")).all()  # gap of 173 days
    assert float(grid.temperature.sel(time="2020-06-11", depth=10.0)) == 9.0
    assert grid.temperature.attrs["units"] == "degC"
    assert np.isnan(grid.thermocline_depth.values[0])
    assert grid.thermocline_depth.values[1] == 7.5
    with pytest.raises(ArgumentError, match="three depths"):
        isotherm_grid(["2020-06-01"], [0.0], [20.0])
    with pytest.raises(ArgumentError, match="depth_step_m"):
        isotherm_grid(dates, z, t, depth_step_m=0.0)


def test_isotherm_grid_is_empty_below_the_deepest_reading():
    shallow = [(0, 20.0), (1, 20.0), (2, 19.0)]
    dates, z, t = readings(("2020-06-01", shallow), ("2020-06-11", LAYERED))
    grid = isotherm_grid(dates, z, t, depth_step_m=1.0)
    assert np.isnan(grid.temperature.sel(time="2020-06-05", depth=8.0))
    assert np.isfinite(grid.temperature.sel(time="2020-06-05", depth=2.0))


def test_profiles_from_readings():
    profiles = profiles_from_readings(
        ["2020-06-02 14:00", "2020-06-01", "2020-06-01", "2020-06-01", None],
        [0, 2, 0, 1, 3],
        [20, 18, 20, 19, 10],
    )
    assert len(profiles) == 1  # the second of June has one depth only
    assert profiles[0].depths_m.tolist() == [0, 1, 2]
    assert profiles[0].day == np.datetime64("2020-06-01")
    with pytest.raises(ArgumentError, match="dates"):
        profiles_from_readings(["2020-06-01"], [0, 1], [20, 19])
