"""The book's one file: opened, brought to today's form, written by several at once."""

from __future__ import annotations

import sqlite3
from contextlib import closing, contextmanager
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import Engine, create_engine, event
from sqlalchemy.exc import DatabaseError, OperationalError
from sqlalchemy.orm import Session

from fitsim.errors import BadSettings

if TYPE_CHECKING:
    from collections.abc import Iterator

USUAL = Path.home() / ".fitsim" / "book.sqlite"
"""Where the book lies unless told: in the user's own folder, readable by nobody else."""
_PATIENCE_MS = 30_000  # that one writer waits for another
_NEWEST = "head"


@contextmanager
def book(path: str | Path | None = None) -> Iterator[Session]:
    """Open the book for one piece of work: kept whole when the block ends well, else not at all.

    Parameters
    ----------
    path : str or Path, optional
        Of the book's file; `USUAL` where not given. A new book is made, an old one brought to
        today's form.

    Yields
    ------
    Session

    Raises
    ------
    BadSettings
        The file is no book, or cannot be opened.
    """
    file = Path(path) if path else USUAL
    engine = _engine(file)
    try:
        bring_up_to(engine)
        with Session(engine) as session, session.begin():
            yield session
    except (DatabaseError, OperationalError) as error:
        raise _fault(file, error) from error
    finally:
        engine.dispose()


def _engine(file: Path) -> Engine:
    try:
        file.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        if not file.exists():
            file.touch(mode=0o600)
    except OSError as error:
        raise BadSettings(
            str(file), "cannot be made", "choose another place with --book"
        ) from error
    engine = create_engine(f"sqlite:///{file}", connect_args={"timeout": _PATIENCE_MS / 1000})

    @event.listens_for(engine, "connect")
    def _prepare(connection: sqlite3.Connection, _record: object) -> None:
        connection.isolation_level = None  # SQLAlchemy says BEGIN itself, below
        connection.execute(f"PRAGMA busy_timeout = {_PATIENCE_MS}")
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")  # a committed record outlives the power
        connection.execute("PRAGMA foreign_keys = ON")

    @event.listens_for(engine, "begin")
    def _begin(connection: Any) -> None:  # noqa: ANN401 - SQLAlchemy's
        # Taken at once: two that read and then write would each wait for the other.
        connection.exec_driver_sql("BEGIN IMMEDIATE")

    return engine


def bring_up_to(engine: Engine, form: str = _NEWEST) -> None:
    """Bring a book to today's form.

    Parameters
    ----------
    engine : Engine
    form : str
        Of the migrations; the newest where not given.

    Raises
    ------
    BadSettings
        The book was written by a newer release.
    """
    from alembic import command
    from alembic.config import Config
    from alembic.migration import MigrationContext
    from alembic.script import ScriptDirectory
    from alembic.util import CommandError

    config = Config()
    config.set_main_option("script_location", str(resources.files("fitsim.book") / "migrations"))
    with engine.begin() as connection:
        now = MigrationContext.configure(connection).get_current_revision()
        newest = ScriptDirectory.from_config(config).get_current_head()
        if now == newest and form == _NEWEST:
            return
        config.attributes["connection"] = connection
        try:
            command.upgrade(config, form)
        except CommandError as error:
            raise BadSettings(
                str(engine.url.database),
                "was written by a newer release of fitsim",
                "bring fitsim up to date",
            ) from error


def backup(path: str | Path | None, target: str | Path) -> Path:
    """Copy the book while others may be writing to it.

    Parameters
    ----------
    path : of the book.
    target : file to write; an existing one is refused.

    Returns
    -------
    Path

    Raises
    ------
    BadSettings
        There is no book, or something is in the way.
    """
    file, copy = Path(path) if path else USUAL, Path(target)
    if not file.is_file():
        raise BadSettings(str(file), "there is no book here", "say where it is with --book")
    if copy.exists():
        raise BadSettings(str(copy), "is there already", "choose another name")
    try:
        with (
            closing(sqlite3.connect(f"{file.resolve().as_uri()}?mode=ro", uri=True)) as source,
            closing(sqlite3.connect(copy)) as into,
        ):
            source.backup(into)
    except sqlite3.Error as error:
        copy.unlink(missing_ok=True)
        raise BadSettings(str(file), f"cannot be copied ({error})", "check both places") from error
    return copy


def _fault(file: Path, error: Exception) -> BadSettings:
    said = str(getattr(error, "orig", error))
    if "locked" in said:
        return BadSettings(str(file), "is being written by another program", "try again")
    if "not a database" in said or "malformed" in said:
        return BadSettings(str(file), "is no book", "choose another file, or restore a backup")
    return BadSettings(str(file), f"cannot be used as a book ({said})", "choose another file")
