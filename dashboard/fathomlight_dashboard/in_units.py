"""Sentences that carry lengths and areas, composed from their numbers in the units the reader chose."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from fathomlight.figures.shown import Units, date_text, number, parameter_number, slope_text
from fathomlight.model import Parameter

OF_PARAMETER = frozenset({"limit", "percentile"})
"""Kinds of rules whose farthest value is one of the parameter itself."""


def area(hectares: float, units: Units) -> str:
    """Return an area as the reader wants it.

    Examples
    --------
    >>> area(11.42, "metric"), area(11.42, "us")
    ('11.4 ha', '28.2 acres')
    """
    text = number(float(hectares), "ha", 1, units)
    return f"{text}s" if text.endswith("acre") else text


def habitat_sentence(water: str, species: str, years: pd.DataFrame, units: Units) -> str:
    """Say how much of a water suited a species in the newest year with enough readings.

    Parameters
    ----------
    water, species : str
        Names as they are shown.
    years : pandas.DataFrame
        Of a ``HabitatResult``: ``year``, ``covered``, ``area_m2``, ``share``, ``optical_area_m2``,
        ``thermal_area_m2``, ``noon_shallow_m``, ``noon_deep_m``.
    units : {"metric", "us"}
        What the reader wants.

    Returns
    -------
    str
        One sentence; by light or warmth alone, or as depths, when no more can be told.
    """
    good = years[years["covered"].astype(bool)]
    who = species.lower()
    if good.empty:
        return f"{water}: there are too few readings to say how much of it suits {who}."
    row = good.iloc[-1]
    start = f"{water}: in {int(row['year'])}, {who}"
    for column, what in (
        ("area_m2", "of bed with the light and warmth they prefer"),
        ("optical_area_m2", "of bed with the light they prefer"),
        ("thermal_area_m2", "of bed with the warmth they prefer"),
    ):
        if np.isfinite(row[column]):
            share = f", {100 * row['share']:.1f} % of the whole" if column == "area_m2" else ""
            return f"{start} had on average {area(row[column] / 1e4, units)} {what}{share}."
    if np.isfinite(row["noon_deep_m"]):
        low, high = (number(float(row[c]), "m", 1, units) for c in ("noon_shallow_m", "noon_deep_m"))
        return f"{start} found the light they prefer between {low} and {high} at noon."
    return f"{water}: there are too few readings to say how much of it suits {who}."


def what_if_sentence(species: str, now_m2: float, plus_m2: float, units: Units) -> str:
    """Say what another metre of clarity would do.

    Parameters
    ----------
    species : str
        Name as it is shown.
    now_m2, plus_m2 : float
        Area now, and with one metre more of disc depth [m2].
    units : {"metric", "us"}
        What the reader wants.

    Examples
    --------
    >>> what_if_sentence("Walleye", 86.9e4, 42.0e4, "metric")
    'With 1.0 m more of clarity walleye would have about 52 % less habitat (86.9 ha now, 42.0 ha then).'
    """
    who, more = species.lower(), number(1.0, "m", 1, units)
    if not now_m2 > 0:
        return f"As clear as the water is now, no bed has the light {who} prefer."
    change = plus_m2 / now_m2 - 1
    now, then = area(now_m2 / 1e4, units), area(plus_m2 / 1e4, units)
    if abs(change) < 0.01:
        return f"With {more} more of clarity the habitat of {who} would stay about as it is ({now})."
    word = "more" if change > 0 else "less"
    return (
        f"With {more} more of clarity {who} would have about {100 * abs(change):.0f} % {word} habitat "
        f"({now} now, {then} then)."
    )


def optimum_sentence(effect: Any, units: Units) -> str:
    """Say at which clarity the catch was highest; empty when no top is given.

    Parameters
    ----------
    effect : ClarityEffect
        Of ``clarity_effect``.
    units : {"metric", "us"}
        What the reader wants.
    """
    top = effect.optimum
    if effect.shape != "hump" or top is None:
        return ""
    best, low, high = (_clarity(v, effect.unit, units) for v in (top.clarity, top.low, top.high))
    return (
        f"The catch was highest near {best} ({100 * effect.confidence:g} % interval {low} to {high}); the effect of a "
        "halving is then not the same at every clarity."
    )


def _clarity(value: float, unit: str, units: Units) -> str:
    return number(float(value), unit, 1, units) if np.isfinite(value) else "without limit"


def effect_sentences(effect: Any, units: Units) -> list[str]:
    """Return the sentences of an effect, the one that carries a depth in the reader's units."""
    own = optimum_sentence(effect, units)
    return [own if own and s.startswith("The catch was highest near") else s for s in effect.sentences]


def peak_sentence(row: dict[Any, Any], parameter: Parameter, units: Units) -> str:
    """Say the farthest value of an episode in the reader's units; empty where it is no value of the parameter."""
    peak = row.get("peak")
    if peak is None or not np.isfinite(float(peak)):
        return ""
    if row.get("kind") == "trend":
        return f"By {slope_text(float(peak), np.nan, np.nan, parameter.unit, units)}."
    if row.get("kind") not in OF_PARAMETER:
        return ""
    when = f" on {date_text(row['peak_time'])}" if pd.notna(row.get("peak_time")) else ""
    return f"At worst {parameter_number(float(peak), parameter, units)}{when}."
