"""Light and layers of a water: how deep light reaches, how long warm water lay on cold, how firmly."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from fathomlight.figures.picture import Picture
from fathomlight.figures.shown import Units, count_text, date_text, number, shown_unit, to_shown, window_text
from fathomlight.figures.theme import LIGHT, Look, canvas, say_nothing_to_draw

NOTHING = "Empty picture."


def light_depths(
    table: pd.DataFrame, *, k: float, units: Units = "metric", look: Look = LIGHT, height: int = 300
) -> Picture:
    """Draw the depth that 1 % of the surface light reaches, hung from the surface line.

    Parameters
    ----------
    table : pandas.DataFrame
        One row a disc reading: ``local_date``, ``euphotic_m`` [m], ``qualifier`` of the disc reading.
    k : float
        Of Kd = k / disc depth, [1].
    units : {"metric", "us"}
        What the reader wants.
    look : Look
        The colours.
    height : int
        [px].

    Returns
    -------
    Picture
        Filled: worked out from a disc depth. Open triangle: at least that deep (disc seen on the bottom).
    """
    figure = canvas(look, height=height)
    rows = table.dropna(subset=["euphotic_m"]).sort_values("local_date")
    if rows.empty:
        say_nothing_to_draw(figure, look, "No disc reading from which the light could be worked out.")
        return Picture(figure=figure, caption="No light depth to draw.", method_line="", alt=NOTHING)
    depth = np.asarray(to_shown(rows["euphotic_m"].to_numpy(float), "m", units))
    bound = (rows["qualifier"] == ">").to_numpy()
    unit = shown_unit("m", units)
    for some, name, symbol in (
        (~bound, "1 % light", "circle"),
        (bound, "at least so deep", "triangle-down-open"),
    ):
        if some.any():
            figure.add_trace(
                go.Scatter(
                    x=rows["local_date"].to_numpy("datetime64[us]")[some],
                    y=depth[some],
                    mode="markers",
                    name=name,
                    marker={"symbol": symbol, "size": 5 if symbol == "circle" else 7, "color": look.ink},
                    hovertemplate="%{x|%-d %b %Y}<br><b>%{y:.1f} " + unit + "</b><extra></extra>",
                )
            )
    figure.update_yaxes(title_text=f"Depth [{unit}]", range=[1.05 * float(depth.max()), 0], fixedrange=True)
    figure.update_xaxes(hoverformat="%-d %b %Y", fixedrange=True)
    last = rows.iloc[-1]
    sign = "at least " if last["qualifier"] == ">" else "about "
    caption = (
        f"On {date_text(last['local_date'])} one hundredth of the light at the surface reached {sign}"
        f"{number(float(last['euphotic_m']), 'm', 1, units)}."
    )
    return Picture(
        figure=figure,
        caption=caption,
        method_line=f"Worked out from the disc, Kd = {k:g} / disc depth; n = {count_text(len(rows), 'reading')}, "
        f"{window_text(rows['local_date'].iloc[0], last['local_date'])}. Coloured or silty water needs a k of its own.",
        alt=f"Depth of 1 % light along time. {caption}",
    )


def days_layered(table: pd.DataFrame, *, look: Look = LIGHT, height: int = 240) -> Picture:
    """Draw the days of each year on which warm water lay on cold.

    Parameters
    ----------
    table : pandas.DataFrame
        ``year``, ``days``, ``open_start``, ``open_end`` (True: the count is a lower bound), ``profiles``.
    look : Look
        The colours.
    height : int
        [px].

    Returns
    -------
    Picture
        Filled bar: counted whole. Outlined bar: at least so many days.
    """
    figure = canvas(look, height=height)
    if table.empty:
        say_nothing_to_draw(figure, look, "No profile tells when the water was layered.")
        return Picture(figure=figure, caption="No layers to draw.", method_line="", alt=NOTHING)
    bound = (table["open_start"].astype(bool) | table["open_end"].astype(bool)).to_numpy()
    for some, name, fill in ((~bound, "whole season seen", look.usual), (bound, "at least", look.pale_usual)):
        if some.any():
            figure.add_trace(
                go.Bar(
                    x=table["year"].to_numpy(int)[some],
                    y=table["days"].to_numpy(float)[some],
                    width=0.8,
                    name=name,
                    marker={"color": fill, "line": {"width": 1.2, "color": look.usual}},
                    hovertemplate="%{x}: %{y:.0f} days<extra>" + name + "</extra>",
                )
            )
    figure.update_layout(barmode="overlay", showlegend=True)
    figure.update_xaxes(tickformat="d", fixedrange=True)
    figure.update_yaxes(title_text="Days", rangemode="tozero", fixedrange=True)
    layered = table[table["days"] > 0]
    least = "at least " if bound.any() else ""
    caption = (
        f"Warm water lay on cold for {least}{int(layered['days'].min())} to {int(layered['days'].max())} days a year."
        if len(layered)
        else "In no year did the visits find warm water on cold."
    )
    return Picture(
        figure=figure,
        caption=caption,
        method_line=f"{count_text(len(table), 'year')}, {count_text(int(table['profiles'].sum()), 'profile')}; "
        "outlined: the record begins or ends while the water is layered, so the count is a lower bound.",
        alt=f"Days of layering, one bar a year. {caption}",
    )


def stability(
    times: Any, values: Any, *, units: Units = "metric", look: Look = LIGHT, height: int = 200
) -> Picture:
    """Draw the work it would take to mix the water, visit by visit.

    Parameters
    ----------
    times : array_like of datetime64, shape (n,)
        Visits.
    values : array_like of float, shape (n,)
        Schmidt stability [J/m2]; NaN where it could not be told.
    units : {"metric", "us"}
        Not used: the trade gives J/m2.
    look : Look
        The colours.
    height : int
        [px].

    Returns
    -------
    Picture
        A line with a mark at every visit.
    """
    figure = canvas(look, height=height)
    found = np.asarray(values, dtype=float)
    when = np.asarray(times)[np.isfinite(found)]
    found = found[np.isfinite(found)]
    if not len(found):
        say_nothing_to_draw(figure, look, "Stability needs profiles and the areas of the water by depth.")
        return Picture(figure=figure, caption="No stability to draw.", method_line="", alt=NOTHING)
    figure.add_trace(
        go.Scatter(
            x=when.astype("datetime64[us]"),
            y=found,
            mode="lines+markers",
            line={"color": look.ink, "width": 1.5},
            marker={"size": 6, "color": look.ink},
            hovertemplate="%{x|%-d %b %Y}<br><b>%{y:,.0f} J/m²</b><extra></extra>",
        )
    )
    figure.update_xaxes(hoverformat="%-d %b %Y", fixedrange=True)
    figure.update_yaxes(title_text="J/m²", rangemode="tozero", fixedrange=True)
    top = int(np.argmax(found))
    caption = (
        f"The layers held firmest on {date_text(when[top])}: mixing the water would have taken {found[top]:,.0f} J for "
        "every square metre."
    )
    return Picture(
        figure=figure,
        caption=caption,
        method_line=f"Schmidt stability (Idso 1973) from temperature and the areas by depth; n = "
        f"{count_text(len(found), 'visit')}.",
        alt=f"Schmidt stability along time. {caption}",
    )
