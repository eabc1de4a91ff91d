"""Preconditioned conjugate gradients for several right-hand sides at once."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    Single = NDArray[np.float32]

_MOST_STEPS = 200


def conjugate_gradients(
    apply: Callable[[Single], Single],
    precondition: Callable[[Single], Single],
    right: Single,
    guess: Single,
    tolerance: float,
) -> Single:
    """Solve ``apply(x) = right`` for a symmetric positive definite operator on a grid.

    Single precision is enough: whoever calls works out in double what is left over. The columns
    run side by side, each with its own step lengths, until the last has come down.

    Parameters
    ----------
    apply, precondition : callables
        From (c, p, q) arrays to the same.
    right : (c, p, q) array
    guess : (c, p, q) array
        Where to start.
    tolerance : float, -
        Largest size of what is left over, in the preconditioner's norm, over that of `right`.

    Returns
    -------
    (c, p, q) array

    Notes
    -----
    Ends early where rounding leaves nothing to gain (a column's remainder grows again).
    """
    x = guess.copy()
    left = right - apply(x) if guess.any() else right.copy()
    better = precondition(left)
    size = _inner(left, better)
    goal = tolerance**2 * np.abs(_inner(right, precondition(right)) if guess.any() else size)
    way = better
    for _ in range(_MOST_STEPS):
        if (size <= goal).all():
            break
        ahead = apply(way)
        share = _ratio(size, _inner(way, ahead))
        x += share * way
        left = left - share * ahead
        better = precondition(left)
        last, size = size, _inner(left, better)
        way = better + _ratio(size, last) * way
    return x


def _inner(a: Single, b: Single) -> Single:
    """Inner products (c,) of the columns."""
    product: Single = np.einsum("cpq,cpq->c", a, b)
    return product


def _ratio(above: Single, below: Single) -> Single:
    """Quotients (c, 1, 1); 0 where a column has nothing left."""
    safe = np.where(below > 0.0, below, 1.0)
    quotient: Single = np.where(below > 0.0, above / safe, 0.0).astype(np.float32)
    return quotient[:, None, None]
