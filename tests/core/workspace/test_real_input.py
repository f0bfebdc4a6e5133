"""Import and answers on open data that nobody here made.

``rhone``: 39 water samples of the river Rhone through one year, Debian package r-cran-ade4 (GPL >= 2), data from Acta
Oecologica 7:189-203 (1986). ``elnino``: 61 years of monthly sea surface temperature, shipped with statsmodels.
"""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from fathomlight.workspace import Workspace, init_workspace, open_workspace

PLAIN = """
[secchi]
label = "Disc depth"
unit = "m"
clearer = "higher"
[temperature]
label = "Temperature"
unit = "degC"
positive = false
profile = true
[suspended_matter]
label = "Suspended matter"
unit = "mg/L"
clearer = "lower"
[chlorophyll]
label = "Chlorophyll a"
unit = "ug/L"
[specific_conductance]
label = "Conductance"
unit = "uS/cm"
"""
"""No quality settings: the known answers are those of every value."""
SEASONS = "\n".join(
    f'[[season]]\nname = "{name}"\nmonths = [{number}]'
    for number, name in enumerate(
        ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"), start=1
    )
)


def _workspace(folder: Path, station: str, kind: str) -> Path:
    init_workspace(folder, name="Open data")
    (folder / "config" / "waters.toml").write_text(
        f'[[water]]\nid = "w"\nname = "Water of the data set"\nkind = "{kind}"\nlatitude = 0.0\nlongitude = 0.0\n'
    )
    (folder / "config" / "stations.csv").write_text(
        f"id,name,water,latitude,longitude,timezone\n{station},{station},w,0.0,0.0,UTC\n"
    )
    (folder / "config" / "parameters.toml").write_text(PLAIN)
    (folder / "config" / "seasons.toml").write_text(SEASONS + "\n")
    return folder


def _rhone(target: Path) -> None:
    if shutil.which("Rscript") is None:
        pytest.skip("Rscript is not installed (Debian: r-base-core r-cran-ade4)")
    code = (
        'data(rhone, package = "ade4"); '
        'out <- cbind(station = "R1", date = rhone$date, rhone$tab); '
        f'write.csv(out, "{target}", row.names = FALSE)'
    )
    done = subprocess.run(["Rscript", "-e", code], capture_output=True, text=True, check=False)
    if done.returncode != 0:
        pytest.skip(f"the R package ade4 is not installed: {done.stderr.strip().splitlines()[-1]}")


def _wide(ws: Workspace, *names: str) -> pd.DataFrame:
    readings = ws.readings(parameter=list(names))
    return readings.pivot(index="time", columns="parameter", values="value").dropna()


@pytest.mark.reference
def test_rhone_comes_in_by_its_recipe_and_gives_known_answers(tmp_path: Path) -> None:
    _rhone(tmp_path / "rhone.csv")
    with open_workspace(_workspace(tmp_path / "ws", "R1", "river"), as_of="1986-01-10") as ws:
        report = ws.load(tmp_path / "rhone.csv", "rhone-daynumber")
        assert report.n_rows == 39
        assert report.n_refused == 0
        assert len(ws.readings(parameter="secchi")) == 39
        both = _wide(ws, "secchi", "suspended_matter")
        disc, matter = both["secchi"].to_numpy(), both["suspended_matter"].to_numpy()
        # computed from the data set itself in R 4.2.2
        assert stats.spearmanr(disc, matter).statistic == pytest.approx(-0.96780, abs=5e-6)
        assert np.corrcoef(np.log(disc), np.log(matter))[0, 1] == pytest.approx(-0.95114, abs=5e-6)
        assert disc.min() == pytest.approx(0.19)  # 19 cm in the file
        assert disc.max() == pytest.approx(2.50)
        relation = ws.clarity_relation("R1", "secchi", "suspended_matter")
        assert relation.usable
        assert relation.r2 == pytest.approx(0.95114**2, abs=2e-5)
        assert ws.trend("R1").clarity == "no direction"  # one year is no trend
        assert ws.standing("R1").standing == "too little past"


@pytest.mark.reference
def test_elnino_grid_through_file_store_and_seasonal_trend(tmp_path: Path) -> None:
    datasets = pytest.importorskip("statsmodels.datasets")
    grid = datasets.elnino.load_pandas().data
    long = grid.melt(id_vars="YEAR", var_name="month", value_name="value")
    number = {m: i for i, m in enumerate(grid.columns[1:], start=1)}
    long["date"] = [f"{int(y)}-{number[m]:02d}-15" for y, m in zip(long["YEAR"], long["month"], strict=True)]
    long.assign(station="E1")[["station", "date", "value"]].to_csv(tmp_path / "elnino.csv", index=False)
    folder = _workspace(tmp_path / "ws", "E1", "lake")
    (folder / "config" / "recipes" / "grid.toml").write_text(
        'name = "grid"\nkind = "readings"\nlayout = "wide"\n[station]\ncolumn = "station"\n'
        '[time]\ncolumn = "date"\nformats = ["%Y-%m-%d"]\n'
        '[[values]]\ncolumn = "value"\nparameter = "temperature"\nunit = "degC"\n'
    )
    with open_workspace(folder, as_of="2011-01-31") as ws:
        report = ws.load(tmp_path / "elnino.csv", "grid")
        assert (report.n_rows, report.n_new, report.n_refused) == (732, 732, 0)
        answer = ws.trend("E1", "temperature").seasonal
    # pymannkendall 1.4.3 seasonal_test(period=12) on the same grid
    assert answer.s == 3777
    assert answer.variance_independent == pytest.approx(309809)
    assert answer.z_independent == pytest.approx(6.78399, abs=5e-6)
    assert answer.p_independent == pytest.approx(1.169e-11, rel=1e-3)
    assert answer.slope == pytest.approx(0.0134549, abs=5e-8)
    assert answer.covariance_used
