"""`fitsim fit --model`: told apart, refused when unknown, and the reference's whole way."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from fitsim.cli import main

ROOT = Path(__file__).resolve().parents[2]


def exit_code(arguments: list[str]) -> object:
    with pytest.raises(SystemExit) as left:
        main(arguments)
    return left.value.code


def test_unknown_model_is_a_mistake_of_use(capsys: pytest.CaptureFixture[str]) -> None:
    assert exit_code(["fit", "back.ply", "--model", "best"]) == 2
    assert "reference" in capsys.readouterr().err


@pytest.mark.slow
def test_reference_model_fits_and_says_so(tmp_path: Path) -> None:
    """Minutes: the made-up mule through every case, in balance, beside the fast model's answer."""
    scan = str(ROOT / "meshes" / "mule.ply")
    found = {}
    for model in ("fast", "reference"):
        folder = tmp_path / model
        asked = ["fit", scan, "--model", model, "--spacing", "14", "-o", str(folder)]
        assert exit_code(asked) == 0
        found[model] = json.loads((folder / "fit.json").read_text(encoding="utf-8"))
        assert found[model]["model"] == model
    for name, case in found["reference"]["cases"].items():
        assert case["equilibrium"]
        assert case["residual"] < 1e-3
        fast = found["fast"]["cases"][name]
        # what docs/validation.md says of the worst case, with a coarse chart's own 5 %
        assert case["peak_kpa"] == pytest.approx(fast["peak_kpa"], rel=0.20)
        heights = [one["pose"]["dz_mm"] for one in (case, fast)]
        assert np.ptp(heights) < 2.0
