"""Is a store whole? What the database itself says, and whether the tables agree with each other."""

from __future__ import annotations

from dataclasses import dataclass

from fathomlight.model import Result
from fathomlight.store.database import Session
from fathomlight.store.staging import IDENTITY_SQL

_DEAD = "NOT EXISTS (SELECT 1 FROM batch b WHERE b.id = r.{column})"
_RULES: tuple[tuple[str, str], ...] = (
    ("readings of a series that is not named", "SELECT count(*) FROM reading r WHERE NOT EXISTS "
     "(SELECT 1 FROM series s WHERE s.id = r.series)"),
    ("readings of an unknown batch", f"SELECT count(*) FROM reading r WHERE {_DEAD.format(column='first_batch')}"),
    ("old versions of an unknown batch",
     f"SELECT count(*) FROM reading_old r WHERE {_DEAD.format(column='first_batch')}"),
    ("readings that stand under a withdrawn batch", "SELECT count(*) FROM reading r JOIN batch b ON b.id = r.batch "
     "AND b.state <> 'active'"),
    ("versions both in force and old", f"SELECT count(*) FROM reading_old o JOIN reading r ON "
     f"{' AND '.join(f'o.{name} = r.{name}' for name in IDENTITY_SQL.split(', '))} AND o.vid = r.vid"),
    ("refused rows of an unknown batch", f"SELECT count(*) FROM refused r WHERE {_DEAD.format(column='batch')}"),
    ("batches whose counts do not add up", "SELECT count(*) FROM batch WHERE n_rows <> n_new + n_known + n_corrected "
     "+ n_refused + n_empty"),
    ("batches whose new and corrected readings are not all there",
     "SELECT count(*) FROM batch b LEFT JOIN (SELECT first_batch, count(*) AS n FROM "
     "(SELECT first_batch FROM reading UNION ALL SELECT first_batch FROM reading_old) k GROUP BY first_batch) r "
     "ON r.first_batch = b.id WHERE b.kind = 'readings' AND coalesce(r.n, 0) <> b.n_new + b.n_corrected"),
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class CheckResult(Result):
    """Whether a store is whole.

    Attributes
    ----------
    ok : bool
        True when nothing is wrong.
    problems : tuple of str
        What is wrong, one sentence each.
    n_readings, n_old, n_batches : int
        Readings in force, other versions, and batches.
    method : str
        What was looked at.
    """

    ok: bool
    problems: tuple[str, ...]
    n_readings: int
    n_old: int
    n_batches: int
    method: str = (
        "The integrity check of the database, and whether readings, versions, batches and counts agree."
    )


def check_store(session: Session) -> CheckResult:
    """Look a store over without changing it."""
    problems: list[str] = []
    if session.engine == "sqlite":
        found = [str(row[0]) for row in session.rows("PRAGMA integrity_check(10)")]
        problems += [f"The database is damaged: {text}." for text in found if text != "ok"]
    with session.snapshot():
        for what, sql in _RULES:
            if n := session.number(sql):
                problems.append(f"{n} {what}.")
        sizes = [session.number(f"SELECT count(*) FROM {t}") for t in ("reading", "reading_old", "batch")]
    return CheckResult(
        ok=not problems, problems=tuple(problems), n_readings=sizes[0], n_old=sizes[1], n_batches=sizes[2]
    )
