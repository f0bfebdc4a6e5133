"""Change: is it getting clearer or murkier, how fast, how surely; one station, and all of them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import streamlit as st

from fathomlight.figures import Picture, network_intervals, season_panels, trend_line, trend_sentence
from fathomlight.figures.shown import Units, p_text, parameter_number, shown_unit, to_shown
from fathomlight.model import Parameter, Station
from fathomlight_dashboard import choices, data, widgets
from fathomlight_dashboard.page import Page

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace
    from fathomlight_dashboard.state import State

RATE = 0.05


def render(ws: Workspace, state: State) -> None:
    """Draw the page."""
    scope = state.choose(
        "scope",
        "Look at",
        ["all", "one"],
        words={"all": "All stations", "one": "One station"}.__getitem__,
        widget="segments",
    )
    left, right = st.columns(2)
    if scope == "one":
        station = choices.station(ws, state, place=left)
        parameter = choices.parameter_of(ws, state, station.id, place=right)
        if parameter is None:
            widgets.nothing_yet(f"{station.name} has no reading yet.", "Add some on the page Add readings.")
            return
    else:
        station, parameter = None, choices.clarity_parameter(ws, state, place=left)
    start, end = _window(ws, state, parameter)
    if station is None:
        _network(ws, state, parameter, start, end)
    else:
        _one(ws, state, station, parameter, start, end)


def _window(ws: Workspace, state: State, parameter: Parameter) -> tuple[int | None, int | None]:
    """Let the reader narrow the years; nothing is asked of the workspace when the window is whole."""
    years = data.ask(ws, "years_of", parameter.name) if hasattr(ws, "years_of") else None
    low, high = years if years else (1950, ws.as_of.year)
    with st.expander("Years"):
        left, right = st.columns(2)
        first = state.number("from", "First year", low, high, default=low, place=left)
        last = state.number("to", "Last year", low, high, default=high, place=right)
    if first > last:
        st.warning("The first year lies after the last one; all years are used.")
        return None, None
    return (None if first == low else first), (None if last == high else last)


def _network(ws: Workspace, state: State, parameter: Parameter, start: int | None, end: int | None) -> None:
    table = data.ask(ws, "trends", parameter.name, start=start, end=end)
    units, look = state.units(ws), state.look
    told = table.dropna(subset=["p"])
    if told.empty:
        widgets.nothing_yet(
            "No station has enough years for a trend.", "Four years in one season are the least."
        )
        return
    widgets.sentence(_network_sentence(told, parameter))

    def make() -> Picture:
        return network_intervals(
            _with_sentence(told, parameter, units), parameter, level=RATE, units=units, look=look
        )

    shown = data.draw(ws, "network", parameter.name, start, end, units, look.name, make=make)
    event = widgets.picture(shown, key="network", on_select="rerun")
    points = event["selection"]["points"] if event else []
    if points and points[0].get("customdata"):
        picked = points[0]["customdata"]
        state.go("change", scope="one", station=picked if isinstance(picked, str) else picked[0])
    widgets.table(
        _network_table(table, ws, parameter, units), key="network table", file_name=f"trends-{parameter.name}"
    )
    widgets.method_sentence(
        "Seasonal Kendall test on season medians at each station, with Theil-Sen slopes and 95 % limits; "
        "p values "
        "adjusted over the stations for the false-discovery rate (Benjamini & Hochberg, 1995)."
    )


def _network_sentence(told: pd.DataFrame, parameter: Parameter) -> str:
    sure = told[told["p_adjusted"] < RATE]
    n = {w: int((sure["clarity"] == w).sum()) for w in ("murkier", "clearer", "increasing", "decreasing")}
    if parameter.clearer is None:
        return (
            f"Of {len(told)} stations with enough years, {n['increasing']} rise and {n['decreasing']} fall."
        )
    rest = len(told) - n["murkier"] - n["clearer"]
    return (
        f"Of {len(told)} stations with enough years, {n['murkier']} are getting murkier and "
        f"{n['clearer']} clearer; "
        f"for {rest} no direction is certain after allowing for many tests."
    )


def _with_sentence(rows: pd.DataFrame, parameter: Parameter, units: Units) -> pd.DataFrame:
    return rows.assign(sentence=[_row_sentence(r, parameter, units) for r in rows.to_dict("records")])


def _row_sentence(row: dict[Any, Any], parameter: Parameter, units: Units) -> str:
    from fathomlight.figures.shown import slope_text

    slope = slope_text(row["slope"], row["slope_low"], row["slope_high"], parameter.unit, units)
    return f"{slope}; {row['likelihood']} {row['direction']}, adjusted {p_text(row['p_adjusted'])}"


def _network_table(rows: pd.DataFrame, ws: Workspace, parameter: Parameter, units: Units) -> pd.DataFrame:
    unit = shown_unit(parameter.unit, units)

    def decade(column: str) -> Any:
        return np.round(
            10 * np.asarray(to_shown(rows[column].to_numpy(float), parameter.unit, units, difference=True)), 2
        )

    return pd.DataFrame(
        {
            "Station": rows["name"].tolist(),
            "Direction": rows["clarity"].tolist(),
            "How sure": rows["likelihood"].tolist(),
            f"Slope [{unit} a decade]": decade("slope"),
            "Lower limit": decade("slope_low"),
            "Upper limit": decade("slope_high"),
            "p": rows["p"].round(4),
            "p adjusted": rows["p_adjusted"].round(4),
            "Season values": rows["n"],
            "From": rows["first_year"],
            "To": rows["last_year"],
            "Water": [ws.waters[w].name if w in ws.waters else w for w in rows["water"]],
        }
    )


def _one(
    ws: Workspace, state: State, station: Station, parameter: Parameter, start: int | None, end: int | None
) -> None:
    answer = data.ask(ws, "trend", station.id, parameter.name, start=start, end=end)
    units, look = state.units(ws), state.look
    widgets.sentence(f"{station.name}: {_small(trend_sentence(answer.seasonal, parameter, units))}")
    line = ws.trend_line(answer)
    labels = {s.name: s.name for s in ws.seasons.seasons}
    step = (
        answer.change_point if np.isfinite(answer.change_point.p) and answer.change_point.p < RATE else None
    )
    values = answer.yearly.assign(year=answer.yearly["year"] + 0.5)

    def make() -> Picture:
        return trend_line(
            values,
            line,
            answer.seasonal,
            parameter,
            step_year=None if step is None else step.time + 1,
            units=units,
            look=look,
        )

    shown = data.draw(ws, "trend", station.id, parameter.name, start, end, units, look.name, make=make)
    widgets.picture(shown, key="trend", caption=False)
    if step is not None:
        st.markdown(_step_words(step, parameter, units))
    widgets.notes(answer.notes)
    st.subheader("Season by season", anchor=False)

    def panels() -> Picture:
        return season_panels(answer.cells, answer.by_season, parameter, labels=labels, units=units, look=look)

    small = data.draw(ws, "panels", station.id, parameter.name, start, end, units, look.name, make=panels)
    widgets.picture(small, key="panels")
    unit = shown_unit(parameter.unit, units)
    rows = answer.by_season
    table = pd.DataFrame(
        {
            "Season": rows["season"],
            "Years": rows["n"],
            f"Slope [{unit} a decade]": np.round(
                10
                * np.asarray(to_shown(rows["slope"].to_numpy(float), parameter.unit, units, difference=True)),
                2,
            ),
            "p": rows["p"].round(4),
        }
    )
    widgets.table(table, key="by season", file_name=f"{station.id}-{parameter.name}-trend")
    widgets.method_sentence(answer.method)


def _step_words(step: Any, parameter: Parameter, units: Units) -> str:
    before = parameter_number(step.median_before, parameter, units)
    after = parameter_number(step.median_after, parameter, units)
    return (
        f"**There may have been one step rather than a slope.** After {int(step.time)} the yearly median goes from "
        f"{before} to "
        f"{after} (Pettitt test, {p_text(step.p)}). Ask what changed then: the water, the method or the "
        "place."
    )


def _small(text: str) -> str:
    return text[:1].lower() + text[1:]


PAGE = Page(
    title="Change",
    path="change",
    order=30,
    question="Is the water getting clearer or murkier, how fast, and how surely?",
    render=render,
    carries=("units", "station", "parameter"),
)
