"""Made-up hides with stickers, dirt and shade on them, at places that are known."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

HIDES: Mapping[str, tuple[int, int, int]] = {
    "brown": (105, 68, 45), "sorrel": (165, 95, 50), "blood bay": (108, 46, 30),
    "palomino": (200, 160, 100), "dun": (180, 150, 110), "grey": (150, 150, 152),
    "white": (232, 228, 218), "black": (58, 54, 53),
}  # fmt: skip
"""Red, green, blue of coats (from memory of photographs)."""

STICKERS: Mapping[str, tuple[int, int, int]] = {
    "red": (205, 30, 35), "yellow": (250, 215, 25), "green": (35, 160, 70),
    "blue": (30, 85, 200), "pink": (250, 65, 150),
}  # fmt: skip
"""Of ordinary paper dots (from memory)."""

MUD, DUNG = (96, 72, 46), (84, 80, 42)


class Dot(NamedTuple):
    """A disc of colour on a surface."""

    place: NDArray[np.float64]
    colour: Sequence[float]
    width: float = 0.025


def hide(
    points: NDArray[np.float64],
    rng: np.random.Generator,
    coat: Sequence[float],
    *,
    other: Sequence[float] | None = None,
) -> NDArray[np.float64]:
    """A coat in which every hair differs a little, with patches of another coat if one is told."""
    colours = np.tile(np.asarray(coat, dtype=float), (len(points), 1))
    if other is not None:
        wave = np.sin(9.0 * points[:, 0] + 1.0) + np.sin(11.0 * points[:, 1] + 2.0 * points[:, 2])
        colours[wave > 0.6] = other
    return colours * (1.0 + 0.06 * rng.standard_normal((len(points), 1)))


def dotted(
    points: NDArray[np.float64],
    colours: NDArray[np.float64],
    dots: Sequence[Dot],
    soft: float = 0.002,
) -> NDArray[np.float64]:
    """Colours with discs laid on, their edges blurred over about `soft`, m."""
    for dot in dots:
        far = np.linalg.norm(points - dot.place, axis=1)
        share = np.clip(0.5 + (dot.width / 2.0 - far) / (2.0 * soft), 0.0, 1.0)[:, None]
        colours = (1.0 - share) * colours + share * np.asarray(dot.colour, dtype=float)
    return colours


def lit(
    points: NDArray[np.float64],
    colours: NDArray[np.float64],
    rng: np.random.Generator,
    gains: Sequence[float] = (1.0, 1.0, 1.0),
    *,
    noise: float = 4.0,
    shade: float = 0.45,
) -> NDArray[np.uint8]:
    """As a camera records it: brighter at one end, a hard shadow, a cast of colour, noise."""
    along = points @ np.array([0.8, 0.4, 0.3])
    share = (along - along.min()) / np.ptp(along)
    light = 1.0 - shade * share
    light = np.where(share > 0.7, 0.75 * light, light)[:, None]  # a hard shadow
    seen = colours * light * np.asarray(gains) + noise * rng.standard_normal(colours.shape)
    return np.clip(np.rint(seen), 0, 255).astype(np.uint8)
