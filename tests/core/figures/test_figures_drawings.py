"""Every drawing says what the data say: shapes, arrows, axes, units, words; and never breaks on nothing."""

from __future__ import annotations

import datetime as dt
import json
from typing import Any

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from fathomlight import figures
from fathomlight.figures import DARK, LIGHT, Picture
from fathomlight.figures.map import nice_length, place_labels
from fathomlight.model import READING_COLUMNS, Parameter, TrendResult, empty_frame

SECCHI = Parameter("secchi", "Disc depth", "m", clearer="higher")
TURBIDITY = Parameter("turbidity_ntu", "Turbidity", "NTU", clearer="lower")
TEMPERATURE = Parameter("temperature", "Temperature", "degC", positive=False, profile=True)


def readings(values: list[float], qualifiers: str = "", flags: list[int] | None = None) -> pd.DataFrame:
    n = len(values)
    frame = empty_frame(READING_COLUMNS)
    days = pd.date_range("2024-05-01", periods=n, freq="7D", unit="us")
    frame = pd.DataFrame({name: frame[name].reindex(range(n)) for name in ("method", "note")})
    return frame.assign(
        station="A",
        parameter="secchi",
        depth_m=0.0,
        time=days.tz_localize("UTC") + pd.Timedelta(hours=15),
        local_date=days,
        replicate=1,
        value=values,
        qualifier=list(qualifiers or "=" * n),
        flag=flags or [1] * n,
        batch=1,
    )


def named(picture: Picture, name: str) -> Any:
    return next(t for t in picture.figure.data if t.name == name)


def texts(picture: Picture) -> str:
    return json.dumps(picture.figure.to_plotly_json(), default=str)


def test_flags_and_qualifiers_have_their_own_marks() -> None:
    table = readings([2.0, 3.0, 1.0, 9.0], "=>==", [1, 1, 3, 4])
    picture = figures.readings_series(table, SECCHI, show_failed=True)
    assert named(picture, "used").marker.symbol == "circle"
    assert list(named(picture, "used").y) == [2.0]
    assert list(named(picture, "used, a limit").y) == [3.0]
    assert named(picture, "suspect").marker.symbol == "circle-open"
    assert named(picture, "fail").marker.symbol == "x-thin"
    arrow = named(picture, "greater than")
    assert abs(arrow.marker.angle) == 180  # the axis points down, deeper is down on the screen
    assert arrow.y[1] > arrow.y[0] == 3.0
    assert "n = 2 used" in picture.method_line
    assert "1 of them limits" in picture.method_line


def test_failed_readings_are_off_by_default_but_counted() -> None:
    picture = figures.readings_series(readings([2.0, 9.0], flags=[1, 4]), SECCHI)
    assert "fail" not in [t.name for t in picture.figure.data]
    assert "1 fail (not drawn)" in picture.method_line


def test_depth_points_down_from_the_surface() -> None:
    picture = figures.readings_series(readings([2.0, 3.0]), SECCHI)
    low, high = picture.figure.layout.yaxis.range
    assert low > 3.0
    assert high == 0


def test_turbidity_points_up_and_less_than_points_down() -> None:
    picture = figures.readings_series(readings([2.0, 3.0], "=<"), TURBIDITY)
    low, high = picture.figure.layout.yaxis.range
    assert low == 0
    assert high > 3
    arrow = named(picture, "less than")
    assert abs(arrow.marker.angle) == 180
    assert 0 <= arrow.y[1] < 3.0


def test_an_arrow_toward_zero_never_crosses_it() -> None:
    picture = figures.readings_series(readings([100.0, 0.5], "=<"), TURBIDITY)
    assert named(picture, "less than").y[1] == 0.0


def test_feet_are_shown_and_metres_kept() -> None:
    table = readings([3.048])
    before = table.copy()
    picture = figures.readings_series(table, SECCHI, units="us")
    assert named(picture, "used").y[0] == pytest.approx(10.0)
    assert "[ft]" in picture.figure.layout.yaxis.title.text
    assert "10.0 ft" in picture.caption
    pd.testing.assert_frame_equal(table, before)


def test_a_logger_is_drawn_as_extremes() -> None:
    n = 20_000
    table = readings([1.0] * n)
    table["time"] = pd.date_range("2024-01-01", periods=n, freq="15min", tz="UTC", unit="us")
    table["local_date"] = table["time"].dt.tz_localize(None).dt.normalize()
    table.loc[777, "value"] = 400.0
    picture = figures.readings_series(table, TURBIDITY)
    line = picture.figure.data[0]
    assert line.mode == "lines"
    assert len(line.x) <= 4010
    assert max(line.y) == 400.0
    assert "time (UTC)" in picture.figure.layout.xaxis.title.text


