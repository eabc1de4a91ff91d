"""Which tree for which animal, how many sizes to stock, and which animal fits nothing."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fitsim.study.sizes import fewest

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from fitsim.study.herd.kept import Row

WORKS = "can work"
"""The verdict's word (docs/verdict.md) for a tree that breaks none of its rules."""


@dataclass(frozen=True)
class Choice:
    """How trees serve a herd.

    Attributes
    ----------
    animals, trees : names, in the herd's order.
    scores : (a, t) array, -, less is better; inf where the tree does not stay on.
    works : (a, t) bool array, whether the verdict is that it can work.
    faults : by animal and tree, the verdict's rules that are broken.
    stock : indices of the fewest trees with which the share asked for has one that can work.
    skipped : why, by scan or by scan and tree.
    """

    animals: tuple[str, ...]
    trees: tuple[str, ...]
    scores: NDArray[np.float64]
    works: NDArray[np.bool_]
    faults: dict[tuple[str, str], tuple[str, ...]]
    stock: tuple[int, ...]
    skipped: dict[str, str]

    def best(self, animal: int) -> int | None:
        """The tree of best score among those that can work on an animal; None where none can."""
        works = self.works[animal]
        return int(np.where(works, self.scores[animal], np.inf).argmin()) if works.any() else None

    def least_bad(self, animal: int) -> int | None:
        """The tree of best score of all; None where none stays on."""
        scores = self.scores[animal]
        return int(scores.argmin()) if np.isfinite(scores).any() else None

    @property
    def fits_nothing(self) -> tuple[str, ...]:
        """Animals on which no tree can work."""
        return tuple(a for a, row in zip(self.animals, self.works, strict=True) if not row.any())


def chosen(rows: Sequence[Row], share: float, failed: dict[str, str] | None = None) -> Choice:
    """Choose trees from a herd's rows.

    Parameters
    ----------
    rows : of all pairs.
    share : -, of the animals that some tree can work on, to be served by the stock.
    failed : why, by animal, where there are no rows.

    Returns
    -------
    Choice
        A scan on which nothing could be solved is no animal of it, but is among `skipped`.
    """
    solved = [row for row in rows if row.fault is None]
    animals = tuple(dict.fromkeys(row.animal for row in solved))
    trees = tuple(dict.fromkeys(row.tree for row in rows))
    at_a, at_t = ({name: k for k, name in enumerate(names)} for names in (animals, trees))
    scores = np.full((len(animals), len(trees)), math.inf)
    works = np.zeros(scores.shape, bool)
    for row in solved:
        at = at_a[row.animal], at_t[row.tree]
        scores[at] = math.inf if row.score is None else row.score
        works[at] = row.word == WORKS and row.score is not None
    return Choice(
        animals, trees, scores, works,
        faults={(r.animal, r.tree): tuple(filter(None, r.faults.split(","))) for r in solved},
        stock=fewest(scores, works, share) if works.any() else (),
        skipped=_skipped(rows, frozenset(animals)) | (failed or {}),
    )  # fmt: skip


def _skipped(rows: Sequence[Row], animals: frozenset[str]) -> dict[str, str]:
    """Why, by animal where nothing was solved on it, else by animal and tree."""
    return {
        f"{row.animal}, {row.tree}" if row.animal in animals else row.animal: row.fault
        for row in rows
        if row.fault is not None
    }
