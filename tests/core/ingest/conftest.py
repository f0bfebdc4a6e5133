"""Invented stations and short ways to write and read small files."""

from __future__ import annotations

import datetime as dt

import pytest

from fathomlight.ingest import ReadLimits, Recipe, read_file
from fathomlight.model import Parameter, Station, Water

NOW = dt.datetime(2025, 8, 1, tzinfo=dt.UTC)


@pytest.fixture(scope="session")
def now():
    return NOW


@pytest.fixture(scope="session")
def parameters():
    found = [
        Parameter("secchi", "Disc depth (Secchi)", "m", clearer="higher"),
        Parameter("temperature", "Water temperature", "degC", profile=True, positive=False),
        Parameter("turbidity_ntu", "Turbidity, white light", "NTU"),
        Parameter("turbidity_fnu", "Turbidity, infrared", "FNU"),
        Parameter("chlorophyll", "Chlorophyll a", "ug/L"),
        Parameter("total_phosphorus", "Total phosphorus", "ug/L"),
        Parameter("total_nitrogen", "Total nitrogen", "mg/L"),
        Parameter("suspended_matter", "Suspended matter", "mg/L"),
        Parameter("tube_depth", "Transparency tube", "cm"),
        Parameter("dissolved_oxygen", "Dissolved oxygen", "mg/L", profile=True, positive=False),
        Parameter("specific_conductance", "Specific conductance", "uS/cm"),
    ]
    return {p.name: p for p in found}


@pytest.fixture(scope="session")
def stations():
    zone = "America/Chicago"
    return [
        Station("H-070", "Heron Deep", "heron", 46.0, -99.0, zone, 12.0, aliases=("70", "Heron Lake 70")),
        Station("H-2", "Heron North Arm", "heron", 46.0, -99.0, zone, 5.0),
        Station("M-1", "Mud Pond", "mud-a", 46.0, -99.0, zone, 3.0),
        Station("M-2", "Mud Pond", "mud-b", 46.0, -99.0, zone, 4.0),
        Station("O-1", "O'Dell's Pit, east (old)", "odell", 46.0, -99.0, "America/Los_Angeles", 30.0),
    ]


@pytest.fixture(scope="session")
def waters():
    return [
        Water("heron", "Heron Lake"),
        Water("mud-a", "Mud Pond"),
        Water("mud-b", "Mud Pond"),
        Water("odell", "Odell"),
    ]


@pytest.fixture
def make_recipe():
    """A wide recipe of one disc column, with parts replaced."""

    def make(**parts):
        base = {
            "name": "test",
            "station": {"column": "Site"},
            "time": {"column": "Date", "formats": ["%m/%d/%Y"]},
            "values": [{"column": "Secchi", "parameter": "secchi", "unit": "m"}],
        }
        return Recipe.model_validate(base | parts)

    return make


@pytest.fixture
def read(tmp_path, parameters, stations, waters):
    """Write a text (or bytes) as a file and read it by a recipe, in this process."""

    def do(content, recipe, name="sheet.csv", **more):
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        settings = {"parameters": parameters, "stations": stations, "waters": waters, "now": NOW}
        settings["limits"] = ReadLimits(isolate="never")
        return read_file(path, recipe, **(settings | more))

    return do