def stations() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "station": ["A", "B", "C", "D", "E"],
            "name": ["One", "Two", "Three", "Four", "Five"],
            "latitude": [60.0, 60.1, 60.05, 60.02, np.nan],
            "longitude": [10.0, 10.1, 10.2, 10.3, 10.4],
            "standing": ["clearer", "murkier", "usual", "no recent reading", "usual"],
            "sentence": ["s"] * 5,
        }
    )


SHORE = {
    "type": "FeatureCollection",
    "features": [
        {
            "type": "Feature",
            "properties": {"water": "w", "name": "Water"},
            "geometry": {
                "type": "Polygon",
                "coordinates": [
                    [[10, 60], [10.3, 60], [10.3, 60.1], [10, 60.1], [10, 60]],
                    [[10.1, 60.02], [10.2, 60.02], [10.2, 60.05], [10.1, 60.02]],
                ],
            },
        }
    ],
}


def test_the_map_tells_standing_by_shape_and_colour() -> None:
    picture = figures.station_map(stations(), SHORE)
    up = named(picture, "clearer than usual (1)")
    assert up.marker.symbol == "triangle-up"
    assert up.marker.color == LIGHT.clearer
    assert list(up.customdata) == ["A"]
    assert named(picture, "murkier than usual (1)").marker.symbol == "triangle-down"
    assert "4 stations" in picture.caption  # one has no position


def test_the_map_keeps_shapes_true_and_islands_open() -> None:
    picture = figures.station_map(stations(), SHORE)
    assert picture.figure.layout.yaxis.scaleratio == pytest.approx(2.0, rel=0.01)  # 1 / cos 60 degrees
    shore = picture.figure.layout.shapes[0]
    assert shore.fillrule == "evenodd"
    assert shore.path.count("M") == 2


def test_labels_leave_each_other_room() -> None:
    table = stations().iloc[:2].assign(latitude=60.0, longitude=[10.0, 10.002], water_name="One Lake")
    placed = place_labels(table, (10.0, 11.0, 60.0, 60.5))
    assert placed["A"][1] != placed["B"][1]


def test_the_scale_bar_is_as_long_as_it_says() -> None:
    picture = figures.station_map(stations(), SHORE)
    bar = next(s for s in picture.figure.layout.shapes if s.type == "line")
    words = next(a.text for a in picture.figure.layout.annotations if a.text.endswith("km"))
    km = float(words.split()[0])
    latitude = (60.0 + 60.1) / 2
    length = (bar.x1 - bar.x0) * 111.32 * np.cos(np.radians(latitude))
    assert length == pytest.approx(km, rel=1e-3)
    assert nice_length(km) == km


def test_no_picture_asks_for_anything_outside() -> None:
    for picture in (figures.station_map(stations(), SHORE), figures.readings_series(readings([1.0]), SECCHI)):
        assert "http" not in texts(picture)
        assert not {t.type for t in picture.figure.data} & {"scattergeo", "scattermap", "scattermapbox"}


def envelope() -> pd.DataFrame:
    days = np.arange(100, 300)
    return pd.DataFrame({"day_of_year": days, "low": 2.0, "median": 3.0, "high": 4.0, "n": 30})


def test_a_year_against_its_past() -> None:
    picture = figures.year_against_past(
        envelope(), readings([1.0, 3.0, 5.0, 4.5, 3.0], "===<>"), SECCHI, year=2024, past="2006 to 2023"
    )
    # 4.5 with "<" may well lie inside the band; 3 with ">" may too.
    assert list(named(picture, "murkier than the band").y) == [1.0]
    assert list(named(picture, "clearer than the band").y) == [5.0]
    assert "1 clearer and 1 murkier than" in picture.caption
    assert picture.figure.layout.yaxis.range[1] == 0


def test_less_is_clearer_for_turbidity() -> None:
    picture = figures.year_against_past(envelope(), readings([1.0, 5.0]), TURBIDITY, year=2024)
    assert list(named(picture, "clearer than the band").y) == [1.0]


def test_a_band_is_broken_where_the_past_is_too_short() -> None:
    table = envelope()
    table.loc[50:80, ["low", "median", "high"]] = np.nan
    picture = figures.year_against_past(table, readings([3.0]), SECCHI, year=2024)
    assert sum(t.fill == "tonexty" for t in picture.figure.data) == 2


