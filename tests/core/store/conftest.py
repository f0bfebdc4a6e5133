"""Stores to test on, SQLite always and PostgreSQL where a server is given, and small tables to load."""

from __future__ import annotations

import os
import uuid
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from fathomlight.store import Store, open_store

POSTGRES = os.environ.get("FATHOMLIGHT_TEST_POSTGRES", "")


@pytest.fixture
def sqlite_url(tmp_path: Path) -> str:
    return str(tmp_path / "store.sqlite")


@pytest.fixture
def postgres_url() -> Iterator[str]:
    """An empty database of its own on the server that FATHOMLIGHT_TEST_POSTGRES names."""
    if not POSTGRES:
        pytest.skip("FATHOMLIGHT_TEST_POSTGRES names no server (sh tests/start_postgres.sh start)")
    psycopg = pytest.importorskip("psycopg")
    server = POSTGRES.replace("postgresql+psycopg://", "postgresql://")
    name = f"test_{uuid.uuid4().hex[:12]}"
    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
    yield POSTGRES.rsplit("/", 1)[0] + "/" + name
    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.database)])
def url(request: pytest.FixtureRequest) -> str:
    """An empty place for a store on either engine."""
    name = "sqlite_url" if request.param == "sqlite" else "postgres_url"
    found: str = request.getfixturevalue(name)
    return found


@pytest.fixture
def store(url: str) -> Iterator[Store]:
    with open_store(url) as opened:
        yield opened


def make_readings(
    values: Sequence[float],
    *,
    station: str = "Heron Bay",
    parameter: str = "secchi",
    start: str = "2025-07-01T15:00Z",
    freq: str = "D",
    **columns: Any,
) -> pd.DataFrame:
    """Readings of an invented station, one a day from 1 July 2025 at 15:00 UTC."""
    n = len(values)
    time = pd.date_range(start, periods=n, freq=freq).as_unit("us")
    table = pd.DataFrame(
        {
            "station": pd.Series([station] * n, dtype="str"),
            "parameter": pd.Series([parameter] * n, dtype="str"),
            "depth_m": np.zeros(n),
            "time": time,
            "local_date": time.tz_localize(None).normalize(),
            "replicate": np.ones(n, dtype=np.int64),
            "value": np.asarray(values, dtype=np.float64),
            "qualifier": pd.Series(["="] * n, dtype="str"),
            "flag": np.full(n, 2),
            "original_value": pd.Series([str(v) for v in values], dtype="str"),
            "original_unit": pd.Series(["m"] * n, dtype="str"),
            "method": pd.Series(["disc"] * n, dtype="str"),
            "note": pd.Series([""] * n, dtype="str"),
        }
    )
    return table.assign(**columns)


@pytest.fixture
def make() -> Callable[..., pd.DataFrame]:
    return make_readings
