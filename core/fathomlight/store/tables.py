"""The tables of a store, as SQLAlchemy Core declares them; the same on SQLite and on PostgreSQL.

Times are whole microseconds since 1970 in UTC, days whole days since 1970, qualifiers the codes of
:data:`fathomlight.store.codes.QUALIFIER_CODES`. Nothing is NULL where a value is always known: unknown text
is empty, an unknown batch is 0. ``reading`` holds what is true now; ``reading_old`` every other version, so
that readings are found by one look into one tree. The views ``readings_plain`` and ``batches_plain`` spell
it all out for a colleague with nothing but a database shell.

The migrations in ``migrations/versions`` make these tables step by step; a test holds both against each
other.
"""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from sqlalchemy.dialects import sqlite

metadata = sa.MetaData()

Whole = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
Real: sa.types.TypeEngine[float] = sa.Double().with_variant(sqlite.REAL(), "sqlite")
STRICT: dict[str, Any] = {"sqlite_strict": True}
CLUSTERED: dict[str, Any] = {"sqlite_strict": True, "sqlite_with_rowid": False}


def _whole(name: str, default: int | None = None, **more: object) -> sa.Column[int]:
    server_default = None if default is None else sa.text(str(default))
    return sa.Column(name, Whole, nullable=False, server_default=server_default, **more)  # type: ignore[arg-type]


def _text(name: str, **more: object) -> sa.Column[str]:
    return sa.Column(name, sa.Text(), nullable=False, server_default=sa.text("''"), **more)  # type: ignore[arg-type]


def _key(*names: str) -> list[sa.Column[int]]:
    return [sa.Column(name, Whole, primary_key=True, autoincrement=False) for name in names]


# counters: data_version, episodes_version, next_batch, next_vid
counter = sa.Table(
    "counter", metadata, sa.Column("name", sa.Text(), primary_key=True), _whole("value", 0), **CLUSTERED
)

series = sa.Table(
    "series", metadata,
    sa.Column("id", Whole, primary_key=True, autoincrement=True),
    _text("station"), _text("parameter"),
    sa.UniqueConstraint("station", "parameter", name="series_name"),
    **STRICT,
)  # fmt: skip

# the unit a value was written in, and the method it was measured by
origin = sa.Table(
    "origin", metadata,
    sa.Column("id", Whole, primary_key=True, autoincrement=True),
    _text("unit"), _text("method"),
    sa.UniqueConstraint("unit", "method", name="origin_name"),
    **STRICT,
)  # fmt: skip

batch = sa.Table(
    "batch", metadata,
    *_key("id"),
    _text("kind"), _text("state"), _text("file"), _text("file_hash"), _text("recipe"), _text("who"), _text("why"),
    _text("source"), _whole("loaded_at"),
    _whole("n_rows", 0), _whole("n_new", 0), _whole("n_known", 0), _whole("n_corrected", 0),
    _whole("n_refused", 0), _whole("n_empty", 0), _text("notes"),
    sa.Index("batch_hash", "file_hash"),
    **STRICT,
)  # fmt: skip

# every load, withdrawal and restoration, in order
batch_log = sa.Table(
    "batch_log", metadata,
    sa.Column("id", Whole, primary_key=True, autoincrement=True),
    _whole("batch"), _text("action"), _text("who"), _text("why"), _whole("done_at"),
    sa.Index("batch_log_batch", "batch"),
    **STRICT,
)  # fmt: skip

# which series a batch speaks of, and when: where to look for its readings
batch_series = sa.Table(
    "batch_series", metadata,
    *_key("batch", "series"),
    _whole("n"), _whole("first_time"), _whole("last_time"),
    sa.Index("batch_series_series", "series"),
    **CLUSTERED,
)  # fmt: skip

# versions that a later batch brought again with the same value: runs of version numbers
confirmed = sa.Table("confirmed", metadata, *_key("batch", "first_vid"), _whole("last_vid"), **CLUSTERED)


def _version_columns() -> list[sa.Column[Any]]:
    columns: list[sa.Column[Any]] = [
        _whole("vid"), sa.Column("value", Real, nullable=False), _whole("qualifier"), _whole("local_day"),
        _whole("flag"), _whole("flag_by"), _whole("flag_loaded"), _whole("auto_mark"),
        _text("original_value"), _whole("origin"), _text("note"), _whole("batch"), _whole("first_batch"),
    ]  # fmt: skip
    return columns


def _identity() -> list[sa.Column[Any]]:
    return [
        *_key("series", "time"),
        sa.Column("depth_m", Real, primary_key=True),
        *_key("replicate"),
    ]


# flag: the one in force; flag_by: 0 came with the file, 1 automatic, 2 a person; auto_mark: the automatic
# one, or 0 first_batch brought the version; batch is the one it stands under now (a later one once the
# first is withdrawn)
reading = sa.Table("reading", metadata, *_identity(), *_version_columns(), **CLUSTERED)

