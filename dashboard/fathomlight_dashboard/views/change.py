"""Change: is it getting clearer or murkier, how fast, how surely; one station, and all of them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import streamlit as st

from fathomlight.figures import (
    Picture,
    change_map,
    network_intervals,
    season_panels,
    trend_line,
    trend_sentence,
)
from fathomlight.figures.shown import (
    Units,
    count_text,
    p_text,
    parameter_number,
    shown_unit,
    slope_text,
    to_shown,
)
from fathomlight.model import Parameter, Station
from fathomlight.workspace.change import LEAST_YEARS, TrendAnswer
from fathomlight_dashboard import change_detect, choices, data, widgets
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
    enough = table["p"].notna() & (table["n_years"] >= LEAST_YEARS)
    told = table[enough]
    if told.empty:
        widgets.nothing_yet(
            "No station has enough years for a trend.", f"{LEAST_YEARS} years with values are the least."
        )
        return
    widgets.sentence(_network_sentence(told, parameter))

    def make() -> Picture:
        return network_intervals(
            _with_sentence(told, parameter, units), parameter, level=RATE, units=units, look=look
        )

    shown = data.draw(ws, "network", parameter.name, start, end, units, look.name, make=make)
    _opens(state, widgets.picture(shown, key="network", on_select="rerun"))
    few = table[~enough]
    if len(few):
        st.markdown(widgets.plain(_few_sentence(few)))
    st.header("Where", anchor=False)
    placed = _placed(ws, table, parameter, units)
    where = data.draw(
        ws, "change map", parameter.name, start, end, units, look.name,
        make=lambda: change_map(
            placed, ws.shorelines(), level=RATE, least_years=LEAST_YEARS, units=units, look=look
        ),
    )  # fmt: skip
    _opens(state, widgets.picture(where, key="change map", on_select="rerun"))
    widgets.table(
        _network_table(pd.concat([told, few]), ws, parameter, units),
        key="network table",
        file_name=f"trends-{parameter.name}",
    )
    widgets.method_sentence(
        "Seasonal Kendall test on season medians at each station, with Theil-Sen slopes and 95 % limits; "
        "p values "
        "adjusted over the stations for the false-discovery rate (Benjamini & Hochberg, 1995)."
    )


_CHANCES = {c: st.column_config.NumberColumn(c, format="%.2g") for c in ("p", "p adjusted")}


def _opens(state: State, event: Any) -> None:
    """Open the trend of the station whose mark was clicked."""
    points = event["selection"]["points"] if event else []
    if points and points[0].get("customdata"):
        picked = points[0]["customdata"]
        state.go("change", scope="one", station=picked if isinstance(picked, str) else picked[0])


def _few_sentence(few: pd.DataFrame) -> str:
    years = few["n_years"].astype(int).tolist()
    names = [f"{name} ({count_text(n, 'year')})" for name, n in zip(few["name"], years, strict=True)]
    return f"Too few years, and so left out of the picture: {', '.join(names)}."


def _placed(ws: Workspace, table: pd.DataFrame, parameter: Parameter, units: Units) -> pd.DataFrame:
    """Put the stations of the table in their place on the map."""
    where = [ws.stations[s] for s in table["station"]]
    rows = _with_sentence(table, parameter, units)
    few = (table["n_years"] < LEAST_YEARS) | table["p"].isna()
    rows.loc[few, "sentence"] = f"fewer than {LEAST_YEARS} years with values"
    return rows.assign(
        latitude=[s.latitude for s in where],
        longitude=[s.longitude for s in where],
        water_name=[ws.waters[s.water].name if s.water in ws.waters else "" for s in where],
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
            "Direction": [
                c if n >= LEAST_YEARS else "too few years"
                for c, n in zip(rows["clarity"], rows["n_years"], strict=True)
            ],
            "How sure": [
                w if n >= LEAST_YEARS else ""
                for w, n in zip(rows["likelihood"], rows["n_years"], strict=True)
            ],
            f"Slope [{unit} a decade]": decade("slope"),
            "Lower limit": decade("slope_low"),
            "Upper limit": decade("slope_high"),
            "p": rows["p"].tolist(),
            "p adjusted": rows["p_adjusted"].tolist(),
            "Years": rows["n_years"],
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
    enough = answer.seasonal.n_times >= LEAST_YEARS
    widgets.sentence(f"{station.name}: {_answer(answer, parameter, units)}")
    line = ws.trend_line(answer) if enough else ws.trend_line(answer).iloc[:0]
    step = (
        answer.change_point if np.isfinite(answer.change_point.p) and answer.change_point.p < RATE else None
    )
    values = answer.yearly.assign(year=answer.yearly["year"] + 0.5)

    eye = state.toggle(
        "smooth",
        "Smooth line for the eye",
        help="A line through the season medians; nothing is tested with it.",
    )
    curve = data.ask(ws, "smooth", station.id, parameter.name) if eye else None

    def make() -> Picture:
        return trend_line(
            values,
            line,
            answer.seasonal,
            parameter,
            step_year=None if step is None else step.time + 1,
            smooth=curve,
            units=units,
            look=look,
        )

    shown = data.draw(ws, "trend", station.id, parameter.name, start, end, units, look.name, eye, make=make)
    widgets.picture(shown, key="trend", caption=False)
    if step is not None:
        st.markdown(_step_words(step, parameter, units))
    widgets.notes(answer.notes)
    _seasons(ws, state, answer, station, parameter, start, end)
    widgets.method_sentence(answer.method)
    if enough:
        change_detect.render(ws, state, station, parameter)


def _answer(answer: TrendAnswer, parameter: Parameter, units: Units) -> str:
    n = answer.seasonal.n_times
    if n >= LEAST_YEARS:
        return _small(trend_sentence(answer.seasonal, parameter, units))
    verb = "is" if n == 1 else "are"
    return f"{count_text(n, 'year')} with values {verb} too few to speak of a trend; {LEAST_YEARS} are the least."


def _seasons(
    ws: Workspace,
    state: State,
    answer: TrendAnswer,
    station: Station,
    parameter: Parameter,
    start: int | None,
    end: int | None,
) -> None:
    units, look = state.units(ws), state.look
    labels = {s.name: s.name for s in ws.seasons.seasons}
    st.header("Season by season", anchor=False)

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
            "p": rows["p"].tolist(),
        }
    )
    widgets.table(table, key="by season", file_name=f"{station.id}-{parameter.name}-trend", config=_CHANCES)


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
