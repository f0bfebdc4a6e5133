"""One visit on a form: a phone in one hand, the line in the other."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

import streamlit as st

from fathomlight.errors import FathomlightError
from fathomlight.figures.shown import date_text, parameter_number
from fathomlight.ingest import CAUTIONS, Visit, visit_columns
from fathomlight_dashboard import choices, widgets
from fathomlight_dashboard.add_report import show_refused

if TYPE_CHECKING:
    from fathomlight.ingest.template import VisitColumn
    from fathomlight.workspace import Workspace
    from fathomlight_dashboard.state import State

FIRST = ("secchi", "temperature")
"""Parameters at the top of the form; the others wait under "More readings"."""


def render(ws: Workspace, state: State) -> None:
    """Draw the form, then what it would store, then the button that stores it."""
    if not ws.stations:
        widgets.nothing_yet("This workspace has no station yet.", "Add them to config/stations.csv.")
        return
    widgets.sentence("One visit: where, when, and what you read. Leave out what you did not read.")
    station = choices.station(ws, state)
    with st.form("visit"):
        visit = _fields(ws, state, station.id)
        if st.form_submit_button("Check this visit", type="primary", width="stretch"):
            state.forget("visit")
            if visit.date == "":
                st.error("Which day was it? Choose the date.")
            elif visit.disc_down is None and visit.disc_up is None and not visit.values:
                st.error("Nothing was read: fill in at least one value.")
            else:
                state.keep("visit", visit)
    kept = state.kept("visit")
    if kept is not None and kept.station == station.id:
        _confirm(ws, state, kept)
    widgets.caution(*CAUTIONS)


def _fields(ws: Workspace, state: State, station: str) -> Visit:
    columns = {c.parameter: c for c in visit_columns(ws.parameters, state.units(ws)) if c.parameter}
    choice = {c.header: c.choices for c in visit_columns(ws.parameters) if c.choices}
    date = st.date_input(
        "Date", value=None, min_value=dt.date(1900, 1, 1), max_value=ws.as_of, format="YYYY/MM/DD",
        help="The day at the station, even if you write it down later. Year, month, day.",
    )  # fmt: skip
    time = st.time_input("Time of day, if you know it", value=None, step=300)
    disc: dict[str, Any] = {}
    values: dict[str, float] = {}
    units: dict[str, str] = {}
    if "secchi" in columns:
        disc = _disc(columns["secchi"], choice)
    if "temperature" in columns:
        _value(ws, columns["temperature"], "Surface water temperature", values, units)
    others = [c for name, c in columns.items() if name not in FIRST]
    with st.expander("More readings, wind and sky"):
        for column in others:
            _value(ws, column, column.header, values, units)
        wind = st.selectbox("Wind", ["", *choice.get("Wind", ())], format_func=_or_not)
        sky = st.selectbox("Sky", ["", *choice.get("Sky", ())], format_func=_or_not)
    return Visit(
        station=station, date=date or "", time=time, values=values, units=units, wind=wind, sky=sky, **disc
    )


def _disc(column: VisitColumn, choice: dict[str, tuple[str, ...]]) -> dict[str, Any]:
    left, right = st.columns([3, 2], vertical_alignment="bottom")
    down = left.number_input(
        "Disc disappears at", min_value=0.0, value=None, step=0.1, format="%.2f",
        help="Depth at which the disc disappears on the way down, on the shaded side.",
    )  # fmt: skip
    unit = right.selectbox("Unit of the disc", column.units, index=column.units.index(column.unit))
    up = st.number_input(
        "Disc comes back into sight at (if you read it)", min_value=0.0, value=None, step=0.1, format="%.2f",
        help="The reading is the mean of the two depths.",
    )  # fmt: skip
    bottom = st.checkbox(
        "The disc was still in sight on the bottom",
        help="Then the water is clearer than this depth: it is kept as 'greater than', never as a depth.",
    )
    aid = st.selectbox("View aid", ["", *choice.get("View aid", ())], format_func=_or_not)
    return {"disc_down": down, "disc_up": up, "disc_unit": unit, "on_bottom": bottom, "view_aid": aid}


def _value(
    ws: Workspace, column: VisitColumn, label: str, values: dict[str, float], units: dict[str, str]
) -> None:
    left, right = st.columns([3, 2], vertical_alignment="bottom")
    value = left.number_input(label, value=None, step=0.1, format="%.2f", key=f"visit {column.parameter}")
    shown = {"degC": "°C", "degF": "°F"}
    unit = right.selectbox(
        f"Unit of {label.lower()}", column.units, index=column.units.index(column.unit),
        format_func=lambda u: shown.get(u, u), key=f"visit unit {column.parameter}",
    )  # fmt: skip
    if value is not None:
        values[column.parameter] = value
        units[column.parameter] = unit


def _or_not(text: str) -> str:
    return text or "not noted"


def _confirm(ws: Workspace, state: State, visit: Visit) -> None:
    try:
        read = ws.check_visit(visit)
    except FathomlightError as error:
        widgets.error_box(error)
        return
    units = state.units(ws)
    with st.container(border=True):
        st.markdown(f"**{ws.stations[visit.station].name}, {date_text(visit.date)}**: this would be stored")
        for row in read.frame.to_dict("records"):
            parameter = ws.parameters[row["parameter"]]
            number = parameter_number(row["value"], parameter, units, row["qualifier"])
            st.markdown(f"- {parameter.label}: **{widgets.plain(number)}**")
        show_refused(read, key="visit", file_name=f"visit-{visit.station}")
        if read.frame.empty:
            st.info("Nothing here can be stored: correct the values above and check again.")
            return
        if st.button("Save this visit", type="primary", icon=":material/save:", width="stretch"):
            done = ws.add_visit(visit)
            state.forget("visit")
            state.once(f"Saved as batch {done.batch}. {done.sentence}")
            st.rerun()
