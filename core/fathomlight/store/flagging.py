"""Flags on readings: set in bulk by tests or one by one by a person, kept for ever, taken back when wrong.

Which flag is in force: a person's, else the automatic one, else the one that came with the file. Automatic
tests never clear what the file itself called suspect or failed: of those two the worse one counts. A flag
belongs to one version of a reading: a corrected value starts again with the flag it came with.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
import pyarrow as pa

from fathomlight.errors import ArgumentError, NotFoundError
from fathomlight.model import IDENTITY, Flag, Result
from fathomlight.store.codes import Codes
from fathomlight.store.database import Session
from fathomlight.store.frames import instants, text, words
from fathomlight.store.staging import IDENTITY_SQL, temporary

_MATCH = "a.series = b.series AND a.time = b.time AND a.depth_m = b.depth_m AND a.replicate = b.replicate"
BY_FILE, BY_TEST, BY_PERSON = 0, 1, 2


@dataclass(frozen=True, kw_only=True)
class FlagResult(Result):
    """What setting flags did.

    Attributes
    ----------
    run : int
        Number of this call in the history, 0 when there was nothing to write.
    n_set : int
        Readings whose flag (or its test or reason) is new.
    n_same : int
        Readings that bear the same automatic flag already.
    n_kept : int
        Readings among ``n_set`` where a person's flag, or a worse one from the file, stays in force.
    n_unknown : int
        Rows that name no reading in force.
    data_version : int
        Data version of the store afterwards.
    method : str
        The precedence.
    notes : tuple of str
        What to look at.
    """

    run: int
    n_set: int
    n_same: int
    n_kept: int
    n_unknown: int
    data_version: int
    method: str = "In force is a person's flag, else the automatic one, else the one that came with the file."
    notes: tuple[str, ...] = ()


def effective(loaded: str, automatic: str) -> str:
    """Return SQL for the flag in force where no person has set one."""
    return (
        f"CASE WHEN ({loaded} IN (3, 4, 9) AND {automatic} IN (1, 2)) OR ({loaded} IN (4, 9) AND {automatic} = 3) "
        f"OR ({loaded} = 1 AND {automatic} = 2) THEN {loaded} ELSE {automatic} END"
    )


def stage_flags(session: Session, series: Codes, table: pd.DataFrame, automatic: bool) -> tuple[int, int]:
    """Stage flags in ``stage_flag`` and their words in ``stage_mark``; return rows staged and rows unknown."""
    missing = [name for name in (*IDENTITY, "flag") if name not in table]
    if missing:
        raise ArgumentError("flags", f"missing columns {missing}", expected=", ".join((*IDENTITY, "flag")))
    full = table.assign(**{name: "" for name in ("test", "reason") if name not in table})
    flag = _flags(full["flag"])
    test, reason = words(full["test"]), words(full["reason"])
    if not automatic and any(not word.strip() for word in text(full["reason"]).to_pylist()):
        raise ArgumentError("flags", "a flag set by a person needs a reason", fix="Fill the column reason.")
    _stage_marks(session)
    width_1, width_2 = max(len(test[1]), 1), max(len(reason[1]), 1)
    mixed = (flag * width_1 + test[0]) * width_2 + reason[0]
    used, mark = np.unique(mixed, return_inverse=True)
    session.ingest(
        "stage_mark",
        pa.table(
            {
                "k": np.arange(used.size),
                "flag": used // (width_1 * width_2),
                "test": _take(test[1], used // width_2 % width_1),
                "reason": _take(reason[1], used % width_2),
            }
        ),
    )
    return _stage_rows(session, series, full, mark)


def _flags(column: pd.Series) -> np.ndarray:
    flag = np.asarray(pd.to_numeric(column, errors="coerce").to_numpy(dtype=np.float64, na_value=np.nan))
    wrong = ~np.isin(flag, [int(f) for f in Flag])
    if wrong.any():
        raise ArgumentError(
            "flags", "no such flag", got=str(column.iloc[int(wrong.argmax())]), expected="1, 2, 3, 4, 9"
        )
    return flag.astype(np.int64)


def _take(known: Sequence[str], index: np.ndarray) -> pa.Array:
    return pa.array(list(known), type=pa.string()).take(pa.array(index))


def _stage_marks(session: Session) -> None:
    temporary(
        session,
        "stage_mark",
        "k {w} NOT NULL, flag {w} NOT NULL, test TEXT NOT NULL, reason TEXT NOT NULL",
        key="k",
    )
    temporary(
        session,
        "stage_flag",
        "series {w} NOT NULL, time {w} NOT NULL, depth_m {r} NOT NULL, replicate {w} NOT NULL, k {w} NOT NULL",
        key=IDENTITY_SQL,
    )


def _stage_rows(session: Session, series: Codes, table: pd.DataFrame, mark: np.ndarray) -> tuple[int, int]:
    number = _known_series(session, series, table)
    time = instants(table["time"], "time")
    depth = np.round(table["depth_m"].to_numpy(dtype=np.float64), 6) + 0.0
    replicate = table["replicate"].to_numpy(dtype=np.int64)
    order = np.lexsort((np.arange(len(table)), replicate, depth, time, number))
    columns = {"series": number, "time": time, "depth_m": depth, "replicate": replicate}
    columns = {name: values[order] for name, values in columns.items()}
    last = np.ones(len(table), dtype=bool)  # of rows for one reading the last one counts
    if len(table) > 1:
        last[:-1] = np.any([values[1:] != values[:-1] for values in columns.values()], axis=0)
    keep = last & (columns["series"] > 0)
    rows = {name: values[keep] for name, values in columns.items()} | {"k": mark[order][keep]}
    session.ingest("stage_flag", pa.table(rows))
    return int(keep.sum()), int((last & ~keep).sum())


def _known_series(session: Session, series: Codes, table: pd.DataFrame) -> np.ndarray:
    """Return the number of each row's series, 0 where the store has no such series."""
    ids = series.refresh(session)
    (index_1, words_1), (index_2, words_2) = words(table["station"]), words(table["parameter"])
    grid = np.array([[ids.get((a, b), 0) for b in words_2] for a in words_1], dtype=np.int64)
    return np.asarray(grid.reshape(len(words_1), len(words_2))[index_1, index_2])


