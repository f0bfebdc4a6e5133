"""Readings along time, drawn so that flags and qualifiers can be told apart without colour."""

from __future__ import annotations

from typing import Any, Literal

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from fathomlight.figures.decimation import MAX_POINTS, decimate
from fathomlight.figures.picture import Picture
from fathomlight.figures.shown import (
    Units,
    axis_title,
    count_text,
    date_text,
    parameter_number,
    to_shown,
    window_text,
)
from fathomlight.figures.theme import LIGHT, Look, canvas, say_nothing_to_draw
from fathomlight.model import ABOVE, BELOW, EQUAL, Flag, Parameter

HANGING = 400
"""Up to this number of readings a depth is drawn hanging on a thread from the surface."""


def points_down(parameter: Parameter) -> bool:
    """Return whether the axis of a parameter points down: depths of a disc do, as the trade draws them.

    Examples
    --------
    >>> points_down(Parameter("secchi", "Disc depth", "m")), points_down(Parameter("depth", "Depth", "cm"))
    (True, False)
    """
    return (parameter.unit == "m" and parameter.clearer == "higher") or parameter.name == "secchi"


def readings_series(
    readings: pd.DataFrame,
    parameter: Parameter,
    *,
    units: Units = "metric",
    look: Look = LIGHT,
    show_failed: bool = False,
    max_points: int = MAX_POINTS,
    dragging: Literal["zoom", "select"] | bool = "zoom",
    height: int = 360,
) -> Picture:
    """Draw readings of one station and parameter along time.

    Filled mark: used (pass or not evaluated). Open mark: suspect. Small cross: fail, off by default. An arrow
    from the mark: the true value is greater (``>``, away from zero) or smaller (``<``, toward zero).

    Parameters
    ----------
    readings : pandas.DataFrame
        Columns of ``READING_COLUMNS``; one station, one parameter.
    parameter : Parameter
        What was measured.
    units : {"metric", "us"}
        What the reader wants.
    look : Look
        The colours.
    show_failed : bool
        Draw failed readings too.
    max_points : int
        More used readings than this are drawn as a line of the extremes of every bin.
    dragging : {"zoom", "select"} or False
        What dragging along the picture does: zoom in the browser, mark a period for the program that shows the
        picture, or nothing (so that a finger scrolls the page).
    height : int
        [px].

    Returns
    -------
    Picture
        Time runs to the right; dragging picks a period.
    """
    figure = canvas(look, height=height)
    rows = readings.dropna(subset=["value"]).sort_values("time", kind="stable")
    if rows.empty:
        say_nothing_to_draw(figure, look, f"No reading of {parameter.label.lower()} here yet.")
        return Picture(figure=figure, caption="No reading to draw.", method_line="", alt="Empty picture.")
    when, clock = _time_axis(rows)
    values = np.asarray(to_shown(rows["value"].to_numpy(float), parameter.unit, units))
    flag = rows["flag"].to_numpy(int)
    qualifier = rows["qualifier"].to_numpy(str)
    used = np.isin(flag, (Flag.PASS, Flag.NOT_EVALUATED))
    dense = int(used.sum()) > max_points
    hover = None if dense else _hover(rows, parameter, units)
    down = points_down(parameter)
    if dense:
        _line(figure, when[used], values[used], max_points, look)
    else:
        if down and used.sum() <= HANGING:
            _threads(figure, when[used], values[used], look)
        _marks(figure, when, values, used & (qualifier == EQUAL), hover, "used", "circle", look)
        limited = used & (qualifier != EQUAL)
        _marks(figure, when, values, limited, hover, "used, a limit", "circle", look, legend=False)
        draw_arrows(figure, when, values, qualifier, limited, down, look)
    suspect = flag == Flag.SUSPECT
    _marks(
        figure, when, values, suspect, _hover(rows, parameter, units, suspect), "suspect", "circle-open", look
    )
    failed = flag == Flag.FAIL
    if show_failed:
        _marks(figure, when, values, failed, _hover(rows, parameter, units, failed), "fail", "x-thin", look)
    shown = used | suspect | (failed & show_failed)
    _axes(figure, parameter, units, down, values[shown], clock)
    figure.update_layout(dragmode=dragging, selectdirection="h")
    return _with_words(figure, rows, parameter, units, used, suspect, failed, qualifier, dense, show_failed)


def _time_axis(rows: pd.DataFrame) -> tuple[Any, str]:
    """Visits are drawn on their local date, loggers on their instant."""
    days = rows["local_date"].nunique()
    if len(rows) <= 1.5 * max(days, 1):
        return rows["local_date"].to_numpy("datetime64[us]"), ""
    return rows["time"].dt.tz_convert("UTC").dt.tz_localize(None).to_numpy("datetime64[us]"), "time (UTC)"


def _hover(rows: pd.DataFrame, parameter: Parameter, units: Units, some: Any = None) -> Any:
    """Return one text a row; only where `some` holds, when given."""
    out = np.full(len(rows), "", dtype=object)
    where = np.flatnonzero(some) if some is not None else np.arange(len(rows))
    names = {1: "pass", 2: "not evaluated", 3: "suspect", 4: "fail", 9: "missing"}
    dates, values = rows["local_date"].to_numpy(), rows["value"].to_numpy(float)
    qualifiers, flags = rows["qualifier"].to_numpy(str), rows["flag"].to_numpy(int)
    for i in where:
        number = parameter_number(values[i], parameter, units, qualifiers[i])
        out[i] = f"{date_text(dates[i])}<br><b>{number}</b><br>flag: {names.get(flags[i], flags[i])}"
    return out


