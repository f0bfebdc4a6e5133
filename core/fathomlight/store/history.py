"""Every version of a reading: what was in force when, who brought it, who ended it, and why."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa

from fathomlight.model import READING_COLUMNS
from fathomlight.store.codes import Codes
from fathomlight.store.database import Session
from fathomlight.store.loading import CONTENT_SQL, prefixed
from fathomlight.store.reads import Selection, by_name, chosen_series, conditions, to_frame
from fathomlight.store.staging import IDENTITY_SQL
from fathomlight.store.times import to_instants

IN_FORCE, SUPERSEDED, OVERRULED, WITHDRAWN = "in force", "superseded", "overruled", "withdrawn"

HISTORY_COLUMNS = {
    "version": "int64", "state": "str", "brought_by": "int64", "brought_at": "datetime64[us, UTC]",
    "brought_who": "str", "brought_why": "str", "ended_by": "int64", "ended_at": "datetime64[us, UTC]",
    "ended_who": "str", "ended_why": "str", "confirmed_by": "object",
}  # fmt: skip
"""Columns a history has after those of the reading."""


def every_version(where: str) -> str:
    """Return SQL that yields all versions for which ``where`` (on the table ``r``) holds."""
    columns = f"{IDENTITY_SQL}, {CONTENT_SQL}"
    return (
        f"SELECT {prefixed('r', columns)}, 1 AS in_force, 0 AS superseded_by, 0 AS overruled "
        f"FROM reading r WHERE {where} UNION ALL "
        f"SELECT {prefixed('r', columns)}, 0 AS in_force, r.superseded_by, r.overruled "
        f"FROM reading_old r WHERE {where}"
    )


def read_history(
    session: Session, series: Codes, origins: Codes, selection: Selection, extra: str
) -> pd.DataFrame:
    """Return all versions of the readings chosen, each reading's versions oldest first."""
    with session.snapshot():
        chosen = chosen_series(series.refresh(session), selection)
        units = origins.refresh(session)
        where = conditions(selection, [number for _, _, number in chosen] or [-1]) + extra
        table = session.arrow(f"{every_version(where)} ORDER BY series, time, depth_m, replicate, vid")
        batches = {
            int(row[0]): row[1:] for row in session.rows("SELECT id, state, loaded_at, who, why FROM batch")
        }
        withdrawals = _last_withdrawals(session)
        if table.num_rows == 0:
            frame = to_frame(table, chosen, units, list(READING_COLUMNS))
            return frame.assign(**{n: pd.Series([], dtype=d) for n, d in HISTORY_COLUMNS.items()})
        table, _ = by_name(table, chosen)
        confirmations = _confirmations(session, np.asarray(table["vid"]))
    frame = to_frame(table, chosen, units, list(READING_COLUMNS))
    return _describe(frame, table, batches, withdrawals, confirmations)


def _last_withdrawals(session: Session) -> dict[int, tuple[int, str, str]]:
    rows = session.rows(
        "SELECT batch, done_at, who, why FROM batch_log WHERE action = 'withdraw' ORDER BY id"
    )
    return {int(batch): (int(at), str(who), str(why)) for batch, at, who, why in rows}


def _confirmations(session: Session, versions: np.ndarray) -> list[tuple[int, ...]]:
    """Return for each version the batches that found it known."""
    found: list[list[int]] = [[] for _ in versions]
    order = np.argsort(versions)
    low, high = int(versions.min()), int(versions.max())
    rows = session.rows(
        "SELECT batch, first_vid, last_vid FROM confirmed WHERE last_vid >= ? AND first_vid <= ? ORDER BY batch",
        low,
        high,
    )
    for batch, first, last in rows:
        start, end = np.searchsorted(versions[order], [int(first), int(last) + 1])
        for position in order[start:end].tolist():
            found[position].append(int(batch))
    return [tuple(batches) for batches in found]


def _describe(
    frame: pd.DataFrame,
    table: pa.Table,
    batches: dict[int, tuple[Any, ...]],
    withdrawals: dict[int, tuple[int, str, str]],
    confirmations: list[tuple[int, ...]],
) -> pd.DataFrame:
    brought = [int(b) for b in table["first_batch"].to_pylist()]
    by = [int(b) for b in table["superseded_by"].to_pylist()]
    states, ends = [], []
    flags = zip(brought, by, table["in_force"].to_pylist(), table["overruled"].to_pylist(), strict=True)
    for first, other, in_force, overruled in flags:
        state = _state(bool(in_force), bool(overruled), other, str(batches[first][0]))
        states.append(state)
        ends.append(_end(state, first, other, batches, withdrawals))
    return frame.assign(
        version=np.asarray(table["vid"], dtype=np.int64),
        state=pd.array(states, dtype="str"),
        brought_by=np.array(brought, dtype=np.int64),
        brought_at=to_instants([batches[b][1] for b in brought]),
        brought_who=pd.array([batches[b][2] for b in brought], dtype="str"),
        brought_why=pd.array([batches[b][3] for b in brought], dtype="str"),
        ended_by=np.array([end[0] for end in ends], dtype=np.int64),
        ended_at=to_instants([end[1] for end in ends]),
        ended_who=pd.array([end[2] for end in ends], dtype="str"),
        ended_why=pd.array([end[3] for end in ends], dtype="str"),
        confirmed_by=pd.Series(confirmations, dtype=object, index=frame.index),
    )


def _state(in_force: bool, overruled: bool, other: int, batch_state: str) -> str:
    if in_force:
        return IN_FORCE
    if batch_state == "withdrawn" and not other:
        return WITHDRAWN
    return OVERRULED if overruled else SUPERSEDED


End = tuple[int, int | None, str, str]


def _end(
    state: str,
    first: int,
    other: int,
    batches: dict[int, tuple[Any, ...]],
    withdrawals: dict[int, tuple[int, str, str]],
) -> End:
    """Return the batch that ended a version (0: none), when, who and why."""
    if state == IN_FORCE:
        return 0, None, "", ""
    if state == WITHDRAWN:
        at, who, why = withdrawals.get(first, (None, "", ""))
        return first, at, who, why
    _, loaded, who, why = batches[other]
    return other, loaded, str(who), str(why)
