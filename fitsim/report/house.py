"""The house style of every page: one template loader, one style sheet, its own type faces."""

from __future__ import annotations

import base64
import io
from importlib import resources
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    from PIL import Image

_FACES = {
    "sans-400": "source-sans-3-latin-400-normal.woff",
    "sans-600": "source-sans-3-latin-600-normal.woff",
    "serif-600": "source-serif-4-latin-600-normal.woff",
}


def rendered(template: str, **values: object) -> str:
    """Fill one of the page templates, with the style sheet and type faces inside.

    Parameters
    ----------
    template : file in `fitsim/report/page`.
    **values : what it shows besides ``css``, ``faces`` and ``versions``.

    Returns
    -------
    str
        A page that needs no other file.
    """
    from jinja2 import Environment, PackageLoader, StrictUndefined

    from fitsim.report.contract import versions

    house = Environment(
        loader=PackageLoader("fitsim.report", "page"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return house.get_template(template).render(
        css=asset("report.css"),
        faces={name: _face(file) for name, file in _FACES.items()},
        versions=versions(),
        **values,
    )


def asset(name: str) -> str:
    """Return a text file of `fitsim/report/page`."""
    return (resources.files("fitsim.report") / "page" / name).read_text(encoding="utf-8")


def picture_of(file: str | Path | Image.Image | bytes) -> str:
    """Return a picture as a data address a fifth as long as its PNG.

    Parameters
    ----------
    file : path of a picture, its bytes, or the picture itself.
    """
    from PIL import Image

    coded = io.BytesIO()
    if isinstance(file, Image.Image):
        file.save(coded, "WEBP", quality=84, method=2)
    else:
        with Image.open(io.BytesIO(file) if isinstance(file, bytes) else file) as picture:
            picture.save(coded, "WEBP", quality=84, method=2)
    return "data:image/webp;base64," + base64.b64encode(coded.getvalue()).decode("ascii")


def _face(name: str) -> str:
    file = resources.files("fitsim.draw") / "type" / name
    return base64.b64encode(file.read_bytes()).decode("ascii")
