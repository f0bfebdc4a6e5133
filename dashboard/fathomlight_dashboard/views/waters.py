"""Waters: how each station stands against its own past for this time of year."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd
import streamlit as st

from fathomlight.figures import station_map
from fathomlight.figures.shown import date_text, parameter_number
from fathomlight.figures.theme import STANDING_GLYPHS, STANDING_WORDS
from fathomlight_dashboard import choices, data, first_run, widgets
from fathomlight_dashboard.page import Page
from fathomlight_dashboard.station_views import standing_sentence

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace
    from fathomlight_dashboard.state import State


def render(ws: Workspace, state: State) -> None:
    """Draw the page."""
    message = state.once()
    if message:
        st.success(message, icon=":material/check:")
    if first_run.is_empty(ws):
        first_run.render(ws, state)
        return
    parameter = choices.clarity_parameter(ws, state)
    table = data.ask(ws, "standings", parameter.name)
    table = table.assign(value=pd.to_numeric(table["value"]), date=pd.to_datetime(table["date"]))
    if table["value"].isna().all():
        widgets.nothing_yet(
            f"No reading of {parameter.label.lower()} has been loaded yet.",
            "Add some on the page Add readings.",
        )
        state.link("add", "Add readings", icon=":material/add:")
        return
    widgets.sentence(_sentence(table))
    units, look = state.units(ws), state.look
    table = table.assign(
        sentence=[
            standing_sentence(s, v, parameter, units)
            for s, v in zip(table["sentence"], table["value"], strict=True)
        ]
    )
    shown = data.draw(
        ws, "map", parameter.name, units, look.name,
        make=lambda: station_map(table, ws.shorelines(), units=units, look=look),
    )  # fmt: skip
    event = widgets.picture(shown, key="map", on_select="rerun")
    points = event["selection"]["points"] if event else []
    if points and points[0].get("customdata"):
        chosen = points[0]["customdata"]
        state.go("station", station=chosen if isinstance(chosen, str) else chosen[0])
    _list(ws, state, table, parameter.name)
    widgets.caution(widgets.SAFETY)


def _sentence(table: pd.DataFrame) -> str:
    counts = table["standing"].value_counts()
    n = {key: int(counts.get(key, 0)) for key in STANDING_WORDS}
    compared = n["clearer"] + n["usual"] + n["murkier"]
    if compared == 0:
        return "No station has both a recent reading and enough past to compare it with."
    parts = [f"{n['murkier']} murkier than usual for the time of year", f"{n['clearer']} clearer"]
    text = f"Of {compared} stations that can be compared, {parts[0]} and {parts[1]}."
    rest = []
    if n["no recent reading"]:
        rest.append(f"{n['no recent reading']} without a recent reading")
    if n["too little past"]:
        rest.append(f"{n['too little past']} with too little past")
    return text + (f" Not compared: {' and '.join(rest)}." if rest else "")


def _list(ws: Workspace, state: State, table: pd.DataFrame, name: str) -> None:
    parameter, units = ws.parameters[name], state.units(ws)
    order = {
        key: i
        for i, key in enumerate(("murkier", "clearer", "usual", "no recent reading", "too little past"))
    }
    rows = table.sort_values(["standing", "name"], key=lambda c: c.map(order) if c.name == "standing" else c)
    shown = pd.DataFrame(
        {
            "Mark": [STANDING_GLYPHS.get(s, "") for s in rows["standing"]],
            "Station": rows["name"].tolist(),
            "Latest": [
                parameter_number(v, parameter, units, q) if pd.notna(v) else "none"
                for v, q in zip(rows["value"], rows["qualifier"].fillna("="), strict=True)
            ],
            "On": [date_text(d) for d in rows["date"]],
            "Standing": [STANDING_WORDS.get(s, s) for s in rows["standing"]],
            "Water": [ws.waters[w].name if w in ws.waters else w for w in rows["water"]],
            "In words": rows["sentence"].tolist(),
        }
    )
    event = widgets.table(shown, key="stations", file_name=f"standing-{name}", on_select="rerun")
    picked = event["selection"]["rows"] if event else []
    if picked:
        state.go("station", station=str(rows["station"].iloc[picked[0]]))


PAGE = Page(
    title="Waters",
    path="waters",
    order=10,
    question="How does each station stand against its own past for this time of year?",
    render=render,
    carries=("units", "parameter"),
)
