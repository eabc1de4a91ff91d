"""A slab of tissue between skin and bone as a mesh of quadratic hexahedra."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

Array = NDArray[np.float64]
Index = NDArray[np.int_]

# Enough for the stiffness of an undistorted quadratic hexahedron: 3 x 3 x 3 Gauss points.
_QUADRATURE_ORDER = 5


@dataclass(frozen=True)
class Slab:
    """Mesh of 27-node hexahedra, bonded below, with what assembly needs worked out once.

    Attributes
    ----------
    points : (n, 3) array, m, nodes at rest.
    grid : (2 nx + 1, 2 ny + 1, 2 nz + 1) int array, node at each place; last axis bone to skin.
    elements : (e, 27) int array, nodes of each hexahedron.
    layer : (e,) int array, layer each hexahedron lies in, 0 at the skin.
    gradients : (e, 27 points, 27 nodes, 3) array, 1/m, of the shape functions.
    volumes : (e, 27 points) array, m3, quadrature weights.
    linear : (27 points, 4) array, -, discontinuous linear pressure functions.
    shapes : (27 points, 27 nodes) array, -, the shape functions.
    skin : (s,) int array, nodes of the skin.
    skin_faces : (f, 9) int array, 3 x 3 nodes of each quadratic face of the skin.
    """

    points: Array
    grid: Index
    elements: Index
    layer: Index
    gradients: Array
    volumes: Array
    linear: Array
    shapes: Array
    skin: Index
    skin_faces: Index

    @property
    def bone(self) -> Index:
        """(s,) int array, nodes bonded to bone."""
        return self.grid[:, :, 0].ravel()


def slab(
    place: Callable[[Array, Array, Array], Array],
    across: tuple[Array, Array],
    counts: Sequence[int],
    shares: Sequence[float] = (1.0,),
    towards_skin: float = 1.0,
) -> Slab:
    """Mesh the slab that a mapping from parameters to space describes.

    Parameters
    ----------
    place : callable
        (m,) arrays s, t and depth share z (0 bone, 1 skin) -> (m, 3) points, m. Right-handed.
    across : two ascending arrays
        Element edges in s (nx + 1) and t (ny + 1), in the mapping's parameters.
    counts : sequence of int
        Elements through each layer, from the skin down.
    shares : sequence of float, -
        Thickness of each layer over the whole, from the skin down, summing to one.
    towards_skin : float, -
        Ratio of neighbouring element heights within a layer; below 1 they get finer towards
        the skin.

    Returns
    -------
    Slab

    Raises
    ------
    ValueError
        If an element is turned inside out at rest.

    Examples
    --------
    >>> block = slab(
    ...     lambda s, t, z: np.stack([s, t, 0.02 * z], axis=1),
    ...     (np.linspace(0.0, 0.06, 4), np.linspace(0.0, 0.04, 3)),
    ...     counts=[2],
    ... )
    >>> len(block.points), block.elements.shape, round(float(block.volumes.sum()) * 1e6, 6)
    (175, (12, 27), 48.0)
    """
    from skfem import Basis, ElementHex2, MeshHex, MeshHex2

    levels = _levels(counts, shares, towards_skin)
    edges = (np.asarray(across[0]), np.asarray(across[1]), levels)
    flat = MeshHex2.from_mesh(MeshHex.init_tensor(*edges))
    grid = _grid(flat.doflocs, edges)
    mesh = MeshHex2(place(*flat.doflocs).T.copy(), flat.t)
    basis = Basis(mesh, ElementHex2(), intorder=_QUADRATURE_ORDER)
    # The mesh's own numbering may be left-handed: compare with the undeformed parameter box.
    handed = np.sign(flat.mapping().detDF(basis.X[:, :1]))
    if not np.all(np.asarray(basis.mapping.detDF(basis.X)) * handed > 0.0):
        raise ValueError("the slab is turned inside out: its mapping must be right-handed")
    middle = flat.p[2, flat.t].mean(axis=0)
    gradients = np.stack([np.asarray(b[0].grad) for b in basis.basis])  # (27, 3, e, q)
    return Slab(
        points=np.ascontiguousarray(mesh.doflocs.T),
        grid=grid,
        elements=np.ascontiguousarray(basis.element_dofs.T),
        layer=_layer_of(middle, shares),
        gradients=np.ascontiguousarray(gradients.transpose(2, 3, 0, 1)),
        volumes=np.asarray(basis.dx),
        linear=np.concatenate([np.ones((1, basis.X.shape[1])), basis.X - 0.5]).T,
        shapes=np.stack([np.asarray(b[0])[0] for b in basis.basis], axis=1),
        skin=grid[:, :, -1].ravel(),
        skin_faces=_faces(grid[:, :, -1]),
    )


def grid_lines(
    across: tuple[Array, Array],
    counts: Sequence[int],
    shares: Sequence[float] = (1.0,),
    towards_skin: float = 1.0,
) -> tuple[Array, Array, Array]:
    """Parameters s, t and z of the grid's lines, corners and midpoints, as `slab` lays them.

    Parameters
    ----------
    across, counts, shares, towards_skin : as in `slab`.

    Returns
    -------
    s : (2 nx + 1,) array
    t : (2 ny + 1,) array
    z : (2 nz + 1,) array, -

    Examples
    --------
    >>> grid_lines((np.array([0.0, 2.0]), np.array([0.0, 1.0])), [1])[0]
    array([0., 1., 2.])
    """
    levels = _levels(counts, shares, towards_skin)
    s, t, z = (with_middles(np.asarray(edges)) for edges in (*across, levels))
    return s, t, z


def with_middles(edges: Array) -> Array:
    """Edges and the middles between them, ascending."""
    return np.sort(np.concatenate([edges, (edges[1:] + edges[:-1]) / 2.0]))


def _levels(counts: Sequence[int], shares: Sequence[float], ratio: float) -> Array:
    """Element edges from bone (0) to skin (1)."""
    levels = [np.zeros(1)]
    for count, share in zip(reversed(counts), reversed(shares), strict=True):
        heights = ratio ** np.arange(count)
        levels.append(levels[-1][-1] + share * np.cumsum(heights) / heights.sum())
    return np.concatenate(levels)


def _layer_of(middle: Array, shares: Sequence[float]) -> Index:
    """Layer of each element from its depth share."""
    return np.searchsorted(np.cumsum(shares), 1.0 - middle)


def _grid(doflocs: Array, edges: tuple[Array, Array, Array]) -> Index:
    """Node at each place of the grid of corners and midpoints."""
    rows = []
    for place, edge in zip(doflocs, edges, strict=True):
        rows.append(np.abs(place[:, None] - with_middles(edge)).argmin(axis=1))
    grid = np.empty([2 * len(edge) - 1 for edge in edges], dtype=np.int_)
    grid[tuple(rows)] = np.arange(doflocs.shape[1])
    return grid


def _faces(skin: Index) -> Index:
    """Nine nodes of each quadratic face, first axis slow."""
    corner = skin[:-2:2, :-2:2].ravel()
    blocks = np.lib.stride_tricks.sliding_window_view(skin, (3, 3))[::2, ::2]
    return blocks.reshape(len(corner), 9)
