"""How sure one fit is: the same tree on plausible backs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitsim.errors import BadSettings
from fitsim.study.confidence import Samples, Trial, rests_of, sampled

if TYPE_CHECKING:
    from collections.abc import Callable

    from fitsim.study.fit import FitSet

FEWEST = 10
"""Plausible backs: from fewer, the ends of a 90 % interval are the extremes themselves."""


def how_sure(
    fitset: FitSet,
    count: int,
    seed: int = 1,
    say: Callable[[str, int], None] = lambda _words, _count: None,
    processes: int | None = None,
) -> Samples:
    """Try a fit's tree, laid as it was, on plausible backs by the fast model.

    Parameters
    ----------
    fitset : FitSet
        With its seat.
    count : int
        Plausible backs, ten or more.
    seed : int
    say, processes : see `fitsim.study.confidence.sampled`.

    Returns
    -------
    Samples
        Of one tree.

    Raises
    ------
    BadSettings
        Too few backs, or a fit that was never laid.
    """
    if count < FEWEST:
        raise BadSettings("--sure", f"{count} backs are too few to say", f"give {FEWEST} or more")
    if fitset.seat is None:
        raise BadSettings(fitset.tree.name, "was not laid on the back", "fit it with fitsim.fit")
    trial = Trial(
        fitset.back, fitset.pad, fitset.rig, fitset.load, (fitset.tree,),
        (fitset.seat.T_body_tree,), (rests_of(fitset),),
    )  # fmt: skip
    return sampled(trial, count, seed, say, processes)
