"""The part of a store that loads readings and looks after batches."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Literal

import pandas as pd

from fathomlight.errors import NotFoundError
from fathomlight.model import REFUSED_COLUMNS, empty_frame
from fathomlight.store.batches import (
    BatchChange,
    BatchInfo,
    BatchResult,
    active_copy,
    batch_table,
    bump,
    check_state,
    kind_of,
    log,
    set_state,
    skipped_result,
)
from fathomlight.store.database import Session
from fathomlight.store.loading import publish
from fathomlight.store.part import Part
from fathomlight.store.resolving import judge, settle
from fathomlight.store.staging import Progress, Stage, stage_refused
from fathomlight.store.survey_part import count_changes, state_of_surveys
from fathomlight.store.times import to_instants

_OPEN = "(settled_at = 0 OR settled_by IN (SELECT b.id FROM batch b WHERE b.id = settled_by AND b.state = 'withdrawn'))"
_LOG_COLUMNS = ["batch", "action", "who", "why", "done"]


def _data_version(session: Session) -> int:
    return session.number("SELECT value FROM counter WHERE name = 'data_version'")


class BatchPart(Part):
    """Loading, withdrawing and putting back."""

    def load_readings(
        self,
        frames: pd.DataFrame | Iterable[pd.DataFrame],
        batch: BatchInfo,
        refused: pd.DataFrame | Callable[[], pd.DataFrame] | None = None,
        progress: Progress | None = None,
    ) -> BatchResult:
        """Load readings as one batch: all of it, or after any error nothing.

        Rows are told apart by (station, parameter, depth_m, time, replicate). The same value and qualifier is
        *known*; another one is a *correction* and the older version is kept. Of rows in one load that
        contradict each other the last counts, the others are kept in the history and a note says so. Rows
        without a value are counted and left out; rows that cannot be stored are refused with reason and
        remedy.

        Parameters
        ----------
        frames : pandas.DataFrame or iterable of pandas.DataFrame
            Columns of :data:`fathomlight.model.READING_COLUMNS` without ``batch``; of an iterable one piece
            at a time is in memory.
        batch : BatchInfo
            Where they come from, who loads, and why.
        refused : pandas.DataFrame or callable, optional
            Rows the reader of the file refused (:data:`fathomlight.model.REFUSED_COLUMNS`), kept with the
            batch; a callable is asked when all frames are in.
        progress : callable, optional
            Called with the number of rows done so far.

        Returns
        -------
        BatchResult
            Number of the batch, counts and notes.

        Raises
        ------
        ArgumentError
            Wrong columns or types.
        StoreError
            No room, no right to write, or another writer for too long; nothing was changed.
        """
        self._db.require_writable()
        with self._db.session(fresh=True) as session:
            if (copy := active_copy(session, batch, "readings")) is not None:
                return skipped_result(session, copy)
            stage = Stage(session, self._series, self._origins)
            stage.fill(frames, progress)
            by_reader = refused() if callable(refused) else refused
            n_refused = stage_refused(
                session, [*([by_reader] if by_reader is not None else []), *stage.refused], batch.file
            )
            with session.write():
                return publish(session, batch, stage, n_refused, self._now())

    def withdraw(self, batch: int, who: str, why: str) -> BatchChange:
        """Take a whole batch out of force; what it had corrected comes back. Nothing is deleted.

        Parameters
        ----------
        batch : int
            Number of the batch.
        who, why : str
            Kept in the log of the batch.

        Returns
        -------
        BatchChange
            How many readings went, came back, or have another value now.

        Raises
        ------
        NotFoundError
            No such batch.
        ArgumentError
            It is withdrawn already.
        """
        return self._change(batch, "withdrawn", who, why)

    def restore(self, batch: int, who: str, why: str) -> BatchChange:
        """Put a withdrawn batch back where it was in the order of batches.

        Parameters, returns and errors are those of :meth:`withdraw`.
        """
        return self._change(batch, "active", who, why)

    def _change(self, batch: int, state: str, who: str, why: str) -> BatchChange:
        self._db.require_writable()
        with self._db.session(fresh=True) as session:
            judged, counts = -1, (0, 0, 0)
            kind = kind_of(session, batch)
            if kind == "readings":
                with session.preparing():  # the long part: nobody waits for it
                    check_state(session, batch, state)
                    judged, counts = _data_version(session), judge(session, batch, state)
            with session.write():
                before = state_of_surveys(session) if kind == "surveys" else {}
                set_state(session, batch, state)
                if kind == "surveys":
                    counts = count_changes(before, state_of_surveys(session))
                else:
                    if _data_version(session) != judged:  # somebody wrote meanwhile
                        counts = judge(session, batch, state)
                    settle(session)
                return self._log_change(session, batch, state, (who, why), counts)

    def _log_change(
        self, session: Session, batch: int, state: str, by: tuple[str, str], counts: tuple[int, int, int]
    ) -> BatchChange:
        action: Literal["withdraw", "restore"] = "withdraw" if state == "withdrawn" else "restore"
        log(session, batch, action, *by, self._now())
        gone, back, other = counts
        return BatchChange(
            batch=int(batch),
            action=action,
            n_gone=gone,
            n_back=back,
            n_other_value=other,
            data_version=bump(session, "data_version"),
        )

    def batches(self) -> pd.DataFrame:
        """Return all batches, newest first.

        Returns
        -------
        pandas.DataFrame
            ``batch``, ``kind`` (readings or surveys), ``state`` (active or withdrawn), ``file``,
            ``file_hash``, ``recipe``, ``who``, ``why``, ``source``, ``loaded``, counts ``n_...`` and
            ``notes``.
        """
        with self._db.session() as session:
            return batch_table(session)

    def batch_log(self, batch: int | None = None) -> pd.DataFrame:
        """Return what was done to batches, oldest first: ``batch``, ``action``, ``who``, ``why``, ``done``."""
        with self._db.session() as session:
            rows = session.rows(
                "SELECT batch, action, who, why, done_at FROM batch_log WHERE batch = ? OR ? < 0 ORDER BY id",
                -1 if batch is None else int(batch),
                -1 if batch is None else 0,
            )
        table = pd.DataFrame(rows, columns=_LOG_COLUMNS)
        table = table.astype({"batch": "int64", "action": "str", "who": "str", "why": "str"})
        table["done"] = to_instants(table["done"])
        return table

    def find_batch_by_hash(self, file_hash: str) -> pd.DataFrame:
        """Return the batches that hold a file with this digest, newest first; columns as :meth:`batches`."""
        with self._db.session() as session:
            return batch_table(session, "WHERE file_hash = ? AND file_hash <> ''", file_hash)

    def refused(self, batch: int, *, open_only: bool = False) -> pd.DataFrame:
        """Return the refused rows of a batch.

        Parameters
        ----------
        batch : int
            Number of the batch.
        open_only : bool
            Leave out rows that were put right or set aside (:meth:`settle_refused`); a row put right by a batch
            that is withdrawn now is open again.

        Returns
        -------
        pandas.DataFrame
            Columns of :data:`fathomlight.model.REFUSED_COLUMNS`.

        Raises
        ------
        NotFoundError
            No such batch.
        """
        only = f"AND {_OPEN}" if open_only else ""
        with self._db.session() as session:
            kind_of(session, batch)
            rows = session.rows(
                "SELECT file, line, column_name, value, reason, remedy, row_text FROM refused "
                f"WHERE batch = ? {only} ORDER BY n",
                int(batch),
            )
        if not rows:
            return empty_frame(REFUSED_COLUMNS)
        return pd.DataFrame(rows, columns=list(REFUSED_COLUMNS)).astype(dict(REFUSED_COLUMNS))

    def settle_refused(
        self, batch: int, line: int, column: str | None = None, *, who: str, why: str = "", by_batch: int = 0
    ) -> int:
        """Say that a refused row was put right by a later batch, or is set aside; it stays in the list of all.

        Parameters
        ----------
        batch, line : int
            The batch that refused it, and its line.
        column : str, optional
            The column at fault; every one of that line when left out.
        who, why : str
            Kept with the row.
        by_batch : int
            The batch with the corrected row, 0 when the row is set aside.

        Returns
        -------
        int
            Rows settled.

        Raises
        ------
        NotFoundError
            No such batch, or no open refused row there.
        """
        only, more = ("", ()) if column is None else ("AND column_name = ?", (column,))
        with self._db.writing() as session:
            kind_of(session, batch)
            if by_batch:
                kind_of(session, by_batch)
            found = session.rows(
                "UPDATE refused SET settled_at = ?, settled_by = ?, settled_who = ?, settled_why = ? "
                f"WHERE batch = ? AND line = ? {only} AND {_OPEN} RETURNING n",
                self._now(), int(by_batch), who, why, int(batch), int(line), *more,
            )  # fmt: skip
            if not found:
                raise NotFoundError(
                    "no open refused row there", got=(batch, line, column), fix="Look at the list."
                )
            bump(session, "data_version")
        return len(found)
