"""Withdraw a batch, or put it back: settle again what is in force for every reading the batch speaks of.

What is in force for an identity is what the latest batch that is not withdrawn says of it, be it that the
batch brought the version or found it known and confirmed it.

:func:`judge` finds that out and fills temporary tables only, as if the batch had its new state already: other
writers need not wait for it. :func:`settle` then moves the versions, inside the write transaction; it may be
called only while the data are those that were judged.
"""

from __future__ import annotations

from fathomlight.store.database import Session
from fathomlight.store.loading import CONTENT_SQL, prefixed
from fathomlight.store.staging import IDENTITY_SQL, temporary

_MATCH = "a.series = b.series AND a.time = b.time AND a.depth_m = b.depth_m AND a.replicate = b.replicate"
_IDENTITY_COLUMNS = "series {w} NOT NULL, time {w} NOT NULL, depth_m {r} NOT NULL, replicate {w} NOT NULL"
_VERDICT = "in_force, vid, rank, under, winner, place"


_TEMPORARY = ("voting", "affected", "speaking", "verdict", "moving", "leaving", "renamed", "superseded")


def judge(session: Session, batch: int, state: str) -> tuple[int, int, int]:
    """Find out what will be in force once a batch has a state; fills temporary tables.

    Parameters
    ----------
    session : Session
        A connection inside a transaction.
    batch : int
        Its number.
    state : {"active", "withdrawn"}
        The state it is about to have.

    Returns
    -------
    tuple of int
        Identities that will have no value, one again, and another version in force.
    """
    for name in _TEMPORARY:
        session.run(f"DROP TABLE IF EXISTS {name}")
    temporary(session, "voting", "id {w} NOT NULL", key="id")
    session.run(
        f"INSERT INTO voting (id) SELECT id FROM batch WHERE state = 'active' AND id <> {int(batch)}"
        + (f" UNION SELECT {int(batch)}" if state == "active" else "")
    )
    _find_affected(session, batch)
    _judge(session)
    _find_moves(session)
    return _count(session)


def _find_affected(session: Session, batch: int) -> None:
    """Fill ``affected`` with the identities that a batch speaks of."""
    temporary(session, "affected", _IDENTITY_COLUMNS, key=IDENTITY_SQL)
    for table, more in (("reading", ""), ("reading_old", "AND r.overruled = 0")):
        session.run(
            f"""INSERT INTO affected ({IDENTITY_SQL})
            SELECT DISTINCT {prefixed("r", IDENTITY_SQL)}
            FROM batch_series s JOIN {table} r
                ON r.series = s.series AND r.time >= s.first_time AND r.time <= s.last_time
            WHERE s.batch = {int(batch)} {more} AND (r.first_batch = {int(batch)} OR {_confirms(str(int(batch)))})
            AND NOT EXISTS (SELECT 1 FROM affected b WHERE {_MATCH.replace("a.", "r.")})"""
        )
    session.run("ANALYZE affected")


def _confirms(batch: str) -> str:
    return (
        f"coalesce((SELECT c.last_vid FROM confirmed c WHERE c.batch = {batch} AND c.first_vid <= r.vid "
        "ORDER BY c.first_vid DESC LIMIT 1), 0) >= r.vid"
    )


def _find_moves(session: Session) -> None:
    """Fill ``moving``, ``leaving``, ``renamed`` and ``superseded`` with what :func:`settle` has to do."""
    columns = f"{IDENTITY_SQL}, {CONTENT_SQL}"
    temporary(
        session,
        "moving",
        _IDENTITY_COLUMNS
        + ", vid {w} NOT NULL, value {r} NOT NULL, qualifier {w} NOT NULL, local_day {w} NOT NULL, flag {w} NOT NULL, "
        "flag_by {w} NOT NULL, flag_loaded {w} NOT NULL, auto_mark {w} NOT NULL, original_value TEXT NOT NULL, "
        "origin {w} NOT NULL, note TEXT NOT NULL, batch {w} NOT NULL, first_batch {w} NOT NULL",
        key=f"{IDENTITY_SQL}, vid",
    )
    # winners that are not in force yet; they stand under their own batch, or one that confirmed them
    moved = CONTENT_SQL.replace("batch, first_batch", "{batch}, first_batch")
    session.run(
        f"""INSERT INTO moving ({columns})
        SELECT {prefixed("a", IDENTITY_SQL)}, {prefixed("a", moved).replace("a.{batch}", "b.under")}
        FROM verdict b JOIN reading_old a ON {_MATCH} AND a.vid = b.vid
        WHERE b.in_force = 0 AND b.place = 1 AND b.rank > 0"""
    )
    loses, own = "(b.place > 1 OR b.rank = 0)", prefixed("b", IDENTITY_SQL)
    said = "CASE WHEN b.rank = 0 THEN 0 ELSE b.winner END"
    parts = (
        ("leaving", "word", f"{own}, 0, {said} FROM verdict b WHERE b.in_force = 1 AND {loses}"),
        ("renamed", "word", f"{own}, 0, b.under FROM verdict b JOIN reading a ON {_MATCH} AND a.vid = b.vid "
         "WHERE b.in_force = 1 AND b.place = 1 AND b.rank > 0 AND a.batch <> b.under"),
        ("superseded", "word", f"{own}, b.vid, {said} FROM verdict b JOIN reading_old a ON {_MATCH} "
         f"AND a.vid = b.vid WHERE b.in_force = 0 AND {loses} AND a.superseded_by <> {said}"),
    )  # fmt: skip
    for name, word, rows in parts:
        temporary(
            session,
            name,
            f"{_IDENTITY_COLUMNS}, vid {{w}} NOT NULL, {word} {{w}} NOT NULL",
            key=f"{IDENTITY_SQL}, vid",
        )
        session.run(f"INSERT INTO {name} ({IDENTITY_SQL}, vid, {word}) SELECT {rows}")
    for name in ("moving", "leaving", "renamed", "superseded"):
        session.run(f"ANALYZE {name}")


