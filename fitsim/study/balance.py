"""How much heavier one side of a pack may be: by cinch tension, on the flat and on side slopes."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product
from typing import TYPE_CHECKING

import numpy as np

from fitsim.contact.solve import solve
from fitsim.rig.cases import cases_for
from fitsim.rig.going import pull_of_gravity
from fitsim.rig.load import Weight, place_of
from fitsim.study.borne import borne
from fitsim.study.workers import workers

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fitsim.contact.equilibrium import Way
    from fitsim.rig.load import Load
    from fitsim.rig.rig import Cinch, Rig
    from fitsim.study.set_up import SetUp
    from fitsim.tree.tree import Side

SHARES = (1 / 3, 2 / 3, 1.0, 4 / 3, 5 / 3)
"""Of the rig's own tensions, at which the tree is tried."""

SIDE_SLOPES = (0.0, np.radians(10.0), np.radians(20.0))
"""rad, at which the tree is tried where nobody asks for another."""

FRICTIONS = (0.25, 0.6)
"""Of coat on pad: felt 0.37, skin on cotton 0.25 to 0.9 (docs/validation.md)."""

_OFFSET, _HEIGHT = 0.40, -0.05  # m, of a side pack where the load has none


@dataclass(frozen=True)
class Bears:
    """What one tension bears on one side slope.

    Attributes
    ----------
    front, rear : N, mean pull of a strap end of either cinch.
    side_slope : rad, falling to the heavier side.
    friction : -, coat on pad.
    difference : kg, by which one side may be heavier, the worse side; 0 where nothing stays.
    heavier : the worse side.
    leaves : the way the tree then goes; None where it bears more than was tried.
    stays : whether it stays with no difference at all.
    """

    front: float
    rear: float
    side_slope: float
    friction: float
    difference: float
    heavier: Side
    leaves: Way | None
    stays: bool


@dataclass(frozen=True)
class Balance:
    """The table, and how far friction may shift the rig's own row.

    Attributes
    ----------
    load : what is carried before one side is made heavier.
    rows : by tension, then by side slope; tensions ascending.
    own : which row is the rig as it is.
    slippery, grippy : that row at the ends of `FRICTIONS`.
    """

    load: Load
    rows: tuple[tuple[Bears, ...], ...]
    own: int
    slippery: tuple[Bears, ...]
    grippy: tuple[Bears, ...]


@dataclass(frozen=True)
class _Trial:
    share: float
    side_slope: float
    friction: float
    heavier: Side


def balance(
    on: SetUp,
    side_slopes: Sequence[float] = SIDE_SLOPES,
    shares: Sequence[float] = SHARES,
    processes: int | None = None,
) -> Balance:
    """Make one side heavier until the tree leaves, at every tension on every side slope.

    Parameters
    ----------
    on : SetUp
        The tree laid on the back, its rig and load.
    side_slopes : sequence of float, rad
        Falling to the heavier side.
    shares : sequence of float
        Of the rig's own tensions, ascending; 1 must be among them.
    processes : int, optional
        One for each core where not given.

    Returns
    -------
    Balance

    Notes
    -----
    What is added hangs where that side's pack hangs, so the whole load grows by it. The side
    that bears less is told. A tree that tilts by 15 deg or travels 60 mm has left.
    """
    felt = on.laid.problem.pad.friction
    asked = [(share, slope, felt) for share, slope in product(shares, side_slopes)]
    asked += [(1.0, slope, friction) for friction, slope in product(FRICTIONS, side_slopes)]
    trials = [_Trial(*one, side) for one in asked for side in ("left", "right")]
    with workers(_tried, on, processes) as work:
        found = list(work(trials))
    worse = [min(found[i : i + 2], key=_holds) for i in range(0, len(found), 2)]
    wide = len(side_slopes)
    rows = [tuple(worse[i : i + wide]) for i in range(0, len(worse), wide)]
    table, (slippery, grippy) = tuple(rows[: len(shares)]), rows[len(shares) :]
    return Balance(on.load, table, list(shares).index(1.0), slippery, grippy)


def _holds(one: Bears) -> tuple[bool, float]:
    return one.stays, one.difference


def _tried(on: SetUp, trial: _Trial) -> Bears:
    """What the tree bears in one trial."""
    rig, load = tightened(on.rig, trial.share), on.load
    falls = trial.side_slope if trial.heavier == "left" else -trial.side_slope
    load = load.over(replace(load.going, side_slope=falls))
    problem = replace(on.laid.problem, pad=replace(on.laid.problem.pad, friction=trial.friction))
    tree = problem.tree
    case = cases_for(on.back, tree, on.laid.seat.T_body_tree, rig, load)[-1]
    rest = solve(problem, case)
    pull = pull_of_gravity(load.going)
    difference, leaves = 0.0, rest.leaves
    if rest.found:
        found = borne(problem, case, rest, place_of(_side_pack(load, trial.heavier), tree), pull)
        difference, leaves = found.force / float(np.linalg.norm(pull)), found.leaves
    return Bears(
        front=_mean(rig.front),
        rear=_mean(rig.rear),
        side_slope=trial.side_slope,
        friction=trial.friction,
        difference=difference,
        heavier=trial.heavier,
        leaves=leaves,
        stays=rest.found,
    )


def tightened(rig: Rig, share: float) -> Rig:
    """The rig with both cinches drawn to a share of their tension.

    Parameters
    ----------
    rig : Rig
    share : float, -

    Returns
    -------
    Rig

    Examples
    --------
    >>> from fitsim.rig.rig import Rig
    >>> tightened(Rig(), 0.5).front.tension_left
    90.0
    """

    def drawn(cinch: Cinch) -> Cinch:
        left, right = share * cinch.tension_left, share * cinch.tension_right
        return replace(cinch, tension_left=left, tension_right=right)

    return replace(rig, front=drawn(rig.front), rear=drawn(rig.rear))


def _mean(cinch: Cinch) -> float:
    return 0.5 * (cinch.tension_left + cinch.tension_right)


def _side_pack(load: Load, side: Side) -> Weight:
    """Where that side's pack hangs; as usual where the load has none."""
    there = (weight for weight in load.weights if weight.name == f"pack_{side}")
    offset = _OFFSET if side == "left" else -_OFFSET
    return next(there, Weight("extra", 1.0, offset, _HEIGHT))
