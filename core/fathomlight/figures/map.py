"""The map of the stations: shorelines and marks on plain axes, so that nothing is fetched from anywhere."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from fathomlight.figures.picture import Picture
from fathomlight.figures.shown import Units, count_text
from fathomlight.figures.theme import (
    LIGHT,
    STANDING_SHAPES,
    STANDING_WORDS,
    Look,
    canvas,
    say_nothing_to_draw,
    wrap,
)

KM_PER_DEGREE = 111.32
"""Length of one degree of latitude [km], a sphere of 6,378 km."""

STANDING_METHOD = (
    "Latest used reading of each station against its own earlier readings for this time of year. "
    "Click a mark to open its station."
)


def station_map(
    stations: pd.DataFrame,
    shorelines: Mapping[str, Any] | None = None,
    *,
    units: Units = "metric",
    look: Look = LIGHT,
    chosen: str | None = None,
    words: Mapping[str, str] = STANDING_WORDS,
    shapes: Mapping[str, str] = STANDING_SHAPES,
    method_line: str = STANDING_METHOD,
    height: int = 460,
) -> Picture:
    """Draw the stations over their waters; every mark can be clicked.

    Parameters
    ----------
    stations : pandas.DataFrame
        One row a station: ``station``, ``name``, ``latitude``, ``longitude`` [degrees], ``standing`` (a key
        of ``STANDING_WORDS``), ``sentence`` (shown on hover).
    shorelines : mapping, optional
        GeoJSON FeatureCollection of polygons, with ``properties.name`` or ``properties.water``.
    units : {"metric", "us"}
        Unit of the scale bar: km or miles.
    look : Look
        The colours.
    chosen : str, optional
        Station drawn with a ring.
    words, shapes : mapping of str to str
        Words and Plotly symbol of each kind of mark, by the key in ``standing``.
    method_line : str
        The smaller line under the map.
    height : int
        [px].

    Returns
    -------
    Picture
        ``customdata`` of every mark is the station id.

    Notes
    -----
    Equirectangular projection: x is the longitude, y the latitude, and one degree of latitude is drawn
    1/cos(latitude) as long as one of longitude. Good for a group of lakes, not for a continent.
    """
    figure = canvas(look, height=height)
    rows = stations.dropna(subset=["latitude", "longitude"])
    if rows.empty:
        say_nothing_to_draw(
            figure, look, "No station has a position yet. Add latitude and longitude to stations.csv."
        )
        return Picture(figure=figure, caption="No station to draw.", method_line="", alt="Empty map.")
    rings = list(_rings(shorelines))
    for ring in rings:
        figure.add_shape(
            type="path",
            path=_path(ring),
            fillcolor=look.water,
            fillrule="evenodd",
            line={"color": look.shore, "width": 1},
            layer="below",
        )
    if chosen is not None:
        _ring_chosen(figure, rows[rows["station"] == chosen], look)
    labels = place_labels(rows, _bounds(rows, rings))
    counts = {}
    for standing, name in words.items():
        some = rows[rows["standing"] == standing]
        counts[standing] = len(some)
        if len(some):
            legend = f"{name} ({len(some)})"
            figure.add_trace(_marks(some, look.meaning(standing), shapes[standing], legend, look, labels))
    bounds = _bounds(rows, rings)
    _label_waters(figure, shorelines, look)
    _scale_bar(figure, bounds, units, look)
    _lay_out(figure, bounds)
    told = ", ".join(f"{n} {words[k]}" for k, n in counts.items() if n)
    caption = f"{count_text(len(rows), 'station')}: {told}."
    return Picture(
        figure=figure,
        caption=caption,
        method_line=method_line,
        alt=f"Map of the stations over the outlines of their waters. {caption}",
    )


def _marks(
    rows: pd.DataFrame,
    colour: str,
    shape: str,
    legend: str,
    look: Look,
    labels: Mapping[str, tuple[str, str]],
) -> go.Scatter:
    thin = shape in {"x-thin", "circle-open"}
    return go.Scatter(
        x=rows["longitude"].to_numpy(float),
        y=rows["latitude"].to_numpy(float),
        mode="markers+text",
        text=[labels[s][0] for s in rows["station"]],
        textposition=[labels[s][1] for s in rows["station"]],
        textfont={"size": 11, "color": look.ink},
        customdata=rows["station"].tolist(),
        hovertext=[
            f"<b>{n}</b><br>{wrap(str(s), 44)}" for n, s in zip(rows["name"], rows["sentence"], strict=True)
        ],
        hoverinfo="text",
        name=legend,
        marker={
            "symbol": shape,
            "size": 15,
            "color": colour,
            "line": {"width": 2.5 if thin else 1, "color": colour if thin else look.paper},
        },
        selected={"marker": {"opacity": 1}},
        unselected={"marker": {"opacity": 1}, "textfont": {"color": look.ink}},
    )


CHANGE_WORDS = {
    "clearer": "getting clearer",
    "murkier": "getting murkier",
    "usual": "no direction certain",
    "too little past": "too few years",
}
"""Words of the map of change; the same shapes as the ranked intervals have."""

CHANGE_SHAPES = {
    "clearer": "triangle-up",
    "murkier": "triangle-down",
    "usual": "circle-open",
    "too little past": "x-thin",
}


def change_map(
    table: pd.DataFrame,
    shorelines: Mapping[str, Any] | None = None,
    *,
    level: float = 0.05,
    least_years: int = 5,
    units: Units = "metric",
    look: Look = LIGHT,
    height: int = 420,
) -> Picture:
    """Draw where the water is getting clearer or murkier.

    Parameters
    ----------
    table : pandas.DataFrame
        One row a station: ``station``, ``name``, ``latitude``, ``longitude`` [degrees], ``clarity`` (``clearer``,
        ``murkier`` or other), ``p_adjusted`` [1], ``n_years``, ``sentence``.
    shorelines : mapping, optional
        As for :func:`station_map`.
    level : float
        A direction is drawn when the adjusted p is below this, [1].
    least_years : int
        Stations with fewer years of values have no direction.
    units : {"metric", "us"}
        Unit of the scale bar.
    look : Look
        The colours.
    height : int
        [px].

    Returns
    -------
    Picture
        Filled triangle: direction certain after the correction. Open circle: not certain. Cross: too few years.
    """
    sure = table["p_adjusted"].to_numpy(float) < level
    kinds = np.where(sure & table["clarity"].isin(["clearer", "murkier"]), table["clarity"], "usual")
    kinds = np.where(table["n_years"].to_numpy(float) < least_years, "too little past", kinds)
    return station_map(
        table.assign(standing=kinds),
        shorelines,
        words=CHANGE_WORDS,
        shapes=CHANGE_SHAPES,
        method_line=f"Triangles: adjusted p below {level:g}, as in the ranked picture; fewer than {least_years} years "
        "of values: cross. Click a mark to see its trend.",
        units=units,
        look=look,
        height=height,
    )


def short_name(name: str, water: str) -> str:
    """Return the name of a station without that of its water, which stands on the map already.

    Examples
    --------
    >>> short_name("Kelm deep hole", "Kelm Lake"), short_name("North arm", "Kelm Lake")
    ('deep hole', 'North arm')
    """
    first = water.split(" ")[0]
    rest = name.removeprefix(first).strip()
    return rest if first and rest and rest != name else name


def place_labels(
    rows: pd.DataFrame, bounds: tuple[float, float, float, float], *, width: float = 420.0
) -> dict[str, tuple[str, str]]:
    """Choose a text and a place for the label of every station, so that few of them meet.

    Parameters
    ----------
    rows : pandas.DataFrame
        ``station``, ``name``, ``latitude``, ``longitude``; ``water_name`` when known.
    bounds : tuple of float
        West, east, south, north [degrees].
    width : float
        Width the map is expected to have [px].

    Returns
    -------
    dict of str to (text, position)
        By station id; a Plotly ``textposition``.
    """
    west, east, south, north = bounds
    scale = width / max(east - west, 1e-6)
    stretch = scale / math.cos(math.radians((south + north) / 2))
    x_px = rows["longitude"].to_numpy(float) * scale
    y_px = -rows["latitude"].to_numpy(float) * stretch
    marks = list(zip(x_px.tolist(), y_px.tolist(), strict=True))
    taken = [(x - 9, y - 9, x + 9, y + 9) for x, y in marks]
    out: dict[str, tuple[str, str]] = {}
    waters = rows["water_name"].tolist() if "water_name" in rows else [""] * len(rows)
    for (x, y), station, name, water in zip(marks, rows["station"], rows["name"], waters, strict=True):
        text = short_name(str(name), str(water))
        w, h = 6.2 * len(text), 14.0
        boxes = {
            "middle right": (x + 11, y - h / 2, x + 11 + w, y + h / 2),
            "middle left": (x - 11 - w, y - h / 2, x - 11, y + h / 2),
            "top center": (x - w / 2, y - 10 - h, x + w / 2, y - 10),
            "bottom center": (x - w / 2, y + 10, x + w / 2, y + 10 + h),
        }
        place = min(boxes, key=lambda p: _crowding(boxes[p], taken, west * scale, east * scale))
        taken.append(boxes[place])
        out[station] = (text, place)
    return out


def _crowding(
    box: tuple[float, float, float, float],
    taken: list[tuple[float, float, float, float]],
    west: float,
    east: float,
) -> float:
    """Return how badly a box meets others, or leaves the map [px2]."""
    outside = max(0.0, west - 15 - box[0]) + max(0.0, box[2] - east - 15)
    return sum(_shared(box, t) for t in taken) + 14.0 * outside


def _shared(a: tuple[float, float, float, float], b: tuple[float, float, float, float]) -> float:
    """Return the area two boxes share [px2]."""
    return max(0.0, min(a[2], b[2]) - max(a[0], b[0])) * max(0.0, min(a[3], b[3]) - max(a[1], b[1]))


def _ring_chosen(figure: go.Figure, row: pd.DataFrame, look: Look) -> None:
    figure.add_trace(
        go.Scatter(
            x=row["longitude"],
            y=row["latitude"],
            mode="markers",
            hoverinfo="skip",
            showlegend=False,
            marker={"symbol": "circle-open", "size": 26, "color": look.ink, "line": {"width": 2}},
        )
    )


def _rings(shorelines: Mapping[str, Any] | None) -> Iterator[list[Sequence[Sequence[float]]]]:
    """Yield the rings of every polygon: the outline first, then its islands."""
    for feature in (shorelines or {}).get("features", []):
        geometry = feature.get("geometry") or {}
        parts = geometry.get("coordinates", [])
        if geometry.get("type") == "Polygon":
            yield list(parts)
        elif geometry.get("type") == "MultiPolygon":
            yield from (list(polygon) for polygon in parts)


def _path(rings: list[Sequence[Sequence[float]]]) -> str:
    pieces = []
    for ring in rings:
        points = " L ".join(f"{x:.6f},{y:.6f}" for x, y, *_ in ring)
        pieces.append(f"M {points} Z")
    return " ".join(pieces)


def _bounds(
    rows: pd.DataFrame, rings: list[list[Sequence[Sequence[float]]]]
) -> tuple[float, float, float, float]:
    xs = [float(v) for v in rows["longitude"]]
    ys = [float(v) for v in rows["latitude"]]
    for polygon in rings:
        outline = np.asarray([point[:2] for point in polygon[0]], dtype=float)
        xs += [float(outline[:, 0].min()), float(outline[:, 0].max())]
        ys += [float(outline[:, 1].min()), float(outline[:, 1].max())]
    return min(xs), max(xs), min(ys), max(ys)


def _label_waters(figure: go.Figure, shorelines: Mapping[str, Any] | None, look: Look) -> None:
    for feature in (shorelines or {}).get("features", []):
        name = (feature.get("properties") or {}).get("name")
        rings = list(_rings({"features": [feature]}))
        if not name or not rings:
            continue
        outline = np.asarray([point[:2] for point in rings[0][0]], dtype=float)
        figure.add_annotation(
            x=float((outline[:, 0].min() + outline[:, 0].max()) / 2),
            y=float(outline[:, 1].min()),
            text=f"<i>{name}</i>",
            showarrow=False,
            yanchor="top",
            yshift=-2,
            font={"size": 11, "color": look.quiet},
        )


def nice_length(longest: float) -> float:
    """Return the largest of 1, 2, 5 times a power of ten that is not longer than `longest`.

    Examples
    --------
    >>> nice_length(7.3), nice_length(0.4)
    (5.0, 0.2)
    """
    power = 10.0 ** math.floor(math.log10(longest))
    return next(step * power for step in (5.0, 2.0, 1.0) if step * power <= longest * (1 + 1e-9))


def _scale_bar(
    figure: go.Figure, bounds: tuple[float, float, float, float], units: Units, look: Look
) -> None:
    west, east, south, north = bounds
    latitude = (south + north) / 2
    per_degree = KM_PER_DEGREE * math.cos(math.radians(latitude))
    factor, name = (0.621371, "miles") if units == "us" else (1.0, "km")
    width = max((east - west) * per_degree * factor, 0.1)
    length = nice_length(width / 4)
    degrees = length / factor / per_degree
    y = south - 0.10 * max(north - south, 1e-3)
    figure.add_shape(
        type="line", x0=west, x1=west + degrees, y0=y, y1=y, line={"color": look.quiet, "width": 2}
    )
    figure.add_annotation(
        x=west + degrees,
        y=y,
        text=f"{length:g} {name}",
        showarrow=False,
        xanchor="left",
        xshift=5,
        font={"size": 11, "color": look.quiet},
    )


def _lay_out(figure: go.Figure, bounds: tuple[float, float, float, float]) -> None:
    west, east, south, north = bounds
    pad_x = 0.06 * max(east - west, 0.02)
    pad_y = 0.14 * max(north - south, 0.02)
    ratio = 1 / math.cos(math.radians((south + north) / 2))
    figure.update_xaxes(visible=False, range=[west - pad_x, east + pad_x], constrain="domain")
    figure.update_yaxes(
        visible=False,
        range=[south - pad_y, north + pad_y],
        scaleanchor="x",
        scaleratio=ratio,
        constrain="domain",
    )
    figure.update_layout(clickmode="event+select", margin={"l": 0, "r": 0, "t": 8, "b": 0})