# superseded_by: the batch whose value is in force instead, 0 when the batch was withdrawn;
# overruled: 1 when a later row of the same file said otherwise
reading_old = sa.Table(
    "reading_old", metadata,
    *_identity(), *[c if c.name != "vid" else sa.Column("vid", Whole, primary_key=True, autoincrement=False)
                    for c in _version_columns()],
    _whole("superseded_by"), _whole("overruled"),
    **CLUSTERED,
)  # fmt: skip

# settled_at: when it was put right (by batch settled_by) or set aside (settled_by 0); 0 while it is open
refused = sa.Table(
    "refused", metadata,
    *_key("batch", "n"),
    _text("file"), _whole("line"), _text("column_name"), _text("value"), _text("reason"), _text("remedy"),
    _text("row_text"), _whole("settled_at", 0), _whole("settled_by", 0), _text("settled_who"), _text("settled_why"),
    **CLUSTERED,
)  # fmt: skip

# one call of set_flags or undo_flag
flag_run = sa.Table(
    "flag_run", metadata,
    sa.Column("id", Whole, primary_key=True, autoincrement=True),
    _text("who"), _whole("done_at"), _whole("automatic"), _text("why"),
    **STRICT,
)  # fmt: skip

mark = sa.Table(
    "mark", metadata,
    sa.Column("id", Whole, primary_key=True, autoincrement=True),
    _whole("flag"), _text("test"), _text("reason"),
    sa.UniqueConstraint("flag", "test", "reason", name="mark_name"),
    **STRICT,
)  # fmt: skip

# what each run said of each version; undone_by: the run that took it back, or 0
flag_event = sa.Table(
    "flag_event", metadata, *_key("vid", "run"), _whole("mark"), _whole("undone_by", 0), **CLUSTERED
)

survey = sa.Table(
    "survey", metadata,
    sa.Column("vid", Whole, primary_key=True, autoincrement=False),
    _text("survey"), _text("water"), _text("station"), _text("gear"),
    sa.Column("start_at", Whole), sa.Column("end_at", Whole), sa.Column("effort", Real), _text("effort_unit"),
    _text("note"), _whole("batch"),
    sa.Index("survey_survey", "survey"),
    **STRICT,
)  # fmt: skip

catch = sa.Table(
    "catch", metadata,
    sa.Column("vid", Whole, primary_key=True, autoincrement=False),
    _text("survey"), _text("species"), _whole("n"), _whole("pass_number"), sa.Column("mesh_mm", Real),
    _whole("batch"),
    sa.Index("catch_survey", "survey"),
    **STRICT,
)  # fmt: skip

# copy: the how-many-th of fish alike in every column
fish = sa.Table(
    "fish", metadata,
    sa.Column("vid", Whole, primary_key=True, autoincrement=False),
    _text("survey"), _text("species"), sa.Column("length_mm", Real), sa.Column("weight_g", Real),
    sa.Column("age_years", Real), _whole("pass_number"), sa.Column("mesh_mm", Real), _whole("copy"),
    _whole("batch"),
    sa.Index("fish_survey", "survey"),
    **STRICT,
)  # fmt: skip

# batch says version vid (of a survey, catch or fish); the latest active batch is right
assertion = sa.Table(
    "assertion", metadata, *_key("vid", "batch"), sa.Index("assertion_batch", "batch"), **CLUSTERED
)

# key: the lasting name; data: everything the rule found, as JSON
episode = sa.Table(
    "episode", metadata,
    sa.Column("id", Whole, primary_key=True, autoincrement=True),
    _text("key"), _text("rule"), _text("station"), _text("parameter"), _whole("opened_at"), _text("state"),
    _text("data"),
    sa.UniqueConstraint("key", name="episode_key"),
    **STRICT,
)  # fmt: skip

episode_log = sa.Table(
    "episode_log", metadata,
    sa.Column("id", Whole, primary_key=True, autoincrement=True),
    _whole("episode"), _whole("done_at"), _text("who"), _text("action"), _text("detail"),
    sa.Index("episode_log_episode", "episode"),
    **STRICT,
)  # fmt: skip

audit = sa.Table(
    "audit", metadata,
    sa.Column("id", Whole, primary_key=True, autoincrement=True),
    _whole("done_at"), _text("who"), _text("action"), _text("detail"),
    **STRICT,
)  # fmt: skip

# state: claimed, sent or failed
notice_sent = sa.Table(
    "notice_sent", metadata,
    sa.Column("channel", sa.Text(), primary_key=True), sa.Column("key", sa.Text(), primary_key=True),
    _text("state"), _whole("attempts", 1), _whole("done_at"), _text("detail"),
    **CLUSTERED,
)  # fmt: skip

# token: a hash; until_at: when the token runs out by itself, and the row may go
ended_token = sa.Table(
    "ended_token", metadata,
    sa.Column("token", sa.Text(), primary_key=True), _whole("until_at"),
    **CLUSTERED,
)  # fmt: skip
