"""Pressure over a day's work against what tissue was seen to bear: where to look first.

No curve of pressure and time is known for the skin or muscle of equines. Two are used side by side:

- sigmoid, p(t) = K / (1 + exp(alpha (t - t0))) + C, of rat muscle under lasting pressure
  (Linder-Ganz, Engelberg, Scheinowitz, Gefen 2006 J Biomech 39:2725-2732; form seen, numbers from
  memory);
- inverse, p(t) = P (t / 1 h)^-b through 40 kPa for 1 h and 8 kPa for 10 h, of human skin over bone
  (Reswick, Rogers 1976 Bedsore Biomechanics 301-310, who say it gives no clear threshold; numbers
  from memory).

Either may be off by a factor, log-normal with standard deviation `SPREAD`. Spells at different
pressures add up as shares of the time each could last (a linear damage rule, as Palmgren and Miner
have it for metals; chosen). So a day has one critical pressure by each curve, and the share of all
curves within the spread that a place passes follows in closed form.

.. warning:: This ranks places to look at. It does not tell harm from no harm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
from scipy.special import ndtr

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from numpy.typing import NDArray

    Array = NDArray[np.float64]

Pace = Literal["stand", "walk", "single-foot", "trot", "canter"]
Standing = Literal["as in sound backs", "as in backs with dry spots", "as in backs with sores"]

HOUR = 3600.0

PACES: Mapping[Pace, float] = {
    "stand": 1.0, "walk": 1.0, "single-foot": 1.1, "trot": 9.8 / 7.8, "canter": 10.9 / 7.8,
}  # fmt: skip
"""Mean pressure at a gait over that at rest: trot and canter over walk in sound backs (von Peinen,
Wiestner, von Rechenberg, Weishaupt 2010, doi:10.1111/j.2042-3306.2010.00191.x); the load of a
stride at walk has the mean of the standing one; single-foot chosen between."""

SEEN: Mapping[Pace, tuple[tuple[float, float], ...]] = {
    "walk": ((7.8e3, 13.4e3), (15.3e3, 30.6e3), (24.0e3, 38.9e3)),
    "trot": ((9.8e3, 21.0e3), (18.1e3, 43.4e3), (29.7e3, 53.3e3)),
    "canter": ((10.9e3, 24.7e3), (21.4e3, 48.9e3), (28.6e3, 56.0e3)),
}
"""Pa, mean and largest pressure at the withers of 16 sound backs, 16 with dry spots and 7 with
sores (von Peinen and others 2010, as above)."""

STANDINGS: tuple[Standing, ...] = (
    "as in sound backs", "as in backs with dry spots", "as in backs with sores",
)  # fmt: skip

SIGMOID_K, SIGMOID_C = 23e3, 8e3  # Pa
SIGMOID_ALPHA, SIGMOID_T0 = 0.15 / 60.0, 95.0 * 60.0  # 1/s, s
INVERSE_P = 40e3  # Pa, at 1 h
INVERSE_B = math.log10(40.0 / 8.0)  # from 1 h to 10 h

SPREAD = math.log(1.6)
"""Standard deviation of the logarithm of either curve's pressure: chosen, no source."""
FIRST, NEXT = 0.9, 0.5
"""Share of curves passed from which a place is looked at first, and next: choices."""

_LOWEST, _HIGHEST = 1e2, 1e6  # Pa, between which a day's critical pressure is sought
_HALVINGS = 60


@dataclass(frozen=True)
class Spell:
    """Some time at one pace: s, and pressure over that of standing, -."""

    time: float
    factor: float


def day_of(hours: float, mix: Mapping[Pace, float], rest: float = 0.0) -> tuple[Spell, ...]:
    """A day's work as spells.

    Parameters
    ----------
    hours : float, h
        From saddling to unsaddling.
    mix : mapping of float, -
        Share of the time under load at each pace; brought to a sum of 1.
    rest : float, h
        Of these with the tree off or the cinches let out and the load down. It stops the clock;
        recovery is not counted, since none was found for equines.

    Returns
    -------
    tuple of Spell

    Examples
    --------
    >>> [(spell.time / 3600, round(spell.factor, 2)) for spell in day_of(6, {"walk": 3, "trot": 1})]
    [(4.5, 1.0), (1.5, 1.26)]
    """
    whole = sum(mix.values())
    under = max(hours - rest, 0.0) * HOUR
    return tuple(
        Spell(under * part / whole, PACES[pace]) for pace, part in mix.items() if part > 0.0
    )


def sigmoid(time: float) -> float:
    """Pressure borne for a time (s) by the sigmoid curve, Pa.

    Examples
    --------
    >>> [round(sigmoid(time) / 1e3, 1) for time in (0.0, 95 * 60.0, 6 * HOUR)]
    [31.0, 19.5, 8.0]
    """
    return SIGMOID_K / (1.0 + math.exp(min(SIGMOID_ALPHA * (time - SIGMOID_T0), 700.0))) + SIGMOID_C


def inverse(time: float) -> float:
    """Pressure borne for a time (s) by the inverse curve, Pa.

    Examples
    --------
    >>> round(inverse(HOUR) / 1e3), round(inverse(10 * HOUR) / 1e3)
    (40, 8)
    """
    return float(INVERSE_P * (time / HOUR) ** -INVERSE_B)