def cells(n_years: int = 10) -> pd.DataFrame:
    return pd.DataFrame(
        [
            {"year": 2015 + y, "season": s, "value": 2.0 + s + 0.1 * y, "n": 3}
            for y in range(n_years)
            for s in (1, 2)
        ]
    )


def test_other_years_lie_on_the_same_days() -> None:
    other = readings([2.5, 2.6])
    other["local_date"] = pd.to_datetime(["2020-05-01", "2020-06-01"])
    picture = figures.year_against_past(envelope(), readings([3.0]), SECCHI, year=2024, beside={2020: other})
    drawn = named(picture, "2020")
    assert [str(x)[:10] for x in drawn.x] == ["2024-05-01", "2024-06-01"]
    assert list(drawn.y) == [2.5, 2.6]


def test_stations_beside_each_other_differ_in_shape() -> None:
    picture = figures.stations_beside({"One": readings([2.0, 3.0]), "Two": readings([4.0, 5.0])}, SECCHI)
    assert picture.figure.data[0].marker.symbol != picture.figure.data[1].marker.symbol
    assert picture.figure.data[0].line.dash != picture.figure.data[1].line.dash
    assert "One 2.5 m, Two 4.5 m" in picture.caption


def test_season_boxes_name_the_clearest_and_mark_the_last_year() -> None:
    names = {1: "summer", 2: "autumn"}
    picture = figures.season_boxes(cells(), SECCHI, labels=names)
    assert "clearest in autumn" in picture.caption
    assert "murkiest in summer" in picture.caption
    assert list(named(picture, "2024").x) == ["summer", "autumn"]
    assert "clearest in summer" in figures.season_boxes(cells(), TURBIDITY, labels=names).caption


def trend(slope: float = -0.05, **kwargs: Any) -> TrendResult:
    base: dict[str, Any] = {
        "n": 20,
        "s": -50.0,
        "variance": 900.0,
        "z": -1.6,
        "p": 0.02,
        "tau": -0.3,
        "slope": slope,
        "slope_low": slope - 0.01,
        "slope_high": slope + 0.01,
        "intercept": 3.0 - slope * 2024.5,
        "direction": "decreasing",
        "confidence": 0.99,
        "likelihood": "very likely",
        "method": "A test.",
    }
    return TrendResult(**{**base, **kwargs})


def line(slope: float = -0.05) -> pd.DataFrame:
    years = np.array([2020.0, 2025.0])
    level = 3.0 + slope * (years - 2022.5)
    return pd.DataFrame({"year": years, "line": level, "low": level - 0.1, "high": level + 0.1})


def test_the_trend_line_is_drawn_where_it_is() -> None:
    picture = figures.trend_line(readings([3.0] * 30), line(), trend(), SECCHI)
    drawn = named(picture, "Sen line")
    assert list(drawn.x) == [2020.0, 2025.0]
    assert list(drawn.y) == pytest.approx([3.125, 2.875])
    assert drawn.line.color == LIGHT.murkier  # a shrinking disc depth
    assert picture.caption.startswith("Virtually certainly getting murkier (99 %): ")
    assert "-0.50 m a decade (-0.60 to -0.40)" in picture.caption
    assert "p = 0.02, n = 20" in picture.method_line
    feet = figures.trend_line(readings([3.0] * 30), line(), trend(), SECCHI, units="us")
    assert "-1.64 ft a decade" in feet.caption


def test_a_falling_turbidity_is_clearer() -> None:
    picture = figures.trend_line(readings([3.0] * 30), line(), trend(), TURBIDITY)
    assert named(picture, "Sen line").line.color == LIGHT.clearer


def test_an_uncertain_line_has_no_meaning() -> None:
    picture = figures.trend_line(readings([3.0] * 30), line(), trend(confidence=0.6, p=0.8), SECCHI)
    assert named(picture, "Sen line").line.color == LIGHT.quiet


def test_season_panels_have_one_slope_each() -> None:
    by_season = pd.DataFrame({"season": [1, 2], "slope": [0.1, -0.1], "p": [0.1, 0.2]})
    picture = figures.season_panels(cells(), by_season, SECCHI, labels={1: "summer", 2: "autumn"})
    lines = [t for t in picture.figure.data if t.mode == "lines"]
    assert [t.line.color for t in lines] == [LIGHT.clearer, LIGHT.murkier]
    assert lines[0].y[1] - lines[0].y[0] == pytest.approx(0.1 * 9)


def network() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "station": ["A", "B", "C"],
            "name": ["One", "Two", "Three"],
            "slope": [-0.1, 0.2, -0.3],
            "slope_low": [-0.2, 0.1, -0.4],
            "slope_high": [0.1, 0.3, -0.2],
            "p": [0.2, 0.01, 0.001],
            "p_adjusted": [0.2, 0.015, 0.003],
        }
    )


