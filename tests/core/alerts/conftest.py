"""Invented stations, and readings written as short rows."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from fathomlight.alerts import Context
from fathomlight.model import Parameter, Station, Water

STATIONS = {
    "alder": Station("alder", "Alder point", "north", 46.0, -99.0, "America/Chicago", 9.0, 14.0),
    "birch": Station("birch", "Birch narrows", "north", 46.1, -99.0, "America/Chicago", 1.5, 14.0),
    "cedar": Station("cedar", "Cedar ferry", "south", 46.2, -99.0, "UTC", 3.0, 7.0),
}
WATERS = {"north": Water("north", "North Lake"), "south": Water("south", "South River", "river")}
PARAMETERS = {
    "secchi": Parameter("secchi", "Disc depth", "m", 1, "higher"),
    "temperature": Parameter("temperature", "Water temperature", "degC", 1),
    "turbidity_ntu": Parameter("turbidity_ntu", "Turbidity", "NTU", 1, "lower"),
}


@pytest.fixture
def context():
    def make(as_of, **more):
        return Context(as_of=as_of, stations=STATIONS, waters=WATERS, parameters=PARAMETERS, **more)

    return make


@pytest.fixture
def table():
    """Rows (time, value[, qualifier[, flag[, station[, replicate]]]]) to a table of readings."""

    def make(rows, parameter="secchi", depth=0.0):
        full = [(*row, *("=", 1, "alder", 1)[len(row) - 2 :]) for row in rows]
        frame = pd.DataFrame(full, columns=["time", "value", "qualifier", "flag", "station", "replicate"])
        time = pd.to_datetime(frame["time"], utc=True, format="ISO8601")
        return frame.assign(
            time=time.astype("datetime64[us, UTC]"),
            local_date=time.dt.tz_localize(None).dt.normalize().astype("datetime64[us]"),
            value=frame["value"].astype(float),
            parameter=parameter,
            depth_m=depth,
        )

    return make


@pytest.fixture
def weekly(table):
    """Values one week apart from 1 June 2025, noon UTC; ``>1.5`` is written as text."""

    def make(values, start="2025-06-01T12:00", **more):
        rows = []
        for i, value in enumerate(values):
            sign = value[0] if isinstance(value, str) else "="
            number = float(value[1:]) if isinstance(value, str) else value
            time = pd.Timestamp(start) + pd.Timedelta(weeks=i)
            rows.append((time.isoformat(), np.nan if number is None else number, sign))
        return table(rows, **more)

    return make
