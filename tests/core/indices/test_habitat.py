"""Predator habitat against the published band, a brute-force lake, hand answers and its own refinement."""

import math
import runpy
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st

from fathomlight.errors import ArgumentError
from fathomlight.indices.habitat import (
    WALLEYE,
    HabitatInputs,
    Species,
    band_area,
    habitat_sensitivity,
    habitat_uncertainty,
    light_band_through_day,
    optical_depth_band,
    thermal_depth_spans,
    thermal_optical_area,
)
from fathomlight.indices.habitat.daylight import light_course
from fathomlight.indices.light import surface_illuminance_series

T = runpy.run_path(str(Path(__file__).parents[2] / "reference" / "index_tables.py"))
CONE = ([0.0, 5.0, 10.0, 20.0], [4e6, 2.5e6, 1e6, 0.0])
SUMMER = [(0.0, 24.0), (4.0, 23.0), (6.0, 20.0), (8.0, 14.0), (10.0, 10.0), (20.0, 6.0)]


def lake(years=(2020,), disc=2.0, every="14D", **changes):
    """One made-up lake: the same disc and profile at every visit."""
    days = pd.DatetimeIndex(
        np.concatenate([pd.date_range(f"{y}-05-01", f"{y}-10-31", freq=every) for y in years])
    )
    rows = [(day, z, t) for day in days for z, t in SUMMER]
    dates, depths, temperatures = zip(*rows, strict=True)
    base = HabitatInputs(
        dates=days,
        secchi_m=np.full(len(days), disc),
        temperature_dates=pd.DatetimeIndex(dates),
        temperature_depths_m=depths,
        temperatures=temperatures,
        area_depths_m=CONE[0],
        areas_m2=CONE[1],
        latitude=46.0,
    )
    return replace(base, **changes)


# --- band -------------------------------------------------------------------------------------------------


def test_band_table():
    for disc, lux, z68, z8 in T["OPTICAL_BAND"]:
        shallow, deep = optical_depth_band(disc, lux)
        assert shallow == pytest.approx(z68, abs=6e-4)
        assert deep == pytest.approx(z8, abs=6e-4)


@given(st.floats(0.1, 20), st.floats(70, 2e5))
def test_band_thickness_does_not_depend_on_the_sun(disc, lux):
    """ln(68 / 8) / Kd = 1.2589 SD with k = 1.7."""
    band = optical_depth_band(disc, lux)
    assert band.deep_m - band.shallow_m == pytest.approx(1.2589 * disc, rel=1e-4)


def test_limits_are_those_of_the_source_in_either_unit():
    """Lester et al. 2004 as irradiance: 0.0762-0.6476 W/m2 at 105 lm/W."""
    assert pytest.approx(0.0762, abs=5e-5) == WALLEYE.low_lux / 105
    assert pytest.approx(0.6476, abs=5e-5) == WALLEYE.high_lux / 105
    assert (WALLEYE.low_degc, WALLEYE.high_degc) == (11.0, 25.0)
    assert any("6 lux" in note for note in WALLEYE.notes)


def test_band_at_night_in_dusk_and_over_a_shallow_bottom():
    assert optical_depth_band(2.0, 0.0) == (0.0, 0.0)
    assert optical_depth_band(2.0, 5.0) == (0.0, 0.0)
    shallow, deep = optical_depth_band(2.0, 68.0)
    assert shallow == 0.0
    assert deep == pytest.approx(1.2589 * 2, rel=1e-4)
    assert optical_depth_band(2.0, 100_000, bottom_m=5.0) == (5.0, 5.0)  # still too bright at the bottom
    assert optical_depth_band(2.0, 100_000, bottom_m=9.0).deep_m == 9.0
    assert math.isnan(optical_depth_band(math.nan, 100.0).deep_m)
    band = optical_depth_band(xr.DataArray([1.0, 2.0], dims="time"), 1e5)
    assert band.deep_m.attrs["units"] == "m"
    assert optical_depth_band([1.0, 2.0], [[1e5], [1e4]]).deep_m.shape == (2, 2)


