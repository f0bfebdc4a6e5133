"""Light under and above the water against published tables, exact physics and an independent sun."""

import math
import runpy
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from hypothesis import given
from hypothesis import strategies as st

from fathomlight.errors import ArgumentError
from fathomlight.indices.light import (
    attenuation,
    attenuation_by_day,
    attenuation_from_light,
    attenuation_from_profile,
    daylight_illuminance,
    euphotic_depth,
    illuminance,
    k_words,
    light_at_depth,
    local_k,
    solar_elevation,
    surface_illuminance_series,
)

T = runpy.run_path(str(Path(__file__).parents[2] / "reference" / "index_tables.py"))


def test_attenuation_and_euphotic_depth_table():
    for disc, kd17, z17, kd144, z144 in T["LIGHT"]:
        assert attenuation(disc) == pytest.approx(kd17, rel=1e-12)
        assert attenuation(disc, k=1.44) == pytest.approx(kd144, rel=1e-12)
        assert euphotic_depth(disc) == pytest.approx(z17, abs=6e-4)
        assert euphotic_depth(disc, k=1.44) == pytest.approx(z144, abs=6e-4)
        assert euphotic_depth(kd=kd17) == pytest.approx(z17, abs=6e-4)


def test_light_left_at_the_disc_depth():
    """exp(-1.7) = 18.3 %, exp(-1.44) = 23.7 %, whatever the disc depth."""
    for disc in (0.5, 2.0, 8.0):
        assert light_at_depth(disc, 100.0, secchi_m=disc) == pytest.approx(18.3, abs=0.05)
        assert light_at_depth(disc, 100.0, secchi_m=disc, k=1.44) == pytest.approx(23.7, abs=0.05)


@given(st.floats(0.05, 5), st.floats(0.1, 3), st.floats(0, 5), st.floats(0.1, 5))
def test_two_depths_give_back_the_attenuation_that_made_them(kd, surface, upper, gap):
    i1, i2 = (light_at_depth(z, surface, kd=kd) for z in (upper, upper + gap))
    assert attenuation_from_light(i1, i2, upper, upper + gap) == pytest.approx(kd, rel=1e-6)


def test_profile_fit_recovers_an_exact_profile_and_agrees_with_polyfit():
    z = np.array([0.5, 1, 2, 3, 4])
    exact = attenuation_from_profile(z, 1500 * np.exp(-0.6 * z))
    assert exact.kd == pytest.approx(0.6)
    assert exact.surface == pytest.approx(1500)
    assert exact.kd_low == pytest.approx(exact.kd_high)
    noisy = 1500 * np.exp(-0.6 * z) * np.array([1.1, 0.9, 1.05, 0.95, 1.2])
    assert attenuation_from_profile(z, noisy).kd == pytest.approx(-np.polyfit(z, np.log(noisy), 1)[0])
    with pytest.raises(ArgumentError, match="three different depths"):
        attenuation_from_profile([1, 2], [10, 5])
    assert attenuation_from_profile([0, 1, 2, 3], [10, 1, 9, 2]).notes


@pytest.mark.parametrize(
    ("call", "name"),
    [
        (lambda: attenuation(0.0), "secchi_m"),
        (lambda: attenuation(1.0, k=0.0), "k"),
        (lambda: attenuation(1.0, k=-1.7), "k"),
        (lambda: euphotic_depth(-1.0), "secchi_m"),
        (lambda: euphotic_depth(kd=0.0), "kd"),
        (lambda: euphotic_depth(), "secchi_m"),
        (lambda: euphotic_depth(1.0, kd=1.0), "secchi_m"),
        (lambda: euphotic_depth(1.0, fraction=1.0), "fraction"),
        (lambda: light_at_depth(-1.0, 10.0, kd=1.0), "depth_m"),
        (lambda: light_at_depth(1.0, -10.0, kd=1.0), "surface"),
        (lambda: attenuation_from_light(0.0, 1.0, 0.0, 1.0), "upper_light"),
        (lambda: attenuation_from_light(2.0, 1.0, 1.0, 1.0), "lower_depth_m"),
        (lambda: attenuation_from_light(2.0, 1.0, -1.0, 1.0), "upper_depth_m"),
        (lambda: illuminance(91.0), "solar_elevation_deg"),
        (lambda: daylight_illuminance(10.0, sky="blue"), "sky"),
        (lambda: daylight_illuminance(10.0, day_of_year=400), "day_of_year"),
        (lambda: solar_elevation(["2024-06-21"], 95.0, 0.0), "latitude"),
        (lambda: surface_illuminance_series("2024-06-21", 45.0, 0.0, step_minutes=7), "step_minutes"),
        (lambda: surface_illuminance_series("2024-06-21", 45.0, 0.0, sky_factor=0.0), "sky_factor"),
    ],
)
def test_the_impossible_names_its_argument(call, name):
    with pytest.raises(ArgumentError) as caught:
        call()
    assert caught.value.argument == name


