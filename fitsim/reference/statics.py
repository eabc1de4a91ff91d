"""Rigid bars on springs, by hand-checkable statics.

Source: moment balance; the no-tension strip is the foundation engineer's eccentric footing
(kern at one sixth of the length), any soil-mechanics textbook.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


@dataclass(frozen=True)
class BarAtRest:
    """A rigid bar on springs.

    Attributes
    ----------
    sink : m, downward at x = 0.
    pitch : rad, sink grows with x where positive.
    reactions : (n,) array, N, of each spring, compression positive.
    """

    sink: float
    pitch: float
    reactions: NDArray[np.float64]


@dataclass(frozen=True)
class StripContact:
    """A rigid bar on an even bed of springs that cannot pull.

    Attributes
    ----------
    length : m, of the bar that touches.
    high : N/m, line force at the more loaded end.
    low : N/m, line force at the other end (0 where it lifts).
    share_front_third : -, share of the load carried by the third on the load's side.
    """

    length: float
    high: float
    low: float
    share_front_third: float


def bar_on_springs(
    x: NDArray[np.float64], stiffness: NDArray[np.float64], force: float, station: float
) -> BarAtRest:
    """Rigid bar on linear springs under one downward force.

    Parameters
    ----------
    x : (n,) array, m, stations of the springs, at least two different ones.
    stiffness : (n,) array, N/m.
    force : N, downward.
    station : m, where the force acts.

    Returns
    -------
    BarAtRest

    Notes
    -----
    About the stiffness centre ``xc = sum(k x) / sum(k)`` sink and pitch part:
    ``s = F / sum(k)``, ``pitch = F (x_F - xc) / sum(k (x - xc)^2)``.

    Examples
    --------
    >>> import numpy as np
    >>> bar_on_springs(np.array([0.0, 1.0]), np.array([1e3, 1e3]), 100.0, 0.25).reactions
    array([75., 25.])
    """
    total = float(stiffness.sum())
    centre = float(stiffness @ x) / total
    pitch = force * (station - centre) / float(stiffness @ (x - centre) ** 2)
    sink_at_centre = force / total
    reactions = stiffness * (sink_at_centre + pitch * (x - centre))
    return BarAtRest(sink_at_centre - pitch * centre, pitch, reactions)


def bar_on_bed(length: float, force: float, eccentricity: float) -> StripContact:
    """Rigid bar on an even bed of springs that push only.

    Parameters
    ----------
    length : m, of the bar.
    force : N.
    eccentricity : m, of the force from the middle, 0 <= e < length/2.

    Returns
    -------
    StripContact

    Raises
    ------
    ValueError
        If the force is not over the bar: no equilibrium, it tips off.

    Notes
    -----
    Inside the kern (e <= L/6) ``q = (F/L) (1 +- 6 e/L)``; outside, the bar lifts and touches
    over ``3 (L/2 - e)`` with a triangle of line force ``2 F / (3 (L/2 - e))`` high.

    Examples
    --------
    >>> strip = bar_on_bed(0.6, 120.0, 0.2)
    >>> round(strip.length, 3), round(strip.high, 1), strip.low
    (0.3, 800.0, 0.0)
    """
    if not 0.0 <= eccentricity < length / 2.0:
        message = "the force must act over the bar, from its middle to just short of its end"
        raise ValueError(message)
    if eccentricity <= length / 6.0:
        touching = length
        high = force / length * (1.0 + 6.0 * eccentricity / length)
        low = force / length * (1.0 - 6.0 * eccentricity / length)
    else:
        touching = 3.0 * (length / 2.0 - eccentricity)
        high, low = 2.0 * force / touching, 0.0
    reach = min(length / 3.0, touching)
    at_reach = high - (high - low) * reach / touching
    return StripContact(touching, high, low, (high + at_reach) / 2.0 * reach / force)


def shares_of_two_bars(spread: float, offset: float) -> tuple[float, float]:
    """Shares of a vertical load carried by two bars that only push upward.

    Parameters
    ----------
    spread : m, between the bars' resultants.
    offset : m, of the load from the middle, to the left positive, below half the spread.

    Returns
    -------
    left, right : float, -
        Sum to one (lever rule).

    Examples
    --------
    >>> left, right = shares_of_two_bars(0.3, 0.03)
    >>> round(left, 12), round(right, 12)
    (0.6, 0.4)
    """
    left = 0.5 + offset / spread
    return left, 1.0 - left
