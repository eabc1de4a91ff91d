"""Sphere on a half-space: ours against two boundary-element codes on the same grid.

Issue 4 asks for 1 % in force and peak. All three work out the same discrete problem (Love's
influence coefficients, no images), so that what they differ by is their tolerances alone.
"""

from __future__ import annotations

import numpy as np
import pytest

from fitsim.contact.levels import half_space_levels
from fitsim.contact.normal import pressed
from tests import peers


@pytest.mark.parametrize("count", [64, 128])
@pytest.mark.parametrize("code", ["aspher", "tamaas"])
def test_same_pressure_as_the_peer(code: str, count: int) -> None:
    """Peak and force to 1e-6, every cell's pressure to 1e-5 of the peak: a thousandth of 1 %."""
    solved = peers.aspher(count) if code == "aspher" else peers.tamaas(count, periodic=False)
    theirs = solved()
    ours = pressed(half_space_levels(1.0, (count, count), 1.0 / count), peers.gap(count),
                   peers.LOAD).force * count**2  # fmt: skip
    assert ours.sum() == pytest.approx(theirs.sum(), rel=1e-6)
    assert ours.max() == pytest.approx(theirs.max(), rel=1e-6)
    np.testing.assert_allclose(ours, theirs, rtol=0.0, atol=1e-5 * theirs.max())
