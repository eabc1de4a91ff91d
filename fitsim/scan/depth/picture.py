"""Pictures of a depth camera opened, and what is said of those that cannot be."""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING

from fitsim.errors import BadScan

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from PIL import Image


@contextmanager
def opened(path: Path, formats: tuple[str, ...], what: str, mend: str) -> Iterator[Image.Image]:
    """Open a picture whose points are read before it is closed.

    Parameters
    ----------
    path : Path
    formats : tuple of str
        Those that it may have.
    what : str
        It is, where there is none: "depth frame".
    mend : str
        What to do about one in another format.

    Yields
    ------
    Image

    Raises
    ------
    BadScan
        If there is no such file, it is in another format, or is cut off or damaged.
    """
    from PIL import Image, UnidentifiedImageError

    try:
        with Image.open(path, formats=formats) as picture:
            yield picture
    except FileNotFoundError as error:
        raise BadScan(path.name, f"there is no such {what}", "check its name") from error
    except UnidentifiedImageError as error:
        raise BadScan(path.name, f"it is not a {' or '.join(formats)} picture", mend) from error
    except (OSError, SyntaxError, ValueError, MemoryError) as error:
        raise BadScan(path.name, "the picture is cut off or damaged", "copy it again") from error
