"""Readings with depth: temperature and oxygen profiles of crews and volunteers, and light under water."""

from __future__ import annotations

import numpy as np
import pandas as pd

from .base import number, stations, stream
from .sheets import Rows
from .visits import Visit, under_ice
from .weather import oxygen, profile

CREW_HEADER = ["Station", "Date", "Time", "Depth (m)", "Temperature (degC)", "Oxygen (mg/L)"]
CREW_FILES = (("profiles_2006_2015.csv", 2006, 2015), ("profiles_2016_2025.csv", 2016, 2025))
FOOT_DEPTHS = (0, 3, 6, 9, 12, 15, 18, 21, 24)
VOLUNTEER_HEADER = ["Where", "Date", *(f"{d} ft" for d in FOOT_DEPTHS)]
LIGHT_HEADER = ["Station", "Date", "Time", "Depth (m)", "PAR (umol/m2/s)"]
PROFILED = ("VEL-1", "PIN-1", "TAN-1", "QUE-1")


def depths_of(station: str, bottom: float) -> np.ndarray:
    """Return the depths a crew reads [m]: every metre to 20, then every second; half metres in the bay."""
    if bottom < 3:
        return np.arange(0.0, bottom - 0.2, 0.5)
    upper = np.arange(0.0, min(bottom, 20.5))
    return np.concatenate([upper, np.arange(22.0, bottom, 2.0)])


def profile_visits(visits: dict[str, list[Visit]]) -> list[Visit]:
    """Return the crew visits with a profile: most from June to September, else fewer."""
    out = []
    for name in PROFILED:
        often = name in ("VEL-1", "QUE-1")
        for i, v in enumerate(visits[name]):
            summer = 6 <= v.time.month <= 9
            if (often and summer) or (i % 2 == 0 if (often or summer) else i % 4 == 0):
                out.append(v)
    return out


def crew(visits: dict[str, list[Visit]]) -> tuple[dict[str, Rows], set[tuple[str, pd.Timestamp]]]:
    """Return the rows of the crew profile files, and the visits that have one."""
    rng = stream("profiles")
    places = stations()
    jobs = [(v.station, v.time) for v in profile_visits(visits)]
    jobs += [(name, when) for name in ("VEL-1", "QUE-1", "PIN-1") for when in under_ice(name)]
    out: dict[str, Rows] = {name: [] for name, _, _ in CREW_FILES}
    for station, when in sorted(jobs, key=lambda j: (j[1], j[0])):
        place = places[station]
        z = depths_of(station, place.bottom)
        temperature = profile(place.water, when, z, place.bottom) + 0.3 * rng.standard_normal()
        temperature = np.maximum(temperature + 0.04 * rng.standard_normal(len(z)), 0.0)
        gas = np.maximum(oxygen(place.water, when, z, temperature) + 0.12 * rng.standard_normal(len(z)), 0.0)
        for name, first, last in CREW_FILES:
            if first <= when.year <= last:
                out[name].extend(
                    [station, f"{when:%Y-%m-%d}", f"{when:%H:%M}", f"{d:g}", number(t, 1), number(g, 1)]
                    for d, t, g in zip(z, temperature, gas, strict=True)
                )
    return out, set(jobs)


def line_visits(visits: dict[str, list[Visit]]) -> list[Visit]:
    """Return the volunteer visits with a thermometer on a line."""
    return visits["TAN-2"][::3]


def volunteers(visits: dict[str, list[Visit]]) -> Rows:
    """Return the sheet of the one volunteer with a thermometer on a line: feet across, degrees Fahrenheit."""
    rng = stream("profiles ft")
    z = np.array(FOOT_DEPTHS) * 0.3048
    rows: Rows = []
    for v in line_visits(visits):
        t = profile("tannerook", v.time, z, 8.0) + 0.4 * rng.standard_normal()
        cells = [number(f, 0) for f in np.round(t * 1.8 + 32)]
        if rng.random() < 0.2:
            cells[-2:] = ["", ""]  # the line was short that day
        date = f"{v.time.month}/{v.time.day}/{v.time.year}"
        rows.append(["Island narrows", date, *cells])
    return rows


def light(visits: dict[str, list[Visit]]) -> Rows:
    """Return light under water in the last year, falling as exp(-1.7 depth / disc depth)."""
    rng = stream("light")
    rows: Rows = []
    for name, depths in (("VEL-1", (0.5, 1, 2, 4, 6, 8, 10, 12)), ("QUE-1", (0.5, 1, 1.5, 2, 3, 4, 5))):
        for v in visits[name]:
            if v.time.year != 2025 or not 5 <= v.time.month <= 9:
                continue
            below_surface = rng.uniform(900, 1600)
            for d in depths:
                par = below_surface * np.exp(-1.7 * d / v.disc) * np.exp(0.04 * rng.standard_normal())
                rows.append([name, f"{v.time:%Y-%m-%d}", f"{v.time:%H:%M}", f"{d:g}", number(par, 0)])
    return rows
