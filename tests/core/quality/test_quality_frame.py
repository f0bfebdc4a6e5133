"""Flags for a table of readings: series kept apart, identities kept, reasons in plain words."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from fathomlight.errors import ArgumentError
from fathomlight.model import IDENTITY, Parameter
from fathomlight.quality import QualitySettings, flag_frame, qartod_flags

SECCHI = QualitySettings.from_table({"gross_range": {"fail": [0, 40], "suspect": [0.1, 20]}})
TEMPERATURE = QualitySettings.from_table(
    {
        "series": "logger",
        "gross_range": {"fail": [-5, 45]},
        "spike": {"rule": "two-difference", "low": 2, "high": 4},
    }
)
PARAMETERS = {"secchi": Parameter("secchi", "Disc depth (Secchi)", "m")}


def readings(rows):
    frame = pd.DataFrame(
        rows, columns=["station", "parameter", "depth_m", "time", "replicate", "value", "qualifier"]
    )
    return frame.assign(time=pd.to_datetime(frame["time"], utc=True))


def test_series_are_not_mixed():
    """Two loggers one degree apart in alternating rows: together they would spike, apart they do not."""
    rows = []
    for i in range(6):
        rows.append(("alder", "temperature", 1.0, f"2025-07-01T0{i}:00", 1, 10.0, "="))
        rows.append(("birch", "temperature", 1.0, f"2025-07-01T0{i}:00", 1, 20.0, "="))
        rows.append(("birch", "temperature", 5.0, f"2025-07-01T0{i}:00", 1, 30.0 if i == 3 else 8.0, "="))
    out = flag_frame(readings(rows), {"temperature": TEMPERATURE})
    assert list(out.columns) == [*IDENTITY, "flag", "test", "reason"]
    bad = out[out["flag"] > 2]
    assert bad[["station", "depth_m", "flag", "test"]].to_numpy().tolist() == [["birch", 5.0, 4, "spike"]]
    assert "stands 22 off its two neighbours" in bad["reason"].iloc[0]


def test_reasons_name_value_unit_and_limit():
    table = readings(
        [
            ("alder", "secchi", 0.0, "2025-07-01", 1, 25.0, "="),
            ("alder", "secchi", 0.0, "2025-07-08", 1, -2.0, "="),
            ("alder", "secchi", 0.0, "2025-07-15", 1, np.nan, "="),
            ("alder", "secchi", 0.0, "2025-07-22", 1, 3.0, ">"),
            ("alder", "chlorophyll", 0.0, "2025-07-22", 1, 3.0, "="),
        ]
    )
    out = flag_frame(table, {"secchi": SECCHI}, parameters=PARAMETERS)
    assert out["flag"].tolist() == [3, 4, 9, 1, 2]
    assert out["reason"].tolist() == [
        "25 m is above what is believed here (20 m)",
        "-2 m is below what the instrument can give (0 m)",
        "no value",
        "",
        "no quality settings for chlorophyll",
    ]


def test_a_station_can_have_its_own_table_and_order_and_index_stay():
    table = readings(
        [
            ("birch", "secchi", 0.0, "2025-07-09", 1, 9.0, "="),
            ("alder", "secchi", 0.0, "2025-07-01", 1, 9.0, "="),
            ("birch", "secchi", 0.0, "2025-07-02", 1, 1.0, "="),
        ]
    ).set_index(pd.Index([7, 3, 5]))
    own = QualitySettings.from_table({"gross_range": {"fail": [0, 5]}})
    out = flag_frame(table, {"secchi": SECCHI, ("birch", "secchi"): own})
    assert out.index.tolist() == [7, 3, 5]
    assert out["flag"].tolist() == [4, 1, 1]


def test_agrees_with_the_single_series_function():
    rng = np.random.default_rng(5)
    times = pd.date_range("2025-07-01", periods=60, freq="h", tz="UTC")
    values = rng.normal(15, 2, 60)
    table = pd.DataFrame(
        {
            "station": "alder",
            "parameter": "temperature",
            "depth_m": 1.0,
            "time": times,
            "replicate": 1,
            "value": values,
        }
    )
    out = flag_frame(table, {"temperature": TEMPERATURE})
    assert out["flag"].tolist() == qartod_flags(values, times, settings=TEMPERATURE).flags.tolist()
    assert {3, 4} <= set(out["flag"])


def test_empty_table_and_missing_columns():
    empty = readings([])
    assert flag_frame(empty, {"secchi": SECCHI}).empty
    with pytest.raises(ArgumentError, match="replicate"):
        flag_frame(empty.drop(columns="replicate"), {})
