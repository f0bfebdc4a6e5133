"""What the laboratory reported: chlorophyll, phosphorus, nitrogen, suspended matter, with its limits."""

from __future__ import annotations

import numpy as np
import pandas as pd

from .base import number, stream, year_fraction
from .sheets import Rows
from .visits import Visit

HEADER = ["Sample place", "Sampled", "Analyte", "Result", "Unit", "Lab remark"]
FILES = (("lab_2006_2014.csv", 2006, 2014), ("lab_2015_2025.csv", 2015, 2025))
# station: phosphorus level [ug/L], its slope [ug/L per year], chlorophyll per what the disc predicts [1],
# nitrogen [mg/L] or 0 for not analysed
SAMPLED = {
    "VEL-1": (6.5, 0.0, 1.0, 0.28),
    "PIN-1": (26.0, 0.0, 0.7, 0.0),
    "TAN-1": (15.0, 0.0, 0.35, 0.62),
    "QUE-1": (17.0, 0.0, 1.0, 0.0),
    "QUE-2": (34.0, 0.7, 1.15, 0.85),
}
RIVER_PHOSPHORUS = 9.0
"""River phosphorus is this times turbidity ** 0.75 [ug/L]; suspended matter is 1.5 times turbidity [mg/L]."""


def _limited(value: float, limit: float, digits: int) -> str:
    return f"<{limit:g}" if value < limit else number(value, digits)


def _phosphorus(ug: float, year: int) -> tuple[str, str]:
    """Return text and unit: mg/L with a limit of 0.005 until 2012, ug/L with a limit of 4 after."""
    return (_limited(ug / 1000, 0.005, 3), "mg/L") if year <= 2012 else (_limited(ug, 4.0, 1), "ug/L")


def _lake(v: Visit, t: float, rng: np.random.Generator) -> list[tuple[str, str, str]]:
    level, slope, share, nitrogen = SAMPLED[v.station]
    noise = rng.standard_normal(3)
    chlorophyll = share * np.exp((2.04 - np.log(v.disc)) / 0.68 + 0.30 * noise[0])
    phosphorus = (level + slope * (t - 2016.0)) * np.exp(0.14 * noise[1])
    limit = 1.0 if v.time.year <= 2012 else 0.5
    out = [
        ("Chlorophyll a", _limited(chlorophyll, limit, 1), "ug/L"),
        ("Total phosphorus", *_phosphorus(phosphorus, v.time.year)),
    ]
    if nitrogen and v.time.month in (5, 7, 9):
        out.append(("Total nitrogen", _limited(nitrogen * float(np.exp(0.15 * noise[2])), 0.2, 2), "mg/L"))
    return out


def _river(v: Visit, rng: np.random.Generator) -> list[tuple[str, str, str]]:
    noise = rng.standard_normal(2)
    solids = 1.5 * v.turbidity * np.exp(0.15 * noise[0])
    phosphorus = RIVER_PHOSPHORUS * v.turbidity**0.75 * np.exp(0.15 * noise[1])
    return [
        ("Suspended matter", _limited(solids, 2.0, 1), "mg/L"),
        ("Total phosphorus", *_phosphorus(phosphorus, v.time.year)),
    ]


def rows(visits: dict[str, list[Visit]]) -> dict[str, Rows]:
    """Return the rows of the laboratory files: about one sample a month from May to October."""
    rng = stream("lab")
    out: dict[str, Rows] = {name: [] for name, _, _ in FILES}
    picked = []
    for station in (*SAMPLED, "RIV-1"):
        seen = set()
        for v in visits[station]:
            month = (v.time.year, v.time.month)
            if (5 <= v.time.month <= 10 or station == "RIV-1") and month not in seen:
                seen.add(month)
                picked.append(v)
    for v in sorted(picked, key=lambda v: (v.time, v.station)):
        t = float(year_fraction(pd.DatetimeIndex([v.time]))[0])
        results = _river(v, rng) if v.station == "RIV-1" else _lake(v, t, rng)
        for analyte, result, unit in results:
            for name, first, last in FILES:
                if first <= v.time.year <= last:
                    out[name].append([v.station, f"{v.time:%d-%b-%Y}", analyte, result, unit, ""])
    return out
