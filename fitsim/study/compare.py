"""Several trees on one back, side by side, with how sure each difference is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fitsim.contact.foundation import build_foundation
from fitsim.study.confidence import Samples, Trial, less_often, rests_of, sampled
from fitsim.study.fit import fit

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from fitsim.back.back import Back
    from fitsim.rig.case import Pad
    from fitsim.rig.load import Load
    from fitsim.rig.rig import Rig
    from fitsim.study.fit import FitSet
    from fitsim.tree.tree import Tree

Array = NDArray[np.float64]

TOLD = 0.90
"""Of plausible backs: as many must agree before one tree is said to have less of something."""
LEANING = 0.75
"""As many before it is said to lean that way."""


@dataclass(frozen=True)
class Comparison:
    """Several trees on one back.

    Attributes
    ----------
    fits : one set of cases for each tree, on the back as found.
    samples : the same on plausible backs, trees in the same order.
    """

    fits: tuple[FitSet, ...]
    samples: Samples

    def less(self, first: int, second: int, case: str, headline: str) -> float:
        """Share of plausible backs on which the first tree has less of it than the second."""
        return less_often(
            self.samples.of(first, case, headline), self.samples.of(second, case, headline)
        )

    def stays(self, tree: int, case: str) -> float:
        """Share of the plausible backs on which a tree stays on."""
        return self.samples.stays(tree, case)


def compared(
    back: Back,
    trees: Sequence[Tree],
    *,
    pad: Pad | None = None,
    rig: Rig | None = None,
    load: Load | None = None,
    at: float | None = None,
    count: int = 100,
    seed: int = 1,
    say: Callable[[str, int], None] = lambda _words, _count: None,
    processes: int | None = None,
) -> Comparison:
    """Fit several trees to one back and to backs as plausible.

    Parameters
    ----------
    back : Back
    trees : two or more
    pad, rig, load, at : optional
        The same for all, see `fitsim.study.fit.fit`.
    count : int
        Plausible backs.
    seed : int
    say : callable, optional
        Told what is being done and how many plausible backs are done.
    processes : int, optional
        One for each core where not given.

    Returns
    -------
    Comparison

    Raises
    ------
    BadSettings
        A tree is longer than the scan.
    """
    ground = build_foundation(back.chart, back.tissue)  # of the back: the same for every tree
    fits = tuple(
        fit(
            back, tree, pad=pad, rig=rig, load=load, at=at, foundation=ground,
            say=lambda words: say(words, 0),
        )
        for tree in trees
    )  # fmt: skip
    first = fits[0]
    poses = tuple(one.seat.T_body_tree for one in fits if one.seat is not None)
    rests = tuple(rests_of(one) for one in fits)
    trial = Trial(back, first.pad, first.rig, first.load, tuple(trees), poses, rests)
    return Comparison(fits, sampled(trial, count, seed, say, processes))


def said_of(share: float) -> str:
    """What can be said where one tree has less of something on this share of plausible backs.

    Returns
    -------
    "less", "more", "leaning less", "leaning more" or "cannot be told"

    Examples
    --------
    >>> said_of(0.97), said_of(0.2), said_of(0.55)
    ('less', 'leaning more', 'cannot be told')
    """
    for limit, words in ((TOLD, ""), (LEANING, "leaning ")):
        if share >= limit:
            return f"{words}less"
        if share <= 1.0 - limit:
            return f"{words}more"
    return "cannot be told"