def publish_flags(
    session: Session, who: str, why: str, automatic: bool, now: int
) -> tuple[int, int, int, int]:
    """Set the staged flags inside a write transaction; return run, n_set, n_matched, n_kept."""
    session.run("ANALYZE stage_flag")
    session.run("ANALYZE stage_mark")
    session.run(
        """INSERT INTO mark (flag, test, reason) SELECT flag, test, reason FROM stage_mark WHERE true
        ON CONFLICT (flag, test, reason) DO NOTHING"""
    )
    temporary(
        session,
        "flag_match",
        "series {w} NOT NULL, time {w} NOT NULL, depth_m {r} NOT NULL, replicate {w} NOT NULL, vid {w} NOT NULL, "
        "mark {w} NOT NULL, flag {w} NOT NULL, fresh {w} NOT NULL, kept {w} NOT NULL",
        key=IDENTITY_SQL,
    )
    fresh = "CASE WHEN b.auto_mark = m.id THEN 0 ELSE 1 END" if automatic else "1"
    outcome = effective("b.flag_loaded", "m.flag")
    flag = outcome if automatic else "m.flag"
    kept = f"CASE WHEN b.flag_by = {BY_PERSON} OR {outcome} <> m.flag THEN 1 ELSE 0 END" if automatic else "0"
    session.run(
        f"""INSERT INTO flag_match ({IDENTITY_SQL}, vid, mark, flag, fresh, kept)
        SELECT b.series, b.time, b.depth_m, b.replicate, b.vid, m.id, {flag}, {fresh}, {kept}
        FROM stage_flag a JOIN reading b ON {_MATCH}
        JOIN stage_mark s ON s.k = a.k
        JOIN mark m ON m.flag = s.flag AND m.test = s.test AND m.reason = s.reason"""
    )
    session.run("ANALYZE flag_match")
    row = session.row(
        "SELECT count(*), coalesce(sum(fresh), 0), coalesce(sum(fresh * kept), 0) FROM flag_match"
    )
    assert row is not None
    matched, n_set, n_kept = (int(float(v)) for v in row)
    if n_set == 0:
        return 0, 0, matched, 0
    run = new_run(session, who, why, automatic, now)
    session.run(
        f"INSERT INTO flag_event (vid, run, mark) SELECT vid, {run}, mark FROM flag_match WHERE fresh = 1"
    )
    if automatic:
        change = (
            f"auto_mark = b.mark, flag = CASE WHEN flag_by = {BY_PERSON} THEN reading.flag ELSE b.flag END, "
            f"flag_by = CASE WHEN flag_by = {BY_PERSON} THEN {BY_PERSON} ELSE {BY_TEST} END"
        )
    else:
        change = f"flag = b.flag, flag_by = {BY_PERSON}"
    session.run(
        f"UPDATE reading SET {change} FROM flag_match b WHERE {_MATCH.replace('a.', 'reading.')} AND b.fresh = 1"
    )
    return run, n_set, matched, n_kept


def new_run(session: Session, who: str, why: str, automatic: bool, now: int) -> int:
    """Write down who sets flags, and return the number of this call."""
    return session.number(
        "INSERT INTO flag_run (who, done_at, automatic, why) VALUES (?, ?, ?, ?) RETURNING id",
        who,
        now,
        int(automatic),
        why,
    )


def undo_last(session: Session, key: tuple[int, int, float, int], run: int) -> None:
    """Take back a person's last flag on one reading; what was in force before it is so again.

    Raises
    ------
    NotFoundError
        No such reading, or no flag of a person on it.
    """
    where = "series = ? AND time = ? AND depth_m = ? AND replicate = ?"
    found = session.row(f"SELECT vid FROM reading WHERE {where}", *key)
    if found is None:
        raise NotFoundError(
            "no such reading", got=key, fix="Name station, parameter, depth, time and replicate."
        )
    vid = int(found[0])
    persons = session.rows(
        """SELECT e.run, m.flag FROM flag_event e JOIN flag_run f ON f.id = e.run JOIN mark m ON m.id = e.mark
        WHERE e.vid = ? AND e.undone_by = 0 AND f.automatic = 0 ORDER BY e.run DESC LIMIT 2""",
        vid,
    )
    if not persons:
        raise NotFoundError("no person has set a flag on this reading", fix="Set one instead.")
    session.run("UPDATE flag_event SET undone_by = ? WHERE vid = ? AND run = ?", run, vid, int(persons[0][0]))
    if len(persons) > 1:
        session.run(f"UPDATE reading SET flag = ? WHERE {where}", int(persons[1][1]), *key)
        return
    automatic = "(SELECT m.flag FROM mark m WHERE m.id = reading.auto_mark)"
    session.run(
        f"""UPDATE reading SET flag = CASE WHEN auto_mark = 0 THEN flag_loaded
                ELSE {effective("flag_loaded", automatic)} END,
            flag_by = CASE WHEN auto_mark = 0 THEN {BY_FILE} ELSE {BY_TEST} END WHERE {where}""",
        *key,
    )
