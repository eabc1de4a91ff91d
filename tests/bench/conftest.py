"""The scan that the benches share."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from meshes.animal import MULE
from meshes.make_backs import ply_bytes
from meshes.scanner import scan as scanned
from meshes.surface import surface

if TYPE_CHECKING:
    from pathlib import Path

TRIANGLES = 250_000


@pytest.fixture(scope="session")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A made-up mule scanned three times as finely as the demo's."""
    path = tmp_path_factory.mktemp("bench") / "mule.ply"
    path.write_bytes(ply_bytes(scanned(surface(MULE), triangles=TRIANGLES, seed=5)))
    return path
