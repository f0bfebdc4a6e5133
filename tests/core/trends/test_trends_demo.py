"""The slopes planted in the invented demo are recovered (data/planted.csv holds the truth)."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from fathomlight.seasons import GROWING_SEASON, season_cells
from fathomlight.trends import change_point, seasonal_kendall

DATA = Path(__file__).parents[3] / "data"
WIDE = ("crew_2006_2013.csv", "crew_2014_2020.csv")
LONG = ("crew_2021_2024.csv", "crew_2025.csv")


@pytest.fixture(scope="module")
def discs() -> pd.DataFrame:
    """Disc readings of the crews, read without the importer: this tests the trend, not the loading."""
    tables = []
    for name in WIDE:
        table = pd.read_csv(DATA / "readings" / name, dtype=str, keep_default_na=False)
        tables.append(
            pd.DataFrame(
                {
                    "station": table["Station"],
                    "date": table["Date"],
                    "text": table["Disc (m)"],
                    "bottom": table["Bottom"] == "B",
                }
            )
        )
    for name in LONG:
        table = pd.read_csv(DATA / "readings" / name, dtype=str, keep_default_na=False)
        table = table[table["parameter"] == "disc"]
        tables.append(
            pd.DataFrame(
                {
                    "station": table["station"],
                    "date": table["sampled"].str[:10],
                    "text": table["value"],
                    "bottom": table["value"].str.startswith(">"),
                }
            )
        )
    found = pd.concat(tables, ignore_index=True)
    found["value"] = pd.to_numeric(found["text"].str.strip("> "), errors="coerce")
    found = found[found["value"].between(0.01, 40)]
    return pd.DataFrame(
        {
            "station": found["station"], "parameter": "secchi", "depth_m": 0.0,
            "local_date": pd.to_datetime(found["date"]).astype("datetime64[us]"), "value": found["value"],
            "qualifier": np.where(found["bottom"], ">", "="), "flag": 1,
        }
    )  # fmt: skip


def trend(discs, station, scheme=None):
    cells = season_cells(discs[discs["station"] == station], scheme or GROWING_SEASON)
    return seasonal_kendall(cells["value"], cells["year"], cells["season"], qualifiers=cells["qualifier"])


@pytest.mark.parametrize("station", ["VEL-1", "PIN-1", "TAN-1", "QUE-1"])
def test_planted_slopes_lie_within_the_limits(discs, station):
    planted = pd.read_csv(DATA / "planted.csv")
    row = planted[(planted["station"] == station) & (planted["parameter"] == "secchi")].iloc[0]
    answer = trend(discs, station)
    assert answer.n >= 15
    assert answer.slope_low <= row["value"] <= answer.slope_high
    if row["kind"] == "slope":
        assert answer.p < 0.01
        assert np.sign(answer.slope) == np.sign(row["value"])
    else:
        assert answer.p > 0.01


def test_planted_step_is_found_where_it_is(discs):
    cells = season_cells(discs[discs["station"] == "PIN-3"], GROWING_SEASON)
    answer = change_point(cells["value"], cells["year"], qualifiers=cells["qualifier"])
    assert answer.time in (2013, 2014, 2015)
    assert answer.p < 0.01