@pytest.mark.parametrize(
    ("arguments", "name"),
    [
        ({"secchi_m": 0.0, "surface_lux": 1.0}, "secchi_m"),
        ({"secchi_m": 1.0, "surface_lux": -1.0}, "surface_lux"),
        ({"secchi_m": 1.0, "surface_lux": 1.0, "k": 0.0}, "k"),
        ({"secchi_m": 1.0, "surface_lux": 1.0, "low_lux": 0.0}, "low_lux"),
        ({"secchi_m": 1.0, "surface_lux": 1.0, "high_lux": 8.0}, "high_lux"),
        ({"secchi_m": 1.0, "surface_lux": 1.0, "bottom_m": -1.0}, "bottom_m"),
    ],
)
def test_band_refusals(arguments, name):
    with pytest.raises(ArgumentError) as caught:
        optical_depth_band(**arguments)
    assert caught.value.argument == name


def test_species_refusals():
    for changes, name in [
        ({"low_lux": 0.0}, "low_lux"),
        ({"high_lux": 5.0}, "high_lux"),
        ({"low_degc": 30.0}, "high_degc"),
        ({"low_degc": math.nan}, "low_degc"),
    ]:
        with pytest.raises(ArgumentError) as caught:
            replace(WALLEYE, **changes)
        assert caught.value.argument == name


def test_light_band_through_a_day():
    day = light_band_through_day("2024-06-21", 2.0, 46.0, -89.0, bottom_m=10.0, timezone="America/Chicago")
    assert len(day) == 144
    assert (day.shallow_m <= day.deep_m).all()
    assert day.deep_m.max() == 10.0
    assert day.deep_m.min() == 0.0  # at night


def test_thermal_spans_by_hand():
    assert thermal_depth_spans([0, 5, 10], [27, 23, 7]) == ((2.5, 8.75),)
    assert thermal_depth_spans([0, 10], [20, 20]) == ((0.0, 10.0),)
    assert thermal_depth_spans([0, 10], [8, 4]) == ()
    assert thermal_depth_spans([0, 5, 10], [27, 23, 27]) == ((2.5, 7.5),)
    assert thermal_depth_spans([0, 5, 10], [20, 8, 20]) == ((0.0, 3.75), (6.25, 10.0))
    assert thermal_depth_spans([0, 5], [20, 20], bottom_m=8.0) == ((0.0, 8.0),)


# --- area at one instant ----------------------------------------------------------------------------------


def test_area_by_hand_in_a_wedge():
    """A(z) = 1e6 (1 - z / 20): the bed between two depths is 50,000 m2 a metre."""
    wedge = ([0, 20], [1e6, 0])
    shallow, deep = optical_depth_band(2.0, 100_000)
    assert band_area(2.0, 100_000, *wedge) == pytest.approx(5e4 * (deep - shallow))
    # 11 degC at 9 m cuts the band of 8.58 to 11.098 m there
    profile = {"profile_depths_m": [0, 8, 10, 20], "temperatures": [20, 12, 10, 10]}
    assert band_area(2.0, 100_000, *wedge, **profile) == pytest.approx(5e4 * (9.0 - shallow))
    assert band_area(2.0, 100_000, *wedge, profile_depths_m=[0, 20], temperatures=[5, 5]) == 0.0
    assert band_area([2.0, 1.0], 100_000, *wedge).shape == (2,)
    assert math.isnan(band_area(math.nan, 100_000, *wedge))


def test_area_vanishes_where_the_lake_is_too_shallow_for_its_clarity():
    assert band_area(5.0, 100_000, [0, 4], [1e6, 0]) == 0.0
    assert band_area(5.0, 100_000, [0, 4], [1e6, 1e6]) == 0.0
    assert band_area(1.0, 0.0, [0, 4], [1e6, 0]) == 0.0


def test_flat_bottom_counts_when_the_band_reaches_it():
    box = ([0, 5], [1e6, 1e6])
    assert band_area(1.0, 100_000, *box) == 1e6  # band 4.29 to 5.55 m
    assert band_area(1.0, 10_000, *box) == 0.0  # band 2.9 to 4.2 m: all above the bottom
    warm = {"profile_depths_m": [0, 5], "temperatures": [28, 28]}
    assert band_area(1.0, 100_000, *box, **warm) == 0.0


