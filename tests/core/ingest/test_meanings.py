"""What a person says a column is goes before every guess; contradictions say the way out."""

from __future__ import annotations

import pytest

from fathomlight.errors import ArgumentError
from fathomlight.ingest import ColumnMeaning, ReadLimits, parse_meaning, propose_recipe, read_file, restate

HERE = ReadLimits(isolate="never")
SHEET = "Stn,When,Depth,Remark\nH-2,3/4/2020,10,<\nH-2,5/6/2020,20,\n"
"""Invented: the disc reading is called depth, its sign stands under a remark, the dates can be read two ways."""


@pytest.fixture
def proposed(tmp_path, parameters, stations, now):
    def do(text, said=None):
        (tmp_path / "sheet.csv").write_text(text)
        columns = None if said is None else {k: parse_meaning(v, parameters) for k, v in said.items()}
        return propose_recipe(
            tmp_path / "sheet.csv", parameters, stations, columns=columns, limits=HERE, now=now
        )

    return do


@pytest.fixture
def read(tmp_path, parameters, stations, now):
    def do(proposal):
        return read_file(
            tmp_path / "sheet.csv", proposal.made(), parameters=parameters, stations=stations, now=now,
            limits=HERE,
        )  # fmt: skip

    return do


def test_a_stated_column_goes_before_the_guess(proposed, read):
    assert proposed(SHEET).recipe is None  # nothing measured: the only number is taken for a depth
    said = {"Depth": "secchi ft", "When": "date %d/%m/%Y", "Remark": "qualifier"}
    found = proposed(SHEET, said)
    assert [q.key for q in found.questions] == [""]  # no unit, no order of day and month is asked
    got = read(found)
    assert got.frame["value"].tolist() == pytest.approx([3.048, 6.096])
    assert got.frame["qualifier"].tolist() == ["<", "="]
    assert [str(d.date()) for d in got.frame["local_date"]] == ["2020-04-03", "2020-06-05"]


def test_a_proposal_is_made_again_without_the_file(proposed, tmp_path, parameters, stations, now):
    first = proposed(SHEET)
    (tmp_path / "sheet.csv").unlink()
    again = restate(first, {"depth": ColumnMeaning("value", "secchi", "ft")}, parameters, stations, now=now)
    assert again.recipe is not None
    assert again.recipe.values[0].unit == "ft"


def test_a_stated_unit_goes_before_the_one_in_the_file(proposed, read):
    text = "Site,Date,Secchi (m)\nH-2,7/24/2020,10\n"
    assert read(proposed(text)).frame["value"].tolist() == [10.0]
    assert read(proposed(text, {"Secchi (m)": "secchi ft"})).frame["value"].tolist() == pytest.approx([3.048])


def test_a_stated_date_takes_the_place_of_a_guessed_one(proposed, read):
    text = "Site,Date,Day typed in,Secchi (m)\nH-2,2020-07-24,2020-07-26,2\n"
    found = proposed(text, {"Day typed in": "date"})
    assert {c.header: c.role for c in found.columns}["Date"] == "unknown"
    assert "Date" in found.notes[-1]
    assert str(read(found).frame["local_date"][0].date()) == "2020-07-26"


@pytest.mark.parametrize(
    ("said", "problem"),
    [
        ({"When": "date", "Remark": "date", "Depth": "secchi ft"}, "“When” and “Remark” are both the date"),
        ({"When": "ignored", "Depth": "secchi ft"}, "No column is the date"),
        ({"When": "comment", "Remark": "date", "Depth": "secchi ft"}, "cannot be read as dates"),
        ({"Depth": "ignored"}, "No column is a measured value"),
        ({"Depth": "secchi degC"}, "cannot be in degC"),
        ({"Depth": "value"}, "Nothing says what “Depth” measures"),
        ({"Remark": "parameter"}, "no column holds their values"),
        ({"Depth": "secchi ft", "Remark": "qualifier of Stn"}, "which is not a measured value"),
    ],
)
def test_contradictions_say_the_way_out(proposed, said, problem):
    found = proposed(SHEET, said)
    assert found.recipe is None
    one = next(p for p in found.problems if problem in p)
    assert any(word in one for word in ("Set ", "Keep ", "Choose "))


def test_rows_that_name_their_parameter_by_a_stated_column(proposed, read):
    text = "Stn,When,What,Found,In\nH-2,2020-07-24,Disc,8,ft\n"
    found = proposed(text, {"What": "parameter", "Found": "value", "In": "unit"})
    got = read(found)
    assert got.frame["parameter"].tolist() == ["secchi"]
    assert got.frame["value"].tolist() == pytest.approx([8 * 0.3048])


def test_a_qualifier_among_several_values_needs_its_column(proposed, read):
    text = "Site,Date,TP (ug/L),Chl a (ug/L),Sign\nH-2,2020-07-24,5,2,<\n"
    loose = proposed(text)
    assert "columns that stay unread: Sign" in loose.notes
    got = read(proposed(text, {"Sign": "qualifier of chl A (ug/L)"}))
    assert dict(zip(got.frame["parameter"], got.frame["qualifier"], strict=True)) == {
        "total_phosphorus": "=", "chlorophyll": "<",
    }  # fmt: skip


def test_on_bottom_ticks_that_come_late_are_not_lost(proposed, read):
    rows = "".join(f"H-2,2020-07-{d:02},2.5,n\n" for d in range(1, 20)) + "H-2,2020-07-20,3,y\n"
    got = read(proposed("Site,Date,Secchi (m),On bottom\n" + rows))
    assert got.frame["qualifier"].tolist()[-2:] == ["=", ">"]


def test_wrong_words_are_refused(proposed, parameters):
    with pytest.raises(ArgumentError, match="not a meaning of a column"):
        parse_meaning("colour", parameters)
    with pytest.raises(ArgumentError, match="the file has no such column"):
        proposed(SHEET, {"Secchi": "secchi ft"})
