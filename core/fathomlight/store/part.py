"""What every part of a store shares: the database, the numbers of words, and the clock."""

from __future__ import annotations

from fathomlight.store.codes import Codes
from fathomlight.store.database import Database
from fathomlight.store.times import now_us


class Part:
    """Base of the parts that make up a :class:`~fathomlight.store.Store`."""

    def __init__(self, database: Database) -> None:
        self._db = database
        self._series = Codes(database, "series")
        self._origins = Codes(database, "origin")

    @staticmethod
    def _now() -> int:
        return now_us()
