"""Season cells, coverage and cubes: answers a person can do in the head."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fathomlight.errors import ArgumentError
from fathomlight.seasons import (
    CALENDAR_MONTHS,
    GROWING_SEASON,
    Season,
    SeasonScheme,
    bounded_median,
    cells_by_station,
    coverage,
    season_cells,
    season_cube,
)
from fathomlight.trends import network_trends, seasonal_kendall

WINTER = SeasonScheme((Season("winter", (12, 1, 2)), Season("summer", (6, 7, 8))))


def readings(dates, values, qualifier="=", flag=1, station="N-1", parameter="secchi", depth=0.0):
    date = pd.to_datetime(pd.Series(dates)).astype("datetime64[us]")
    return pd.DataFrame(
        {
            "station": station, "parameter": parameter, "depth_m": depth, "local_date": date,
            "value": np.asarray(values, dtype=float), "qualifier": qualifier, "flag": flag,
        }
    )  # fmt: skip


def test_median_of_a_month():
    cells = season_cells(readings(["2020-07-03", "2020-07-10", "2020-07-31", "2020-08-01"], [2, 9, 3, 5]))
    assert cells["season"].tolist() == ["July", "August"]
    assert cells["value"].tolist() == [3, 5]
    assert cells["count"].tolist() == [3, 1]
    assert cells.loc[0, "first_date"] == pd.Timestamp("2020-07-03")
    assert cells.loc[0, "last_date"] == pd.Timestamp("2020-07-31")
    assert cells.loc[0, "n_days"] == 3


@pytest.mark.parametrize(
    ("values", "marks", "expected"),
    [
        ([1, 2, 3], "==>", (2, "=")),  # the bound lies above the median: it is known
        ([2, 3], "=>", (2.5, ">")),
        ([3, 3, 3], ">>=", (3, ">")),
        ([1, 1, 5], "<<=", (1, "<")),
        ([1, 4, 5], "<==", (4, "=")),
        ([1, 5], "<>", (np.nan, "=")),
    ],
)
def test_median_with_bounds(values, marks, expected):
    cells = season_cells(readings(["2020-07-01"] * len(values), values, list(marks)))
    value, mark = cells.loc[0, ["value", "qualifier"]]
    assert (value == expected[0]) or (np.isnan(value) and np.isnan(expected[0]))
    assert mark == expected[1]
    assert cells.loc[0, "n_qualified"] == len(marks) - marks.count("=")
    codes = np.array([{"=": 0, "<": -1, ">": 1}[m] for m in marks], dtype=np.int8)
    again = bounded_median(np.array(values, float), codes)
    assert {"=": 0, "<": -1, ">": 1}[mark] == again[1]
    assert again[0] == value or np.isnan(value)


def bracket(value, code):
    return (-np.inf if code < 0 else value, np.inf if code > 0 else value)


@given(
    st.lists(
        st.tuples(st.integers(0, 9), st.sampled_from([0, 0, -1, 1]), st.integers(0, 5)),
        min_size=1,
        max_size=9,
    )
)
def test_bounded_median_never_lies(rows):
    """Whatever the true values behind the bounds are, their median obeys the bound returned."""
    values = np.array([v for v, _, _ in rows], float)
    codes = np.array([c for _, c, _ in rows], dtype=np.int8)
    truth = values + codes * np.array([1 + k for _, _, k in rows])
    value, code = bounded_median(values, codes)
    if np.isnan(value):
        return
    low, high = bracket(value, code)
    assert low <= np.median(truth) <= high


@pytest.mark.parametrize(
    ("statistic", "expected"), [("mean", (3, ">")), ("minimum", (1, "=")), ("maximum", (5, ">"))]
)
def test_other_statistics_with_bounds(statistic, expected):
    cells = season_cells(readings(["2020-07-01"] * 3, [1, 3, 5], ["=", "=", ">"]), statistic=statistic)
    assert tuple(cells.loc[0, ["value", "qualifier"]]) == expected


def test_flags_leave_out_and_are_counted():
    flag = [1, 2, 3, 4, 9]
    table = readings(["2020-07-01"] * 5, [1, 3, 100, 200, np.nan], flag=flag)
    cells = season_cells(table)
    assert cells.loc[0, ["value", "count", "n_left_out", "n_suspect", "n_fail", "n_missing"]].tolist() == [
        2, 2, 3, 1, 1, 1,
    ]  # fmt: skip
    assert season_cells(table, flags=(1, 2, 3)).loc[0, "value"] == 3


def test_cell_without_any_good_reading_is_kept():
    cells = season_cells(readings(["2020-07-01"], [3], flag=4))
    assert len(cells) == 1
    assert np.isnan(cells.loc[0, "value"])
    assert cells.loc[0, "count"] == 0
    assert cells.loc[0, "n_fail"] == 1


def test_winter_belongs_to_the_year_it_ends_in():
    cells = season_cells(readings(["2019-12-20", "2020-01-10", "2020-03-01"], [1, 3, 9]), WINTER)
    assert cells[["year", "season", "value"]].to_numpy().tolist() == [[2020, "winter", 2]]
    assert cells.attrs["notes"] == [
        "1 readings lie outside every season or the open-water window and are not used."
    ]


def test_water_year():
    scheme = SeasonScheme(CALENDAR_MONTHS.seasons, year_starts=10)
    cells = season_cells(readings(["2019-09-30", "2019-10-01", "2020-09-30"], [1, 2, 3]), scheme)
    assert sorted(zip(cells["year"], cells["season"], strict=True)) == [
        (2019, "September"), (2020, "October"), (2020, "September"),
    ]  # fmt: skip


def test_winter_in_a_water_year_does_not_turn():
    # October starts the year: December to February lie inside one water year
    scheme = SeasonScheme((Season("winter", (12, 1, 2)),), year_starts=10)
    cells = season_cells(readings(["2019-12-20", "2020-01-10"], [1, 3]), scheme)
    assert cells["year"].tolist() == [2020]


def test_open_water_window():
    scheme = SeasonScheme(CALENDAR_MONTHS.seasons, open_water=((5, 15), (10, 31)))
    cells = season_cells(
        readings(["2020-05-14", "2020-05-15", "2020-10-31", "2020-11-01"], [1, 2, 3, 4]), scheme
    )
    assert cells["value"].tolist() == [2, 3]
    southern = SeasonScheme(CALENDAR_MONTHS.seasons, open_water=((11, 1), (3, 31)))
    cells = season_cells(readings(["2020-05-14", "2020-12-15", "2021-03-31"], [1, 2, 3]), southern)
    assert cells["value"].tolist() == [2, 3]


def test_growing_season():
    cells = season_cells(
        readings(["2020-05-31", "2020-06-01", "2020-09-30", "2020-10-01"], [9, 2, 4, 9]), GROWING_SEASON
    )
    assert cells[["season", "value"]].to_numpy().tolist() == [["June to September", 3]]


def test_surface_of_a_profile():
    table = readings(
        ["2020-07-01"] * 4, [20, 18, 10, 6], parameter="temperature", depth=[0.0, 1.0, 5.0, 12.0]
    )
    cells = season_cells(table)
    assert cells.loc[0, "value"] == 19
    assert "2 readings at other depths than 0 to 1 m" in cells.attrs["notes"][0]
    assert season_cells(table, depth=(5, 12)).loc[0, "value"] == 8
    assert season_cells(table, depth=None).loc[0, "count"] == 4


def test_coverage_in_the_head():
    dates = ["2000-07-01", "2000-08-01", "2001-07-01", "2004-07-01"]
    row = coverage(season_cells(readings(dates, [1, 2, 3, 4]))).iloc[0]
    assert (row.first_year, row.last_year, row.n_years, row.longest_gap) == (2000, 2004, 3, 2)
    assert (row.n_cells, row.possible, row.coverage) == (4, 10, 0.4)


def test_cube_and_back():
    rng = np.random.default_rng(0)
    dates = [f"{year}-{month:02d}-15" for year in range(2000, 2014) for month in (6, 7, 8)]
    tables = []
    for station in ("N-1", "N-2"):
        bound = rng.random(len(dates)) < 0.2
        tables.append(
            readings(dates, rng.integers(1, 9, len(dates)), np.where(bound, ">", "="), station=station)
        )
    table = pd.concat(tables).drop(index=3)
    cells = season_cells(table)
    cube, marks = season_cube(cells), season_cube(cells, column="qualifier")
    assert cube.dims == ("station", "year", "season")
    assert cube.season.values.tolist() == [
        "June",
        "July",
        "August",
    ]  # the order of the scheme, not the alphabet
    assert bool(np.isnan(cube.sel(station="N-1", year=2001, season="June")))
    found = network_trends(cube, qualifiers=marks)
    one = cells[cells["station"] == "N-2"]
    alone = seasonal_kendall(one["value"], one["year"], one["season"], qualifiers=one["qualifier"])
    assert float(found.sel(station="N-2").s) == alone.s
    assert float(found.sel(station="N-2").slope) == pytest.approx(alone.slope)


def test_parameters_are_kept_apart():
    table = pd.concat(
        [readings(["2020-07-01"], [3]), readings(["2020-07-01"], [20], parameter="temperature")]
    )
    cells = season_cells(table)
    assert len(cells) == 2
    with pytest.raises(ArgumentError, match="parameter"):
        season_cube(cells)
    assert season_cube(cells, parameter="secchi").item() == 3


def test_no_readings():
    cells = season_cells(readings([], []).astype({"qualifier": "str", "flag": "int64"}))
    assert cells.empty
    assert list(cells.columns)[:5] == ["station", "parameter", "year", "season", "value"]
    assert coverage(cells).empty


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: Season("x", (0,)),
        lambda: Season("x", (1, 1)),
        lambda: SeasonScheme((Season("a", (1,)), Season("b", (1, 2)))),
        lambda: SeasonScheme((Season("a", (1,)), Season("a", (2,)))),
        lambda: SeasonScheme(()),
        lambda: SeasonScheme((Season("a", (1,)),), year_starts=13),
        lambda: SeasonScheme((Season("a", (1,)),), open_water=((13, 1), (2, 1))),
        lambda: season_cells(readings(["2020-01-01"], [1]), statistic="mode"),
        lambda: season_cells(readings(["2020-01-01"], [1]), depth=(3, 1)),
        lambda: season_cells(pd.DataFrame({"value": [1.0]})),
    ],
)
def test_impossible_settings(wrong):
    with pytest.raises(ArgumentError):
        wrong()


@pytest.mark.parametrize("depth", [(0.0, 1.0), None])
@pytest.mark.parametrize("window", [None, ((5, 1), (9, 30))])
def test_many_stations_at_once_are_each_alone(depth, window):
    rng = np.random.default_rng(11)
    n = 400
    readings = pd.DataFrame({
        "station": rng.choice(["B", "A", "C"], n), "parameter": "secchi",
        "depth_m": rng.choice([0.0, 0.5, 4.0], n, p=[0.6, 0.3, 0.1]),
        "local_date": pd.Timestamp("2015-01-01") + pd.to_timedelta(rng.integers(0, 3000, n), unit="D"),
        "value": np.where(rng.random(n) < 0.05, np.nan, rng.uniform(1, 5, n).round(1)),
        "qualifier": rng.choice(["=", ">", "<"], n, p=[0.8, 0.15, 0.05]),
        "flag": rng.choice([1, 2, 3, 4], n, p=[0.8, 0.1, 0.05, 0.05]),
    })  # fmt: skip
    readings = pd.concat([readings, readings[:1].assign(station="D", depth_m=9.0)], ignore_index=True)
    scheme = replace(CALENDAR_MONTHS, open_water=window)
    found = cells_by_station(readings, scheme, depth=depth)
    assert set(found) == {"A", "B", "C", "D"}
    for station, cells in found.items():
        alone = season_cells(readings[readings["station"] == station], scheme, depth=depth)
        pd.testing.assert_frame_equal(cells, alone)
        assert cells.attrs["notes"] == alone.attrs["notes"]
    assert found["A"].attrs["notes"] or (depth is None and window is None)
