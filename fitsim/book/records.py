"""What the book holds: owners, animals, scans, trees, fits, and what was seen after work."""

from __future__ import annotations

from datetime import date, datetime  # noqa: TC003 - SQLAlchemy reads the annotations
from typing import Any

from sqlalchemy import JSON, ForeignKey, Index, String, Text
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column, relationship

_WITH_IT = "all, delete-orphan"
"""What belongs to a record goes when it goes."""


class Record(DeclarativeBase):
    """A row with a number of its own."""

    id: Mapped[int] = mapped_column(primary_key=True)


class Owner(Record):
    """Whose animals; a book need not name any."""

    __tablename__ = "owner"
    name: Mapped[str] = mapped_column(String(200), unique=True)
    note: Mapped[str] = mapped_column(Text, default="")
    animals: Mapped[list[Animal]] = relationship(back_populates="owner")


class Animal(Record):
    """One animal. `withers_height` : m."""

    __tablename__ = "animal"
    name: Mapped[str] = mapped_column(String(200), unique=True)
    kind: Mapped[str] = mapped_column(String(40), default="")
    withers_height: Mapped[float | None]
    note: Mapped[str] = mapped_column(Text, default="")
    owner_id: Mapped[int | None] = mapped_column(ForeignKey("owner.id", ondelete="SET NULL"))
    owner: Mapped[Owner | None] = relationship(back_populates="animals")
    scans: Mapped[list[Scan]] = relationship(back_populates="animal", cascade=_WITH_IT)
    fits: Mapped[list[Fit]] = relationship(back_populates="animal", cascade=_WITH_IT)
    seen: Mapped[list[Seen]] = relationship(back_populates="animal", cascade=_WITH_IT)


class Scan(Record):
    """One scan of an animal: where its file lies, and its marks as read."""

    __tablename__ = "scan"
    animal_id: Mapped[int] = mapped_column(ForeignKey("animal.id", ondelete="CASCADE"), index=True)
    on: Mapped[date]
    path: Mapped[str] = mapped_column(Text)
    sha256: Mapped[str] = mapped_column(String(64), index=True)
    unit: Mapped[str] = mapped_column(String(10), default="")
    marks: Mapped[dict[str, Any]] = mapped_column(JSON, default=dict)
    note: Mapped[str] = mapped_column(Text, default="")
    animal: Mapped[Animal] = relationship(back_populates="scans")


class Tree(Record):
    """One tree: its settings in SI as `Tree.settings` keeps them, or the file of a mesh."""

    __tablename__ = "tree"
    name: Mapped[str] = mapped_column(String(200), index=True)
    sha256: Mapped[str] = mapped_column(String(64), unique=True)
    settings: Mapped[dict[str, Any]] = mapped_column(JSON, default=dict)
    note: Mapped[str] = mapped_column(Text, default="")


class Fit(Record):
    """One fit: its `fit.json` whole, and what a list shows of it.

    `peak`, `scapula_peak`, `fat_pocket_peak`, `spine_peak` : Pa under the working case; None where
    the tree does not stay on.
    """

    __tablename__ = "fit"
    animal_id: Mapped[int] = mapped_column(ForeignKey("animal.id", ondelete="CASCADE"), index=True)
    scan_id: Mapped[int | None] = mapped_column(ForeignKey("scan.id", ondelete="SET NULL"))
    tree_id: Mapped[int] = mapped_column(ForeignKey("tree.id"), index=True)
    made: Mapped[datetime]
    case: Mapped[str] = mapped_column(String(20), default="")
    peak: Mapped[float | None]
    scapula_peak: Mapped[float | None]
    fat_pocket_peak: Mapped[float | None]
    spine_peak: Mapped[float | None]
    result: Mapped[dict[str, Any]] = mapped_column(JSON, deferred=True)
    note: Mapped[str] = mapped_column(Text, default="")
    animal: Mapped[Animal] = relationship(back_populates="fits")
    tree: Mapped[Tree] = relationship()
    __table_args__ = (Index("ix_fit_animal_made", "animal_id", "made"),)


class Seen(Record):
    """What was seen after one day's work.

    `hours` : h worked; `going` : 0 (short, unwilling) to 10 (free) as scored by whoever looked;
    `stride` : m, at a walk.
    """

    __tablename__ = "seen"
    animal_id: Mapped[int] = mapped_column(ForeignKey("animal.id", ondelete="CASCADE"), index=True)
    fit_id: Mapped[int | None] = mapped_column(ForeignKey("fit.id", ondelete="SET NULL"))
    on: Mapped[date]
    hours: Mapped[float | None]
    going: Mapped[float | None]
    stride: Mapped[float | None]
    terrain: Mapped[str] = mapped_column(String(200), default="")
    note: Mapped[str] = mapped_column(Text, default="")
    animal: Mapped[Animal] = relationship(back_populates="seen")
    patches: Mapped[list[Patch]] = relationship(cascade=_WITH_IT)
    photos: Mapped[list[Photo]] = relationship(cascade=_WITH_IT)


class Patch(Record):
    """One patch on the back: in which zone, of which kind, and its outline where it was painted."""

    __tablename__ = "patch"
    seen_id: Mapped[int] = mapped_column(ForeignKey("seen.id", ondelete="CASCADE"), index=True)
    zone: Mapped[str] = mapped_column(String(40))
    kind: Mapped[str] = mapped_column(String(40))
    outline: Mapped[list[Any]] = mapped_column(JSON, default=list)


class Photo(Record):
    """A photo, by where its file lies."""

    __tablename__ = "photo"
    seen_id: Mapped[int] = mapped_column(ForeignKey("seen.id", ondelete="CASCADE"), index=True)
    path: Mapped[str] = mapped_column(Text)
    note: Mapped[str] = mapped_column(Text, default="")
