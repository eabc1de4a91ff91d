"""Settings to a tree: bars set on their arches, with joints where they pivot or give."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from fitsim.errors import BadSettings
from fitsim.tree.bar import Bar, Flare, curvature_of_sagitta, height, mirrored, underside
from fitsim.tree.body import centre_of_mass, tree_body
from fitsim.tree.openings import Notch, Pocket, Slot
from fitsim.tree.outline import half_width
from fitsim.tree.rules import check
from fitsim.tree.solid import DRAWN
from fitsim.tree.tree import Joint, MountedBar, Tree

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.tree.settings import Arches, BarSettings, Pivot, TreeSettings

#: Mirror in the plane between the bars.
MIRROR = np.diag([1.0, -1.0, 1.0, 1.0])

#: How far an arch's angle may differ from what the bar's own twist gives, rad.
TWIST_SLACK = np.radians(0.5)

#: Largest angle an arch is taken to give before something breaks, rad.
FLEX_STOP = np.radians(10.0)


def tree_from_settings(settings: TreeSettings, where: str, spacing: float = 0.002) -> Tree:
    """Build the tree that the settings describe.

    Parameters
    ----------
    settings : as read and checked for kinds and units.
    where : file or library name, for the sentence when something does not go together.
    spacing : m, grid of the undersides.

    Returns
    -------
    Tree

    Raises
    ------
    BadSettings
        The measures do not go together.
    """
    check(settings, where)
    bar = bar_of(settings, where)
    T_tree_left = left_pose(settings, bar)
    joints = left_joints(settings, bar, T_tree_left)
    face = underside(bar, spacing)
    left = MountedBar("left", face, T_tree_left, joints, bar.thickness)
    return Tree(
        name=settings.name,
        bars=(left, mirrored_bar(left)),
        mass=settings.mass,
        centre_of_mass=centre_of_mass(settings, bar, face, T_tree_left),
        settings=settings.model_dump(exclude_none=True),
        drawing=partial(tree_body, settings, bar, T_tree_left, max(DRAWN, 3.0 * spacing)),
    )


def bar_of(settings: TreeSettings, where: str) -> Bar:
    """Bar measures, with the twist that makes the face meet both arches' angles.

    Parameters
    ----------
    settings, where : see `tree_from_settings`.

    Returns
    -------
    Bar

    Raises
    ------
    BadSettings
        The bar's own twist and the arches' angles disagree.
    """
    made, front, rear = settings.bar, settings.arches.front, settings.arches.rear
    flares = made.flare
    bearing = made.length - flares.front.length - flares.rear.length
    twist = (front.angle - rear.angle) * bearing / (rear.at - front.at)
    if made.twist is not None and abs(made.twist - twist) > TWIST_SLACK:
        raise BadSettings(
            f"{where}, bar.twist",
            f"a twist of {np.degrees(made.twist):.1f} deg does not bring the face to the arches' "
            f"{np.degrees(front.angle):.1f} and {np.degrees(rear.angle):.1f} deg",
            f"write {np.degrees(twist):.1f} deg, leave twist out, or change an angle",
        )
    tip = bearing / 2.0 + flares.front.length
    return Bar(
        length=made.length,
        widths=(made.width.front, made.width.middle, made.width.rear),
        curve=_curvature(made, bearing),
        low=0.0 if made.curve.low is None else tip - made.curve.low,
        twist=twist,
        crown=made.crown,
        front_flare=Flare(flares.front.length, flares.front.rise),
        rear_flare=Flare(flares.rear.length, flares.rear.rise),
        edge_roll=made.edge_roll,
        corner=made.corner,
        thickness=made.thickness,
        pockets=tuple(
            Pocket(tip - one.at, one.across, one.length, one.width, one.depth)
            for one in made.pocket
        ),
        slots=tuple(Slot(tip - one.at, one.across, one.length, one.width) for one in made.slot),
        notches=tuple(
            Notch(tip - one.at, one.length, one.depth, outer=one.edge == "outer")
            for one in made.notch
        ),
    )


def _curvature(made: BarSettings, bearing: float) -> float:
    """Lengthwise curvature, 1/m, however it was told."""
    if made.curve.radius is not None:
        return 1.0 / made.curve.radius
    return curvature_of_sagitta(made.curve.sagitta or 0.0, bearing)


def left_pose(settings: TreeSettings, bar: Bar) -> NDArray[np.float64]:
    """Pose of the left bar that puts its inner edge and face where the arches hold them.

    Parameters
    ----------
    settings : of the tree.
    bar : its measures.

    Returns
    -------
    (4, 4) array, T_tree_bar: rolled by the face's angle at the bar's middle, then turned in plan
    so that both arches' spreads are met; x = 0 at the front of the bearing length.
    """
    front, rear = settings.arches.front, settings.arches.rear
    # Twist is linear along the bar, so the face's angle at its middle follows from one arch.
    angle = front.angle - bar.twist * (bar.front - front.at) / bar.bearing
    roll = _rotation_x(-angle)
    edge = np.stack([roll @ inner_edge(bar, arch.at) for arch in (front, rear)])
    dx, dy = edge[0, :2] - edge[1, :2]
    wanted = front.half_spread - rear.half_spread
    yaw = np.arcsin(wanted / np.hypot(dx, dy)) - np.arctan2(dy, dx)
    turn = _rotation_z(yaw)
    T_tree_bar = np.eye(4)
    T_tree_bar[:3, :3] = turn @ roll
    T_tree_bar[0, 3] = -bar.bearing / 2.0 * np.cos(yaw)
    T_tree_bar[1, 3] = front.half_spread - (turn @ edge[0])[1]
    return T_tree_bar


def inner_edge(bar: Bar, behind_front: float) -> NDArray[np.float64]:
    """Point of the left bar's inner edge, as its widths have it.

    Parameters
    ----------
    bar : its measures.
    behind_front : m, along the bar from its front tip.

    Returns
    -------
    (3,) array, m, bar frame.
    """
    xi = np.array([bar.front - behind_front])
    eta = -half_width(xi, bar.rear, bar.front, bar.widths)
    return np.array([xi[0], eta[0], height(bar, xi, eta)[0]])


def left_joints(
    settings: TreeSettings, bar: Bar, T_tree_bar: NDArray[np.float64]
) -> tuple[Joint, ...]:
    """Joints of the left bar from the arches outwards: the arches' give, then the hinge.

    Parameters
    ----------
    settings, bar, T_tree_bar : of the left bar.

    Returns
    -------
    Tuple of Joint
        Positive angles: about a line along the bar its outer edge rises, about one across its
        front goes down.
    """
    joints = []
    if settings.arches.flex is not None:
        joints.append(_give(settings.arches.flex, settings.arches.front.rise, bar, T_tree_bar))
    if settings.pivot is not None:
        joints.append(_hinge(settings.pivot, settings.arches, bar, T_tree_bar))
    return tuple(joints)


def _give(stiffness: float, rise: float, bar: Bar, T_tree_bar: NDArray[np.float64]) -> Joint:
    """Give of the arches: a bend about the length, at the top of the front arch."""
    middle = T_tree_bar @ np.array([0.0, -bar.widths[1] / 2.0, bar.thickness, 1.0])
    top = np.array([middle[0], 0.0, middle[2] + rise])
    return Joint(top, np.array([1.0, 0.0, 0.0]), stiffness, (-FLEX_STOP, FLEX_STOP))


def _hinge(pivot: Pivot, arches: Arches, bar: Bar, T_tree_bar: NDArray[np.float64]) -> Joint:
    """Hinge of a bar: the line through its seats under both arches, or one across it."""

    def above_middle_line(behind_front: float) -> NDArray[np.float64]:
        xi = np.array([bar.front - behind_front])
        zeta = height(bar, xi, np.zeros(1))[0] + pivot.height
        return np.asarray((T_tree_bar @ np.array([xi[0], 0.0, zeta, 1.0]))[:3])

    stops = (-pivot.stop, pivot.stop)
    if pivot.at is not None:
        point = above_middle_line(pivot.at)
        return Joint(point, np.array([0.0, 1.0, 0.0]), pivot.stiffness, stops)
    front, rear = (above_middle_line(arch.at) for arch in (arches.front, arches.rear))
    along = (front - rear) / np.linalg.norm(front - rear)
    return Joint(0.5 * (front + rear), along, pivot.stiffness, stops)


def mirrored_bar(left: MountedBar) -> MountedBar:
    """Right bar as the mirror image of the left one.

    Parameters
    ----------
    left : the left bar.

    Returns
    -------
    MountedBar
        Equal joint angles on both sides are mirror images of each other.
    """
    joints = tuple(
        # An axis is an axial vector: mirrored in y it keeps y and turns x and z about.
        Joint(j.point * (1, -1, 1), j.axis * (-1, 1, -1), j.stiffness, j.stops)
        for j in left.joints
    )
    T_tree_bar = MIRROR @ left.T_tree_bar @ MIRROR
    return MountedBar("right", mirrored(left.underside), T_tree_bar, joints, left.thickness)


def _rotation_x(angle: float) -> NDArray[np.float64]:
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[1.0, 0.0, 0.0], [0.0, c, -s], [0.0, s, c]])


def _rotation_z(angle: float) -> NDArray[np.float64]:
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
