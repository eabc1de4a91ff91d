"""Seat a tree on a back: over the spine, behind the shoulder blade, where it lies best."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from fitsim.errors import BadSettings
from fitsim.tree.faces import bearing_points, face_points
from fitsim.tree.placed import placed
from fitsim.tree.registration import registered
from fitsim.tree.relief import gaps, normal_gaps, relief_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.back.back import Back, Chart
    from fitsim.tree.relief import Relief
    from fitsim.tree.tree import Tree

#: Gaps larger than this count less and less when the tree is laid on: m.
OUTLIER = 0.006

#: A point of the underside this close to the back counts as lying on it, m.
LYING = 0.010

#: Share of the underside that may hang beyond the scan before the tree is refused, -.
OVERHANG = 0.02

#: Pull towards square over the spine, -: lying 1 mm off it at either end counts as much as gaps of
#: CENTRING mm all over, and a bar 1 mm higher than level as gaps of LEVEL mm. Without it a tree
#: slides about a round barrel, and one that does not fit leans over on one bar to fit there. It is
#: set down square by hand; what it does then is for the contact solution to say.
CENTRING, LEVEL = 1.0, 0.5

#: From the middle to a bar's middle, m: turns an angle of roll into a height.
HALF_BREADTH = 0.08

#: Spacing of the points that are laid on, and of those that must stay clear of the back, m.
LAID, CLEAR = 0.010, 0.004

#: Step of the differences that stand for slopes while a tree is laid on, m and rad.
DIFFERENCE = 1e-8

#: Share of the loss that a last step gains, -: laid anew, and from where a tree like it lay.
SETTLED, EASED = 1e-8, 1e-5


@dataclass(frozen=True)
class Seat:
    """Where a tree lies on a back before any load.

    Attributes
    ----------
    T_body_tree : (4, 4) array: the tree just touches the back and is nowhere inside it.
    station : m, body x of the front end of the bearing length.
    rms : m, of the gaps between undersides and back, normal to it, where the tree lies best
        (before it is lifted clear).
    inliers : -, share of the undersides within `LYING` of the back there.
    lift : m, by how much it was then lifted so that it only touches.
    notes : sentences for the user.
    relief : the back from above, kept for the next tree that is laid on it.
    """

    T_body_tree: NDArray[np.float64]
    station: float
    rms: float
    inliers: float
    lift: float
    notes: tuple[str, ...] = ()
    relief: Relief | None = field(default=None, repr=False, compare=False)


def seat(back: Back, tree: Tree, at: float | None = None, near: Seat | None = None) -> Seat:
    """Seat a tree on a back.

    The station comes from a rule, not from registration: a smooth back lets a tree slide along
    the spine unnoticed. The front end of the bearing length goes to the rear edge of the shoulder
    blade (body x = 0), or `at` from there. Registration of the undersides against the back then
    settles the rest, and the tree is lifted until it only touches.

    Parameters
    ----------
    back : to seat it on.
    tree : to be seated, its joints at rest.
    at : m, forward (+) or back (-) from the rule.
    near : where a tree a little different, or laid a little elsewhere, lies on this back; saves
        looking at the back from above, the coarse placement and the registration.

    Returns
    -------
    Seat

    Raises
    ------
    BadSettings
        The bars reach beyond the scan.
    BadScan
        The scan shows no back to lie on at that station.
    """
    station = 0.0 if at is None else at
    relief = (near and near.relief) or relief_of(back)
    points = bearing_points(tree, LAID)
    ends = np.array([points[:, 0].max(), points[:, 0].min()])
    spine = _spine_beside(back.chart, station + ends)
    whole = face_points(tree, CLEAR)
    notes: tuple[str, ...] = ()
    if near is None:
        T = coarse_placement(relief, points, station)
        _check_reach(relief, tree, placed(T, whole), back)
        found = registered(back.chart, points, T)
        T, notes = found.T_body_tree, found.notes
    else:
        T = near.T_body_tree
    T = _settled(relief, points, _at_station(T, station), spine, EASED if near else SETTLED)
    left = normal_gaps(relief, placed(T, points))
    rms = float(np.sqrt(np.nanmean(left**2)))
    lift = _lift(relief, placed(T, whole))
    T[2, 3] += lift
    _check_reach(relief, tree, placed(T, whole), back)
    inliers = float(np.mean(np.abs(left) < LYING))
    return Seat(T, station, rms, inliers, lift, (*notes, *_notes(inliers, T)), relief)


def coarse_placement(
    relief: Relief, points: NDArray[np.float64], station: float
) -> NDArray[np.float64]:
    """Place the tree square over the spine, at the pitch where its gaps spread least.

    Parameters
    ----------
    relief : the back from above.
    points : (n, 3) array, m, tree frame, on the undersides.
    station : m, body x of the tree's x = 0.

    Returns
    -------
    (4, 4) array, T_body_tree.

    Notes
    -----
    The spread is the median absolute deviation from the median gap, so that a withers or a fat
    pocket in the way of one end does not tip the tree.
    """
    best, least = np.eye(4), np.inf
    for pitch in np.radians(np.arange(-12.0, 12.5, 1.0)):
        T = _pose(np.array([0.0, 0.0, 0.0, pitch, 0.0]), station)
        above = gaps(relief, placed(T, points))
        if np.isnan(above).all():
            continue
        middle = np.nanmedian(above)
        spread = np.nanmedian(np.abs(above - middle))
        if spread < least:
            T[2, 3] -= middle
            best, least = T, spread
    return best


def _settled(
    relief: Relief,
    points: NDArray[np.float64],
    T: NDArray[np.float64],
    spine: NDArray[np.float64],
    gain: float,
) -> NDArray[np.float64]:
    """Lay the tree on with the station held: sideways, up and three turns are free.

    Registration settles six freedoms; putting the station back opens gaps where the back tapers,
    which this closes. Gaps are taken normal to the back, large ones by a soft L1 loss. Ends
    where a step gains less than a share of the loss.
    """
    station = float(T[0, 3])
    start = np.append(T[1:3, 3], Rotation.from_matrix(T[:3, :3]).as_euler("xyz"))
    midline = np.zeros((2, 3))
    midline[:, 0] = points[:, 0].max(), points[:, 0].min()
    many = np.sqrt(len(points))

    def misfits(freedoms: NDArray[np.float64]) -> NDArray[np.float64]:
        """Rows (k, r) of residuals of k poses (k, 5)."""
        poses = [_pose(one, station) for one in freedoms]
        laid = np.concatenate([placed(T_body_tree, points) for T_body_tree in poses])
        left = np.nan_to_num(normal_gaps(relief, laid), nan=OUTLIER).reshape(len(poses), -1)
        spread = np.stack([placed(T_body_tree, midline)[:, 1] - spine for T_body_tree in poses])
        beside = many * CENTRING / np.sqrt(2.0) * spread
        lean = many * LEVEL * HALF_BREADTH * freedoms[:, 2:3]
        return np.concatenate([_softened(left), beside, lean], axis=1)

    def misfit(freedoms: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray(misfits(freedoms[None])[0])

    def slopes(freedoms: NDArray[np.float64]) -> NDArray[np.float64]:
        """Forward differences (r, 5), all five poses looked at together."""
        here, *ahead = misfits(freedoms + DIFFERENCE * np.eye(6, 5, -1))
        return np.stack([(one - here) / DIFFERENCE for one in ahead], axis=1)

    fitted = least_squares(
        misfit,
        start,
        slopes,
        x_scale=np.array([0.01, 0.01, 0.05, 0.05, 0.05]),
        xtol=1e-9,
        ftol=gain,
    )
    return _pose(fitted.x, station)


def _softened(gap: NDArray[np.float64]) -> NDArray[np.float64]:
    """Residual whose square is the soft L1 loss of a gap: quadratic near 0, linear far out, m."""
    far = gap / OUTLIER
    # 2 (sqrt(1 + f^2) - 1) = 2 f^2 / (sqrt(1 + f^2) + 1), which keeps its digits near 0.
    return np.asarray(gap * np.sqrt(2.0 / (np.sqrt(1.0 + far**2) + 1.0)))


def _spine_beside(chart: Chart, stations: NDArray[np.float64]) -> NDArray[np.float64]:
    """Body y of the spine line at stations, m."""
    middle = int(np.abs(chart.t).argmin())
    line = chart.points[chart.valid[:, middle], middle]
    if len(line) == 0:
        return np.zeros_like(stations)
    return np.asarray(np.interp(stations, line[:, 0], line[:, 1]))


def _lift(relief: Relief, points: NDArray[np.float64]) -> float:
    """How far a tree with these points must rise (or sink) so that it only touches, m."""
    return float(-np.nanmin(gaps(relief, points)))


def _check_reach(relief: Relief, tree: Tree, points: NDArray[np.float64], back: Back) -> None:
    """Refuse a tree whose points hang over the scan's ends or sides."""
    scan, chart = back.provenance.name, back.chart
    rows = chart.points[chart.valid]
    behind = rows[:, 0].min() - points[:, 0].min()
    ahead = points[:, 0].max() - rows[:, 0].max()
    for over, where, way in ((behind, "behind", "forward"), (ahead, "before", "back")):
        if over > chart.spacing:
            raise BadSettings(
                tree.name,
                f"the bars reach {over * 1e3:.0f} mm {where} the end of the scan {scan}",
                f"scan more of the back, seat the tree further {way}, or choose shorter bars",
            )
    missing = float(np.isnan(gaps(relief, points)).mean())
    if missing > OVERHANG:
        raise BadSettings(
            tree.name,
            f"{missing:.0%} of the bars hangs beyond what the scan {scan} shows",
            "scan further down the sides and along the back, or choose a smaller tree",
        )


