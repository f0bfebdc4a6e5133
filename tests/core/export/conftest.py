"""A small table of readings with every qualifier, two depths, two stations and a replicate."""

from __future__ import annotations

import pandas as pd
import pytest

from fathomlight.model import READING_COLUMNS


def _row(station: str, parameter: str, time: str, value: float, **more: object) -> dict[str, object]:
    base: dict[str, object] = {
        "station": station,
        "parameter": parameter,
        "depth_m": 0.0,
        "time": time,
        "local_date": time[:10],
        "replicate": 1,
        "value": value,
        "qualifier": "=",
        "flag": 1,
        "original_value": str(value),
        "original_unit": "",
        "batch": 1,
        "method": "",
        "note": "seen by somebody",
    }
    return base | more


@pytest.fixture
def readings() -> pd.DataFrame:
    rows = [
        _row("A1", "secchi", "2025-06-01T16:00:00Z", 3.2),
        _row("A1", "secchi", "2025-06-01T16:00:00Z", 3.3, replicate=2),
        _row("A1", "secchi", "2025-06-08T16:30:00Z", 4.0, qualifier=">", flag=3),
        _row("A1", "turbidity_ntu", "2025-06-08T16:30:00Z", 0.5, qualifier="<"),
        _row("B2", "secchi", "2025-06-02T15:00:00Z", 1.1, flag=2, original_value="=1.1"),
        *[_row("A1", "temperature", "2025-06-08T16:30:00Z", 20.0 - z, depth_m=float(z)) for z in range(4)],
        *[_row("B2", "temperature", "2025-06-02T15:00:00Z", 18.0 - z, depth_m=z / 2) for z in range(3)],
    ]
    frame = pd.DataFrame(rows)
    frame["time"] = pd.to_datetime(frame["time"], utc=True).dt.as_unit("us")
    frame["local_date"] = pd.to_datetime(frame["local_date"]).dt.as_unit("us")
    types = {k: v for k, v in READING_COLUMNS.items() if k not in {"time", "local_date"}}
    return frame.astype(types)[list(READING_COLUMNS)]
