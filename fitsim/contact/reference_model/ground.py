"""The tissue under the bars as a slab of elements: the back's own shape, depth and layers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.interpolate import RectBivariateSpline

from fitsim.contact.reference_model.assembly import Assembly, assembly_of
from fitsim.contact.reference_model.layers import blended
from fitsim.contact.reference_model.material import neo_hooke
from fitsim.contact.reference_model.slab import grid_lines, slab

if TYPE_CHECKING:
    from collections.abc import Callable

    from fitsim.back.back import Chart, Tissue
    from fitsim.contact.reference_model.layers import Layers
    from fitsim.contact.reference_model.slab import Slab

Array = NDArray[np.float64]

SIZE = 0.022
"""m, length of a quadratic element under the bars; its nodes lie half as far apart."""

MARGIN_DEPTHS = 1.5
"""Tissue meshed beyond the nodes a bar may reach, in depths; with their own margin over two."""

_GROWTH = 1.5  # of neighbouring elements in the margin
_ALONG = 1.25  # elements are longer along the bars than across: pressure varies less
_BELOW = 1  # elements through the layers under the first two
_LARGEST_POISSON = 0.4999  # an incompressible layer of the fast model; see neo_hooke


@dataclass(frozen=True)
class Ground:
    """The meshed part of a back.

    Attributes
    ----------
    chart : Chart
        Of the back.
    size : m, of an element across the bars.
    model : Assembly
    edges : element edges along x and t of the chart, m.
    fixed : (n, 3) bool array, displacements held at zero: bone, and the cut through the tissue.
    """

    chart: Chart
    size: float
    model: Assembly
    edges: tuple[Array, Array]
    fixed: NDArray[np.bool_]


@dataclass(frozen=True)
class Spread:
    """From nodes of the mesh to places of the chart, each (m, n) sparse.

    Attributes
    ----------
    value : -, shape functions of the skin; its transpose hands forces on to the mesh.
    along, across : 1/m, their slopes along x and t.
    """

    value: sparse.csr_array
    along: sparse.csr_array
    across: sparse.csr_array


def ground_of(
    chart: Chart,
    tissue: Tissue,
    box: Array,
    size: float = SIZE,
    *,
    below: int = _BELOW,
    margin: float = MARGIN_DEPTHS,
) -> Ground:
    """Mesh the tissue under part of a chart.

    Parameters
    ----------
    chart : Chart
    tissue : Tissue
    box : (2, 2) array, m
        Lowest and highest x, and t, that a bar may reach; a margin is added.
    size : float, m
        Length of an element across the bars.
    below : int
        Elements through what lies under the first two layers.
    margin : float, -
        Width of the margin over the greatest depth of tissue.

    Returns
    -------
    Ground

    Raises
    ------
    ValueError
        If the tissue is deeper than the back's radius somewhere, so that it would fold.

    Notes
    -----
    Bone lies under the skin by the blended depth, along the skin's normal. Element faces follow
    the lower faces of the first two layers; deeper changes of modulus are met within elements,
    point by point.
    """
    layers = blended(chart, tissue)
    reach = margin * float(layers.depth.max())
    bounds = np.array([[chart.x[0], chart.x[-1]], [chart.t[0], chart.t[-1]]])
    edges = (
        _edges(box[0], _ALONG * size, reach, bounds[0]),
        _edges(box[1], size, reach, bounds[1]),
    )
    levels = _levels(layers)
    counts = [1] * (len(levels) - 1) + [below + 2 * (len(levels) == 1)]
    shares = [1.0 / len(counts)] * len(counts)
    mesh = slab(_place(chart, levels), edges, counts, shares)
    lines = grid_lines(edges, counts, shares)
    shear, bulk = _moduli(mesh, chart, layers, levels, lines)
    return Ground(chart, size, assembly_of(mesh, shear, bulk), edges, _fixed(mesh))


def _edges(box: Array, size: float, reach: float, bounds: Array) -> Array:
    """Even elements over a range and growing ones in the margin, within the chart's bounds."""
    low, high = np.clip(box, *bounds)
    core = np.linspace(low, high, max(2, round((high - low) / size)) + 1)
    left = low - _margin(size, min(reach, low - bounds[0]))[::-1]
    right = high + _margin(size, min(reach, bounds[1] - high))
    return np.concatenate([left, core, right])


def _margin(size: float, width: float) -> Array:
    """Distances from the core of growing elements that fill a width; none in a sliver."""
    count = 0
    while np.sum(_GROWTH ** np.arange(1, count + 1)) * size < width:
        count += 1
    if width < size / 2.0:
        return np.zeros(0)
    steps = np.cumsum(_GROWTH ** np.arange(1, count + 1))
    return np.asarray(width * steps / steps[-1])


def _levels(layers: Layers) -> Array:
    """Depth (l, nx, nt) m of the lower face of each layer of elements; the last is bone."""
    depth = layers.depth
    if len(layers.thickness) == 1:
        return depth[None]
    first = np.clip(layers.thickness[0], 0.06 * depth, 0.5 * depth)
    if len(layers.thickness) == 2:  # noqa: PLR2004 two layers, two layers of elements
        return np.stack([first, depth])
    rest = depth - first
    second = first + np.clip(layers.thickness[1], 0.2 * rest, 0.6 * rest)
    return np.stack([first, second, depth])


