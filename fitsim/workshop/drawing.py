"""The noun `Drawing`: lines in true size on named layers, whatever writes them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: CUT is the edge to cut to, SLOT an opening, POCKET where a hollow fades out, MIDDLE the spine or
#: a bar's middle line, LEVEL a line to hold level, FACE the angle of a face, STATION where a
#: section is taken, RASP a depth to take off.
Layer = Literal["CUT", "SLOT", "POCKET", "MIDDLE", "LEVEL", "FACE", "STATION", "RASP"]
LAYERS: tuple[Layer, ...] = (
    "CUT",
    "SLOT",
    "POCKET",
    "MIDDLE",
    "LEVEL",
    "FACE",
    "STATION",
    "RASP",
)


@dataclass(frozen=True)
class Line:
    """A polyline.

    Attributes
    ----------
    layer : see `LAYERS`.
    points : (n, 2) array, m, to the right and up.
    closed : whether its last point joins its first.
    """

    layer: Layer
    points: NDArray[np.float64]
    closed: bool = False


@dataclass(frozen=True)
class Label:
    """A few words beside a place.

    Attributes
    ----------
    at : (right, up), m, of the first letter's foot.
    text : the words.
    """

    at: tuple[float, float]
    text: str


@dataclass(frozen=True)
class Drawing:
    """One template.

    Attributes
    ----------
    key : short name for files and blocks, letters, digits and dashes.
    title : for people.
    lines, labels : what is drawn.
    """

    key: str
    title: str
    lines: tuple[Line, ...]
    labels: tuple[Label, ...] = ()


def extent(drawing: Drawing) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Lower left and upper right corner of a drawing's lines.

    Parameters
    ----------
    drawing : with one line at least.

    Returns
    -------
    low, high : (2,) arrays, m.
    """
    points = np.concatenate([line.points for line in drawing.lines])
    return points.min(axis=0), points.max(axis=0)