def test_instant_area_refusals():
    with pytest.raises(ArgumentError, match="temperatures"):
        band_area(1.0, 1e5, *CONE, profile_depths_m=[0, 1])
    with pytest.raises(ArgumentError, match="area_depths_m"):
        band_area(1.0, 1e5, [1, 2], [1e6, 0])


@settings(max_examples=30)
@given(st.floats(0.2, 8), st.floats(1, 1.2e5), st.floats(0, 15))
def test_instant_area_against_brute_force(disc, lux, shift):
    """Every centimetre of bed asked for its own light and temperature."""
    z = np.arange(0.005, 20, 0.01)
    bed = -np.diff(np.interp(np.arange(0, 20.005, 0.01), *CONE))
    depths, temperatures = np.array(SUMMER).T
    light = lux * np.exp(-1.7 / disc * z)
    t = np.interp(z, depths, temperatures) - shift
    suited = (light >= 8) & (light <= 68) & (t >= 11) & (t <= 25)
    profile = {"profile_depths_m": depths, "temperatures": temperatures - shift + 0.0}
    if (temperatures - shift).min() >= -2:
        got = band_area(disc, lux, *CONE, **profile)
        assert got == pytest.approx(bed[suited].sum(), abs=4 * bed.max())


# --- through the season -----------------------------------------------------------------------------------


def brute_force_day(day, disc, latitude):
    """Mean over the day by asking each 2 cm of bed every 2 minutes."""
    lux = surface_illuminance_series(day, latitude, 0.0, step_minutes=2).illuminance_lux.to_numpy()
    z = np.arange(0.01, 20, 0.02)
    bed = -np.diff(np.interp(np.arange(0, 20.01, 0.02), *CONE))
    t = np.interp(z, *np.array(SUMMER).T)
    light = lux[:, None] * np.exp(-1.7 / disc * z)
    suited = (light >= 8) & (light <= 68) & (t >= 11) & (t <= 25)
    return (suited * bed).sum(axis=1).mean(), ((light >= 8) & (light <= 68)).dot(bed).mean()


@pytest.mark.parametrize("disc", [0.8, 2.0, 4.0])
def test_days_against_brute_force(disc):
    result = thermal_optical_area(lake(disc=disc))
    days = result.days.set_index("date")
    for day in ("2020-05-15", "2020-06-21", "2020-09-30"):
        both, light = brute_force_day(day, disc, 46.0)
        assert days.loc[day, "area_m2"] == pytest.approx(both, rel=0.03)
        assert days.loc[day, "optical_area_m2"] == pytest.approx(light, rel=0.03)


def test_grid_refinement_converges():
    areas = [
        thermal_optical_area(lake(light_step=s, depth_step_m=z)).years.area_m2[0]
        for s, z in ((2.0, 1.0), (1.0, 0.5), (0.5, 0.1), (0.25, 0.05), (0.05, 0.02))
    ]
    errors = np.abs(np.array(areas[:-1]) - areas[-1]) / areas[-1]
    assert (np.diff(errors) < 0).all()
    assert errors[-1] < 0.002  # the default step
    assert errors[0] > 0.01


def test_twilight_is_not_lost_in_a_deep_clear_lake():
    """Disc 7 m: by day the band lies in cold deep water; what is left is twilight, minutes long."""
    result = thermal_optical_area(lake(disc=7.0))
    both, _ = brute_force_day("2020-06-21", 7.0, 46.0)
    assert both > 0
    assert result.days.set_index("date").loc["2020-06-21", "area_m2"] == pytest.approx(both, rel=0.03)


def test_light_course_against_the_suns_place():
    """Light by the hour from pvlib, sorted, is the curve that the season works with."""
    for latitude, day, row in (
        (46.0, "2024-06-21", 172),
        (65.0, "2024-04-10", 100),
        (-40.0, "2024-01-05", 4),
    ):
        lux = surface_illuminance_series(day, latitude, 0.0, step_minutes=1).illuminance_lux.to_numpy()
        course = light_course(latitude, 0.05, 1.0)
        assert course.share[row].sum() == pytest.approx(1)
        brightest = np.sort(np.log(np.maximum(lux, 6.5e-4)))[::-1]
        middle = (np.arange(1440) + 0.5) / 1440
        at = np.concatenate([[0], np.cumsum(course.share[row])])
        used = brightest > -6.5  # 0.0015 lux; half a minute of dusk is 0.075 in ln(lux)
        assert np.interp(middle, at, course.log_lux[row])[used] == pytest.approx(brightest[used], abs=0.08)