def settle(session: Session) -> None:
    """Move the versions as they were judged, inside a write transaction.

    Parameters
    ----------
    session : Session
        The connection that was given to :func:`judge`.
    """
    columns = f"{IDENTITY_SQL}, {CONTENT_SQL}"
    session.run(
        f"""INSERT INTO reading_old ({columns}, superseded_by, overruled)
        SELECT {prefixed("a", columns)}, b.word, 0 FROM leaving b JOIN reading a ON {_MATCH}"""
    )
    session.run(f"DELETE FROM reading WHERE ({IDENTITY_SQL}) IN (SELECT {IDENTITY_SQL} FROM leaving)")
    session.run(
        f"DELETE FROM reading_old WHERE ({IDENTITY_SQL}, vid) IN (SELECT {IDENTITY_SQL}, vid FROM moving)"
    )
    session.run(f"INSERT INTO reading ({columns}) SELECT {columns} FROM moving")
    session.run(f"UPDATE reading SET batch = b.word FROM renamed b WHERE {_MATCH.replace('a.', 'reading.')}")
    session.run(
        f"""UPDATE reading_old SET superseded_by = b.word FROM superseded b
        WHERE {_MATCH.replace("a.", "reading_old.")} AND reading_old.vid = b.vid"""
    )


def _judge(session: Session) -> None:
    """Fill ``verdict``: each version of the affected identities, the rank of its word, and its place among them."""
    own = "CASE WHEN r.first_batch IN (SELECT id FROM voting) THEN r.first_batch ELSE 0 END"
    confirmed = f"""coalesce((SELECT max(o.batch) FROM speaking o WHERE o.series = r.series
        AND o.first_time <= r.time AND r.time <= o.last_time AND {_confirms("o.batch")}), 0)"""
    if not _find_speaking(session):
        confirmed = "0"
    versions = " UNION ALL ".join(
        f"""SELECT {in_force} AS in_force, {prefixed("r", IDENTITY_SQL)}, r.vid, {own} AS own, {confirmed} AS confirmed
        FROM affected b JOIN {table} r ON {_MATCH.replace("a.", "r.")} {more}"""
        for in_force, table, more in ((1, "reading", ""), (0, "reading_old", "WHERE r.overruled = 0"))
    )
    temporary(
        session,
        "verdict",
        _IDENTITY_COLUMNS + ", vid {w} NOT NULL, in_force {w} NOT NULL, rank {w} NOT NULL, "
        "under {w} NOT NULL, winner {w} NOT NULL, place {w} NOT NULL",
        key=f"{IDENTITY_SQL}, vid",
    )
    session.run(
        f"""INSERT INTO verdict ({IDENTITY_SQL}, {_VERDICT})
        WITH k AS MATERIALIZED ({versions}),
        m AS MATERIALIZED (SELECT {IDENTITY_SQL}, in_force, vid,
                                  CASE WHEN own >= confirmed THEN own ELSE confirmed END AS rank,
                                  CASE WHEN own > 0 THEN own ELSE confirmed END AS under FROM k)
        SELECT {IDENTITY_SQL}, in_force, vid, rank, under, max(rank) OVER (PARTITION BY {IDENTITY_SQL}),
               row_number() OVER (PARTITION BY {IDENTITY_SQL} ORDER BY rank DESC, vid DESC)
        FROM m"""
    )
    session.run("ANALYZE verdict")


def _find_speaking(session: Session) -> int:
    """Fill ``speaking``: for each series the active batches that confirmed readings; return how many there are."""
    temporary(
        session,
        "speaking",
        "series {w} NOT NULL, batch {w} NOT NULL, first_time {w} NOT NULL, last_time {w} NOT NULL",
        key="series, batch",
    )
    session.run(
        """INSERT INTO speaking (series, batch, first_time, last_time)
        SELECT s.series, s.batch, s.first_time, s.last_time FROM batch_series s JOIN voting b ON b.id = s.batch
        WHERE EXISTS (SELECT 1 FROM confirmed c WHERE c.batch = b.id)"""
    )
    return session.number("SELECT count(*) FROM speaking")


def _count(session: Session) -> tuple[int, int, int]:
    """Tell the identities apart by what was in force before and is now."""
    row = session.row(
        f"""SELECT coalesce(sum(CASE WHEN had = 1 AND has = 0 THEN 1 ELSE 0 END), 0),
               coalesce(sum(CASE WHEN had = 0 AND has = 1 THEN 1 ELSE 0 END), 0),
               coalesce(sum(CASE WHEN had = 1 AND has = 1 AND stays = 0 THEN 1 ELSE 0 END), 0)
        FROM (SELECT max(in_force) AS had, max(CASE WHEN place = 1 AND rank > 0 THEN 1 ELSE 0 END) AS has,
                     max(CASE WHEN place = 1 AND rank > 0 AND in_force = 1 THEN 1 ELSE 0 END) AS stays
              FROM verdict GROUP BY {IDENTITY_SQL}) AS k"""
    )
    assert row is not None
    return int(row[0]), int(row[1]), int(row[2])
