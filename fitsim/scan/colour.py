"""Colours that light and shade leave alone, and the few that a sticker may have."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, Literal, get_args

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

Colour = Literal["red", "yellow", "green", "blue", "pink"]
"""Of a sticker. Purple counts as pink: lamp light makes one of the other. Orange is none: it is
brown in bright light, and every bay or chestnut coat is brown."""

COLOURS: Final[tuple[Colour, ...]] = get_args(Colour)

HUES: Final[dict[Colour, tuple[float, float]]] = {
    "red": (-8.0, 7.0),
    "yellow": (44.0, 70.0),
    "green": (85.0, 165.0),
    "blue": (185.0, 250.0),
    "pink": (262.0, 340.0),
}
"""deg: where each is sure. Daylight, shade, blue sky and lamps that a camera did not even out move
pigments by up to 12 deg (worked out for gains of 15 % more or less in red and blue); coats and mud
lie at 9 to 43, flesh at 0 to 20."""

BROWN: Final = (7.0, 44.0)
"""deg: hides, mud and straw. Nothing of this hue is a sticker, so nothing of it is spoken of."""

DARKEST: Final = 40.0
"""Of 255: the hue of what is darker is noise."""


def chroma(colours: NDArray[np.uint8] | NDArray[np.float64]) -> NDArray[np.float64]:
    """Hue and saturation as a plane vector that brightness leaves alone.

    Shade scales the three channels alike (in the encoding of pictures too, which is a power), so
    dividing by the largest takes it out.

    Parameters
    ----------
    colours : (n, 3) array
        Red, green and blue, 0 to 255.

    Returns
    -------
    (n, 2) array
        Its length is the saturation, 0 to about 1, its angle the hue. Zero where it is too dark
        to tell.

    Examples
    --------
    >>> import numpy as np
    >>> bright, shaded = chroma(np.array([[200.0, 60.0, 40.0], [100.0, 30.0, 20.0]]))
    >>> bool(np.allclose(bright, shaded))
    True
    """
    red, green, blue = np.asarray(colours, dtype=np.float64).T
    top = np.maximum(np.maximum(red, green), blue)
    plane = np.column_stack([red - (green + blue) / 2.0, np.sqrt(0.75) * (green - blue)])
    plane /= np.maximum(top, 1.0)[:, None]
    plane[top < DARKEST] = 0.0
    return plane


def hue(plane: NDArray[np.float64]) -> float:
    """Hue of a chroma vector, deg.

    Parameters
    ----------
    plane : (2,) array

    Returns
    -------
    float, 0 to 360

    Examples
    --------
    >>> round(hue(chroma(np.array([[0.0, 200.0, 0.0]]))[0]))
    120
    """
    return float(np.degrees(np.arctan2(plane[1], plane[0])) % 360.0)


def named(degrees: float) -> tuple[Colour, bool]:
    """Nearest sticker colour to a hue, and whether the hue is surely that.

    Parameters
    ----------
    degrees : float, deg

    Returns
    -------
    colour : Colour
    sure : bool

    Examples
    --------
    >>> named(222.0), named(345.0)
    (('blue', True), ('pink', False))
    """
    off = {name: _outside(degrees, *band) for name, band in HUES.items()}
    nearest = min(COLOURS, key=off.__getitem__)
    return nearest, off[nearest] == 0.0


def brown(degrees: float) -> bool:
    """Whether a hue is one that hides, mud and straw have.

    Parameters
    ----------
    degrees : float, deg

    Returns
    -------
    bool

    Examples
    --------
    >>> brown(24.0), brown(222.0)
    (True, False)
    """
    return BROWN[0] < degrees < BROWN[1]


def _outside(degrees: float, low: float, high: float) -> float:
    """How far a hue lies outside a band, deg, the short way round."""
    middle, half = (low + high) / 2.0, (high - low) / 2.0
    return max(0.0, abs((degrees - middle + 180.0) % 360.0 - 180.0) - half)
