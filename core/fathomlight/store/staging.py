"""Put readings beside the store first, in a temporary table of one connection: nobody sees them, nobody waits.

SQLite keeps temporary tables in a file without a name, which is gone when the process is: a load that is
killed leaves nothing to clean up.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

import numpy as np
import pandas as pd
import pyarrow as pa

from fathomlight.model import REFUSED_COLUMNS, empty_frame
from fathomlight.store.codes import Codes, number_pairs
from fathomlight.store.database import Session
from fathomlight.store.frames import ReadingColumns, check_columns, convert, slices, text

IDENTITY_SQL = "series, time, depth_m, replicate"
Progress = Callable[[int], None]

_STAGE_COLUMNS = """series {w} NOT NULL, time {w} NOT NULL, depth_m {r} NOT NULL, replicate {w} NOT NULL,
    seq {w} NOT NULL, value {r} NOT NULL, qualifier {w} NOT NULL, local_day {w} NOT NULL, flag {w} NOT NULL,
    original_value TEXT NOT NULL, origin {w} NOT NULL, note TEXT NOT NULL"""


def temporary(session: Session, name: str, columns: str, *, key: str = "") -> None:
    """Make a temporary table; ``{w}`` and ``{r}`` in ``columns`` stand for whole and real numbers."""
    if session.engine == "sqlite":
        tail = f", PRIMARY KEY ({key})) STRICT, WITHOUT ROWID" if key else ") STRICT"
        session.run(f"CREATE TEMP TABLE {name} ({columns.format(w='INTEGER', r='REAL')}{tail}")
    else:
        session.run(f"CREATE TEMP TABLE {name} ({columns.format(w='BIGINT', r='DOUBLE PRECISION')})")


class Stage:
    """The readings of one load, staged piece by piece in constant memory.

    Attributes
    ----------
    n_rows, n_empty : int
        Rows handed in, and those among them without a value.
    n_staged : int
        Rows in the temporary table ``stage``.
    refused : list of pandas.DataFrame
        Rows that the store cannot take.
    """

    def __init__(self, session: Session, series: Codes, origins: Codes) -> None:
        self._session = session
        self._series = series
        self._origins = origins
        self.n_rows = self.n_empty = self.n_staged = 0
        self.refused: list[pd.DataFrame] = []
        temporary(session, "stage", _STAGE_COLUMNS, key=f"{IDENTITY_SQL}, seq")

    def fill(self, source: pd.DataFrame | Iterable[pd.DataFrame], progress: Progress | None = None) -> None:
        """Stage a table, or an iterable of tables; ``progress`` is called with the rows done so far."""
        for frame in [source] if isinstance(source, pd.DataFrame) else source:
            check_columns(frame)
            for piece in slices(frame):
                self._add(convert(piece), len(piece))
                if progress is not None:
                    progress(self.n_rows)
        self._session.run(
            "ANALYZE stage"
        )  # without it the planner may walk through all readings for three rows

    def _add(self, columns: ReadingColumns, n_rows: int) -> None:
        self.n_rows += n_rows
        self.n_empty += columns.n_empty
        if len(columns.refused):
            self.refused.append(columns.refused)
        n = columns.numbers["time"].size
        if n == 0:
            return
        series = number_pairs(self._series, columns.station, columns.parameter)
        origin = number_pairs(self._origins, columns.unit, columns.method)
        seq = np.arange(self.n_staged + 1, self.n_staged + n + 1)
        self.n_staged += n
        table = pa.table({**columns.numbers, **columns.texts, "series": series, "origin": origin, "seq": seq})
        keys = columns.numbers
        order = np.lexsort((seq, keys["replicate"], keys["depth_m"], keys["time"], series))
        if not np.array_equal(order, np.arange(n)):  # rows in the order of the key go in several times faster
            table = table.take(pa.array(order))
        self._session.ingest("stage", table)


def stage_refused(session: Session, tables: Iterable[pd.DataFrame], file: str) -> int:
    """Stage refused rows in the temporary table ``stage_refused`` and return how many there are."""
    temporary(
        session,
        "stage_refused",
        "n {w} NOT NULL, file TEXT NOT NULL, line {w} NOT NULL, column_name TEXT NOT NULL, value TEXT NOT NULL, "
        "reason TEXT NOT NULL, remedy TEXT NOT NULL, row_text TEXT NOT NULL",
    )
    filled = [table for table in tables if len(table)]
    rows = pd.concat(filled, ignore_index=True) if filled else empty_frame(REFUSED_COLUMNS)
    line = pd.to_numeric(rows["line"], errors="coerce").fillna(0).astype("int64")
    columns = {name: text(rows[name]) for name in ("file", "value", "reason", "remedy", "row_text")}
    names = pa.array([name or file for name in columns["file"].to_pylist()], type=pa.string())
    session.ingest(
        "stage_refused",
        pa.table(
            {
                **columns,
                "file": names,
                "n": np.arange(1, len(rows) + 1),
                "line": np.asarray(line),
                "column_name": text(rows["column"]),
            }
        ),
    )
    return len(rows)


def publish_refused(session: Session, batch: int) -> None:
    """Give the staged refused rows to a batch."""
    columns = "n, file, line, column_name, value, reason, remedy, row_text"
    session.run(f"INSERT INTO refused (batch, {columns}) SELECT {batch}, {columns} FROM stage_refused")
