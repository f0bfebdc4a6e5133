"""One way to talk to both engines: pooled ADBC connections, short transactions, errors in our own words.

On SQLite **everything** a running program does goes through the ADBC driver, which carries its own SQLite:
two copies of the SQLite library that have one file open in one process cancel each other's locks (SQLite,
"How To Corrupt An SQLite Database File", section 2.2.1), so Python's ``sqlite3`` module must not touch an
open store. Only the migrations do, before the first connection of the process
(:mod:`fathomlight.store.migrate`).
"""

from __future__ import annotations

import contextlib
import os
import re
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Literal

import pyarrow as pa

from fathomlight.errors import (
    MissingExtraError,
    StoreBusyError,
    StoreError,
    StoreFullError,
    StoreReadOnlyError,
)

Engine = Literal["sqlite", "postgresql"]
IDLE_CONNECTIONS = 8
WAL_BYTES_KEPT = 64 * 2**20
CACHE_KIB, CACHE_KIB_LOADING = 8_000, 64_000
_ABANDONED: list[object] = []  # connections inherited by a forked child: neither used nor closed there


class Session:
    """One connection in use by one thread. SQL is written with ``?`` for parameters on both engines."""

    def __init__(self, connection: Any, engine: Engine, where: str) -> None:
        self._connection = connection
        self.engine = engine
        self._where = where

    def run(self, sql: str, *parameters: object) -> None:
        """Execute a statement, dropping what it returns."""
        self._execute(sql, parameters, None)

    def rows(self, sql: str, *parameters: object) -> list[tuple[Any, ...]]:
        """Execute and return all rows as tuples."""
        rows: list[tuple[Any, ...]] = self._execute(sql, parameters, "fetchall")
        return rows

    def row(self, sql: str, *parameters: object) -> tuple[Any, ...] | None:
        """Execute and return the first row, None when there is none."""
        rows = self.rows(sql, *parameters)
        return rows[0] if rows else None

    def number(self, sql: str, *parameters: object) -> int:
        """Execute and return the first column of the first row as a whole number, 0 when there is none."""
        row = self.row(sql, *parameters)
        return 0 if row is None or row[0] is None else int(row[0])

    def arrow(self, sql: str, *parameters: object) -> pa.Table:
        """Execute and return all rows as an Arrow table."""
        return self._execute(sql, parameters, "fetch_arrow_table")

    def ingest(self, table: str, data: pa.Table | pa.RecordBatch) -> None:
        """Append Arrow rows to an existing temporary table, column by name (COPY on PostgreSQL)."""
        if data.num_rows == 0:
            return
        with self._translated(), self._connection.cursor() as cursor:
            cursor.adbc_ingest(table, data, mode="append", temporary=True)

    def _execute(self, sql: str, parameters: tuple[object, ...], fetch: str | None) -> Any:
        if self.engine == "postgresql":
            sql = dollar_parameters(sql)
        with self._translated(), self._connection.cursor() as cursor:
            # an empty sequence is not "no parameters" to the driver
            cursor.execute(sql, parameters) if parameters else cursor.execute(sql)
            return getattr(cursor, fetch)() if fetch else None

    @contextlib.contextmanager
    def _translated(self) -> Iterator[None]:
        try:
            yield
        except Exception as error:
            ours = translate(error, self._where)
            if ours is None:
                raise
            raise ours from error

    @contextlib.contextmanager
    def write(self) -> Iterator[None]:
        """One write transaction: all of it or nothing. Writers queue; :class:`StoreBusyError` after the wait."""
        self.run("BEGIN IMMEDIATE" if self.engine == "sqlite" else "BEGIN")
        try:
            if (
                self.engine == "postgresql"
            ):  # one writer at a time, as on SQLite: batches are numbered in order
                self.run("LOCK TABLE counter IN EXCLUSIVE MODE")
            yield
            self.run("COMMIT")
        except BaseException:
            with contextlib.suppress(Exception):  # SQLite has rolled back by itself when the disk is full
                self.run("ROLLBACK")
            raise

    @contextlib.contextmanager
    def snapshot(self) -> Iterator[None]:
        """Several reads of one and the same state."""
        self.run("BEGIN" if self.engine == "sqlite" else "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY")
        try:
            yield
        finally:
            with contextlib.suppress(Exception):
                self.run("ROLLBACK")

    @contextlib.contextmanager
    def preparing(self) -> Iterator[None]:
        """Reads of one and the same state that fill temporary tables, which stay; nobody has to wait for it."""
        self.run("BEGIN" if self.engine == "sqlite" else "BEGIN ISOLATION LEVEL REPEATABLE READ")
        try:
            yield
            self.run("COMMIT")
        except BaseException:
            with contextlib.suppress(Exception):
                self.run("ROLLBACK")
            raise

    def close(self) -> None:
        """Close the connection."""
        with contextlib.suppress(Exception):
            self._connection.close()


