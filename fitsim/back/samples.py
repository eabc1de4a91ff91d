"""Area-weighted points on a scan's surface: every later step works on these alone."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy.spatial import cKDTree

from fitsim.scan.triangles import areas, edge_lengths

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.scan.scan import Scan

FINEST_SPLIT = 40
"""A triangle's edge is cut into at most this many parts."""

COARSE_EDGE = 0.04
"""m: facets longer than this hide the shape a bar lies on (a bar is 110 mm wide)."""

LOOP_ROUNDS = 2


@dataclass(frozen=True)
class Samples:
    """Points spread over a surface.

    Attributes
    ----------
    points : (n, 3) array, m (or the file's own unit before the scale is known).
    area : (n,) array, m2: the surface each point stands for.
    colours : (n, 3) uint8 array or None.
    """

    points: NDArray[np.float64]
    area: NDArray[np.float64]
    colours: NDArray[np.uint8] | None = None

    def moved(self, T_target_source: NDArray[np.float64]) -> Samples:
        """The same samples in another frame (a uniform scale in T is allowed).

        Parameters
        ----------
        T_target_source : (4, 4) array.

        Returns
        -------
        Samples
        """
        linear = T_target_source[:3, :3]
        scale = float(np.cbrt(abs(np.linalg.det(linear))))
        points = self.points @ linear.T + T_target_source[:3, 3]
        return Samples(points, self.area * scale**2, self.colours)

    def only(self, chosen: NDArray[np.bool_]) -> Samples:
        """The chosen samples.

        Parameters
        ----------
        chosen : (n,) bool array.

        Returns
        -------
        Samples
        """
        return self.rows(np.flatnonzero(chosen))

    def rows(self, rows: NDArray[np.intp]) -> Samples:
        """The samples at these places, (k,) int array."""
        colours = None if self.colours is None else self.colours.take(rows, axis=0)
        return Samples(self.points.take(rows, axis=0), self.area.take(rows), colours)


def thinned(samples: Samples, count: int) -> Samples:
    """About `count` of the samples, evenly over the surface.

    Parameters
    ----------
    samples : Samples
    count : int

    Returns
    -------
    Samples
        Each standing for the same area; chosen by walking along the summed area, which no turn
        of the scan changes.
    """
    if len(samples.points) <= count:
        return samples
    along = np.cumsum(samples.area)
    places = (np.arange(count) + 0.5) * (along[-1] / count)
    chosen = np.unique(np.searchsorted(along, places).clip(0, len(along) - 1))
    area = np.full(len(chosen), along[-1] / len(chosen))
    return replace(samples.rows(chosen), area=area)


def surface_samples(scan: Scan, step: float) -> Samples:
    """Points on the scan's surface no farther apart than about `step`.

    Triangles are cut evenly until their edges are shorter than `step` and give one point per
    part, so that the result depends on the triangles only, never on how the scan is turned.
    A point cloud is its own sample: each point stands for the disc its neighbours leave it.

    Parameters
    ----------
    scan : Scan
    step : float
        Longest spacing wanted, in the unit of the vertices.

    Returns
    -------
    Samples

    Examples
    --------
    >>> import numpy as np
    >>> from fitsim.scan.scan import Provenance, Scan
    >>> corners = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0]])
    >>> scan = Scan(corners, np.array([[0, 1, 2]]), Provenance("t", "", 1, 3))
    >>> samples = surface_samples(scan, step=0.2)
    >>> round(float(samples.area.sum()), 6)
    0.5
    """
    if scan.is_points:
        return Samples(scan.vertices, _disc_area(scan.vertices), scan.colours)
    longest = edge_lengths(scan.vertices, scan.triangles).max(axis=0)
    area = areas(scan.vertices, scan.triangles)
    splits = np.clip(np.ceil(longest / step), 1, FINEST_SPLIT).astype(int)
    hues = None if scan.colours is None else scan.colours.astype(float)
    points, shares, colours = [], [], []
    for parts in np.unique(splits):
        chosen = splits == parts
        weights, corners = _part_centres(int(parts)), scan.triangles[chosen]
        points.append(_mixed(weights, scan.vertices, corners))
        shares.append(np.repeat(area[chosen] / parts**2, parts**2))
        if hues is not None:
            colours.append(_mixed(weights, hues, corners).astype(np.uint8))
    colour = np.concatenate(colours) if colours else None
    return Samples(np.concatenate(points), np.concatenate(shares), colour)


