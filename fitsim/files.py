"""Files written whole or not at all: to a temporary name beside the target, then renamed."""

from __future__ import annotations

import os
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
        raise BadSettings(
            str(target), f"cannot be written ({_reason(error)})", "choose another folder"
        ) from error
    finally:
        draft.unlink(missing_ok=True)


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
        raise BadSettings(
            str(target), f"cannot be written ({_reason(error)})", "choose another folder"
        ) from error
    os.close(handle)
    mask = os.umask(0)  # the only way to read it; put back at once
    os.umask(mask)
    draft = Path(name)
    draft.chmod(0o666 & ~mask)
    return draft


def _reason(error: OSError) -> str:
    return (error.strerror or str(error)).lower()