def test_the_network_is_ranked_and_only_the_certain_are_filled() -> None:
    picture = figures.network_intervals(network(), SECCHI)
    assert named(picture, "not certain (1)").marker.symbol == "circle-open"
    assert list(named(picture, "murkier (1)").y) == ["Three"]
    assert list(named(picture, "clearer (1)").x) == pytest.approx([2.0])  # a decade
    assert list(picture.figure.layout.yaxis.categoryarray) == ["Three", "One", "Two"]
    assert picture.caption == "3 stations with enough years: 1 clearer, 1 murkier, 1 not certain."


def test_the_index_has_its_bands_and_one_shape_an_input() -> None:
    table = pd.DataFrame(
        {
            "year": [2024, 2024],
            "input": ["secchi", "chlorophyll"],
            "index": [45.0, 55.0],
            "low": [43.0, 52.0],
            "high": [47.0, 58.0],
            "n": [10, 8],
        }
    )
    picture = figures.index_by_year(table)
    assert picture.caption == "In 2024: 45 from disc depth (mesotrophic), 55 from chlorophyll (eutrophic)."
    assert named(picture, "from disc depth").error_y.array[0] == 2.0
    assert {"oligotrophic", "mesotrophic", "eutrophic"} <= {a.text for a in picture.figure.layout.annotations}


def test_deviations_are_read_by_quarter() -> None:
    # Disc 1 m, chlorophyll 10 ug/L, phosphorus 100 ug/L: x = -6.8, y = -17.4 (Carlson 1977 equations).
    picture = figures.deviations(pd.DataFrame({"year": [2024], "x": [-6.8], "y": [-17.4]}))
    assert "murkier than its chlorophyll suggests" in picture.caption
    assert "fewer algae than phosphorus allows" in picture.caption


def profiles() -> xr.Dataset:
    times = pd.date_range("2024-05-01", periods=4, freq="30D", unit="us")
    values = np.array([[8, 8, 8.0], [15, 10, 8.0], [22, np.nan, 8.0], [12, 12, np.nan]])
    return xr.Dataset(
        {"temperature": (("time", "depth_m"), values)}, {"time": times, "depth_m": [0.0, 5.0, 10.0]}
    )


def test_isotherms_fill_within_a_profile_but_never_beyond_it() -> None:
    picture = figures.isotherms(
        profiles(),
        TEMPERATURE,
        thermocline_times=[np.datetime64("2024-06-30")],
        thermocline_depths=[4.0],
    )
    z = np.asarray(picture.figure.data[0].z)
    assert z[1, 2] == 15.0  # half way between 22 and 8
    assert np.isnan(z[2, 3])
    assert list(picture.figure.layout.yaxis.range) == [10.0, 0]
    assert list(named(picture, "thermocline").y) == [4.0]
    assert "n = 4 profiles" in picture.method_line


def test_isotherms_in_fahrenheit_and_feet() -> None:
    picture = figures.isotherms(profiles(), TEMPERATURE, units="us")
    assert np.nanmax(np.asarray(picture.figure.data[0].z)) == pytest.approx(71.6)
    assert picture.figure.layout.yaxis.range[0] == pytest.approx(32.8084, abs=1e-3)


def test_episodes_are_bars_from_opening_to_end() -> None:
    table = pd.DataFrame(
        {
            "station": ["A", "B"],
            "rule": ["low clarity", "low clarity"],
            "state": ["open", "over"],
            "opened": [pd.Timestamp("2024-07-01"), pd.Timestamp("2024-05-01")],
            "ended": [pd.NaT, pd.Timestamp("2024-05-31")],
            "sentence": ["a", "b"],
        }
    )
    picture = figures.episode_strip(table, today=dt.date(2024, 7, 11))
    assert named(picture, "open").x[0] == 10 * 86_400_000
    assert named(picture, "over").x[0] == 30 * 86_400_000
    assert named(picture, "open").marker.color == LIGHT.attention
    assert picture.caption == "2 episodes: 1 open, 1 over."


