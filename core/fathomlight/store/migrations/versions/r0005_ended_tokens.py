"""Login tokens that were ended before they ran out.

Revision ID: 0005
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

Whole = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "ended_token",
        sa.Column("token", sa.Text(), primary_key=True),
        sa.Column("until_at", Whole, nullable=False),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )


def downgrade() -> None:
    """Nothing leads back."""
    raise NotImplementedError("a store is never downgraded: bring it back from a copy")
