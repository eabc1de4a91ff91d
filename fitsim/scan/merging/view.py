"""The noun `View`: what was seen of an animal from one place, made ready to be laid on others."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from scipy.spatial import cKDTree

from fitsim.scan.merging.sight import Sight, sight_of
from fitsim.scan.open3d_loader import open3d

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.scan.scan import Scan

FINE: Final = 0.012
"""m: spacing to which views are thinned for the last stages."""
COARSE: Final = 0.030
"""m: spacing for the first stages, where only the lie of the view matters."""

PATCH: Final = 0.050
"""m: width of the patches whose means tell a wrong place from noise."""

_TRUNK: Final = (0.15, 0.85)  # of a view's points along its length
_SAMPLE: Final = 3_000
_NEIGHBOURS: Final = 16
_NOISE_REACH: Final = 0.020  # m: over this a back is flat to 0.3 mm
_NORMAL_REACH: Final = 2.5  # spacings


@dataclass(frozen=True, eq=False)
class View:
    """One partial scan, in metres, in its own frame.

    Attributes
    ----------
    name : of its file.
    points : (n, 3) array, m, of the animal alone.
    seen : (m, 3) array, m, of everything seen, the room too.
    camera : (3,) array, m, where it was seen from; None if that is not known.
    colours : (n, 3) uint8 array, of its points, or None.
    """

    name: str
    points: NDArray[np.float64]
    seen: NDArray[np.float64]
    camera: NDArray[np.float64] | None
    colours: NDArray[np.uint8] | None = None

    @cached_property
    def fine(self) -> Thinned:
        """Thinned to `FINE`."""
        return thinned(self.points, FINE, self.camera)

    @cached_property
    def coarse(self) -> Thinned:
        """Thinned to `COARSE`."""
        return thinned(self.points, COARSE, self.camera)

    @cached_property
    def trunk(self) -> View:
        """The same without its ends: neck, tail and most of the legs move when an animal walks."""
        middle = self.fine.points.mean(axis=0)
        along = np.linalg.svd(self.fine.points - middle, full_matrices=False)[2][0]
        low, high = np.quantile((self.fine.points - middle) @ along, _TRUNK)
        place = (self.points - middle) @ along
        kept = self.points[(place > low) & (place < high)]
        return View(self.name, kept, self.seen, self.camera)

    @cached_property
    def sample(self) -> NDArray[np.float64]:
        """Some of its points as measured, (k, 3) m, spread evenly over it."""
        rng = np.random.default_rng(0)
        place = cKDTree(self.points).query(rng.permutation(self.fine.points)[:_SAMPLE])[1]
        return self.points[np.unique(np.asarray(place))]

    @cached_property
    def noise(self) -> float:
        """Standard deviation of its points about their surface, m."""
        return noise_of(self.points, self.sample)

    @cached_property
    def crowd(self) -> float:
        """Points as measured in one of its patches, on average."""
        return float(len(self.points) / (self.fine.patch.max() + 1))

    @cached_property
    def sight(self) -> Sight | None:
        """How far it saw in each direction, if it is known from where."""
        return None if self.camera is None else sight_of(self.seen, self.camera, self.points)


@dataclass(frozen=True, eq=False)
class Thinned:
    """Points of a view thinned evenly.

    Attributes
    ----------
    points : (n, 3) array, m.
    normals : (n, 3) array, out of the animal.
    cloud : Open3D's cloud of the same.
    tree : of the points.
    patch : (n,) int array, number of the patch, `PATCH` wide, that each lies in.
    """

    points: NDArray[np.float64]
    normals: NDArray[np.float64]
    cloud: Any
    tree: cKDTree
    patch: NDArray[np.intp]


def view_of(scan: Scan, camera: NDArray[np.float64] | None) -> View:
    """A view from a scan: floor, walls and strays taken away.

    Parameters
    ----------
    scan : Scan
        In metres, as read.
    camera : (3,) array, m, or None
        Where it was seen from, in the scan's frame.

    Returns
    -------
    View

    Raises
    ------
    BadScan
        If there is hardly anything in it but a room.
    """
    from fitsim.scan.clean import cleaned

    animal = cleaned(scan)
    return View(scan.provenance.name, animal.vertices, scan.vertices, camera, animal.colours)


def thinned(
    points: NDArray[np.float64], spacing: float, camera: NDArray[np.float64] | None
) -> Thinned:
    """Thin a cloud evenly, each point the mean of its cell, with normals out of the animal.

    Parameters
    ----------
    points : (n, 3) array, m
    spacing : float, m
    camera : (3,) array, m, or None
        Normals face it. Without one they face the way in which most of a trunk bulges.

    Returns
    -------
    Thinned
    """
    o3d = open3d()
    cloud = o3d.geometry.PointCloud(o3d.utility.Vector3dVector(points))
    cloud = cloud.voxel_down_sample(spacing)
    reach = o3d.geometry.KDTreeSearchParamHybrid(_NORMAL_REACH * spacing, 30)
    cloud.estimate_normals(reach)
    if camera is not None:
        cloud.orient_normals_towards_camera_location(camera)
    else:
        cloud.orient_normals_consistent_tangent_plane(_NEIGHBOURS)
        off = np.asarray(cloud.points) - np.asarray(cloud.points).mean(axis=0)
        if np.einsum("ij,ij->", off, np.asarray(cloud.normals)) < 0.0:
            cloud.normals = o3d.utility.Vector3dVector(-np.asarray(cloud.normals))
    places = np.array(cloud.points)
    patch = np.unique(np.floor(places / PATCH), axis=0, return_inverse=True)[1]
    return Thinned(places, np.array(cloud.normals), cloud, cKDTree(places), patch.ravel())


def noise_of(points: NDArray[np.float64], at: NDArray[np.float64]) -> float:
    """Noise of a cloud: how far its points scatter about small planes through them.

    Parameters
    ----------
    points : (n, 3) array, m
    at : (k, 3) array, m
        Where planes are laid; the median of their scatter is taken.

    Returns
    -------
    float, m

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(0)
    >>> sheet = rng.uniform(0, [1, 1, 0], (40_000, 3)) + rng.normal(0, [0, 0, 0.002], (40_000, 3))
    >>> round(noise_of(sheet, sheet[:500]), 4)
    0.002
    """
    k = min(3 * _NEIGHBOURS, len(points))
    far, place = (np.asarray(a) for a in cKDTree(points).query(at, k=k))
    inside = far < _NOISE_REACH
    count = inside.sum(axis=1)
    enough = count >= _NEIGHBOURS // 2
    if not enough.any():
        return 0.0  # so sparse that it does not tell
    weight = inside[enough].astype(np.float64)[..., None]
    near = points[place[enough]]
    off = (near - (near * weight).sum(axis=1, keepdims=True) / count[enough, None, None]) * weight
    least = np.linalg.eigvalsh(np.einsum("nki,nkj->nij", off, off))[:, 0]
    return float(np.sqrt(np.median(np.maximum(least, 0.0) / (count[enough] - 3))))
