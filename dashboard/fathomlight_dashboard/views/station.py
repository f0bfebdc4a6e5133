"""Station: its readings, this year against its past, its seasons, its profile, its trophic state."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from fathomlight_dashboard import choices, data, station_views, widgets
from fathomlight_dashboard.page import Page

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace
    from fathomlight_dashboard.state import State


def render(ws: Workspace, state: State) -> None:
    """Draw the page."""
    if not ws.stations:
        widgets.nothing_yet("This workspace has no station yet.", "Add them to config/stations.csv.")
        return
    left, right = st.columns(2)
    station = choices.station(ws, state, place=left)
    parameter = choices.parameter_of(ws, state, station.id, place=right)
    if parameter is None:
        widgets.nothing_yet(f"{station.name} has no reading yet.", "Add some on the page Add readings.")
        state.link("add", "Add readings", icon=":material/add:", station=station.id)
        return
    standing = data.ask(ws, "standing", station.id, parameter.name)
    widgets.sentence(
        station_views.standing_sentence(standing.sentence, standing.value, parameter, state.units(ws))
    )
    view = state.choose(
        "view",
        "What to look at",
        list(station_views.VIEWS),
        words=lambda v: station_views.VIEWS[v].label,
        widget="segments",
    )
    station_views.VIEWS[view].render(ws, state, station, parameter)
    if parameter.clearer is not None:
        widgets.caution(widgets.SAFETY)


PAGE = Page(
    title="Station",
    path="station",
    order=20,
    question="What has been read here, and is it usual for the time of year?",
    render=render,
    carries=("units", "station", "parameter"),
)
