"""Publish staged readings: tell new, known and corrected apart and make all of it visible in one transaction.

The rules, as a biologist would expect them:

- same identity, same value and qualifier: **known**; the stored reading stays, and the store remembers that
  this batch said so too, so that withdrawing the first batch does not take it away;
- same identity, another value or qualifier: a **correction**; the older version is kept, superseded;
- twice in one file with one value: known; with different values: the last row counts, the others are kept
  in the history as overruled by it, are counted as corrected, and a note says so (repeats that are meant
  need replicate numbers).

Values are the same when they differ by less than one part in a thousand million, which is rounding and not
a reading.
"""

from __future__ import annotations

from fathomlight.store.batches import (
    BatchInfo,
    BatchResult,
    active_copy,
    bump,
    skipped_result,
    take_numbers,
    withdrawn_copies,
    write_batch,
)
from fathomlight.store.database import Session
from fathomlight.store.staging import IDENTITY_SQL, Stage, publish_refused, temporary

METHOD = (
    "Rows were matched by station, parameter, depth, time and replicate; the same value and qualifier is known, "
    "another one a correction whose older version is kept."
)
CONTENT_SQL = (
    "vid, value, qualifier, local_day, flag, flag_by, flag_loaded, auto_mark, original_value, origin, note, "
    "batch, first_batch"
)
_MATCH = "a.series = b.series AND a.time = b.time AND a.depth_m = b.depth_m AND a.replicate = b.replicate"
_SAME = "abs(a.value - b.value) <= 1e-9 * abs(b.value) AND a.qualifier = b.qualifier"


def publish(session: Session, info: BatchInfo, stage: Stage, n_refused: int, now: int) -> BatchResult:
    """Turn the staged rows into a batch, inside a write transaction.

    Parameters
    ----------
    session : Session
        The connection that holds the temporary tables ``stage`` and ``stage_refused``.
    info : BatchInfo
        Where the rows come from.
    stage : Stage
        What was staged.
    n_refused : int
        Refused rows staged.
    now : int
        Time of the load [us since 1970].

    Returns
    -------
    BatchResult
        Counts and notes.
    """
    if (copy := active_copy(session, info, "readings")) is not None:
        return skipped_result(session, copy)
    batch = take_numbers(session, "next_batch", 1)
    base = take_numbers(session, "next_vid", stage.n_staged) - 1
    notes = [f"The same file was withdrawn before as batch {n}." for n in withdrawn_copies(session, info)]
    twice_known, overruled = _settle_repeats(session, stage, batch, base, notes)
    _note_series(session, batch)
    known, corrected = _settle_matches(session, batch, notes)
    _write_current(session, batch, base)
    if stage.n_empty:
        notes.append(f"{stage.n_empty} rows hold no value and were not stored.")
    publish_refused(session, batch)
    known += twice_known
    corrected += overruled
    result = BatchResult(
        batch=batch,
        n_rows=stage.n_rows + n_refused - sum(len(t) for t in stage.refused),
        n_new=stage.n_staged - known - corrected,
        n_known=known,
        n_corrected=corrected,
        n_refused=n_refused,
        n_empty=stage.n_empty,
        data_version=bump(session, "data_version"),
        method=METHOD,
        notes=tuple(notes),
    )
    write_batch(session, info, "readings", result, now)
    return result


def _settle_repeats(
    session: Session, stage: Stage, batch: int, base: int, notes: list[str]
) -> tuple[int, int]:
    """Keep the last row of each identity staged; return how many others say the same and another thing."""
    different = session.number(
        f"SELECT count(*) FROM (SELECT 1 AS one FROM stage GROUP BY {IDENTITY_SQL}) AS k"
    )
    if different == stage.n_staged:
        return 0, 0
    temporary(session, "stage_twice", "seq {w} NOT NULL, same {w} NOT NULL", key="seq")
    session.run(
        f"""INSERT INTO stage_twice (seq, same)
        SELECT seq, CASE WHEN abs(value - next_value) <= 1e-9 * abs(next_value) AND qualifier = next_qualifier
                    THEN 1 ELSE 0 END
        FROM (SELECT seq, value, qualifier, lead(seq) OVER w AS next_seq, lead(value) OVER w AS next_value,
                     lead(qualifier) OVER w AS next_qualifier
              FROM stage WINDOW w AS (PARTITION BY {IDENTITY_SQL} ORDER BY seq)) AS k
        WHERE next_seq IS NOT NULL"""
    )
    session.run(
        f"""INSERT INTO reading_old ({IDENTITY_SQL}, {CONTENT_SQL}, superseded_by, overruled)
        SELECT {IDENTITY_SQL}, {_fresh(batch, base)}, {batch}, 1
        FROM stage WHERE seq IN (SELECT seq FROM stage_twice WHERE same = 0)"""
    )
    session.run("DELETE FROM stage WHERE seq IN (SELECT seq FROM stage_twice)")
    same = session.number("SELECT count(*) FROM stage_twice WHERE same = 1")
    other = session.number("SELECT count(*) FROM stage_twice WHERE same = 0")
    if other:
        notes.append(
            f"{other} rows were overruled by a later row of the same file with another value for the same station, "
            "parameter, depth, time and replicate; if they are repeats, number them in the replicate column."
        )
    return same, other


