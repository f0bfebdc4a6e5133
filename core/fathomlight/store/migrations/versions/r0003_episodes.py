"""Episodes, the audit trail and the notices already sent.

Revision ID: 0003
"""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

Whole = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
STRICT: dict[str, Any] = {"sqlite_strict": True}


def _wholes(names: str) -> list[sa.Column[int]]:
    return [sa.Column(name, Whole, nullable=False) for name in names.split()]


def _texts(names: str) -> list[sa.Column[str]]:
    return [sa.Column(n, sa.Text(), nullable=False, server_default=sa.text("''")) for n in names.split()]


def _serial() -> sa.Column[int]:
    return sa.Column("id", Whole, primary_key=True, autoincrement=True)


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "episode",
        _serial(),
        *_texts("key rule station parameter"),
        *_wholes("opened_at"),
        *_texts("state data"),
        sa.UniqueConstraint("key", name="episode_key"),
        **STRICT,
    )
    op.create_table(
        "episode_log",
        _serial(),
        *_wholes("episode done_at"),
        *_texts("who action detail"),
        **STRICT,
    )
    op.create_index("episode_log_episode", "episode_log", ["episode"])
    op.create_table("audit", _serial(), *_wholes("done_at"), *_texts("who action detail"), **STRICT)
    op.create_table(
        "notice_sent",
        sa.Column("channel", sa.Text(), primary_key=True),
        sa.Column("key", sa.Text(), primary_key=True),
        *_texts("state"),
        sa.Column("attempts", Whole, nullable=False, server_default=sa.text("1")),
        *_wholes("done_at"),
        *_texts("detail"),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )


def downgrade() -> None:
    """Nothing leads back."""
    raise NotImplementedError("a store is never downgraded: bring it back from a copy")
