"""What is taken out of a bar: pockets in its face, slots through it, notches in its edge."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray


@dataclass(frozen=True)
class Pocket:
    """A hollow in the underside that spares what lies below it.

    Attributes
    ----------
    xi, eta : m, its middle in the bar's frame.
    length, width : m, along and across; it fades out on this ellipse.
    depth : m, at its middle.
    """

    xi: float
    eta: float
    length: float
    width: float
    depth: float


@dataclass(frozen=True)
class Slot:
    """A slot right through the bar, for a strap, with round ends.

    Attributes
    ----------
    xi, eta : m, its middle in the bar's frame.
    length, width : m, along and across the bar; the longer of the two says which way it lies.
    """

    xi: float
    eta: float
    length: float
    width: float


@dataclass(frozen=True)
class Notch:
    """A swept hollow in a long edge of the outline, where rigging passes.

    Attributes
    ----------
    xi : m, its middle.
    length : m, along the edge.
    depth : m, into the bar.
    outer : whether it is in the outer edge.
    """

    xi: float
    length: float
    depth: float
    outer: bool = True


def fade(u: NDArray[np.float64]) -> NDArray[np.float64]:
    """Smooth bump: 1 at 0, and 0 with no slope from 1 on: (1 - u^2)^2.

    Parameters
    ----------
    u : array, -, distance from the middle over half the size.

    Returns
    -------
    Array, -.
    """
    return np.asarray(np.maximum(1.0 - u**2, 0.0) ** 2)


def pocket_depth(
    pocket: Pocket, xi: NDArray[np.float64], eta: NDArray[np.float64]
) -> NDArray[np.float64]:
    """How much deeper the underside is for a pocket.

    Parameters
    ----------
    pocket : see `Pocket`.
    xi, eta : arrays that broadcast together, m.

    Returns
    -------
    Array, m.
    """
    along = 2.0 * (xi - pocket.xi) / pocket.length
    across = 2.0 * (eta - pocket.eta) / pocket.width
    return pocket.depth * fade(np.hypot(along, across))


def pocket_slope(
    pocket: Pocket, xi: NDArray[np.float64], eta: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Slope of `pocket_depth` along xi and eta.

    Parameters
    ----------
    pocket, xi, eta : as there, arrays of one shape.

    Returns
    -------
    (..., 2) array, -.
    """
    a, b = pocket.length / 2.0, pocket.width / 2.0
    x, y = xi - pocket.xi, eta - pocket.eta
    factor = -4.0 * pocket.depth * np.maximum(1.0 - (x / a) ** 2 - (y / b) ** 2, 0.0)
    return np.stack([factor * x / a**2, factor * y / b**2], axis=-1)


def beside_slot(
    slot: Slot, xi: NDArray[np.float64], eta: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Distance to a slot's rim, positive in the wood, negative in the slot.

    Parameters
    ----------
    slot : see `Slot`.
    xi, eta : arrays of one shape, m.

    Returns
    -------
    Array of that shape, m.
    """
    offset = _from_spine(slot, xi, eta)
    return np.asarray(np.linalg.norm(offset, axis=-1) - min(slot.length, slot.width) / 2.0)


def away_from_slot(
    slot: Slot, xi: NDArray[np.float64], eta: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Direction in which the distance to a slot grows.

    Parameters
    ----------
    slot, xi, eta : as in `beside_slot`.

    Returns
    -------
    (..., 2) array, unit.
    """
    offset = _from_spine(slot, xi, eta)
    return np.asarray(offset / np.maximum(np.linalg.norm(offset, axis=-1), 1e-12)[..., None])


def notch_depth(
    notches: tuple[Notch, ...], xi: NDArray[np.float64], *, outer: bool
) -> NDArray[np.float64]:
    """How far the notches of one edge reach into the bar.

    Parameters
    ----------
    notches : of both edges.
    xi : (n,) array, m.
    outer : which edge.

    Returns
    -------
    (n,) array, m.
    """
    taken = np.zeros_like(xi)
    for notch in notches:
        if notch.outer == outer:
            taken = taken + notch.depth * fade(2.0 * (xi - notch.xi) / notch.length)
    return taken


def _from_spine(
    slot: Slot, xi: NDArray[np.float64], eta: NDArray[np.float64]
) -> NDArray[np.float64]:
    """From the nearest point of the line between the middles of the slot's round ends, m."""
    half = (slot.length - slot.width) / 2.0
    x, y = xi - slot.xi, eta - slot.eta
    x = x - np.clip(x, -max(half, 0.0), max(half, 0.0))
    y = y - np.clip(y, -max(-half, 0.0), max(-half, 0.0))
    return np.stack([x, y], axis=-1)
