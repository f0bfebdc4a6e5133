"""Add readings: one visit on a form, or a file with a dry run first."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

import pandas as pd
import streamlit as st

from fathomlight.errors import FathomlightError
from fathomlight.figures.shown import count_text, date_text, parameter_number
from fathomlight.model import ABOVE, EQUAL
from fathomlight_dashboard import choices, uploads, widgets
from fathomlight_dashboard.page import Page
from fathomlight_dashboard.visit import Line, Visit, visit_recipe

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace
    from fathomlight_dashboard.state import State

FIELD_CAUTION = (
    "On the water: wear a life jacket, tell someone where you go and when you are back, and stay ashore in "
    "lightning, high wind or on ice you are not sure of. No reading is worth a risk; follow the local rules."
)
REFUSED_WORDS = {
    "line": "Line",
    "column": "Column",
    "value": "Value",
    "reason": "Why it is refused",
    "remedy": "What to do",
    "row_text": "The row",
}
FIND_OUT = "(find out from the file)"


def render(ws: Workspace, state: State) -> None:
    """Draw the page."""
    message = state.once()
    if message:
        st.success(str(message), icon=":material/check:")
    way = state.choose(
        "way",
        "What do you have?",
        ["visit", "file"],
        words={"visit": "One visit", "file": "A file"}.__getitem__,
        widget="segments",
    )
    if way == "visit":
        _visit(ws, state)
    else:
        _file(ws, state)


# -- one visit ---------------------------------------------------------------------------------------------


def _visit(ws: Workspace, state: State) -> None:
    if not ws.stations:
        widgets.nothing_yet("This workspace has no station yet.", "Add them to config/stations.csv.")
        return
    widgets.sentence("One visit: where, when, and what you read. Leave out what you did not read.")
    station = choices.station(ws, state)
    us = state.units(ws) == "us"
    with st.form("visit", clear_on_submit=False):
        date = st.date_input(
            "Date", value=None, max_value=ws.as_of, min_value=dt.date(1900, 1, 1), format="YYYY/MM/DD",
            help="The day at the station, not today's date if you write it down later.",
        )  # fmt: skip
        time = st.time_input("Time of day, if you know it", value=None, step=300)
        lines = _fields(ws, us)
        if st.form_submit_button("Check this visit", type="primary"):
            state.keep("visit", None)
            if date is None:
                st.error("Which day was it? Choose the date.")
            elif not lines:
                st.error("Nothing was read: fill in at least one value.")
            else:
                state.keep("visit", Visit(station=station.id, date=date, time=time, lines=tuple(lines)))
    visit = state.kept("visit")
    if visit is not None and visit.station == station.id:
        _confirm_visit(ws, state, visit)
    widgets.caution(FIELD_CAUTION)


def _fields(ws: Workspace, us: bool) -> list[Line]:
    lines: list[Line] = []
    length, warmth = ("ft", "degF") if us else ("m", "degC")
    if "secchi" in ws.parameters:
        depth = st.number_input(
            f"Disc depth [{length}]", min_value=0.0, value=None, step=0.1, format="%.2f",
            help="Mean of the depth where the disc disappears and the one where it comes back into sight.",
        )  # fmt: skip
        bottom = st.checkbox(
            "The disc was still in sight on the bottom (or in the weeds)",
            help="Then the water is clearer than this depth: it is kept as 'greater than', never as a depth.",
        )
        if depth:
            lines.append(
                Line(parameter="secchi", value=depth, unit=length, qualifier=ABOVE if bottom else EQUAL)
            )
    if "temperature" in ws.parameters:
        warm = st.number_input(
            f"Surface water temperature [{'°F' if us else '°C'}]", value=None, step=0.1, format="%.1f"
        )
        if warm is not None:
            lines.append(Line(parameter="temperature", value=warm, unit=warmth))
    lines += _turbidity(ws)
    return lines


def _turbidity(ws: Workspace) -> list[Line]:
    kinds = [p for p in ("turbidity_ntu", "turbidity_fnu") if p in ws.parameters]
    if not kinds:
        return []
    left, right = st.columns(2)
    value = left.number_input(
        "Turbidity, if you have a meter", min_value=0.0, value=None, step=0.1, format="%.2f"
    )
    kind = right.selectbox(
        "Unit on the meter", kinds, format_func=lambda k: ws.parameters[k].unit,
        help="NTU (white light) and FNU (infrared) are different optics and are never mixed.",
    )  # fmt: skip
    below = st.checkbox("The meter said less than this (below its limit)")
    if value is None:
        return []
    return [
        Line(parameter=kind, value=value, unit=ws.parameters[kind].unit, qualifier="<" if below else EQUAL)
    ]


def _confirm_visit(ws: Workspace, state: State, visit: Visit) -> None:
    recipe = visit_recipe(list(ws.parameters))
    try:
        report = uploads.check(ws, f"{visit.name}.csv", visit.to_csv(), recipe)
    except FathomlightError as error:
        widgets.error_box(error)
        return
    with st.container(border=True):
        st.markdown(f"**{ws.stations[visit.station].name}, {date_text(visit.date)}**")
        units = state.units(ws)
        for row in report.preview.itertuples():
            parameter = ws.parameters[row.parameter]
            st.markdown(
                f"- {parameter.label}: {parameter_number(row.value, parameter, units, row.qualifier)}"
            )
        _counts(report)
        _refused(report, key="visit", file_name=visit.name)
        if report.n_new + report.n_corrected == 0:
            return
        if st.button("Save this visit", type="primary", icon=":material/save:"):
            done = uploads.load(ws, f"{visit.name}.csv", visit.to_csv(), recipe, "one visit, from the form")
            state.keep("visit", None)
            state.once(f"Saved as batch {done.batch}: {done.sentence}")
            st.rerun()


# -- a file ------------------------------------------------------------------------------------------------


def _file(ws: Workspace, state: State) -> None:
    widgets.sentence("A file is checked first; nothing is stored until you say so.")
    upload = st.file_uploader(
        "Spreadsheet or logger file",
        type=uploads.KINDS,
        key="upload",
        help="CSV, Excel or NetCDF, up to 64 MB. A recipe says what its columns mean.",
    )
    names = [FIND_OUT, *sorted(ws.recipes)]
    recipe = st.selectbox(
        "Recipe", names, key="recipe", format_func=lambda n: _recipe_words(ws, n),
        help="How the file's columns become readings. Recipes are written in config/recipes.",
    )  # fmt: skip
    _template(ws)
    if upload is None:
        state.forget("checked")
        return
    content = upload.getvalue()
    chosen = None if recipe == FIND_OUT else recipe
    mark = (uploads.fingerprint(content), upload.name, recipe, ws.data_version)
    kept = state.kept("checked")
    if kept is None or kept[0] != mark:
        try:
            with st.spinner("Reading the file …"):
                kept = (mark, uploads.check(ws, upload.name, content, chosen))
        except FathomlightError as error:
            widgets.error_box(error)
            return
        state.keep("checked", kept)
    _report(ws, state, kept[1], upload.name, content, chosen)


def _recipe_words(ws: Workspace, name: str) -> str:
    if name == FIND_OUT:
        return "Find out from the file"
    described = ws.recipes[name].description
    return f"{name}: {described}" if described else name


def _template(ws: Workspace) -> None:
    header = "station,date,time,parameter,value,unit,qualifier,depth_m\n"
    first = next(iter(ws.stations), "STATION")
    start = f"{first},{ws.as_of.isoformat()},10:30"
    example = f"{start},secchi,2.4,m,=,0\n{start},temperature,17.5,degC,=,0\n"
    st.download_button(
        "Download an empty sheet (CSV)",
        data=(header + example).encode(),
        file_name="readings-template.csv",
        mime="text/csv",
        icon=":material/download:",
        on_click="ignore",
    )


def _report(ws: Workspace, state: State, report: Any, name: str, content: bytes, recipe: str | None) -> None:
    widgets.sentence(report.sentence)
    _counts(report)
    for warning in report.warnings:
        st.warning(widgets.plain(str(warning)))
    _refused(report, key="file", file_name=f"refused-{uploads.safe_name(name)}")
    if len(report.preview):
        with st.expander(
            f"The first {count_text(min(len(report.preview), 50), 'value')} as they would be stored"
        ):
            st.dataframe(_preview(report.preview), hide_index=True, width="stretch", key="preview")
    n = report.n_new + report.n_corrected
    if n == 0:
        st.info("There is nothing new in this file to load.")
        return
    why = st.text_input("Why, or where from (kept with the batch)", key="why load", max_chars=300)
    rest = f" and leave out the {count_text(report.n_refused, 'refused row')}" if report.n_refused else ""
    what = "Load these readings" if report.kind in {"readings", "profiles"} else "Load these rows"
    st.caption(f"{count_text(n, 'value')} would be stored{rest}.")
    if st.button(what, type="primary", icon=":material/upload:"):
        with st.spinner("Loading …"):
            done = uploads.load(ws, name, content, recipe, why)
        state.forget("checked")
        state.once(f"Batch {done.batch}: {done.sentence}")
        st.rerun()


def _counts(report: Any) -> None:
    parts = [
        ("new", report.n_new),
        ("known already", report.n_known),
        ("replace an older value", report.n_corrected),
        ("refused", report.n_refused),
    ]
    st.markdown(" · ".join(f"**{n:,}** {word}" for word, n in parts))


def _refused(report: Any, *, key: str, file_name: str) -> None:
    if len(report.refused):
        st.markdown("**Refused: correct these in the file and load it again**")
        widgets.table(report.refused, key=f"{key} refused", file_name=file_name, columns=REFUSED_WORDS)
    if len(report.doubts):
        st.markdown("**Kept, but look at these**")
        words = {**REFUSED_WORDS, "reason": "What is odd"}
        widgets.table(report.doubts, key=f"{key} doubts", file_name=f"{file_name}-doubts", columns=words)


def _preview(rows: pd.DataFrame) -> pd.DataFrame:
    wanted = [
        "station",
        "local_date",
        "parameter",
        "depth_m",
        "qualifier",
        "value",
        "original_value",
        "original_unit",
    ]
    names = [c for c in wanted if c in rows]
    return rows[names] if names else rows


PAGE = Page(
    title="Add readings",
    path="add",
    order=50,
    question="Add one visit, or a file: it is checked before anything is stored.",
    render=render,
    least="volunteer",
    carries=("units", "station"),
)
