"""Fish surveys, catches and measured fish.

Revision ID: 0002
"""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import sqlite

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

Whole = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
Real: sa.types.TypeEngine[float] = sa.Double().with_variant(sqlite.REAL(), "sqlite")
STRICT: dict[str, Any] = {"sqlite_strict": True}


def _wholes(names: str) -> list[sa.Column[int]]:
    return [sa.Column(name, Whole, nullable=False) for name in names.split()]


def _texts(names: str) -> list[sa.Column[str]]:
    return [sa.Column(n, sa.Text(), nullable=False, server_default=sa.text("''")) for n in names.split()]


def _maybe(kind: sa.types.TypeEngine[Any], names: str) -> list[sa.Column[Any]]:
    return [sa.Column(name, kind) for name in names.split()]


def _version() -> sa.Column[int]:
    return sa.Column("vid", Whole, primary_key=True, autoincrement=False)


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "survey",
        _version(),
        *_texts("survey water station gear"),
        *_maybe(Whole, "start_at end_at"),
        *_maybe(Real, "effort"),
        *_texts("effort_unit note"),
        *_wholes("batch"),
        **STRICT,
    )
    op.create_table(
        "catch",
        _version(),
        *_texts("survey species"),
        *_wholes("n pass_number"),
        *_maybe(Real, "mesh_mm"),
        *_wholes("batch"),
        **STRICT,
    )
    op.create_table(
        "fish",
        _version(),
        *_texts("survey species"),
        *_maybe(Real, "length_mm weight_g age_years"),
        *_wholes("pass_number"),
        *_maybe(Real, "mesh_mm"),
        *_wholes("copy batch"),
        **STRICT,
    )
    for table in ("survey", "catch", "fish"):
        op.create_index(f"{table}_survey", table, ["survey"])
    op.create_table(
        "assertion",
        *[sa.Column(n, Whole, primary_key=True, autoincrement=False) for n in ("vid", "batch")],
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    op.create_index("assertion_batch", "assertion", ["batch"])


def downgrade() -> None:
    """Nothing leads back."""
    raise NotImplementedError("a store is never downgraded: bring it back from a copy")
