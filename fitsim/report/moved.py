"""What moving a tree forward or back would do, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitsim.draw.quantity import percents
from fitsim.study.moved import CASE, Moved
from fitsim.units import show_length, show_pressure

if TYPE_CHECKING:
    from fitsim.measure.measures import Measures
    from fitsim.study.fit import FitSet
    from fitsim.units import System


def moved_lines(fitset: FitSet, system: System = "metric") -> list[str]:
    """Return a line for each place, the fit's own among them, rear to front.

    Parameters
    ----------
    fitset : FitSet
    system : {"metric", "inch"}

    Returns
    -------
    list of str
    """
    lines = ["Moved along the spine, both cinches:"]
    for one in moved_places(fitset):
        said = one.why_not if one.measures is None else _said(one.measures, system)
        lines.append(f"  {place_words(one.by, system)}: {said}")
    return lines


def moved_places(fitset: FitSet) -> list[Moved]:
    """Return what was tried along the spine, the fit's own place among it, rear to front.

    Parameters
    ----------
    fitset : FitSet

    Returns
    -------
    list of Moved
        Empty where nothing was tried.
    """
    places = list(fitset.moved)
    own = fitset.fits.get(CASE)
    if places and own is not None:
        why_not = "" if own.measures else f"it {own.equilibrium.leaves} there"
        places.append(Moved(0.0, own.measures, why_not))
    return sorted(places, key=lambda one: one.by)


def place_words(by: float, system: System = "metric") -> str:
    """Return a place along the spine in words, by how far it is from where the tree lies, m."""
    if by == 0.0:
        return "as it lies"
    return f"{show_length(abs(by), system)} further {'forward' if by > 0.0 else 'back'}"


def _said(measures: Measures, system: System) -> str:
    thirds = percents([measures.share[one] for one in ("front", "middle", "rear")])
    front, middle, rear = (words.split("\N{NO-BREAK SPACE}")[0] for words in thirds)
    return (
        f"highest pressure {show_pressure(measures.peak, system)}, "
        f"load {front} / {middle} / {rear} % front / middle / rear"
    )
