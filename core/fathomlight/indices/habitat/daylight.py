"""The light of every day of the year, reduced to the few points that a day's mean needs."""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np
import pandas as pd

from fathomlight.indices._values import FloatArray
from fathomlight.indices.light import illuminance

_MINUTES = 721  # from noon to midnight, both included
_BRIGHT, _DARK = 7.0, -7.0  # ln lux; between them light is resolved by level, above by time


@dataclass(frozen=True)
class LightCourse:
    """Light from noon to midnight.

    ``log_lux`` (366 days, edges) is ln of light, falling along each row; ``share`` (366, edges - 1) the
    share of the day spent between two edges; a row of ``share`` adds up to 1. Row 0 is 1 January, row 59 29
    February.
    """

    log_lux: FloatArray
    share: FloatArray


def declinations() -> FloatArray:
    """Declination of the sun at noon UTC of each day of the leap year 2024, [deg], by pvlib; shape (366,)."""
    from pvlib import spa

    noon = pd.date_range("2024-01-01 12:00", periods=366, freq="D", tz="UTC").as_unit("s").asi8.astype(float)
    found = spa.solar_position_numpy(noon, 0.0, 0.0, 0.0, 1013.25, 12.0, 67.0, 0.5667, 1, True, False)
    return np.asarray(found[2], dtype=float)


@functools.lru_cache(maxsize=64)
def light_course(latitude: float, light_step: float, sky_factor: float) -> LightCourse:
    """Clear-sky light times ``sky_factor`` through every day of the year at a latitude.

    Parameters
    ----------
    latitude : float
        [deg], north positive.
    light_step : float
        Step of light levels through twilight, [ln lux]; the day proper is cut into ``6 / light_step`` pieces.
    sky_factor : float
        Share of clear-sky light that comes through.

    Returns
    -------
    LightCourse
        With night held at the end of astronomical twilight, where no limit of a fish lies.

    Notes
    -----
    The sun's path is symmetric about noon, so half a day stands for the whole, and longitude and the
    equation of time do not matter. ``sin h = sin(lat) sin(dec) + cos(lat) cos(dec) cos(t)`` with the
    declination of noon.
    """
    hour = np.linspace(0.0, np.pi, _MINUTES)
    share = hour / np.pi
    dec, lat = np.radians(declinations())[:, None], np.radians(latitude)
    sine = np.sin(lat) * np.sin(dec) + np.cos(lat) * np.cos(dec) * np.cos(hour)
    elevation = np.degrees(np.arcsin(np.clip(sine, -1.0, 1.0)))
    lux = sky_factor * illuminance(np.maximum(elevation, -18.0))
    log_lux = np.minimum.accumulate(
        np.log(lux), axis=1
    )  # the published ranges meet within 1 %: keep it falling
    pieces = max(2, round(6.0 / light_step))
    through_day = 1.0 - (1.0 - np.linspace(0.0, 1.0, pieces + 1)) ** 1.5
    levels = np.arange(_BRIGHT, _DARK, -light_step)[1:]
    edges = np.empty((366, pieces + 1 + levels.size + 1))
    for row, light in enumerate(log_lux):
        dusk = np.interp(_BRIGHT, light[::-1], share[::-1])
        twilight = np.interp(levels, light[::-1], share[::-1])
        edges[row] = np.concatenate([dusk * through_day, twilight, [1.0]])
    values = np.stack([np.interp(at, share, light) for at, light in zip(edges, log_lux, strict=True)])
    course = LightCourse(values, np.diff(edges, axis=1))
    course.log_lux.setflags(write=False)
    course.share.setflags(write=False)
    return course
