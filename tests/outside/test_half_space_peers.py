"""Sphere on a half-space: ours against two boundary-element codes on the same grid.

Issue 4 asks for 1 % in force and peak. All three work out the same discrete problem (Love's
influence coefficients, no images), so that what they differ by is their tolerances alone.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from fitsim.contact.levels import half_space_levels
from fitsim.contact.normal import pressed
from tests import peers

if TYPE_CHECKING:
    from tests.validation.measured import Measured

PEERS = {
    "aspher": "ASPHER 0.1.3 (FFT, free space)",
    "tamaas": "Tamaas 2.9 (Polonsky and Keer, not periodic)",
}


@pytest.mark.parametrize("count", [64, 128])
@pytest.mark.parametrize("code", ["aspher", "tamaas"])
def test_same_pressure_as_the_peer(code: str, count: int, measured: Measured) -> None:
    """Peak and force to 1e-6, every cell's pressure to 1e-5 of the peak: a thousandth of 1 %."""
    solved = peers.aspher(count) if code == "aspher" else peers.tamaas(count, periodic=False)
    theirs = solved()
    ours = pressed(half_space_levels(1.0, (count, count), 1.0 / count), peers.gap(count),
                   peers.LOAD).force * count**2  # fmt: skip
    this, peer = "sphere on a half-space, 64 and 128 square:", PEERS[code]
    measured.near(f"{this} force", ours.sum(), theirs.sum(), peer, rel=1e-6, asked=0.01)
    measured.near(f"{this} peak", ours.max(), theirs.max(), peer, rel=1e-6, asked=0.01)
    off = np.abs(ours - theirs) / theirs.max()
    measured.below(f"{this} every cell, over the peak", off, 1e-5, "", peer)
