"""Fish and clarity: catch per effort beside the clarity of its water; room for fish that hunt by sight."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import streamlit as st

from fathomlight.figures import Picture, catch_and_clarity, catch_by_year, lengths
from fathomlight.figures.shown import Units, p_text, shown_unit, to_shown
from fathomlight.fish import cautions, find_species
from fathomlight_dashboard import data, fish_habitat, fish_surveys, widgets
from fathomlight_dashboard.in_units import effect_sentences
from fathomlight_dashboard.page import Page

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace
    from fathomlight_dashboard.state import State


def render(ws: Workspace, state: State) -> None:
    """Draw the page."""
    species, gears = data.ask(ws, "survey_species"), data.ask(ws, "survey_gears")
    if not species or not gears:
        widgets.nothing_yet(
            "No fish survey has been loaded yet.",
            "Surveys, catches and measured fish are loaded like readings, each with its recipe.",
        )
        return
    left, right = st.columns(2)
    name = state.choose("species", "Species", species, default="walleye", place=left)
    gear = state.choose(
        "gear", "Gear", gears, default="gill net", place=right,
        help="Gears are never pooled: each catches fish in its own way.",
    )  # fmt: skip
    views = {
        "clarity": "Catch and clarity", "surveys": "Surveys", "catch": "Catch by year", "sizes": "Sizes",
        "condition": "Condition", "removal": "Numbers", "habitat": "Habitat",
    }  # fmt: skip
    view = state.choose("view", "What to look at", list(views), words=views.__getitem__, widget="segments")
    VIEWS[view](ws, state, name, gear)
    widgets.caution(*cautions(gear))


def clarity_view(ws: Workspace, state: State, species: str, gear: str) -> None:
    """Catch per effort against the clarity before each survey."""
    windows = data.ask(ws, "windows")
    window = state.choose(
        "window", "Readings that belong to a survey", windows,
        help="Which readings of the same water stand for its clarity before the survey.",
    )  # fmt: skip
    effect = data.ask(ws, "clarity_effect", species, gear, window=window)
    parameter, units, look = ws.parameters["secchi"], state.units(ws), state.look
    answer, rest = _answer(effect, units)
    widgets.sentence(answer)
    points = effect.points.rename(columns={"cpe": "catch_per_effort"})
    points = points.assign(water=[_water(ws, w) for w in points["water"]])
    curve = None if effect.curve is None else effect.curve.rename(columns={"fitted": "fit"})

    def make() -> Picture:
        return catch_and_clarity(
            points,
            parameter,
            curve=curve,
            sentence=_rank(effect),
            effort_unit=effect.effort_unit or "unit of effort",
            species=species,
            units=units,
            look=look,
        )

    shown = data.draw(ws, "effect", species, gear, window, units, look.name, make=make)
    widgets.picture(shown, key="catch and clarity")
    if rest:
        st.markdown("\n".join(f"- {widgets.plain(s)}" for s in rest))
    widgets.notes(effect.notes)
    unit = shown_unit("m", units)
    table = points.assign(
        clarity=np.round(to_shown(points["clarity"].to_numpy(float), "m", units), 2),
        catch_per_effort=points["catch_per_effort"].round(2),
    )
    widgets.table(
        table, key="matched", file_name=f"{species}-{gear}-clarity",
        columns={
            "survey": "Survey", "water": "Water", "year": "Year", "clarity": f"Disc depth [{unit}]",
            "catch_per_effort": f"Catch per {effect.effort_unit}", "count": "Fish", "effort": "Effort",
        },
    )  # fmt: skip
    widgets.method_sentence(effect.method)


def _answer(effect: Any, units: Units) -> tuple[str, list[str]]:
    """Return the sentence that answers the question, and the others (the rank stands under the picture)."""
    rest = [s for s in effect_sentences(effect, units) if not s.startswith("Rank correlation")]
    if not rest:
        return f"{effect.n} surveys could be matched.", []
    answer = next((s for s in rest if s.startswith("Each halving")), rest[0])
    return answer, [s for s in rest if s != answer]


def _rank(effect: Any) -> str:
    if not np.isfinite(effect.rank_correlation):
        return f"{effect.n} surveys matched; too few for a rank correlation."
    return (
        f"Rank correlation of catch with clarity {effect.rank_correlation:+.2f} ({p_text(effect.rank_p)}, "
        f"n = {effect.rank_n} surveys): an association, not a cause."
    )


def catch_view(ws: Workspace, state: State, species: str, gear: str) -> None:
    """Mean catch per effort of each year, water by water."""
    table = data.ask(ws, "catch_per_effort", species, gear)
    units, look = state.units(ws), state.look
    if table.empty:
        widgets.nothing_yet(f"No survey with {gear} has a known effort.", "Choose another gear.")
        return
    effort_unit = str(table["effort_unit"].iloc[0])
    rows = table[table["effort_unit"] == effort_unit].copy()
    rows["water"] = [_water(ws, w) for w in rows["water"]]
    rows["low"], rows["high"] = rows["boot_low"], rows["boot_high"]

    def make() -> Picture:
        return catch_by_year(rows, effort_unit=effort_unit, species=species, units=units, look=look)

    shown = data.draw(ws, "catch", species, gear, look.name, make=make)
    widgets.sentence(shown.caption)
    widgets.picture(shown, key="catch by year", caption=False)
    out = rows[["water", "year", "n", "zeros", "left_out", "total", "effort", "mean", "low", "high"]].round(2)
    widgets.table(
        out, key="catch table", file_name=f"{species}-{gear}-catch",
        columns={
            "water": "Water", "year": "Year", "n": "Surveys", "zeros": "Without the species",
            "left_out": "Effort unknown", "total": "Fish", "effort": f"Effort [{effort_unit}]",
            "mean": f"Mean per {effort_unit}", "low": "Lower limit", "high": "Upper limit",
        },
    )  # fmt: skip


def sizes_view(ws: Workspace, state: State, species: str, gear: str) -> None:
    """Lengths of the measured fish, and the proportions the trade reads from them."""
    rows = data.ask(ws, "measured_fish", species, gear=gear)
    if rows["length_mm"].notna().sum() == 0:
        widgets.nothing_yet(
            f"No {species} from {gear} was measured.", "Load the measured fish of the surveys."
        )
        return
    units, look = state.units(ws), state.look
    known = find_species(species)
    names = ("stock", "quality", "preferred", "memorable", "trophy")

    def make() -> Picture:
        limits = dict(zip(names, known.limits_mm, strict=True))
        return lengths(rows["length_mm"], limits_mm=limits, species=species, units=units, look=look)

    shown = data.draw(ws, "lengths", species, gear, units, look.name, make=make)
    widgets.sentence(shown.caption)
    widgets.picture(shown, key="lengths", caption=False)
    answer = data.ask(ws, "sizes", species, gear=gear)
    table = pd.DataFrame(
        [
            {
                "Index": i.name,
                "%": round(i.value, 0),
                "Lower limit": round(i.low, 0),
                "Upper limit": round(i.high, 0),
            }
            for i in answer.indices
        ]
    )
    widgets.table(table, key="sizes", file_name=f"{species}-{gear}-sizes")
    widgets.notes(answer.notes)
    widgets.method_sentence(answer.method)


def habitat_view(ws: Workspace, state: State, species: str, gear: str) -> None:
    """Room with the right light and temperature."""
    fish_habitat.render(ws, state, species)


def _water(ws: Workspace, water: str) -> str:
    return ws.waters[water].name if water in ws.waters else water


VIEWS = {
    "clarity": clarity_view,
    "surveys": fish_surveys.surveys_view,
    "catch": catch_view,
    "sizes": sizes_view,
    "condition": fish_surveys.condition_view,
    "removal": fish_surveys.removal_view,
    "habitat": habitat_view,
}

PAGE = Page(
    title="Fish and clarity",
    path="fish",
    order=70,
    question="What does clarity mean for fish that hunt by sight?",
    render=render,
)