def _place(chart: Chart, levels: Array) -> Callable[[Array, Array, Array], Array]:
    """Mapping from chart coordinates and share of the levels passed (0 bone, 1 skin) to space."""
    shape = [_smooth(chart, chart.points[..., axis]) for axis in range(3)]
    normal = [_smooth(chart, chart.normals[..., axis]) for axis in range(3)]

    def place(s: Array, t: Array, z: Array) -> Array:
        up = np.stack([part.ev(s, t) for part in normal], axis=1)
        up /= np.linalg.norm(up, axis=1, keepdims=True)
        skin = np.stack([part.ev(s, t) for part in shape], axis=1)
        return np.asarray(skin - _depth_at(chart, levels, s, t, z)[:, None] * up)

    return place


def _smooth(chart: Chart, field: Array) -> RectBivariateSpline:
    return RectBivariateSpline(chart.x, chart.t, field)


def _depth_at(chart: Chart, levels: Array, s: Array, t: Array, z: Array) -> Array:
    """Depth (m,) m below the skin at shares z of the levels, even between two levels."""
    faces = np.stack(
        [np.zeros_like(s), *(RectBivariateSpline(chart.x, chart.t, f, kx=1, ky=1).ev(s, t)
                             for f in levels)]
    )  # fmt: skip
    passed = (1.0 - z) * len(levels)
    above = np.clip(np.floor(passed + 1e-9).astype(int), 0, len(levels) - 1)
    column = np.arange(len(s))
    part = passed - above
    return np.asarray(faces[above, column] * (1.0 - part) + faces[above + 1, column] * part)


def _moduli(
    mesh: Slab, chart: Chart, layers: Layers, levels: Array, lines: tuple[Array, Array, Array]
) -> tuple[Array, Array]:
    """Shear modulus (e, 27 points) and bulk modulus (e,) Pa, by depth in the blended layers."""
    of_node = np.empty((len(mesh.points), 3))
    of_node[mesh.grid] = np.stack(np.meshgrid(*lines, indexing="ij"), axis=-1)
    s, t, z = np.moveaxis(mesh.shapes @ of_node[mesh.elements], -1, 0).reshape(3, -1)
    depth = _depth_at(chart, levels, s, t, z)
    faces = np.cumsum(layers.thickness, axis=0)[:-1]
    number = np.zeros(len(s), dtype=np.int_)
    for face in faces:
        number += depth > RectBivariateSpline(chart.x, chart.t, face, kx=1, ky=1).ev(s, t)
    known = [neo_hooke(one.young, min(one.poisson, _LARGEST_POISSON)) for one in layers.materials]
    shear = np.array([one.shear for one in known])[number].reshape(mesh.volumes.shape)
    bulk = np.array([one.bulk for one in known])[number].reshape(mesh.volumes.shape)
    share = mesh.volumes / mesh.volumes.sum(axis=1, keepdims=True)
    return shear, 1.0 / (share / bulk).sum(axis=1)


def _fixed(mesh: Slab) -> NDArray[np.bool_]:
    """Bone, and the four cuts: so far off nothing moves (a margin more changes nothing)."""
    held = np.zeros(mesh.points.shape, dtype=np.bool_)
    for nodes in (mesh.bone, mesh.grid[0], mesh.grid[-1], mesh.grid[:, 0], mesh.grid[:, -1]):
        held[nodes.ravel()] = True
    return held


def spread(ground: Ground, x: Array, t: Array) -> Spread:
    """Values and slopes at places of the chart from values at nodes of the mesh.

    Parameters
    ----------
    ground : Ground
    x, t : (m,) arrays, m
        Places within the mesh.

    Returns
    -------
    Spread
    """
    size = (len(x), len(ground.model.slab.points))
    skin = ground.model.slab.grid[:, :, -1]
    both: list[list[sparse.csr_array]] = []
    # Slopes jump where elements meet: points there take the mean of both sides.
    for side in ("left", "right"):
        (rows, a, da), (columns, b, db) = (
            _line(edges, value, side) for edges, value in zip(ground.edges, (x, t), strict=True)
        )
        at = skin[rows[:, :, None], columns[:, None, :]].ravel()
        by = np.repeat(np.arange(len(x)), 9)
        both.append([
            sparse.csr_array(((f[:, :, None] * g[:, None, :]).ravel(), (by, at)), shape=size)
            for f, g in ((a, b), (da, b), (a, db))
        ])  # fmt: skip
    return Spread(*(sparse.csr_array(0.5 * (a + b)) for a, b in zip(*both, strict=True)))


def _line(
    edges: Array, value: Array, side: Literal["left", "right"]
) -> tuple[NDArray[np.int_], Array, Array]:
    """Grid lines (m, 3) of the element each value lies in, quadratic shapes and their slopes.

    A value on an edge belongs to the element before (left) or after it (right).
    """
    # Within rounding of an edge is on it.
    nudge = 1e-9 if side == "right" else -1e-9
    cell = np.clip(np.searchsorted(edges, value + nudge) - 1, 0, len(edges) - 2)
    length = edges[cell + 1] - edges[cell]
    u = 2.0 * (value - edges[cell]) / length - 1.0
    shape = np.stack([u * (u - 1.0) / 2.0, 1.0 - u**2, u * (u + 1.0) / 2.0], axis=1)
    slope = np.stack([u - 0.5, -2.0 * u, u + 0.5], axis=1) * (2.0 / length)[:, None]
    return 2 * cell[:, None] + np.arange(3), shape, slope
