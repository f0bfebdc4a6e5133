"""Depth and time: lines of equal temperature through a season, with the thermocline where there is one."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import plotly.graph_objects as go

from fathomlight.figures.picture import Picture
from fathomlight.figures.shown import Units, axis_title, count_text, number, shown_unit, to_shown, window_text
from fathomlight.figures.theme import LIGHT, Look, canvas, say_nothing_to_draw
from fathomlight.model import Parameter

if TYPE_CHECKING:
    import xarray as xr


def isotherms(
    profile: xr.Dataset | xr.DataArray,
    parameter: Parameter,
    *,
    variable: str | None = None,
    thermocline_times: Any = None,
    thermocline_depths: Any = None,
    units: Units = "metric",
    look: Look = LIGHT,
    height: int = 360,
) -> Picture:
    """Draw a season of profiles as filled contours, time to the right and depth down.

    Parameters
    ----------
    profile : xarray.Dataset or DataArray
        Dims (time, depth_m), values in the canonical unit of `parameter`; NaN where nothing was read.
    parameter : Parameter
        What was measured.
    variable : str, optional
        Variable of a Dataset; `parameter.name` by default.
    thermocline_times : array_like of datetime64, shape (k,), optional
        Times of the thermocline line.
    thermocline_depths : array_like of float, shape (k,), optional
        Depth of the thermocline [m]; NaN where the water is mixed.
    units : {"metric", "us"}
        What the reader wants.
    look : Look
        The colours.
    height : int
        [px].

    Returns
    -------
    Picture
        Every profile taken is marked on the surface line, so that drawn and measured are not confused.

    Notes
    -----
    Between depths of one visit values are interpolated linearly; between visits Plotly joins them linearly.
    """
    figure = canvas(look, height=height)
    data = profile[variable or parameter.name] if hasattr(profile, "data_vars") else profile
    data = data.transpose("time", "depth_m").sortby("time").sortby("depth_m")
    # A single reading at the surface is no profile: it would tear a hole into the picture.
    data = data.isel(time=np.flatnonzero(data.notnull().sum("depth_m").to_numpy() >= 2))
    data = data.dropna("depth_m", how="all")
    if data.sizes["time"] < 2 or data.sizes["depth_m"] < 2:
        say_nothing_to_draw(
            figure, look, "Lines of equal value need at least two profiles of two depths in this year."
        )
        return Picture(
            figure=figure, caption="Too few profiles to draw.", method_line="", alt="Empty picture."
        )
    depths = data["depth_m"].to_numpy().astype(float)
    times = data["time"].to_numpy().astype("datetime64[us]")
    values = np.asarray(to_shown(_fill_within(data.to_numpy().astype(float), depths), parameter.unit, units))
    shown_depths = np.asarray(to_shown(depths, "m", units))
    _contours(figure, times, shown_depths, values, parameter, units, look)
    figure.add_trace(
        go.Scatter(
            x=times,
            y=np.zeros(len(times)),
            mode="markers",
            name="profile taken",
            marker={"symbol": "triangle-down", "size": 8, "color": look.ink},
            hoverinfo="x",
            cliponaxis=False,
        )
    )
    _thermocline(figure, thermocline_times, thermocline_depths, units, look)
    figure.update_yaxes(
        title_text=f"Depth [{shown_unit('m', units)}]", range=[float(shown_depths.max()), 0], fixedrange=True
    )
    figure.update_xaxes(hoverformat="%-d %b %Y", fixedrange=True)
    low, high = float(np.nanmin(data)), float(np.nanmax(data))
    window = window_text(times[0], times[-1])
    caption = (
        f"{parameter.label} from surface to {number(float(depths.max()), 'm', 0, units)}, {window}: "
        f"{number(low, parameter.unit, parameter.decimals, units)} to "
        f"{number(high, parameter.unit, parameter.decimals, units)}."
    )
    return Picture(
        figure=figure,
        caption=caption,
        method_line=f"n = {count_text(len(times), 'profile')}; marks on the surface line: profiles taken; "
        "in between joined linearly, not measured.",
        alt=f"Contours of {parameter.label.lower()} over time and depth. {caption}",
    )


def _fill_within(values: np.ndarray, depths: np.ndarray) -> np.ndarray:
    """Interpolate each profile between its own depths; never beyond them."""
    out = values.copy()
    for row in out:
        known = np.isfinite(row)
        if known.sum() >= 2:
            inside = (depths >= depths[known][0]) & (depths <= depths[known][-1])
            row[inside] = np.interp(depths[inside], depths[known], row[known])
    return out


def _contours(
    figure: go.Figure, times: Any, depths: Any, values: Any, parameter: Parameter, units: Units, look: Look
) -> None:
    span = float(np.nanmax(values) - np.nanmin(values)) or 1.0
    step = 2.0 if span > 8 else 1.0 if span > 3 else round(span / 6, 1) or 0.1
    if units == "us" and parameter.unit == "degC":
        step = 5.0 if span > 15 else 2.0
    start = float(np.floor(np.nanmin(values) / step) * step)
    figure.add_trace(
        go.Contour(
            x=times,
            y=depths,
            z=values.T,
            colorscale=look.sequential_scale,
            contours={
                "start": start,
                "end": float(np.nanmax(values)),
                "size": step,
                "showlabels": True,
                "labelfont": {"size": 11, "color": look.ink},
            },
            line={"width": 0.7, "color": look.quiet, "smoothing": 0},
            connectgaps=False,
            colorbar={
                "title": {"text": axis_title(parameter, units), "side": "right", "font": {"size": 11}},
                "thickness": 10,
                "outlinewidth": 0,
                "tickfont": {"size": 11},
            },
            hovertemplate="%{x|%-d %b %Y}<br>%{y:.1f} " + shown_unit("m", units) + "<br><b>%{z:.1f} "
            f"{shown_unit(parameter.unit, units)}</b><extra></extra>",
        )
    )


def _thermocline(figure: go.Figure, times: Any, depths: Any, units: Units, look: Look) -> None:
    if times is None or depths is None or len(np.asarray(times)) == 0:
        return
    figure.add_trace(
        go.Scatter(
            x=np.asarray(times),
            y=to_shown(np.asarray(depths, dtype=float), "m", units),
            mode="lines+markers",
            name="thermocline",
            connectgaps=False,
            line={"color": look.ink, "width": 2, "dash": "dash"},
            marker={"size": 5, "color": look.ink},
            hovertemplate="thermocline at %{y:.1f} " + shown_unit("m", units) + "<extra></extra>",
        )
    )
