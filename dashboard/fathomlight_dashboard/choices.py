"""Choices several pages share: station, parameter, years."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

from fathomlight.errors import NotFoundError
from fathomlight.model import Parameter, Station
from fathomlight_dashboard import data

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace
    from fathomlight_dashboard.state import State


def with_readings(ws: Workspace) -> dict[str, list[str]]:
    """Return the parameters that have readings, by station id."""
    counts = data.ask(ws, "counts")
    there = set(zip(counts["station"], counts["parameter"], strict=True))
    return {s: [p for p in ws.parameters if (s, p) in there] for s in ws.stations}


def clarity_parameter(ws: Workspace, state: State, *, place: Any = st) -> Parameter:
    """Let the reader choose among the parameters that speak of clarity and have readings."""
    seen = {p for names in with_readings(ws).values() for p in names}
    options = [n for n, p in ws.parameters.items() if p.clearer is not None and n in seen] or ["secchi"]
    name = state.choose(
        "parameter",
        "Parameter",
        options,
        default="secchi",
        words=lambda n: ws.parameters[n].label,
        help="What is compared. Each parameter is compared only with itself.",
        place=place,
    )
    return ws.parameters[name]


def station(ws: Workspace, state: State, *, place: Any = st) -> Station:
    """Let the reader choose a station; a link may name it by id, name or alias."""
    asked = state.get("station")
    if asked and asked not in ws.stations:
        try:
            state.set("station", ws.station(asked).id)
        except NotFoundError as error:
            st.warning(f"The link names a station that is not here: {asked}. {error.fix or ''}")
    options = sorted(ws.stations, key=lambda s: (_water(ws, s), ws.stations[s].name))
    chosen = state.choose(
        "station",
        "Station",
        options,
        words=lambda s: f"{ws.stations[s].name} · {_water(ws, s)}",
        help="Type to search. Stations are grouped by their water.",
        place=place,
    )
    return ws.stations[chosen]


def _water(ws: Workspace, station: str) -> str:
    water = ws.stations[station].water
    return ws.waters[water].name if water in ws.waters else water


def parameter_of(ws: Workspace, state: State, station: str, *, place: Any = st) -> Parameter | None:
    """Let the reader choose among the parameters read at a station; None when there are none."""
    options = list(data.ask(ws, "parameters_at", station))
    if not options:
        return None
    name = state.choose(
        "parameter",
        "Parameter",
        options,
        default="secchi",
        words=lambda n: ws.parameters[n].label,
        place=place,
    )
    return ws.parameters[name]
