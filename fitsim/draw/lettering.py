"""Type and small marks on a Pillow picture: text, chips, numbered discs, arrows."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from fitsim.draw.palette import INK, LINE, PAPER, QUIET

if TYPE_CHECKING:
    from collections.abc import Sequence

    from PIL import Image, ImageDraw, ImageFont

Face = Literal["serif", "sans", "bold"]
Colour = tuple[int, int, int]
_FILES = {
    "serif": "source-serif-4-latin-600-normal.woff",
    "sans": "source-sans-3-latin-400-normal.woff",
    "bold": "source-sans-3-latin-600-normal.woff",
}


@lru_cache(maxsize=64)
def font(face: Face, size: int) -> ImageFont.FreeTypeFont:
    """Return a typeface at a size in dots."""
    from PIL import ImageFont

    path = Path(__file__).parent / "type" / _FILES[face]
    return ImageFont.truetype(str(path), size)


class Pen:
    """Draws on one picture in sheet units, `scale` dots each.

    Everything is drawn large and reduced once at the end, which gives smooth edges.
    """

    def __init__(self, picture: Image.Image, scale: float) -> None:
        from PIL import ImageDraw

        self.picture, self.scale = picture, scale
        self.draw: ImageDraw.ImageDraw = ImageDraw.Draw(picture, "RGBA")

    def _at(self, *values: float) -> list[float]:
        return [value * self.scale for value in values]

    def text(
        self, x: float, y: float, words: str, size: float, *,
        face: Face = "sans", colour: Colour = INK, anchor: str = "ls",
    ) -> float:  # fmt: skip
        """Write words and return their width; `anchor` as in Pillow, "ls" = left, baseline."""
        letters = font(face, round(size * self.scale))
        self.draw.text(
            (x * self.scale, y * self.scale), words, font=letters, fill=colour, anchor=anchor
        )
        return letters.getlength(words) / self.scale

    def width(self, words: str, size: float, face: Face = "sans") -> float:
        """Return the width of words."""
        return font(face, round(size * self.scale)).getlength(words) / self.scale

    def line(
        self, points: list[tuple[float, float]], colour: tuple[int, ...], width: float
    ) -> None:
        """Draw a line through points."""
        places = [tuple(self._at(*point)) for point in points]
        self.draw.line(places, fill=colour, width=max(round(width * self.scale), 1), joint="curve")

    def shape(self, points: list[tuple[float, float]], colour: tuple[int, ...]) -> None:
        """Fill a polygon."""
        self.draw.polygon([tuple(self._at(*point)) for point in points], fill=colour)

    def box(
        self, edges: tuple[float, float, float, float], *, fill: tuple[int, ...] | None = None,
        edge: tuple[int, ...] | None = None, width: float = 1.0, radius: float = 0.0,
    ) -> None:  # fmt: skip
        """Draw a box from left, top to right, bottom, with round corners if asked."""
        self.draw.rounded_rectangle(
            self._at(*edges), radius * self.scale, fill=fill, outline=edge,
            width=max(round(width * self.scale), 1),
        )  # fmt: skip

    def disc(self, x: float, y: float, words: str, radius: float = 15.0) -> None:
        """Draw a numbered disc."""
        for grown, colour in ((radius + 2, PAPER), (radius, INK)):
            self.draw.ellipse(self._at(x - grown, y - grown, x + grown, y + grown), fill=colour)
        self.text(x, y, words, radius * 1.35, face="bold", colour=PAPER, anchor="mm")

    def ring(self, x: float, y: float, radius: float) -> None:
        """Draw a small ring, pale on dark, around a place."""
        for grown, colour, width in ((radius + 1, INK, 4.0), (radius, PAPER, 2.0)):
            self.draw.ellipse(
                self._at(x - grown, y - grown, x + grown, y + grown),
                outline=colour, width=round(width * self.scale),
            )  # fmt: skip

    def chip(
        self, x: float, y: float, words: str, size: float, *,
        colour: Colour = INK, anchor: Literal["left", "middle", "right"] = "middle",
        face: Face = "bold",
    ) -> None:  # fmt: skip
        """Write words on a small pale label centred on `y`."""
        wide = self.width(words, size, face) + 16
        left = {"left": x, "middle": x - wide / 2, "right": x - wide}[anchor]
        edges = (left, y - size * 0.72, left + wide, y + size * 0.72)
        self.box(edges, fill=(*PAPER, 232), edge=(*LINE, 255), width=1.0, radius=6.0)
        self.text(left + 8, y + size * 0.34, words, size, face=face, colour=colour)

    def arrow(
        self, start: tuple[float, float], end: tuple[float, float], colour: Colour = INK,
        width: float = 2.0, head: float = 9.0,
    ) -> None:  # fmt: skip
        """Draw an arrow from start to end."""
        dx, dy = end[0] - start[0], end[1] - start[1]
        far = max((dx * dx + dy * dy) ** 0.5, 1e-9)
        ux, uy = dx / far, dy / far
        neck = (end[0] - ux * head, end[1] - uy * head)
        self.line([start, neck], colour, width)
        half = 0.45 * head
        self.shape(
            [end, (neck[0] - uy * half, neck[1] + ux * half),
             (neck[0] + uy * half, neck[1] - ux * half)], colour,
        )  # fmt: skip

    def quiet(self, x: float, y: float, words: str, size: float = 21, anchor: str = "ls") -> None:
        """Write a quiet caption."""
        self.text(x, y, words, size, colour=QUIET, anchor=anchor)


def broken(
    pen: Pen, words: str, room: float, sizes: Sequence[float], most: int = 2
) -> tuple[float, list[str]]:
    """Return the first size at which words take few lines, and those lines; else the last size.

    Parameters
    ----------
    pen : to measure with.
    words : broken at spaces.
    room : sheet units that a line may be long.
    sizes : largest first.
    most : number of lines.
    """
    size, lines = sizes[0], [words]
    for size in sizes:
        lines = [""]
        for word in words.split(" "):
            longer = f"{lines[-1]} {word}".strip()
            if pen.width(longer, size) > room:
                lines.append(word)
            else:
                lines[-1] = longer
        if len(lines) <= most:
            break
    return size, lines
