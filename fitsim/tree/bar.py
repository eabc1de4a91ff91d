"""A bar from its measures: lengthwise curve, twist, crown, flared tips and rolled edges."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from fitsim.tree.openings import beside_slot, pocket_depth
from fitsim.tree.outline import core_polygon, half_width, signed_distance
from fitsim.tree.tree import Underside

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.tree.openings import Notch, Pocket, Slot

#: The roll follows its circle down to this slope and runs on straight: a height field cannot
#: turn upright, and the extension beyond the edge must stay smooth.
STEEPEST_ROLL = np.radians(60.0)

#: How far the height field runs on beyond the outline, m.
MARGIN = 0.024


@dataclass(frozen=True)
class Flare:
    """The tip of a bar, turned up away from the back.

    Attributes
    ----------
    length : m, from the end of the bearing length to the tip.
    rise : m, how much further from the back the tip is than the lengthwise curve alone.
    """

    length: float
    rise: float


@dataclass(frozen=True)
class Bar:
    """Measures of one bar, the same for left and right.

    The left bar's underside, in its own frame (xi forward, eta to the left, zeta away from the
    back, origin at the middle of the bearing length), is the sum of one term for each measure;
    see `height`.

    Attributes
    ----------
    length : m, overall, from tip to tip.
    widths : m, (front, middle, rear); the outline is a parabola through them.
    curve : 1/m, lengthwise curvature, positive for a rocker that follows a dipped back.
    low : m, lowest point of the lengthwise curve, on the xi axis.
    twist : rad over the bearing length, positive when the front face is the steeper one.
    crown : m, by how much the middle stands prouder than the edges, at the middle's width;
        negative for a hollow bar.
    front_flare, rear_flare : see `Flare`.
    edge_roll : m, radius of the rolled lower edge.
    corner : m, radius of the outline's corners.
    thickness : m.
    pockets : hollows in the underside.
    slots : openings right through the bar.
    notches : hollows in the long edges of its outline.
    """

    length: float
    widths: tuple[float, float, float]
    curve: float
    low: float
    twist: float
    crown: float
    front_flare: Flare
    rear_flare: Flare
    edge_roll: float
    corner: float
    thickness: float
    pockets: tuple[Pocket, ...] = ()
    slots: tuple[Slot, ...] = ()
    notches: tuple[Notch, ...] = ()

    @property
    def bearing(self) -> float:
        """Bearing length, m: what is left between the two flares."""
        return self.length - self.front_flare.length - self.rear_flare.length

    @property
    def front(self) -> float:
        """Front tip on the xi axis, m."""
        return self.bearing / 2.0 + self.front_flare.length

    @property
    def rear(self) -> float:
        """Rear tip on the xi axis, m."""
        return -self.bearing / 2.0 - self.rear_flare.length


def curvature_of_sagitta(sagitta: float, chord: float) -> float:
    """Curvature of the circle whose arc over `chord` is `sagitta` deep.

    Parameters
    ----------
    sagitta, chord : m.

    Returns
    -------
    1/m, with the sign of `sagitta`.

    Examples
    --------
    >>> round(curvature_of_sagitta(0.1, 0.2), 6)  # half a circle of 0.1 m radius
    10.0
    """
    return 8.0 * sagitta / (chord**2 + 4.0 * sagitta**2)


def arc(distance: NDArray[np.float64], curvature: float) -> NDArray[np.float64]:
    """Height of a circle above its lowest point: exact, and good at curvature zero.

    Parameters
    ----------
    distance : array, m, from the lowest point along the tangent.
    curvature : 1/m.

    Returns
    -------
    Array, m. Beyond 60 degrees of arc it runs on straight.
    """
    reach = np.inf if curvature == 0.0 else np.sin(STEEPEST_ROLL) / abs(curvature)
    s = np.minimum(np.abs(distance), reach)
    root = np.sqrt(1.0 - (curvature * s) ** 2)
    return curvature * s**2 / (1.0 + root) + (np.abs(distance) - s) * curvature * s / root


def flare_rise(distance: NDArray[np.float64], flare: Flare) -> NDArray[np.float64]:
    """Rise of a flared tip, quadratic from where it starts and straight beyond the tip.

    Parameters
    ----------
    distance : array, m, beyond the end of the bearing length, negative within it.
    flare : see `Flare`.

    Returns
    -------
    Array, m.
    """
    if flare.length == 0.0:
        return np.zeros_like(distance)
    u = np.maximum(distance / flare.length, 0.0)
    return flare.rise * np.where(u < 1.0, u**2, 2.0 * u - 1.0)


def inside_outline(
    bar: Bar, xi: NDArray[np.float64], eta: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Signed distance to the bar's outer outline, positive inside; slots do not count.

    Parameters
    ----------
    bar : its measures.
    xi, eta : arrays of one shape, m.

    Returns
    -------
    Array of that shape, m.
    """
    return bar.corner + signed_distance(core_of(bar), np.stack([xi, eta], axis=-1))


def core_of(bar: Bar) -> NDArray[np.float64]:
    """The polygon that the bar's corner radius grows to its outline; see `core_polygon`.

    Parameters
    ----------
    bar : its measures.

    Returns
    -------
    (n, 2) array, m.
    """
    return core_polygon(bar.rear, bar.front, bar.widths, bar.corner, bar.notches)


