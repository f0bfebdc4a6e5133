"""Who went where and when, and what they saw there."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from .base import AS_OF, YEARS, Place, stations, stream
from .clarity import DISCS, disc_truth, river_disc, river_truth
from .weather import surface


@dataclass(frozen=True)
class Plan:
    """How a station is visited: by whom, every how many days, between which days of the year."""

    who: str
    every: int
    first_day: int
    last_day: int
    missed: float = 0.05
    first_year: int = 2006
    end: str = "2025-09-27"
    lost_years: tuple[int, ...] = ()


PLANS = {
    "VEL-1": Plan("crew", 14, 105, 318),
    "VEL-2": Plan("volunteer", 7, 150, 272, missed=0.15),
    "VEL-3": Plan("volunteer", 30, 130, 285, missed=0.03, lost_years=(2013,)),
    "PIN-1": Plan("crew", 14, 112, 305),
    "PIN-2": Plan("volunteer", 7, 150, 270, missed=0.20),
    "PIN-3": Plan("crew", 21, 118, 300),
    "TAN-1": Plan("crew", 14, 112, 310),
    "TAN-2": Plan("volunteer", 14, 125, 290, missed=0.10),
    "TAN-3": Plan("volunteer", 14, 130, 285, missed=0.05, first_year=2023),
    "RIV-1": Plan("crew", 14, 5, 360),
    "RIV-2": Plan("crew", 14, 6, 360),
    "QUE-1": Plan("crew", 14, 105, 315),
    "QUE-2": Plan("crew", 14, 110, 310),
    "QUE-3": Plan("volunteer", 14, 130, 290, missed=0.08, end="2025-07-12"),
}
NO_FIELD_WORK = (pd.Timestamp("2020-03-15"), pd.Timestamp("2020-06-10"))


@dataclass
class Visit:
    """One visit: local time, and the truth there."""

    station: str
    water: str
    time: pd.Timestamp
    disc: float
    turbidity: float
    bottom: float
    surface_c: float
    notes: list[str] = field(default_factory=list)


def _times(station: str, plan: Plan) -> pd.DatetimeIndex:
    rng = stream("times", station)
    out = []
    for year in YEARS:
        day = plan.first_day + int(rng.integers(0, 7))
        while day <= plan.last_day:
            date = pd.Timestamp(year, 1, 1) + pd.Timedelta(days=day - 1 + int(rng.integers(-2, 3)))
            minutes = 15 * int(rng.integers(38, 58))
            winter = day < 90 or day > 335
            missed = rng.random() < (0.55 if winter else plan.missed)
            closed = plan.who == "crew" and NO_FIELD_WORK[0] <= date < NO_FIELD_WORK[1]
            lost = year in plan.lost_years or year < plan.first_year
            if not (missed or closed or lost) and date.year == year and date <= pd.Timestamp(plan.end):
                out.append(date + pd.Timedelta(minutes=minutes))
            day += plan.every
    return pd.DatetimeIndex(out)


def visits() -> dict[str, list[Visit]]:
    """Return every visit of every station, in order of time."""
    return {name: _visits(place) for name, place in stations().items()}


def _visits(place: Place) -> list[Visit]:
    times = _times(place.id, PLANS[place.id])
    rng = stream("seen", place.id)
    if place.id in DISCS:
        disc = disc_truth(place.id, place.water, times)
        turbidity = 0.6 * (4.6 / disc) ** 1.25 * np.exp(0.15 * rng.standard_normal(len(times)))
    else:
        turbidity = river_truth(place.id, times) * np.exp(0.03 * rng.standard_normal(len(times)))
        disc = river_disc(turbidity) * np.exp(0.08 * rng.standard_normal(len(times)))
    day = np.asarray(times.day_of_year, dtype=float)
    level = 0.12 * np.cos((day - 140) / 58.0) + 0.05 * rng.standard_normal(len(times))
    out = []
    for i, when in enumerate(times):
        spread = 0.5 * rng.standard_normal()
        out.append(
            Visit(
                station=place.id,
                water=place.water,
                time=when,
                disc=float(disc[i] * (1 + 0.02 * rng.standard_normal())),
                turbidity=float(turbidity[i]),
                bottom=float(place.bottom - 0.2 + np.clip(level[i], -0.3, 0.15)),
                surface_c=max(0.1, surface(place.water, when) + spread),
            )
        )
    return out


def under_ice(station: str) -> list[pd.Timestamp]:
    """Return a few winter dates with profiles through the ice."""
    rng = stream("ice", station)
    return [
        pd.Timestamp(year, 2, int(rng.integers(4, 25)), 11, 30)
        for year in (2008, 2012, 2015, 2018, 2021, 2023, 2025)
        if pd.Timestamp(year, 2, 1) < AS_OF
    ]