def test_year_and_day_tables():
    result = thermal_optical_area(lake(years=(2019, 2020)))
    years = result.years
    assert years.year.tolist() == [2019, 2020]
    assert years.days.tolist() == [184, 184]
    assert years.covered.all()
    assert years.readings.tolist() == [14, 14]
    assert years.profiles.tolist() == [14, 14]
    assert years.area_m2[0] == pytest.approx(years.area_m2[1], rel=1e-3)
    assert years.share[0] == pytest.approx(years.area_m2[0] / 4e6)
    assert (years.area_m2 < years.optical_area_m2).all()
    # temperature alone: 11 degC is passed at 9.5 m; A(0) - A(9.5) = 4e6 - 1.15e6
    assert years.thermal_area_m2[0] == pytest.approx(2.85e6, rel=2e-3)
    assert result.surface_m2 == 4e6
    assert result.missing == ()
    assert "ha of lake bed" in result.reading
    assert "safe to swim" in result.caution
    assert result.days.shape[0] == 368
    assert result.to_dict()["years"][0]["year"] == 2019


def test_habitat_vanishes_in_a_shallow_clear_lake_by_day():
    """Disc 8 m over a bottom at 2 m: once the surface has more than 68 exp(0.2125 * 2) = 104 lux, none is
    left."""
    shallow = ([0, 2], [1e6, 0])
    assert band_area(8.0, 68 * math.exp(0.425) * 1.001, *shallow) == 0.0
    assert band_area(8.0, 68 * math.exp(0.425) * 0.999, *shallow) > 0.0
    by_disc = [
        thermal_optical_area(lake(disc=d, area_depths_m=[0, 2], areas_m2=[1e6, 0])).years.area_m2[0]
        for d in (0.4, 1.0, 2.0, 8.0)
    ]
    assert by_disc == sorted(by_disc, reverse=True)
    assert by_disc[-1] > 0  # twilight is left


def test_missing_inputs_are_named_and_the_rest_is_computed():
    no_temperature = thermal_optical_area(lake(temperatures=None))
    assert no_temperature.missing == ("temperature profiles",)
    assert no_temperature.years.area_m2.isna().all()
    assert no_temperature.years.optical_area_m2.notna().all()
    assert "light they prefer" in no_temperature.reading
    assert any("Missing: temperature profiles" in note for note in no_temperature.notes)

    no_place = thermal_optical_area(lake(latitude=None))
    assert no_place.missing == ("latitude",)
    assert no_place.years.thermal_area_m2.notna().all()
    assert "warmth they prefer" in no_place.reading

    no_basin = thermal_optical_area(lake(area_depths_m=None))
    assert no_basin.missing == ("depth-area table",)
    assert no_basin.years.noon_deep_m[0] > no_basin.years.noon_shallow_m[0] > 0
    assert "at noon" in no_basin.reading

    no_disc = thermal_optical_area(lake(dates=[], secchi_m=[]))
    assert no_disc.missing == ("disc readings",)
    assert no_disc.years.thermal_area_m2.notna().all()
    with pytest.raises(ArgumentError, match="neither"):
        thermal_optical_area(HabitatInputs())


def test_gaps_are_not_bridged_and_thin_years_are_not_covered():
    days = pd.DatetimeIndex(["2020-05-01", "2020-05-15", "2020-09-15"])
    result = thermal_optical_area(lake(dates=days, secchi_m=[2.0, 2.0, 2.0], qualifiers=["=", "=", ">"]))
    row = result.years.iloc[0]
    # 1-15 May, held to 30 May, and 15 days either side of 15 September
    assert row["covered_days"] == 30 + 31
    assert not row["covered"]
    assert row["bounds"] == 1
    assert "too few readings" in result.reading
    assert any("bounds" in note for note in result.notes)


