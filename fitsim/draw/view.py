"""The four ways a back is looked at, each a parallel projection onto its panel."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray


@dataclass(frozen=True)
class View:
    """One parallel projection and the panel it fills.

    Attributes
    ----------
    name : shown above the panel.
    right, up : (3,) arrays, unit, body frame: directions on the page.
    centre : (3,) array, m, body frame: shown in the middle of the panel.
    dots_per_m : dots of the panel for one metre.
    box : left, top, right, bottom of the panel on the mosaic, in dots.
    """

    name: str
    right: NDArray[np.float64]
    up: NDArray[np.float64]
    centre: NDArray[np.float64]
    dots_per_m: float
    box: tuple[int, int, int, int]

    @property
    def towards(self) -> NDArray[np.float64]:
        """Unit vector from the back towards the eye."""
        return np.cross(self.right, self.up)

    @property
    def size(self) -> tuple[int, int]:
        """Width and height of the panel, dots."""
        return self.box[2] - self.box[0], self.box[3] - self.box[1]

    def page(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return where body points fall on the panel, (n, 2): dots from its left and top."""
        off = (np.atleast_2d(points) - self.centre) * self.dots_per_m
        wide, high = self.size
        return np.column_stack([wide / 2 + off @ self.right, high / 2 - off @ self.up])

    def facing(self, normals: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the cosine between outward normals and the way to the eye, (n,)."""
        return np.asarray(np.atleast_2d(normals) @ self.towards)


ABOVE, LEFT, RIGHT, QUARTER = "From above", "From the left", "From the right", "Three-quarter"


def views(
    lowest: NDArray[np.float64],
    highest: NDArray[np.float64],
    boxes: dict[str, tuple[int, int, int, int]],
) -> tuple[View, ...]:
    """Return the four views of a region of the body frame.

    Parameters
    ----------
    lowest, highest : (3,) arrays, m: corners of the box that holds both bars.
    boxes : panel of each view on the mosaic, dots, by view name.
    """
    ahead, left, above = np.eye(3)
    middle = (lowest + highest) / 2
    length = highest[0] - lowest[0]
    quarter = np.array([0.62, 0.62, 0.62])
    quarter /= np.linalg.norm(quarter)
    quarter_right = np.cross(above, quarter) / np.linalg.norm(np.cross(above, quarter))
    # Right and up on the page, room around the bars (m), and where the middle is moved to (m).
    directions = {
        ABOVE: (-left, ahead, 0.30, 0.02 * ahead),
        LEFT: (-ahead, above, 0.26, 0.02 * ahead - 0.03 * above),
        RIGHT: (ahead, above, 0.26, 0.02 * ahead - 0.03 * above),
        QUARTER: (
            quarter_right,
            np.cross(quarter, quarter_right),
            0.17,
            0.03 * ahead - 0.03 * above,
        ),
    }

    def view(name: str) -> View:
        right, up, room, shift = directions[name]
        box = boxes[name]
        long_side = box[3] - box[1] if name == ABOVE else box[2] - box[0]
        return View(name, right, up, middle + shift, long_side / (length + room), box)

    return tuple(view(name) for name in directions)
