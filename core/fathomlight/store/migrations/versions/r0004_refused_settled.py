"""Refused rows that were put right later, or set aside by a person.

Revision ID: 0004
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

Whole = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Add the columns."""
    for name in ("settled_at", "settled_by"):
        op.add_column("refused", sa.Column(name, Whole, nullable=False, server_default=sa.text("0")))
    for name in ("settled_who", "settled_why"):
        op.add_column("refused", sa.Column(name, sa.Text(), nullable=False, server_default=sa.text("''")))


def downgrade() -> None:
    """Nothing leads back."""
    raise NotImplementedError("a store is never downgraded: bring it back from a copy")
