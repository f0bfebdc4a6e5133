"""A water's own relation between two measures of clarity, on logarithmic axes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from fathomlight.figures.picture import Picture
from fathomlight.figures.shown import Units, axis_title, count_text, to_shown
from fathomlight.figures.theme import LIGHT, Look, canvas, say_nothing_to_draw
from fathomlight.model import Parameter

if TYPE_CHECKING:
    from fathomlight.indices.clarity import ClarityRelation


def clarity_relation(
    pairs: pd.DataFrame,
    relation: ClarityRelation,
    x: Parameter,
    y: Parameter,
    *,
    sentence: str = "",
    units: Units = "metric",
    look: Look = LIGHT,
    height: int = 380,
) -> Picture:
    """Draw the pairs, the fitted line and the band that holds one new reading.

    Parameters
    ----------
    pairs : pandas.DataFrame
        One row a day with both: ``x``, ``y`` (canonical units), ``used`` (False: left out for a qualifier).
    relation : ClarityRelation
        The line, or its refusal.
    x, y : Parameter
        What is known, and what is estimated.
    sentence : str
        Said under the picture.
    units : {"metric", "us"}
        What the reader wants.
    look : Look
        The colours.
    height : int
        [px].

    Returns
    -------
    Picture
        Filled: pairs used. Open: left out. No line where the relation is refused.
    """
    figure = canvas(look, height=height)
    if pairs.empty:
        say_nothing_to_draw(figure, look, "No day has both readings.")
        return Picture(figure=figure, caption=sentence, method_line="", alt="Empty picture.")
    if relation.usable:
        _band(figure, relation, x, y, units, look)
    used = pairs["used"].to_numpy(bool)
    for some, name, symbol in (
        (used, "both read on one day", "circle"),
        (~used, "left out (a limit)", "circle-open"),
    ):
        if some.any():
            figure.add_trace(
                go.Scatter(
                    x=to_shown(pairs["x"].to_numpy(float)[some], x.unit, units),
                    y=to_shown(pairs["y"].to_numpy(float)[some], y.unit, units),
                    mode="markers",
                    name=name,
                    marker={"symbol": symbol, "size": 5, "color": look.usual},
                    hovertemplate="%{x:.2f}, <b>%{y:.2f}</b><extra></extra>",
                )
            )
    for axis, parameter in ((figure.update_xaxes, x), (figure.update_yaxes, y)):
        axis(type="log", title_text=axis_title(parameter, units), dtick="D2", fixedrange=True)
    told = (
        f"Least squares on logarithms; the band holds {relation.confidence:.0%} of new readings, for this "
        "water and this range only; "
        if relation.usable
        else "No line is drawn; "
    )
    return Picture(
        figure=figure,
        caption=sentence,
        method_line=f"{told}n = {count_text(relation.n, 'day')} with both, {relation.left_out:,} left out.",
        alt=f"{y.label} against {x.label}, logarithmic axes. {sentence}",
    )


def _band(
    figure: go.Figure, relation: ClarityRelation, x: Parameter, y: Parameter, units: Units, look: Look
) -> None:
    at = np.geomspace(relation.x_low, relation.x_high, 40)
    told = relation.predict(at)
    shown = to_shown(at, x.unit, units)
    for values, fill in ((told.low, None), (told.high, "tonexty")):
        figure.add_trace(
            go.Scatter(
                x=shown,
                y=to_shown(np.asarray(values, dtype=float), y.unit, units),
                mode="lines",
                line={"width": 0.8, "color": look.quiet, "dash": "dot"},
                fill=fill,
                fillcolor=look.pale_usual,
                hoverinfo="skip",
                name="holds one new reading",
                showlegend=fill is not None,
            )
        )
    figure.add_trace(
        go.Scatter(
            x=shown,
            y=to_shown(np.asarray(told.median, dtype=float), y.unit, units),
            mode="lines",
            name="fitted line (median)",
            line={"width": 2.5, "color": look.ink},
            hoverinfo="skip",
        )
    )
