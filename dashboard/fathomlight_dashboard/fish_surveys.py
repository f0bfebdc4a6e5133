"""The views of the page Fish and clarity about the surveys themselves: where, matched with what, condition, numbers."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd

from fathomlight.errors import ArgumentError
from fathomlight.figures import station_map
from fathomlight.figures.shown import count_text, shown_unit, to_shown
from fathomlight_dashboard import data, widgets

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace
    from fathomlight_dashboard.state import State

MAP_WORDS = {"usual": "surveyed with this gear", "no recent reading": "not surveyed with it"}
MAP_SHAPES = {"usual": "circle", "no recent reading": "x-thin"}
MAP_LINE = (
    "Stations at which fish were surveyed with the gear; a survey without a station counts for its water."
)


def surveys_view(ws: Workspace, state: State, species: str, gear: str) -> None:
    """Where and when was surveyed, and which readings belong to each survey."""
    units, look = state.units(ws), state.look
    surveys = data.ask(ws, "surveys", gear=gear)
    match = data.ask(ws, "matched_surveys")
    own = match.table[match.table["survey"].isin(surveys["survey"])]
    lost = match.unmatched[match.unmatched["survey"].isin(surveys["survey"])]
    windows = [w.name for w in match.windows]
    found = own.groupby("window")["survey"].nunique().reindex(windows, fill_value=0)
    years = surveys["start"].dt.year
    parts = ", ".join(f"{found[w]} have readings in the window {w}" for w in windows)
    widgets.sentence(
        f"{count_text(len(surveys), 'survey')} with {gear} in {surveys['water'].nunique()} waters, "
        f"{years.min()} to {years.max()}; of them {parts}."
    )
    places = _places(ws, surveys)
    shown = data.draw(
        ws, "survey map", gear, units, look.name,
        make=lambda: station_map(
            places, ws.shorelines(), units=units, look=look, words=MAP_WORDS, shapes=MAP_SHAPES, method_line=MAP_LINE
        ),
    )  # fmt: skip
    widgets.picture(shown, key="survey map", caption=False)
    unit = shown_unit("m", units)
    out = own.sort_values(["start", "survey"])[
        ["survey", "water", "start", "effort", "effort_unit", "window", "clarity_qualifier", "clarity", "readings",
         "reading_days", "stations", "nearest_days", "distance_km"]
    ].copy()  # fmt: skip
    out["water"] = [ws.waters[w].name if w in ws.waters else w for w in out["water"]]
    out["start"] = out["start"].dt.date
    out["clarity"] = to_shown(out["clarity"].to_numpy(dtype=float), "m", units).round(2)
    widgets.table(
        out, key="matching", file_name=f"{gear}-matching",
        columns={
            "survey": "Survey", "water": "Water", "start": "Date", "effort": "Effort", "effort_unit": "Unit",
            "window": "Window", "clarity_qualifier": "Qualifier", "clarity": f"Disc depth [{unit}]",
            "readings": "Readings", "reading_days": "On days", "stations": "Stations",
            "nearest_days": "Nearest [days]", "distance_km": "Distance [km]",
        },
        config={"Date": widgets.date_column()},
    )  # fmt: skip
    if len(lost):
        widgets.sentence(f"{count_text(lost['survey'].nunique(), 'survey')} without readings in some window.")
        widgets.table(
            lost, key="unmatched", file_name=f"{gear}-unmatched",
            columns={"survey": "Survey", "water": "Water", "window": "Window", "reason": "Why"},
        )  # fmt: skip
    widgets.method_sentence(match.method)


def _places(ws: Workspace, surveys: pd.DataFrame) -> pd.DataFrame:
    rows = []
    for station in ws.stations.values():
        here = surveys[surveys["station"] == station.id]
        years = here["start"].dt.year
        said = (
            f"{count_text(len(here), 'survey')}, {years.min()} to {years.max()}" if len(here) else "no survey"
        )
        rows.append(
            {
                "station": station.id, "name": station.name, "water": station.water,
                "water_name": ws.waters[station.water].name if station.water in ws.waters else "",
                "latitude": station.latitude, "longitude": station.longitude,
                "standing": "usual" if len(here) else "no recent reading", "sentence": said,
            }
        )  # fmt: skip
    return pd.DataFrame(rows)


def condition_view(ws: Workspace, state: State, species: str, gear: str) -> None:
    """Relative weight by length category, and growth where ages are known."""
    try:
        table = data.ask(ws, "condition_table", species)
    except ArgumentError as error:
        widgets.nothing_yet(f"No condition can be told for {species}.", str(error))
        return
    table = table[table["gear"] == gear]
    if table.empty:
        widgets.nothing_yet(
            f"No {species} from {gear} was both measured and weighed.",
            "Load the measured fish of the surveys.",
        )
        return
    thin = table.loc[table["high"] < 95, ["water", "category"]]
    waters = ", ".join(sorted({ws.waters[w].name if w in ws.waters else w for w in thin["water"]}))
    widgets.sentence(
        f"Relative weight of {species}: 100 is the published standard. "
        + (
            f"Certainly below 95 for some lengths in {waters}."
            if waters
            else "No length category is certainly below 95."
        )
    )
    out = table.assign(water=[ws.waters[w].name if w in ws.waters else w for w in table["water"]]).round(1)
    widgets.table(
        out, key="condition", file_name=f"{species}-{gear}-condition",
        columns={
            "water": "Water", "category": "Length category", "n": "Fish", "mean": "Mean relative weight [%]",
            "sd": "Spread", "low": "Lower limit", "high": "Upper limit",
        },
    )  # fmt: skip
    _growth(ws, state, species)


def _growth(ws: Workspace, state: State, species: str) -> None:
    try:
        growth = data.ask(ws, "growth", species)
    except ArgumentError as error:
        widgets.notes((f"No growth curve: {error.what}.",))
        return
    units: Any = state.units(ws)
    length = float(to_shown(growth.l_inf, "mm", units))
    widgets.sentence(
        f"Growth of {species}, all waters and gears: length at great age {length:.0f} {shown_unit('mm', units)}, "
        f"K {growth.k:.2f} a year."
    )
    widgets.notes(growth.notes)
    widgets.method_sentence(growth.method)


def removal_view(ws: Workspace, state: State, species: str, gear: str) -> None:
    """Numbers of fish from surveys of several passes."""
    table = data.ask(ws, "removals", species)
    surveys = data.ask(ws, "surveys", gear=gear)
    table = table[table["survey"].isin(surveys["survey"])]
    if table.empty:
        widgets.nothing_yet(
            f"No survey with {gear} has several passes with {species}.",
            "Numbers by removal need two passes or more over the same closed reach.",
        )
        return
    good = table[table["refused"] == ""]
    widgets.sentence(
        f"{count_text(len(table), 'survey')} of several passes: {len(good)} gave a number, "
        f"{len(table) - len(good)} did not deplete."
    )
    out = table.assign(start=table["start"].dt.date).round({"low": 0, "high": 0, "capture_probability": 2})
    widgets.table(
        out, key="removal", file_name=f"{species}-removal",
        columns={
            "survey": "Survey", "start": "Date", "counts": "Caught, pass by pass", "n": "Fish there",
            "low": "Lower limit", "high": "Upper limit", "capture_probability": "Caught in one pass",
            "refused": "Why no number",
        },
        config={"Date": widgets.date_column()},
    )  # fmt: skip
    widgets.method_sentence(
        "Zippin's maximum likelihood for removal by several passes, with profile-likelihood limits at 95 %; assumes a "
        "closed reach and the same chance of capture in every pass."
    )
