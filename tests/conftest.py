"""What every test stands on: no screen, a fixed seed, and native errors that fail."""

from __future__ import annotations

import os
import random
from pathlib import Path
from typing import TYPE_CHECKING

# Before VTK is imported by anyone: without a screen it first tries X and warns
os.environ.setdefault("VTK_DEFAULT_OPENGL_WINDOW", "vtkEGLRenderWindow")
os.environ["PYVISTA_OFF_SCREEN"] = "true"

import hypothesis
import numpy as np
import pytest

from tests.validation.kept import Keeper
from tests.validation.measured import Measured

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

SEED = 20240229
ROOT = Path(__file__).resolve().parents[1]

# A shared two-core machine makes single examples slow at random: time is measured in tests/bench
hypothesis.settings.register_profile("fitsim", deadline=None, derandomize=True)
hypothesis.settings.load_profile("fitsim")


@pytest.fixture(autouse=True)
def _same_every_time() -> None:
    """Tests that draw numbers without a generator of their own still repeat."""
    random.seed(SEED)
    np.random.seed(SEED)  # noqa: NPY002 - libraries may use the old global generator


@pytest.fixture(autouse=True)
def _native_errors_fail() -> Iterator[None]:
    """VTK writes its errors to a log and goes on; a test in which it did so fails."""
    import sys

    if "vtkmodules.vtkCommonCore" not in sys.modules:
        yield
        return
    from vtkmodules.vtkCommonCore import vtkOutputWindow, vtkStringOutputWindow

    usual, heard = vtkOutputWindow.GetInstance(), vtkStringOutputWindow()
    vtkOutputWindow.SetInstance(heard)
    yield
    vtkOutputWindow.SetInstance(usual)
    assert not heard.GetOutput(), heard.GetOutput()


def pytest_addoption(parser: pytest.Parser) -> None:
    """`--figures FILE`, see tests/validation."""
    words = "run the tests that measure against a source, and keep what they measured in FILE"
    parser.addoption("--figures", metavar="FILE", help=words)


def pytest_configure(config: pytest.Config) -> None:
    """Keep figures where asked; of several processes the one that gathers does it."""
    if (file := config.getoption("figures")) and not hasattr(config, "workerinput"):
        config.pluginmanager.register(Keeper(Path(file)))


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Where figures are asked for, tests that measure none are left out."""
    if config.getoption("figures"):
        items[:] = [one for one in items if "measured" in getattr(one, "fixturenames", ())]


@pytest.fixture
def measured(record_property: Callable[[str, object], None]) -> Measured:
    """Asserts a figure against its limit and keeps both for docs/validation.md."""
    return Measured(record_property)


@pytest.fixture
def rng() -> np.random.Generator:
    """Random numbers, the same in every run."""
    return np.random.default_rng(SEED)


@pytest.fixture(scope="session")
def borrowed() -> Path:
    """Folder of geometry that no one here made; it lies beside the checkout, not in it."""
    folder = ROOT.parent / "shared" / "meshes"
    if not (folder / "horse-scan.ply").is_file():
        pytest.skip("the borrowed scans (../shared/meshes) are not on this machine")
    return folder
