"""The views of the page Station; each draws one answer about one station and parameter."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import streamlit as st

from fathomlight.errors import NotFoundError
from fathomlight.figures import (
    Picture,
    deviations,
    index_by_year,
    isotherms,
    readings_series,
    season_boxes,
    stations_beside,
    year_against_past,
)
from fathomlight.figures.index import INPUTS
from fathomlight.figures.shown import Units, parameter_number, shown_unit, to_shown
from fathomlight.model import MEASURED, USED_FLAGS, Parameter, Station
from fathomlight_dashboard import data, station_light, widgets

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace
    from fathomlight_dashboard.state import State

FLAG_WORDS = {1: "pass", 2: "not evaluated", 3: "suspect", 4: "fail", 9: "missing"}


@dataclass(frozen=True)
class View:
    """One view: its name, and what draws it."""

    label: str
    render: Callable[[Workspace, State, Station, Parameter], None]


def standing_sentence(sentence: str, value: float, parameter: Parameter, units: Units) -> str:
    """Return the sentence of a standing with its reading in the units the reader wants.

    Parameters
    ----------
    sentence : str
        As the workspace says it, in the canonical unit.
    value : float
        The reading in it, canonical unit.
    parameter : Parameter
        What was measured.
    units : {"metric", "us"}
        What the reader wants.

    Returns
    -------
    str
        The same sentence; the value alone is rewritten.

    Examples
    --------
    >>> secchi = Parameter("secchi", "Disc depth", "m")
    >>> standing_sentence("1.6 m on 24 July: murkier than 57 of 64 readings.", 1.6, secchi, "us")
    '5.2 ft on 24 July: murkier than 57 of 64 readings.'
    """
    if not np.isfinite(value):
        return sentence
    written = f"{value:.{parameter.decimals}f} {parameter.unit}"
    return sentence.replace(written, parameter_number(value, parameter, units), 1)


def _used(rows: pd.DataFrame) -> pd.DataFrame:
    return rows.iloc[np.flatnonzero(np.isin(rows["flag"].to_numpy(), [int(f) for f in USED_FLAGS]))]


def _measured(ws: Workspace, station: str, parameter: Parameter) -> pd.DataFrame:
    series: pd.DataFrame = data.ask(ws, "series", station, parameter.name, MEASURED)
    return series


def _as_written(ws: Workspace, station: str, parameter: Parameter, rows: pd.DataFrame) -> pd.DataFrame:
    """Return the same readings with what was written in the file, read for those that are shown only."""
    if rows.empty:
        return rows.assign(original_value="", original_unit="")
    key = ["time", "depth_m", "replicate"]
    written = ws.readings(
        station,
        parameter.name,
        start=rows["time"].iloc[0],
        end=rows["time"].iloc[-1],
        columns=[*key, "original_value", "original_unit"],
    )
    return rows.merge(written, on=key, how="left", validate="one_to_one")


def shown_readings(rows: pd.DataFrame, parameter: Parameter, units: Any) -> pd.DataFrame:
    """Return readings as a reader wants them: newest first, values in the chosen unit."""
    rows = rows.sort_values("time", ascending=False)
    values = np.asarray(to_shown(rows["value"].to_numpy(float), parameter.unit, units))
    return pd.DataFrame(
        {
            "Date": rows["local_date"].dt.date.tolist(),
            "Qualifier": rows["qualifier"].tolist(),
            f"{parameter.label} [{shown_unit(parameter.unit, units)}]": np.round(
                values, parameter.decimals + 1
            ),
            f"Depth [{shown_unit('m', units)}]": np.round(
                np.asarray(to_shown(rows["depth_m"].to_numpy(float), "m", units)), 1
            ),
            "Flag": [FLAG_WORDS.get(int(f), str(f)) for f in rows["flag"]],
            "As written": (rows["original_value"] + " " + rows["original_unit"]).str.strip().tolist(),
        }
    )


def year_view(ws: Workspace, state: State, station: Station, parameter: Parameter) -> None:
    """The last year against its past."""
    series = _measured(ws, station.id, parameter)
    used = np.isin(series["flag"].to_numpy(), [int(f) for f in USED_FLAGS])
    dated = series["local_date"].to_numpy("datetime64[us]").astype("datetime64[Y]").astype(int) + 1970
    if not used.any():
        widgets.nothing_yet("No reading here may be used yet.", "See the page Check readings for why.")
        return
    units, look = state.units(ws), state.look
    years = sorted((int(y) for y in np.unique(dated[used])), reverse=True)
    left, right = st.columns(2)
    year = int(state.choose("year", "Year", [str(y) for y in years], place=left))
    others = state.choose_many("beside", "Beside it", [str(y) for y in years if y != year], place=right)
    envelope = data.ask(ws, "envelope", station.id, parameter.name, year=year)
    this = series.iloc[np.flatnonzero(used & (dated == year))]
    before = [y for y in years if y < year]
    past = f"{before[-1]} to {before[0]}" if before else ""

    def make() -> Picture:
        beside = {int(y): series.iloc[np.flatnonzero(used & (dated == int(y)))] for y in others}
        return year_against_past(
            envelope,
            this,
            parameter,
            year=year,
            past=past,
            beside=beside,
            units=units,
            look=look,
        )

    shown = data.draw(
        ws, "year", station.id, parameter.name, year, tuple(others), units, look.name, make=make
    )
    widgets.picture(shown, key="year against past")
    widgets.table(
        shown_readings(_as_written(ws, station.id, parameter, this.tail(widgets.SHOWN)), parameter, units),
        key="this year",
        file_name=f"{station.id}-{parameter.name}-{year}",
        whole=lambda: shown_readings(_as_written(ws, station.id, parameter, this), parameter, units),
        total=len(this),
        config={"Date": widgets.date_column()},
    )


def readings_view(ws: Workspace, state: State, station: Station, parameter: Parameter) -> None:
    """All readings along time; dragging picks a period."""
    rows = _measured(ws, station.id, parameter)
    units, look = state.units(ws), state.look
    failed = state.toggle("failed", "Draw readings that fail the checks too")
    start, end = _period(state)
    dragging: Any = False if state.by_finger else "select"
    part = _within(rows, start, end)

    def make() -> Picture:
        return readings_series(part, parameter, units=units, look=look, show_failed=failed, dragging=dragging)

    shown = data.draw(
        ws,
        "readings",
        station.id,
        parameter.name,
        units,
        look.name,
        failed,
        str(start),
        str(end),
        dragging,
        make=make,
    )
    event = widgets.picture(shown, key=f"readings {start} {end}", on_select="rerun", selection_mode="box")
    _take_period(state, event, bool(start or end), bool(dragging))
    widgets.table(
        shown_readings(_as_written(ws, station.id, parameter, part.tail(widgets.SHOWN)), parameter, units),
        key="readings table",
        file_name=f"{station.id}-{parameter.name}",
        config={"Date": widgets.date_column()},
        whole=lambda: shown_readings(_as_written(ws, station.id, parameter, part), parameter, units),
        total=len(part),
    )


def _period(state: State) -> tuple[dt.date | None, dt.date | None]:
    """Let the reader write the first and the last day of a period."""
    with st.expander("Period", expanded=False):
        left, right = st.columns(2)
        return state.date("from", "From", place=left), state.date("to", "To", place=right)


def _within(rows: pd.DataFrame, start: dt.date | None, end: dt.date | None) -> pd.DataFrame:
    """Return the rows of a period; a picture of them is thinned anew, so that it shows more the closer it looks."""
    if start is None and end is None:
        return rows
    days = rows["local_date"].to_numpy("datetime64[us]")
    keep = np.ones(len(rows), dtype=bool)
    if start:
        keep &= days >= np.datetime64(start, "us")
    if end:
        keep &= days <= np.datetime64(end, "us")
    return rows.iloc[np.flatnonzero(keep)]


def _take_period(state: State, event: Any, narrowed: bool, dragging: bool) -> None:
    """Take a dragged period into the address, and offer the way back."""
    boxes = event["selection"]["box"] if event else []
    if boxes and len(boxes[0].get("x", [])) >= 2:
        low, high = sorted(str(x)[:10] for x in boxes[0]["x"][:2])
        state.set("from", low)
        state.set("to", high)
        state.flush()
        st.rerun()
    if narrowed:
        st.button("Show the whole record", icon=":material/zoom_out_map:", on_click=_whole, args=(state,))
    elif dragging:
        st.caption("Drag along the picture to look at a period more closely.")


def _whole(state: State) -> None:
    state.set("from", None)
    state.set("to", None)
    state.flush()


def seasons_view(ws: Workspace, state: State, station: Station, parameter: Parameter) -> None:
    """The seasons beside each other, the last year marked."""
    cells = data.ask(ws, "season_cells", station.id, parameter.name)
    units, look = state.units(ws), state.look
    labels = {s.name: s.name for s in ws.seasons.seasons}

    def make() -> Picture:
        return season_boxes(cells, parameter, labels=labels, units=units, look=look)

    shown = data.draw(ws, "seasons", station.id, parameter.name, units, look.name, make=make)
    widgets.picture(shown, key="season boxes")
    unit = shown_unit(parameter.unit, units)
    table = pd.DataFrame(
        {
            "Year": cells["year"].tolist(),
            "Season": cells["season"].astype(str).tolist(),
            "Qualifier": cells["qualifier"].tolist(),
            f"Median [{unit}]": np.round(
                np.asarray(to_shown(cells["value"].to_numpy(float), parameter.unit, units)),
                parameter.decimals + 1,
            ),
            "Readings": cells["count"].tolist() if "count" in cells else None,
        }
    )
    widgets.table(table.iloc[::-1], key="season cells", file_name=f"{station.id}-{parameter.name}-seasons")


def profile_view(ws: Workspace, state: State, station: Station, parameter: Parameter) -> None:
    """Temperature (or another profile) along depth and time."""
    profiles = [p for p in data.ask(ws, "parameters_at", station.id) if ws.parameters[p].profile]
    name = parameter.name if parameter.profile else ("temperature" if "temperature" in profiles else "")
    cube = data.ask(ws, "profile", station.id, name) if name else None
    if cube is None or cube.sizes.get("time", 0) == 0 or cube.sizes.get("depth_m", 0) < 2:
        widgets.nothing_yet(
            "No profile has been read here.", "A profile is several depths read in one visit."
        )
        return
    what = ws.parameters[name]
    years = sorted({int(y) for y in cube["time"].dt.year.to_numpy()}, reverse=True)
    year = int(state.choose("year", "Year", [str(y) for y in years]))
    units, look = state.units(ws), state.look
    part = cube.sel(time=cube["time"].dt.year == year)
    times, depths = thermoclines(ws, station.id, year) if name == "temperature" else (None, None)

    def make() -> Picture:
        return isotherms(
            part, what, thermocline_times=times, thermocline_depths=depths, units=units, look=look
        )

    shown = data.draw(ws, "profile", station.id, name, year, units, look.name, make=make)
    widgets.picture(shown, key=f"profile {year}")
    unit = shown_unit(what.unit, units)
    frame = part[what.name].to_dataframe().reset_index().dropna(subset=[what.name])
    table = pd.DataFrame(
        {
            "Date": pd.to_datetime(frame["time"]).dt.date,
            f"Depth [{shown_unit('m', units)}]": np.round(
                to_shown(frame["depth_m"].to_numpy(float), "m", units), 1
            ),
            f"{what.label} [{unit}]": np.round(
                to_shown(frame[what.name].to_numpy(float), what.unit, units), 1
            ),
        }
    )
    widgets.table(
        table,
        key="profile table",
        file_name=f"{station.id}-{name}-{year}",
        config={"Date": widgets.date_column()},
    )


def index_table(yearly: pd.DataFrame) -> pd.DataFrame:
    """Return the index of every year as a reader wants it: newest first, with the chance that its class is right."""
    rows = yearly.sort_values(["year", "input"], ascending=[False, True])
    chance = [r.get(f"p: {r['class_name']}", np.nan) for r in rows.to_dict("records")]
    return pd.DataFrame(
        {
            "Year": rows["year"].tolist(),
            "From": [INPUTS.get(i, (i, ""))[0].removeprefix("from ") for i in rows["input"]],
            "Index": rows["index"].round(0).tolist(),
            "Lower limit": rows["low"].round(0).tolist(),
            "Upper limit": rows["high"].round(0).tolist(),
            "Class": rows["class_name"].tolist(),
            "Chance of this class [%]": np.round(100 * np.asarray(chance, dtype=float)).tolist(),
            "Days": rows["n"].tolist(),
            "Only a bound": rows["bound"].tolist(),
        }
    )


def compare_view(ws: Workspace, state: State, station: Station, parameter: Parameter) -> None:
    """Several stations on one axis."""
    units, look = state.units(ws), state.look
    with_it = [s for s in ws.stations if parameter.name in data.ask(ws, "parameters_at", s)]
    others = state.choose_many(
        "with", "Compare with", [s for s in with_it if s != station.id], words=lambda s: ws.stations[s].name
    )
    if not others:
        st.caption("Choose up to five other stations that have the same parameter.")
    chosen = [station.id, *others]
    start, end = _period(state)
    dragging: Any = False if state.by_finger else "select"

    def used_of(s: str) -> pd.DataFrame:
        return _used(_within(_measured(ws, s, parameter), start, end))

    def make() -> Picture:
        tables = {ws.stations[s].name: used_of(s) for s in chosen}
        return stations_beside(tables, parameter, units=units, look=look, dragging=dragging)

    span = (str(start), str(end))
    shown = data.draw(
        ws, "compare", tuple(chosen), parameter.name, units, look.name, *span, dragging, make=make
    )
    key = f"compare {'-'.join((*chosen, *span))}"
    event = widgets.picture(shown, key=key, on_select="rerun", selection_mode="box")
    _take_period(state, event, bool(start or end), bool(dragging))

    def summary() -> pd.DataFrame:
        rows = []
        for s in chosen:
            used = used_of(s)
            values = np.asarray(to_shown(used["value"].to_numpy(float), parameter.unit, units))
            rows.append(
                {
                    "Station": ws.stations[s].name,
                    "Readings": len(used),
                    "First": used["local_date"].min(),
                    "Last": used["local_date"].max(),
                    f"Median [{shown_unit(parameter.unit, units)}]": np.round(np.median(values), 2)
                    if len(used)
                    else None,
                }
            )
        return pd.DataFrame(rows)

    table = data.derive(ws, "compare table", tuple(chosen), parameter.name, units, *span, make=summary)
    widgets.table(
        table, key="compare table", file_name=f"compare-{parameter.name}",
        config={c: widgets.date_column(c) for c in ("First", "Last")},
    )  # fmt: skip


def thermoclines(ws: Workspace, station: str, year: int) -> tuple[Any, Any]:
    """Return times and depths of the thermocline of a year; nothing when it cannot be told."""
    try:
        grid = data.ask(ws, "stratification", station)
    except NotFoundError:
        return None, None
    part = grid["thermocline_depth"].sel(visit=grid["visit"].dt.year == year)
    return part["visit"].to_numpy(), part.to_numpy().astype(float)


def index_view(ws: Workspace, state: State, station: Station, parameter: Parameter) -> None:
    """Trophic state index of every year, and what its inputs say about each other."""
    answer = data.ask(ws, "trophic", station.id)
    units, look = state.units(ws), state.look
    widgets.sentence(answer.sentence)
    whole = answer.yearly[answer.yearly["covered"].astype(bool)]
    shown = data.draw(
        ws, "index", station.id, look.name, make=lambda: index_by_year(whole, units=units, look=look)
    )
    widgets.picture(shown, key="index")
    widgets.table(index_table(whole), key="index table", file_name=f"{station.id}-trophic")
    table = answer.deviations
    if table is not None and len(table.dropna(subset=["x", "y"])):
        st.header("What the inputs say about each other", anchor=False)
        other = data.draw(
            ws, "deviations", station.id, look.name, make=lambda: deviations(table, units=units, look=look)
        )
        widgets.picture(other, key="deviations")
    widgets.notes(answer.notes)
    widgets.method_sentence(answer.method)


VIEWS: dict[str, View] = {
    "year": View("This year", year_view),
    "readings": View("All readings", readings_view),
    "seasons": View("Seasons", seasons_view),
    "profile": View("Profile", profile_view),
    "light": View("Light and layers", station_light.render),
    "index": View("Trophic state", index_view),
    "compare": View("Compare", compare_view),
}
"""Views by their name in the address, in the order of the buttons."""
