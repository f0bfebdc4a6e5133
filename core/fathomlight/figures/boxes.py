"""Seasons beside each other: how the readings of a station spread through the year."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from fathomlight.figures.picture import Picture
from fathomlight.figures.series import points_down
from fathomlight.figures.shown import Units, axis_title, count_text, parameter_number, season_names, to_shown
from fathomlight.figures.theme import LIGHT, Look, canvas, say_nothing_to_draw
from fathomlight.model import Parameter


def season_boxes(
    cells: pd.DataFrame,
    parameter: Parameter,
    *,
    labels: Mapping[Any, str] | None = None,
    year: int | None = None,
    units: Units = "metric",
    look: Look = LIGHT,
    height: int = 340,
) -> Picture:
    """Draw one box a season over the years, with one year marked.

    Parameters
    ----------
    cells : pandas.DataFrame
        One row a season of a year: ``year``, ``season``, ``value`` in the canonical unit.
    parameter : Parameter
        What was measured.
    labels : mapping of season to str, optional
        Name of each season in their order; months by default.
    year : int, optional
        The year to mark; the last one by default.
    units : {"metric", "us"}
        What the reader wants.
    look : Look
        The colours.
    height : int
        [px].

    Returns
    -------
    Picture
        Boxes: quartiles and median of the season values of all other years; the marked year as diamonds.
    """
    figure = canvas(look, height=height)
    rows = cells.dropna(subset=["value"])
    if rows.empty:
        say_nothing_to_draw(figure, look, "No season has a value yet.")
        return Picture(figure=figure, caption="No season to draw.", method_line="", alt="Empty picture.")
    marked = int(rows["year"].max()) if year is None else year
    names = season_names(labels)
    present = set(rows["season"])
    order = [s for s in names if s in present] or sorted(present)
    past = rows[rows["year"] != marked]
    for season in order:
        _box(figure, past[past["season"] == season], names.get(season, str(season)), parameter, units, look)
    this = rows[rows["year"] == marked].sort_values("season")
    figure.add_trace(
        go.Scatter(
            x=[names.get(s, str(s)) for s in this["season"]],
            y=to_shown(this["value"].to_numpy(float), parameter.unit, units),
            mode="markers",
            name=str(marked),
            marker={
                "symbol": "diamond",
                "size": 10,
                "color": look.ink,
                "line": {"color": look.paper, "width": 1},
            },
            hovertext=[f"<b>{parameter_number(v, parameter, units)}</b> in {marked}" for v in this["value"]],
            hoverinfo="text",
        )
    )
    figure.update_xaxes(
        categoryorder="array", categoryarray=[names.get(s, str(s)) for s in order], fixedrange=True
    )
    figure.update_yaxes(title_text=axis_title(parameter, units), fixedrange=True, rangemode="tozero")
    if points_down(parameter):
        top = float(np.max(to_shown(rows["value"].to_numpy(float), parameter.unit, units)))
        figure.update_yaxes(range=[top * 1.08, 0])
    caption = _caption(past, names, parameter, units)
    method = (
        f"n = {count_text(len(rows), 'season value')} of {count_text(rows['year'].nunique(), 'year')}, "
        f"{int(rows['year'].min())} to {int(rows['year'].max())}; box: quartiles and median; whiskers: "
        f"within 1.5 box heights; diamond: {marked}."
    )
    return Picture(
        figure=figure,
        caption=caption,
        method_line=method,
        alt=f"{parameter.label} by season, one box each. {caption}",
    )


def _box(
    figure: go.Figure, rows: pd.DataFrame, name: str, parameter: Parameter, units: Units, look: Look
) -> None:
    if rows.empty:
        return
    figure.add_trace(
        go.Box(
            y=to_shown(rows["value"].to_numpy(float), parameter.unit, units),
            x=[name] * len(rows),
            name=name,
            showlegend=False,
            fillcolor=look.pale_usual,
            line={"color": look.quiet, "width": 1.2},
            marker={"color": look.quiet, "size": 4, "symbol": "circle-open"},
            boxpoints="outliers",
            hoverinfo="y",
        )
    )


def _caption(past: pd.DataFrame, names: Mapping[Any, str], parameter: Parameter, units: Units) -> str:
    enough = past.groupby("season")["value"].agg(["median", "count"])
    enough = enough[enough["count"] >= 3]
    if len(enough) < 2:
        return "Too few years to say which season is the clearest."
    medians = enough["median"].to_numpy(float)
    seasons = list(enough.index)
    high, low = seasons[int(medians.argmax())], seasons[int(medians.argmin())]
    high_text = parameter_number(float(medians.max()), parameter, units)
    low_text = parameter_number(float(medians.min()), parameter, units)
    if parameter.clearer is None:
        return (
            f"Highest in {names.get(high, str(high))} (median {high_text}), "
            f"lowest in {names.get(low, str(low))} (median {low_text})."
        )
    clear, murky = (high, low) if parameter.clearer == "higher" else (low, high)
    clear_text, murky_text = (high_text, low_text) if parameter.clearer == "higher" else (low_text, high_text)
    return (
        f"Usually clearest in {names.get(clear, str(clear))} (median {clear_text}) and murkiest in "
        f"{names.get(murky, str(murky))} (median {murky_text})."
    )
