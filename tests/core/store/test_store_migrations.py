"""From an empty database and from every older revision to the newest, on both engines."""

from __future__ import annotations

import json

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory

from fathomlight.errors import StoreError, StoreReadOnlyError
from fathomlight.store import BatchInfo, open_store
from fathomlight.store.migrate import _SCRIPTS, HEAD, REVISIONS, upgrade
from fathomlight.store.tables import metadata


def address(url: str) -> str:
    return url if "://" in url else f"sqlite:///{url}"


def differences(url: str) -> list[object]:
    engine = sa.create_engine(address(url))
    with engine.connect() as connection:
        found = compare_metadata(
            MigrationContext.configure(connection, opts={"compare_type": True}), metadata
        )
    engine.dispose()
    # autogenerate looks up the backing index of a unique constraint differently on each engine
    return [step for step in found if "alembic_version" not in str(step)]


def test_the_revisions_known_are_the_scripts_there():
    config = Config()
    config.set_main_option("script_location", str(_SCRIPTS))
    scripts = list(ScriptDirectory.from_config(config).walk_revisions())
    assert [script.revision for script in scripts][::-1] == list(REVISIONS)
    assert ScriptDirectory.from_config(config).get_current_head() == HEAD


def test_the_migrations_make_the_tables_declared(url):
    open_store(url).close()
    assert differences(url) == []


@pytest.mark.parametrize("revision", REVISIONS[:-1])
def test_from_an_older_revision(url, make, revision):
    """What was stored before is there afterwards, and everything new works."""
    upgrade(address(url), to=revision)
    engine = sa.create_engine(address(url))
    with engine.begin() as connection:
        for statement in (
            "INSERT INTO series (station, parameter) VALUES ('Heron Bay', 'secchi')",
            "INSERT INTO origin (unit, method) VALUES ('m', 'disc')",
            "UPDATE counter SET value = 2 WHERE name IN ('next_batch', 'next_vid')",
            "INSERT INTO batch (id, kind, state, file, loaded_at, n_rows, n_new, notes) "
            "VALUES (1, 'readings', 'active', 'old.csv', 0, 1, 1, '[]')",
            "INSERT INTO batch_series (batch, series, n, first_time, last_time) "
            "VALUES (1, 1, 1, 86400000000, 86400000000)",
            "INSERT INTO reading (series, time, depth_m, replicate, vid, value, qualifier, local_day, flag, flag_by, "
            "flag_loaded, auto_mark, origin, batch, first_batch) "
            "VALUES (1, 86400000000, 0.0, 1, 1, 2.5, 0, 1, 2, 0, 2, 0, 1, 1, 1)",
        ):
            connection.execute(sa.text(statement))
    engine.dispose()
    with pytest.raises(StoreReadOnlyError, match="up to date"):
        open_store(url, read_only=True)
    with open_store(url) as store:
        row = store.readings().iloc[0]
        assert (row["station"], row["value"], str(row["time"]), row["method"]) == (
            "Heron Bay", 2.5, "1970-01-02 00:00:00+00:00", "disc",
        )  # fmt: skip
        store.load_readings(make([1.0]), BatchInfo(file="new.csv"))
        store.withdraw(1, "", "")
        store.save_episodes([{"rule": "r", "station": "s", "opened": "2025-07-01", "state": "open"}])
        assert store.surveys().empty
        assert store.check().ok
    assert differences(url) == []


def test_opening_again_changes_nothing(url, make):
    with open_store(url) as store:
        store.load_readings(make([1.0]), BatchInfo())
        version = store.data_version()
    with open_store(url, create=False) as store:
        assert store.data_version() == version


def test_a_store_newer_than_the_program_is_refused_and_left_alone(url, make):
    with open_store(url) as store:
        store.load_readings(make([1.0]), BatchInfo())
    engine = sa.create_engine(address(url))
    with engine.begin() as connection:
        connection.execute(sa.text("UPDATE alembic_version SET version_num = '9999'"))
    for read_only in (False, True):
        with pytest.raises(StoreError, match="newer version") as caught:
            open_store(url, read_only=read_only)
        assert caught.value.got == "9999"
        assert "Upgrade" in str(caught.value)
    with engine.connect() as connection:
        assert connection.execute(sa.text("SELECT count(*) FROM reading")).scalar_one() == 1
        assert connection.execute(sa.text("SELECT version_num FROM alembic_version")).scalar_one() == "9999"
    engine.dispose()


def test_an_empty_database_is_made_a_store_only_when_asked(url):
    if "://" not in url:
        open(url, "w").close()  # noqa: PTH123
    with pytest.raises(StoreError, match="empty"):
        open_store(url, create=False)


def test_a_migration_that_fails_leaves_the_older_store(url, monkeypatch):
    upgrade(address(url), to="0001")
    engine = sa.create_engine(address(url))
    with engine.begin() as connection:
        connection.execute(sa.text("CREATE TABLE audit (something TEXT)"))  # in the way of 0003
    with pytest.raises(StoreError, match="nothing was changed"):
        open_store(url)
    names = sa.inspect(engine).get_table_names()
    assert "survey" not in names  # of 0002, taken back with 0003
    with engine.begin() as connection:
        assert connection.execute(sa.text("SELECT version_num FROM alembic_version")).scalar_one() == "0001"
        connection.execute(sa.text("DROP TABLE audit"))
    engine.dispose()
    with open_store(url) as store:
        assert store.check().ok


def test_several_programs_open_a_new_store_at_once(url):
    import subprocess
    import sys

    code = (
        "import sys; from fathomlight.store import open_store; print(open_store(sys.argv[1]).data_version())"
    )
    opened = [
        subprocess.Popen([sys.executable, "-c", code, url], stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        for _ in range(3)
    ]
    for process in opened:
        out, errors = process.communicate(timeout=60)
        assert process.returncode == 0, errors.decode()[-1500:]
        assert json.loads(out) == 1
    with open_store(url) as store:
        assert store.check().ok
