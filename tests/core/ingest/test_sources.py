"""Workbooks, NetCDF and logger files; pieces of large files."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd
import pytest
import xarray as xr
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl.utils.datetime import CALENDAR_MAC_1904

from fathomlight.errors import RecipeError, UnreadableFileError
from fathomlight.ingest import (
    ReadLimits,
    Recipe,
    iter_chunks,
    load_recipes,
    merge_results,
    read_file,
    recheck_row,
)
from fathomlight.ingest import csv_source as csv_module

ROOT = Path(__file__).parents[3]
HERE = ReadLimits(isolate="never")


@pytest.fixture(scope="module")
def recipes():
    return load_recipes(ROOT / "config" / "recipes")


@pytest.fixture
def book(tmp_path):
    def make(rows, name="book.xlsx", mac=False, title="Data"):
        made = openpyxl.Workbook()
        if mac:
            made.epoch = CALENDAR_MAC_1904
        made.active.title = title
        for row in rows:
            made.active.append(row)
        path = tmp_path / name
        made.save(path)
        return path

    return make


def read_path(path, recipe, parameters, stations, now, **more):
    return read_file(path, recipe, parameters=parameters, stations=stations, now=now, limits=HERE, **more)


@pytest.mark.parametrize("mac", [False, True])
def test_workbook_dates_of_both_epochs(book, make_recipe, parameters, stations, now, mac):
    path = book(
        [["Invented"], ["Site", "Date", "Secchi"], ["H-2", dt.datetime(2019, 7, 24), 2.1],
         ["H-2", dt.datetime(2019, 7, 25, 9, 30), 2.2], [70, dt.date(2019, 7, 26), 3]],
        mac=mac,
    )  # fmt: skip
    got = read_path(
        path, make_recipe(time={"column": "Date", "clock": "as written"}), parameters, stations, now
    )
    assert got.frame["local_date"].dt.strftime("%Y-%m-%d").tolist() == [
        "2019-07-24",
        "2019-07-25",
        "2019-07-26",
    ]
    assert got.frame["time"].dt.strftime("%H:%M").tolist()[1] == "14:30"
    assert got.frame["station"].tolist() == ["H-2", "H-2", "H-070"]
    assert got.frame["original_value"].tolist() == ["2.1", "2.2", "3"]


def test_workbook_lines_sheets_and_clock_cells(tmp_path, make_recipe, parameters, stations, now):
    made = openpyxl.Workbook()
    made.active.title = "Read me"
    sheet = made.create_sheet("July visits")
    for row, cells in ((5, ["Site", "Date", "Time", "Secchi"]), (6, ["H-2", dt.date(2019, 7, 24), dt.time(9, 35), 2]),
                       (8, ["H-2", dt.date(2019, 7, 24), dt.time(9, 35), "murky"])):  # fmt: skip
        for column, cell in enumerate(cells, start=2):
            sheet.cell(row, column, cell)
    path = tmp_path / "book.xlsx"
    made.save(path)
    recipe = make_recipe(time={"column": "Date", "time_column": "Time"}, file={"sheet": "july VISITS"})
    got = read_path(path, recipe, parameters, stations, now)
    assert got.refused["line"].tolist() == [8]
    assert got.frame["time"].dt.strftime("%H:%M").tolist() == ["14:35"]
    with pytest.raises(RecipeError, match="no such sheet"):
        read_path(path, recipe, parameters, stations, now, sheet="August")


def test_formulas_are_never_run_and_never_pass_for_empty(book, make_recipe, parameters, stations, now):
    path = book([["Site", "Date", "Secchi"], ["H-2", "2019-07-24", "=1+1"], ["H-2", "2019-07-25", 2]])
    got = read_path(path, make_recipe(), parameters, stations, now)
    assert got.frame["value"].tolist() == [2.0]
    assert got.refused[["line", "value", "reason"]].values.tolist() == [
        [2, "=1+1", "a formula without a stored value"]
    ]  # fmt: skip
    assert any("formula" in w for w in got.warnings)


def test_text_that_calls_itself_a_workbook(tmp_path, make_recipe, parameters, stations, now):
    path = tmp_path / "book.xlsx"
    path.write_text("Site,Date,Secchi\n")
    with pytest.raises(UnreadableFileError, match="whatever its name says"):
        read_path(path, make_recipe(), parameters, stations, now)


# -- NetCDF --------------------------------------------------------------------------------------------


def time_series():
    time = pd.date_range("2019-07-01", periods=3, freq="D")
    return xr.Dataset(
        {
            "clarity": (("station", "time"), [[2.0, np.nan, 2.2], [3.0, 3.1, 3.2]],
                        {"standard_name": "secchi_depth_of_sea_water", "units": "m"}),
            "turbidity": (("station", "time"), [[1.0, 1.1, 1.2], [2.0, 2.1, 2.2]],
                          {"standard_name": "sea_water_turbidity", "units": "FNU"}),
            "salt": (("station", "time"), np.ones((2, 3)), {"units": "1"}),
        },
        coords={"time": ("time", time, {"standard_name": "time"}),
                "station": ("station", ["H-2", "H-070"], {"cf_role": "timeseries_id"})},
        attrs={"featureType": "timeSeries"},
    )  # fmt: skip


def test_cf_time_series(tmp_path, recipes, parameters, stations, now):
    path = tmp_path / "series.nc"
    time_series().to_netcdf(path, engine="h5netcdf")
    got = read_path(path, recipes["cf-netcdf"], parameters, stations, now)
    assert got.counts["readings"] == 5 + 6
    assert got.counts["not_wanted"] == 6
    disc = got.frame[got.frame["parameter"] == "secchi"]
    assert disc[["station", "value"]].values.tolist() == [
        ["H-2", 2.0], ["H-2", 2.2], ["H-070", 3.0], ["H-070", 3.1], ["H-070", 3.2],
    ]  # fmt: skip
    assert (got.frame["parameter"] == "turbidity_fnu").sum() == 6
    assert got.frame["time"].dt.strftime("%Y-%m-%dT%H").iloc[1] == "2019-07-03T00"


def test_cf_classic_format_profiles_with_heights(tmp_path, recipes, parameters, stations, now):
    data = xr.Dataset(
        {
            "temp": (
                ("profile", "z"),
                [[20.0, 10.0]],
                {"standard_name": "sea_water_temperature", "units": "degF"},
            )
        },
        coords={
            "time": ("profile", pd.to_datetime(["2019-07-01T15:00"]), {"standard_name": "time"}),
            "z": ("z", [0.0, -3.0], {"standard_name": "height", "positive": "up", "units": "m"}),
        },
        attrs={"station": "H-2"},
    )
    path = tmp_path / "profile.nc"
    data.to_netcdf(path, engine="scipy")
    got = read_path(path, recipes["cf-netcdf"], parameters, stations, now)
    assert len(got.refused) == 2  # 20 and 10 degF are ice: the refusal says so
    data["temp"].attrs["units"] = "degC"
    data.to_netcdf(path, engine="scipy")
    got = read_path(path, recipes["cf-netcdf"], parameters, stations, now)
    assert got.frame[["depth_m", "value"]].values.tolist() == [[0.0, 20.0], [3.0, 10.0]]


def test_cf_contiguous_ragged(tmp_path, recipes, parameters, stations, now):
    data = xr.Dataset(
        {
            "disc": ("obs", [2.0, 2.1, 3.0], {"standard_name": "secchi_depth_of_sea_water", "units": "m"}),
            "row_size": ("station", np.array([2, 1], dtype="int32"), {"sample_dimension": "obs"}),
            "name": ("station", ["H-2", "H-070"], {"cf_role": "timeseries_id"}),
        },
        coords={
            "time": (
                "obs",
                pd.to_datetime(["2019-07-01", "2019-07-02", "2019-07-01"]),
                {"standard_name": "time"},
            )
        },
    )
    path = tmp_path / "ragged.nc"
    data.to_netcdf(path, engine="h5netcdf")
    got = read_path(path, recipes["cf-netcdf"], parameters, stations, now)
    assert got.frame["station"].tolist() == ["H-2", "H-2", "H-070"]


def test_damaged_netcdf(tmp_path, recipes, parameters, stations, now):
    path = tmp_path / "series.nc"
    time_series().to_netcdf(path, engine="h5netcdf")
    path.write_bytes(path.read_bytes()[:700])
    with pytest.raises(UnreadableFileError):
        read_path(path, recipes["cf-netcdf"], parameters, stations, now)


# -- loggers -------------------------------------------------------------------------------------------

LOGGER = """Invented logger 4
Station: H-2
Serial, 000
DateTime,Turbidity (FNU),Temperature (degF),Battery
2019-07-01T00:00:00Z,3.1,68,12.9
2019-07-01T00:15:00Z,,68,12.9
2019-07-01T00:30:00Z,3.3,212,12.9
"""


def test_logger_with_its_station_above_the_header(read, recipes):
    got = read(LOGGER, recipes["logger-quarter-hour"], name="logger.csv")
    assert got.frame["station"].unique().tolist() == ["H-2"]
    assert got.frame["value"].tolist() == pytest.approx([3.1, 20, 20, 3.3])
    assert got.frame["method"].unique().tolist() == ["logger"]
    assert got.refused[["line", "value"]].values.tolist() == [[7, "212"]]
    assert got.frame["local_date"].dt.day.unique().tolist() == [30]  # 19:00 the evening before, in Chicago


def test_a_refused_logger_row_keeps_its_station(read, recipes, parameters, stations, now):
    recipe = recipes["logger-quarter-hour"]
    refused = read(LOGGER, recipe, name="logger.csv").refused.iloc[0].to_dict()
    again = recheck_row(
        refused, {"Temperature (degF)": "68"}, recipe, parameters=parameters, stations=stations, now=now
    )
    assert again.frame[["station", "parameter"]].values.tolist() == [["H-2", "temperature"]]


def test_logger_that_does_not_name_its_station(read, recipes):
    with pytest.raises(RecipeError, match="do not name the station"):
        read(LOGGER.replace("Station: H-2\n", ""), recipes["logger-quarter-hour"])


# -- pieces --------------------------------------------------------------------------------------------


def long_recipe():
    return Recipe.model_validate({
        "name": "long", "layout": "long", "repeats": "replicates", "station": {"column": "s"}, "time": {"column": "t"},
        "not_imported": ["r"], "values": [{"column": "v", "parameter_column": "p", "unit_column": "u"}],
    })  # fmt: skip


@settings(
    max_examples=25,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(data=st.data())
def test_pieces_do_not_change_the_answer(tmp_path, parameters, stations, now, data):
    """Whatever the size of the pieces: same readings, same lines of refused rows, same replicate numbers."""
    cells = st.tuples(
        st.sampled_from(["H-2", "H-070", "nowhere"]),
        st.integers(1, 28),
        st.sampled_from(["1.5", "2", "<3", "murky", ""]),
        st.sampled_from(["", "calm", "two\nlines", 'a "quoted" word']),
    )
    rows = data.draw(st.lists(cells, min_size=1, max_size=60, unique=True))
    size = data.draw(st.integers(40, 400))
    frame = pd.DataFrame(
        [(s, f"2019-07-{d:02d}", "secchi", v, "m", r) for s, d, v, r in rows], columns=list("stpvur")
    )
    path = tmp_path / "pieces.csv"
    path.write_text(frame.to_csv(index=False))
    settings_ = {"parameters": parameters, "stations": stations, "now": now, "limits": HERE}
    whole = read_file(path, long_recipe(), **settings_)
    before = csv_module.BLOCK
    csv_module.BLOCK = size
    try:
        parts = list(iter_chunks(path, long_recipe(), **settings_))
    finally:
        csv_module.BLOCK = before
    merged = merge_results(parts)
    # an equal value in another piece counts as a duplicate there: compare what does not depend on that
    key = ["station", "time", "value"]
    assert set(map(tuple, merged.frame[key].values)) == set(map(tuple, whole.frame[key].values))
    assert merged.refused["line"].tolist() == whole.refused["line"].tolist()
    assert not merged.frame.duplicated(["station", "parameter", "depth_m", "time", "replicate"]).any()


def test_line_numbers_hold_in_a_large_file(tmp_path, parameters, stations, now):
    rows = [
        f"H-2,2019-07-{1 + i % 28:02d}T{i % 24:02d}:{i % 60:02d}:00Z,secchi,2,m,{i}" for i in range(150_000)
    ]
    rows[140_000] = "H-2,2019-07-01,secchi,murky,m,x"
    path = tmp_path / "large.csv"
    path.write_text("s,t,p,v,u,r\n" + "\n".join(rows) + "\n")
    recipe = long_recipe().model_copy(update={"repeats": "as is"})
    parts = list(iter_chunks(path, recipe, parameters=parameters, stations=stations, now=now, limits=HERE))
    assert len(parts) > 1
    assert merge_results(parts).refused["line"].tolist() == [140_002]


def test_progress_reaches_the_end(tmp_path, parameters, stations, now, make_recipe):
    path = tmp_path / "a.csv"
    path.write_text("Site,Date,Secchi\n" + "H-2,7/1/2019,2\n" * 1000)
    for isolate in ("never", "always"):
        seen = []
        read_file(path, make_recipe(), parameters=parameters, stations=stations, now=now,
                  limits=ReadLimits(isolate=isolate), progress=lambda *a, seen=seen: seen.append(a))  # fmt: skip
        assert seen[-1] == (path.stat().st_size,) * 2
