"""Small numbers for words: series (station and parameter), origins (unit and method), qualifiers."""

from __future__ import annotations

import threading
from collections.abc import Iterable, Sequence

import numpy as np

from fathomlight.model import ABOVE, BELOW, EQUAL
from fathomlight.store.database import Database, Session

QUALIFIERS_BY_CODE = (EQUAL, BELOW, ABOVE)
"""Qualifier of each code that the tables hold."""
QUALIFIER_CODES = {word: code for code, word in enumerate(QUALIFIERS_BY_CODE)}
"""Code of each qualifier."""

Pair = tuple[str, str]
_COLUMNS = {"series": ("station", "parameter"), "origin": ("unit", "method")}


class Codes:
    """The numbers of word pairs; they are only ever added, so what was read once stays right.

    Parameters
    ----------
    database : Database
        Where they are kept.
    table : {"series", "origin"}
        Which.
    """

    def __init__(self, database: Database, table: str) -> None:
        self._database = database
        self._table = table
        self._first, self._second = _COLUMNS[table]
        self._ids: dict[Pair, int] = {}  # replaced, never changed: other threads may be looking through it
        self._last = 0
        self._lock = threading.Lock()

    def refresh(self, session: Session) -> dict[Pair, int]:
        """Read the pairs added since the last look and return all of them."""
        rows = session.rows(
            f"SELECT id, {self._first}, {self._second} FROM {self._table} WHERE id > ? ORDER BY id",
            self._last,
        )
        with self._lock:
            if rows:
                self._ids = self._ids | {
                    (str(first), str(second)): int(number) for number, first, second in rows
                }
            # on PostgreSQL a number given out earlier may be committed later: look again from the start
            if rows and self._database.engine == "sqlite":
                self._last = max(self._last, int(rows[-1][0]))
            return self._ids

    def numbers(self, pairs: Sequence[Pair]) -> list[int]:
        """Return the number of each pair, making those that are not there yet.

        New pairs are written at once: a pair that no reading uses is invisible.
        """
        if any(pair not in self._ids for pair in pairs):
            with self._database.session() as session:
                self.refresh(session)
            missing = list(dict.fromkeys(pair for pair in pairs if pair not in self._ids))
            if missing:
                self._add(missing)
        return [self._ids[pair] for pair in pairs]

    def _add(self, pairs: Iterable[Pair]) -> None:
        with self._database.writing() as session:
            for first, second in pairs:
                session.run(
                    f"INSERT INTO {self._table} ({self._first}, {self._second}) VALUES (?, ?) "
                    f"ON CONFLICT ({self._first}, {self._second}) DO NOTHING",
                    first,
                    second,
                )
        # only what is committed is remembered: a number whose writing failed is given to another pair later
        with self._database.session() as session:
            self.refresh(session)


def number_pairs(codes: Codes, first: DictionaryArray, second: DictionaryArray) -> np.ndarray:
    """Return the number of every row's pair of words.

    Parameters
    ----------
    codes : Codes
        Where the numbers come from.
    first, second : tuple of (ndarray of int, list of str)
        Row by row the index of a word, and the words.

    Returns
    -------
    ndarray of int64, shape (n,)
        Numbers.
    """
    index_1, words_1 = first
    index_2, words_2 = second
    if index_1.size == 0:
        return np.empty(0, dtype=np.int64)
    width = max(len(words_2), 1)
    used, inverse = np.unique(index_1.astype(np.int64) * width + index_2, return_inverse=True)
    numbers = codes.numbers([(words_1[k // width], words_2[k % width]) for k in used.tolist()])
    return np.asarray(numbers, dtype=np.int64)[inverse]


DictionaryArray = tuple[np.ndarray, list[str]]
"""Row by row the index of a word, and the words."""
