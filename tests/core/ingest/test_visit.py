"""The visit form, the workbook and the field sheet: one set of columns, one recipe."""

from __future__ import annotations

import csv
import datetime as dt
import html.parser
import io

import openpyxl
import pandas as pd
import pytest

from fathomlight.errors import ArgumentError
from fathomlight.ingest import (
    ReadLimits,
    Visit,
    propose_recipe,
    read_file,
    recheck_row,
    template_recipe,
    visit_to_readings,
    write_template,
)
from fathomlight.ingest.template import TEMPLATE_MARK

HERE = ReadLimits(isolate="never")


@pytest.fixture
def visit(parameters, stations, now):
    def do(past=None, **fields):
        base = {"station": "H-2", "date": dt.date(2025, 7, 24), "time": dt.time(10, 30)}
        return visit_to_readings(
            Visit(**(base | fields)), parameters=parameters, stations=stations, now=now, past=past
        )

    return do


def test_down_and_up_are_averaged(visit):
    got = visit(disc_down="2.4", disc_up="2.2")
    row = got.frame.iloc[0]
    assert (row["parameter"], row["value"], row["qualifier"]) == ("secchi", pytest.approx(2.3), "=")
    assert row["time"].strftime("%H:%M") == "15:30"
    assert row["original_value"] == "2.4 m / 2.2 m"
    assert len(got.doubts) == 0


def test_one_of_the_two_is_enough_and_units_may_differ(visit):
    assert visit(disc_up="2.2").frame.loc[0, "value"] == pytest.approx(2.2)
    assert visit(disc_down=8, disc_up="7.9", disc_unit="ft").frame.loc[0, "value"] == pytest.approx(
        7.95 * 0.3048
    )
    assert visit(disc_down="8 ft", disc_up="2.4 m").frame.loc[0, "value"] == pytest.approx(
        (8 * 0.3048 + 2.4) / 2
    )


def test_up_and_down_far_apart_is_asked(visit):
    got = visit(disc_down="3.0", disc_up="1.0")
    assert len(got.frame) == 1
    assert "differ" in got.doubts.loc[0, "reason"]


def test_on_the_bottom(visit):
    with_depth = visit(disc_down="4.8", on_bottom=True)
    assert with_depth.frame[["value", "qualifier"]].values.tolist() == [[4.8, ">"]]
    without = visit(on_bottom=True)
    assert without.frame[["value", "qualifier"]].values.tolist() == [[5.0, ">"]]
    unknown = visit(on_bottom=True, station="nowhere")
    assert unknown.refused["column"].tolist() == ["Station"]


def test_other_values_wind_sky_and_view_aid(visit):
    got = visit(
        disc_down="2", view_aid="view scope", wind="light", sky="clear", replicate=2,
        values={"temperature": 68, "turbidity_ntu": "<0.5", "tube_depth": ">120"}, units={"temperature": "degF"},
    )  # fmt: skip
    table = got.frame.set_index("parameter")
    assert table.loc["temperature", "value"] == pytest.approx(20)
    assert table.loc["turbidity_ntu", "qualifier"] == "<"
    assert table.loc["tube_depth", "qualifier"] == ">"
    assert table.loc["secchi", "method"] == "view scope"
    assert table.loc["secchi", "note"] == "Wind: light; Sky: clear"
    assert (table["replicate"] == 2).all()


def test_each_field_is_refused_alone(visit):
    got = visit(disc_down="murky", disc_up="2", values={"temperature": "20", "turbidity_ntu": -3})
    assert got.frame["parameter"].tolist() == ["temperature"]
    assert len(got.refused) == 2
    assert visit(date="2025-07-24", time="25:00").refused.empty  # nothing was read, so nothing to refuse
    assert visit(date="2031-07-24", disc_down="2").refused["column"].tolist() == ["Date"]


def test_the_past_is_asked_as_one_types(visit):
    past = pd.DataFrame({"station": ["H-2"], "parameter": ["secchi"], "low": [2.0], "high": [3.0]})
    assert visit(past=past, disc_down="8.1").doubts.loc[0, "reason"] == "did you mean feet?"


def test_a_parameter_the_form_does_not_take(visit):
    with pytest.raises(ArgumentError, match="chlorophyll"):
        visit(values={"chlorophyll": 3})


# -- workbook ------------------------------------------------------------------------------------------


def fill(path, rows, units=None):
    book = openpyxl.load_workbook(path)
    sheet = book["Visits"]
    header = {c.value: c.column for c in sheet[3]}
    for name, unit in (units or {}).items():
        sheet.cell(4, header[name], unit)
    for i, row in enumerate(rows, start=5):
        for name, value in row.items():
            sheet.cell(i, header[name], value)
    book.save(path)
    return header


@pytest.mark.parametrize("units", ["metric", "us"])
def test_filled_workbook_loads_without_choosing_a_recipe(tmp_path, parameters, stations, now, units):
    path = write_template(tmp_path / "visits.xlsx", stations, parameters, units=units)
    header = fill(path, [
        {"Station": "Heron North Arm", "Date": dt.date(2025, 7, 24), "Time": dt.time(10, 30),
         "Disc depth (Secchi)": 2.4, "Disc seen again, coming up": 2.2, "Water temperature": 68},
        {"Station": "M-1", "Date": dt.date(2025, 7, 25), "Disc depth (Secchi)": 3, "Disc on the bottom?": "yes"},
        {"Station": "M-1", "Date": dt.date(2025, 7, 26), "Disc depth (Secchi)": "murky"},
    ], units={"Water temperature": "degF"})  # fmt: skip
    assert "Remark (stays in the file)" in header
    proposal = propose_recipe(path, parameters, stations, limits=HERE)
    assert proposal.certain
    got = read_file(path, proposal.recipe, parameters=parameters, stations=stations, now=now, limits=HERE)
    factor = 0.3048 if units == "us" else 1.0
    assert got.frame["value"].tolist() == pytest.approx([2.3 * factor, 20.0, 3 * factor])
    assert got.frame["qualifier"].tolist() == ["=", "=", ">"]
    assert got.frame["time"].dt.strftime("%H:%M").tolist() == ["15:30", "15:30", "17:00"]
    assert got.refused["line"].tolist() == [7]


