"""Photos of what was seen, by where their files lie."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Add the photos."""
    op.create_table(
        "photo",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column(
            "seen_id",
            sa.Integer,
            sa.ForeignKey("seen.id", ondelete="CASCADE"),
            nullable=False,
            index=True,
        ),
        sa.Column("path", sa.Text, nullable=False),
        sa.Column("note", sa.Text, nullable=False),
    )
