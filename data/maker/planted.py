"""The planted truth, as a table that tests can read."""

from __future__ import annotations

from .clarity import DISCS, RIVER
from .lab import SAMPLED
from .sheets import Rows
from .weather import WARMING

HEADER = ["station", "parameter", "kind", "value", "unit", "note"]
TOO_SHORT = {"TAN-3": "record begins in 2023: too short to judge"}
NOTES = {
    "PIN-1": "disc on the bottom in about one visit in ten",
    "PIN-2": "disc on the bottom in about three visits in ten",
    "PIN-3": "level shift from 2015 on, no slope before or after",
    "VEL-3": "no visits in 2013",
    "QUE-3": "no visit after July 2025: overdue at the demo's date",
    "QUE-2": "halved from 16 Aug 2025 on: the open murky episode",
    "TAN-1": "halved from 20 Jun to 25 Jul 2021: an episode that is over",
}


def slopes_and_steps() -> tuple[list[str], Rows]:
    """Return header and rows of planted.csv; slopes are per year in the parameter's canonical unit."""
    rows: Rows = []
    for station, d in DISCS.items():
        note = TOO_SHORT.get(station) or NOTES.get(station, "")
        if d.step:
            rows.append([station, "secchi", "step", d.step, "m", f"{d.step_year}; {note}"])
        elif d.slope:
            rows.append([station, "secchi", "slope", d.slope, "m/a", note])
        else:
            rows.append([station, "secchi", "none", 0, "m/a", note])
    for station, (_, slope) in RIVER.items():
        kind = "slope" if slope else "none"
        rows.append([station, "turbidity_ntu", kind, slope, "NTU/a", "of the usual level, storms aside"])
    for station, (_, slope, _, _) in SAMPLED.items():
        rows.append([station, "total_phosphorus", "slope" if slope else "none", slope, "ug/L/a", ""])
    for station in ("VEL-1", "QUE-1"):
        note = "surface; warm and cold years hide much of it"
        rows.append([station, "temperature", "slope", WARMING, "degC/a", note])
    return HEADER, rows