def test_fish_pictures_say_their_effort() -> None:
    table = pd.DataFrame(
        {"year": [2023, 2024], "mean": [2.0, 4.0], "low": [1.0, 3.0], "high": [4.0, 6.0], "n": [6, 6]}
    )
    picture = figures.catch_by_year(table, effort_unit="net-night", species="walleye")
    assert picture.figure.layout.yaxis.title.text == "Walleye per net-night"
    assert "n = 12 surveys" in picture.method_line
    matched = pd.DataFrame(
        {"clarity": [1.0, 2.0], "catch_per_effort": [3.0, 5.0], "water": ["a", "b"], "year": [1, 2]}
    )
    beside = figures.catch_and_clarity(matched, SECCHI, species="walleye", effort_unit="net-night")
    assert "how easily fish are caught" in beside.method_line


def test_lengths_are_shown_in_centimetres_or_inches() -> None:
    metric = figures.lengths(np.array([254.0, 508.0, np.nan]), limits_mm={"stock": 250})
    assert "25 to 51 cm" in metric.caption
    assert "2 fish measured" in metric.caption
    assert "10 to 20 in" in figures.lengths(np.array([254.0, 508.0]), units="us").caption


def test_habitat_pictures_give_areas_and_the_best_depth() -> None:
    table = pd.DataFrame({"year": [2023, 2024], "area_ha": [40.0, 60.0]})
    assert "Between 40 ha (2023) and 60 ha (2024)" in figures.habitat_by_year(table).caption
    curve = pd.DataFrame({"secchi_m": [1.0, 2.0, 3.0], "area_ha": [10.0, 30.0, 20.0]})
    assert "about 2.0 m" in figures.sensitivity(curve, now_m=1.5).caption
    days = pd.DataFrame(
        {
            "date": pd.date_range("2024-06-01", periods=3, unit="us"),
            "light_shallow_m": [1.0, 1.0, 6.0],
            "light_deep_m": [4.0, 4.0, 8.0],
            "warm_shallow_m": [0.0, 2.0, 0.0],
            "warm_deep_m": [3.0, 5.0, 5.0],
        }
    )
    caption = figures.bands(days).caption
    assert "on 2 of 3 days" in caption
    assert "2.0 m thick" in caption


NOTHING = {
    "series": lambda look: figures.readings_series(readings([]), SECCHI, look=look),
    "compare": lambda look: figures.stations_beside({"One": readings([])}, SECCHI, look=look),
    "map": lambda look: figures.station_map(stations().iloc[:0], None, look=look),
    "year": lambda look: figures.year_against_past(
        envelope().iloc[:0], readings([]), SECCHI, year=2024, look=look
    ),
    "boxes": lambda look: figures.season_boxes(cells().iloc[:0], SECCHI, look=look),
    "line": lambda look: figures.trend_line(readings([1.0]), line(), trend(), SECCHI, look=look),
    "panels": lambda look: figures.season_panels(
        cells().iloc[:0], pd.DataFrame({"season": [1], "slope": [np.nan]}), SECCHI, look=look
    ),
    "network": lambda look: figures.network_intervals(network().iloc[:0], SECCHI, look=look),
    "index": lambda look: figures.index_by_year(
        pd.DataFrame({"year": [], "input": [], "index": []}), look=look
    ),
    "deviations": lambda look: figures.deviations(pd.DataFrame({"year": [], "x": [], "y": []}), look=look),
    "isotherms": lambda look: figures.isotherms(profiles().isel(time=[0]), TEMPERATURE, look=look),
    "episodes": lambda look: figures.episode_strip(
        pd.DataFrame(columns=["station", "rule", "state", "opened", "ended"]),
        today=dt.date(2024, 1, 1),
        look=look,
    ),
    "catch": lambda look: figures.catch_by_year(pd.DataFrame({"year": [], "mean": []}), look=look),
    "lengths": lambda look: figures.lengths(np.array([]), look=look),
    "beside": lambda look: figures.catch_and_clarity(
        pd.DataFrame({"clarity": [], "catch_per_effort": []}), SECCHI, look=look
    ),
    "habitat": lambda look: figures.habitat_by_year(pd.DataFrame({"year": [], "area_ha": []}), look=look),
    "sensitivity": lambda look: figures.sensitivity(pd.DataFrame({"secchi_m": [], "area_ha": []}), look=look),
}


@pytest.mark.parametrize("name", NOTHING)
def test_nothing_is_said_in_words(name: str) -> None:
    for look in (LIGHT, DARK):
        picture = NOTHING[name](look)
        notes = [a.text for a in picture.figure.layout.annotations]
        assert any(len(text) > 15 for text in notes), "an empty picture must say why it is empty"
        assert picture.caption
        assert picture.alt


def test_a_picture_is_plain_data_too() -> None:
    out = figures.readings_series(readings([1.0]), SECCHI).to_dict()
    assert set(out) == {"figure", "caption", "method_line", "alt"}
