"""Work for tests of a herd that takes no time: a row worked out from names alone."""

from __future__ import annotations

import os
import signal
import time
from typing import TYPE_CHECKING

from fitsim.study.herd.kept import Row
from fitsim.study.herd.plan import pairs_of
from fitsim.study.job import Job, ScanFile

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from fitsim.study.herd.plan import Pair


def herd_in(folder: Path, scans: int, trees: Sequence[str]) -> list[tuple[Pair, ...]]:
    """Pairs of scans that are files of a few letters."""
    folder.mkdir(exist_ok=True)
    files = [folder / f"animal-{k}.ply" for k in range(scans)]
    for file in files:
        if not file.exists():
            file.write_text(file.stem)
    return pairs_of([ScanFile(file) for file in files], trees, Job(ScanFile(files[0])))


def quick(pairs: Sequence[Pair]) -> list[Row]:
    """Rows that hang on nothing but the pair."""
    return [
        Row(one.key, one.animal, str(one.job.tree), "can work", score=int(one.key[:6], 16) / 7.0)
        for one in pairs
    ]


def slow(pairs: Sequence[Pair]) -> list[Row]:
    """The same, leaving time to be killed, and saying which process is at it."""
    folder = pairs[0].job.scan.path.parent
    (folder / f"{pairs[0].animal}.{os.getpid()}.began").touch()
    time.sleep(0.4)
    return quick(pairs)


def deadly(pairs: Sequence[Pair]) -> list[Row]:
    """One animal ends the process that reads it, as running out of memory does."""
    if pairs[0].animal == "animal-1":
        os.kill(os.getpid(), signal.SIGKILL)
    return slow(pairs)


def failing(pairs: Sequence[Pair]) -> list[Row]:
    """A fault of the program on one animal."""
    if pairs[0].animal == "animal-1":
        raise ZeroDivisionError("a made-up slip")
    return quick(pairs)