def sigmoid_time(pressure: float) -> float:
    """Time that a pressure (Pa) is borne by the sigmoid curve, s; infinite below its foot.

    Examples
    --------
    >>> round(sigmoid_time(sigmoid(5000.0)))
    5000
    """
    over = pressure - SIGMOID_C
    if over <= 0.0:
        return math.inf
    ratio = SIGMOID_K / over - 1.0
    return max(SIGMOID_T0 + math.log(ratio) / SIGMOID_ALPHA, 0.0) if ratio > 0.0 else 0.0


def inverse_time(pressure: float) -> float:
    """Time that a pressure (Pa) is borne by the inverse curve, s.

    Examples
    --------
    >>> round(inverse_time(inverse(7200.0)))
    7200
    """
    return float(HOUR * (pressure / INVERSE_P) ** (-1.0 / INVERSE_B))


CURVES: Mapping[str, Callable[[float], float]] = {
    "sigmoid": sigmoid_time, "inverse": inverse_time,
}  # fmt: skip


def used(day: tuple[Spell, ...], pressure: float, time: Callable[[float], float]) -> float:
    """Share of what a curve allows that a day uses up at a standing pressure, -.

    Parameters
    ----------
    day : tuple of Spell
    pressure : float, Pa
        At rest.
    time : callable
        Time (s) that a pressure is borne.

    Returns
    -------
    float, -
        Above 1 past the curve; infinite where a spell is not borne at all.
    """
    total = 0.0
    for spell in day:
        if spell.time > 0.0:
            borne = time(pressure * spell.factor)
            total += math.inf if borne == 0.0 else spell.time / borne
    return total


def critical(day: tuple[Spell, ...], curve: str) -> float:
    """Standing pressure that uses up exactly what a curve allows in a day, Pa.

    Parameters
    ----------
    day : tuple of Spell
    curve : str
        Of `CURVES`.

    Returns
    -------
    float, Pa
        Infinite for a day without work.

    Examples
    --------
    >>> round(critical((Spell(10 * HOUR, 1.0),), "inverse") / 1e3, 3)
    8.0
    """
    if not any(spell.time > 0.0 for spell in day):
        return math.inf
    low, high = math.log(_LOWEST), math.log(_HIGHEST)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        if used(day, math.exp(middle), CURVES[curve]) >= 1.0:
            high = middle
        else:
            low = middle
    return math.exp(0.5 * (low + high))


def passed(day: tuple[Spell, ...], pressure: Array) -> Array:
    """Share of all curves within the spread that each place passes in a day.

    Parameters
    ----------
    day : tuple of Spell
    pressure : (n,) array, Pa
        At rest.

    Returns
    -------
    (n,) array, 0..1
        Mean over both curves of Phi(ln(p / p_c) / sigma), p_c the day's critical pressure.

    Examples
    --------
    >>> day = (Spell(10 * HOUR, 1.0),)
    >>> share = passed(day, np.array([0.0, 8e3, 80e3]))
    >>> float(share[0]), bool(share[1] > 0.4), bool(share[2] > 0.99)
    (0.0, True, True)
    """
    with np.errstate(divide="ignore"):
        logs = np.log(np.maximum(pressure, 0.0))
    shares = [ndtr((logs - math.log(critical(day, curve))) / SPREAD) for curve in CURVES]
    return np.asarray(np.mean(shares, axis=0), dtype=np.float64)


def hours_until(day: tuple[Spell, ...], pressure: float, share: float = FIRST) -> float:
    """Hours of such work after which a place passes a share of the curves, h.

    Parameters
    ----------
    day : tuple of Spell
        Its mix of paces; its length does not count.
    pressure : float, Pa
        At rest.
    share : float, -

    Returns
    -------
    float, h
        Under load; infinite where 100 h do not get there, 0 where not even a few seconds are borne.
    """
    whole = sum(spell.time for spell in day) or 1.0

    def passes(hours: float) -> bool:
        scaled = tuple(Spell(spell.time / whole * hours * HOUR, spell.factor) for spell in day)
        return float(passed(scaled, np.array([pressure]))[0]) >= share

    low, high = 1e-3, 100.0
    if not passes(high):
        return math.inf
    if passes(low):
        return 0.0
    for _ in range(_HALVINGS):
        middle = math.sqrt(low * high)
        low, high = (low, middle) if passes(middle) else (middle, high)
    return high


def standing(pace: Pace, mean: float, largest: float) -> Standing:
    """Which of the backs seen in the study a pressure at the withers is like.

    Parameters
    ----------
    pace : one of `SEEN`.
    mean, largest : float, Pa
        Mean and largest pressure at that pace.

    Returns
    -------
    Standing
        The worse of the two; borders lie midway between the groups, by ratio.

    Examples
    --------
    >>> standing("walk", 8e3, 14e3), standing("walk", 8e3, 31e3)
    ('as in sound backs', 'as in backs with dry spots')
    """
    worst = 0
    for kind, value in enumerate((mean, largest)):
        worst = max(worst, sum(value >= border for border in borders(pace)[kind]))
    return STANDINGS[worst]


def borders(pace: Pace) -> tuple[tuple[float, float], tuple[float, float]]:
    """Borders between sound, dry spots and sores at a pace, Pa: of the mean, of the largest.

    Examples
    --------
    >>> [round(border / 1e3, 1) for border in borders("walk")[1]]
    [20.2, 34.5]
    """
    groups = SEEN[pace]

    def midway(kind: int) -> tuple[float, float]:
        first, second, third = (group[kind] for group in groups)
        return math.sqrt(first * second), math.sqrt(second * third)

    return midway(0), midway(1)