def facet_edge(scan: Scan, near: NDArray[np.bool_] | None = None) -> float:
    """Typical facet edge of the scan: the area-weighted median, in the vertices' unit.

    Parameters
    ----------
    scan : Scan
    near : (n,) bool array or None
        Look only at triangles with a corner among these vertices.

    Returns
    -------
    float
        0 for a point cloud.
    """
    if scan.is_points:
        return 0.0
    triangles = scan.triangles
    if near is not None and near.any():
        triangles = triangles[near[triangles].any(axis=1)]
    edges = edge_lengths(scan.vertices, triangles).mean(axis=0)
    area = areas(scan.vertices, triangles)
    order = np.argsort(edges)
    share = np.cumsum(area[order]) / area.sum()
    return float(edges[order][np.searchsorted(share, 0.5)])


def rounded(scan: Scan) -> Scan:
    """A coarse mesh subdivided twice by Loop's scheme, so that its facets do not press as edges.

    Parameters
    ----------
    scan : Scan

    Returns
    -------
    Scan

    References
    ----------
    Loop C 1987, Smooth subdivision surfaces based on triangles, thesis, University of Utah.
    """
    import trimesh

    _, first, welded = np.unique(
        np.round(scan.vertices / (1e-6 * np.ptp(scan.vertices, axis=0).max())).astype(np.int64),
        axis=0, return_index=True, return_inverse=True,
    )  # fmt: skip
    triangles = welded.reshape(-1)[scan.triangles]
    whole = (
        (triangles[:, 0] != triangles[:, 1])
        & (triangles[:, 1] != triangles[:, 2])
        & (triangles[:, 0] != triangles[:, 2])
    )
    vertices, triangles = trimesh.remesh.subdivide_loop(  # type: ignore[no-untyped-call]
        scan.vertices[first], triangles[whole], iterations=LOOP_ROUNDS
    )
    return replace(
        scan,
        vertices=np.asarray(vertices, dtype=float),
        triangles=np.asarray(triangles, dtype=np.int32),
        colours=None,
        normals=None,
    )


def _mixed(
    weights: NDArray[np.float64], values: NDArray[np.float64], triangles: NDArray[np.int32]
) -> NDArray[np.float64]:
    """Values at places inside triangles, by barycentric weights (k, 3): (m k, 3), m triangles."""
    corners = values.take(triangles, axis=0)
    return np.asarray(np.einsum("kc,mcd->mkd", weights, corners).reshape(-1, 3))


def _part_centres(parts: int) -> NDArray[np.float64]:
    """Barycentric centres of the parts**2 equal triangles a triangle is cut into."""
    centres = []
    for i in range(parts):
        for j in range(parts - i):
            centres.append((i + 1 / 3, j + 1 / 3))
            if i + j < parts - 1:
                centres.append((i + 2 / 3, j + 2 / 3))
    two = np.array(centres) / parts
    return np.column_stack([1.0 - two.sum(axis=1), two])


def _disc_area(points: NDArray[np.float64], neighbours: int = 8) -> NDArray[np.float64]:
    """Area each point of a cloud stands for, from the distance to its k-th neighbour."""
    tree = cKDTree(points, balanced_tree=False)
    distance = np.asarray(tree.query(points, k=neighbours + 1, workers=2)[0])
    return np.asarray(np.pi * distance[:, -1] ** 2 / neighbours)