def test_temperature_of_other_years_fills_and_is_counted():
    both = lake(years=(2019, 2020))
    first = pd.DatetimeIndex(both.temperature_dates).year == 2019
    part = replace(
        both,
        temperature_dates=both.temperature_dates[first],
        temperature_depths_m=np.array(both.temperature_depths_m)[first],
        temperatures=np.array(both.temperatures)[first],
    )
    filled = thermal_optical_area(part)
    assert filled.years.filled_days.tolist()[0] == 0
    assert filled.years.filled_days.tolist()[1] > 150
    assert filled.years.area_m2[1] == pytest.approx(filled.years.area_m2[0], rel=1e-3)
    empty = thermal_optical_area(replace(part, fill_temperature=False))
    assert math.isnan(empty.years.area_m2[1])


def test_short_profiles_are_noted():
    rows = [(d, z, t) for d in lake().dates for z, t in SUMMER[:4]]
    dates, depths, temperatures = zip(*rows, strict=True)
    result = thermal_optical_area(
        lake(
            temperature_dates=pd.DatetimeIndex(dates), temperature_depths_m=depths, temperatures=temperatures
        )
    )
    assert any("14 of 14 profiles end above" in note for note in result.notes)


def test_season_across_new_year_belongs_to_its_last_year():
    days = pd.date_range("2019-12-01", "2020-02-28", freq="14D")
    result = thermal_optical_area(
        lake(dates=days, secchi_m=np.full(len(days), 2.0), season=((12, 1), (2, 28)))
    )
    covered = result.years[result.years.covered_days > 0]
    assert covered.year.tolist() == [2020]
    assert covered.days.tolist() == [90]


def test_repeats_on_one_day_are_one_reading():
    days = pd.DatetimeIndex(["2020-07-01", "2020-07-01", "2020-07-15"])
    result = thermal_optical_area(lake(dates=days, secchi_m=[1.0, 4.0, 2.0]))
    first = result.days.set_index("date").loc["2020-07-01"]
    assert first["secchi_m"] == pytest.approx(2.0)
    assert result.years.readings[0] == 2


@pytest.mark.parametrize(
    ("changes", "name"),
    [
        ({"k": 0.0}, "k"),
        ({"sky_factor": 0.0}, "sky_factor"),
        ({"light_step": 0.0}, "light_step"),
        ({"depth_step_m": 0.0}, "depth_step_m"),
        ({"max_gap_days": 0.0}, "max_gap_days"),
        ({"latitude": 95.0}, "latitude"),
        ({"season": ((13, 1), (2, 1))}, "season"),
        ({"secchi_m": [1.0]}, "secchi_m"),
        ({"secchi_m": np.zeros(14)}, "secchi_m"),
        ({"dates": ["yesterday"] * 14}, "dates"),
        ({"qualifiers": ["?"] * 14}, "qualifiers"),
    ],
)
def test_season_refusals(changes, name):
    with pytest.raises(ArgumentError) as caught:
        thermal_optical_area(lake(**changes))
    assert caught.value.argument == name


def test_other_species_by_settings():
    narrow = Species("other", "Other", 8, 68, 18, 23)
    assert (
        thermal_optical_area(lake(), species=narrow).years.area_m2[0]
        < (thermal_optical_area(lake()).years.area_m2[0])
    )


# --- doubt ------------------------------------------------------------------------------------------------


def test_sensitivity_agrees_with_recomputing():
    inputs = lake()
    result = habitat_sensitivity(inputs, secchi_m=[1.0, 2.0, 3.0])
    for disc, area in zip(result.curve.secchi_m, result.curve.area_m2, strict=True):
        direct = thermal_optical_area(lake(disc=disc)).years.area_m2[0]
        assert area == pytest.approx(direct, rel=1e-6)
    assert result.area_m2 == pytest.approx(result.curve.area_m2[1], rel=1e-6)
    assert result.plus_one_m2 == pytest.approx(result.curve.area_m2[2], rel=1e-6)
    direct = thermal_optical_area(inputs).years.area_m2[0]
    assert result.area_m2 == pytest.approx(direct, rel=1e-6)
    changes = result.changes.set_index("change_m").area_m2
    assert changes[1.0] == pytest.approx(result.plus_one_m2)
    assert changes[0.0] == pytest.approx(result.area_m2)
    assert "One more metre of clarity" in result.reading
    assert result.basis == "light and temperature"


