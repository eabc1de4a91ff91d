"""How long a cinch map takes once a tree is laid on a back."""

from __future__ import annotations

import time

import pytest

from fitsim.rig.read import read_load, read_rig
from fitsim.study.cinch_map import cinch_map
from fitsim.study.laid import laid
from fitsim.tree.read import read_tree
from tests.fits import back_of

pytestmark = pytest.mark.bench

PROMISE_S = 10.0
"""For 15 x 15 at 2,000 nodes: 5 s on two cores; processor seconds, since other work adds less."""


def test_a_map_of_15_by_15() -> None:
    back = back_of("mule", 0.020)
    on = laid(back, read_tree("riding-middle"))
    started = time.process_time()
    found = cinch_map(back, on, read_rig(), read_load("none"), processes=1)
    assert time.process_time() - started < PROMISE_S
    assert found.stays.all()