def _marks(
    figure: go.Figure,
    when: Any,
    values: Any,
    some: Any,
    hover: Any,
    name: str,
    symbol: str,
    look: Look,
    *,
    legend: bool = True,
) -> None:
    if not some.any():
        return
    thin = symbol == "x-thin"
    figure.add_trace(
        go.Scatter(
            x=when[some],
            y=values[some],
            mode="markers",
            name=name,
            showlegend=legend,
            hovertext=hover[some],
            hoverinfo="text",
            marker={
                "symbol": symbol,
                "size": 6 if thin else 7,
                "color": look.ink,
                "line": {"width": 1.5 if symbol != "circle" else 0, "color": look.ink},
            },
        )
    )


def _line(figure: go.Figure, when: Any, values: Any, max_points: int, look: Look) -> None:
    few_when, few_values = decimate(when, values, max_points=max_points)
    figure.add_trace(
        go.Scatter(
            x=few_when,
            y=few_values,
            mode="lines",
            name="used (smallest and largest of each bin)",
            line={"color": look.ink, "width": 1},
            connectgaps=False,
            hovertemplate="%{x|%-d %b %Y %H:%M}<br><b>%{y:.3g}</b><extra></extra>",
        )
    )


def _threads(figure: go.Figure, when: Any, values: Any, look: Look) -> None:
    """Hang every reading on a thread from the surface, as the disc hangs on its line."""
    x = np.repeat(when, 3)
    y = np.column_stack([np.zeros_like(values), values, np.full_like(values, np.nan)]).ravel()
    figure.add_trace(
        go.Scatter(
            x=x, y=y, mode="lines", line={"color": look.grid, "width": 1}, hoverinfo="skip", showlegend=False
        )
    )


def draw_arrows(
    figure: go.Figure, when: Any, values: Any, qualifier: Any, limited: Any, down: bool, look: Look
) -> None:
    """Draw an arrow from each limit toward where the true value lies.

    Parameters
    ----------
    figure : plotly.graph_objects.Figure
        Drawn on.
    when, values, qualifier : ndarray, shape (n,)
        Of all marks.
    limited : ndarray of bool, shape (n,)
        Marks that may carry an arrow.
    down : bool
        True when the value axis points down.
    look : Look
        The colours.
    """
    length = 0.07 * float(np.nanmax(np.abs(values)) or 1.0)
    for sign, direction in ((ABOVE, 1.0), (BELOW, -1.0)):
        some = limited & (qualifier == sign)
        if not some.any():
            continue
        tips = values[some] + direction * np.minimum(length, np.where(sign == BELOW, values[some], length))
        up_on_screen = (direction > 0) != down
        x = np.repeat(when[some], 3)
        y = np.column_stack([values[some], tips, np.full_like(tips, np.nan)]).ravel()
        figure.add_trace(
            go.Scatter(
                x=x,
                y=y,
                mode="lines+markers",
                line={"color": look.ink, "width": 1.5},
                marker={
                    "symbol": "arrow",
                    "angle": 0 if up_on_screen else 180,
                    "size": np.tile([0, 9, 0], int(some.sum())),
                    "color": look.ink,
                },
                hoverinfo="skip",
                name="greater than" if sign == ABOVE else "less than",
            )
        )


def _axes(figure: go.Figure, parameter: Parameter, units: Units, down: bool, values: Any, clock: str) -> None:
    top = float(np.nanmax(values)) if len(values) else 1.0
    low = float(np.nanmin(values)) if len(values) else 0.0
    room = 0.12 * (top - min(low, 0.0) or 1.0)
    if down:
        axis_range = [top + room, 0.0]
        figure.add_hline(y=0, line={"color": figure.layout.template.layout.yaxis.linecolor, "width": 2})
    elif parameter.positive:
        axis_range = [0.0, top + room]
    else:
        axis_range = [low - room, top + room]
    figure.update_yaxes(title_text=axis_title(parameter, units), range=axis_range, fixedrange=True)
    figure.update_xaxes(title_text=clock, hoverformat="%-d %b %Y")


def _with_words(
    figure: go.Figure,
    rows: pd.DataFrame,
    parameter: Parameter,
    units: Units,
    used: Any,
    suspect: Any,
    failed: Any,
    qualifier: Any,
    dense: bool,
    show_failed: bool,
) -> Picture:
    window = window_text(rows["local_date"].iloc[0], rows["local_date"].iloc[-1])
    n_used = int(used.sum())
    if n_used:
        middle = parameter_number(float(np.nanmedian(rows["value"].to_numpy(float)[used])), parameter, units)
        caption = f"{count_text(n_used, 'used reading')} from {window}; half of them below {middle}."
    else:
        caption = f"No reading from {window} may be used: all are suspect or fail."
    parts = [f"n = {n_used:,} used"]
    limits = int((used & (qualifier != EQUAL)).sum())
    if limits:
        parts.append(f"{limits:,} of them limits (arrow: the true value lies that way)")
    if suspect.any():
        parts.append(f"{int(suspect.sum()):,} suspect (open)")
    if failed.any():
        parts.append(f"{int(failed.sum()):,} fail ({'small cross' if show_failed else 'not drawn'})")
    if dense:
        parts.append("drawn as the smallest and largest of each bin, gaps kept")
    return Picture(
        figure=figure,
        caption=caption,
        method_line="; ".join(parts) + ".",
        alt=f"{parameter.label} along time. {caption}",
    )