def test_sensitivity_is_about_the_last_years():
    two = lake(years=(2018, 2019, 2020))
    discs = np.where(pd.DatetimeIndex(two.dates).year < 2020, 1.0, 3.0)
    recent = habitat_sensitivity(replace(two, secchi_m=discs), last_years=1, secchi_m=[3.0])
    assert recent.area_m2 == pytest.approx(recent.curve.area_m2[0], rel=1e-6)
    whole = habitat_sensitivity(replace(two, secchi_m=discs), last_years=None, secchi_m=[3.0])
    assert whole.area_m2 > recent.area_m2
    assert "2018-2020" in whole.method
    with pytest.raises(ArgumentError, match="last_years"):
        habitat_sensitivity(two, last_years=0)


def test_sensitivity_without_temperature_rests_on_light():
    assert habitat_sensitivity(lake(temperatures=None)).basis == "light"
    with pytest.raises(ArgumentError, match="depth-area table"):
        habitat_sensitivity(lake(area_depths_m=None))
    with pytest.raises(ArgumentError, match="latitude"):
        habitat_sensitivity(lake(latitude=None))


def test_uncertainty_holds_the_estimate_and_repeats_with_its_seed():
    inputs = lake(years=(2019, 2020))
    one, two = (habitat_uncertainty(inputs, draws=60, seed=4) for _ in range(2))
    pd.testing.assert_frame_equal(one.years, two.years)
    assert (one.years.low_m2 < one.years.area_m2).all()
    assert (one.years.area_m2 < one.years.high_m2).all()
    direct = thermal_optical_area(inputs).years.area_m2
    assert one.years.area_m2.to_numpy() == pytest.approx(direct.to_numpy(), rel=1e-9)
    assert (
        (one.years.k_part > 0.5) & (one.years.k_part < 1)
    ).all()  # 14 readings average their errors, k does not
    assert "90% interval" in one.reading


def test_uncertainty_vanishes_without_doubt():
    result = habitat_uncertainty(lake(), k_range=(1.7, 1.7), reading_cv=0.0, draws=20)
    row = result.years.iloc[0]
    assert row["low_m2"] == pytest.approx(row["area_m2"])
    assert row["high_m2"] == pytest.approx(row["area_m2"])


DEEP = {"area_depths_m": [0.0, 200.0], "areas_m2": [2e6, 0.0], "temperatures": None, "depth_step_m": 0.25}
"""A funnel so deep that the whole band lies in it: the bed in the band is as wide as the band is thick, and the
band twice as thick when the water is twice as clear."""


def test_a_disc_on_the_bottom_leaves_the_upper_end_open():
    """More than 1 m, and 2 m the clearest there can be: the area lies between that of 1 m and twice as much."""
    settings = {"k_range": (1.7, 1.7), "reading_cv": 0.0, "draws": 20}
    n = len(lake().dates)
    measured = habitat_uncertainty(lake(disc=1.0, **DEEP), **settings).years.iloc[0]
    assert measured["high_m2"] == pytest.approx(measured["area_m2"])
    bounds = lake(disc=1.0, **DEEP, qualifiers=[">"] * n)
    row = habitat_uncertainty(bounds, clearest_m=2.0, **settings).years.iloc[0]
    assert row["area_m2"] == pytest.approx(measured["area_m2"])
    assert row["low_m2"] == pytest.approx(measured["area_m2"], rel=1e-3)
    assert row["high_m2"] == pytest.approx(2 * measured["area_m2"], rel=2e-3)
    assert row["open_days"] == len(thermal_optical_area(bounds).days)


def test_the_open_end_holds_every_clarity_from_the_bound_on():
    """In a shallow lake more clarity can also mean less habitat: then the lower end lies below the estimate."""
    settings = {"k_range": (1.7, 1.7), "reading_cv": 0.0, "draws": 20}
    bounds = lake(disc=3.0, qualifiers=[">"] * len(lake().dates))
    row = habitat_uncertainty(bounds, clearest_m=12.0, **settings).years.iloc[0]
    each = [thermal_optical_area(lake(disc=d)).years["area_m2"].iloc[0] for d in np.geomspace(3.0, 12.0, 13)]
    assert row["low_m2"] <= min(each) * 1.001 < row["area_m2"]
    assert row["high_m2"] >= max(each) * 0.999
    assert row["low_m2"] == pytest.approx(each[-1], rel=0.01)  # here habitat only falls as the water clears


