"""From a scan as read to the animal alone: floor, walls, strays and doubles taken away."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.spatial import cKDTree

from fitsim.errors import BadScan
from fitsim.scan.bystanders import people, strings
from fitsim.scan.pieces import belonging, mesh_pieces, point_pieces
from fitsim.scan.planes import floors_and_walls, on_plane
from fitsim.scan.read import MIN_POINTS, MIN_TRIANGLES
from fitsim.scan.scale import ANIMAL_LENGTH, extent
from fitsim.scan.thin import MOST, thin_mesh, thin_points
from fitsim.scan.triangles import areas
from fitsim.scan.winding import outward
from fitsim.units import show_length

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.scan.scan import Scan

_TYPICAL_LENGTH: Final = 2.0  # m, between a back and a whole animal; sizes here are not exact
_SAMPLE: Final = 60_000
_PLENTY: Final = 400_000  # points looked at, floor and all; more only cost time
_NEIGHBOURS: Final = 8
LEAST_STRING: Final = 0.0005
"""Share of the points below which what looks thin is left: half a metre of rope is more."""
_FAR: Final = 4.0  # robust standard deviations


def cleaned(scan: Scan) -> Scan:
    """Leave the animal: no floor, no wall, no stray pieces, no surface twice, not too many points.

    The scan stays where it lies in space. A mesh stays a mesh, with its triangles facing out;
    a cloud stays a cloud without normals of its own, since the chart of the back takes points.

    Parameters
    ----------
    scan : Scan
        As read. Where its unit is not settled yet, distances are judged by taking it for an
        animal 2 m long.

    Returns
    -------
    Scan
        With one note for each thing that was done.

    Raises
    ------
    BadScan
        If too little is left, or what is left of a mesh is too large for an animal.

    Examples
    --------
    >>> import numpy as np
    >>> from fitsim.scan.scan import Provenance, Scan
    >>> rng = np.random.default_rng(0)
    >>> around, along = rng.uniform(0, np.pi, 20_000), rng.uniform(0, 1.4, 20_000)
    >>> trunk = np.c_[along, 0.3 * np.cos(around), 0.3 * np.sin(around)]
    >>> floor = rng.uniform([-1, -1, -1.0], [2, 1, -0.995], (20_000, 3))
    >>> raw = Scan(np.r_[trunk, floor], np.empty((0, 3), np.int32),
    ...            Provenance("back.ply", "", 0, 40_000, unit="m"))
    >>> cleaned(raw).provenance.notes
    ('A floor or wall of about 6.0 m² was taken away (20,000 points).',)
    """
    metre = 1.0
    if scan.provenance.unit is None:
        metre = _TYPICAL_LENGTH / extent(scan.vertices)
    scan = _thinned(scan, _PLENTY)
    scan = _without_planes(scan, metre)
    scan = _without_strings(scan, metre)
    scan = _without_strays(scan, metre)
    if scan.is_points:
        scan = _without_outliers(scan)
    scan = _thinned(scan, MOST)
    if not scan.is_points:
        scan = _facing_out(scan)
    if scan.provenance.unit is not None:
        _check_size(scan)
    return scan


def _without_planes(scan: Scan, metre: float) -> Scan:
    for plane in floors_and_walls(_sample(scan) * metre):
        gone = on_plane(scan.vertices * metre, plane)
        note = (
            f"A floor or wall of about {plane.area:.1f} m² was taken away ({gone.sum():,} points)."
        )
        sheet = np.append(plane.normal, plane.normal @ plane.point / metre)
        scan = _noted(_without(scan, gone), note)
        scan = replace(scan, sheets=np.vstack([scan.sheets, sheet]))
    return scan


def _without_strings(scan: Scan, metre: float) -> Scan:
    gone = strings(scan.vertices * metre)
    left = _without(scan, gone)
    cut = len(scan.vertices) - len(left.vertices)
    if cut < LEAST_STRING * len(scan.vertices):
        return scan  # specks, and the corners and borders of the animal itself
    return _noted(left, f"Rope, straps or wires were taken away ({cut:,} points).")


def _without_strays(scan: Scan, metre: float) -> Scan:
    points = scan.vertices * metre
    piece, weight = _pieces(scan, points)
    stands = people(points, piece, weight, scan.sheets * [1.0, 1.0, 1.0, metre])
    if stands.any() and not stands.all():
        note = f"Someone standing beside the animal was taken away ({stands.sum():,} points)."
        scan = _noted(_without(scan, stands), note)
        points = scan.vertices * metre
        piece, weight = _pieces(scan, points)
    kept, double = belonging(points, piece, weight)
    stray = ~kept & ~double
    if double.any():
        scan = _noted(
            scan, f"The same surface lay there twice; one was taken away ({double.sum():,} points)."
        )
    if stray.any():
        pieces = len(np.unique(piece[stray]))
        scan = _noted(
            scan,
            f"{pieces:,} stray pieces beside the animal were taken away ({stray.sum():,} points).",
        )
    return _without(scan, ~kept)


def _pieces(
    scan: Scan, points: NDArray[np.float64]
) -> tuple[NDArray[np.int32], NDArray[np.float64]]:
    """Piece of each vertex, and what each counts for."""
    if scan.is_points:
        return point_pieces(points), np.ones(len(points))
    return mesh_pieces(len(points), scan.triangles), _shares(scan)


def _without_outliers(scan: Scan) -> Scan:
    """Take away points that stand off, by their mean distance to their neighbours."""
    tree = cKDTree(scan.vertices, balanced_tree=False)
    found = tree.query(scan.vertices, k=_NEIGHBOURS + 1, workers=2)
    distance = np.asarray(found[0])[:, 1:]  # the nearest of all is the point itself
    spread = np.log(np.maximum(distance.mean(axis=1), np.finfo(float).tiny))
    middle = np.median(spread)
    deviation = 1.4826 * float(np.median(np.abs(spread - middle)))
    # Not closer than twice the usual distance: an even cloud has hardly any deviation.
    gone = spread > middle + max(_FAR * deviation, np.log(2.0))
    if not gone.any():
        return scan
    return _noted(_without(scan, gone), f"{gone.sum():,} points that stood off were taken away.")


def _facing_out(scan: Scan) -> Scan:
    triangles, turned = outward(scan.vertices, scan.triangles)
    if turned == 0:
        return scan
    every = "All triangles" if turned == len(triangles) else f"{turned:,} triangles"
    return _noted(replace(scan, triangles=triangles), f"{every} faced in and were turned.")


def _thinned(scan: Scan, most: int) -> Scan:
    before = len(scan.vertices)
    if scan.is_points:
        thinned = _selected(scan, thin_points(scan.vertices, most))
    else:
        vertices, triangles, rows = thin_mesh(scan.vertices, scan.triangles, most)
        thinned = replace(_selected(scan, rows), vertices=vertices, triangles=triangles)
    if len(thinned.vertices) == before:
        return scan
    return _noted(thinned, f"Thinned from {before:,} to {len(thinned.vertices):,} points.")


def _check_size(scan: Scan) -> None:
    length = extent(scan.vertices)
    if not scan.is_points and length > ANIMAL_LENGTH[1]:
        raise BadScan(
            scan.provenance.name,
            f"without floor and walls it is still {show_length(length)} long, "
            "more than any animal to saddle",
            "check the --unit, or give --withers-height in metres (whole standing animal)",
        )


def _sample(scan: Scan) -> NDArray[np.float64]:
    """Points spread over the scan, on a mesh by area, the same ones every time."""
    rng = np.random.default_rng(0)
    if scan.is_points:
        few = min(_SAMPLE, len(scan.vertices))
        return scan.vertices[rng.choice(len(scan.vertices), few, replace=False)]
    area = np.cumsum(areas(scan.vertices, scan.triangles))
    chosen = scan.triangles[np.searchsorted(area, rng.uniform(0.0, area[-1], _SAMPLE))]
    weights = rng.dirichlet((1.0, 1.0, 1.0), _SAMPLE)
    return np.asarray(np.einsum("nk,nki->ni", weights, scan.vertices[chosen]))


def _shares(scan: Scan) -> NDArray[np.float64]:
    """Area that each vertex stands for."""
    thirds = np.repeat(areas(scan.vertices, scan.triangles) / 3.0, 3)
    shares = np.bincount(scan.triangles.ravel(), weights=thirds, minlength=len(scan.vertices))
    return shares.astype(np.float64)


def _without(scan: Scan, gone: NDArray[np.bool_]) -> Scan:
    """Take points away; a triangle goes when all its corners go."""
    if not gone.any():
        return scan
    if scan.is_points:
        left = _selected(scan, np.flatnonzero(~gone))
    else:
        triangles = scan.triangles[~gone[scan.triangles].all(axis=1)]
        used = np.zeros(len(gone), dtype=bool)
        used[triangles] = True
        renumbered = (np.cumsum(used) - 1).astype(np.int32)[triangles]
        left = replace(_selected(scan, np.flatnonzero(used)), triangles=renumbered)
    enough = len(left.vertices) >= MIN_POINTS if scan.is_points else len(triangles) >= MIN_TRIANGLES
    if not enough:
        raise BadScan(
            scan.provenance.name,
            "there is hardly anything in it but floor, walls or loose pieces",
            "scan the back itself, or cut the room away before exporting",
        )
    return left


def _selected(scan: Scan, rows: NDArray[np.intp]) -> Scan:
    """Chosen vertices with what belongs to them; triangles are left for the caller to renumber."""
    if len(rows) == len(scan.vertices) and scan.is_points:
        return scan
    return replace(
        scan,
        vertices=scan.vertices[rows],
        colours=None if scan.colours is None else scan.colours[rows],
        normals=None if scan.normals is None else scan.normals[rows],
    )


def _noted(scan: Scan, note: str) -> Scan:
    return replace(scan, provenance=replace(scan.provenance, notes=(*scan.provenance.notes, note)))
