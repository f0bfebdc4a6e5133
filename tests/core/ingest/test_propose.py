"""Proposals: what is sure, what is asked, and that nothing doubtful is called certain."""

from __future__ import annotations

from pathlib import Path

import pytest

from fathomlight.errors import ArgumentError, RecipeError
from fathomlight.ingest import Proposal, ReadLimits, load_recipes, propose_recipe, read_file

ROOT = Path(__file__).parents[3]
HERE = ReadLimits(isolate="never")


@pytest.fixture
def propose(tmp_path, parameters, stations, now):
    def do(text, recipes=None, name="sheet.csv"):
        path = tmp_path / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return propose_recipe(path, parameters, stations, recipes=recipes, limits=HERE, now=now)

    return do


@pytest.fixture
def apply(tmp_path, parameters, stations, now):
    """Read the file that was proposed for last."""

    def do(proposal, name="sheet.csv"):
        return read_file(
            tmp_path / name, proposal.recipe, parameters=parameters, stations=stations, now=now, limits=HERE
        )

    return do


def keys(proposal):
    return [q.key for q in proposal.questions]


def test_a_volunteers_sheet(propose, apply):
    text = (
        "Clarity cards, invented\nPlace,Date,Secchi (ft),Water temp (F),On bottom?,Observer\n"
        "Heron Deep,7/24/2024,10,68,N,A\nHeron North Arm,7/25/2024,8,70,Y,B\n"
    )
    found = propose(text)
    assert not found.certain
    assert {c.header: c.role for c in found.columns} == {
        "Place": "station", "Date": "date", "Secchi (ft)": "value", "Water temp (F)": "value",
        "On bottom?": "bottom", "Observer": "not imported",
    }  # fmt: skip
    assert found.recipe.time.formats == ("%m/%d/%Y",)
    assert "Observer" in found.recipe.not_imported
    assert keys(found) == ["values[0].on_bottom_codes"]
    got = apply(found)
    assert got.frame["value"].tolist() == pytest.approx([3.048, 20, 2.4384, 21.111], abs=1e-3)
    assert got.frame["qualifier"].tolist() == ["=", "=", ">", "="]


def test_day_or_month_first_is_asked(propose):
    found = propose("Site,Date,Secchi (m)\nH-2,3/4/2020,2\nH-2,5/6/2020,2\n")
    assert "time.formats" in keys(found)
    question = next(q for q in found.questions if q.key == "time.formats")
    assert set(question.choices) == {"%m/%d/%Y", "%d/%m/%Y"}
    assert "day or the month" in str(question)


@pytest.mark.parametrize(
    ("dates", "formats"),
    [
        (["24.7.2020", "3.8.2020"], ("%d.%m.%Y",)),
        (["24-Sep-19", "1-Oct-19"], ("%d-%b-%y",)),
        (["2020-07-24", "2020-08-03"], ("iso",)),
        (["24/7/2020", "3/8/2020"], ("%d/%m/%Y",)),
    ],
)
def test_dates_that_leave_no_doubt(propose, dates, formats):
    found = propose("Site,Date,Secchi (m)\n" + "".join(f"H-2,{d},2\n" for d in dates))
    assert found.recipe.time.formats == formats
    assert "time.formats" not in keys(found)


def test_a_unit_that_is_nowhere_is_asked_with_the_likeliest_first(propose):
    found = propose("Site,Date,Secchi,Temp\nH-2,7/24/2020,8.5,70\nH-2,7/25/2020,22,68\n")
    questions = {q.column: q for q in found.questions if q.key.endswith("unit")}
    assert questions["Secchi"].choices[0] == "ft"
    assert questions["Temp"].choices[0] == "degF"


def test_answers_become_the_recipe(propose, apply):
    found = propose("Date,Secchi\n3/4/2020,8.5\n5/6/2020,22\n")
    recipe = found.answered(
        {"station.fixed": "H-2", "time.formats": "%d/%m/%Y", "values[0].unit": "ft"}, name="pier card"
    )
    assert recipe.name == "pier card"
    got = apply(Proposal(recipe=recipe, certain=False, confidence=1.0))
    assert got.frame["value"].tolist() == pytest.approx([8.5 * 0.3048, 22 * 0.3048])
    assert got.frame["local_date"].dt.strftime("%m-%d").tolist() == ["04-03", "06-05"]
    for wrong in ({"values[7].unit": "ft"}, {"time.zoen": "UTC"}, {"time.zone": "Mars"}):
        with pytest.raises(ArgumentError):
            found.answered(wrong)


def test_a_unit_row(propose, apply):
    found = propose("Site,Date,Secchi,Temp\n,,ft,deg F\nH-2,7/24/2020,10,68\n")
    assert found.recipe.file.unit_row == 2
    assert apply(found).frame["value"].tolist() == pytest.approx([3.048, 20])