def test_illuminance_table():
    for elevation, lux in T["ILLUMINANCE"]:
        assert illuminance(elevation) == pytest.approx(lux, rel=7e-3 if lux < 0.01 else 2e-4)


def test_illuminance_below_twilight_is_dark_and_nan_passes():
    assert illuminance(-18.0) > 0
    assert illuminance(np.nextafter(-18.0, -90)) == 0.0
    assert illuminance(-90.0) == 0.0
    assert math.isnan(illuminance(math.nan))
    assert illuminance(xr.DataArray([0.0], dims="time")).attrs["units"] == "lux"


def test_illuminance_rises_with_the_sun_and_its_ranges_meet():
    h = np.linspace(-18, 90, 20001)
    lux = illuminance(h)
    assert (np.diff(lux) > -0.01 * lux[:-1]).all()  # the published ranges meet within one per cent
    for joint in (20.0, 5.0, -0.8, -5.0, -12.0):
        below, above = illuminance(np.array([joint - 1e-6, joint]))
        assert below == pytest.approx(above, rel=0.011)


def test_daylight_table():
    for elevation, clear, partly, cloudy in T["DAYLIGHT"]:
        got = [daylight_illuminance(elevation, sky=s) for s in ("clear", "partly cloudy", "cloudy")]
        assert got == pytest.approx([clear, partly, cloudy], rel=1e-4)
    assert daylight_illuminance(-1.0) == 0.0
    # the two clear-sky models differ by 25 % at 10 degrees
    assert daylight_illuminance(10.0) / illuminance(10.0) == pytest.approx(1.25, abs=0.01)
    near, far = (daylight_illuminance(60.0, day_of_year=d) for d in (2, 185))
    assert near > far


def test_sun_against_the_almanac():
    """At an equinox the noon sun stands at 90 - latitude, and 23.44 deg higher or lower at the solstices."""
    days = ["2024-03-20", "2024-06-20", "2024-12-21"]
    for latitude in (45.0, 60.0):
        for day, shift in zip(days, (0.0, 23.44, -23.44), strict=True):
            times = pd.date_range(f"{day} 11:00", f"{day} 13:00", freq="1min", tz="UTC")
            top = solar_elevation(times, latitude, 0.0).max()
            assert top == pytest.approx(90 - latitude + shift, abs=0.25)


@pytest.mark.filterwarnings("ignore:DatetimeIndex.dayofyear")
def test_sun_against_another_algorithm():
    from pvlib import solarposition

    times = pd.date_range("2025-01-01", "2025-12-31", freq="607min", tz="UTC")
    other = solarposition.ephemeris(times, 46.0, -89.0)["elevation"].to_numpy()
    assert solar_elevation(times, 46.0, -89.0) == pytest.approx(other, abs=0.03)