def test_only_days_beside_a_disc_on_the_bottom_are_open():
    """Of the year with one bound the days between its two neighbours are open; the other year is as measured."""
    years = (2019, 2020)
    measured = lake(years=years)
    signs = np.array(["="] * len(measured.dates), dtype=object)
    signs[3] = ">"
    settings = {"k_range": (1.7, 1.7), "reading_cv": 0.0, "draws": 20}
    found = habitat_uncertainty(replace(measured, qualifiers=signs), clearest_m=10.0, **settings)
    one, other = found.years.iloc[0], found.years.iloc[1]
    assert (one["open_days"], other["open_days"]) == (27, 0)  # visits every 14 days: 13 + 1 + 13
    assert other["low_m2"] == pytest.approx(other["high_m2"])
    assert one["low_m2"] < one["area_m2"]
    assert "leaves the clarity open up to 10 m" in found.method
    assert "27 days rest on a disc seen on the bottom" in found.notes[0]


def test_a_value_below_is_no_disc_on_the_bottom():
    inputs = lake(qualifiers=["<"] * len(lake().dates))
    assert habitat_uncertainty(inputs, draws=20).years["open_days"].tolist() == [0]


@pytest.mark.parametrize(
    ("changes", "name"),
    [
        ({"clearest_m": 0.0}, "clearest_m"),
        ({"k_range": (2.0, 1.0)}, "k_range"),
        ({"k_range": (0.0, 1.0)}, "k_range"),
        ({"reading_cv": 1.0}, "reading_cv"),
        ({"draws": 3}, "draws"),
        ({"confidence": 1.0}, "confidence"),
    ],
)
def test_uncertainty_refusals(changes, name):
    with pytest.raises(ArgumentError) as caught:
        habitat_uncertainty(lake(), **changes)
    assert caught.value.argument == name


# --- far north and far south --------------------------------------------------------------------------------------


def test_midnight_sun_and_polar_night():
    """At 75 deg north the sun does not set in June and does not rise in December."""
    course = light_course(75.0, 0.25, 1.0)
    june, december = course.log_lux[172], course.log_lux[355]
    assert june.min() > np.log(1000)
    assert december.max() < np.log(10)
    whole_year = thermal_optical_area(lake(latitude=75.0, season=((1, 1), (12, 31)), hold_days=400.0))
    days = whole_year.days.set_index("date").optical_area_m2
    assert days["2020-12-21"] < 0.05 * days["2020-06-21"]
    assert days.notna().all()
    assert (days >= 0).all()


def test_the_south_has_its_summer_in_january():
    season = ((1, 1), (12, 31))
    north = thermal_optical_area(lake(season=season, hold_days=400.0)).days
    south = thermal_optical_area(lake(season=season, hold_days=400.0, latitude=-46.0)).days
    assert north.noon_deep_m[171] == pytest.approx(south.noon_deep_m[354], rel=0.01)
    assert north.noon_deep_m[171] > north.noon_deep_m[354]


@given(st.floats(0.3, 9), st.floats(1, 60))
@settings(max_examples=20)
def test_area_is_never_negative_and_never_more_than_the_lake(disc, latitude):
    days = thermal_optical_area(lake(disc=disc, latitude=latitude, light_step=1.0, every="40D")).days
    area, optical = days.area_m2.dropna(), days.optical_area_m2.dropna()
    assert (area >= -1e-6).all()
    assert (area <= optical[area.index] + 1e-6).all()
    assert (optical <= 4e6).all()


@given(st.floats(0.3, 3))
@settings(max_examples=10)
def test_halving_light_lifts_the_band_without_thinning_it(disc):
    """ln 2 SD / k higher, as thick as before."""
    full = thermal_optical_area(lake(disc=disc, every="40D")).days
    half = thermal_optical_area(lake(disc=disc, sky_factor=0.5, every="40D")).days
    free = full.noon_deep_m < 19  # not cut off by the bottom
    lift = (full.noon_deep_m - half.noon_deep_m)[free]
    assert lift.to_numpy() == pytest.approx(np.log(2) * disc / 1.7)
