"""Bring a store to the shape this program knows: Alembic scripts, one by one, each in a transaction.

A store older than the program is upgraded when it is opened for writing; a newer one is refused.
"""

from __future__ import annotations

import threading
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fathomlight.errors import StoreError, StoreReadOnlyError
from fathomlight.store.database import Database, hide_password

if TYPE_CHECKING:
    import sqlalchemy as sa

REVISIONS = ("0001", "0002", "0003", "0004", "0005")
"""All revisions, oldest first."""
HEAD = REVISIONS[-1]
"""The revision this program reads and writes."""

_MIGRATING = threading.Lock()
_SCRIPTS = Path(__file__).parent / "migrations"


def prepare(database: Database, *, create: bool) -> None:
    """Make or upgrade the tables; do nothing when they are as they should be.

    Parameters
    ----------
    database : Database
        An SQLite file must exist (it may be empty) and must not be open elsewhere in this process unless it
        is already up to date.
    create : bool
        Whether an empty database may become a store.

    Raises
    ------
    StoreError
        Not a store, newer than this program, or old and opened for reading only.
    """
    with _MIGRATING:
        found = revision(database)
        if found == HEAD:
            return
        _refuse_what_cannot_be_upgraded(database, found, create)
        database.close()
        upgrade(sqlalchemy_url(database), wait_s=database.wait_s)
        database.reopen()


def revision(database: Database) -> str | None:
    """Return the revision of a store; None when there are no tables at all."""
    names = (
        "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'"
        if database.engine == "sqlite"
        else "SELECT tablename FROM pg_tables WHERE schemaname = current_schema()"
    )
    with database.session(fresh=True) as session:
        tables = {str(name) for (name,) in session.rows(names)}
        if "alembic_version" in tables:
            row = session.row("SELECT version_num FROM alembic_version")
            return None if row is None else str(row[0])
    if tables:
        raise StoreError(
            "this database is not a store of Fathomlight",
            where=database.where,
            got=sorted(tables)[:5],
            expected="an empty database or a store",
            fix="Name another file or database.",
        )
    return None


def _refuse_what_cannot_be_upgraded(database: Database, found: str | None, create: bool) -> None:
    if found is not None and found not in REVISIONS:
        raise StoreError(
            "the store was written by a newer version of Fathomlight",
            where=database.where,
            got=found,
            expected=f"at most {HEAD}",
            fix="Upgrade Fathomlight (pip install --upgrade fathomlight); the store was left as it is.",
        )
    if found is None and not create:
        raise StoreError(
            "the database is empty", where=database.where, fix="Open it with create=True to make a new store."
        )
    if database.read_only:
        raise StoreReadOnlyError(
            "the store must be brought up to date first, and it was opened for reading only",
            where=database.where,
            got=found or "an empty database",
            expected=HEAD,
            fix="Open it once with read_only=False.",
        )


def sqlalchemy_url(database: Database) -> sa.URL:
    """Return the SQLAlchemy URL of a store."""
    import sqlalchemy as sa

    if database.engine == "sqlite":
        return sa.URL.create("sqlite", database=database.target)
    return sa.make_url(database.target).set(drivername="postgresql+psycopg")


def upgrade(url: str | sa.URL, *, to: str = HEAD, wait_s: float = 60.0) -> None:
    """Run the migration scripts that are missing, in one transaction.

    Parameters
    ----------
    url : str or sqlalchemy.URL
        Where the store is.
    to : str
        Revision to stop at; older ones are for tests.
    wait_s : float
        How long to wait for another program [s].
    """
    import sqlalchemy as sa

    target = sa.make_url(url)
    engine = _engine(target, wait_s)
    try:
        with engine.connect() as connection, connection.begin():
            run_scripts(connection, to)
    except sa.exc.DatabaseError as error:
        raise StoreError(
            "the tables of the store could not be made or upgraded; nothing was changed",
            where=hide_password(target.render_as_string()),
            got=str(error.orig),
            fix="Check the rights on the file and its folder, and that no other program holds it.",
        ) from error
    finally:
        engine.dispose()


def _engine(url: sa.URL, wait_s: float) -> sa.Engine:
    import sqlalchemy as sa

    if url.get_backend_name() != "sqlite":
        return sa.create_engine(url, poolclass=sa.pool.NullPool)
    engine = sa.create_engine(url, poolclass=sa.pool.NullPool, connect_args={"timeout": wait_s})

    @sa.event.listens_for(engine, "connect")
    def _plain(connection: Any, _record: object) -> None:
        connection.isolation_level = None
        connection.execute("PRAGMA journal_mode = WAL")

    @sa.event.listens_for(engine, "begin")
    def _begin(connection: sa.Connection) -> None:
        connection.exec_driver_sql("BEGIN IMMEDIATE")

    return engine


def run_scripts(connection: sa.Connection, to: str = HEAD) -> None:
    """Run the missing scripts on an open connection inside its transaction."""
    import sqlalchemy as sa
    from alembic.config import Config
    from alembic.runtime.environment import EnvironmentContext
    from alembic.script import ScriptDirectory

    if connection.dialect.name == "postgresql":  # two programs may open a new store at once
        connection.execute(sa.text("SELECT pg_advisory_xact_lock(7239846)"))
    config = Config()
    config.set_main_option("script_location", str(_SCRIPTS))
    scripts = ScriptDirectory.from_config(config)

    def steps(current: Any, _context: object) -> Any:
        return scripts._upgrade_revs(to, current)

    with EnvironmentContext(config, scripts, fn=steps) as environment:
        environment.configure(connection=connection, transactional_ddl=False)
        environment.run_migrations()
