"""Trophic state: the index of every year with its interval, and what the inputs say about each other."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from fathomlight.figures.picture import Picture
from fathomlight.figures.shown import Units, count_text
from fathomlight.figures.theme import LIGHT, Look, canvas, say_nothing_to_draw

CLASSES: tuple[tuple[float, float, str], ...] = (
    (-np.inf, 40.0, "oligotrophic"),
    (40.0, 50.0, "mesotrophic"),
    (50.0, 70.0, "eutrophic"),
    (70.0, np.inf, "hypereutrophic"),
)
"""Bands of Carlson's index after Carlson & Simpson (1996)."""

INPUTS: dict[str, tuple[str, str]] = {
    "secchi": ("from disc depth", "circle"),
    "chlorophyll": ("from chlorophyll", "square"),
    "total_phosphorus": ("from phosphorus", "diamond"),
    "total_nitrogen": ("from nitrogen", "hexagon"),
}
"""Words and shape of each input of the index."""


def index_by_year(
    yearly: pd.DataFrame,
    *,
    units: Units = "metric",
    look: Look = LIGHT,
    classes: Sequence[tuple[float, float, str]] = CLASSES,
    height: int = 360,
) -> Picture:
    """Draw the index of every year, one shape an input, over the bands of the classes.

    Parameters
    ----------
    yearly : pandas.DataFrame
        One row a year and input: ``year``, ``input`` (a key of ``INPUTS``), ``index``; ``low``, ``high`` its
        interval, ``n`` readings and ``bound`` (``at most`` or ``at least``: drawn open), when known.
    units : {"metric", "us"}
        Not used: the index has no unit.
    look : Look
        The colours.
    classes : sequence of (low, high, word)
        Bands to draw.
    height : int
        [px].

    Returns
    -------
    Picture
        Higher is greener water. The indices of different inputs are not averaged.
    """
    figure = canvas(look, height=height)
    rows = yearly.dropna(subset=["index"]).sort_values("year")
    if rows.empty:
        say_nothing_to_draw(figure, look, "No year has enough readings for the index.")
        return Picture(figure=figure, caption="No index to draw.", method_line="", alt="Empty picture.")
    low = float(np.nanmin(rows.get("low", rows["index"]).fillna(rows["index"])))
    high = float(np.nanmax(rows.get("high", rows["index"]).fillna(rows["index"])))
    bottom = low - 4
    top = max(high + 4, bottom + 20)
    _bands(figure, classes, bottom, top, look)
    shift = 0.0
    for name, (words, symbol) in INPUTS.items():
        some = rows[rows["input"] == name]
        if len(some):
            _points(figure, some, words, symbol, shift, look)
            shift += 0.12
    figure.update_yaxes(title_text="Trophic state index (TSI)", range=[bottom, top], fixedrange=True)
    first, last = int(rows["year"].min()), int(rows["year"].max())
    room = max(0.2 * (last - first), 1.5)  # for the words of the classes
    figure.update_xaxes(fixedrange=True, tickformat="d", range=[first - 0.6, last + 0.5 + room])
    parts = []
    for row in rows[rows["year"] == last].to_dict("records"):
        words = INPUTS.get(row["input"], (str(row["input"]), ""))[0]
        parts.append(f"{row['index']:.0f} {words} ({class_of(row['index'], classes)})")
    caption = f"In {last}: {', '.join(parts)}."
    return Picture(
        figure=figure,
        caption=caption,
        method_line=f"Carlson (1977); {count_text(rows['year'].nunique(), 'year')}; line: 95 % "
        "interval; bands: Carlson & Simpson (1996). Indices of different inputs are not averaged.",
        alt=f"Trophic state index by year. {caption}",
    )


def class_of(index: float, classes: Sequence[tuple[float, float, str]] = CLASSES) -> str:
    """Return the word for an index value.

    Examples
    --------
    >>> class_of(39.9), class_of(40.0), class_of(71.0)
    ('oligotrophic', 'mesotrophic', 'hypereutrophic')
    """
    return next((word for low, high, word in classes if low <= index < high), "unknown")


def _bands(
    figure: go.Figure, classes: Sequence[tuple[float, float, str]], bottom: float, top: float, look: Look
) -> None:
    for i, (low, high, word) in enumerate(classes):
        lower, upper = max(low, bottom), min(high, top)
        if lower >= upper:
            continue
        figure.add_hrect(
            y0=lower, y1=upper, fillcolor=look.panel if i % 2 else look.paper, line_width=0, layer="below"
        )
        figure.add_annotation(
            x=1,
            xref="paper",
            y=(lower + upper) / 2,
            text=word,
            showarrow=False,
            xanchor="right",
            font={"size": 11, "color": look.quiet},
        )
        if low > bottom:
            figure.add_hline(y=low, line={"color": look.grid, "width": 1})


