"""The empty workbook and the field sheet for visits; both are read back without choosing a recipe.

Workbook and sheet hold the same columns as the visit form, so that one recipe (:func:`template_recipe`)
reads all three: a first line with :data:`TEMPLATE_MARK`, the header, a row of units that may be changed,
then one visit a row.
"""

from __future__ import annotations

import html
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from fathomlight.cells import escape_cell
from fathomlight.errors import ArgumentError
from fathomlight.ingest.recipe import Recipe
from fathomlight.ingest.xlsx_source import TEMPLATE_SHEET
from fathomlight.model import Parameter, Station
from fathomlight.units import parse_unit

__all__ = ["CAUTIONS", "TEMPLATE_MARK", "VisitColumn", "template_recipe", "visit_columns", "write_template"]

TEMPLATE_MARK = "fathomlight visits 1"
"""First cell of a filled template."""
HEADER_ROW, UNIT_ROW, FIRST_ROW = 3, 4, 5
ROWS = 200

DISC_UP = "Disc seen again, coming up"
ON_BOTTOM = "Disc on the bottom?"
WIND, SKY, AID = "Wind", "Sky", "View aid"
CHOICES: Mapping[str, tuple[str, ...]] = {
    ON_BOTTOM: ("yes", "no"),
    WIND: ("calm", "light", "moderate", "strong"),
    SKY: ("clear", "some cloud", "overcast", "rain"),
    AID: ("none", "view scope", "polarised glasses"),
}
CAUTIONS = (
    "Wear a life jacket; go with someone; tell someone where and until when. Stay ashore in "
    "thunder, high wind, high "
    "water, or on ice that local authorities have not called safe.",
    "Read the disc between 10 and 14 o'clock on the shaded side, without sunglasses: note the "
    "depth where it disappears "
    "and where it comes back.",
    "A clear lake is not a safe one: for swimming, drinking and fishing ask the authority in charge.",
)
_FIELD = (
    "secchi", "tube_depth", "temperature", "turbidity_ntu", "turbidity_fnu", "dissolved_oxygen",
    "specific_conductance",
)  # fmt: skip
_UNITS: Mapping[str, tuple[str, ...]] = {
    "m": ("m", "ft", "cm"),
    "cm": ("cm", "in"),
    "degC": ("degC", "degF"),
    "mg/L": ("mg/L",),
    "uS/cm": ("uS/cm", "mS/cm"),
}
_US = {"m": "ft", "cm": "in", "degC": "degF"}


@dataclass(frozen=True, slots=True)
class VisitColumn:
    """One column of template, field sheet and form.

    Attributes
    ----------
    header : str
        Its name.
    unit : str
        Unit it is given in unless changed; empty when it has none.
    units : tuple of str
        Units to choose from.
    choices : tuple of str
        Texts to choose from.
    parameter : str
        Parameter it is a value of; empty for the others.
    """

    header: str
    unit: str = ""
    units: tuple[str, ...] = ()
    choices: tuple[str, ...] = ()
    parameter: str = ""


def visit_columns(
    parameters: Mapping[str, Parameter], units: Literal["metric", "us"] = "metric"
) -> tuple[VisitColumn, ...]:
    """Return the columns of a visit.

    Parameters
    ----------
    parameters : mapping of str to Parameter
        Those that are read in the field get a column.
    units : {"metric", "us"}
        Units to begin with.

    Returns
    -------
    tuple of VisitColumn
        In the order of the field sheet.
    """
    columns = [VisitColumn("Station"), VisitColumn("Date"), VisitColumn("Time")]
    for name in _FIELD:
        parameter = parameters.get(name)
        if parameter is None:
            continue
        choices = _UNITS.get(parameter.unit, (parameter.unit,))
        first = _US.get(parameter.unit, choices[0]) if units == "us" else choices[0]
        columns.append(VisitColumn(parameter.label, first, choices, (), name))
        if name == "secchi":
            columns.append(VisitColumn(DISC_UP, first, choices))
            columns.append(VisitColumn(ON_BOTTOM, choices=CHOICES[ON_BOTTOM]))
            columns.append(VisitColumn(AID, choices=CHOICES[AID]))
    depth = "ft" if units == "us" else "m"
    columns.append(VisitColumn("Depth of these readings", depth, _UNITS["m"]))
    columns.append(VisitColumn("Replicate"))
    columns += [VisitColumn(WIND, choices=CHOICES[WIND]), VisitColumn(SKY, choices=CHOICES[SKY])]
    columns.append(VisitColumn("Remark (stays in the file)"))
    return tuple(columns)


