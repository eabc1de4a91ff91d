"""Where a score is least, asked for by generations so that each can be tried on all cores."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Callable

Array = NDArray[np.float64]

GENERATION = 12
# A generation whose best differ by less than this share of the score has arrived.
_ARRIVED = 1e-3


def descend(
    scores: Callable[[Array], Array], start: Array, budget: int, seed: int, reach: float
) -> None:
    """Look for the least score within the unit cube.

    Parameters
    ----------
    scores : callable
        Scores of (m, k) points; `inf` where there is none. What it was asked for is the caller's to
        keep.
    start : (k,) array
        Where to begin.
    budget : int
        Points at most.
    seed : int
        The same seed and scores ask for the same points.
    reach : float
        Standard deviation of the first generation.

    Notes
    -----
    Covariance matrix adaptation (Hansen 2016, arXiv:1604.00772), which needs no gradient and hangs
    on the order of the scores alone, so that points without a score do no harm.
    """
    import cma

    rng = np.random.default_rng(seed)
    options: dict[str, Any] = {
        "bounds": [0.0, 1.0],
        "popsize": GENERATION,
        "maxfevals": budget,
        "tolfun": _ARRIVED,
        "tolx": 1e-3,
        "verbose": -9,
        "seed": np.nan,
        "randn": lambda *shape: rng.standard_normal(shape),
    }
    strategy = cma.CMAEvolutionStrategy(np.clip(start, 0.02, 0.98), reach, options)
    while not strategy.stop():
        points = strategy.ask()
        found = scores(np.array(points))
        worst = found[np.isfinite(found)].max(initial=1.0)
        strategy.tell(points, np.where(np.isfinite(found), found, 10.0 * worst).tolist())
