"""How long a book of 10,000 fits takes to list and to search."""

from __future__ import annotations

import time
from datetime import timedelta
from typing import TYPE_CHECKING

import pytest

from fitsim.book import keeping
from fitsim.book.file import book
from tests.book.test_book import NOON, result

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from sqlalchemy.orm import Session

pytestmark = pytest.mark.bench

PROMISE_S = 0.2
"""From the file opened to the records read; processor seconds: other work adds less to them."""

ASKED: dict[str, Callable[[Session], int]] = {
    "fits listed": lambda session: len(keeping.fits_of(session)),
    "fits of one animal": lambda session: len(keeping.fits_of(session, "Mule 3")),
    "animals listed": lambda session: len(keeping.search(session)),
    "animals searched": lambda session: len(keeping.search(session, "grey")),
    "time line of one animal": lambda session: len(keeping.timeline(session, "Mule 3")),
}


@pytest.fixture(scope="module")
def full(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a book of 100 animals with 100 fits each."""
    file = tmp_path_factory.mktemp("book") / "b.sqlite"
    with book(file) as session:
        for number in range(100):
            keeping.add_animal(session, f"Mule {number}", note="grey" if number % 7 == 0 else "")
            for k in range(100):
                made = NOON + timedelta(days=k)
                keeping.add_fit(session, f"Mule {number}", result(), made=made)
    return file


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ("fits listed", 200),
        ("fits of one animal", 100),
        ("animals listed", 100),
        ("animals searched", 15),
        ("time line of one animal", 100),
    ],
)
def test_ten_thousand_fits_are_answered_at_once(full: Path, asked: str, found: int) -> None:
    took = []
    for _ in range(5):
        started = time.process_time()
        with book(full) as session:
            assert ASKED[asked](session) == found
        took.append(time.process_time() - started)
    assert max(took) < PROMISE_S
