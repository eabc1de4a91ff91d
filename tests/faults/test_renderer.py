"""A machine that cannot draw is told so before the work, not by a crash after it."""

from __future__ import annotations

import ctypes
import sys
from typing import TYPE_CHECKING

import pytest

from fitsim.cli import main
from fitsim.draw.renderer import require_renderer
from fitsim.errors import MissingSystemLibrary

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="others bring their own renderer")


class NoDriver:
    """EGL as it stands on a machine without any driver: displays exist, none starts."""

    def __init__(self, _: str) -> None:
        self.eglGetDisplay = self.Call(1)
        self.eglGetProcAddress = self.Call(0)
        self.eglInitialize = self.Call(0)

    class Call:
        def __init__(self, answer: int) -> None:
            self.answer = answer

        def __call__(self, *_: object) -> int:
            return self.answer


def no_library(name: str) -> None:
    raise OSError(f"{name}: cannot open shared object file")


@pytest.fixture(autouse=True)
def _asked_anew() -> Iterator[None]:
    require_renderer.cache_clear()
    yield
    require_renderer.cache_clear()


def test_a_machine_that_draws_passes() -> None:
    require_renderer()


@pytest.mark.parametrize(
    ("library", "fault"),
    [(no_library, r"libEGL\.so\.1 is missing"), (NoDriver, "no OpenGL driver")],
)
def test_what_is_missing_is_named(
    monkeypatch: pytest.MonkeyPatch, library: object, fault: str
) -> None:
    monkeypatch.setattr(ctypes, "CDLL", library)
    with pytest.raises(MissingSystemLibrary, match=fault + ".*apt-get install libegl1 libgl1"):
        require_renderer()


def test_it_is_said_before_the_scan_is_read(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("fitsim.draw.renderer.ctypes.CDLL", no_library)
    monkeypatch.setattr("fitsim.study.job.fitted", lambda *_: pytest.fail("it began to work"))
    with pytest.raises(SystemExit) as left:
        main(["fit", "back.ply", "-o", str(tmp_path / "out")])
    assert left.value.code == 3
    assert "apt-get install" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []
