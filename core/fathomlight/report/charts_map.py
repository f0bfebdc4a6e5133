"""Maps and pictures of many stations."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Literal

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import PathPatch
from matplotlib.path import Path

from fathomlight.figures.map import KM_PER_DEGREE, nice_length, place_labels
from fathomlight.figures.shown import MONTHS, Units, count_text, shown_unit, to_shown
from fathomlight.figures.theme import STANDING_SHAPES, STANDING_WORDS
from fathomlight.model import Parameter
from fathomlight.report.charts import (
    LEAST_YEARS,
    LOOK,
    MARKERS,
    WIDTH_IN,
    Chart,
    Sheet,
    legend_above,
    nothing,
    short_label,
)
from fathomlight.report.period import Period

_PLACES: dict[
    str, tuple[tuple[float, float], Literal["left", "right", "center"], Literal["center", "bottom", "top"]]
]
_PLACES = {
    "middle right": ((7, 0), "left", "center"),
    "middle left": ((-7, 0), "right", "center"),
    "top center": ((0, 7), "center", "bottom"),
    "bottom center": ((0, -7), "center", "top"),
}
_TALLEST_IN = 4.4


def map_chart(
    key: str,
    stations: pd.DataFrame,
    shorelines: Mapping[str, Any],
    *,
    title: str,
    caption: str,
    units: Units,
    chosen: str | None = None,
    width: float = WIDTH_IN,
) -> Chart:
    """Draw shorelines and stations.

    Parameters
    ----------
    key : str
        Of the picture.
    stations : pandas.DataFrame
        ``station``, ``name``, ``water_name``, ``latitude``, ``longitude`` [degrees], ``standing``.
    shorelines : mapping
        GeoJSON FeatureCollection of (multi)polygons.
    title, caption : str
        Words.
    units : {"metric", "us"}
        Scale bar in km or miles.
    chosen : str, optional
        Station drawn with a ring; the others are then quiet.
    width : float
        Width of the drawing [inch].

    Notes
    -----
    Equirectangular: one degree of latitude is drawn 1/cos(latitude) as long as one of longitude.
    """
    rows = stations.dropna(subset=["latitude", "longitude"])
    if rows.empty:
        return nothing(key, title, "No station has a position yet.")
    outlines = [r for f in shorelines.get("features", []) for r in _polygons(f.get("geometry") or {})]
    west, east, south, north = bounds = _bounds(rows, outlines)
    stretch = 1 / math.cos(math.radians((south + north) / 2))
    pad_x, pad_y = 0.10 * (east - west), 0.12 * (north - south)
    height = min(_TALLEST_IN, width * (north - south + 2 * pad_y) * stretch / (east - west + 2 * pad_x) + 0.3)
    with Sheet(max(height, 2.0), width=width) as sheet:
        axes = sheet.axes
        axes.set_axis_off()
        axes.set_xlim(west - pad_x, east + pad_x)
        axes.set_ylim(south - pad_y, north + pad_y)
        axes.set_aspect(stretch)
        for rings in outlines:
            axes.add_patch(_patch(rings))
        _stations(axes, rows, bounds, chosen, width)
        _scale(axes, bounds, units)
        if chosen is None:
            legend_above(axes, columns=5)
        alt = f"{title}. " + "; ".join(
            f"{r['name']} in {r['water_name']}"
            + ("" if chosen else f": {STANDING_WORDS.get(r['standing'], r['standing'])}")
            for r in rows.to_dict("records")
        )
        return sheet.chart(
            key,
            title=title,
            alt=alt + ".",
            caption=caption,
            small="North is up. Positions as in the list of stations.",
        )


def _polygons(geometry: Mapping[str, Any]) -> list[list[Any]]:
    parts = geometry.get("coordinates", [])
    if geometry.get("type") == "Polygon":
        return [list(parts)]
    return [list(p) for p in parts] if geometry.get("type") == "MultiPolygon" else []


def _bounds(rows: pd.DataFrame, outlines: list[list[Any]]) -> tuple[float, float, float, float]:
    points = [np.asarray([p[:2] for p in rings[0]], dtype=float) for rings in outlines]
    points.append(rows[["longitude", "latitude"]].to_numpy(float))
    every = np.concatenate(points)
    (west, south), (east, north) = every.min(axis=0), every.max(axis=0)
    wide, tall = max(east - west, 0.02), max(north - south, 0.015)
    middle = ((east + west) / 2, (north + south) / 2)
    return middle[0] - wide / 2, middle[0] + wide / 2, middle[1] - tall / 2, middle[1] + tall / 2


def _patch(rings: list[Any]) -> PathPatch:
    vertices, codes = [], []
    for ring in rings:
        points = [p[:2] for p in ring]
        vertices += points
        codes += [Path.MOVETO] + [Path.LINETO] * (len(points) - 2) + [Path.CLOSEPOLY]
    return PathPatch(
        Path(np.asarray(vertices, dtype=float), codes),
        facecolor=LOOK.water,
        edgecolor=LOOK.shore,
        linewidth=1,
    )


def _stations(
    axes: Axes,
    rows: pd.DataFrame,
    bounds: tuple[float, float, float, float],
    chosen: str | None,
    width: float,
) -> None:
    labels = place_labels(rows, bounds, width=75.0 * width)
    for standing, words in STANDING_WORDS.items():
        part = rows[rows["standing"] == standing]
        if part.empty:
            continue
        shape = STANDING_SHAPES[standing]
        colour = LOOK.meaning(standing)
        if chosen is not None:
            shape, colour = "circle", LOOK.usual
        face = "none" if shape == "circle-open" else colour
        axes.plot(
            part["longitude"], part["latitude"], MARKERS[shape], mfc=face, mec=colour, ms=7, mew=1.4,
            label=words,
        )  # fmt: skip
    for row in rows.to_dict("records"):
        text, place = labels[row["station"]]
        offset, ha, va = _PLACES[place]
        here = row["station"] == chosen
        if here:
            axes.plot([row["longitude"]], [row["latitude"]], "o", color=LOOK.ink, ms=7)
            axes.plot([row["longitude"]], [row["latitude"]], "o", mfc="none", mec=LOOK.ink, ms=14, mew=1.6)
            offset = (offset[0] * 1.7, offset[1] * 1.7)
        axes.annotate(
            text, (row["longitude"], row["latitude"]), xytext=offset, textcoords="offset points", ha=ha, va=va,
            fontsize=8.5, color=LOOK.ink if here or chosen is None else LOOK.quiet,
            fontweight="bold" if here else "normal",
        )  # fmt: skip


def _scale(axes: Axes, bounds: tuple[float, float, float, float], units: Units) -> None:
    west, east, south, north = bounds
    per_degree = KM_PER_DEGREE * math.cos(math.radians((south + north) / 2))
    factor, name = (0.621371, "miles") if units == "us" else (1.0, "km")
    length = nice_length(max((east - west) * per_degree * factor, 0.1) / 4)
    y = south - 0.07 * (north - south)
    axes.plot([west, west + length / factor / per_degree], [y, y], color=LOOK.quiet, linewidth=2)
    axes.annotate(
        f"{length:g} {name}", (west + length / factor / per_degree, y), xytext=(5, 0), textcoords="offset points",
        va="center", fontsize=8.5, color=LOOK.quiet,
    )  # fmt: skip


def slopes_chart(key: str, rows: pd.DataFrame, parameter: Parameter, *, units: Units) -> Chart:
    """Draw the slope of every station with its limits.

    Parameters
    ----------
    key : str
        Of the picture.
    rows : pandas.DataFrame
        Of ``ws.trends``: ``name``, ``slope``, ``slope_low``, ``slope_high`` [unit per year], ``clarity``, ``sure``.
    parameter : Parameter
        What was read.
    units : {"metric", "us"}
        What the reader wants.
    """
    title = f"Change of {short_label(parameter)} at every station"
    short = rows["last_year"] - rows["first_year"] + 1 < LEAST_YEARS
    left_out, rows = list(rows.loc[short, "name"]), rows[~short].dropna(subset=["slope"])
    if rows.empty:
        return nothing(key, title, "No station has years enough for a trend.")
    with Sheet(0.9 + 0.24 * len(rows)) as sheet:
        axes = sheet.axes
        values = 10 * np.asarray(
            to_shown(
                rows[["slope_low", "slope", "slope_high"]].to_numpy(float),
                parameter.unit,
                units,
                difference=True,
            )
        )
        axes.axvline(0, color=LOOK.quiet, linewidth=1)
        seen: set[str] = set()
        for y, (row, (low, middle, high)) in enumerate(zip(rows.to_dict("records"), values, strict=True)):
            word = row["clarity"] if row["clarity"] in ("clearer", "murkier") else "usual"
            marker = {"clearer": "^", "murkier": "v"}.get(word, "o")
            name = {"usual": "no sure direction"}.get(word, f"getting {word}")
            axes.plot([low, high], [y, y], color=LOOK.meaning(word), linewidth=1.6)
            face = LOOK.meaning(word) if row["sure"] else LOOK.paper
            axes.plot(
                [middle],
                [y],
                marker,
                mfc=face,
                mec=LOOK.meaning(word),
                ms=7,
                label="" if name in seen else name,
            )
            seen.add(name)
        axes.set_yticks(range(len(rows)), list(rows["name"]))
        axes.set_ylim(len(rows) - 0.4, -0.6)
        axes.set_xlabel(f"{shown_unit(parameter.unit, units)} a decade")
        legend_above(axes)
        n = {w: int((rows["clarity"] == w).sum()) for w in ("clearer", "murkier")}
        caption = (
            f"{n['clearer']} of {count_text(len(rows), 'station')} get clearer and {n['murkier']} murkier with at "
            "least 66 % confidence."
        )
        return sheet.chart(
            key, title=title, alt=f"{title}. {caption}", caption=caption,
            small="Theil-Sen slope with 95 % limits. Filled: sure after allowing for many tests (5 % false "
            "discoveries)."
            + (f" Fewer than {LEAST_YEARS} years, not drawn: {', '.join(left_out)}." if left_out else ""),
        )  # fmt: skip


MOST_MONTHS = 18
"""More months than these are told by year."""


def months_chart(key: str, counts: pd.DataFrame, *, period: Period, until: str) -> Chart:
    """Draw on how many days of each month (or year) every station was read, as numbers on shades.

    Parameters
    ----------
    key : str
        Of the picture.
    counts : pandas.DataFrame
        Names of stations by ``2025-07`` (or ``2025``): days with a used reading.
    period : Period
        What it covers.
    until : str
        Months after it, as ``2025-09``, have not been yet, and stay empty.
    """
    by_year = all(len(c) == 4 for c in counts.columns)
    title = f"Days with readings by station and {'year' if by_year else 'month'}, {period.label}"
    if counts.empty:
        return nothing(key, title, f"Nothing was read {period.within}.")
    values = counts.to_numpy(float, copy=True)
    values[:, [c > until for c in counts.columns]] = np.nan
    with Sheet(0.6 + 0.25 * len(counts)) as sheet:
        axes = sheet.axes
        top = max(float(np.nanmax(values)), 1.0)
        for y, row in enumerate(values):
            for x, n in enumerate(row):
                if np.isnan(n):
                    continue
                shade = LOOK.depth_scale[round(min(1.0, n / min(top, 10)) * (len(LOOK.depth_scale) - 1))]
                axes.barh(y, 0.94, left=x - 0.47, height=0.9, color=shade if n else LOOK.paper)
                axes.text(x, y, f"{n:.0f}" if n else "·", ha="center", va="center", fontsize=8.5)
        axes.set_yticks(range(len(counts)), list(counts.index))
        axes.set_xticks(range(len(counts.columns)), _month_names(list(counts.columns), period))
        axes.xaxis.tick_top()
        axes.tick_params(length=0)
        for side in axes.spines.values():
            side.set_visible(False)
        axes.set_xlim(-0.6, len(counts.columns) - 0.4)
        axes.set_ylim(len(counts) - 0.4, -0.6)
        silent = [str(n) for n, row in zip(counts.index, values, strict=True) if not np.nansum(row)]
        caption = (
            f"{len(counts) - len(silent)} of {count_text(len(counts), 'station')} were read {period.within}."
        )
        if silent:
            caption += f" Not read: {', '.join(silent)}."
        chart = sheet.chart(
            key, title=title, alt=f"{title}. {caption}", caption=caption, small="Darker: more days."
        )
        return chart


def _month_names(columns: list[str], period: Period) -> list[str]:
    """Return what stands above each column; the year stands under its first month where there are several."""
    names = []
    for i, column in enumerate(columns):
        year, _, month = column.partition("-")
        if not month:
            names.append(year)
            continue
        first = len(period.years) > 1 and (i == 0 or month == "01")
        names.append(f"{MONTHS[int(month) - 1]}" + (f"\n{year}" if first else ""))
    return names
