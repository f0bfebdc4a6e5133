"""The invented truth about clarity: what the water was, before anybody measured it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from .base import autocorrelated, stream, year_fraction, years_noise
from .weather import ANOMALY, DAYS

MIDDLE = 2016.0
"""Slopes turn about the start of this year."""


@dataclass(frozen=True)
class Disc:
    """Disc-depth traits of a station.

    Level [m], slope [m/a], step [m] from a year on, seasonal swing [1], spread of years [1] and of visits
    [1], and how much a warm degree takes away [1/degC].
    """

    base: float
    slope: float = 0.0
    step: float = 0.0
    step_year: int = 0
    swing: float = 1.0
    years: float = 0.06
    visits: float = 0.10
    warm: float = -0.02


DISCS = {
    "VEL-1": Disc(6.4, slope=0.09, swing=0.6, years=0.04, visits=0.07, warm=-0.008),
    "VEL-2": Disc(5.6, slope=0.05, swing=0.6, years=0.05, visits=0.09, warm=-0.008),
    "VEL-3": Disc(5.2, swing=0.7, years=0.05, visits=0.09, warm=-0.008),
    "PIN-1": Disc(1.6, swing=0.8, years=0.15, visits=0.13),
    "PIN-2": Disc(1.3, swing=0.8, years=0.15, visits=0.13),
    "PIN-3": Disc(1.4, step=0.8, step_year=2015, swing=0.8, years=0.11, visits=0.12),
    "TAN-1": Disc(2.6, slope=-0.04, swing=0.45, years=0.05, visits=0.08, warm=-0.01),
    "TAN-2": Disc(2.3, slope=-0.03, swing=0.45, years=0.05, visits=0.09, warm=-0.01),
    "TAN-3": Disc(2.1, swing=0.45, years=0.05, visits=0.09, warm=-0.01),
    "QUE-1": Disc(2.7, swing=1.1, years=0.10, visits=0.11, warm=-0.03),
    "QUE-2": Disc(1.4, slope=-0.025, swing=1.2, years=0.08, visits=0.12, warm=-0.03),
    "QUE-3": Disc(2.0, swing=1.1, years=0.10, visits=0.12, warm=-0.03),
}

# spells that no season explains: station, first day, last day, what the disc depth is multiplied with
SPELLS = (
    ("TAN-1", "2021-06-20", "2021-07-25", 0.50),
    ("TAN-2", "2021-06-20", "2021-07-25", 0.55),
    ("QUE-2", "2025-08-16", "2025-09-28", 0.50),
    ("QUE-1", "2025-08-25", "2025-09-28", 0.74),
    ("VEL-1", "2025-09-05", "2025-09-28", 1.20),
)

# turbidity of the river [NTU]: level and slope [NTU/a]
RIVER = {"RIV-1": (14.0, -0.30), "RIV-2": (18.0, 0.0)}
# planted storms of the logger year: day, size in natural-log units
STORMS_2025 = (
    ("2025-05-04 06:00", 1.3),
    ("2025-05-23 15:00", 1.6),
    ("2025-06-17 20:00", 2.0),
    ("2025-07-09 02:00", 1.5),
    ("2025-08-03 17:00", 1.9),
    ("2025-08-28 11:00", 1.4),
    ("2025-09-14 22:00", 1.8),
)


def season_shape(day: np.ndarray) -> np.ndarray:
    """Return the yearly wave [1]: spring bloom, clear-water phase, midsummer low, clear autumn."""

    def bump(centre: float, width: float) -> np.ndarray:
        return np.asarray(np.exp(-(((day - centre) / width) ** 2) / 2))

    return -0.10 * bump(118, 12) + 0.24 * bump(158, 15) - 0.19 * bump(222, 27) + 0.10 * bump(300, 22)


def disc_truth(station: str, water: str, dates: pd.DatetimeIndex) -> np.ndarray:
    """Return the disc depth that a perfect observer would see in bottomless water [m]."""
    d = DISCS[station]
    t, day = year_fraction(dates), np.asarray(dates.day_of_year, dtype=float)
    year = years_noise(water + "/clarity")
    share = (
        d.swing * season_shape(day)
        + d.years * np.array([year[y] for y in dates.year])
        + d.visits
        * autocorrelated(
            np.asarray(dates.values.astype("datetime64[D]").astype(float)), 20.0, stream("visits", station)
        )
        + d.warm * (ANOMALY[dates.normalize()].to_numpy() - 0.04 * (t - MIDDLE))
    )
    level = d.base + d.slope * (t - MIDDLE)
    if d.step:
        level = level + np.where(dates.year >= d.step_year, d.step, 0.0)
    out = level + d.base * share
    for name, first, last, factor in SPELLS:
        if name == station:
            out = np.where(
                (dates >= first) & (dates < pd.Timestamp(last) + pd.Timedelta(days=1)), out * factor, out
            )
    return np.maximum(out, 0.12 * d.base)


def growing_season_disc(water: str) -> dict[int, float]:
    """Return the mean June to September disc depth of a lake by year [m], without visit noise."""
    out = {}
    names = [s for s in DISCS if s.startswith(water[:3].upper())]
    for year, x in years_noise(water + "/clarity").items():
        days = pd.date_range(f"{year}-06-01", f"{year}-09-30", freq="7D")
        shape = season_shape(np.asarray(days.day_of_year, dtype=float)).mean()
        values = []
        for name in names:
            d = DISCS[name]
            level = (
                d.base + d.slope * (year + 0.6 - MIDDLE) + (d.step if d.step and year >= d.step_year else 0.0)
            )
            values.append(level + d.base * (d.swing * shape + d.years * x))
        out[year] = float(np.mean(values))
    return out


def _river_log_noise(station: str) -> pd.Series:
    """Return day-by-day departures of the river from its usual turbidity, in natural-log units."""
    shared, own = stream("river"), stream("river", station)
    days = np.arange(len(DAYS), dtype=float)
    out = 0.16 * autocorrelated(days, 10.0, shared) + 0.08 * autocorrelated(days, 10.0, own)
    year = years_noise("flow")
    out = out + 0.07 * np.array([year[y] for y in DAYS.year])
    first_logged = pd.Timestamp("2025-04-01")
    day = 0.0
    while (day := day + shared.exponential(26.0)) < len(DAYS):
        start, size = int(day), shared.uniform(0.8, 2.0)
        if DAYS[start] < first_logged:
            after = np.arange(len(DAYS) - start)
            out[start:] = out[start:] + size * np.exp(-after / 2.2)
    return pd.Series(out, index=DAYS)


def river_truth(station: str, times: pd.DatetimeIndex) -> np.ndarray:
    """Return turbidity of the river [NTU] at local times."""
    base, slope = RIVER[station]
    t, day = year_fraction(times), np.asarray(times.day_of_year, dtype=float)
    wave = 0.55 * np.exp(-(((day - 112) / 22) ** 2) / 2) - 0.25 * np.exp(-(((day - 255) / 40) ** 2) / 2)
    grid = DAYS.values.astype("datetime64[s]").astype(float)
    at = times.values.astype("datetime64[s]").astype(float)
    log = np.interp(at, grid, _river_log_noise(station).to_numpy()) + wave
    for when, size in STORMS_2025:
        hours = (times - pd.Timestamp(when)) / pd.Timedelta(hours=1)
        rise = np.clip(np.asarray(hours) / 5.0, 0, 1)
        log = log + size * rise * np.exp(-np.clip(np.asarray(hours) - 5.0, 0, None) / 40.0)
    return np.asarray((base + slope * (t - MIDDLE)) * np.exp(log))


def river_disc(turbidity: np.ndarray) -> np.ndarray:
    """Return the disc depth [m] that goes with a turbidity [NTU]: the planted relation 4.6 NTU ** -0.80."""
    return 4.6 * np.asarray(turbidity) ** -0.80
