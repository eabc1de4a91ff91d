"""Filled holes in the turning view, in a real browser."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from fitsim.app.sessions import placed
from fitsim.report.scan_file import write_scan
from fitsim.scan.read import read_scan
from fitsim.study.job import ScanFile
from tests.app.test_browser import CHROMIUM, opened

if TYPE_CHECKING:
    from pathlib import Path

    from fitsim.app.sessions import Place

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="Chromium is not installed")


@pytest.mark.slow
def test_a_filled_hole_is_crossed_under_the_pressure(mule: Place, tmp_path: Path) -> None:
    """The view's picture changes with the holes it is told of, where a bar presses."""
    scan, back = read_scan(mule.file.path, unit="m"), mule.bench.back
    body = scan.vertices @ back.T_body_scan[:3, :3].T + back.T_body_scan[:3, 3]
    chart = back.chart
    node = np.abs(chart.x + 0.24).argmin(), np.abs(chart.t - 0.09).argmin()
    gone = np.linalg.norm(body - chart.points[node], axis=1) < 0.035
    kept = ~gone[scan.triangles].any(axis=1)
    write_scan(replace(scan, triangles=scan.triangles[kept]), tmp_path / "holed.ply")
    with opened(placed(ScanFile(tmp_path / "holed.ply", "m"))) as (page, said):
        page.wait_for_timeout(2000)
        differ = page.evaluate(
            "() => { const view = bench.views[0], holes = view.skinLook.uniforms.holes.value;"
            " const shown = () => { view.draw(); return view.renderer.domElement.toDataURL(); };"
            " const crossed = shown(); holes.image.data.fill(0); holes.needsUpdate = true;"
            " return [crossed !== shown(), holes.image.data.length]; }"
        )
        assert differ[0]
        assert differ[1] == 4 * mule.bench.back.chart.valid.size
        assert "filled" in page.inner_text("main")
        assert said == []
