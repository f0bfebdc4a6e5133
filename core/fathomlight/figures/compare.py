"""Several stations, or years, on one axis; told apart by shape and dash, since colour has its meaning."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from fathomlight.figures.decimation import MAX_POINTS, decimate
from fathomlight.figures.picture import Picture
from fathomlight.figures.series import points_down
from fathomlight.figures.shown import Units, axis_title, count_text, parameter_number, to_shown
from fathomlight.figures.theme import LIGHT, Look, canvas, say_nothing_to_draw
from fathomlight.model import Parameter

STYLES: tuple[tuple[str, str], ...] = (
    ("circle", "solid"),
    ("square-open", "dash"),
    ("diamond", "dot"),
    ("cross-open", "dashdot"),
    ("pentagon", "longdash"),
    ("star-open", "longdashdot"),
)
"""Shape and dash of each line; as many can be told apart."""


def stations_beside(
    series: Mapping[str, pd.DataFrame],
    parameter: Parameter,
    *,
    units: Units = "metric",
    look: Look = LIGHT,
    dragging: Literal["zoom", "select"] | bool = "zoom",
    height: int = 380,
) -> Picture:
    """Draw the used readings of several stations on one axis.

    Parameters
    ----------
    series : mapping of str to pandas.DataFrame
        By name of the station: used readings, ``time``, ``value`` (canonical unit). At most six.
    parameter : Parameter
        What was measured; the same for all.
    units : {"metric", "us"}
        What the reader wants.
    look : Look
        The colours.
    dragging : {"zoom", "select"} or False
        What dragging along the picture does, as in :func:`~fathomlight.figures.series.readings_series`.
    height : int
        [px].

    Returns
    -------
    Picture
        One shape and dash a station; dragging picks a period.
    """
    figure = canvas(look, height=height)
    chosen = {n: t.dropna(subset=["value"]) for n, t in list(series.items())[: len(STYLES)]}
    chosen = {n: t for n, t in chosen.items() if len(t)}
    if not chosen:
        say_nothing_to_draw(
            figure, look, f"None of these stations has a used reading of {parameter.label.lower()}."
        )
        return Picture(figure=figure, caption="Nothing to compare.", method_line="", alt="Empty picture.")
    top = 0.0
    for (name, rows), (symbol, dash) in zip(chosen.items(), STYLES, strict=False):
        ordered = rows.sort_values("time")
        when = (
            pd.DatetimeIndex(ordered["time"]).tz_convert("UTC").tz_localize(None).to_numpy("datetime64[us]")
        )
        values = np.asarray(to_shown(ordered["value"].to_numpy(float), parameter.unit, units))
        top = max(top, float(np.nanmax(values)))
        when, values = decimate(when, values, max_points=MAX_POINTS // len(chosen), gap_factor=30.0)
        figure.add_trace(
            go.Scatter(
                x=when,
                y=values,
                mode="lines+markers" if len(rows) <= 1000 else "lines",
                name=name,
                line={"color": look.ink, "width": 1, "dash": dash},
                marker={"symbol": symbol, "size": 6, "color": look.ink},
                connectgaps=False,
                hovertemplate=f"{name}<br>%{{x|%-d %b %Y}}<br><b>%{{y:.2f}}</b><extra></extra>",
            )
        )
    down = points_down(parameter)
    figure.update_yaxes(
        title_text=axis_title(parameter, units),
        range=[top * 1.08, 0] if down else [0, top * 1.08],
        fixedrange=True,
    )
    figure.update_xaxes(hoverformat="%-d %b %Y")
    figure.update_layout(dragmode=dragging, selectdirection="h")
    medians = {n: float(t["value"].median()) for n, t in chosen.items()}
    told = ", ".join(f"{n} {parameter_number(v, parameter, units)}" for n, v in medians.items())
    n = sum(len(t) for t in chosen.values())
    return Picture(
        figure=figure,
        caption=f"Median of all used readings: {told}.",
        method_line=f"n = {count_text(n, 'used reading')}; different years and seasons may have been read "
        "at each station: compare seasons before drawing a conclusion.",
        alt=f"{parameter.label} of {count_text(len(chosen), 'station')} along time. Medians: {told}.",
    )
