"""Fish surveys, catches and fish from files; zeros and unknown efforts told apart."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fathomlight.ingest import Recipe, load_recipes
from fathomlight.model import CATCH_COLUMNS, FISH_COLUMNS, SURVEY_COLUMNS

ROOT = Path(__file__).parents[3]


@pytest.fixture(scope="module")
def recipes():
    return load_recipes(ROOT / "config" / "recipes")


def recipe(kind, **fields):
    names = {
        "surveys": ("survey", "water", "station", "gear", "start", "end", "effort", "effort_unit"),
        "catch": ("survey", "species", "count", "pass_number", "mesh"),
        "fish": ("survey", "species", "length", "weight", "age", "count"),
    }[kind]
    return Recipe.model_validate({"name": kind, "kind": kind, "fields": {n: n for n in names} | fields})


def test_surveys(read):
    got = read(
        "survey,water,station,gear,start,end,effort,effort_unit\n"
        "S1,Heron Lake,,Gill Net,2019-09-14 17:30,2019-09-15 11:30,1,net-night\n"
        "S2,,H-2,gill  net,2019-09-15,,,\n"
        "S3,heron,,seine,2019-09-15,,0,m2\n"
        "S4,Mud Pond,,seine,2019-09-15,,100,m2\n"
        "S5,heron,,seine,2019-09-15,2019-09-14,100,m2\n"
        "S6,heron,,,2019-09-15,,100,m2\n"
        "S7,heron,M-1,seine,2019-09-15,,100,m2\n"
        "S8,heron,,seine,2019-09-15,,100,\n"
        "S1,heron,,seine,2019-09-15,,100,m2\n",
        recipe("surveys"),
    )
    assert {k: str(v) for k, v in got.surveys.dtypes.items()} == dict(SURVEY_COLUMNS)
    assert got.surveys[["survey", "water", "station", "gear"]].values.tolist() == [
        ["S1", "heron", "", "gill net"], ["S2", "heron", "H-2", "gill net"],
    ]  # fmt: skip
    assert got.surveys.loc[0, "end"].hour == 11
    assert np.isnan(got.surveys.loc[1, "effort"])  # unknown is unknown, never 0
    assert got.refused["line"].tolist() == [4, 5, 6, 7, 8, 9, 10]
    reasons = got.refused["reason"].tolist()
    assert reasons[0] == "an effort of 0 is no survey"
    assert "2 waters go by this name" in reasons[1]
    assert reasons[-1] == "this survey was described differently before"


def test_catches(read):
    got = read(
        "survey,species,count,pass_number,mesh\nS1,Walleye,3,,64\nS1,Sander vitreus,2,2,64\nS1,perch,1.5,,\n"
        "S1,pike,-1,,\nS1,pike,,,\nS1,pike,0,,\nS1,,4,,\n,pike,4,,\n",
        recipe("catch", mesh_unit="mm", species_names={"pike": "northern pike"}),
    )
    assert {k: str(v) for k, v in got.catches.dtypes.items()} == dict(CATCH_COLUMNS)
    assert got.catches[["species", "count", "pass_number"]].values.tolist() == [
        ["walleye", 3, 1], ["walleye", 2, 2], ["northern pike", 0, 1],
    ]  # fmt: skip
    assert got.refused["line"].tolist() == [4, 5, 6, 8, 9]
    assert "expanded" in got.refused.loc[0, "remedy"]


def test_fish_in_other_units_and_several_of_one_length(read):
    got = read(
        "survey,species,length (in),weight (lb),age,count\nS1,walleye,10,1,3,\nS1,walleye,20,,,2\nS1,walleye,,,,\n"
        "S1,walleye,2000,,,\nS1,walleye,long,1,,\n",
        recipe("fish", length="length (in)", weight="weight (lb)"),
    )
    assert {k: str(v) for k, v in got.fish.dtypes.items()} == dict(FISH_COLUMNS)
    assert got.fish["length_mm"].tolist() == pytest.approx([254, 508, 508])
    assert got.fish.loc[0, "weight_g"] == pytest.approx(453.59237)
    assert got.refused["line"].tolist() == [4, 5, 6]


def test_surveys_and_catches_in_one_file(read):
    one = recipe("catch", water="water", gear="gear", start="date", effort="effort", effort_unit="unit")
    got = read(
        "survey,water,gear,date,effort,unit,species,count\nS1,heron,seine,2019-07-01,100,m2,walleye,2\n"
        "S1,heron,seine,2019-07-01,100,m2,perch,5\nS2,heron,seine,2019-07-02,100,m2,,\n"
        "S1,heron,seine,2019-07-01,90,m2,pike,1\n",
        one,
    )
    assert got.surveys["survey"].tolist() == ["S1", "S2"]  # S2 caught nothing and stays a survey
    assert got.catches["count"].tolist()[:2] == [2, 5]
    assert got.refused["line"].tolist() == [5]


# Terms: Darwin Core (Biodiversity Information Standards, TDWG), event and occurrence; the rows are invented.
EVENTS = (
    "eventID,eventDate,eventTime,samplingProtocol,samplingEffort,sampleSizeValue,sampleSizeUnit,waterBody,locationID\n"
    "E1,2019-09-14/2019-09-15,,gill net,2 net-nights,,,Heron Lake,\n"
    "E2,2019-09-14,14:00Z,seine,,150,square metre,heron,H-2\n"
    "E3,2019-09-14,,seine,a good while,,,heron,\n"
    "E4,2019-09-14,,seine,,,,heron,\n"
)
OCCURRENCES = (
    "occurrenceID,eventID,scientificName,vernacularName,individualCount,occurrenceStatus,recordedBy\n"
    "O1,E1,Sander vitreus,,3,present,A. Person\nO2,E1,Esox lucius,northern pike,,absent,\n"
    "O3,E2,Perca flavescens,,,present,\nO4,E2,Perca flavescens,,2,absent,\n"
)


def test_darwin_core_events(read, recipes):
    got = read(EVENTS, recipes["darwin-core-events"], name="event.txt")
    assert got.surveys["survey"].tolist() == ["E1", "E2", "E4"]
    assert got.surveys[["effort", "effort_unit"]].values.tolist()[:2] == [
        [2, "net-nights"],
        [150, "square metre"],
    ]
    assert got.surveys["end"].dt.day.tolist()[0] == 15
    assert got.surveys.loc[1, "start"].hour == 9  # 14:00 UTC in Chicago, daylight time
    assert np.isnan(got.surveys.loc[2, "effort"])
    assert got.refused["reason"].tolist() == ["not an effort with its unit"]


def test_darwin_core_occurrences(read, recipes):
    got = read(OCCURRENCES, recipes["darwin-core-occurrences"], name="occurrence.txt")
    assert got.catches[["species", "count"]].values.tolist() == [["walleye", 3], ["northern pike", 0]]
    assert got.refused["line"].tolist() == [4, 5]
    assert "recordedBy" not in got.unused_columns
