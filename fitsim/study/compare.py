"""Several trees on one back, or one tree on several, with how sure each difference is."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from fitsim.contact.foundation import build_foundation
from fitsim.study.confidence import Samples, Trial, less_often, rests_of, sampled
from fitsim.study.fit import fit

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

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
    """Several trees on one back, or one tree on several.

    Attributes
    ----------
    fits : one set of cases for each of those compared, on the back as found.
    samples : the same on plausible backs, in the same order ("tree" of `Samples` is which of them).
    names : of those compared.
    of : what they are.
    drawn_apart : the backs are of different animals: nothing that is not known of one of them is
        known from the other, so that every plausible back of one is held against every one of the
        other. Else the same draw is held against itself.
    """

    fits: tuple[FitSet, ...]
    samples: Samples
    names: tuple[str, ...]
    of: Literal["trees", "scans"] = "trees"
    drawn_apart: bool = False

    def less(self, first: int, second: int, case: str, headline: str) -> float:
        """Share of plausible backs on which the first has less of it than the second."""
        one, other = (self.samples.of(which, case, headline) for which in (first, second))
        return less_often_apart(one, other) if self.drawn_apart else less_often(one, other)

    def stays(self, which: int, case: str) -> float:
        """Share of the plausible backs on which a tree stays on."""
        return self.samples.stays(which, case)


def less_often_apart(first: Array, second: Array) -> float:
    """Share of all pairs of plausible backs on which the first of them has less of something.

    Parameters
    ----------
    first, second : (n,) and (m,) arrays
        Numbers on the plausible backs of two animals, drawn without each other; nan where the tree
        does not stay on, which counts as more. Ties count half.

    Returns
    -------
    float, -

    Notes
    -----
    Mann and Whitney's statistic, doi:10.1214/aoms/1177730491, as a share.

    Examples
    --------
    >>> less_often_apart(np.array([1.0, 3.0]), np.array([2.0, np.nan]))
    0.75
    """
    one, other = (np.where(np.isfinite(v), v, np.inf) for v in (first, second))
    return less_often(np.repeat(one, len(other)), np.tile(other, len(one)))


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
    samples = sampled(_trial(fits), count, seed, say, processes)
    return Comparison(fits, samples, tuple(tree.name for tree in trees))


def compared_on(
    backs: Mapping[str, Back],
    tree: Tree,
    *,
    pad: Pad | None = None,
    rig: Rig | None = None,
    load: Load | None = None,
    at: float | None = None,
    same_animal: bool = False,
    count: int = 100,
    seed: int = 1,
    say: Callable[[str, int], None] = lambda _words, _count: None,
    processes: int | None = None,
) -> Comparison:
    """Fit one tree to several backs and to each as plausible.

    Parameters
    ----------
    backs : two or more, by name.
    tree : Tree
    pad, rig, load, at : optional
        The same for all, see `fitsim.study.fit.fit`.
    same_animal : bool
        The backs are of one animal: what is not known of it (tissue, marks, how it is cinched) is
        taken to be off by the same on each. See `Comparison.drawn_apart`.
    count : int
        Plausible backs of each.
    seed : int
        Each back is off by the same draws.
    say : callable, optional
        Told what is being done and how many plausible backs of one are done.
    processes : int, optional
        One for each core where not given.

    Returns
    -------
    Comparison

    Raises
    ------
    BadSettings
        The tree is longer than a scan.
    """
    fits, samples = [], []
    for name, back in backs.items():
        say(f"solving the cases on {name}", 0)
        fits.append(fit(back, tree, pad=pad, rig=rig, load=load, at=at))
    for name, one in zip(backs, fits, strict=True):
        tell = partial(_told_of, say, name)
        samples.append(sampled(_trial((one,)), count, seed, tell, processes))
    values = np.concatenate([one.values for one in samples], axis=1)
    return Comparison(
        tuple(fits), replace(samples[0], values=values), tuple(backs), "scans", not same_animal
    )


def _told_of(say: Callable[[str, int], None], name: str, words: str, count: int) -> None:
    say(f"{words} of {name}", count)


def _trial(fits: Sequence[FitSet]) -> Trial:
    """What stays the same on plausible backs, of fits on one back as found."""
    first = fits[0]
    trees = tuple(one.tree for one in fits)
    poses = tuple(one.seat.T_body_tree for one in fits if one.seat is not None)
    rests = tuple(rests_of(one) for one in fits)
    return Trial(first.back, first.pad, first.rig, first.load, trees, poses, rests)


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
