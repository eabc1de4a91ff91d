"""The cases two finite-element codes are compared on: geometry, material and pose, in SI.

Each case is a slab, an indenter and where the indenter ends up; symmetric ones are halved or
quartered. `level` 0, 1 refines the mesh.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fitsim.contact.reference_model.indenter import Indenter, quadric, sphere
from fitsim.contact.reference_model.material import NeoHooke, neo_hooke
from fitsim.contact.reference_model.slab import Slab, slab

if TYPE_CHECKING:
    from collections.abc import Callable

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Case:
    """One comparison.

    Attributes
    ----------
    name : of the case.
    materials : one per layer, from the skin down.
    indenter : rigid.
    reach : (2, 2) array, m: extent of the indenter's mesh in its own x and y.
    pose : (4, 4) array, T_space_indenter in the end.
    symmetric : axes (0 x, 1 y) whose plane through 0 is one of symmetry.
    mesh : level -> Slab.
    steps : stages in which the reference model goes down.
    facet : m, of the other code's indenter: on a 100 mm sphere 1 mm stands in by 1.3 micrometres.
    """

    name: str
    materials: tuple[NeoHooke, ...]
    indenter: Indenter
    reach: Array
    pose: Array
    symmetric: tuple[int, ...]
    mesh: Callable[[int], Slab]
    steps: int
    facet: float = 1e-3

    @property
    def copies(self) -> int:
        """How many of the modelled part make the whole."""
        return int(2 ** len(self.symmetric))


def fixed(case: Case, mesh: Slab) -> NDArray[np.bool_]:
    """(n, 3) bool array: bone, and across planes of symmetry."""
    out = np.zeros(mesh.points.shape, dtype=np.bool_)
    out[mesh.bone] = True
    for axis in case.symmetric:
        out[np.abs(mesh.points[:, axis]) < 1e-9, axis] = True
    return out


def pose(x: float, z: float, pitch: float = 0.0) -> Array:
    """Pose from a place and a turn about y (rad; positive drops the forward end)."""
    c, s = np.cos(pitch), np.sin(pitch)
    return np.array([[c, 0, s, x], [0, 1, 0, 0], [-s, 0, c, z], [0, 0, 0, 1.0]])


def graded(end: float, count: int, ratio: float) -> Array:
    """Element edges from 0 to `end`, each `ratio` times as long as the one before."""
    return (
        end
        * np.concatenate([[0.0], np.cumsum(ratio ** np.arange(count))])
        / np.sum(ratio ** np.arange(count))
    )


def _flat(thickness: float) -> Callable[[Array, Array, Array], Array]:
    return lambda s, t, z: np.stack([s, t, thickness * (z - 1.0)], axis=1)


def _quarter(
    thickness: float, core: float, end: float, counts: tuple[int, ...], shares: tuple[float, ...]
) -> Callable[[int], Slab]:
    """Quarter of a flat slab: even elements to beyond the contact's rim, then growing ones."""

    def mesh(level: int) -> Slab:
        inner = np.linspace(0.0, core, (6, 9, 12)[level] + 1)
        outer = core + graded(end - core, (4, 5, 6)[level], (1.6, 1.45, 1.35)[level])
        edges = np.concatenate([inner, outer[1:]])
        through = [count + level for count in counts]
        return slab(_flat(thickness), (edges, edges), through, shares, towards_skin=0.8)

    return mesh


def _saddle_patch(
    across_radius: float, along_radius: float, thickness: float
) -> Callable[[Array, Array, Array], Array]:
    """Back patch, convex across (y) and hollow along (x), layer along the normal."""

    def place(s: Array, t: Array, z: Array) -> Array:
        depth = thickness * (1.0 - z)
        y = (across_radius - depth) * np.sin(t / across_radius)
        low = across_radius - (across_radius - depth) * np.cos(t / across_radius)
        turn = s / along_radius
        # The cross-section rides on a circle of the along radius, its centre above.
        x = (along_radius + low) * np.sin(turn)
        return np.stack([x, y, along_radius - (along_radius + low) * np.cos(turn)], axis=1)

    return place


def _patch(level: int) -> Slab:
    along = np.linspace(-0.12, 0.12, (15, 21, 27)[level])
    across = graded(0.09, (7, 10, 13)[level], 1.08)
    return slab(
        _saddle_patch(0.20, 0.80, 0.03), (along, across), [(2, 3, 4)[level]], towards_skin=0.8
    )


def _bar(name: str, pitch: float, depth: float) -> Case:
    """A bar rockered along and flat-crowned across, its edges beyond the contact."""
    bar = quadric(2.2, 0.8, np.inf, np.inf)
    return Case(
        name, (neo_hooke(60e3, 0.45),), bar, np.array([[-0.11, 0.11], [-0.004, 0.05]]),
        pose(0.0, -depth, pitch), (1,), _patch, 3, 4e-3,
    )  # fmt: skip


CASES = (
    Case(
        "flat layer, sphere, 10 %", (neo_hooke(60e3, 0.45),), sphere(0.10),
        np.array([[-0.003, 0.03], [-0.003, 0.03]]), pose(0.0, -0.002), (0, 1),
        _quarter(0.02, 0.024, 0.075, (3,), (1.0,)), 2,
    ),
    Case(
        "flat layer, sphere, 30 %", (neo_hooke(60e3, 0.45),), sphere(0.10),
        np.array([[-0.003, 0.045], [-0.003, 0.045]]), pose(0.0, -0.006), (0, 1),
        _quarter(0.02, 0.042, 0.090, (3,), (1.0,)), 5,
    ),
    Case(
        "two layers, sphere, 10 %", (neo_hooke(25e3, 0.48), neo_hooke(60e3, 0.47)), sphere(0.10),
        np.array([[-0.003, 0.035], [-0.003, 0.035]]), pose(0.0, -0.003), (0, 1),
        _quarter(0.03, 0.030, 0.100, (2, 2), (0.3, 0.7)), 2,
    ),
    _bar("saddle-shaped patch, bar level", 0.0, 0.004),
    _bar("saddle-shaped patch, bar pitched 1 deg", np.deg2rad(1.0), 0.004),
)  # fmt: skip