def dollar_parameters(sql: str) -> str:
    """Turn ``?`` into ``$1``, ``$2`` ... (no statement of ours holds a question mark otherwise).

    Examples
    --------
    >>> dollar_parameters("select ? + ?")
    'select $1 + $2'
    """
    pieces = sql.split("?")
    return pieces[0] + "".join(f"${i}{piece}" for i, piece in enumerate(pieces[1:], start=1))


class Database:
    """Connections to one store: opened when needed, kept for the next, used by one thread at a time.

    Parameters
    ----------
    engine : {"sqlite", "postgresql"}
        Which one.
    target : str
        Path of the file, or a libpq URL.
    read_only : bool
        Open without any right to write.
    wait_s : float
        How long a writer waits for another one [s].
    """

    def __init__(self, engine: Engine, target: str, *, read_only: bool = False, wait_s: float = 30.0) -> None:
        self.engine: Engine = engine
        self.target = target
        self.read_only = read_only
        self.wait_s = wait_s
        self.where = target if engine == "sqlite" else hide_password(target)
        self._idle: list[Session] = []
        self._lock = threading.Lock()
        self._closed = False
        self._pid = os.getpid()

    @contextlib.contextmanager
    def session(self, *, fresh: bool = False) -> Iterator[Session]:
        """A connection for the length of a ``with`` block; ``fresh`` ones (with temporary tables) are not kept."""
        session = self._connect(fresh=True) if fresh else self._take()
        try:
            yield session
        except BaseException:
            session.close()
            raise
        if fresh or not self._keep(session):
            session.close()

    @contextlib.contextmanager
    def writing(self, *, fresh: bool = False) -> Iterator[Session]:
        """A connection inside a write transaction."""
        self.require_writable()
        with self.session(fresh=fresh) as session, session.write():
            yield session

    def require_writable(self) -> None:
        """Raise :class:`StoreReadOnlyError` when this store was opened for reading only."""
        if self.read_only:
            raise StoreReadOnlyError(
                "the store was opened for reading only", where=self.where, fix="Open it with read_only=False."
            )

    def close(self) -> None:
        """Close the connections that are not in use; those in use close when they come back."""
        with self._lock:
            self._closed = True
            idle, self._idle = self._idle, []
        for session in idle:
            session.close()

    def reopen(self) -> None:
        """Undo :meth:`close`."""
        with self._lock:
            self._closed = False

    def _take(self) -> Session:
        with self._lock:
            if self._pid != os.getpid():
                _ABANDONED.extend(self._idle)
                self._idle, self._pid = [], os.getpid()
            if self._closed:
                raise StoreError(
                    "the store is closed", where=self.where, fix="Open it again with open_store."
                )
            if self._idle:
                return self._idle.pop()
        return self._connect()

    def _keep(self, session: Session) -> bool:
        with self._lock:
            if self._closed or len(self._idle) >= IDLE_CONNECTIONS:
                return False
            self._idle.append(session)
            return True

    def _connect(self, *, fresh: bool = False) -> Session:
        if self._closed:
            raise StoreError("the store is closed", where=self.where, fix="Open it again with open_store.")
        return self._connect_sqlite(fresh) if self.engine == "sqlite" else self._connect_postgresql()

    def _connect_sqlite(self, fresh: bool) -> Session:
        import adbc_driver_sqlite.dbapi

        try:
            connection = adbc_driver_sqlite.dbapi.connect(
                sqlite_uri(self.target, read_only=self.read_only), autocommit=True
            )
        except Exception as error:
            raise translate(error, self.where) or error from error
        session = Session(connection, "sqlite", self.where)
        try:
            session.run(f"PRAGMA busy_timeout = {int(self.wait_s * 1000)}")
            session.run(f"PRAGMA cache_size = -{CACHE_KIB_LOADING if fresh else CACHE_KIB}")
            if not self.read_only:
                session.run(f"PRAGMA journal_size_limit = {WAL_BYTES_KEPT}")
                session.run("PRAGMA synchronous = FULL")  # an acknowledged batch survives a power cut too
        except BaseException:
            session.close()
            raise
        return session

    def _connect_postgresql(self) -> Session:
        try:
            import adbc_driver_postgresql.dbapi
        except ImportError as error:
            raise MissingExtraError("adbc-driver-postgresql", "postgres", "a store on PostgreSQL") from error
        try:
            connection = adbc_driver_postgresql.dbapi.connect(self.target, autocommit=True)
        except Exception as error:
            raise translate(error, self.where) or error from error
        session = Session(connection, "postgresql", self.where)
        try:
            session.run(f"SET lock_timeout = {int(self.wait_s * 1000)}")
            session.run("SET client_min_messages = warning")
            if self.read_only:
                session.run("SET default_transaction_read_only = on")
        except BaseException:
            session.close()
            raise
        return session


