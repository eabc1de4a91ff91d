"""Bars grown to a back: the underside that follows it, in settings that a bench can make."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from fitsim.tree.adjust import adjusted
from fitsim.tree.bar import Flare, arc, face_height, inside_outline
from fitsim.tree.build import bar_of, left_pose
from fitsim.tree.placed import placed
from fitsim.tree.read import settings_of
from fitsim.tree.relief import normal_gaps, relief_of
from fitsim.tree.seat import seat

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.back.back import Back
    from fitsim.rig.case import Pad
    from fitsim.tree.bar import Bar
    from fitsim.tree.relief import Relief
    from fitsim.tree.settings import TreeSettings
    from fitsim.tree.tree import Tree

    Array = NDArray[np.float64]

#: What a bench works to: m, and rad.
MILLIMETRE, HALF_DEGREE = 0.001, float(np.radians(0.5))

#: Spacing of the points that are fitted, and how far inside the outline they lie at least, m.
SPACING, WITHIN = 0.010, 0.010

#: Daylight under the tips where nobody says, m: enough for a pad's edge (common practice, no
#: source).
CLEARANCE = 0.010

#: How far the long edges stand off beyond following the back, m: a face that follows it to the edge
#: bites there once it is cinched (on the demo backs 5 mm lowered the peak by a fifth).
EASE = 0.005

#: Gaps larger than this count less and less, m.
OUTLIER = 0.006

#: Turn of the whole tree about the spine counts as this much per rad, m: it is to lie level.
LEVEL = 0.05


@dataclass(frozen=True)
class Grown:
    """A tree grown to a back.

    Attributes
    ----------
    tree : with its angles, curve, crown and tips set.
    changes : what was set, SI, by dotted key.
    free, rms : m, root mean square of what is left between the bearing faces and the back's padded
        surface, before the settings were rounded to what a bench works to and the edges eased, and
        after.
    before : m, the same of the tree it began with, laid on as well as it can be.
    """

    tree: Tree
    changes: dict[str, float]
    free: float
    rms: float
    before: float


def grown(
    back: Back,
    tree: Tree,
    *,
    pad: Pad,
    at: float | None = None,
    clearance: float = CLEARANCE,
    ease: float = EASE,
) -> Grown:
    """Set a tree's angles, lengthwise curve, crown and tips to follow a back.

    Outline, spread and thickness stay as they are: they are for the builder to say.

    Parameters
    ----------
    back : to follow.
    tree : built from settings.
    pad : between them; the bars follow its upper side.
    at : m, forward (+) or back (-) of just behind the shoulder blade.
    clearance : m, daylight above the pad under both tips.
    ease : m, how far the long edges stand off beyond following the back.

    Returns
    -------
    Grown

    Raises
    ------
    BadSettings
        The tree came from a mesh, or the back asks for bars that cannot be built.
    """
    settings = settings_of(tree)
    bar = bar_of(settings, tree.name)
    T = seat(back, tree, at).T_body_tree
    ground = _Ground(relief_of(back), pad.thickness, float(T[0, 3]))
    shape, pose = _start(settings, bar), _freedoms(T)
    before = _followed(ground, settings, bar, (shape, pose), fixed=True)
    free = _followed(ground, settings, bar, (shape, pose))
    changes = _benched(settings, bar, free.shape, ease)
    bench = _start(*_rebuilt(tree, changes))
    kept = _followed(ground, settings, bar, (bench, free.pose), fixed=True)
    changes |= _tips(ground, settings, bar, kept, clearance)
    return Grown(adjusted(tree, changes), changes, free.rms, kept.rms, before.rms)


def _rebuilt(tree: Tree, changes: dict[str, float]) -> tuple[TreeSettings, Bar]:
    settings = settings_of(adjusted(tree, changes, spacing=0.008))
    return settings, bar_of(settings, tree.name)


@dataclass(frozen=True)
class _Ground:
    """What the bars follow: the back from above, lifted by the pad (m), at a station (m)."""

    relief: Relief
    pad: float
    station: float

    def gaps(self, pose: Array, points: Array) -> Array:
        """Gap of points (n, 3) m of the tree frame to the padded back, (n,) m, nan beyond it."""
        return normal_gaps(self.relief, placed(_posed(pose, self.station), points)) - self.pad


@dataclass(frozen=True)
class _Followed:
    """Shape (front angle, rear angle, curvature, crown), pose, and what is left, m."""

    shape: Array
    pose: Array
    rms: float


def _start(settings: TreeSettings, bar: Bar) -> Array:
    arches = settings.arches
    return np.array([arches.front.angle, arches.rear.angle, bar.curve, bar.crown])


def _freedoms(T: Array) -> Array:
    """y, z (m), roll, pitch, yaw (rad)."""
    return np.append(T[1:3, 3], Rotation.from_matrix(T[:3, :3]).as_euler("xyz"))


def _posed(pose: Array, station: float) -> Array:
    T = np.eye(4)
    T[:3, :3] = Rotation.from_euler("xyz", pose[2:]).as_matrix()
    T[:3, 3] = station, pose[0], pose[1]
    return T


def _shaped(settings: TreeSettings, bar: Bar, shape: Array) -> tuple[Bar, Array]:
    """The bar of a shape, and T_tree_bar of the left one."""
    front, rear = settings.arches.front, settings.arches.rear
    twist = (shape[0] - shape[1]) * bar.bearing / (rear.at - front.at)
    made = replace(bar, curve=float(shape[2]), crown=float(shape[3]), twist=float(twist))
    arches = settings.arches.model_copy(
        update={
            "front": front.model_copy(update={"angle": float(shape[0])}),
            "rear": rear.model_copy(update={"angle": float(shape[1])}),
        }
    )
    return made, left_pose(settings.model_copy(update={"arches": arches}), made)


def _faces(settings: TreeSettings, bar: Bar, shape: Array, place: Array) -> Array:
    """Points of both faces, (2n, 3) m, tree frame, at places (n, 2) m of the left bar."""
    made, T_tree_left = _shaped(settings, bar, shape)
    zeta = face_height(made, place[:, 0], place[:, 1])
    left = placed(T_tree_left, np.column_stack([place, zeta]))
    return np.concatenate([left, left * (1.0, -1.0, 1.0)])


def _followed(
    ground: _Ground,
    settings: TreeSettings,
    bar: Bar,
    start: tuple[Array, Array],
    *,
    fixed: bool = False,
) -> _Followed:
    """Fit the shape and the pose, or the pose alone, to the back under a pad."""
    shape, pose = start
    place = _bearing_places(bar)
    begin = pose if fixed else np.concatenate([pose, shape])

    def left(values: Array) -> Array:
        points = _faces(settings, bar, shape if fixed else values[5:], place)
        return np.nan_to_num(ground.gaps(values[:5], points))

    def misfit(values: Array) -> Array:
        return np.append(left(values), LEVEL * np.sqrt(len(place)) * values[[2, 4]])

    scale = np.array([0.01, 0.01, 0.05, 0.05, 0.05, 0.1, 0.1, 0.2, 0.002])[: len(begin)]
    limits = np.full((2, len(begin)), np.inf) * [[-1.0], [1.0]]
    if not fixed:
        deepest = 1.0 / (1.1 * bar.bearing)  # a sagitta of an eighth of the bearing length
        crown = bar.widths[1] / 8.0
        limits[:, 5:] = [[0.0, 0.0, -deepest, -crown], [1.3, 1.3, deepest, crown]]
        begin = np.clip(begin, limits[0] + 1e-9, limits[1] - 1e-9)
    found = least_squares(
        misfit, begin, bounds=(limits[0], limits[1]), x_scale=scale, loss="soft_l1", f_scale=OUTLIER
    )
    rms = float(np.sqrt(np.mean(left(found.x) ** 2)))
    return _Followed(shape if fixed else found.x[5:], found.x[:5], rms)


def _bearing_places(bar: Bar) -> Array:
    half = bar.bearing / 2.0
    xi = np.arange(-half, half + 1e-9, SPACING)
    eta = np.arange(-0.15, 0.15 + 1e-9, SPACING)
    grid = np.stack(np.meshgrid(xi, eta, indexing="ij"), axis=-1).reshape(-1, 2)
    return np.asarray(grid[inside_outline(bar, grid[:, 0], grid[:, 1]) > WITHIN])


def _benched(settings: TreeSettings, bar: Bar, shape: Array, ease: float) -> dict[str, float]:
    """The shape in settings that a bench works to: half degrees, millimetres, half millimetres."""
    front, rear = (round(float(one) / HALF_DEGREE) * HALF_DEGREE for one in shape[:2])
    sagitta = float(arc(np.array([bar.bearing / 2.0]), float(shape[2]))[0])
    most = bar.widths[1] / 8.0
    crown = float(np.clip(shape[3] + ease, -most, most))
    changes = {
        "arches.front.angle": front,
        "arches.rear.angle": rear,
        "bar.curve.sagitta": round(sagitta / MILLIMETRE) * MILLIMETRE,
        "bar.crown": round(2.0 * crown / MILLIMETRE) * MILLIMETRE / 2.0,
    }
    if settings.bar.twist is not None:
        at = settings.arches.rear.at - settings.arches.front.at
        changes["bar.twist"] = (front - rear) * bar.bearing / at
    return changes


def _tips(
    ground: _Ground, settings: TreeSettings, bar: Bar, kept: _Followed, clearance: float
) -> dict[str, float]:
    """Rise of each tip that leaves it the clearance, whole millimetres."""
    plain = replace(
        bar,
        front_flare=Flare(bar.front_flare.length, 0.0),
        rear_flare=Flare(bar.rear_flare.length, 0.0),
    )
    rises = {}
    for end, tip, flare in (
        ("front", bar.front, bar.front_flare),
        ("rear", bar.rear, bar.rear_flare),
    ):
        if flare.length == 0.0:
            continue
        inwards = -1.0 if end == "front" else 1.0
        eta = np.arange(-0.15, 0.151, 0.005)
        place = np.column_stack([np.full_like(eta, tip + inwards * 0.004), eta])
        place = place[inside_outline(bar, place[:, 0], place[:, 1]) > 0.0]
        points = _faces(settings, plain, kept.shape, place)
        gap = ground.gaps(kept.pose, points)
        if not np.isfinite(gap).any():
            continue
        rise = clearance - float(np.nanmin(gap))
        whole = float(np.ceil(rise / MILLIMETRE - 1e-6)) * MILLIMETRE
        rises[f"bar.flare.{end}.rise"] = float(np.clip(whole, 0.0, flare.length))
    return rises