def test_surface_series_covers_whole_local_days():
    day = surface_illuminance_series("2024-06-21", 45.0, -85.0, timezone="America/Detroit", step_minutes=10)
    assert len(day) == 144
    local = day.index.tz_convert("America/Detroit")
    assert set(local.date) == {pd.Timestamp("2024-06-21").date()}
    assert day.illuminance_lux.to_numpy() == pytest.approx(illuminance(day.elevation_deg.to_numpy()))
    assert (day.illuminance_lux > 100).sum() == pytest.approx(
        15.9 * 6, abs=3
    )  # daylight of about 15.6 h and twilight
    spring = surface_illuminance_series(
        "2024-03-10", 45.0, -85.0, timezone="America/Detroit", step_minutes=10
    )
    assert len(spring) == 23 * 6
    half = surface_illuminance_series("2024-06-21", 45.0, -85.0, step_minutes=60, sky_factor=0.5)
    full = surface_illuminance_series("2024-06-21", 45.0, -85.0, step_minutes=60)
    assert half.illuminance_lux.to_numpy() == pytest.approx(full.illuminance_lux.to_numpy() / 2)
    assert len(surface_illuminance_series(["2024-06-21", "2024-06-22"], 45.0, 0.0, step_minutes=60)) == 48


def test_k_is_named_with_its_source():
    assert k_words(1.44) == "k = 1.44 (Holmes 1970)"
    assert "own setting" in k_words(1.9)


def test_attenuation_by_day():
    z = np.array([0.5, 1.0, 2.0, 4.0])
    rows = [("2025-05-02", d, 1500 * math.exp(-0.6 * d)) for d in z]
    rows += [("2025-05-02", 1.0, 1500 * math.exp(-0.6))]  # a repeat at one depth
    rows += [("2025-06-02", 0.5, 1000.0), ("2025-06-02", 2.5, 1000.0 / math.e)]
    rows += [("2025-07-02", 0.5, 1000.0), ("2025-07-02", 1.0, math.nan)]
    dates, depths, light = zip(*rows, strict=True)
    table = attenuation_by_day(list(dates), depths, light)
    assert table.date.dt.strftime("%Y-%m-%d").tolist() == ["2025-05-02", "2025-06-02"]
    assert table.kd.tolist() == pytest.approx([0.6, 0.5])
    assert table.depths.tolist() == [4, 2]
    assert "two depths" in table.note[1]
    assert attenuation_by_day([], [], []).empty
    for arguments, name in [
        ((["2025-05-02"], [1.0], [0.0]), "light"),
        ((["2025-05-02"], [-1.0], [1.0]), "depths_m"),
    ]:
        with pytest.raises(ArgumentError) as caught:
            attenuation_by_day(*arguments)
        assert caught.value.argument == name


def test_a_waters_own_k():
    from scipy import stats

    disc = np.array([1.0, 1.5, 2.0, 2.5, 3.0, 4.0])
    exact = local_k(1.44 / disc, disc)
    assert (exact.k, exact.k_low, exact.k_high) == pytest.approx((1.44, 1.44, 1.44))
    noisy = 1.7 / disc * np.array([1.1, 0.9, 1.05, 0.97, 1.2, 0.85])
    found = local_k(noisy, disc)
    logs = np.log(noisy * disc)
    low, high = stats.t.interval(0.95, 5, loc=logs.mean(), scale=stats.sem(logs))
    assert (found.k_low, found.k, found.k_high) == pytest.approx(tuple(np.exp([low, logs.mean(), high])))
    assert "of the surface light is left" in found.reading
    marked = local_k(noisy, disc, qualifiers=["=", "=", "=", "=", ">", ">"])
    assert not marked.usable
    assert (marked.n, marked.left_out) == (4, 2)
    assert math.isnan(marked.k)
    assert local_k([*noisy, -0.1], [*disc, 1.0]).left_out == 1
    for arguments, name in [
        ({"secchi_m": [0.0] * 6}, "secchi_m"),
        ({"secchi_m": [1.0]}, "secchi_m"),
        ({"min_pairs": 1}, "min_pairs"),
        ({"confidence": 0.0}, "confidence"),
    ]:
        with pytest.raises(ArgumentError) as caught:
            local_k(**{"kd": noisy, "secchi_m": disc, **arguments})
        assert caught.value.argument == name
