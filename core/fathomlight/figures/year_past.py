"""A year against its own past: where each reading falls among those of the same time of year."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from fathomlight.figures.compare import STYLES
from fathomlight.figures.picture import Picture
from fathomlight.figures.series import points_down
from fathomlight.figures.shown import Units, axis_title, count_text, date_text, parameter_number, to_shown
from fathomlight.figures.theme import LIGHT, Look, canvas, say_nothing_to_draw
from fathomlight.model import ABOVE, BELOW, EQUAL, Flag, Parameter
from fathomlight.seasons.days import day_values

DENSE = 1000
"""More readings than this in a year (a logger) are drawn as one value a day, as the band of the past counts."""


def year_against_past(
    envelope: pd.DataFrame,
    this_year: pd.DataFrame,
    parameter: Parameter,
    *,
    year: int,
    past: str = "",
    beside: Mapping[int, pd.DataFrame] | None = None,
    units: Units = "metric",
    look: Look = LIGHT,
    height: int = 360,
) -> Picture:
    """Draw the readings of one year over the band of its past.

    Parameters
    ----------
    envelope : pandas.DataFrame
        One row a day of the year: ``day_of_year``, ``low``, ``median``, ``high`` (10th, 50th and 90th
        percentile of earlier readings near that day, canonical unit; NaN where the past is too
        short), ``n`` readings.
    this_year : pandas.DataFrame
        Used readings of `year`: ``local_date``, ``value`` (canonical unit), ``qualifier``.
    parameter : Parameter
        What was measured.
    year : int
        The year drawn.
    past : str
        The past in words, e.g. ``2006 to 2024``.
    beside : mapping of int to pandas.DataFrame, optional
        Other years to draw on the same axis, by year; columns as `this_year`. At most five.
    units : {"metric", "us"}
        What the reader wants.
    look : Look
        The colours.
    height : int
        [px].

    Returns
    -------
    Picture
        Up triangle: clearer than the band. Down triangle: murkier. Circle: inside, or no band there.
    """
    figure = canvas(look, height=height)
    rows = _daily(this_year)
    daily = len(rows) < len(this_year) and len(this_year) > DENSE
    band = envelope.dropna(subset=["low", "high"])
    if rows.empty and band.empty:
        say_nothing_to_draw(figure, look, f"No used reading in {year}, and too little past for a band.")
        return Picture(figure=figure, caption="Nothing to draw.", method_line="", alt="Empty picture.")
    if len(band):
        _band(figure, envelope, parameter, year, units, look)
    for i, (other, table) in enumerate(sorted((beside or {}).items())[: len(STYLES) - 1]):
        _beside(figure, table, parameter, other, year, STYLES[i + 1], units, look)
    where = _against(rows, envelope, parameter)
    _points(figure, rows, where, parameter, year, units, look)
    _axes(figure, rows, envelope, parameter, year, units)
    noun = "daily median" if daily else "reading"
    caption = _caption(rows, where, parameter, year, units, bool(len(band)), noun)
    n = int(envelope["n"].max()) if "n" in envelope and len(band) else 0
    window = f", up to {count_text(n, 'reading')} a day" if n else ""
    past_text = f"{past}{window}" if past else window.removeprefix(", ")
    method = (
        f"Band: 10th to 90th percentile of earlier readings of this time of year; line: median ({past_text})."
        if len(band)
        else "Too little past for a band; only this year is drawn."
    )
    if daily:
        method = f"{method} Each mark is the median of one day of {count_text(len(this_year), 'reading')}."
    return Picture(
        figure=figure,
        caption=caption,
        method_line=method,
        alt=f"{parameter.label} of {year} against the band of its past. {caption}",
    )


def _daily(rows: pd.DataFrame) -> pd.DataFrame:
    """Return readings in order of their day; of a logger one value a day, a bound where qualifiers make it one."""
    rows = rows.dropna(subset=["value"])
    if len(rows) <= DENSE:
        return rows.sort_values("local_date")
    plain = rows[["local_date", "value", "qualifier"]].assign(flag=int(Flag.PASS))
    days = day_values(plain)
    return pd.DataFrame(
        {
            "local_date": days["date"],
            "value": days["value"],
            "qualifier": days["code"].map({0: EQUAL, -1: BELOW, 1: ABOVE}),
        }
    )


def _dates(days: Any, year: int) -> np.ndarray:
    start = np.datetime64(f"{year}-01-01", "D")
    return np.asarray(
        start + (np.asarray(days, dtype=int) - 1).astype("timedelta64[D]"), dtype="datetime64[us]"
    )


def _band(
    figure: go.Figure, envelope: pd.DataFrame, parameter: Parameter, year: int, units: Units, look: Look
) -> None:
    rows = envelope.sort_values("day_of_year")
    known = rows["low"].notna().to_numpy()
    # Plotly cannot break a filled area: one pair of lines for every unbroken run of days.
    runs = np.split(np.arange(len(rows)), np.flatnonzero(np.diff(known.astype(int)) != 0) + 1)
    first = True
    for run in runs:
        if not known[run[0]]:
            continue
        part = rows.iloc[run]
        when = _dates(part["day_of_year"], year)
        for column, fill in (("low", None), ("high", "tonexty")):
            figure.add_trace(
                go.Scatter(
                    x=when,
                    y=to_shown(part[column].to_numpy(float), parameter.unit, units),
                    mode="lines",
                    line={"width": 0},
                    fill=fill,
                    fillcolor=look.pale_usual,
                    hoverinfo="skip",
                    name="its past, 10th to 90th percentile",
                    showlegend=first and fill is not None,
                )
            )
        figure.add_trace(
            go.Scatter(
                x=when,
                y=to_shown(part["median"].to_numpy(float), parameter.unit, units),
                mode="lines",
                line={"width": 1.5, "color": look.usual},
                hovertemplate="%{x|%-d %b}<br>median of the past: %{y:.1f}<extra></extra>",
                name="median",
                showlegend=first,
            )
        )
        first = False


def _against(rows: pd.DataFrame, envelope: pd.DataFrame, parameter: Parameter) -> list[str]:
    """Say for every reading where it lies: ``clearer``, ``murkier`` or ``usual``.

    A limit counts only as far as it goes: ``> 3`` is above the band when 3 is, and says nothing otherwise.
    """
    by_day = envelope.set_index("day_of_year")[["low", "high"]] if len(envelope) else None
    out = []
    for row in rows.to_dict("records"):
        day = min(pd.Timestamp(row["local_date"]).day_of_year, 365)
        if by_day is None or day not in by_day.index:
            out.append("usual")
            continue
        low, high = (float(v) for v in by_day.loc[day].to_numpy(float))
        above = row["value"] > high and row["qualifier"] != BELOW
        below = row["value"] < low and row["qualifier"] != ABOVE
        if parameter.clearer is None or not (above or below):
            out.append("usual")
        else:
            out.append("clearer" if above == (parameter.clearer == "higher") else "murkier")
    return out


def _points(
    figure: go.Figure,
    rows: pd.DataFrame,
    where: list[str],
    parameter: Parameter,
    year: int,
    units: Units,
    look: Look,
) -> None:
    values = np.asarray(to_shown(rows["value"].to_numpy(float), parameter.unit, units))
    names = {"clearer": "clearer than the band", "murkier": "murkier than the band", "usual": str(year)}
    shapes = {"clearer": "triangle-up", "murkier": "triangle-down", "usual": "circle"}
    for word, name in names.items():
        some = np.array([w == word for w in where], dtype=bool)
        if not some.any():
            continue
        part = rows[some]
        figure.add_trace(
            go.Scatter(
                x=part["local_date"].to_numpy("datetime64[us]"),
                y=values[some],
                mode="markers",
                name=name,
                marker={
                    "symbol": [
                        shapes[word] if q == EQUAL else f"{shapes[word]}-open" for q in part["qualifier"]
                    ],
                    "size": 10,
                    "color": look.ink if word == "usual" else look.meaning(word),
                    "line": {"width": 1.5, "color": look.ink if word == "usual" else look.meaning(word)},
                },
                hovertext=[
                    f"{date_text(d)}<br><b>{parameter_number(v, parameter, units, q)}</b>"
                    for d, v, q in zip(part["local_date"], part["value"], part["qualifier"], strict=True)
                ],
                hoverinfo="text",
            )
        )


def _beside(
    figure: go.Figure,
    rows: pd.DataFrame,
    parameter: Parameter,
    other: int,
    year: int,
    style: tuple[str, str],
    units: Units,
    look: Look,
) -> None:
    """Draw another year on the days of this one."""
    rows = _daily(rows)
    if rows.empty:
        return
    days = pd.DatetimeIndex(rows["local_date"]).day_of_year
    symbol, dash = style
    figure.add_trace(
        go.Scatter(
            x=_dates(np.minimum(days, 365), year),
            y=to_shown(rows["value"].to_numpy(float), parameter.unit, units),
            mode="lines+markers",
            name=str(other),
            line={"color": look.quiet, "width": 1, "dash": dash},
            marker={"symbol": symbol, "size": 7, "color": look.quiet},
            hovertemplate=f"%{{x|%-d %b}} {other}<br><b>%{{y:.2f}}</b><extra></extra>",
        )
    )


def _axes(
    figure: go.Figure,
    rows: pd.DataFrame,
    envelope: pd.DataFrame,
    parameter: Parameter,
    year: int,
    units: Units,
) -> None:
    every = np.concatenate([rows["value"].to_numpy(float), envelope["high"].to_numpy(float)])
    top = float(np.nanmax(to_shown(every, parameter.unit, units))) * 1.08
    bottom = min(0.0, float(np.nanmin(to_shown(every, parameter.unit, units))))
    figure.update_yaxes(
        title_text=axis_title(parameter, units),
        range=[top, 0] if points_down(parameter) else [bottom, top],
        fixedrange=True,
    )
    days = [dt.date(year, 1, 1), dt.date(year, 12, 31)]
    if len(rows) or len(envelope):
        known = envelope.dropna(subset=["low"])
        stamps = [pd.Timestamp(v) for v in rows["local_date"]]
        if len(known):
            stamps += [
                pd.Timestamp(v)
                for v in _dates([known["day_of_year"].min(), known["day_of_year"].max()], year)
            ]
        days = [min(stamps).date() - dt.timedelta(days=5), max(stamps).date() + dt.timedelta(days=5)]
    figure.update_xaxes(range=[str(d) for d in days], tickformat="%b", dtick="M1", fixedrange=True)


def _caption(
    rows: pd.DataFrame,
    where: list[str],
    parameter: Parameter,
    year: int,
    units: Units,
    has_band: bool,
    noun: str,
) -> str:
    if rows.empty:
        return f"No used reading in {year} yet; the band shows what is usual here."
    last = rows.iloc[-1]
    latest = (
        f"{parameter_number(float(last['value']), parameter, units, str(last['qualifier']))} on "
        f"{date_text(last['local_date'])}"
    )
    if not has_band:
        return f"{count_text(len(rows), noun)} in {year}, the latest {latest}; too little past to compare."
    clear, murky = where.count("clearer"), where.count("murkier")
    return (
        f"Of {count_text(len(rows), noun)} in {year}, {clear or 'none'} clearer and {murky or 'none'} "
        f"murkier than the band of the past; the latest is {latest}."
    )