def _settle_matches(session: Session, batch: int, notes: list[str]) -> tuple[int, int]:
    """Compare with what is in force; return how many rows are known and how many correct it."""
    temporary(
        session,
        "stage_match",
        "series {w} NOT NULL, time {w} NOT NULL, depth_m {r} NOT NULL, replicate {w} NOT NULL, seq {w} NOT NULL, "
        "vid {w} NOT NULL, same {w} NOT NULL, same_words {w} NOT NULL",
    )
    session.run(
        f"""INSERT INTO stage_match ({IDENTITY_SQL}, seq, vid, same, same_words)
        SELECT a.series, a.time, a.depth_m, a.replicate, a.seq, b.vid, CASE WHEN {_SAME} THEN 1 ELSE 0 END,
               CASE WHEN a.note = b.note AND a.origin = b.origin THEN 1 ELSE 0 END
        FROM stage a JOIN reading b ON {_MATCH}"""
    )
    known = session.number("SELECT count(*) FROM stage_match WHERE same = 1")
    corrected = session.number("SELECT count(*) FROM stage_match WHERE same = 0")
    if known:
        session.run(
            f"""INSERT INTO confirmed (batch, first_vid, last_vid)
            SELECT {batch}, min(vid), max(vid)
            FROM (SELECT vid, vid - row_number() OVER (ORDER BY vid) AS run FROM stage_match WHERE same = 1) AS k
            GROUP BY run"""
        )
        session.run("DELETE FROM stage WHERE seq IN (SELECT seq FROM stage_match WHERE same = 1)")
        other = session.number("SELECT count(*) FROM stage_match WHERE same = 1 AND same_words = 0")
        if other:
            notes.append(
                f"{other} known rows came with another note, unit or method; the stored ones were kept."
            )
    if corrected:
        session.run(
            f"""INSERT INTO reading_old ({IDENTITY_SQL}, {CONTENT_SQL}, superseded_by, overruled)
            SELECT b.series, b.time, b.depth_m, b.replicate, {prefixed("b", CONTENT_SQL)}, {batch}, 0
            FROM stage_match a JOIN reading b ON {_MATCH} WHERE a.same = 0"""
        )
    return known, corrected


def _note_series(session: Session, batch: int) -> None:
    session.run(
        f"""INSERT INTO batch_series (batch, series, n, first_time, last_time)
        SELECT {batch}, series, count(*), min(time), max(time) FROM stage GROUP BY series"""
    )


def _write_current(session: Session, batch: int, base: int) -> None:
    changed = ", ".join(f"{name} = excluded.{name}" for name in CONTENT_SQL.split(", "))
    session.run(
        f"""INSERT INTO reading ({IDENTITY_SQL}, {CONTENT_SQL})
        SELECT {IDENTITY_SQL}, {_fresh(batch, base)} FROM stage WHERE true
        ON CONFLICT ({IDENTITY_SQL}) DO UPDATE SET {changed}"""
    )


def _fresh(batch: int, base: int) -> str:
    fresh = f"seq + {base}, value, qualifier, local_day, flag, 0, flag, 0"
    return f"{fresh}, original_value, origin, note, {batch}, {batch}"


def prefixed(table: str, columns: str) -> str:
    """Put the name of a table before each of some columns.

    Examples
    --------
    >>> prefixed("r", "vid, value")
    'r.vid, r.value'
    """
    return ", ".join(f"{table}.{name}" for name in columns.split(", "))
