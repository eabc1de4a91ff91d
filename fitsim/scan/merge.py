"""Several partial views of one back merged into one cloud, or the view that does not fit named."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations
from typing import TYPE_CHECKING, Final

import numpy as np

from fitsim.errors import BadScan, BadSettings
from fitsim.scan.overlap import Laid, Thinned, laid, thinned
from fitsim.scan.scan import Scan

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

LEAST_OVERLAP: Final = 0.15
"""Share of the smaller view that must find the other."""
MOST_RESIDUAL: Final = 0.006
"""Median distance between two views where they overlap, m, that is believed."""
MOST_DOUBT: Final = 0.020
"""m: a second place this far away that fits as well, and the pair is not believed."""

_FINE: Final = 0.003  # m: disagreement at which trust in a pair has dropped to 37 %
_WEAK: Final = 0.5  # a contradiction with less than this share of the best trust is no match


@dataclass(frozen=True)
class Merged:
    """Views in one frame.

    Attributes
    ----------
    scan : points of all views, m, in the frame of the first.
    T_first_view : (k, 4, 4) array.
    pairs : by numbers of target and source view, every pair compared.
    believed : the pairs that hold the views together.
    loop : float, m, largest shift of a view by the pose graph; what the loops failed to close by.
    """

    scan: Scan
    T_first_view: NDArray[np.float64]
    pairs: Mapping[tuple[int, int], Laid]
    believed: tuple[tuple[int, int], ...]
    loop: float


def merged(
    views: Sequence[Scan],
    start: Sequence[NDArray[np.float64]] | None = None,
    *,
    seed: int = 0,
) -> Merged:
    """Merge overlapping views.

    Parameters
    ----------
    views : sequence of Scan
        Cleaned, in metres, each in its own camera's frame.
    start : sequence of (4, 4) arrays, optional
        Rough T_first_view of each; found from the shapes if not given.
    seed : int
        Everything random follows from it.

    Returns
    -------
    Merged

    Raises
    ------
    BadSettings
        With fewer than two views, or a start for another number of them.
    BadScan
        If a view cannot be placed surely; names it, with the pair that came nearest.
    """
    _check(views, start)
    ready = [thinned(view.vertices) for view in views]
    pairs = {
        (i, j): laid(
            ready[i],
            ready[j],
            None if start is None else np.linalg.inv(start[i]) @ start[j],
            seed=seed,
        )
        for i, j in combinations(range(len(views)), 2)
    }
    believed = tuple(pair for pair, result in pairs.items() if fault(result) is None)
    first = _chained(len(views), pairs, believed)
    for number, T in enumerate(first):
        if T is None:
            raise _unplaced(views, number, pairs)
    chain = np.array(first)
    believed = _agreeing(views, chain, ready, pairs, believed)
    poses = _closed(chain, pairs, believed)
    loop = max(_shift(chain[n], poses[n], ready[n].points.mean(axis=0)) for n in range(len(views)))
    if loop > MOST_DOUBT:
        raise BadScan(
            ", ".join(view.provenance.name for view in views),
            f"the views contradict each other: round the loop they miss by {loop * 1e3:.0f} mm",
            "leave out the view in which the animal moved, or give a --start",
        )
    return Merged(_joined(views, poses), poses, pairs, believed, loop)


def fault(pair: Laid) -> str | None:
    """Why a pair is not believed, in words; None if it is.

    Examples
    --------
    >>> fault(Laid(np.eye(4), overlap=0.05, residual=0.001, doubt=0.0, information=np.eye(6)))
    'they overlap by only 5%'
    """
    if pair.overlap < LEAST_OVERLAP:
        return f"they overlap by only {pair.overlap:.0%}"
    if pair.residual > MOST_RESIDUAL:
        return f"they disagree by {pair.residual * 1e3:.0f} mm"
    if pair.doubt > MOST_DOUBT:
        return f"a place {pair.doubt * 1e3:.0f} mm away fits as well"
    return None


def _check(views: Sequence[Scan], start: Sequence[NDArray[np.float64]] | None) -> None:
    if len(views) < 2:  # noqa: PLR2004 - a merge takes two
        raise BadSettings("merge", "there is only one view", "name two or more")
    if start is not None and len(start) != len(views):
        raise BadSettings(
            "start", f"it has {len(start)} poses for {len(views)} views", "give one for each view"
        )


def _chained(
    count: int, pairs: Mapping[tuple[int, int], Laid], believed: Sequence[tuple[int, int]]
) -> list[NDArray[np.float64] | None]:
    """Poses along the pairs that overlap most; None for views that nothing reaches."""
    poses: list[NDArray[np.float64] | None] = [np.eye(4), *[None] * (count - 1)]
    order = sorted(believed, key=lambda pair: -_weight(pairs[pair]))
    while True:
        for i, j in order:
            one, other = poses[i], poses[j]
            if one is not None and other is None:
                poses[j] = one @ pairs[i, j].T_target_source
                break
            if one is None and other is not None:
                poses[i] = other @ np.linalg.inv(pairs[i, j].T_target_source)
                break
        else:
            return poses


def _weight(pair: Laid) -> float:
    """How much a pair is to be trusted beside others: much overlap, little disagreement."""
    return pair.overlap * float(np.exp(-((pair.residual / _FINE) ** 2)))


def _agreeing(
    views: Sequence[Scan],
    chain: NDArray[np.float64],
    ready: Sequence[Thinned],
    pairs: Mapping[tuple[int, int], Laid],
    believed: Sequence[tuple[int, int]],
) -> tuple[tuple[int, int], ...]:
    """Pairs that agree with the chain; a much weaker one that does not is left out.

    Raises
    ------
    BadScan
        If one nearly as strong as the strongest contradicts the chain.
    """
    kept = []
    strongest = max(_weight(pairs[pair]) for pair in believed)
    for i, j in believed:
        along = np.linalg.inv(chain[i]) @ chain[j]
        off = _shift(along, pairs[i, j].T_target_source, ready[j].points.mean(axis=0))
        if off < MOST_DOUBT:
            kept.append((i, j))
        elif _weight(pairs[i, j]) > _WEAK * strongest:
            raise BadScan(
                f"{views[i].provenance.name}, {views[j].provenance.name}",
                f"these views fit each other, but {off * 1e3:.0f} mm from where others put them",
                "leave out the view in which the animal moved, or give a --start",
            )
    return tuple(kept)


def _closed(
    chain: NDArray[np.float64],
    pairs: Mapping[tuple[int, int], Laid],
    believed: Sequence[tuple[int, int]],
) -> NDArray[np.float64]:
    """Poses that share out what the loops fail to close by (Open3D's pose graph)."""
    from fitsim.scan.open3d_loader import open3d

    registration = open3d().pipelines.registration
    graph = registration.PoseGraph()
    for T in chain:
        graph.nodes.append(registration.PoseGraphNode(T))
    for i, j in believed:
        pair = pairs[i, j]
        graph.edges.append(
            registration.PoseGraphEdge(j, i, pair.T_target_source, pair.information, False)  # noqa: FBT003 - by place
        )
    registration.global_optimization(
        graph,
        registration.GlobalOptimizationLevenbergMarquardt(),
        registration.GlobalOptimizationConvergenceCriteria(),
        registration.GlobalOptimizationOption(reference_node=0),
    )
    poses = np.array([node.pose for node in graph.nodes])
    return np.asarray(np.linalg.inv(poses[0]) @ poses)


def _shift(
    before: NDArray[np.float64], after: NDArray[np.float64], point: NDArray[np.float64]
) -> float:
    off = (after - before) @ np.append(point, 1.0)
    return float(np.linalg.norm(off[:3]))


def _unplaced(views: Sequence[Scan], number: int, pairs: Mapping[tuple[int, int], Laid]) -> BadScan:
    mine = {pair: result for pair, result in pairs.items() if number in pair}
    best = max(mine, key=lambda pair: mine[pair].overlap)
    other = views[best[0] + best[1] - number].provenance.name
    why = fault(mine[best]) or "that view cannot be placed itself"
    return BadScan(
        views[number].provenance.name,
        f"this view cannot be placed surely beside {other}: {why}",
        "scan with more overlap, let each view show the withers or the croup, or give a --start",
    )


def _joined(views: Sequence[Scan], poses: NDArray[np.float64]) -> Scan:
    points = np.concatenate(
        [v.vertices @ T[:3, :3].T + T[:3, 3] for v, T in zip(views, poses, strict=True)]
    )
    names = " + ".join(view.provenance.name for view in views)
    note = f"{len(views)} views were merged: {names}."
    first = views[0].provenance
    source = replace(
        first, name=names, sha256="", triangles=0, points=len(points), notes=(*first.notes, note)
    )
    return Scan(points, np.empty((0, 3), np.int32), source)
