"""Was it right: on simulated days whose truth is known."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy.special import expit

from fitsim.book import keeping
from fitsim.book.file import book
from fitsim.book.right import LITERATURE, estimated, judged, right_lines, was_it_right
from tests.book.test_book import result

if TYPE_CHECKING:
    from pathlib import Path


def days(count: int, threshold: float, width: float, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Made-up days: pressures spread widely, trouble drawn from a logistic curve."""
    rng = np.random.default_rng(seed)
    pressure = rng.uniform(5e3, 60e3, count)
    return pressure, rng.random(count) < expit((pressure - threshold) / width)


@pytest.mark.parametrize("threshold", [18e3, 35e3])
def test_a_hidden_threshold_is_recovered_from_many_days(threshold: float) -> None:
    found, width = estimated(*days(4000, threshold, 5e3, seed=3))
    # the standard error of a logistic threshold here is about 0.3 kPa
    assert found == pytest.approx(threshold, abs=1e3)
    assert width == pytest.approx(5e3, rel=0.15)


def test_days_move_the_literature_by_what_they_carry() -> None:
    nothing = np.empty(0), np.empty(0, dtype=bool)
    assert estimated(*nothing) == pytest.approx(LITERATURE, rel=1e-3)
    few, _ = estimated(*days(6, 45e3, 5e3, seed=3))
    many, _ = estimated(*days(2000, 45e3, 5e3, seed=3))
    assert LITERATURE[0] < few < many == pytest.approx(45e3, rel=0.03)
    twelve = judged("spine", *days(12, 26e3, 7e3, seed=1))
    assert twelve.auc is None
    assert not twelve.moved
    assert (twelve.threshold, twelve.width) == LITERATURE


def test_likelihoods_of_the_truth_are_reliable() -> None:
    right = judged("spine", *days(4000, 26e3, 7e3, seed=5))
    assert right.reliability is not None
    # 800 days a bin: a share's standard error is below 0.018
    assert right.reliability.seen == pytest.approx(right.reliability.foreseen, abs=0.05)
    assert right.brier is not None
    assert right.brier < 0.15


def test_a_number_that_says_nothing_is_a_coin() -> None:
    rng = np.random.default_rng(7)
    right = judged("spine", rng.uniform(5e3, 60e3, 400), rng.random(400) < 0.3)
    assert right.auc is not None
    assert right.auc_low is not None
    assert right.auc_high is not None
    assert right.auc_low < 0.5 < right.auc_high
    assert right.auc == pytest.approx(0.5, abs=0.1)


def test_the_book_is_held_against_itself(tmp_path: Path) -> None:
    pressure, trouble = days(40, 26e3, 3e3, seed=2)
    with book(tmp_path / "b.sqlite") as session:
        keeping.add_animal(session, "Mule")
        for k, (p, bad) in enumerate(zip(pressure, trouble, strict=True)):
            made = datetime(2026, 1, 1) + timedelta(days=k)  # noqa: DTZ001 - the user's own clock
            # the blades carry half the peak in a made-up result
            fit = keeping.add_fit(session, "Mule", result(2e-3 * p), made=made)
            patches = [("scapula_left", "dry" if bad else "even")]
            day = date(2026, 1, 1) + timedelta(days=k)
            keeping.add_seen(session, "Mule", on=day, patches=patches, fit=fit.id)
    with book(tmp_path / "b.sqlite") as session:
        blades, pockets, _ = found = was_it_right(session)
    assert (blades.days, blades.troubled) == (40, int(trouble.sum()))
    assert blades.auc is not None
    assert blades.auc > 0.9
    assert pockets.troubled == 0
    assert pockets.auc is None
    text = "\n".join(right_lines(found))
    assert "By this book" in text
    assert "Too few to say" in text
