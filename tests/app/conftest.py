"""The demo mule on the bench, once for all tests of the app."""

from __future__ import annotations

import pytest

from fitsim.app.sessions import Place, placed
from fitsim.demo import demo_folder
from fitsim.study.job import ScanFile


@pytest.fixture(scope="session")
def mule() -> Place:
    return placed(ScanFile(demo_folder() / "mule.ply", "m"))
