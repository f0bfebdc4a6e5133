"""The sheets of crews and volunteers: layouts, units and codes as people write them."""

from __future__ import annotations

import numpy as np
import pandas as pd

from .base import FEET, number, stream
from .visits import PLANS, Visit

Rows = list[list[object]]

CREW = [
    "Station",
    "Date",
    "Time",
    "Disc (m)",
    "Bottom",
    "Surface temp (degC)",
    "Turbidity (NTU)",
    "Tube (cm)",
    "Conductance (uS/cm)",
    "Remark",
]
CREW_LONG = ["station", "sampled", "parameter", "value", "unit", "remark"]
VOLUNTEER = ["Where", "Date", "Disc seen to (ft)", "On bottom?", "Water (°F)", "Sky"]
SKIES = ("clear", "some cloud", "overcast", "rain before")
REMARKS = ("windy", "glare", "calm", "light rain")
CREW_FILES = (("crew_2006_2013.csv", 2006, 2013), ("crew_2014_2020.csv", 2014, 2020))
CREW_LONG_FILES = (("crew_2021_2024.csv", 2021, 2024), ("crew_2025.csv", 2025, 2025))
VOLUNTEER_FILES = (("volunteers_2006_2024.csv", 2006, 2024), ("volunteers_2025.csv", 2025, 2025))


def metres(disc: float) -> str:
    """Return a disc depth as a crew writes it: to 0.1 m, to 0.05 m below one metre."""
    return number(round(disc / 0.05) * 0.05, 2) if disc < 1 else number(disc, 1)


def feet(depth_m: float) -> str:
    """Return a depth as a volunteer writes it: to half a foot, to a quarter below five feet."""
    ft = depth_m / FEET
    step = 0.25 if ft < 5 else 0.5
    return f"{max(step, round(ft / step) * step):g}"


def ntu(value: float, limit: float = 0.5) -> str:
    """Return a turbidity as a meter's user reports it, coarser when higher; ``<0.5`` below the limit."""
    if value < limit:
        return f"<{limit:g}"
    for top, step, digits in (
        (1, 0.05, 2),
        (10, 0.1, 1),
        (40, 1, 0),
        (100, 5, 0),
        (400, 10, 0),
        (1e9, 50, 0),
    ):
        if value < top:
            return number(round(value / step) * step, digits)
    raise AssertionError(value)


def _tube(v: Visit, rng: np.random.Generator) -> str:
    depth = 190 * v.turbidity**-0.85 * np.exp(0.06 * rng.standard_normal())
    return ">120" if depth > 120 else number(max(depth, 2.0), 0)


def _crew_fields(v: Visit, rng: np.random.Generator, has_profile: bool) -> dict[str, str]:
    """Return what a crew noted: disc, bottom code, temperature, turbidity, tube, conductance."""
    on_bottom = v.disc >= v.bottom
    river = v.station.startswith("RIV")
    conductance = 560 - 55 * np.log(v.turbidity) + 12 * rng.standard_normal()
    meter_away = rng.random() < 0.04
    return {
        "secchi": metres(v.bottom if on_bottom else v.disc),
        "bottom": "B" if on_bottom else "",
        "temperature": "" if has_profile else number(v.surface_c, 1),
        "turbidity": "" if meter_away else ntu(v.turbidity),
        "tube": _tube(v, rng) if river else "",
        "conductance": number(conductance, 0) if river else "",
        "remark": str(rng.choice(REMARKS)) if rng.random() < 0.12 else "",
    }


def crew(visits: dict[str, list[Visit]], profiled: set[tuple[str, pd.Timestamp]]) -> dict[str, Rows]:
    """Return the rows of every crew file: wide until 2020, long from 2021 on."""
    rng = stream("crew sheet")
    all_visits = sorted(
        (v for name, vs in visits.items() if PLANS[name].who == "crew" for v in vs),
        key=lambda v: (v.time, v.station),
    )
    out: dict[str, Rows] = {name: [] for name, _, _ in (*CREW_FILES, *CREW_LONG_FILES)}
    for v in all_visits:
        f = _crew_fields(v, rng, (v.station, v.time) in profiled)
        for name, first, last in CREW_FILES:
            if first <= v.time.year <= last:
                turbidity = f["turbidity"] or "-99"
                out[name].append(
                    [
                        v.station,
                        f"{v.time:%Y-%m-%d}",
                        f"{v.time:%H:%M}",
                        f["secchi"],
                        f["bottom"],
                        f["temperature"],
                        turbidity,
                        f["tube"],
                        f["conductance"],
                        f["remark"],
                    ]
                )
        for name, first, last in CREW_LONG_FILES:
            if first <= v.time.year <= last:
                out[name].extend(_long(v, f))
    return out


def _long(v: Visit, f: dict[str, str]) -> Rows:
    when = f"{v.time:%Y-%m-%d %H:%M}"
    disc = (">" if f["bottom"] else "") + f["secchi"]
    fields = (
        ("disc", disc, "m"),
        ("surface temperature", f["temperature"], "degC"),
        ("turbidity", f["turbidity"], "NTU"),
        ("tube", f["tube"], "cm"),
        ("conductance", f["conductance"], "uS/cm"),
    )
    return [[v.station, when, what, value, unit, f["remark"]] for what, value, unit in fields if value]


ALIASES = {
    "VEL-2": "North arm",
    "VEL-3": "Outlet",
    "PIN-2": "Reed edge",
    "TAN-2": "Island narrows",
    "TAN-3": "South landing",
    "QUE-3": "Boat ramp",
}


def volunteers(visits: dict[str, list[Visit]], profiled: set[tuple[str, pd.Timestamp]]) -> dict[str, Rows]:
    """Return the rows of every volunteer file: feet, degrees Fahrenheit, places by common name.

    The surface temperature of a profiled visit stands in the profile, not here.
    """
    rng = stream("volunteer sheet")
    out: dict[str, Rows] = {name: [] for name, _, _ in VOLUNTEER_FILES}
    for station, alias in ALIASES.items():
        for v in visits[station]:
            on_bottom = v.disc >= v.bottom
            asked = rng.random() > 0.1 and (station, v.time) not in profiled
            fahrenheit = number(round(v.surface_c * 1.8 + 32), 0) if asked else ""
            row = [
                alias,
                f"{v.time.month}/{v.time.day}/{v.time.year}",
                feet(v.bottom if on_bottom else v.disc),
                "Y" if on_bottom else "N",
                fahrenheit,
                str(rng.choice(SKIES)),
            ]
            for name, first, last in VOLUNTEER_FILES:
                if first <= v.time.year <= last:
                    out[name].append(list(row))
    return out
