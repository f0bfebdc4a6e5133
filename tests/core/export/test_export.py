"""What leaves can be read again and is the same; the formats pass their own public checkers."""

from __future__ import annotations

import io
import json
import warnings
from pathlib import Path

import pandas as pd
import pytest

from fathomlight.errors import ArgumentError
from fathomlight.export import (
    read_netcdf,
    write_datapackage,
    write_geojson,
    write_parquet,
    write_profiles,
    write_series,
)
from fathomlight.model import Parameter, Station

PARAMETERS = {
    "secchi": Parameter(
        "secchi", "Disc depth", "m", clearer="higher", standard_name="secchi_depth_of_sea_water"
    ),
    "turbidity_ntu": Parameter("turbidity_ntu", "Turbidity", "NTU", standard_name="sea_water_turbidity"),
    "temperature": Parameter(
        "temperature",
        "Temperature",
        "degC",
        standard_name="sea_water_temperature",
        profile=True,
        positive=False,
    ),
}
STATIONS = {
    "A1": Station("A1", "Inner buoy", "alder", 46.0, -91.0, "America/Chicago"),
    "B2": Station("B2", "=Rock point", "birch", 46.2, -91.1, "America/Chicago"),
}
IDENTITY = ["station", "parameter", "depth_m", "time", "replicate"]
KEPT = [*IDENTITY, "value", "qualifier", "flag"]


def _same(back: pd.DataFrame, readings: pd.DataFrame) -> None:
    wanted = readings[KEPT].sort_values(IDENTITY, ignore_index=True)
    pd.testing.assert_frame_equal(back[KEPT], wanted)


def test_series_come_back_the_same(readings: pd.DataFrame, tmp_path: Path) -> None:
    part = readings[readings["parameter"] != "temperature"]
    path = write_series(part, tmp_path / "s.nc", stations=STATIONS, parameters=PARAMETERS, title="Test")
    _same(read_netcdf(path), part)


def test_profiles_come_back_the_same(readings: pd.DataFrame, tmp_path: Path) -> None:
    part = readings[readings["parameter"] == "temperature"]
    path = write_profiles(part, tmp_path / "p.nc", stations=STATIONS, parameters=PARAMETERS, title="Test")
    _same(read_netcdf(path), part)


@pytest.mark.reference
@pytest.mark.parametrize("kind", ["series", "profiles"])
def test_the_public_cf_checker_finds_no_error(readings: pd.DataFrame, tmp_path: Path, kind: str) -> None:
    """The checker is compliance-checker, suite cf (latest it has), from the Python package registry."""
    pytest.importorskip("compliance_checker")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from compliance_checker.runner import CheckSuite, ComplianceChecker

        temperature = readings["parameter"] == "temperature"
        if kind == "series":
            path = write_series(
                readings[~temperature],
                tmp_path / "s.nc",
                stations=STATIONS,
                parameters=PARAMETERS,
                title="Test",
            )
        else:
            path = write_profiles(
                readings[temperature],
                tmp_path / "p.nc",
                stations=STATIONS,
                parameters=PARAMETERS,
                title="Test",
            )
        CheckSuite.load_all_available_checkers()
        out = tmp_path / "cf.json"
        ComplianceChecker.run_checker(
            str(path), ["cf"], 0, "strict", output_filename=str(out), output_format="json"
        )
        found = json.loads(out.read_text())["cf"]
    problems = [
        m for level in ("high_priorities", "medium_priorities") for c in found[level] for m in c["msgs"]
    ]
    assert problems == []
    assert found["possible_points"] > 50


def test_notes_never_leave(readings: pd.DataFrame, tmp_path: Path) -> None:
    write_datapackage(readings, tmp_path, stations=STATIONS, parameters=PARAMETERS, name="t", title="T")
    write_parquet(readings, tmp_path / "r.parquet")
    assert "somebody" not in (tmp_path / "readings.csv").read_text()
    assert "note" not in pd.read_parquet(tmp_path / "r.parquet").columns


def test_formulas_are_escaped(readings: pd.DataFrame, tmp_path: Path) -> None:
    write_datapackage(readings, tmp_path, stations=STATIONS, parameters=PARAMETERS, name="t", title="T")
    text = (tmp_path / "readings.csv").read_text() + (tmp_path / "stations.csv").read_text()
    cells = [
        c
        for line in text.splitlines()[1:]
        for c in next(iter(pd.read_csv(io.StringIO(line), header=None, dtype=str).values))
    ]
    assert not [c for c in cells if isinstance(c, str) and len(c) > 1 and c[0] in "=+@\t\r"]


@pytest.mark.reference
def test_the_data_package_is_valid(
    readings: pd.DataFrame, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The validator is frictionless, from the Python package registry."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        frictionless = pytest.importorskip("frictionless")
        path = write_datapackage(
            readings, tmp_path, stations=STATIONS, parameters=PARAMETERS, name="t", title="T"
        )
        monkeypatch.chdir(tmp_path)
        report = frictionless.Package(path.name).validate()
    assert report.valid, report.flatten(["rowNumber", "fieldName", "type", "message"])
    assert report.stats["tasks"] == 2
    assert report.tasks[0].stats["rows"] == len(readings)


def test_geojson_has_one_point_a_station(tmp_path: Path) -> None:
    table = pd.DataFrame(
        {"station": ["A1"], "latitude": [46.0], "longitude": [-91.0], "percentile": [float("nan")]}
    )
    data = json.loads(write_geojson(table, tmp_path / "s.geojson", title="T").read_text())
    assert data["features"][0]["geometry"] == {"type": "Point", "coordinates": [-91.0, 46.0]}
    assert data["features"][0]["properties"] == {"station": "A1", "percentile": None}


def test_nothing_to_export_says_so(readings: pd.DataFrame, tmp_path: Path) -> None:
    with pytest.raises(ArgumentError, match="nothing to export"):
        write_series(
            readings.iloc[:0], tmp_path / "s.nc", stations=STATIONS, parameters=PARAMETERS, title="T"
        )
    assert list(tmp_path.iterdir()) == []


def test_a_failed_write_leaves_the_older_file(
    readings: pd.DataFrame, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write_parquet(readings, tmp_path / "r.parquet")
    before = path.read_bytes()

    def broken(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("fathomlight.export.columnar.pq.write_table", broken)
    with pytest.raises(Exception, match="disk is full"):
        write_parquet(readings.iloc[:2], path)
    assert path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["r.parquet"]
