"""The same workspace on PostgreSQL by URL: the same answers."""

from __future__ import annotations

import os
import re
import uuid
from pathlib import Path

import pandas as pd
import pytest

from fathomlight.workspace import init_workspace, open_workspace


@pytest.fixture
def database() -> str:
    url = os.environ.get("FATHOMLIGHT_TEST_POSTGRES")
    if not url:
        pytest.skip("FATHOMLIGHT_TEST_POSTGRES is not set (tests/start_postgres.sh start prints a URL)")
    import psycopg

    name = f"ws_{uuid.uuid4().hex[:12]}"
    plain = url.replace("postgresql+psycopg://", "postgresql://")
    with psycopg.connect(plain, autocommit=True) as connection:
        connection.execute(f'CREATE DATABASE "{name}"')
    return re.sub(r"/[^/]+$", f"/{name}", url)


@pytest.mark.database
def test_a_workspace_on_postgresql_answers_the_same(
    database: str, demo_workspace: Path, tmp_path: Path
) -> None:
    folder = init_workspace(tmp_path / "ws", demo=True)
    settings = folder / "config" / "workspace.toml"
    settings.write_text(settings.read_text().replace('"store/fathomlight.sqlite"', f'"{database}"'))
    assert database in settings.read_text()
    files = [
        ("readings/crew_2006_2013.csv", "demo-crew"),
        ("readings/crew_2014_2020.csv", "demo-crew"),
        ("readings/crew_2021_2024.csv", "demo-crew-long"),
        ("readings/crew_2025.csv", "demo-crew-long"),
    ]
    with open_workspace(folder) as shared, open_workspace(demo_workspace, read_only=True) as local:
        for name, recipe in files:
            shared.load(folder / "data" / name, recipe)
        assert shared.load(folder / "data" / files[0][0], files[0][1]).skipped
        mine, theirs = shared.series("QUE-2"), local.series("QUE-2")
        columns = ["time", "value", "qualifier", "flag"]
        pd.testing.assert_frame_equal(mine[columns], theirs[columns])
        assert shared.trend("QUE-2").sentence == local.trend("QUE-2").sentence
        assert shared.standing("QUE-2") == local.standing("QUE-2")
        shared.withdraw(1, "trial")
        assert len(shared.series("QUE-2")) < len(mine)
    assert not (folder / "store").exists()
