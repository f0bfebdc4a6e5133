"""Change: the readings with their Sen line, season by season, and the whole network at once."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from fathomlight.figures.picture import Picture
from fathomlight.figures.series import draw_arrows, points_down
from fathomlight.figures.shown import (
    Units,
    axis_title,
    count_text,
    date_text,
    p_text,
    season_names,
    shown_unit,
    slope_text,
    to_shown,
)
from fathomlight.figures.theme import LIGHT, Look, canvas, say_nothing_to_draw, template, wrap
from fathomlight.model import EQUAL, Parameter, TrendResult
from fathomlight.trends.words import direction_words


def decimal_year(when: Any) -> np.ndarray:
    """Return times as decimal years; 2 July 12:00 of a common year is half way.

    Examples
    --------
    >>> decimal_year(pd.Series(pd.to_datetime(["2025-01-01 00:00", "2025-07-02 12:00"])))
    array([2025. , 2025.5])
    """
    times = pd.DatetimeIndex(pd.to_datetime(when))
    days = np.where(times.is_leap_year, 366, 365)
    seconds = times.hour * 3600 + times.minute * 60 + times.second
    return np.asarray(times.year + (times.day_of_year - 1 + seconds / 86400.0) / days, dtype=float)


def clarity_of(slope: float, parameter: Parameter) -> str:
    """Return what a slope means for clarity: ``clearer``, ``murkier`` or ``usual`` (no meaning, or none).

    Examples
    --------
    >>> clarity_of(-0.1, Parameter("secchi", "Disc depth", "m", clearer="higher"))
    'murkier'
    """
    if parameter.clearer is None or not np.isfinite(slope) or slope == 0:
        return "usual"
    return "clearer" if (slope > 0) == (parameter.clearer == "higher") else "murkier"


def trend_sentence(answer: TrendResult, parameter: Parameter, units: Units = "metric") -> str:
    """Say a trend in one sentence: certainty and direction in words, slope with its limits.

    Parameters
    ----------
    answer : TrendResult
        Slope in [unit of the parameter per year].
    parameter : Parameter
        What was measured.
    units : {"metric", "us"}
        What the reader wants.

    Returns
    -------
    str
        E.g. ``Very likely getting murkier (93 %): -0.31 m a decade (-0.45 to -0.12).``
    """
    if not np.isfinite(answer.p):
        return "Too few years in any season to tell a trend."
    words = direction_words(answer.direction, answer.confidence, clearer=parameter.clearer)
    slope = slope_text(answer.slope, answer.slope_low, answer.slope_high, parameter.unit, units)
    return f"{words[0].upper()}{words[1:]}: {slope}."


def trend_line(
    readings: pd.DataFrame,
    line: pd.DataFrame,
    answer: TrendResult,
    parameter: Parameter,
    *,
    step_year: float | None = None,
    smooth: pd.DataFrame | None = None,
    units: Units = "metric",
    look: Look = LIGHT,
    height: int = 380,
) -> Picture:
    """Draw the values a trend was computed from, with the Sen line and its limits.

    Parameters
    ----------
    readings : pandas.DataFrame
        Used values: ``local_date`` (or ``year``, decimal), ``value`` (canonical unit), ``qualifier``.
    line : pandas.DataFrame
        The line: ``year`` (decimal), ``line``, ``low``, ``high`` (canonical unit); empty when there is none.
    answer : TrendResult
        The test whose answer stands in the words below.
    parameter : Parameter
        What was measured.
    step_year : float, optional
        First year after a step, drawn as a thin upright line.
    smooth : pandas.DataFrame, optional
        A line for the eye: ``year`` (decimal), ``smooth`` (canonical unit); nothing is tested with it.
    units : {"metric", "us"}
        What the reader wants.
    look : Look
        The colours.
    height : int
        [px].

    Returns
    -------
    Picture
        The line takes the colour of its meaning only when its direction is at least likely (66 %).
    """
    figure = canvas(look, height=height)
    rows = readings.dropna(subset=["value"])
    if len(rows) < 2 or line.empty:
        say_nothing_to_draw(figure, look, "Too few years to draw a trend line.")
        return Picture(figure=figure, caption="Too few years.", method_line="", alt="Empty picture.")
    certain = np.isfinite(answer.p) and answer.confidence >= 0.66
    meaning = clarity_of(answer.slope, parameter) if certain else "usual"
    _readings(figure, rows, parameter, units, look)
    _lines(figure, line, parameter, units, look, meaning)
    if smooth is not None and len(smooth):
        _smooth(figure, smooth, parameter, units, look)
    if step_year is not None:
        figure.add_vline(
            x=float(step_year),
            line={"color": look.quiet, "width": 1, "dash": "dot"},
            annotation={"text": f"step {int(step_year)}", "font": {"size": 11, "color": look.quiet}},
        )
    _value_axis(figure, parameter, units, rows["value"].to_numpy(float))
    figure.update_xaxes(fixedrange=True, tickformat="d")
    caption = trend_sentence(answer, parameter, units)
    return Picture(
        figure=figure,
        caption=caption,
        method_line=f"{answer.method} {p_text(answer.p)}, n = {answer.n:,}.".strip(),
        alt=f"{parameter.label} along time with its trend line. {caption}",
    )


def _readings(figure: go.Figure, rows: pd.DataFrame, parameter: Parameter, units: Units, look: Look) -> None:
    qualifier = rows["qualifier"].to_numpy(str) if "qualifier" in rows else np.full(len(rows), EQUAL)
    down = points_down(parameter)
    dated = "local_date" in rows
    years = decimal_year(rows["local_date"]) if dated else rows["year"].to_numpy(float)
    when = np.array([date_text(d) for d in rows["local_date"]] if dated else [f"{y:.0f}" for y in years])
    values = np.asarray(to_shown(rows["value"].to_numpy(float), parameter.unit, units))
    limited = qualifier != EQUAL
    for some, words, colour in ((~limited, "value", look.usual), (limited, "a limit", look.ink)):
        if not some.any():
            continue
        figure.add_trace(
            go.Scatter(
                x=years[some],
                y=values[some],
                mode="markers",
                name=words,
                marker={"symbol": "circle", "size": 6, "color": colour},
                customdata=when[some],
                hovertemplate="%{customdata}<br><b>%{y:.2f}</b><extra></extra>",
            )
        )
    draw_arrows(figure, years, values, qualifier, limited, down, look)


def _lines(
    figure: go.Figure,
    line: pd.DataFrame,
    parameter: Parameter,
    units: Units,
    look: Look,
    meaning: str,
) -> None:
    colour = look.meaning(meaning) if meaning != "usual" else look.quiet
    years = line["year"].to_numpy(float)
    for column, fill in (("low", None), ("high", "tonexty")):
        figure.add_trace(
            go.Scatter(
                x=years,
                y=to_shown(line[column].to_numpy(float), parameter.unit, units),
                mode="lines",
                line={"color": colour, "width": 1, "dash": "dot"},
                fill=fill,
                fillcolor=_see_through(colour, 0.12),
                hoverinfo="skip",
                name="limits of the slope",
                showlegend=fill is not None,
            )
        )
    figure.add_trace(
        go.Scatter(
            x=years,
            y=to_shown(line["line"].to_numpy(float), parameter.unit, units),
            mode="lines",
            name="Sen line",
            line={"color": colour, "width": 3},
            hoverinfo="skip",
        )
    )


def _smooth(figure: go.Figure, smooth: pd.DataFrame, parameter: Parameter, units: Units, look: Look) -> None:
    rows = smooth.sort_values("year")
    figure.add_trace(
        go.Scatter(
            x=rows["year"].to_numpy(float),
            y=to_shown(rows["smooth"].to_numpy(float), parameter.unit, units),
            mode="lines",
            name="smooth line, for the eye",
            line={"color": look.ink, "width": 1.2, "dash": "dash"},
            hoverinfo="skip",
        )
    )


def _see_through(colour: str, opacity: float) -> str:
    r, g, b = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return f"rgba({r},{g},{b},{opacity})"


def _value_axis(figure: go.Figure, parameter: Parameter, units: Units, values: np.ndarray) -> None:
    shown = to_shown(values, parameter.unit, units)
    low, top = float(np.nanmin(shown)), float(np.nanmax(shown))
    room = 0.08 * (top - low or 1.0)
    if points_down(parameter):
        axis_range = [top + room, 0]
    elif parameter.positive and low >= 0 and parameter.unit != "degC":
        axis_range = [0, top + room]
    else:
        axis_range = [low - room, top + room]
    figure.update_yaxes(title_text=axis_title(parameter, units), range=axis_range, fixedrange=True)


def season_panels(
    cells: pd.DataFrame,
    by_season: pd.DataFrame,
    parameter: Parameter,
    *,
    labels: Mapping[Any, str] | None = None,
    units: Units = "metric",
    look: Look = LIGHT,
) -> Picture:
    """Draw one small panel a season: its values over the years, and its own slope.

    Parameters
    ----------
    cells : pandas.DataFrame
        ``year``, ``season``, ``value`` (canonical unit).
    by_season : pandas.DataFrame
        One row a season: ``season``, ``slope`` [unit per year], ``p``; ``n`` when known.
    parameter : Parameter
        What was measured.
    labels : mapping of season to str, optional
        Names of the seasons; months by default.
    units : {"metric", "us"}
        What the reader wants.
    look : Look
        The colours.

    Returns
    -------
    Picture
        All panels share one value axis.
    """
    rows = cells.dropna(subset=["value"])
    names = season_names(labels)
    order = [s for s in by_season["season"] if (rows["season"] == s).sum() >= 2]
    if not order:
        figure = say_nothing_to_draw(canvas(look, height=200), look, "No season has two years of values.")
        return Picture(figure=figure, caption="Too few seasons.", method_line="", alt="Empty picture.")
    columns = min(3, len(order))
    lines = -(-len(order) // columns)
    figure = make_subplots(
        rows=lines,
        cols=columns,
        shared_yaxes=True,
        shared_xaxes=True,
        subplot_titles=[names.get(s, str(s)) for s in order],
        horizontal_spacing=0.03,
        vertical_spacing=min(0.12, 0.4 / lines),
    )
    figure.update_layout(template=template(look), height=60 + 150 * lines, showlegend=False)
    figure.update_annotations(font={"size": 12, "color": look.quiet})
    for i, season in enumerate(order):
        one = by_season[by_season["season"] == season].iloc[0]
        _panel(figure, rows[rows["season"] == season], one, parameter, units, look, i, columns)
    shown = to_shown(rows["value"].to_numpy(float), parameter.unit, units)
    top = float(np.nanmax(shown)) * 1.06
    figure.update_yaxes(range=[top, 0] if points_down(parameter) else [min(0, float(np.nanmin(shown))), top])
    figure.update_xaxes(fixedrange=True, nticks=4)
    figure.update_yaxes(fixedrange=True)
    figure.update_yaxes(title_text=f"[{shown_unit(parameter.unit, units)}]", col=1)
    falling = int((by_season["slope"] < 0).sum())
    rising = int((by_season["slope"] > 0).sum())
    caption = (
        f"{count_text(rising, 'season')} with a rising slope and {falling} with a falling one, "
        f"of {len(by_season)}."
    )
    return Picture(
        figure=figure,
        caption=caption,
        method_line="Each panel: one value a year (median of the season) and its own Theil-Sen slope.",
        alt=f"Small panels of {parameter.label.lower()} over the years, one a season. {caption}",
    )


def _panel(
    figure: go.Figure,
    rows: pd.DataFrame,
    one: Any,
    parameter: Parameter,
    units: Units,
    look: Look,
    i: int,
    columns: int,
) -> None:
    place = {"row": i // columns + 1, "col": i % columns + 1}
    years = rows["year"].to_numpy(float)
    values = rows["value"].to_numpy(float)
    figure.add_trace(
        go.Scatter(
            x=years,
            y=to_shown(values, parameter.unit, units),
            mode="markers",
            marker={"size": 5, "color": look.ink},
            hovertemplate="%{x:.0f}<br><b>%{y:.2f}</b><extra></extra>",
        ),
        **place,
    )
    slope = float(one["slope"])
    if not np.isfinite(slope):
        return
    ends = np.array([years.min(), years.max()])
    level = float(np.median(values - slope * years))
    figure.add_trace(
        go.Scatter(
            x=ends,
            y=to_shown(level + slope * ends, parameter.unit, units),
            mode="lines",
            hoverinfo="skip",
            line={"color": look.meaning(clarity_of(slope, parameter)), "width": 2},
        ),
        **place,
    )


def network_intervals(
    table: pd.DataFrame,
    parameter: Parameter,
    *,
    level: float = 0.05,
    units: Units = "metric",
    look: Look = LIGHT,
) -> Picture:
    """Draw the slope of every station with its interval, ranked, and mark those that survive many tests.

    Parameters
    ----------
    table : pandas.DataFrame
        ``name``, ``slope``, ``slope_low``, ``slope_high`` [unit per year], ``p_adjusted``;
        ``sentence`` on hover.
    parameter : Parameter
        What was measured.
    level : float
        A station is filled when its adjusted p is below this, [1].
    units : {"metric", "us"}
        What the reader wants.
    look : Look
        The colours.

    Returns
    -------
    Picture
        Filled triangle: direction certain after the correction. Open circle: not certain.
    """
    rows = table.dropna(subset=["slope"]).sort_values("slope", ascending=parameter.clearer != "lower")
    figure = canvas(look, height=110 + 27 * max(len(rows), 2))
    if rows.empty:
        say_nothing_to_draw(figure, look, "No station has enough years for a trend.")
        return Picture(figure=figure, caption="No trend to draw.", method_line="", alt="Empty picture.")
    unit = f"{shown_unit(parameter.unit, units)} a decade"
    groups = [_group(row, parameter, level) for row in rows.to_dict("records")]
    words = {
        "clearer": ("clearer", "triangle-up"),
        "murkier": ("murkier", "triangle-down"),
        "changing": ("changing", "diamond"),
        "usual": ("not certain", "circle-open"),
    }
    for group, (name, symbol) in words.items():
        some = rows[[g == group for g in groups]]
        if len(some):
            _interval(figure, some, parameter, units, look, group, f"{name} ({len(some)})", symbol, unit)
    figure.add_vline(x=0, line={"color": look.quiet, "width": 1})
    figure.update_xaxes(title_text=f"Slope [{unit}]", fixedrange=True)
    figure.update_yaxes(
        categoryorder="array", categoryarray=rows["name"].tolist(), fixedrange=True, tickfont={"size": 11}
    )
    counts = {g: groups.count(g) for g in words}
    told = ", ".join(f"{counts[g]} {n[0]}" for g, n in words.items() if counts[g])
    caption = f"{count_text(len(rows), 'station')} with enough years: {told}."
    return Picture(
        figure=figure,
        caption=caption,
        method_line=f"Filled: adjusted p below {level:g} (false-discovery rate of Benjamini and Hochberg, "
        "1995, over the stations shown); line: 95 % limits of the slope.",
        alt=f"Slopes of all stations with their limits, ranked. {caption}",
    )


def _group(row: Mapping[Any, Any], parameter: Parameter, level: float) -> str:
    adjusted = row.get("p_adjusted", row.get("p", np.nan))
    if not (np.isfinite(adjusted) and adjusted < level):
        return "usual"
    meaning = clarity_of(float(row["slope"]), parameter)
    return "changing" if meaning == "usual" else meaning


def _interval(
    figure: go.Figure,
    rows: pd.DataFrame,
    parameter: Parameter,
    units: Units,
    look: Look,
    group: str,
    name: str,
    symbol: str,
    unit: str,
) -> None:
    middle, low, high = (
        10 * np.asarray(to_shown(rows[c].to_numpy(float), parameter.unit, units, difference=True))
        for c in ("slope", "slope_low", "slope_high")
    )
    colour = look.ink if group == "changing" else look.meaning(group)
    sentences = rows["sentence"] if "sentence" in rows else rows["name"]
    figure.add_trace(
        go.Scatter(
            x=middle,
            y=rows["name"].tolist(),
            mode="markers",
            name=name,
            error_x={
                "type": "data",
                "array": high - middle,
                "arrayminus": middle - low,
                "symmetric": False,
                "color": colour,
                "thickness": 1.5,
                "width": 3,
            },
            marker={"symbol": symbol, "size": 10, "color": colour},
            customdata=rows["station"].tolist() if "station" in rows else None,
            hovertext=[
                f"<b>{n}</b><br>{wrap(str(s), 48)}" for n, s in zip(rows["name"], sentences, strict=True)
            ],
            hoverinfo="text",
        )
    )
