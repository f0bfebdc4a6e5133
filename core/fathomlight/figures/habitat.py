"""What clarity leaves for a sight-feeding fish: bands of light and temperature, habitat of each year."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from fathomlight.figures.picture import Picture
from fathomlight.figures.shown import Units, count_text, number, shown_unit, to_shown
from fathomlight.figures.theme import LIGHT, Look, canvas, say_nothing_to_draw


def bands(
    table: pd.DataFrame,
    *,
    units: Units = "metric",
    look: Look = LIGHT,
    species: str = "walleye",
    height: int = 340,
) -> Picture:
    """Draw the depth band with the right light and the one with the right temperature along time.

    Parameters
    ----------
    table : pandas.DataFrame
        One row a day: ``date``; ``light_shallow_m``, ``light_deep_m`` [m]; ``warm_shallow_m``,
        ``warm_deep_m`` [m] (NaN where there is none).
    units : {"metric", "us"}
        What the reader wants.
    look : Look
        The colours.
    species : str
        Name in the words.
    height : int
        [px].

    Returns
    -------
    Picture
        Hatched: light band. Plain: temperature band. Where they overlap, both suit the fish.
    """
    figure = canvas(look, height=height)
    rows = table.sort_values("date")
    if rows.empty or rows[["light_shallow_m", "light_deep_m"]].isna().all().all():
        say_nothing_to_draw(figure, look, "No day has both a disc reading and the light of its season.")
        return Picture(figure=figure, caption="No band to draw.", method_line="", alt="Empty picture.")
    for low, high, name, colour, pattern in (
        ("warm_shallow_m", "warm_deep_m", "right temperature", look.pale_usual, ""),
        ("light_shallow_m", "light_deep_m", "right light at noon", look.ink, "/"),
    ):
        _band(figure, rows, low, high, name, colour, pattern, units)
    deepest = float(np.nanmax(to_shown(rows[["light_deep_m", "warm_deep_m"]].to_numpy(float), "m", units)))
    figure.update_yaxes(
        title_text=f"Depth [{shown_unit('m', units)}]", range=[deepest * 1.06, 0], fixedrange=True
    )
    figure.update_xaxes(hoverformat="%-d %b %Y", fixedrange=True)
    overlap = _overlap(rows)
    thick = number(float(np.nanmedian(overlap)), "m", 1, units)
    caption = (
        f"At noon light and warmth suit {species} at the same depth on {int((overlap > 0).sum())} of "
        f"{count_text(len(rows), 'day')} drawn (common band {thick} thick at the median); toward dawn and dusk "
        "the light band rises to the surface."
    )
    return Picture(
        figure=figure,
        caption=caption,
        method_line="Lester et al. (2004); light from disc depth and the height of the sun, temperature from "
        "the profiles, joined linearly between visits.",
        alt=f"Two bands of depth along time. {caption}",
    )


def _overlap(rows: pd.DataFrame) -> np.ndarray:
    top = np.fmax(rows["light_shallow_m"].to_numpy(float), rows["warm_shallow_m"].to_numpy(float))
    bottom = np.fmin(rows["light_deep_m"].to_numpy(float), rows["warm_deep_m"].to_numpy(float))
    both = rows[["light_shallow_m", "warm_shallow_m"]].notna().all(axis=1).to_numpy()
    return np.where(both, np.maximum(bottom - top, 0.0), 0.0)


def _band(
    figure: go.Figure,
    rows: pd.DataFrame,
    low: str,
    high: str,
    name: str,
    colour: str,
    pattern: str,
    units: Units,
) -> None:
    when = rows["date"].to_numpy("datetime64[us]")
    edge: dict[str, Any] = {"width": 0.8, "color": colour}
    figure.add_trace(
        go.Scatter(
            x=when,
            y=to_shown(rows[low].to_numpy(float), "m", units),
            mode="lines",
            line=edge,
            showlegend=False,
            hoverinfo="skip",
        )
    )
    fill: dict[str, Any] = {"fillcolor": colour}
    if pattern:
        fill = {"fillpattern": {"shape": pattern, "fgcolor": colour, "bgcolor": "rgba(0,0,0,0)", "size": 6}}
    figure.add_trace(
        go.Scatter(
            x=when,
            y=to_shown(rows[high].to_numpy(float), "m", units),
            mode="lines",
            line=edge,
            fill="tonexty",
            name=name,
            hovertemplate="%{x|%-d %b %Y}<br>down to %{y:.1f} "
            + shown_unit("m", units)
            + f"<extra>{name}</extra>",
            **fill,
        )
    )


def habitat_by_year(
    table: pd.DataFrame,
    *,
    units: Units = "metric",
    look: Look = LIGHT,
    species: str = "walleye",
    height: int = 320,
) -> Picture:
    """Draw the mean lake-bed area with the right light and temperature, year by year.

    Parameters
    ----------
    table : pandas.DataFrame
        ``year``, ``area_ha`` (mean over the open-water season, [ha]); ``low``, ``high`` when known; ``days``.
    units : {"metric", "us"}
        What the reader wants.
    look : Look
        The colours.
    species : str
        Name in the words.
    height : int
        [px].

    Returns
    -------
    Picture
        One point a year, with its interval when known.
    """
    figure = canvas(look, height=height)
    rows = table.dropna(subset=["area_ha"]).sort_values("year")
    if rows.empty:
        say_nothing_to_draw(
            figure,
            look,
            "This needs disc readings, temperature profiles and a depth-area table of the same water.",
        )
        return Picture(figure=figure, caption="No habitat to draw.", method_line="", alt="Empty picture.")
    value = np.asarray(to_shown(rows["area_ha"].to_numpy(float), "ha", units))
    bars = None
    if {"low", "high"} <= set(rows.columns):
        bars = {
            "type": "data",
            "symmetric": False,
            "array": to_shown(rows["high"].to_numpy(float), "ha", units) - value,
            "arrayminus": value - to_shown(rows["low"].to_numpy(float), "ha", units),
            "color": look.quiet,
            "thickness": 1.2,
            "width": 2,
        }
    unit = shown_unit("ha", units)
    figure.add_trace(
        go.Scatter(
            x=rows["year"],
            y=value,
            mode="lines+markers",
            error_y=bars,
            line={"color": look.grid, "width": 1},
            marker={"size": 8, "color": look.ink},
            hovertemplate="%{x}<br><b>%{y:.0f} " + unit + "</b><extra></extra>",
            showlegend=False,
        )
    )
    figure.update_yaxes(title_text=f"Area for {species} [{unit}]", rangemode="tozero", fixedrange=True)
    figure.update_xaxes(tickformat="d", fixedrange=True)
    area = rows["area_ha"].to_numpy(float)
    most, least = rows.iloc[int(area.argmax())], rows.iloc[int(area.argmin())]
    caption = (
        f"Between {number(float(least['area_ha']), 'ha', 0, units)} ({int(least['year'])}) and "
        f"{number(float(most['area_ha']), 'ha', 0, units)} ({int(most['year'])}) of lake bed suited "
        f"{species}, on average over the open-water season."
    )
    return Picture(
        figure=figure,
        caption=caption,
        method_line=f"n = {count_text(len(rows), 'year')}; thermal-optical habitat area of Lester et al. "
        "(2004).",
        alt=f"Habitat area by year. {caption}",
    )


def sensitivity(
    table: pd.DataFrame,
    *,
    now_m: float | None = None,
    units: Units = "metric",
    look: Look = LIGHT,
    species: str = "walleye",
    height: int = 320,
) -> Picture:
    """Draw how the habitat would change with the disc depth, everything else as it is.

    Parameters
    ----------
    table : pandas.DataFrame
        ``secchi_m`` [m], ``area_ha`` [ha], ascending.
    now_m : float, optional
        Present disc depth [m], marked.
    units : {"metric", "us"}
        What the reader wants.
    look : Look
        The colours.
    species : str
        Name in the words.
    height : int
        [px].

    Returns
    -------
    Picture
        A curve; its top is the disc depth that would suit the fish best here.
    """
    figure = canvas(look, height=height)
    rows = table.dropna(subset=["secchi_m", "area_ha"]).sort_values("secchi_m")
    if len(rows) < 2:
        say_nothing_to_draw(figure, look, "The curve needs temperature profiles and a depth-area table.")
        return Picture(figure=figure, caption="No curve to draw.", method_line="", alt="Empty picture.")
    unit, depth_unit = shown_unit("ha", units), shown_unit("m", units)
    x = np.asarray(to_shown(rows["secchi_m"].to_numpy(float), "m", units))
    y = np.asarray(to_shown(rows["area_ha"].to_numpy(float), "ha", units))
    figure.add_trace(
        go.Scatter(
            x=x,
            y=y,
            mode="lines",
            line={"color": look.ink, "width": 2},
            showlegend=False,
            hovertemplate=f"disc %{{x:.1f}} {depth_unit}<br><b>%{{y:.0f}} {unit}</b><extra></extra>",
        )
    )
    if now_m is not None and np.isfinite(now_m):
        at = float(to_shown(now_m, "m", units))
        figure.add_trace(
            go.Scatter(
                x=[at],
                y=[float(np.interp(at, x, y))],
                mode="markers+text",
                text=["now"],
                textposition="top center",
                marker={"symbol": "diamond", "size": 11, "color": look.ink},
                hoverinfo="skip",
                showlegend=False,
            )
        )
    figure.update_xaxes(title_text=f"Disc depth [{depth_unit}]", fixedrange=True, rangemode="tozero")
    figure.update_yaxes(title_text=f"Area for {species} [{unit}]", fixedrange=True, rangemode="tozero")
    best = rows.iloc[int(rows["area_ha"].to_numpy(float).argmax())]
    caption = f"With everything else as it is, {species} would find most room at a disc depth of about " + (
        f"{number(float(best['secchi_m']), 'm', 1, units)}."
    )
    return Picture(
        figure=figure,
        caption=caption,
        method_line="Same temperatures and sun, other clarity; a what-if, not a forecast.",
        alt=f"Habitat area against disc depth. {caption}",
    )
