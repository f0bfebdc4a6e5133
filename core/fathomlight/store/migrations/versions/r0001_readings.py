"""Readings with their history, batches and flags.

Revision ID: 0001
"""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import sqlite

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

Whole = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
Real: sa.types.TypeEngine[float] = sa.Double().with_variant(sqlite.REAL(), "sqlite")
STRICT: dict[str, Any] = {"sqlite_strict": True}
CLUSTERED: dict[str, Any] = {"sqlite_strict": True, "sqlite_with_rowid": False}


def _wholes(names: str) -> list[sa.Column[int]]:
    return [sa.Column(name, Whole, nullable=False) for name in names.split()]


def _counts(names: str) -> list[sa.Column[int]]:
    return [sa.Column(name, Whole, nullable=False, server_default=sa.text("0")) for name in names.split()]


def _texts(names: str) -> list[sa.Column[str]]:
    return [sa.Column(n, sa.Text(), nullable=False, server_default=sa.text("''")) for n in names.split()]


def _keys(names: str) -> list[sa.Column[int]]:
    return [sa.Column(name, Whole, primary_key=True, autoincrement=False) for name in names.split()]


def _serial() -> sa.Column[int]:
    return sa.Column("id", Whole, primary_key=True, autoincrement=True)


def upgrade() -> None:
    """Make the tables."""
    _make_codes()
    _make_batches()
    _make_readings()
    _make_flags()
    _make_views()


def _make_codes() -> None:
    counter = op.create_table(
        "counter", sa.Column("name", sa.Text(), primary_key=True), *_counts("value"), **CLUSTERED
    )
    names = ("data_version", "episodes_version", "next_batch", "next_vid")
    op.bulk_insert(counter, [{"name": name, "value": 1} for name in names])
    op.create_table(
        "series",
        _serial(),
        *_texts("station parameter"),
        sa.UniqueConstraint("station", "parameter", name="series_name"),
        **STRICT,
    )
    op.create_table(
        "origin",
        _serial(),
        *_texts("unit method"),
        sa.UniqueConstraint("unit", "method", name="origin_name"),
        **STRICT,
    )


def _make_batches() -> None:
    op.create_table(
        "batch",
        *_keys("id"),
        *_texts("kind state file file_hash recipe who why source"),
        *_wholes("loaded_at"),
        *_counts("n_rows n_new n_known n_corrected n_refused n_empty"),
        *_texts("notes"),
        **STRICT,
    )
    op.create_index("batch_hash", "batch", ["file_hash"])
    op.create_table(
        "batch_log", _serial(), *_wholes("batch"), *_texts("action who why"), *_wholes("done_at"), **STRICT
    )
    op.create_index("batch_log_batch", "batch_log", ["batch"])
    op.create_table("batch_series", *_keys("batch series"), *_wholes("n first_time last_time"), **CLUSTERED)
    op.create_index("batch_series_series", "batch_series", ["series"])
    op.create_table("confirmed", *_keys("batch first_vid"), *_wholes("last_vid"), **CLUSTERED)
    op.create_table(
        "refused",
        *_keys("batch n"),
        *_texts("file"),
        *_wholes("line"),
        *_texts("column_name value reason remedy row_text"),
        **CLUSTERED,
    )


def _make_readings() -> None:
    def identity() -> list[sa.Column[Any]]:
        depth = sa.Column("depth_m", Real, primary_key=True)
        return [*_keys("series time"), depth, *_keys("replicate")]

    def content() -> list[sa.Column[Any]]:
        return [
            sa.Column("value", Real, nullable=False),
            *_wholes("qualifier local_day flag flag_by flag_loaded auto_mark"),
            *_texts("original_value"),
            *_wholes("origin"),
            *_texts("note"),
            *_wholes("batch first_batch"),
        ]

    op.create_table("reading", *identity(), *_wholes("vid"), *content(), **CLUSTERED)
    op.create_table(
        "reading_old",
        *identity(),
        *_keys("vid"),
        *content(),
        *_wholes("superseded_by overruled"),
        **CLUSTERED,
    )


def _make_flags() -> None:
    op.create_table(
        "flag_run", _serial(), *_texts("who"), *_wholes("done_at automatic"), *_texts("why"), **STRICT
    )
    op.create_table(
        "mark",
        _serial(),
        *_wholes("flag"),
        *_texts("test reason"),
        sa.UniqueConstraint("flag", "test", "reason", name="mark_name"),
        **STRICT,
    )
    op.create_table("flag_event", *_keys("vid run"), *_wholes("mark"), *_counts("undone_by"), **CLUSTERED)


def _make_views() -> None:
    """Tables in plain words, for a database shell."""
    if op.get_bind().dialect.name == "sqlite":
        instant = "strftime('%Y-%m-%dT%H:%M:%SZ', {} / 1000000, 'unixepoch')"
        day = "date(r.local_day * 86400, 'unixepoch')"
    else:
        instant = "to_char(to_timestamp({} / 1000000) AT TIME ZONE 'UTC', 'YYYY-MM-DD\"T\"HH24:MI:SS\"Z\"')"
        day = "(DATE '1970-01-01' + CAST(r.local_day AS integer))"
    op.execute(
        f"""CREATE VIEW readings_plain AS
        SELECT s.station, s.parameter, r.depth_m, {instant.format("r.time")} AS time, {day} AS local_date,
               r.replicate, r.value,
               CASE r.qualifier WHEN 1 THEN '<' WHEN 2 THEN '>' ELSE '=' END AS qualifier,
               r.flag, r.original_value, o.unit AS original_unit, r.batch, o.method, r.note
        FROM reading r JOIN series s ON s.id = r.series JOIN origin o ON o.id = r.origin"""
    )
    op.execute(
        f"""CREATE VIEW batches_plain AS
        SELECT b.id AS batch, b.kind, b.state, b.file, b.recipe, b.who, b.why, b.source,
               {instant.format("b.loaded_at")} AS loaded, b.n_new, b.n_known, b.n_corrected, b.n_refused
        FROM batch b"""
    )


def downgrade() -> None:
    """Nothing leads back from a store to no store."""
    raise NotImplementedError("a store is never downgraded: bring it back from a copy")
