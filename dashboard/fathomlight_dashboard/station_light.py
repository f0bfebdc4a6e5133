"""The view Light and layers of the page Station: how deep light reaches, when the water is layered."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import streamlit as st

from fathomlight.errors import NotFoundError
from fathomlight.figures import clarity_relation, days_layered, isotherms, light_depths, stability
from fathomlight.figures.shown import Units, count_text, date_text, number, shown_unit, to_shown
from fathomlight.model import MEASURED, Parameter, Station
from fathomlight.seasons import day_values
from fathomlight_dashboard import data, widgets

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace
    from fathomlight_dashboard.state import State

AGAINST = ("turbidity_ntu", "turbidity_fnu", "suspended_matter")
"""What a disc depth may be related to, the usual one first."""


def render(ws: Workspace, state: State, station: Station, parameter: Parameter) -> None:
    """Draw the view; it is about the station, whatever the parameter chosen."""
    st.header("How deep light reaches", anchor=False)
    _light(ws, state, station)
    st.header("When warm water lies on cold", anchor=False)
    _layers(ws, state, station)
    st.header("Disc depth and turbidity here", anchor=False)
    _relation(ws, state, station)


def _light(ws: Workspace, state: State, station: Station) -> None:
    table = (
        data.ask(ws, "light", station.id) if "secchi" in data.ask(ws, "parameters_at", station.id) else None
    )
    if table is None or table.empty:
        widgets.nothing_yet("No disc reading may be used here yet.", "Light is worked out from the disc.")
        return
    units, look = state.units(ws), state.look
    k = ws.waters[station.water].kd_constant
    shown = data.draw(
        ws,
        "light",
        station.id,
        units,
        look.name,
        make=lambda: light_depths(table, k=k, units=units, look=look),
    )
    widgets.picture(shown, key="light")
    unit = shown_unit("m", units)
    rows = table.iloc[::-1]
    out = pd.DataFrame(
        {
            "Date": pd.to_datetime(rows["local_date"]).dt.date.tolist(),
            "Qualifier": rows["qualifier"].tolist(),
            f"Disc depth [{unit}]": np.round(to_shown(rows["secchi_m"].to_numpy(float), "m", units), 1),
            f"1 % light [{unit}]": np.round(to_shown(rows["euphotic_m"].to_numpy(float), "m", units), 1),
            "Attenuation Kd [1/m]": rows["kd"].round(2).tolist(),
        }
    )
    with st.expander("Table"):
        widgets.table(
            out, key="light table", file_name=f"{station.id}-light", config={"Date": widgets.date_column()}
        )


def _layers(ws: Workspace, state: State, station: Station) -> None:
    try:
        grid = data.ask(ws, "stratification", station.id)
    except NotFoundError:
        widgets.nothing_yet(
            "No temperature profile has been read here.", "Layers need three depths or more in one visit."
        )
        return
    units, look = state.units(ws), state.look
    counted = data.ask(ws, "days_stratified", station.id)
    st.markdown(widgets.plain(counted.reading))
    bars = data.draw(
        ws, "layered", station.id, look.name, make=lambda: days_layered(counted.table, look=look)
    )
    widgets.picture(bars, key="layered")
    years = sorted({int(y) for y in grid["visit"].dt.year.to_numpy()}, reverse=True)
    year = int(state.choose("year", "Year", [str(y) for y in years]))
    part = grid.sel(visit=grid["visit"].dt.year == year)
    cube = data.ask(ws, "profile", station.id, "temperature")
    cube = cube.sel(time=cube["time"].dt.year == year)
    times, depths = part["visit"].to_numpy(), part["thermocline_depth"].to_numpy().astype(float)
    lines = data.draw(
        ws, "isotherms", station.id, year, units, look.name,
        make=lambda: isotherms(
            cube, ws.parameters["temperature"], thermocline_times=times, thermocline_depths=depths,
            units=units, look=look,
        ),
    )  # fmt: skip
    st.markdown(widgets.plain(thermocline_sentence(year, times, depths, units)))
    widgets.picture(lines, key=f"isotherms {year}")
    firm = part["schmidt_stability"].to_numpy().astype(float) if "schmidt_stability" in part else None
    if firm is None:
        st.caption("Stability cannot be told: the areas of this water by depth are not known.")
    else:
        small = data.draw(
            ws, "stability", station.id, year, look.name, make=lambda: stability(times, firm, look=look)
        )
        widgets.picture(small, key=f"stability {year}")
    widgets.notes(counted.notes)
    widgets.method_sentence(counted.method)


def thermocline_sentence(year: int, times: Any, depths: Any, units: Units) -> str:
    """Say where the thermocline lay in a year.

    Parameters
    ----------
    year : int
        The year.
    times : array_like of datetime64, shape (n,)
        Visits of the year.
    depths : array_like of float, shape (n,)
        Depth of the thermocline [m]; NaN where the water was mixed.
    units : {"metric", "us"}
        What the reader wants.

    Examples
    --------
    >>> import numpy as np
    >>> days = np.array(["2025-05-01", "2025-07-01", "2025-08-01"], dtype="datetime64[s]")
    >>> thermocline_sentence(2025, days, [np.nan, 4.0, 6.5], "metric")
    'In 2025, 2 of 3 visits found a thermocline, between 4.0 m and 6.5 m; last on 1 Aug 2025 at 6.5 m.'
    """
    at = np.asarray(depths, dtype=float)
    there = np.isfinite(at)
    visits = count_text(len(at), "visit")
    if not there.any():
        return f"In {year}, none of {visits} found a thermocline: the water was mixed."
    low, high = (number(float(v), "m", 1, units) for v in (at[there].min(), at[there].max()))
    last = int(np.flatnonzero(there)[-1])
    where = f"at {low}" if low == high else f"between {low} and {high}"
    return (
        f"In {year}, {int(there.sum())} of {visits} found a thermocline, {where}; last on "
        f"{date_text(np.asarray(times)[last])} at {number(float(at[last]), 'm', 1, units)}."
    )


def _relation(ws: Workspace, state: State, station: Station) -> None:
    have = data.ask(ws, "parameters_at", station.id)
    options = [p for p in AGAINST if p in have and p in ws.parameters] or [AGAINST[0]]
    name = options[0]
    if len(options) > 1:
        name = state.choose("against", "Disc depth against", options, words=lambda p: ws.parameters[p].label)
    found = data.ask(ws, "clarity_relation", station.id, "secchi", name)
    x, y = ws.parameters["secchi"], ws.parameters[name]
    said = relation_sentence(found, x, y)
    if found.n == 0:
        widgets.nothing_yet(said, "Read both on the same visit.")
        return
    units, look = state.units(ws), state.look
    shown = data.draw(
        ws, "relation", station.id, name, units, look.name,
        make=lambda: clarity_relation(
            pairs(ws, station.id, "secchi", name), found, x, y, sentence=said, units=units, look=look
        ),
    )  # fmt: skip
    widgets.picture(shown, key=f"relation {name}")
    widgets.notes(found.notes)
    if found.usable:
        widgets.method_sentence(found.method)


def relation_sentence(found: Any, x: Parameter, y: Parameter) -> str:
    """Say the relation in one sentence, or why it is refused.

    Parameters
    ----------
    found : ClarityRelation
        Of ``clarity_relation``.
    x, y : Parameter
        What is known, and what is estimated.

    Returns
    -------
    str
        The factor by which y goes with a doubling of x, with limits.
    """
    a, b = _plain_label(x), _plain_label(y)
    if not found.usable:
        why = found.reason.replace(x.name, a).replace(y.name, b)
        return f"There is no telling {b} from {a} here: {why}."
    low, high = sorted(2**v for v in (found.slope_low, found.slope_high))
    return (
        f"Here, when {a} doubles, {b} is multiplied by about {2**found.slope:.2f} ({found.confidence:.0%} limits "
        f"{low:.2f} to {high:.2f}); other waters differ."
    )


def _plain_label(parameter: Parameter) -> str:
    short = parameter.label.split(" (")[0].split(",")[0]
    return short[:1].lower() + short[1:]


def pairs(ws: Workspace, station: str, x: str, y: str) -> pd.DataFrame:
    """Return one row a day on which both were read.

    Parameters
    ----------
    ws : Workspace
        The open workspace.
    station, x, y : str
        Station, and the two parameters.

    Returns
    -------
    pandas.DataFrame
        ``x``, ``y`` (canonical units), ``used``: neither has a qualifier.
    """
    tables = []
    for name in (x, y):
        days = day_values(data.ask(ws, "series", station, name, MEASURED)).set_index("date")
        tables.append(days[["value", "code"]])
    both = tables[0].merge(tables[1], left_index=True, right_index=True, suffixes=("_x", "_y"))
    both = both[(both["value_x"] > 0) & (both["value_y"] > 0)]
    used = (both["code_x"] == 0) & (both["code_y"] == 0)
    return pd.DataFrame({"x": both["value_x"], "y": both["value_y"], "used": used})
