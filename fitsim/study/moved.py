"""What moving a tree forward or back would do: the same fit, seated a little off."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from threadpoolctl import threadpool_limits

from fitsim.contact.solve import solve
from fitsim.errors import BadSettings
from fitsim.measure.measured import measured
from fitsim.rig.cases import cases_for
from fitsim.study.laid import laid

if TYPE_CHECKING:
    from fitsim.measure.measures import Measures
    from fitsim.study.fit import FitSet

#: How far forward and back a tree is tried, m: about as far as it may be set wrong by hand.
STEP = 0.030

CASE = "both"


@dataclass(frozen=True)
class Moved:
    """A tree seated elsewhere along the spine.

    Attributes
    ----------
    by : m, forward (+) or back (-) of where it was.
    measures : under both cinches; None where it cannot lie there or does not stay.
    why_not : in words, where there are none.
    """

    by: float
    measures: Measures | None
    why_not: str = ""


def moved_along(fitset: FitSet, steps: tuple[float, ...] = (-STEP, STEP)) -> tuple[Moved, ...]:
    """Try the tree of a fit a little further back and forward, under both cinches.

    Parameters
    ----------
    fitset : with its seat.
    steps : m.

    Returns
    -------
    Tuple of Moved
        In the order of `steps`; always of the fast model.
    """
    assert fitset.seat is not None  # noqa: S101 - a fit was seated
    with threadpool_limits(limits=1, user_api="blas"):
        return tuple(_moved(fitset, by, fitset.seat.station + by) for by in steps)


def _moved(fitset: FitSet, by: float, station: float) -> Moved:
    back, tree = fitset.back, fitset.tree
    try:
        on = laid(back, tree, pad=fitset.pad, at=station, foundation=fitset.foundation)
        every = cases_for(back, tree, on.seat.T_body_tree, fitset.rig, fitset.load)
    except BadSettings as fault:
        return Moved(by, None, fault.fault)
    (case,) = (one for one in every if one.name == CASE)
    rest = solve(on.problem, case)
    if not rest.found:
        return Moved(by, None, f"it {rest.leaves} there")
    return Moved(by, measured(back, tree, case, rest))