def test_a_refused_row_of_the_workbook_keeps_its_units(tmp_path, parameters, stations, now):
    path = write_template(tmp_path / "visits.xlsx", stations, parameters, units="us")
    fill(path, [{"Station": "H-2", "Date": dt.date(2025, 7, 24), "Disc depth (Secchi)": "murky",
                 "Water temperature": 68}])  # fmt: skip
    recipe = template_recipe(parameters)
    refused = read_file(path, recipe, parameters=parameters, stations=stations, now=now, limits=HERE).refused
    again = recheck_row(
        refused.iloc[0].to_dict(), {"Disc depth (Secchi) [ft]": "10"}, recipe, parameters=parameters,
        stations=stations, now=now,
    )  # fmt: skip
    assert again.frame[["parameter", "value"]].values.tolist() == [["secchi", pytest.approx(3.048)]]


def test_workbook_has_lists_to_choose_from(tmp_path, parameters, stations):
    path = write_template(tmp_path / "visits.xlsx", stations, parameters)
    book = openpyxl.load_workbook(path)
    sheet = book["Visits"]
    rules = {str(r.sqref): r.formula1 for r in sheet.data_validations.dataValidation}
    assert rules["A5:A204"] == "=Stations!$A$2:$A$6" or rules["A5:A204"] == "Stations!$A$2:$A$6"
    assert '"m,ft,cm"' in rules.values()
    assert [c.value for c in book["Stations"]["A"]][1:] == [
        "Heron Deep", "Heron North Arm", "M-1", "M-2", "O'Dell's Pit, east (old)",
    ]  # fmt: skip
    assert any("life jacket" in str(c.value) for c in book["Read first"]["A"])


def test_an_existing_file_is_not_overwritten(tmp_path, parameters, stations):
    write_template(tmp_path / "visits.xlsx", stations, parameters)
    with pytest.raises(ArgumentError, match="there already"):
        write_template(tmp_path / "visits.xlsx", stations, parameters)
    with pytest.raises(ArgumentError, match="fmt"):
        write_template(tmp_path / "v.pdf", stations, parameters, fmt="pdf")


# -- field sheet ---------------------------------------------------------------------------------------


class Fields(html.parser.HTMLParser):
    """Collects the fields of the sheet in order."""

    def __init__(self):
        super().__init__()
        self.fields, self.links, self.open = [], [], None

    def handle_starttag(self, tag, attrs):
        named = dict(attrs)
        self.links += [v for k, v in attrs if k in ("src", "href")]
        if tag in ("input", "select"):
            self.fields.append([named.get("class"), named.get("aria-label", ""), named.get("value", ""), []])
        if tag == "option":
            self.fields[-1][3].append(named["value"])
            if "selected" in named:
                self.fields[-1][2] = named["value"]


def test_field_sheet_prints_and_what_it_saves_loads(tmp_path, parameters, stations, now):
    path = write_template(tmp_path / "sheet.html", stations, parameters, fmt="html")
    text = path.read_text(encoding="utf-8")
    page = Fields()
    page.feed(text)
    assert text.startswith("<!doctype html>")
    assert "@media print" in text
    assert page.links == []  # nothing is fetched from elsewhere
    assert "life jacket" in text
    # what its button writes: mark, empty line, header, units, values
    header = [f[1] for f in page.fields if f[0] == "v"]
    units = [f[2] for f in page.fields if f[0] == "u"]
    assert len(header) == len(units)
    assert header[0] == "Station"
    values = dict.fromkeys(header, "") | {
        "Station": "Heron Deep",
        "Date": "2025-07-24",
        "Disc depth (Secchi)": "4,1",
    }
    values["Disc depth (Secchi)"] = "4.1"
    out = io.StringIO()
    writer = csv.writer(out, quoting=csv.QUOTE_ALL)
    writer.writerows([[TEMPLATE_MARK], [""], header, units, list(values.values())])
    saved = tmp_path / "visit.csv"
    saved.write_text(out.getvalue(), newline="")
    proposal = propose_recipe(saved, parameters, stations, limits=HERE)
    assert proposal.certain
    got = read_file(saved, proposal.recipe, parameters=parameters, stations=stations, now=now, limits=HERE)
    assert got.frame[["station", "value"]].values.tolist() == [["H-070", 4.1]]


def test_names_cannot_break_the_page(tmp_path, parameters, stations):
    evil = stations[0].__class__("X-1", '</option><script>alert("x")</script>', "heron", 0.0, 0.0)
    text = write_template(tmp_path / "sheet.html", [evil], parameters, fmt="html").read_text(encoding="utf-8")
    assert "<script>alert" not in text


def test_template_recipe_is_the_same_for_form_and_file(parameters, stations):
    assert template_recipe(parameters, stations) == template_recipe(parameters)