def test_decimal_comma(propose, apply):
    found = propose("Site;Date;Secchi (m)\nH-2;24.7.2020;2,5\nH-2;25.7.2020;3,1\n")
    assert found.recipe.file.decimal == ","
    assert apply(found).frame["value"].tolist() == [2.5, 3.1]


def test_long_sheet_with_words_for_parameters(propose, apply):
    found = propose(
        "Station,Sampled,Analyte,Result,Unit\nH-2,2020-07-24,Secchi,10,ft\nH-2,2020-07-24,Turb,3,FNU\nH-2,2020-07-24,Colour,5,x\n"
    )
    assert found.recipe.layout == "long"
    assert found.recipe.values[0].parameters == {"Secchi": ("secchi",), "Turb": ("turbidity_fnu",)}
    assert any("'Colour'" in str(q) for q in found.questions)
    got = apply(found)
    assert got.frame["parameter"].tolist() == ["secchi", "turbidity_fnu"]
    assert got.counts["not_wanted"] == 1


def test_repeats_are_asked(propose):
    found = propose("Site,Date,Secchi (m)\nH-2,7/24/2020,2.1\nH-2,7/24/2020,2.4\n")
    assert "repeats" in keys(found)


def test_no_station_no_date_no_values(propose):
    assert "station.fixed" in keys(propose("Date,Secchi (m)\n7/24/2020,2\n"))
    nothing = propose("Site,Date,Colour\nH-2,7/24/2020,2\n")
    assert nothing.recipe is None
    assert "No column is a measured value. Set the column" in nothing.problems[0]
    with pytest.raises(RecipeError, match="do not make readings yet"):
        nothing.made()
    with pytest.raises(RecipeError, match="no header"):
        propose("just a letter to a friend\n")


def test_ready_recipes(propose, make_recipe):
    ready = {"test": make_recipe(), "other": make_recipe(name="other", station={"column": "Place"})}
    sure = propose("Site,Date,Secchi\nH-2,7/24/2020,2\n", ready)
    assert (sure.certain, sure.ready) == (True, "test")
    measured_too = propose("Site,Date,Secchi,Chl a (ug/L)\nH-2,7/24/2020,2,3\n", ready)
    assert not measured_too.certain
    assert "Chl a" in str(measured_too.questions[0])
    wrong_dates = propose("Site,Date,Secchi\nH-2,24.7.2020,2\nH-2,25.7.2020,2\n", ready)
    assert not wrong_dates.certain
    two = {"a": make_recipe(name="a"), "b": make_recipe(name="b")}
    assert keys(propose("Site,Date,Secchi\nH-2,7/24/2020,2\n", two)) == ["recipe"]


def test_every_demo_file_finds_its_own_recipe(parameters, stations, now):
    """The files of data/ and the recipe that data/load.toml names for each."""
    import tomllib

    load = ROOT / "data" / "load.toml"
    if not load.is_file():
        pytest.skip("no demo data in this checkout")
    recipes = load_recipes(ROOT / "config" / "recipes")
    for entry in tomllib.loads(load.read_text())["load"]:
        recipe = recipes[entry["recipe"]]
        known = {
            p
            for part in recipe.values
            for p in (part.parameter, *[n for v in part.parameters.values() for n in v])
        }
        from fathomlight.model import Parameter

        units = {"light": "umol/m2/s"}
        fuller = parameters | {
            n: Parameter(n, n, units.get(n, "1")) for n in known - {""} if n not in parameters
        }
        found = propose_recipe(
            ROOT / "data" / entry["file"], fuller, _demo_stations(), recipes=recipes, limits=HERE, now=None
        )
        assert (found.ready, found.certain) == (entry["recipe"], True), entry["file"]


def _demo_stations():
    import csv

    from fathomlight.model import Station

    with (ROOT / "config" / "stations.csv").open(encoding="utf-8") as file:
        return [
            Station(
                r["id"],
                r["name"],
                r["water"],
                0.0,
                0.0,
                r["timezone"],
                aliases=tuple(r["aliases"].split(";")),
            )
            for r in csv.DictReader(file)
        ]


def test_a_proposal_is_plain_data_too(propose):
    import json

    found = propose("Site,Date,Secchi (m)\nH-2,7/24/2020,2\n").to_dict()
    assert json.loads(json.dumps(found))["recipe"]["values"][0]["parameter"] == "secchi"


def test_looked_at_in_a_process_of_its_own(tmp_path, parameters, stations, now):
    path = tmp_path / "a.csv"
    path.write_text("Site,Date,Secchi (m)\nH-2,7/24/2020,2\n")
    child = propose_recipe(path, parameters, stations, now=now)
    assert child.to_dict() == propose_recipe(path, parameters, stations, now=now, limits=HERE).to_dict()