def face_height(bar: Bar, xi: NDArray[np.float64], eta: NDArray[np.float64]) -> NDArray[np.float64]:
    """Height of the left bar's face before its edges are rolled.

    Parameters
    ----------
    bar : its measures.
    xi, eta : arrays that broadcast together, m.

    Returns
    -------
    Array, m, zeta.
    """
    bearing = bar.bearing
    # The left bar's outer edge is at +eta and lies lower the steeper the face is.
    twist = -eta * np.tan(bar.twist * xi / bearing)
    crown = arc(eta, curvature_of_sagitta(bar.crown, bar.widths[1]))
    tips = flare_rise(xi - bearing / 2.0, bar.front_flare) + flare_rise(
        -xi - bearing / 2.0, bar.rear_flare
    )
    return arc(xi - bar.low, bar.curve) + twist + crown + tips


def height(
    bar: Bar,
    xi: NDArray[np.float64],
    eta: NDArray[np.float64],
    inside: NDArray[np.float64] | None = None,
) -> NDArray[np.float64]:
    """Height of the left bar's underside: face, pockets and rolled edges.

    Parameters
    ----------
    bar : its measures.
    xi, eta : arrays of one shape, m.
    inside : array of that shape, m, their distance from the outline, if it is known.

    Returns
    -------
    Array of that shape, m, zeta.

    Notes
    -----
    zeta = arc(xi - low; curve) - eta tan(twist xi / bearing) + arc(eta; crown)
    + flare(xi) + pockets(xi, eta) + roll(inside), each once continuously differentiable. The rim
    of a slot is rolled like the outer edge.
    """
    edge = inside_outline(bar, xi, eta) if inside is None else inside
    return face_height(bar, xi, eta) + _taken_out(bar, xi, eta, edge)


def _taken_out(
    bar: Bar, xi: NDArray[np.float64], eta: NDArray[np.float64], edge: NDArray[np.float64]
) -> NDArray[np.float64]:
    """What pockets and rolled edges take off the face, given the distance to the outline, m."""
    taken = roll_rise(edge, bar.edge_roll)
    for slot in bar.slots:
        taken = taken + roll_rise(beside_slot(slot, xi, eta), bar.edge_roll)
    for pocket in bar.pockets:
        taken = taken + pocket_depth(pocket, xi, eta)
    return taken


def roll_rise(inside: NDArray[np.float64], radius: float) -> NDArray[np.float64]:
    """Rise of a rolled edge, by the distance inside the outline.

    Parameters
    ----------
    inside : array, m, positive inside.
    radius : m, 0 for a sharp edge.

    Returns
    -------
    Array, m: zero further in than the radius.
    """
    if radius == 0.0:
        return np.zeros_like(inside)
    return arc(np.maximum(radius - inside, 0.0), 1.0 / radius)


def underside(bar: Bar, spacing: float = 0.002) -> Underside:
    """Sample the left bar's underside on a regular grid.

    Parameters
    ----------
    bar : its measures.
    spacing : m, of the grid, the same both ways.

    Returns
    -------
    Underside
        Its grid runs `MARGIN` beyond the outline on every side.

    Examples
    --------
    >>> tip = Flare(0.06, 0.018)
    >>> bar = Bar(0.56, (0.1, 0.11, 0.09), 0.5, 0.0, 0.3, 0.002, tip, tip, 0.008, 0.03, 0.024)
    >>> face = underside(bar, spacing=0.004)
    >>> face.front, face.rear, face.height.shape == (len(face.xi), len(face.eta))
    (0.28, -0.28, True)
    """
    xi, eta, outline = _plan((bar.rear, bar.front), bar.widths, bar.corner, bar.notches, spacing)
    grid_xi, grid_eta = np.meshgrid(xi, eta, indexing="ij")
    inside = outline
    zeta = face_height(bar, grid_xi, grid_eta) + _taken_out(bar, grid_xi, grid_eta, outline)
    for slot in bar.slots:
        inside = np.minimum(inside, beside_slot(slot, grid_xi, grid_eta))
    return Underside(xi, eta, zeta, inside, front=bar.front, rear=bar.rear)


# A search changes spreads, angles and curves a hundred times for every change of the plan.
@lru_cache(maxsize=8)
def _plan(
    ends: tuple[float, float],
    widths: tuple[float, float, float],
    corner: float,
    notches: tuple[Notch, ...],
    spacing: float,
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Grid of a plan, and the signed distance to its outline there; not to be written to."""
    rear, front = ends
    widest = 2.0 * float(half_width(np.linspace(rear, front, 99), rear, front, widths).max())
    xi = (front + rear) / 2.0 + _ticks((front - rear) / 2.0 + MARGIN, spacing)
    eta = _ticks(widest / 2.0 + MARGIN, spacing)
    places = np.stack(np.meshgrid(xi, eta, indexing="ij"), axis=-1)
    inside = corner + signed_distance(core_polygon(rear, front, widths, corner, notches), places)
    for kept in (xi, eta, inside):
        kept.setflags(write=False)
    return xi, eta, inside


def mirrored(face: Underside) -> Underside:
    """Underside of the other side's bar: eta turned about.

    Parameters
    ----------
    face : of one bar.

    Returns
    -------
    Underside
    """
    return Underside(
        face.xi,
        -face.eta[::-1],
        np.ascontiguousarray(face.height[:, ::-1]),
        np.ascontiguousarray(face.inside[:, ::-1]),
        front=face.front,
        rear=face.rear,
    )


def _ticks(reach: float, spacing: float) -> NDArray[np.float64]:
    """Even grid, symmetric about zero, that covers +/- reach."""
    count = int(np.ceil(reach / spacing - 1e-9))
    return np.arange(-count, count + 1, dtype=np.float64) * spacing
