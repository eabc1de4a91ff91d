"""How long a stride takes once a tree is laid on a back."""

from __future__ import annotations

import time

import pytest

from fitsim.study.stride import stride
from tests.fits import back_of
from tests.strides import laid_on

pytestmark = pytest.mark.bench

PROMISE_S = 3.0
"""For 48 moments with a rider at 2,000 nodes; processor seconds: other work adds less to them."""


@pytest.mark.parametrize("gait", ["walk", "trot"])
def test_a_stride_of_48_moments_with_a_rider(gait: str) -> None:
    """On a grid of 14 mm, which has more than the 2,000 nodes promised for."""
    back, on = back_of("mule"), laid_on("mule")
    assert back.chart.valid.sum() > 2000
    stride(back, on.problem.tree, gait, phases=8, on=on)  # what is worked out once, is now
    took = []
    for _ in range(2):
        started = time.process_time()
        followed = stride(back, on.problem.tree, gait, phases=48, on=on)
        took.append(time.process_time() - started)
        assert followed.stays
    assert min(took) < PROMISE_S