def _points(figure: go.Figure, rows: pd.DataFrame, words: str, symbol: str, shift: float, look: Look) -> None:
    value = rows["index"].to_numpy(float)
    bars = None
    if {"low", "high"} <= set(rows.columns):
        bars = {
            "type": "data",
            "symmetric": False,
            "array": rows["high"].to_numpy(float) - value,
            "arrayminus": value - rows["low"].to_numpy(float),
            "color": look.quiet,
            "thickness": 1.2,
            "width": 2,
        }
    n = rows["n"].tolist() if "n" in rows else [""] * len(rows)
    bound = rows["bound"].astype(str).tolist() if "bound" in rows else [""] * len(rows)
    symbols = [f"{symbol}-open" if b not in {"", "nan"} else symbol for b in bound]
    figure.add_trace(
        go.Scatter(
            x=rows["year"].to_numpy(float) + shift,
            y=value,
            mode="markers",
            name=words,
            error_y=bars,
            marker={"symbol": symbols, "size": 8, "color": look.ink},
            customdata=list(zip(rows["year"].tolist(), n, strict=True)),
            hovertemplate="%{customdata[0]}<br><b>%{y:.0f}</b> "
            + words
            + "<br>n = %{customdata[1]}<extra></extra>",
        )
    )


def deviations(
    table: pd.DataFrame,
    *,
    units: Units = "metric",
    look: Look = LIGHT,
    dead_band: float = 5.0,
    height: int = 380,
) -> Picture:
    """Draw what chlorophyll, disc depth and phosphorus say about each other.

    Parameters
    ----------
    table : pandas.DataFrame
        One row a year: ``year``, ``x`` = TSI(chlorophyll) - TSI(disc depth), ``y`` = TSI(chlorophyll) -
        TSI(phosphorus).
    units : {"metric", "us"}
        Not used: differences of indices have no unit.
    look : Look
        The colours.
    dead_band : float
        Differences smaller than this are not read as anything [1].
    height : int
        [px].

    Returns
    -------
    Picture
        Four quarters with their usual reading.

    Notes
    -----
    Carlson (1991), *Expanding the trophic state concept to identify non-nutrient limited lakes
    and reservoirs*.
    The dead band of 5 is common practice, no source.
    """
    figure = canvas(look, height=height)
    rows = table.dropna(subset=["x", "y"])
    if rows.empty:
        say_nothing_to_draw(
            figure, look, "This needs chlorophyll, disc depth and phosphorus of the same growing season."
        )
        return Picture(figure=figure, caption="Nothing to compare.", method_line="", alt="Empty picture.")
    reach = max(12.0, float(np.abs(rows[["x", "y"]].to_numpy(float)).max()) + 3)
    figure.add_shape(
        type="rect",
        x0=-dead_band,
        x1=dead_band,
        y0=-dead_band,
        y1=dead_band,
        fillcolor=look.panel,
        line={"width": 0},
        layer="below",
    )
    figure.add_hline(y=0, line={"color": look.usual, "width": 1})
    figure.add_vline(x=0, line={"color": look.usual, "width": 1})
    last = rows["year"] == rows["year"].max()
    for some, name, symbol in ((~last, "earlier years", "circle-open"), (last, "last year", "diamond")):
        part = rows[some]
        figure.add_trace(
            go.Scatter(
                x=part["x"],
                y=part["y"],
                mode="markers",
                name=name,
                text=[str(y) for y in part["year"]],
                marker={
                    "symbol": symbol,
                    "size": 9,
                    "color": look.ink,
                    "line": {"width": 1.5, "color": look.ink},
                },
                hovertemplate="%{text}<br>%{x:+.0f}, %{y:+.0f}<extra></extra>",
            )
        )
    _quarters(figure, reach, look)
    figure.update_xaxes(title_text="TSI(chlorophyll) − TSI(disc)", range=[-reach, reach], fixedrange=True)
    figure.update_yaxes(
        title_text="TSI(chlorophyll) − TSI(phosphorus)", range=[-reach, reach], fixedrange=True
    )
    one = rows[last].iloc[0]
    caption = f"{int(one['year'])}: {_reading(float(one['x']), float(one['y']), dead_band)}."
    return Picture(
        figure=figure,
        caption=caption[0].upper() + caption[1:],
        method_line=f"n = {count_text(len(rows), 'year')}; Carlson (1991); differences within ±{dead_band:g} "
        "(shaded) are not read as anything.",
        alt=f"Differences of indices, one point a year. {caption}",
    )


def _quarters(figure: go.Figure, reach: float, look: Look) -> None:
    """Write into each quarter what it usually means."""
    for x, y, text in (
        (-0.97, 0.93, "colour or silt takes light,<br>phosphorus limits"),
        (0.97, 0.93, "large particles or grazing,<br>phosphorus limits"),
        (-0.97, -0.93, "colour or silt takes light,<br>phosphorus in surplus"),
        (0.97, -0.93, "large particles or grazing,<br>phosphorus in surplus"),
    ):
        figure.add_annotation(
            x=x * reach,
            y=y * reach,
            text=text,
            showarrow=False,
            xanchor="left" if x < 0 else "right",
            align="left" if x < 0 else "right",
            font={"size": 10, "color": look.quiet},
        )


def _reading(x: float, y: float, dead_band: float) -> str:
    light = (
        "algae control the light"
        if abs(x) <= dead_band
        else "clearer than its chlorophyll suggests"
        if x > 0
        else "murkier than its chlorophyll suggests (colour or silt)"
    )
    food = (
        "chlorophyll and phosphorus agree"
        if abs(y) <= dead_band
        else "more algae than phosphorus suggests"
        if y > 0
        else "fewer algae than phosphorus allows"
    )
    return f"{light}; {food}"
