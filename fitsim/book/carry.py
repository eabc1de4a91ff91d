"""Carry a book elsewhere: JSON lines with their files, and tables for a spreadsheet."""

from __future__ import annotations

import csv
import io
import json
import shutil
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import select

from fitsim.book.records import Animal, Fit, Owner, Patch, Photo, Record, Scan, Seen, Tree
from fitsim.errors import BadSettings

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

LINES, FILES = "book.jsonl", "files"
KINDS: tuple[type[Record], ...] = (Owner, Animal, Scan, Tree, Fit, Seen, Patch, Photo)
"""In an order in which none comes before what it belongs to."""
_WITH_FILE = (Scan, Photo)
_HOSTILE = ("=", "+", "-", "@", "\t", "\r")
"""A cell that begins so is a formula to a spreadsheet."""


def write_out(book: Session, folder: Path) -> int:
    """Write every record as a line of JSON, and copy the scans and photos beside it.

    Parameters
    ----------
    book : Session
    folder : made if missing; may hold no other book.

    Returns
    -------
    int
        Records written.

    Raises
    ------
    BadSettings
        The folder holds a book already, or cannot be written.
    """
    lines = folder / LINES
    if lines.exists():
        raise BadSettings(str(lines), "is there already", "choose another folder")
    try:
        (folder / FILES).mkdir(parents=True, exist_ok=True)
        number = 0
        with lines.open("w", encoding="utf-8") as file:
            for kind in KINDS:
                for record in book.scalars(select(kind).order_by(kind.id)):
                    told = _told(record)
                    if isinstance(record, _WITH_FILE):
                        told["path"] = _copied(record, folder)
                    file.write(json.dumps({"record": kind.__tablename__, **told}) + "\n")
                    number += 1
    except OSError as error:
        raise BadSettings(str(folder), "cannot be written", "choose another folder") from error
    return number


def read_in(book: Session, folder: Path) -> int:
    """Read what `write_out` wrote into a book that is still empty.

    Parameters
    ----------
    book : Session
    folder : holds `book.jsonl` and its files, which stay there.

    Returns
    -------
    int
        Records read.

    Raises
    ------
    BadSettings
        The book is not empty, or a line is not what `write_out` writes; nothing is then kept.
    """
    if book.scalar(select(Animal.id).limit(1)) is not None:
        raise BadSettings("the book", "is not empty", "read into a new one: --book new.sqlite")
    by_name = {kind.__tablename__: kind for kind in KINDS}
    try:
        lines = (folder / LINES).read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise BadSettings(
            str(folder / LINES), "cannot be read", "give the folder that `book export` wrote"
        ) from error
    for number, line in enumerate(lines, 1):
        try:
            told = json.loads(line)
            kind = by_name[told.pop("record")]
            book.add(kind(**{key: _value(kind, key, told[key], folder) for key in told}))
        except (ValueError, KeyError, TypeError, AttributeError) as error:
            raise BadSettings(
                f"{folder / LINES}, line {number}", "is no record of a book", "export it again"
            ) from error
        book.flush()
    return len(lines)


def spreadsheet(book: Session) -> str:
    """Return every fit and what was seen after it, a row each, as CSV."""
    table = io.StringIO()
    writer = csv.writer(table)
    writer.writerow(
        ["animal", "fit", "made", "tree", "case", "peak_kpa", "scapula_peak_kpa",
         "fat_pocket_peak_kpa", "spine_peak_kpa", "seen_on", "hours", "going", "stride_m",
         "patches", "terrain", "note"]
    )  # fmt: skip
    seen: dict[int, list[Seen]] = {}
    for one in book.scalars(select(Seen).order_by(Seen.on)):
        seen.setdefault(one.fit_id or 0, []).append(one)
    for fit in book.scalars(select(Fit).order_by(Fit.made)):
        peaks = (fit.peak, fit.scapula_peak, fit.fat_pocket_peak, fit.spine_peak)
        head = [fit.animal.name, fit.id, fit.made.isoformat(), fit.tree.name, fit.case]
        head += ["" if value is None else f"{value / 1e3:.3g}" for value in peaks]
        for day in seen.get(fit.id, [None]):
            writer.writerow([_inert(cell) for cell in [*head, *_day(day)]])
    return table.getvalue()


def _day(seen: Seen | None) -> list[object]:
    if seen is None:
        return [""] * 7
    patches = "; ".join(f"{patch.zone}: {patch.kind}" for patch in seen.patches)
    numbers = ("" if value is None else value for value in (seen.hours, seen.going, seen.stride))
    return [seen.on.isoformat(), *numbers, patches, seen.terrain, seen.note]


def _inert(cell: object) -> object:
    """The cell so that no spreadsheet takes it for a formula."""
    return f"'{cell}" if isinstance(cell, str) and cell.startswith(_HOSTILE) else cell


def _told(record: Record) -> dict[str, Any]:
    columns = (column.key for column in record.__mapper__.column_attrs)
    return {key: _plain(getattr(record, key)) for key in columns}


def _plain(value: Any) -> Any:  # noqa: ANN401 - whatever a column holds
    return value.isoformat() if isinstance(value, date) else value


def _copied(record: Scan | Photo, folder: Path) -> str:
    """Copy a record's file under a name of our own; the path as it was where there is none."""
    source = Path(record.path)
    if not source.is_file():
        return record.path
    name = f"{record.__tablename__}-{record.id}{source.suffix.lower()[:8]}"
    shutil.copyfile(source, folder / FILES / name)
    return f"{FILES}/{name}"


def _value(kind: type[Record], key: str, value: Any, folder: Path) -> Any:  # noqa: ANN401
    """A column's value from its JSON."""
    wanted = kind.__table__.columns[key].type.python_type
    if value is not None and wanted is datetime:
        return datetime.fromisoformat(value)
    if value is not None and wanted is date:
        return date.fromisoformat(value)
    if key == "path" and str(value).startswith(f"{FILES}/"):
        return str((folder / FILES / Path(value).name).resolve())
    return value
