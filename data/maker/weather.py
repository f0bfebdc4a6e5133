"""The invented weather: warm and cold years, warm and cold spells, and water temperature by depth.

Surface water follows a yearly wave; a layer of warm water thickens through the summer over a cold bottom;
spring and autumn mix deep water; ice lies from mid December to late March.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from .base import AS_OF, FIRST_YEAR, autocorrelated, stream, year_fraction, years_noise

WARMING = 0.04
"""Planted warming of every surface [degC/a]."""
DAYS = pd.date_range(f"{FIRST_YEAR}-01-01", AS_OF, freq="D")


@dataclass(frozen=True)
class Warmth:
    """Temperature traits of a water: summer peak [degC], its day of year, bottom [degC], mixing depth [m]."""

    peak: float
    peak_day: float
    bottom_c: float
    mixed_m: float
    sharp_m: float


WARMTH = {
    "vellumere": Warmth(22.5, 212, 5.2, 7.5, 1.6),
    "pindlewick": Warmth(25.5, 203, 24.0, 50.0, 2.0),
    "tannerook": Warmth(23.5, 207, 7.5, 4.0, 0.9),
    "grumblewash": Warmth(24.0, 202, 24.0, 50.0, 2.0),
    "quernholt": Warmth(24.5, 208, 8.5, 6.0, 1.8),
}


def anomalies() -> pd.Series:
    """Return how far each day is from the usual surface temperature [degC], the same for all waters."""
    year = years_noise("weather")
    spells = 1.1 * autocorrelated(np.arange(len(DAYS), dtype=float), 12.0, stream("spells"))
    t = year_fraction(DAYS)
    trend = WARMING * (t - 2016.0)
    return pd.Series(trend + 0.6 * np.array([year[y] for y in DAYS.year]) + spells, index=DAYS)


ANOMALY = anomalies()


def surface(water: str, date: pd.Timestamp) -> float:
    """Return surface temperature [degC]; under ice a little above zero."""
    w, day = WARMTH[water], date.day_of_year
    wave = (
        w.peak - (w.peak - 3.0) * 1.16 * ((1 - np.cos(2 * np.pi * (day - w.peak_day) / 365.25)) / 2) ** 0.85
    )
    out = wave + float(ANOMALY[date.normalize()]) * (1.0 if 90 < day < 340 else 0.2)
    if day < 88 or day > 350:
        return 0.4
    return float(max(out, 1.0))


def profile(water: str, date: pd.Timestamp, depths: np.ndarray, bottom: float) -> np.ndarray:
    """Return temperature at the depths [degC]."""
    w, top, day = WARMTH[water], surface(water, date), date.day_of_year
    z = np.asarray(depths, dtype=float)
    if day < 88 or day > 350:
        return 0.4 + 3.4 * (1 - np.exp(-z / max(1.5, bottom / 8)))
    if bottom < 5 or w.mixed_m > 40:
        return np.full(len(z), top) - 0.15 * z / max(bottom, 1.0)
    below = min(w.bottom_c + 0.006 * max(day - 120, 0), top)
    if top - below < 1.0:
        return np.full(len(z), top)
    middle = w.mixed_m * (0.45 + 0.75 * np.clip((day - 130) / 110, 0, 2.2))
    return below + (top - below) / (1 + np.exp((z - middle) / w.sharp_m))


def oxygen(water: str, date: pd.Timestamp, depths: np.ndarray, temperature: np.ndarray) -> np.ndarray:
    """Return dissolved oxygen [mg/L]: near saturation (rough fit) above, used up below in summer."""
    t = np.asarray(temperature, dtype=float)
    saturated = 14.62 - 0.3898 * t + 0.006969 * t**2 - 5.9e-5 * t**3
    day, z = date.day_of_year, np.asarray(depths, dtype=float)
    if day < 88 or day > 350:
        return saturated * np.clip(0.92 - 0.012 * z, 0.3, 1.0)
    demand = {"vellumere": 0.0022, "quernholt": 0.0090, "tannerook": 0.0085}.get(water, 0.0)
    cold = np.clip((t.max() - t) / 8.0, 0.0, 1.0)
    return saturated * np.clip(1.0 - demand * max(day - 135, 0) * cold, 0.01, 1.05)