def template_recipe(parameters: Mapping[str, Parameter], stations: Sequence[Station] = ()) -> Recipe:
    """Return the recipe that reads template, field sheet and visit form.

    Parameters
    ----------
    parameters : mapping of str to Parameter
        As for the template.
    stations : sequence of Station, optional
        Not needed: ids, names and aliases are understood anyway.

    Returns
    -------
    Recipe
        Named ``visits``.
    """
    values: list[dict[str, Any]] = []
    for column in visit_columns(parameters):
        if not column.parameter:
            continue
        entry: dict[str, Any] = {
            "column": [column.header, column.parameter],
            "parameter": column.parameter,
            "replicate_column": "Replicate",
            "note_columns": [WIND, SKY],
        }
        if column.parameter == "secchi":
            entry |= {
                "mean_with": DISC_UP, "qualifier_column": ON_BOTTOM, "on_bottom_codes": ["yes", "y", "x"],
                "equal_codes": ["", "no", "n"], "method_column": AID,
            }  # fmt: skip
        values.append(entry)
    if not values:
        raise ArgumentError(
            "parameters", "none of them is read in the field", expected="one of " + ", ".join(_FIELD)
        )
    return Recipe.model_validate(
        {
            "name": "visits",
            "description": "The field workbook, the field sheet and the visit form",
            "file": {"header_contains": ["Station", "Date", "Time"], "unit_row": UNIT_ROW},
            "station": {"column": "Station"},
            "time": {"column": "Date", "formats": ["iso"], "time_column": "Time"},
            "depth": {"column": "Depth of these readings"},
            "values": values,
            "not_imported": ["Remark (stays in the file)"],
        }
    )


def station_texts(stations: Sequence[Station]) -> list[str]:
    """Return what people choose a station by: its name when only one bears it, else its id."""
    names = [s.name for s in stations]
    return [s.name if names.count(s.name) == 1 else s.id for s in stations]


def write_template(
    path: str | Path,
    stations: Sequence[Station],
    parameters: Mapping[str, Parameter],
    fmt: Literal["xlsx", "html"] = "xlsx",
    *,
    units: Literal["metric", "us"] = "metric",
) -> Path:
    """Write an empty workbook, or a field sheet to print or to fill in.

    Parameters
    ----------
    path : str or pathlib.Path
        Where to; an existing file is not overwritten.
    stations : sequence of Station
        To choose from.
    parameters : mapping of str to Parameter
        Those read in the field get a column.
    fmt : {"xlsx", "html"}
        Workbook with drop-down lists, or a page to print; the page can also be filled in on a screen and
        saved as CSV.
    units : {"metric", "us"}
        Units to begin with; they can be changed in the sheet.

    Returns
    -------
    pathlib.Path
        The file.

    Raises
    ------
    ArgumentError
        Unknown format, no station, or the file is there already.
    """
    path = Path(path)
    if fmt not in ("xlsx", "html"):
        raise ArgumentError("fmt", "unknown kind of template", got=fmt, expected="xlsx or html")
    if not stations:
        raise ArgumentError("stations", "a template needs at least one station")
    if path.exists():
        raise ArgumentError(
            "path", "a file of that name is there already", got=str(path), fix="Choose another name."
        )
    columns = visit_columns(parameters, units)
    template_recipe(parameters)
    if fmt == "xlsx":
        _write_xlsx(path, stations, columns)
    else:
        path.write_text(_page(stations, columns), encoding="utf-8")
    return path


# -- workbook ------------------------------------------------------------------------------------------


def _write_xlsx(path: Path, stations: Sequence[Station], columns: Sequence[VisitColumn]) -> None:
    from openpyxl import Workbook
    from openpyxl.styles import Alignment, Font
    from openpyxl.utils import get_column_letter

    book = Workbook()
    sheet = book.active
    sheet.title = TEMPLATE_SHEET
    sheet["A1"] = TEMPLATE_MARK
    sheet["A1"].font = Font(size=8, italic=True)
    sheet["A2"] = (
        "One visit a row, from row 5 on. Row 4 holds the units: choose another there if you read in another."
    )
    for i, column in enumerate(columns, start=1):
        head = sheet.cell(HEADER_ROW, i, column.header)
        head.font, head.alignment = Font(bold=True), Alignment(wrap_text=True, vertical="top")
        sheet.cell(UNIT_ROW, i, column.unit or None).font = Font(italic=True)
        sheet.column_dimensions[get_column_letter(i)].width = 24 if column.header == "Station" else 14
    _lists(book, sheet, stations, columns)
    last = FIRST_ROW + ROWS - 1
    for row in range(FIRST_ROW, last + 1):
        sheet.cell(row, 2).number_format = "yyyy-mm-dd"
        sheet.cell(row, 3).number_format = "hh:mm"
    sheet.freeze_panes = f"B{FIRST_ROW}"
    help_sheet = book.create_sheet("Read first")
    for i, line in enumerate(
        (*CAUTIONS, "Leave a cell empty when it was not read. Never write 0 for it."), start=1
    ):
        help_sheet.cell(i, 1, line).alignment = Alignment(wrap_text=True, vertical="top")
    help_sheet.column_dimensions["A"].width = 90
    book.save(path)


