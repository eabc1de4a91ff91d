"""Files written whole or not at all: to a temporary name beside the target, then renamed."""

from __future__ import annotations

import errno
import os
import shutil
import tempfile
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from fitsim.errors import BadSettings

if TYPE_CHECKING:
    from collections.abc import Iterator


@contextmanager
def whole_file(path: str | Path) -> Iterator[Path]:
    """A temporary path that becomes `path` when the block ends well, and vanishes otherwise.

    The temporary file keeps the target's ending, because writers choose a format by it. A reader
    therefore sees the old file or the new one, never half of one; this holds for a keyboard
    interrupt too.

    Parameters
    ----------
    path : str or Path
        The file to write. Its folder must exist.

    Yields
    ------
    Path
        Where to write. The file exists and is empty.

    Raises
    ------
    BadSettings
        When the folder is missing or cannot be written.

    Examples
    --------
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     with whole_file(Path(folder) / "note.txt") as draft:
    ...         _ = draft.write_text("done")
    ...     print(*(file.name for file in Path(folder).iterdir()))
    note.txt
    """
    target = Path(path)
    draft = _draft_beside(target)
    try:
        yield draft
        draft.replace(target)
    except OSError as error:
        raise _unwritable(target, error) from error
    finally:
        draft.unlink(missing_ok=True)


@contextmanager
def whole_folder(path: str | Path) -> Iterator[Path]:
    """A temporary folder whose files move into the folder `path` when the block ends well.

    Parameters
    ----------
    path : str or Path
        A folder, made if missing; files of the same names are replaced, others are left alone.

    Yields
    ------
    Path
        Where to write. Nothing of the target is touched until the block has ended.

    Raises
    ------
    BadSettings
        When a file is in the way or the folder cannot be made or written.

    Examples
    --------
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     with whole_folder(Path(folder) / "out") as draft:
    ...         _ = (draft / "note.txt").write_text("done")
    ...     print(*(file.name for file in (Path(folder) / "out").iterdir()))
    note.txt
    """
    target = Path(path)
    existing = _nearest_folder(target)
    try:
        draft = Path(tempfile.mkdtemp(prefix=".fitsim-", dir=existing))
    except OSError as error:
        raise _unwritable(target, error) from error
    try:
        yield draft
        output_folder(target)
        for file in sorted(draft.iterdir()):
            file.replace(target / file.name)
    except OSError as error:
        raise _unwritable(target, error) from error
    finally:
        shutil.rmtree(draft, ignore_errors=True)


def write_text(path: str | Path, text: str) -> None:
    """Write `text` as UTF-8 to `path`, whole or not at all.

    Parameters
    ----------
    path : str or Path
        The file to write. Its folder must exist.
    text : str
        What to write; line ends are kept as they are.

    Raises
    ------
    BadSettings
        When the folder is missing or cannot be written.
    """
    with whole_file(path) as draft:
        draft.write_text(text, encoding="utf-8", newline="")


def output_folder(path: str | Path) -> Path:
    """The folder `path`, made if missing.

    Parameters
    ----------
    path : str or Path
        A folder, or where one can be made.

    Returns
    -------
    Path
        The folder, which exists.

    Raises
    ------
    BadSettings
        When a file is in the way or the folder cannot be made.
    """
    folder = Path(path)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        fault = "a file is in the way" if folder.is_file() else _reason(error)
        raise BadSettings(
            str(folder), f"this folder cannot be made ({fault})", "choose another with -o"
        ) from error
    return folder


def _draft_beside(target: Path) -> Path:
    """An empty temporary file in the target's folder, with the permissions of a new file."""
    try:
        handle, name = tempfile.mkstemp(
            prefix=f".{target.stem}-", suffix=target.suffix, dir=target.parent
        )
    except OSError as error:
        raise _unwritable(target, error) from error
    os.close(handle)
    mask = os.umask(0)  # the only way to read it; put back at once
    os.umask(mask)
    draft = Path(name)
    draft.chmod(0o666 & ~mask)
    return draft


def _nearest_folder(target: Path) -> Path:
    """The folder itself, or the closest one above it that exists."""
    for folder in (target, *target.absolute().parents):
        if folder.is_dir():
            return folder
        if folder.exists():
            raise BadSettings(str(folder), "a file is in the way", "choose another folder")
    raise BadSettings(str(target), "there is no such place", "choose another folder")


def _unwritable(target: Path, error: OSError) -> BadSettings:
    full = error.errno in (errno.ENOSPC, errno.EDQUOT)
    mend = "make room there, or choose another folder" if full else "choose another folder"
    return BadSettings(str(target), f"cannot be written ({_reason(error)})", mend)


def _reason(error: OSError) -> str:
    """In the system's words: a library that writes adds its own."""
    return (os.strerror(error.errno) if error.errno else str(error)).lower()
