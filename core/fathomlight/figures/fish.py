"""Fish: catch for each unit of effort, lengths, and catch beside the clarity of the water."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from fathomlight.figures.picture import Picture
from fathomlight.figures.shown import Units, axis_title, count_text, to_shown
from fathomlight.figures.theme import LIGHT, Look, canvas, say_nothing_to_draw
from fathomlight.model import Parameter

_SHAPES = ("circle", "square-open", "diamond", "cross-open", "pentagon", "star-open")
_OPEN_SHAPES = ("circle-open", "square-open", "diamond-open", "cross-open", "pentagon-open", "star-open")
TWO_TRENDS = "Clarity changes how easily fish are caught as well as how many there are."
"""Said beside every picture of catch and clarity."""


def catch_by_year(
    table: pd.DataFrame,
    *,
    effort_unit: str = "unit of effort",
    species: str = "fish",
    units: Units = "metric",
    look: Look = LIGHT,
    height: int = 330,
) -> Picture:
    """Draw the mean catch per effort of each year with its interval, for one gear.

    Parameters
    ----------
    table : pandas.DataFrame
        One row a year (and water): ``year``, ``mean`` [fish per unit of effort]; ``low``, ``high`` its
        interval, ``n`` surveys, ``water`` (name) when there are several.
    effort_unit : str
        E.g. ``net-night``.
    species : str
        Name in the words.
    units : {"metric", "us"}
        Not used.
    look : Look
        The colours.
    height : int
        [px].

    Returns
    -------
    Picture
        Gears are never pooled: one picture a gear.
    """
    figure = canvas(look, height=height)
    rows = table.dropna(subset=["mean"]).sort_values("year")
    if rows.empty:
        say_nothing_to_draw(figure, look, f"No survey with known effort for {species} with this gear.")
        return Picture(figure=figure, caption="No catch to draw.", method_line="", alt="Empty picture.")
    waters = sorted(rows["water"].unique()) if "water" in rows else [None]
    for i, water in enumerate(waters):
        some = rows if water is None else rows[rows["water"] == water]
        _catch_points(figure, some, str(water or ""), _SHAPES[i % len(_SHAPES)], 0.1 * i, effort_unit, look)
    figure.update_yaxes(
        title_text=f"{species.capitalize()} per {effort_unit}", rangemode="tozero", fixedrange=True
    )
    figure.update_xaxes(tickformat="d", fixedrange=True)
    figure.update_layout(showlegend=len(waters) > 1)
    n = int(rows["n"].sum()) if "n" in rows else len(rows)
    caption = (
        f"Between {rows['mean'].min():.1f} and {rows['mean'].max():.1f} {species} per {effort_unit} "
        f"from {int(rows['year'].min())} to {int(rows['year'].max())}."
    )
    return Picture(
        figure=figure,
        caption=caption,
        method_line=f"n = {count_text(n, 'survey')}, no catch counts as zero; line: 95 % interval.",
        alt=f"Catch per effort by year. {caption}",
    )


def _catch_points(
    figure: go.Figure, rows: pd.DataFrame, name: str, symbol: str, shift: float, effort_unit: str, look: Look
) -> None:
    mean = rows["mean"].to_numpy(float)
    bars = None
    if {"low", "high"} <= set(rows.columns):
        bars = {
            "type": "data",
            "symmetric": False,
            "array": rows["high"].to_numpy(float) - mean,
            "arrayminus": mean - rows["low"].to_numpy(float),
            "color": look.quiet,
            "thickness": 1.2,
            "width": 2,
        }
    figure.add_trace(
        go.Scatter(
            x=rows["year"].to_numpy(float) + shift,
            y=mean,
            mode="markers",
            name=name,
            error_y=bars,
            marker={"symbol": symbol, "size": 8, "color": look.ink},
            text=[str(y) for y in rows["year"]],
            hovertemplate=f"%{{text}} {name}<br><b>%{{y:.1f}}</b> per {effort_unit}<extra></extra>",
        )
    )


def lengths(
    lengths_mm: np.ndarray | pd.Series,
    *,
    limits_mm: Mapping[str, float] | None = None,
    species: str = "fish",
    units: Units = "metric",
    look: Look = LIGHT,
    height: int = 300,
) -> Picture:
    """Draw the lengths of the measured fish with the size limits of the trade.

    Parameters
    ----------
    lengths_mm : array_like of float
        Total lengths [mm]; NaN = not measured.
    limits_mm : mapping of str to float, optional
        Size limits by name (stock, quality, ...) [mm].
    species : str
        Name in the words.
    units : {"metric", "us"}
        Centimetres or inches.
    look : Look
        The colours.
    height : int
        [px].

    Returns
    -------
    Picture
        Histogram in steps of 2 cm or 1 inch.
    """
    figure = canvas(look, height=height)
    values = np.asarray(lengths_mm, dtype=float)
    values = values[np.isfinite(values)]
    if values.size == 0:
        say_nothing_to_draw(figure, look, f"No {species} was measured.")
        return Picture(figure=figure, caption="No length to draw.", method_line="", alt="Empty picture.")
    factor, unit, step = (1 / 25.4, "in", 1.0) if units == "us" else (0.1, "cm", 2.0)
    shown = values * factor
    start = float(np.floor(shown.min() / step) * step)
    figure.add_trace(
        go.Histogram(
            x=shown,
            xbins={"start": start, "end": float(shown.max()) + step, "size": step},
            marker={"color": look.pale_usual, "line": {"color": look.quiet, "width": 1}},
            hovertemplate=f"%{{x}} {unit}<br><b>%{{y}}</b> fish<extra></extra>",
            showlegend=False,
        )
    )
    for i, (name, limit) in enumerate((limits_mm or {}).items()):
        figure.add_vline(x=limit * factor, line={"color": look.quiet, "width": 1, "dash": "dot"})
        figure.add_annotation(
            x=limit * factor,
            y=1.0,
            yshift=14 * (i % 2),
            yref="paper",
            yanchor="bottom",
            text=name,
            showarrow=False,
            font={"size": 10, "color": look.quiet},
        )
    figure.update_xaxes(title_text=f"Total length [{unit}]", fixedrange=True)
    figure.update_layout(margin={"t": 34})
    figure.update_yaxes(title_text="Fish measured", fixedrange=True)
    caption = (
        f"{count_text(values.size, 'fish', 'fish')} measured, {shown.min():.0f} to {shown.max():.0f} {unit}, "
        f"half of them longer than {np.median(shown):.0f} {unit}."
    )
    return Picture(
        figure=figure,
        caption=caption,
        method_line=f"Bars of {step:g} {unit}; dotted: size limits of Gabelhouse (1984).",
        alt=f"Histogram of lengths. {caption}",
    )


def catch_and_clarity(
    matched: pd.DataFrame,
    parameter: Parameter,
    *,
    curve: pd.DataFrame | None = None,
    sentence: str = "",
    effort_unit: str = "unit of effort",
    species: str = "fish",
    units: Units = "metric",
    look: Look = LIGHT,
    height: int = 380,
) -> Picture:
    """Draw the catch per effort of every survey against the clarity of its water before it.

    Parameters
    ----------
    matched : pandas.DataFrame
        One row a survey: ``clarity`` (canonical unit of `parameter`), ``catch_per_effort``; ``water`` (name),
        ``year``.
    parameter : Parameter
        The clarity that was matched.
    curve : pandas.DataFrame, optional
        The fitted curve: ``clarity``, ``fit``, ``low``, ``high`` [fish per unit of effort].
    sentence : str
        The answer in words; made from the data when left out.
    effort_unit : str
        E.g. ``net-night``.
    species : str
        Name in the words.
    units : {"metric", "us"}
        What the reader wants.
    look : Look
        The colours.
    height : int
        [px].

    Returns
    -------
    Picture
        One shape a water.
    """
    figure = canvas(look, height=height)
    rows = matched.dropna(subset=["clarity", "catch_per_effort"])
    if rows.empty:
        say_nothing_to_draw(figure, look, "No survey has readings of its water close enough in time.")
        return Picture(
            figure=figure, caption="No survey could be matched.", method_line="", alt="Empty picture."
        )
    if curve is not None and len(curve):
        _curve(figure, curve, parameter, units, look)
    waters = sorted(rows["water"].astype(str).unique()) if "water" in rows else [""]
    for i, water in enumerate(waters):
        some = rows[rows["water"].astype(str) == water] if "water" in rows else rows
        figure.add_trace(
            go.Scatter(
                x=to_shown(some["clarity"].to_numpy(float), parameter.unit, units),
                y=some["catch_per_effort"].to_numpy(float),
                mode="markers",
                name=water,
                showlegend=bool(water),
                marker={"symbol": _OPEN_SHAPES[i % len(_OPEN_SHAPES)], "size": 8, "color": look.ink},
                text=some["year"].astype(str).tolist() if "year" in some else None,
                hovertemplate=f"{water} %{{text}}<br><b>%{{y:.1f}}</b> at %{{x:.1f}}<extra></extra>",
            )
        )
    figure.update_xaxes(title_text=axis_title(parameter, units), fixedrange=True)
    figure.update_yaxes(
        title_text=f"{species.capitalize()} per {effort_unit}", rangemode="tozero", fixedrange=True
    )
    caption = sentence or (
        f"{count_text(len(rows), 'survey')} with their clarity: {rows['catch_per_effort'].min():.1f} to "
        f"{rows['catch_per_effort'].max():.1f} {species} per {effort_unit}."
    )
    return Picture(
        figure=figure,
        caption=caption,
        method_line=f"n = {count_text(len(rows), 'survey')} in {count_text(len(waters), 'water')}. "
        + TWO_TRENDS,
        alt=f"Catch per effort against clarity, one mark a survey. {caption}",
    )


def _curve(figure: go.Figure, curve: pd.DataFrame, parameter: Parameter, units: Units, look: Look) -> None:
    rows = curve.sort_values("clarity")
    x = to_shown(rows["clarity"].to_numpy(float), parameter.unit, units)
    if {"low", "high"} <= set(rows.columns):
        for column, fill in (("low", None), ("high", "tonexty")):
            figure.add_trace(
                go.Scatter(
                    x=x,
                    y=rows[column],
                    mode="lines",
                    line={"width": 0},
                    fill=fill,
                    fillcolor=look.pale_usual,
                    name="95 % band",
                    showlegend=fill is not None,
                    hoverinfo="skip",
                )
            )
    figure.add_trace(
        go.Scatter(
            x=x,
            y=rows["fit"],
            mode="lines",
            line={"color": look.ink, "width": 2},
            name="model",
            hoverinfo="skip",
        )
    )
