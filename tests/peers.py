"""Two contact codes of others on a sphere and a half-space: the same grid, load and tolerance.

Lengths are in the side of the square, pressures in the contact modulus. Each function skips the
test that calls it where the code is not installed (tests/bench/requirements.txt).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    Array = NDArray[np.float64]
    Solved = Callable[[], Array]

RADIUS, CONTACT = 1.0, 0.3  # of the sphere and of Hertz's patch
LOAD = 4.0 / 3.0 * CONTACT**3 / RADIUS
TOLERANCE = 1e-8


def gap(count: int) -> Array:
    """Clearance (count, count) under the sphere at the cells' middles."""
    x = (np.arange(count) + 0.5) / count - 0.5
    return (x[:, None] ** 2 + x**2) / (2.0 * RADIUS)


def aspher(count: int) -> Solved:
    """ASPHER: nested grids, spectral preconditioner, FFT convolution."""
    code = pytest.importorskip("aspher", reason="the peer code aspher is not installed")
    open_gap = gap(count).ravel()

    def solved() -> Array:
        found = code.solve_nested(count, open_gap, LOAD, coarsest=16, tol=TOLERANCE, backend="fft")
        assert found.status == "converged"
        return np.asarray(found.pressure).reshape(count, count)

    return solved


def tamaas(count: int, *, periodic: bool) -> Solved:
    """Tamaas (Frerot et al. 2020, doi:10.21105/joss.02121): Polonsky and Keer's method.

    Periodic is its default and its fastest; not periodic, by discrete convolution, is the same
    problem as ours.
    """
    code = pytest.importorskip("tamaas", reason="the peer code tamaas is not installed")
    code.set_log_level(code.LogLevel.error)
    code.initialize(1)
    surface = -gap(count)

    def solved() -> Array:
        model = code.ModelFactory.createModel(code.model_type.basic_2d, [1.0, 1.0], [count, count])
        model.E, model.nu = 1.0, 0.0
        solver = code.PolonskyKeerRey(model, surface, TOLERANCE)
        if not periodic:
            code.ModelFactory.registerNonPeriodic(model, "dcfft")
            solver.setIntegralOperator("dcfft")
        assert solver.solve(LOAD) <= TOLERANCE
        return np.array(model.traction)

    return solved
