"""The habitat view of the page Fish and clarity: room with the right light and the right warmth."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import streamlit as st

from fathomlight.errors import FathomlightError
from fathomlight.figures import Picture, bands, habitat_by_year, sensitivity
from fathomlight.figures.shown import shown_unit, to_shown
from fathomlight_dashboard import data, widgets
from fathomlight_dashboard.in_units import habitat_sentence, what_if_sentence

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace
    from fathomlight_dashboard.state import State


def render(ws: Workspace, state: State, species: str) -> None:
    """Draw the habitat of a species in one water."""
    known = {k: s for k, s in ws.species.items() if k == species or s.label.lower() == species.lower()}
    if not known:
        have = ", ".join(s.label for s in ws.species.values())
        widgets.nothing_yet(
            f"No light and temperature band is set for {species}.", f"There is one for: {have}."
        )
        return
    key = next(iter(known))
    waters = [w for w, x in ws.waters.items() if x.depth_areas] or list(ws.waters)
    water = state.choose("water", "Water", waters, words=lambda w: ws.waters[w].name)
    try:
        answer = data.ask(ws, "habitat", water, key)
    except FathomlightError as error:
        widgets.nothing_yet(f"Habitat cannot be told here: {error.what}.", error.fix or "")
        return
    units, look = state.units(ws), state.look
    name = ws.species[key].label
    widgets.sentence(habitat_sentence(ws.waters[water].name, name, answer.result.years, units))
    rows = whole_years(answer.yearly)
    shown = data.draw(
        ws, "habitat", water, key, units, look.name,
        make=lambda: habitat_by_year(rows, units=units, look=look, species=species),
    )  # fmt: skip
    widgets.picture(shown, key="habitat by year")
    _what_if(ws, state, answer, water, species)
    _season(ws, state, answer, water, key, species)
    area, depth = shown_unit("ha", units), shown_unit("m", units)
    table = pd.DataFrame({"Year": rows["year"].tolist()})
    for column, words in (("area_ha", "Area"), ("low", "Lower limit"), ("high", "Upper limit")):
        if column in rows:
            table[f"{words} [{area}]"] = np.round(to_shown(rows[column].to_numpy(float), "ha", units), 1)
    table["Share of the lake [%]"] = np.round(100 * rows["share"].to_numpy(float), 2)
    table[f"Disc depth [{depth}]"] = np.round(to_shown(rows["secchi_m"].to_numpy(float), "m", units), 1)
    widgets.table(table, key="habitat table", file_name=f"{water}-{key}-habitat")
    widgets.notes(answer.notes)
    widgets.caution(answer.caution)
    widgets.method_sentence(answer.method)


def whole_years(yearly: pd.DataFrame) -> pd.DataFrame:
    """Return the years with enough covered days to be compared; limits only where they hold the estimate."""
    rows = yearly[yearly["covered"].astype(bool)].copy()
    if {"low", "high"} <= set(rows.columns):
        outside = (rows["low"] > rows["area_ha"]) | (rows["high"] < rows["area_ha"])
        rows.loc[outside, ["low", "high"]] = np.nan
    return rows


def _what_if(ws: Workspace, state: State, answer: Any, water: str, species: str) -> None:
    if answer.sensitivity is None:
        return
    units, look = state.units(ws), state.look
    st.header("What if the water were clearer?", anchor=False)
    found = answer.sensitivity
    st.markdown(widgets.plain(what_if_sentence(species, found.area_m2, found.plus_one_m2, units)))
    curve = answer.sensitivity.curve.assign(area_ha=answer.sensitivity.curve["area_m2"] / 1e4)
    last = answer.yearly["secchi_m"].dropna()
    now = float(last.iloc[-1]) if len(last) else None
    shown = data.draw(
        ws, "what if", water, species, units, look.name,
        make=lambda: sensitivity(curve, now_m=now, units=units, look=look, species=species),
    )  # fmt: skip
    widgets.picture(shown, key="what if")


def _season(ws: Workspace, state: State, answer: Any, water: str, key: str, species: str) -> None:
    """Draw light and warmth by depth through the last whole season."""
    rows = answer.yearly[answer.yearly["covered"].astype(bool)]
    if rows.empty:
        return
    year = int(rows["year"].max())
    table = season_bands(ws, answer, water, key, year)
    if table.empty:
        return
    units, look = state.units(ws), state.look
    st.header(f"Depths with the right light and warmth, {year}", anchor=False)
    shown: Picture = data.draw(
        ws, "bands", water, key, year, units, look.name,
        make=lambda: bands(table, units=units, look=look, species=species),
    )  # fmt: skip
    widgets.picture(shown, key="bands")


def season_bands(ws: Workspace, answer: Any, water: str, key: str, year: int) -> pd.DataFrame:
    """Return, day by day, the depths with the right light at noon and those with the right temperature.

    Parameters
    ----------
    ws : Workspace
        The open workspace.
    answer : HabitatAnswer
        Of the water.
    water, key : str
        Ids of water and species.
    year : int
        The season.

    Returns
    -------
    pandas.DataFrame
        As :func:`fathomlight.figures.bands` wants it; empty without temperature profiles.
    """
    days = answer.result.days
    days = days[days["year"] == year].rename(
        columns={"noon_shallow_m": "light_shallow_m", "noon_deep_m": "light_deep_m"}
    )
    grid = None
    for station in (s.id for s in ws.stations.values() if s.water == water):
        try:
            found = data.ask(ws, "stratification", station)
        except FathomlightError:
            continue
        if grid is None or found.sizes["visit"] > grid.sizes["visit"]:
            grid = found
    if grid is None or days.empty:
        nothing: pd.DataFrame = days.iloc[:0]
        return nothing
    species = ws.species[key]
    heat = grid["temperature"].reindex(time=pd.DatetimeIndex(days["date"]).to_numpy("datetime64[s]"))
    good = ((heat >= species.low_degc) & (heat <= species.high_degc)).to_numpy()
    depth = grid["depth"].to_numpy()
    some = good.any(axis=1)
    top = np.where(some, depth[good.argmax(axis=1)], np.nan)
    bottom = np.where(some, depth[good.shape[1] - 1 - good[:, ::-1].argmax(axis=1)], np.nan)
    table = days[["date", "light_shallow_m", "light_deep_m"]].assign(warm_shallow_m=top, warm_deep_m=bottom)
    dated: pd.DataFrame = table.dropna(subset=["light_shallow_m"])
    return dated
