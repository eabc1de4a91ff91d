"""What moving a tree forward or back would do, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitsim.study.moved import CASE
from fitsim.units import show_length, show_pressure

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fitsim.measure.measures import Measures
    from fitsim.study.fit import FitSet
    from fitsim.study.moved import Moved
    from fitsim.units import System


def moved_lines(fitset: FitSet, elsewhere: Sequence[Moved], system: System = "metric") -> list[str]:
    """Return a line for each place, the fit's own among them, rear to front.

    Parameters
    ----------
    fitset : FitSet
    elsewhere : sequence of Moved
    system : {"metric", "inch"}

    Returns
    -------
    list of str
    """
    own = fitset.fits.get(CASE)
    rows = [(one.by, one.measures, one.why_not) for one in elsewhere]
    if own is not None:
        rows.append((0.0, own.measures, f"it {own.equilibrium.leaves} there"))
    lines = ["Moved along the spine, both cinches:"]
    for by, measures, why_not in sorted(rows, key=lambda row: row[0]):
        where = "as it lies" if by == 0.0 else _place(by, system)
        lines.append(f"  {where}: {why_not if measures is None else _said(measures, system)}")
    return lines


def _place(by: float, system: System) -> str:
    return f"{show_length(abs(by), system)} further {'forward' if by > 0.0 else 'back'}"


def _said(measures: Measures, system: System) -> str:
    front, middle, rear = (
        round(100.0 * measures.share[one]) for one in ("front", "middle", "rear")
    )
    return (
        f"highest pressure {show_pressure(measures.peak, system)}, "
        f"load {front} / {middle} / {rear} % front / middle / rear"
    )
