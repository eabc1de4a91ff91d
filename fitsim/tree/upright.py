"""Turn a mesh of a tree by right angles until it lies as the tree frame asks."""

from __future__ import annotations

from itertools import permutations, product
from typing import TYPE_CHECKING, Literal

import numpy as np

from fitsim.errors import BadSettings
from fitsim.scan.triangles import area_normals, triangle_middles

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

#: A way along the mesh's own axes.
Way = Literal["+x", "-x", "+y", "-y", "+z", "-z"]
WAYS: tuple[Way, ...] = ("+x", "-x", "+y", "-y", "+z", "-z")

#: Least steepness by which the front must beat the rear to be told from it, rad.
STEEPER = np.radians(1.0)


def upright(
    vertices: NDArray[np.float64],
    triangles: NDArray[np.int32],
    where: str,
    front: Way | None = None,
) -> tuple[NDArray[np.float64], tuple[str, ...]]:
    """Vertices with x forward, y left and z up, and which end that makes the front.

    Parameters
    ----------
    vertices : (n, 3) array, m.
    triangles : (m, 3) int array, outward.
    where : file, for faults.
    front : which way in the mesh its front points, where it was told.

    Returns
    -------
    vertices : (n, 3) array, m: as given where that already is a tree lying so.
    notes : sentences: which end was taken as the front, by what, and how sure that is.

    Raises
    ------
    BadSettings
        No turn by right angles makes a tree of it, or front and rear look alike.

    Notes
    -----
    A tree lies right when it is longest along x, the same to both sides, and the faces that look
    down lean inwards on both sides: the two bars' undersides look at each other. Turned end for
    end it does so too; the steeper end is then the front (common practice, no source: bars are
    steeper beside the withers than behind).
    """
    if front is not None:
        return _told(vertices, triangles, where, front)
    if _lies_right(vertices, triangles):
        return vertices, (_as_drawn(steeper_front(vertices, triangles)),)
    found = [
        vertices @ turn.T for turn in _right_angles() if _lies_right(vertices @ turn.T, triangles)
    ]
    if not found:
        raise BadSettings(
            where,
            "is not seen to be two bars side by side",
            "turn the mesh so that x points forward, y to the left and z up, and leave other "
            "parts out",
        )
    turned = max(found, key=lambda one: steeper_front(one, triangles))
    steeper = steeper_front(turned, triangles)
    if steeper < STEEPER:
        raise BadSettings(
            where,
            "does not show which end is the front",
            "turn the mesh so that x points forward, y to the left and z up",
        )
    said = (
        "the mesh was turned upright by right angles, and its steeper end "
        f"(by {np.degrees(steeper):.0f} deg) taken as the front: look whether it is"
    )
    return turned, (said,)


def _told(
    vertices: NDArray[np.float64], triangles: NDArray[np.int32], where: str, front: Way
) -> tuple[NDArray[np.float64], tuple[str, ...]]:
    """Turn so that the way told is forward; the one of four such turns that makes a tree of it."""
    way = np.zeros(3)
    way["xyz".index(front[1])] = 1.0 if front[0] == "+" else -1.0
    for turn in sorted(_right_angles(), key=lambda one: -float(np.trace(one))):
        if (turn @ way)[0] > 0.5 and _lies_right(vertices @ turn.T, triangles):  # noqa: PLR2004
            said = f"the end towards {front} in the mesh is the front, as told"
            return vertices @ turn.T, (said,)
    raise BadSettings(
        where,
        f"is not seen to be two bars side by side whose front points to {front}",
        "tell another front, or turn the mesh so that x points forward, y to the left and z up",
    )


def _as_drawn(steeper: float) -> str:
    """Sentence on a mesh that was left as it lay, its front steeper by so much (rad)."""
    taken = "the end towards +x in the mesh was taken as the front"
    if steeper > STEEPER:
        return f"{taken}; it is also the steeper one (by {np.degrees(steeper):.0f} deg), as usual"
    if steeper < -STEEPER:
        return (
            f"{taken}, but the other end is steeper (by {-np.degrees(steeper):.0f} deg): look "
            "whether the mesh lies back to front"
        )
    return f"{taken}; both ends are alike in steepness, so that the shape does not tell"


def _right_angles() -> Iterator[NDArray[np.float64]]:
    """The 24 turns that carry axes onto axes."""
    for order in permutations(range(3)):
        for signs in product((1.0, -1.0), repeat=3):
            turn = np.zeros((3, 3))
            turn[range(3), order] = signs
            if np.linalg.det(turn) > 0:
                yield turn


def _lies_right(vertices: NDArray[np.float64], triangles: NDArray[np.int32]) -> bool:
    extent = np.ptp(vertices, axis=0)
    if extent[0] < 1.1 * extent[1] or extent[0] < 1.1 * extent[2]:
        return False
    place, normal = triangle_middles(vertices, triangles), area_normals(vertices, triangles)
    low, high = vertices[:, 1].min(), vertices[:, 1].max()
    side = np.sign(place[:, 1] - (low + high) / 2.0)
    area = np.linalg.norm(normal, axis=1)
    halves = [area[side == s].sum() for s in (1.0, -1.0)]
    if min(halves) < 0.8 * max(halves):
        return False
    down = normal[:, 2] < -0.5 * area
    lean = [
        float(
            (normal[down & (side == s), 1] * -s).sum() / max(area[down & (side == s)].sum(), 1e-12)
        )
        for s in (1.0, -1.0)
    ]
    return min(lean) > 0.05  # noqa: PLR2004 - about 3 degrees of face angle


def steeper_front(vertices: NDArray[np.float64], triangles: NDArray[np.int32]) -> float:
    """By what angle the undersides are steeper in the front half than in the rear.

    Parameters
    ----------
    vertices : (n, 3) array, m, lying as the tree frame asks.
    triangles : (m, 3) int array, outward.

    Returns
    -------
    float, rad, by the mean over the faces that look down.
    """
    place, normal = triangle_middles(vertices, triangles), area_normals(vertices, triangles)
    area = np.linalg.norm(normal, axis=1)
    down = normal[:, 2] < -0.5 * area
    middle, centre, _ = (vertices.min(axis=0) + vertices.max(axis=0)) / 2.0
    lean = -normal[:, 1] * np.sign(place[:, 1] - centre)
    ahead = down & (place[:, 0] > middle)
    front, rear = (
        float(np.arcsin(lean[half].sum() / area[half].sum())) for half in (ahead, down & ~ahead)
    )
    return front - rear
