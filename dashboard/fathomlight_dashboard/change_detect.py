"""What change would be detectable at a station, given its own noise, persistence and visits."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import streamlit as st

from fathomlight.errors import FathomlightError
from fathomlight.figures.shown import Units, count_text, shown_unit, to_shown
from fathomlight.model import Parameter, Station
from fathomlight_dashboard import data, widgets

if TYPE_CHECKING:
    from fathomlight.workspace import Workspace
    from fathomlight_dashboard.state import State

WITHIN = (5, 10, 15, 20, 30)
"""Years of sampling a reader may ask about."""


def render(ws: Workspace, state: State, station: Station, parameter: Parameter) -> None:
    """Draw the section; it is computed only when asked for, because it simulates many records."""
    st.header("What would be detectable here", anchor=False)
    left, right = st.columns(2, vertical_alignment="bottom")
    asked = state.toggle(
        "detect", "Work it out", place=right, help="Simulates 2,000 records; takes a few seconds."
    )
    years = int(
        state.choose("within", "Within how many years", [str(y) for y in WITHIN], default="10", place=left)
    )
    if not asked:
        st.caption(
            "The smallest change that sampling as it is done here would find, and the years a change as "
            "slow as this station's own would need."
        )
        return
    try:
        answer = data.ask(ws, "detectable", station.id, parameter.name, within_years=years)
    except FathomlightError as error:
        widgets.nothing_yet(f"This cannot be worked out here: {error.what}.", error.fix or "")
        return
    units = state.units(ws)
    widgets.sentence(detectable_sentence(answer, parameter, units))
    widgets.table(
        detectable_table(answer, parameter, units), key="detectable",
        file_name=f"{station.id}-{parameter.name}-detectable", download=False,
    )  # fmt: skip
    widgets.notes(answer.notes)
    widgets.method_sentence(answer.method)


def _decade(slope: float, parameter: Parameter, units: Units) -> str:
    value = 10 * abs(float(to_shown(slope, parameter.unit, units, difference=True)))
    return f"{value:.2f} {shown_unit(parameter.unit, units)} a decade"


def detectable_sentence(answer: Any, parameter: Parameter, units: Units) -> str:
    """Say what would be found, in one sentence.

    Parameters
    ----------
    answer : DetectableResult
        Of ``detectable``.
    parameter : Parameter
        What is measured.
    units : {"metric", "us"}
        What the reader wants.

    Returns
    -------
    str
        Smallest slope within the years, and the years the station's own slope needs.
    """
    chance = f"{100 * answer.power:g} times of 100"
    if np.isfinite(answer.slope):
        text = (
            f"With {count_text(answer.visits_per_year, 'visit')} a year, {count_text(answer.within_years, 'year')} "
            f"of sampling would find a change of {_decade(answer.slope, parameter, units)} or more {chance}"
        )
    else:
        text = (
            f"With {count_text(answer.visits_per_year, 'visit')} a year, no change can be found within "
            f"{count_text(answer.within_years, 'year')}"
        )
    if answer.slope_given and np.isfinite(answer.slope_given):
        own = _decade(answer.slope_given, parameter, units)
        needs = (
            f"needs {count_text(answer.years_needed, 'year')}"
            if answer.years_needed is not None
            else "needs longer than anybody can plan for"
        )
        text += f"; a change as slow as this station's own, {own}, {needs}"
    return f"{text}."


def detectable_table(answer: Any, parameter: Parameter, units: Units) -> pd.DataFrame:
    """Return the numbers behind it as words and texts."""
    unit = shown_unit(parameter.unit, units)
    noise = float(to_shown(answer.noise_sd, parameter.unit, units, difference=True))
    years = "longer than was tried" if answer.years_needed is None else str(answer.years_needed)
    rows = [
        (
            f"Smallest change found in {answer.within_years} years",
            _decade(answer.slope, parameter, units),
        ),
        ("By the closed formula", _decade(answer.slope_normal, parameter, units)),
        ("Years for its own change", years if np.isfinite(answer.slope_given) else "no change"),
        ("Chance of finding it", f"{100 * answer.power:g} %"),
        ("False alarms without change", f"{100 * answer.false_alarms:.1f} %"),
        ("Noise (standard deviation)", f"{noise:.2f} {unit}"),
        ("Persistence (correlation)", f"{answer.persistence:.2f}"),
        ("Visits a year", f"{answer.visits_per_year}"),
    ]
    return pd.DataFrame(rows, columns=["What", "Value"])
