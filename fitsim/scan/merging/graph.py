"""Views held together by pairs: a tree that reaches all, and loops closed over the rest."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from fitsim.scan.merging.placing import moved_by
from fitsim.scan.open3d_loader import open3d

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from fitsim.scan.merging.view import View

_REACH: Final = 0.015  # m: matches that tell how stiffly a pair holds
_ALIGNED: Final = 0.8
_LEAST_NOISE: Final = 0.0005  # m


class Loop(NamedTuple):
    """What a pair that closes a loop disagrees with the pairs that lead round it.

    Attributes
    ----------
    target, source : numbers of the views of the closing pair.
    gap : m, root mean square over the source's points, before the loop was closed.
    """

    target: int
    source: int
    gap: float


def chained(
    count: int,
    transforms: Mapping[tuple[int, int], NDArray[np.float64]],
    strength: Mapping[tuple[int, int], float],
) -> tuple[list[NDArray[np.float64] | None], tuple[tuple[int, int], ...]]:
    """Chain views to the first along the strongest pairs.

    Parameters
    ----------
    count : int
        How many views.
    transforms : mapping
        T_target_source by (target, source).
    strength : mapping
        Of each pair; the stronger goes first.

    Returns
    -------
    poses : list of (4, 4) arrays or None
        T_first_view; None for a view that no pair reaches.
    tree : tuple of pairs
        Those that were used.

    Examples
    --------
    >>> poses, tree = chained(3, {(0, 2): np.eye(4)}, {(0, 2): 1.0})
    >>> [pose is None for pose in poses], tree
    ([False, True, False], ((0, 2),))
    """
    poses: list[NDArray[np.float64] | None] = [np.eye(4), *[None] * (count - 1)]
    order = sorted(transforms, key=lambda pair: -strength[pair])
    tree: list[tuple[int, int]] = []
    while True:
        for i, j in order:
            one, other = poses[i], poses[j]
            if one is not None and other is None:
                poses[j] = one @ transforms[i, j]
            elif one is None and other is not None:
                poses[i] = other @ np.linalg.inv(transforms[i, j])
            else:
                continue
            tree.append((i, j))
            break
        else:
            return poses, tuple(tree)


def loops_of(
    views: Sequence[View],
    chain: Sequence[NDArray[np.float64]],
    transforms: Mapping[tuple[int, int], NDArray[np.float64]],
    tree: Sequence[tuple[int, int]],
) -> tuple[Loop, ...]:
    """What every pair outside the tree misses the chain by."""
    found = []
    for (i, j), T in transforms.items():
        if (i, j) not in tree:
            points = views[j].sample
            off = moved_by(np.linalg.inv(chain[i]) @ chain[j], points) - moved_by(T, points)
            found.append(Loop(i, j, float(np.sqrt((off**2).sum(axis=1).mean()))))
    return tuple(found)


def closed(
    views: Sequence[View],
    chain: Sequence[NDArray[np.float64]],
    transforms: Mapping[tuple[int, int], NDArray[np.float64]],
) -> NDArray[np.float64]:
    """Share out what the loops miss by, over all pairs by how stiffly each holds (Open3D).

    Parameters
    ----------
    views : sequence of View
    chain : sequence of (4, 4) arrays
        T_first_view to begin from.
    transforms : mapping
        T_target_source by (target, source).

    Returns
    -------
    (k, 4, 4) array
        T_first_view.
    """
    registration = open3d().pipelines.registration
    graph = registration.PoseGraph()
    for T in chain:
        graph.nodes.append(registration.PoseGraphNode(T))
    for (i, j), T in transforms.items():
        hold = stiffness(views[i], views[j], T)
        graph.edges.append(registration.PoseGraphEdge(j, i, T, hold, uncertain=False))
    registration.global_optimization(
        graph,
        registration.GlobalOptimizationLevenbergMarquardt(),
        registration.GlobalOptimizationConvergenceCriteria(),
        registration.GlobalOptimizationOption(reference_node=0),
    )
    poses = np.array([node.pose for node in graph.nodes])
    return np.asarray(np.linalg.inv(poses[0]) @ poses)


def stiffness(
    target: View,
    source: View,
    T_target_source: NDArray[np.float64],
    T_scene_target: NDArray[np.float64] | None = None,
) -> NDArray[np.float64]:
    """How much a pair's disagreement grows as it is moved from its place.

    Unlike counting matched points, counting their planes tells that a smooth flank holds firmly
    across itself and weakly along.

    Parameters
    ----------
    target, source : View
    T_target_source : (4, 4) array
    T_scene_target : (4, 4) array, optional
        Into the frame in which to tell it; the target's own if not given.

    Returns
    -------
    (6, 6) array
        Second derivatives by turn (rad) and shift (m) over the variance of the noise. Noise of
        single points is taken though thinned ones are counted: it hangs together over some.
    """
    moved = moved_by(T_target_source, source.fine.points)
    near, place = (
        np.asarray(a) for a in target.fine.tree.query(moved, distance_upper_bound=_REACH)
    )
    found = np.flatnonzero(np.isfinite(near))
    normals = target.fine.normals[place[found]]
    own = source.fine.normals[found] @ T_target_source[:3, :3].T
    facing = np.einsum("ij,ij->i", own, normals) > _ALIGNED
    points, normals = target.fine.points[place[found]][facing], normals[facing]
    if T_scene_target is not None:
        points, normals = moved_by(T_scene_target, points), normals @ T_scene_target[:3, :3].T
    rows = np.hstack([np.cross(points, normals), normals])
    noise = np.hypot(target.noise, source.noise) + _LEAST_NOISE
    return np.asarray(rows.T @ rows / noise**2)


def how_sure(
    views: Sequence[View],
    T_first_view: NDArray[np.float64],
    pairs: Sequence[tuple[int, int]],
) -> NDArray[np.float64]:
    """How far each view may lie from its place for noise alone.

    Parameters
    ----------
    views : sequence of View
    T_first_view : (k, 4, 4) array
    pairs : sequence of (target, source)
        Those that hold the views together.

    Returns
    -------
    (k,) array, m
        Standard deviation, root mean square over the view's points; 0 for the first.
    """
    whole = np.zeros((len(views), 6, len(views), 6))
    for i, j in pairs:
        T = np.linalg.inv(T_first_view[i]) @ T_first_view[j]
        hold = stiffness(views[i], views[j], T, T_first_view[i])
        for a, b, sign in ((i, i, 1), (j, j, 1), (i, j, -1), (j, i, -1)):
            whole[a, :, b] += sign * hold
    free = whole[1:, :, 1:].reshape(6 * (len(views) - 1), -1)
    spread = np.linalg.pinv(free, hermitian=True).reshape(len(views) - 1, 6, len(views) - 1, 6)
    sure = [0.0]
    for n in range(1, len(views)):
        points = moved_by(T_first_view[n], views[n].sample)
        # A turn w and a shift v move a point p by w x p + v
        turns = np.cross(np.eye(3)[None], points[:, None])  # row k: unit turn about axis k
        moves = np.concatenate([turns, np.broadcast_to(np.eye(3), turns.shape)], axis=1)
        of_point = np.einsum("pai,ab,pbi->p", moves, spread[n - 1, :, n - 1], moves)
        sure.append(float(np.sqrt(np.maximum(of_point, 0.0).mean())))
    return np.array(sure)