def _notes(inliers: float, T: NDArray[np.float64]) -> tuple[str, ...]:
    notes = []
    if inliers < 0.5:  # noqa: PLR2004 - less than half
        notes.append(
            f"only {inliers:.0%} of the bars' undersides comes within {LYING * 1e3:.0f} mm of "
            "the back: this tree is far from its shape"
        )
    roll, pitch, yaw = np.degrees(Rotation.from_matrix(T[:3, :3]).as_euler("xyz"))
    for angle, way in ((roll, "rolled to one side"), (yaw, "turned on the spine")):
        if abs(angle) > 5.0:  # noqa: PLR2004 - a turn that anyone standing behind would see
            notes.append(f"the tree lies {abs(angle):.0f} deg {way}: look at the scan")
    if abs(pitch) > 10.0:  # noqa: PLR2004 - as above
        down = "front" if pitch > 0 else "rear"
        notes.append(f"the tree lies {abs(pitch):.0f} deg {down} down: look at the station")
    return tuple(notes)


def _pose(freedoms: NDArray[np.float64], station: float) -> NDArray[np.float64]:
    """T_body_tree from y, z (m), roll, pitch, yaw (rad), the tree's origin held at the station."""
    T = np.eye(4)
    T[:3, :3] = Rotation.from_euler("xyz", freedoms[2:]).as_matrix()
    T[:3, 3] = station, freedoms[0], freedoms[1]
    return T


def _at_station(T: NDArray[np.float64], station: float) -> NDArray[np.float64]:
    T = T.copy()
    T[0, 3] = station
    return T