def sqlite_uri(path: str, *, read_only: bool) -> str:
    """Return the ``file:`` address of a SQLite file, with the signs escaped that mean something in an address.

    Examples
    --------
    >>> sqlite_uri("a b?.sqlite", read_only=True)
    'file:a b%3f.sqlite?mode=ro'
    """
    escaped = path.replace("%", "%25").replace("?", "%3f").replace("#", "%23")
    if not read_only:
        return f"file:{escaped}?mode=rw"
    # without the right to make the side files, and with none there, the file cannot change under us
    frozen = not os.access(Path(path).parent, os.W_OK) and not Path(path + "-wal").exists()
    return f"file:{escaped}?mode=ro" + ("&immutable=1" if frozen else "")


def hide_password(url: str) -> str:
    """Return the URL without its password, for messages.

    Examples
    --------
    >>> hide_password("postgresql://me:secret@db/clear")
    'postgresql://me@db/clear'
    """
    hidden = re.sub(r"(//[^:/@]*):[^@/]*@", r"\1@", url)
    return re.sub(r"(?i)(password=)[^&\s]*", r"\1***", hidden)


_SQLITE_ERRORS: tuple[tuple[str, type[StoreError], str, str], ...] = (
    (
        "disk is full",
        StoreFullError,
        "there is no room left for the store",
        "Free some space, then do it again.",
    ),
    (
        "is locked",
        StoreBusyError,
        "another program is writing to the store for longer than we wait",
        "Try again in a moment; if it lasts, look for a load that hangs.",
    ),
    (
        "readonly database",
        StoreReadOnlyError,
        "the store cannot be written to",
        "Check the rights on the file and its folder.",
    ),
    (
        "unable to open database file",
        StoreReadOnlyError,
        "the store or its side files cannot be opened",
        "Check that the folder exists and may be written to.",
    ),
    (
        "file is not a database",
        StoreError,
        "this file is not a store",
        "Name another file, or bring the store back from a copy.",
    ),
    ("malformed", StoreError, "the store is damaged", "Stop using it and bring it back from a copy."),
    (
        "disk I/O error",
        StoreError,
        "the disk could not be read or written",
        "Check the disk and the rights on the folder.",
    ),
)
_POSTGRES_ERRORS: dict[str, tuple[type[StoreError], str, str]] = {
    "53100": (StoreFullError, "there is no room left on the database server", "Free some space there."),
    "25006": (StoreReadOnlyError, "the store cannot be written to", "Open it for writing."),
    "42501": (StoreReadOnlyError, "the database user may not do this", "Ask for the right to write."),
    "55P03": (
        StoreBusyError,
        "another program is writing to the store for longer than we wait",
        "Try again.",
    ),
    "40P01": (StoreBusyError, "two programs waited for each other", "Try again."),
    "40001": (StoreBusyError, "another program changed the same rows", "Try again."),
}


def translate(error: Exception, where: str) -> StoreError | None:
    """Return what a driver's error means in our own words, None when it is not a driver's.

    Parameters
    ----------
    error : Exception
        As raised by the driver.
    where : str
        The store.

    Returns
    -------
    StoreError or None
        With the driver's own words in ``got``.
    """
    import adbc_driver_manager

    if not isinstance(error, adbc_driver_manager.Error):
        return None
    text = str(error)
    if code := getattr(error, "sqlstate", None):
        kind, what, fix = _POSTGRES_ERRORS.get(str(code), (StoreError, "the database refused", ""))
        return kind(what, where=where, got=text, fix=fix or None)
    for sign, kind, what, fix in _SQLITE_ERRORS:
        if sign in text:
            return kind(what, where=where, got=text, fix=fix)
    return StoreError("the database refused", where=where, got=hide_password(text))
