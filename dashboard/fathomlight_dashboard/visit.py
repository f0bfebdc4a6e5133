"""One visit, filled in on a form, becomes a small file, read like any other: checked first, then loaded."""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections.abc import Sequence
from dataclasses import dataclass, field

from fathomlight.ingest import Recipe
from fathomlight.model import ABOVE, BELOW, EQUAL

COLUMNS = ("station", "date", "time", "parameter", "value", "unit", "qualifier", "depth_m")


@dataclass(frozen=True, kw_only=True)
class Line:
    """One reading of a visit, as it was taken: value and unit are never converted here."""

    parameter: str
    value: float
    unit: str
    qualifier: str = EQUAL
    depth_m: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Visit:
    """One visit to one station.

    Attributes
    ----------
    station : str
        Id.
    date : datetime.date
        Local date.
    time : datetime.time or None
        Local time of day, when known.
    lines : sequence of Line
        What was read.
    """

    station: str
    date: dt.date
    time: dt.time | None = None
    lines: Sequence[Line] = field(default_factory=tuple)

    @property
    def name(self) -> str:
        """Name under which the batch is remembered."""
        return f"visit {self.station} {self.date.isoformat()}"

    def to_csv(self) -> bytes:
        """Return the visit as a CSV file, one reading a row."""
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(COLUMNS)
        clock = self.time.strftime("%H:%M") if self.time else ""
        for line in self.lines:
            writer.writerow(
                [
                    self.station,
                    self.date.isoformat(),
                    clock,
                    line.parameter,
                    f"{line.value:.10g}",
                    line.unit,
                    line.qualifier,
                    f"{line.depth_m:g}",
                ]
            )
        return out.getvalue().encode("utf-8")


def visit_recipe(parameters: Sequence[str]) -> Recipe:
    """Return the recipe that reads a visit.

    Parameters
    ----------
    parameters : sequence of str
        Names of the parameters of the workspace.

    Returns
    -------
    Recipe
        Long layout: one reading a row, unit and qualifier beside the value.
    """
    return Recipe.model_validate(
        {
            "name": "visit-form",
            "description": "One visit, filled in on the form of the dashboard",
            "kind": "readings",
            "layout": "long",
            "file": {"format": "csv", "encoding": "utf-8", "delimiter": ","},
            "station": {"column": "station"},
            "time": {"column": "date", "time_column": "time", "formats": ["iso", "%Y-%m-%d %H:%M"]},
            "depth": {"column": "depth_m", "unit": "m"},
            "values": [
                {
                    "column": "value",
                    "parameter_column": "parameter",
                    "unit_column": "unit",
                    "qualifier_column": "qualifier",
                    "below_codes": [BELOW],
                    "above_codes": [ABOVE],
                    "equal_codes": ["", EQUAL],
                    "parameters": {name: name for name in parameters},
                }
            ],
        }
    )
