"""The command line keeps its promises: exit codes, one sentence, no traceback, nothing left."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from typing import TYPE_CHECKING

import pytest

from fitsim.cli import main
from fitsim.errors import BadScan
from tests.build import small_fitset

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from fitsim.study.fit import FitSet

HEAVY = ("scipy", "open3d", "pyvista", "vtk", "trimesh", "pydantic", "matplotlib", "PIL", "numpy")
CASES = ("front", "rear", "both", "rider")


def exit_code(arguments: Sequence[str]) -> int:
    with pytest.raises(SystemExit) as left:
        main(arguments)
    assert isinstance(left.value.code, int)
    return left.value.code


@pytest.fixture
def result(monkeypatch: pytest.MonkeyPatch) -> list[FitSet]:
    """Replace the solution by what the test puts in the list; the files are really written."""
    results: list[FitSet] = []
    monkeypatch.setattr("fitsim.study.job.fitted", lambda *_: results[0])
    return results


@pytest.fixture
def undrawn(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave out the pictures and the page, which other tests look at."""
    monkeypatch.setattr("fitsim.report.write.draw_cases", lambda *_, **__: {})
    monkeypatch.setattr(
        "fitsim.report.write.write_report", lambda _, path, **__: path.write_text("a page")
    )


@pytest.mark.parametrize("command", [[], ["fit"], ["scan"], ["demo"]])
def test_help_shows_an_example(command: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert exit_code([*command, "--help"]) == 0
    assert "fitsim " + " ".join(command) in capsys.readouterr().out.split("Options")[0]


def test_help_imports_nothing_heavy() -> None:
    """What makes the program start fast, whatever the machine's speed."""
    ask = (
        "import sys, contextlib, fitsim.cli\n"
        "with contextlib.suppress(SystemExit): fitsim.cli.main(['--help'])\n"
        f"print([name for name in {HEAVY} if name in sys.modules])"
    )
    run = subprocess.run([sys.executable, "-c", ask], capture_output=True, text=True, check=True)
    assert run.stdout.splitlines()[-1] == "[]"


@pytest.mark.bench
def test_help_takes_less_than_half_a_second() -> None:
    began = time.perf_counter()
    subprocess.run([sys.executable, "-m", "fitsim", "--help"], capture_output=True, check=True)
    assert time.perf_counter() - began < 0.5


@pytest.mark.parametrize(
    "arguments",
    [
        ["gallop"],
        ["fit"],
        ["fit", "back.ply", "--unit", "furlong"],
        ["fit", "back.ply", "--spacing", "wide"],
        ["fit", "back.ply", "--at", "3 kg"],
        ["scan", "back.ply", "--withers-height", "nan"],
        ["demo", "--units", "cubit"],
    ],
)
def test_usage_is_2(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert exit_code(arguments) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert "Traceback" not in said.err


@pytest.mark.parametrize("command", ["fit", "scan"])
def test_bad_input_is_3_and_one_sentence(
    command: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    assert exit_code([command, "missing.ply"]) == 3
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
    assert "missing.ply" in said.err
    assert list(tmp_path.iterdir()) == []


def test_bad_input_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    assert exit_code(["scan", "missing.ply", "--json"]) == 3
    said = json.loads(capsys.readouterr().out)
    assert said["exit_code"] == 3
    assert said["error"].keys() == {"where", "fault", "mend"}


def test_a_file_in_the_way_is_said_before_the_work(
    tmp_path: Path, result: list[FitSet], capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "out").write_text("mine")
    assert exit_code(["fit", "back.ply", "-o", str(tmp_path / "out")]) == 3
    assert "file is in the way" in capsys.readouterr().err
    assert (tmp_path / "out").read_text() == "mine"
    assert result == []


def test_fit_writes_all_it_promises(
    tmp_path: Path, result: list[FitSet], capsys: pytest.CaptureFixture[str]
) -> None:
    result.append(small_fitset(unstable=("front",)))
    assert exit_code(["fit", "back.ply", "-o", str(tmp_path / "new" / "out")]) == 0
    written = {file.name for file in (tmp_path / "new" / "out").iterdir()}
    pictures = {f"{name}.png" for name in CASES}
    assert written == pictures | {"report.html", "fit.json", "pressure.vtp", "nodes.csv"}
    assert [folder.name for folder in tmp_path.iterdir()] == ["new"]
    said = capsys.readouterr().out
    assert "Front cinch only" in said
    assert "tips forward" in said
    assert "veterinarian" in said
    timing = json.loads((tmp_path / "new" / "out" / "fit.json").read_text())["timing_s"]
    assert {"read", "back", "cases", "pictures", "report"} <= timing.keys()


@pytest.mark.usefixtures("undrawn")
def test_json_on_standard_output_is_the_contract(
    tmp_path: Path, result: list[FitSet], capsys: pytest.CaptureFixture[str]
) -> None:
    result.append(small_fitset())
    assert exit_code(["fit", "back.ply", "--json", "-o", str(tmp_path)]) == 0
    assert json.loads(capsys.readouterr().out) == json.loads((tmp_path / "fit.json").read_text())


@pytest.mark.usefixtures("undrawn")
def test_no_equilibrium_is_4_only_when_every_case_fails(
    tmp_path: Path, result: list[FitSet], capsys: pytest.CaptureFixture[str]
) -> None:
    result.append(small_fitset(unstable=CASES))
    assert exit_code(["fit", "back.ply", "-o", str(tmp_path)]) == 4
    said = capsys.readouterr().err
    assert "under no case" in said
    assert "--at" in said
    assert (tmp_path / "report.html").is_file()


@pytest.mark.usefixtures("undrawn")
@pytest.mark.parametrize(
    ("stop", "code"),
    [(KeyboardInterrupt(), 130), (BadScan("back.ply", "it is torn", "scan again"), 3)],
)
def test_stopped_while_writing_leaves_the_old_results(
    tmp_path: Path,
    result: list[FitSet],
    monkeypatch: pytest.MonkeyPatch,
    stop: BaseException,
    code: int,
) -> None:
    def fails(*_: object, **__: object) -> None:
        raise stop

    result.append(small_fitset())
    (tmp_path / "fit.json").write_text("old")
    monkeypatch.setattr("fitsim.report.write.write_contract", fails)
    assert exit_code(["fit", "back.ply", "-o", str(tmp_path)]) == code
    assert [file.name for file in tmp_path.iterdir()] == ["fit.json"]
    assert (tmp_path / "fit.json").read_text() == "old"
