"""Recipes: read, written, and the ready ones against small files in the standards' own column names."""

from __future__ import annotations

from pathlib import Path

import pytest
from pydantic import ValidationError

from fathomlight.errors import ConfigError
from fathomlight.ingest import Recipe, for_station, load_recipes, write_recipe

ROOT = Path(__file__).parents[3]


@pytest.fixture(scope="module")
def recipes():
    return load_recipes(ROOT / "config" / "recipes")


def test_every_ready_recipe_is_valid_and_described(recipes):
    assert {
        "wqx-results",
        "darwin-core-events",
        "darwin-core-occurrences",
        "cf-netcdf",
        "rhone-daynumber",
    } <= set(recipes)
    assert all(r.description for r in recipes.values())


def test_a_recipe_survives_being_written(tmp_path, recipes):
    for name, recipe in recipes.items():
        write_recipe(recipe, tmp_path / f"{name}.toml")
    assert load_recipes(tmp_path) == dict(sorted(recipes.items()))
    with pytest.raises(ConfigError, match="there already"):
        write_recipe(recipes["wqx-results"], tmp_path / "wqx-results.toml")


@pytest.mark.parametrize(
    ("text", "pieces"),
    [
        (
            'name = "a"\n[time]\ncolumn = "d"\nformat = "iso"',
            ["a.toml: time.format", "Did you mean 'formats'"],
        ),
        ('name = "a"\n[[values]]\ncolumn = "x"\nparameter = "secchi"', ["[station] needs"]),
        (
            'name = "a"\n[station]\nfixed = "x"\n[time]\ncolumn = "d"\nzone = "Mars/Base"\n'
            '[[values]]\ncolumn = "x"\nparameter = "secchi"',
            ["time", "unknown time zone 'Mars/Base'"],
        ),
        (
            'name = "a"\n[station]\nfixed = "x"\n[time]\ncolumn = "d"\n[[values]]\ncolumn = "x"',
            ["values[0]", "give one of parameter"],
        ),
        (
            'name = "a"\n[station]\nfixed = "x"\n[time]\nday_number_column = "d"\n'
            '[[values]]\ncolumn = "x"\nparameter = "secchi"',
            ["needs reference_date"],
        ),
        ('name = "a"\nkind = "catch"', ["needs fields.survey"]),
    ],
)
def test_mistakes_in_a_recipe_name_the_key(tmp_path, text, pieces):
    (tmp_path / "a.toml").write_text(text)
    with pytest.raises(ConfigError) as caught:
        load_recipes(tmp_path)
    for piece in pieces:
        assert piece in str(caught.value)


def test_two_recipes_of_one_name(tmp_path, recipes):
    write_recipe(recipes["demo-crew"], tmp_path / "a.toml")
    write_recipe(recipes["demo-crew"], tmp_path / "b.toml")
    with pytest.raises(ConfigError, match="two recipes"):
        load_recipes(tmp_path)


def test_recipes_are_frozen(recipes):
    with pytest.raises(ValidationError):
        recipes["wqx-results"].name = "other"


# Column names: Water Quality Exchange (WQX) result download, as used by the Exchange Network; the rows are invented.
WQX = (
    "MonitoringLocationIdentifier,ActivityTypeCode,ActivityStartDate,ActivityStartTime/Time,"
    "ActivityStartTime/TimeZoneCode,ActivityDepthHeightMeasure/MeasureValue,ActivityDepthHeightMeasure/MeasureUnitCode,"
    "CharacteristicName,ResultSampleFractionText,ResultMeasureValue,ResultMeasure/MeasureUnitCode,"
    "ResultDetectionConditionText,DetectionQuantitationLimitMeasure/MeasureValue,"
    "DetectionQuantitationLimitMeasure/MeasureUnitCode,ResultCommentText\n"
    'H-2,Field Msr/Obs,2019-07-24,09:30:00,CDT,,,"Depth, Secchi disk depth",,10,ft,,,,x\n'
    "H-2,Sample-Routine,2019-07-24,09:30:00,CDT,3,ft,Phosphorus,Total,0.012,mg/l as P,,,,\n"
    "H-2,Sample-Routine,2019-07-24,09:30:00,CDT,3,ft,Phosphorus,Dissolved,0.004,mg/l as P,,,,\n"
    "H-2,Sample-Routine,2019-07-24,09:30:00,CDT,,,Chlorophyll a,,,,Not Detected,0.5,ug/l,\n"
    "H-2,Sample-Routine,2019-07-24,09:30:00,CST,,,Turbidity,,3.2,FNU,,,,\n"
    "H-2,Quality Control Sample-Field Blank,2019-07-24,09:30:00,CDT,,,Turbidity,,0.1,NTU,,,,\n"
    'H-2,Sample-Routine,2019-07-24,,,1,m,"Temperature, water",,68,deg F,,,,\n'
    "H-2,Sample-Routine,2019-07-24,,,1,m,pH,,7,None,,,,\n"
    "H-2,Sample-Routine,2019-07-24,09:30:00,CDT,,,Chlorophyll a,,,,Not Detected,,,\n"
)


def test_wqx_results(read, recipes):
    got = read(WQX, recipes["wqx-results"])
    table = got.frame.set_index("parameter")
    assert table.loc["secchi", "value"] == pytest.approx(3.048)
    assert table.loc["secchi", "time"].strftime("%H:%M") == "14:30"  # CDT is UTC-5
    assert table.loc["total_phosphorus", "value"] == pytest.approx(12)
    assert table.loc["total_phosphorus", "depth_m"] == pytest.approx(0.9144)
    assert table.loc["chlorophyll", ["value", "qualifier"]].tolist() == [0.5, "<"]
    assert table.loc["turbidity_fnu", "time"].strftime("%H:%M") == "15:30"  # CST is UTC-6
    assert table.loc["temperature", ["value", "depth_m"]].tolist() == [pytest.approx(20), 1.0]
    assert len(table) == 5  # no dissolved phosphorus, no blank sample, no pH
    assert got.counts["left_out"] == 1
    assert got.counts["not_wanted"] == 2
    assert got.refused[["line", "reason"]].values.tolist() == [[10, "beyond a limit that is not given"]]


def test_for_station(read, recipes):
    recipe = for_station(recipes["logger-hourly-degf"], "H-2")
    got = read("DateTime,WaterTemp\n7/24/2019 9:00,68\n", recipe)
    assert got.frame[["station", "value"]].values.tolist() == [["H-2", pytest.approx(20)]]


def test_recipe_is_a_plain_pydantic_model():
    assert "station" in Recipe.model_fields
