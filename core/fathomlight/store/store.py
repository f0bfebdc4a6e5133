"""The store: the one object through which everything else reads and writes."""

from __future__ import annotations

from pathlib import Path
from types import TracebackType
from typing import Self

from fathomlight.errors import ArgumentError, NotFoundError, StoreError, StoreReadOnlyError
from fathomlight.store.batch_part import BatchPart
from fathomlight.store.checking import CheckResult, check_store
from fathomlight.store.database import Database
from fathomlight.store.ledger_part import LedgerPart
from fathomlight.store.migrate import prepare
from fathomlight.store.quality_part import QualityPart
from fathomlight.store.reading_part import ReadingPart
from fathomlight.store.survey_part import SurveyPart
from fathomlight.store.token_part import TokenPart

_POSTGRES = ("postgresql://", "postgresql+psycopg://", "postgres://")


class Store(ReadingPart, BatchPart, QualityPart, SurveyPart, LedgerPart, TokenPart):
    """Readings with their whole history, in SQLite or PostgreSQL. Made by :func:`open_store`.

    Every method may be called from any thread, and several programs may work on one store at once: readers
    never wait, writers queue, and :class:`~fathomlight.errors.StoreBusyError` is raised after ``wait_s``
    seconds. A change is made in one transaction: a program that is killed leaves all of it or nothing.
    """

    @property
    def read_only(self) -> bool:
        """True when it was opened without any right to write."""
        return self._db.read_only

    def check(self) -> CheckResult:
        """Look the store over: the database's own check, and whether the tables agree.

        Returns
        -------
        CheckResult
            ``ok`` and the problems found; nothing is changed.
        """
        with self._db.session() as session:
            return check_store(session)

    def close(self) -> None:
        """Close the connections; safe to call twice."""
        self._db.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def __repr__(self) -> str:
        return f"<Store {self._db.where}{' (read only)' if self._db.read_only else ''}>"


def open_store(
    url_or_path: str | Path, *, create: bool = True, read_only: bool = False, wait_s: float = 30.0
) -> Store:
    """Open a store, making or upgrading its tables when needed.

    Parameters
    ----------
    url_or_path : str or pathlib.Path
        Path of an SQLite file, ``sqlite:///path``, or ``postgresql+psycopg://user@host/database``.
    create : bool
        Make the store when the file is missing or the database is empty.
    read_only : bool
        Open without any right to write; never creates or upgrades.
    wait_s : float
        How long a write waits for another writer [s].

    Returns
    -------
    Store
        Also a context manager.

    Raises
    ------
    NotFoundError
        The file is missing and may not be made.
    StoreError
        Not a store, damaged, or written by a newer version of this program.

    Examples
    --------
    >>> import tempfile, os
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     with open_store(os.path.join(folder, "store.sqlite")) as store:
    ...         len(store.readings())
    0
    """
    text = str(url_or_path)
    if text.startswith(_POSTGRES):
        target = "postgresql://" + text.split("://", 1)[1]
        database = Database("postgresql", target, read_only=read_only, wait_s=wait_s)
    else:
        database = _sqlite_database(text, create=create, read_only=read_only, wait_s=wait_s)
    try:
        prepare(database, create=create and not read_only)
    except BaseException:
        database.close()
        raise
    return Store(database)


def _sqlite_database(text: str, *, create: bool, read_only: bool, wait_s: float) -> Database:
    if text.startswith("sqlite://"):
        text = text.removeprefix("sqlite://").removeprefix("/")
    elif "://" in text:
        raise ArgumentError(
            "url_or_path",
            "no such kind of store",
            got=text,
            expected="a path, sqlite:///path or postgresql+psycopg://",
        )
    if text in ("", ":memory:"):
        raise ArgumentError("url_or_path", "a store needs a file", got=text, expected="the path of a file")
    path = Path(text).expanduser().absolute()
    if path.is_dir():
        raise StoreError("a store is a file, this is a folder", where=str(path), fix="Name a file in it.")
    if not path.exists():
        if not create or read_only:
            raise NotFoundError(
                "there is no store", where=str(path), fix="Check the path, or make one first."
            )
        _touch(path)
    return Database("sqlite", str(path), read_only=read_only, wait_s=wait_s)


def _touch(path: Path) -> None:
    try:
        path.touch()
    except FileNotFoundError as error:
        raise NotFoundError(
            "the folder of the store is missing", where=str(path.parent), fix="Make it."
        ) from error
    except OSError as error:
        raise StoreReadOnlyError(
            "the store cannot be made here",
            where=str(path),
            got=error.strerror,
            fix="Check the rights on the folder.",
        ) from error