def _lists(book: Any, sheet: Any, stations: Sequence[Station], columns: Sequence[VisitColumn]) -> None:
    """Drop-down lists for stations, units and choices."""
    from openpyxl.utils import get_column_letter
    from openpyxl.worksheet.datavalidation import DataValidation

    table = book.create_sheet("Stations")
    table.append(["Name or id", "Id", "Water"])
    for text, station in zip(station_texts(stations), stations, strict=True):
        table.append([escape_cell(text), escape_cell(station.id), escape_cell(station.water)])
    last = FIRST_ROW + ROWS - 1
    for i, column in enumerate(columns, start=1):
        letter = get_column_letter(i)
        if column.header == "Station":
            _choose(
                sheet,
                DataValidation,
                f"=Stations!$A$2:$A${len(stations) + 1}",
                f"{letter}{FIRST_ROW}:{letter}{last}",
            )
        if column.choices:
            listed = '"' + ",".join(column.choices) + '"'
            _choose(sheet, DataValidation, listed, f"{letter}{FIRST_ROW}:{letter}{last}")
        if len(column.units) > 1:
            _choose(sheet, DataValidation, '"' + ",".join(column.units) + '"', f"{letter}{UNIT_ROW}")


def _choose(sheet: Any, make: Any, formula: str, cells: str) -> None:
    rule = make(type="list", formula1=formula, allow_blank=True, showErrorMessage=True)
    rule.error, rule.errorTitle = "Choose from the list.", "Not in the list"
    sheet.add_data_validation(rule)
    rule.add(cells)


# -- page ----------------------------------------------------------------------------------------------

_STYLE = """
body{font:14px/1.4 Georgia,serif;margin:1.5em;color:#222}
h1{font-size:1.4em;margin:0 0 .3em}
table{border-collapse:collapse;width:100%;margin:.6em 0;page-break-inside:avoid}
th,td{border:1px solid #888;padding:.35em .5em;text-align:left;vertical-align:top}
th{width:38%;font-weight:normal}
input,select{font:inherit;width:96%;border:0;border-bottom:1px dotted #888;background:none}
.unit{width:6em}
button{font:inherit;padding:.5em 1em}
ul{margin:.4em 0;padding-left:1.2em}
@media print{button,.screen{display:none}select{appearance:none;border:0}body{margin:0;font-size:12px}
 th,td{padding:.5em}@page{margin:14mm}}
"""

_SCRIPT = """
document.getElementById("save").addEventListener("click",function(){
  var quote=function(t){return '"'+String(t).replace(/"/g,'""')+'"'};
  var of=function(c){return Array.prototype.map.call(document.querySelectorAll(c),function(e){return
  e.value})}; var lines=[[MARK],[""],HEADERS,of(".u"),of(".v")].map(function(r){return
  r.map(quote).join(",")}); var link=document.createElement("a"); link.href=URL.createObjectURL(new
  Blob([lines.join("\\r\\n")+"\\r\\n"],{type:"text/csv"})); link.download="visit.csv";link.click();
});
"""


def _select(name: str, options: Sequence[str], chosen: str, label: str) -> str:
    items = "".join(
        f'<option value="{html.escape(o)}"{" selected" if o == chosen else ""}>'
        f"{html.escape(_shown(o))}</option>"
        for o in options
    )
    return f'<select class="{name}" aria-label="{html.escape(label)}">{items}</select>'


def _shown(unit: str) -> str:
    return unit.replace("deg", "°") if unit in ("degC", "degF") else unit


def _row(column: VisitColumn, stations: Sequence[Station]) -> str:
    label = html.escape(column.header)
    if column.header == "Station":
        cell = _select("v", ["", *station_texts(stations)], "", "Station")
    elif column.choices:
        cell = _select("v", ["", *column.choices], "", column.header)
    else:
        kind = {"Date": "date", "Time": "time"}.get(column.header, "text")
        mode = ' inputmode="decimal"' if column.unit else ""
        cell = f'<input class="v" type="{kind}"{mode} aria-label="{label}">'
    if len(column.units) > 1:
        unit = _select("u", column.units, column.unit, f"Unit of {column.header}")
    else:
        unit = f'<input class="u" type="hidden" value="{html.escape(column.unit)}">{html.escape(column.unit)}'
    return f'<tr><th scope="row">{label}</th><td>{cell}</td><td class="unit">{unit}</td></tr>'


def _page(stations: Sequence[Station], columns: Sequence[VisitColumn]) -> str:
    import json

    for column in columns:
        if column.unit:
            parse_unit(column.unit)
    headers = json.dumps([c.header for c in columns]).replace("<", "\\u003c")
    script = _SCRIPT.replace("MARK", json.dumps(TEMPLATE_MARK)).replace("HEADERS", headers)
    rows = "\n".join(_row(c, stations) for c in columns)
    cautions = "".join(f"<li>{html.escape(c)}</li>" for c in CAUTIONS)
    return f"""<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Field sheet: one visit</title>
<style>{_STYLE}</style>
</head>
<body>
<main>
<h1>One visit to one station</h1>
<ul>{cautions}</ul>
<p>Leave empty what was not read. Circle or choose the unit.</p>
<table><tbody>
{rows}
</tbody></table>
<p class="screen"><button id="save" type="button">Save as CSV</button>
The file loads as it is. Or print this page and write on it.</p>
</main>
<script>{script}</script>
</body>
</html>
"""
