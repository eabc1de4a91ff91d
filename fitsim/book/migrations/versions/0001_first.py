"""The first form of the book: animals, scans, trees, fits, what was seen."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "owner",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("name", sa.String(200), nullable=False, unique=True),
        sa.Column("note", sa.Text, nullable=False),
    )
    op.create_table(
        "animal",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("name", sa.String(200), nullable=False, unique=True),
        sa.Column("kind", sa.String(40), nullable=False),
        sa.Column("withers_height", sa.Float),
        sa.Column("note", sa.Text, nullable=False),
        sa.Column("owner_id", sa.Integer, sa.ForeignKey("owner.id", ondelete="SET NULL")),
    )
    op.create_table(
        "scan",
        sa.Column("id", sa.Integer, primary_key=True),
        _animal(),
        sa.Column("on", sa.Date, nullable=False),
        sa.Column("path", sa.Text, nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False, index=True),
        sa.Column("unit", sa.String(10), nullable=False),
        sa.Column("marks", sa.JSON, nullable=False),
        sa.Column("note", sa.Text, nullable=False),
    )
    op.create_table(
        "tree",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("name", sa.String(200), nullable=False, index=True),
        sa.Column("sha256", sa.String(64), nullable=False, unique=True),
        sa.Column("settings", sa.JSON, nullable=False),
        sa.Column("note", sa.Text, nullable=False),
    )
    _fits()
    _seen()


def _animal() -> sa.Column[int]:
    return sa.Column(
        "animal_id",
        sa.Integer,
        sa.ForeignKey("animal.id", ondelete="CASCADE"),
        nullable=False,
        index=True,
    )


def _fits() -> None:
    op.create_table(
        "fit",
        sa.Column("id", sa.Integer, primary_key=True),
        _animal(),
        sa.Column("scan_id", sa.Integer, sa.ForeignKey("scan.id", ondelete="SET NULL")),
        sa.Column("tree_id", sa.Integer, sa.ForeignKey("tree.id"), nullable=False, index=True),
        sa.Column("made", sa.DateTime, nullable=False),
        sa.Column("case", sa.String(20), nullable=False),
        *(
            sa.Column(name, sa.Float)
            for name in ("peak", "scapula_peak", "fat_pocket_peak", "spine_peak")
        ),
        sa.Column("result", sa.JSON, nullable=False),
        sa.Column("note", sa.Text, nullable=False),
    )
    op.create_index("ix_fit_animal_made", "fit", ["animal_id", "made"])


def _seen() -> None:
    op.create_table(
        "seen",
        sa.Column("id", sa.Integer, primary_key=True),
        _animal(),
        sa.Column("fit_id", sa.Integer, sa.ForeignKey("fit.id", ondelete="SET NULL")),
        sa.Column("on", sa.Date, nullable=False),
        *(sa.Column(name, sa.Float) for name in ("hours", "going", "stride")),
        sa.Column("terrain", sa.String(200), nullable=False),
        sa.Column("note", sa.Text, nullable=False),
    )
    op.create_table(
        "patch",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column(
            "seen_id",
            sa.Integer,
            sa.ForeignKey("seen.id", ondelete="CASCADE"),
            nullable=False,
            index=True,
        ),
        sa.Column("zone", sa.String(40), nullable=False),
        sa.Column("kind", sa.String(40), nullable=False),
        sa.Column("outline", sa.JSON, nullable=False),
    )
