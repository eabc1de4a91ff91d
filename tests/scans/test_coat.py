"""A coat that is told: the surface, what is marked on it, what is said, and what is refused."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import jsonschema
import numpy as np
import pytest
import trimesh
from scipy.spatial import cKDTree

from fitsim.back.back import Back
from fitsim.back.coat import DEEPEST, Coat, coat_told
from fitsim.back.mirror import mirrored
from fitsim.back.quality import noise_sd, quality_of
from fitsim.cli import main
from fitsim.demo import demo_folder
from fitsim.errors import BadSettings
from fitsim.report.contract import contract
from fitsim.report.html import page
from fitsim.report.quality_lines import card_facts, card_lines
from fitsim.report.summary import fit_lines
from fitsim.scan.read import read_scan
from fitsim.study.confidence import _rescanned
from tests.build import small_fitset

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.scan.scan import Scan

WINTER = 0.020  # m, told; 17 mm are taken off
SAME_SURFACE = 0.2e-3  # m, at 95 % of the places: a tenth of a good scan's noise
SCHEMA = json.loads(
    (Path(__file__).parents[2] / "docs" / "fit.schema.json").read_text(encoding="utf-8")
)


@pytest.fixture(scope="module")
def scan() -> Scan:
    return read_scan(demo_folder() / "mule.ply", unit="m")


@pytest.fixture(scope="module")
def bare(scan: Scan) -> Back:
    return Back.from_scan(scan)


@pytest.fixture(scope="module")
def coated(scan: Scan) -> Back:
    return Back.from_scan(scan, coat=WINTER)


def in_scan(back: Back, places: NDArray[np.float64]) -> NDArray[np.float64]:
    """Places of the body frame, in the scan's."""
    T = np.linalg.inv(back.T_body_scan)
    return np.asarray(places @ T[:3, :3].T + T[:3, 3])


def inside(of: Back, back: Back, places: NDArray[np.float64]) -> NDArray[np.float64]:
    """How far places on one back lie inside the surface of another, along its normals, m."""
    chart = of.chart
    surface = in_scan(of, chart.points[chart.valid])
    normals = chart.normals[chart.valid] @ of.T_body_scan[:3, :3]
    at = in_scan(back, places)
    near = cKDTree(surface).query(at)[1]
    return np.einsum("ij,ij->i", surface[near] - at, normals[near])


def haired(scan: Scan) -> Scan:
    """The scan as it would be with the winter coat on."""
    mesh = trimesh.Trimesh(scan.vertices, scan.triangles, process=False)
    return replace(scan, vertices=scan.vertices + Coat(WINTER).allowance * mesh.vertex_normals)


def under_a_tree(back: Back) -> NDArray[np.float64]:
    chart = back.chart
    return chart.points[chart.valid & (np.abs(chart.t) < 0.25)]


def test_the_surface_lies_by_the_allowance_inside(bare: Back, coated: Back) -> None:
    off = inside(bare, coated, under_a_tree(coated)) - Coat(WINTER).allowance
    assert np.percentile(np.abs(off), 95) < SAME_SURFACE
    assert np.abs(off).max() < 5e-4  # the ridge over the spine is sharper than the grid carries
    # The frame is the scan's; only its origin came down with the spine line, by a little more than
    # the allowance where the spine line falls.
    moved = coated.T_body_scan @ np.linalg.inv(bare.T_body_scan)
    np.testing.assert_allclose(moved[:3, :3], np.eye(3), atol=1e-12)
    assert Coat(WINTER).allowance < moved[2, 3] < Coat(WINTER).allowance + 0.002
    middle = np.abs(coated.chart.x).argmin(), len(coated.chart.t) // 2
    assert abs(coated.chart.points[middle][2]) < 5e-4


def test_a_skin_that_is_known_is_found_again_under_hair(scan: Scan, bare: Back) -> None:
    """Hair that a load presses to 3 of 20 mm hides a skin that lies 17 mm below what is scanned."""
    found = Back.from_scan(haired(scan), coat=WINTER)
    off = inside(bare, found, under_a_tree(found))
    # Corners' normals of a noisy mesh are off: 17 mm times 1 - cos 8 degrees is 0.17 mm
    assert abs(np.median(off)) < 0.15e-3
    assert np.percentile(np.abs(off), 95) < 0.3e-3


@pytest.mark.slow
def test_without_a_word_of_its_coat_a_back_is_too_big(scan: Scan, bare: Back) -> None:
    thick = Back.from_scan(haired(scan))
    assert np.median(inside(bare, thick, under_a_tree(thick))) == pytest.approx(-0.017, abs=5e-4)


def test_girth_shrinks_all_round(bare: Back, coated: Back) -> None:
    """Straps lie on pressed hair too: both sides come in."""
    both = zip(bare.barrel.sections, coated.barrel.sections, strict=True)
    narrower = [np.ptp(one[:, 0]) - np.ptp(other[:, 0]) for one, other in both]
    # 0.5 mm: corners of a polygon of 72
    assert np.median(narrower) == pytest.approx(2.0 * Coat(WINTER).allowance, abs=5e-4)


def test_no_coat_is_bit_for_bit_none(scan: Scan, bare: Back) -> None:
    told = Back.from_scan(scan, coat=0.0)
    assert told.coat == Coat(0.0)
    for name in ("points", "normals", "area", "curvature", "valid", "filled"):
        assert (getattr(told.chart, name) == getattr(bare.chart, name)).all()
    assert (told.T_body_scan == bare.T_body_scan).all()
    assert all((told.marks[name].points == mark.points).all() for name, mark in bare.marks.items())
    pairs = zip(told.barrel.sections, bare.barrel.sections, strict=True)
    assert all((one == other).all() for one, other in pairs)


@pytest.mark.slow
def test_a_mirrored_scan_gives_the_mirrored_skin(scan: Scan, coated: Back) -> None:
    flipped = replace(
        scan, vertices=scan.vertices * [1.0, 1.0, -1.0], triangles=scan.triangles[:, ::-1]
    )
    again, known = Back.from_scan(flipped, coat=WINTER), mirrored(coated)
    rows = min(len(again.chart.x), len(known.chart.x))
    both = again.chart.valid[:rows] & known.chart.valid[:rows] & (np.abs(again.chart.t) < 0.25)
    gap = again.chart.points[:rows] - known.chart.points[:rows]
    off = (gap * known.chart.normals[:rows]).sum(axis=-1)[both]
    assert np.percentile(np.abs(off), 95) < 0.5e-3  # as of a mirrored scan without a coat
    assert known.coat == again.coat == Coat(WINTER)


def test_marks_come_down_with_the_skin(scan: Scan, bare: Back, coated: Back) -> None:
    chart = bare.chart
    node = np.abs(chart.x + 0.30).argmin(), np.abs(chart.t - 0.12).argmin()
    on_hair = {"sore_left": in_scan(bare, chart.points[node][None])}
    on_hair["last_rib_left"] = in_scan(bare, chart.points[node[0], node[1] : node[1] + 5])
    found = Back.from_scan(scan, on_hair, coat=WINTER)
    for name in on_hair:
        down = inside(bare, found, found.marks[name].points)
        np.testing.assert_allclose(down, Coat(WINTER).allowance, atol=2e-4)
    # What is pointed at on the skin as drawn stays where it was pointed at.
    at = coated.chart.points[node][None]
    again = Back.from_scan(scan, {"sore_left": in_scan(coated, at)}, coat=WINTER)
    np.testing.assert_allclose(again.marks["sore_left"].points, at, atol=2e-4)


def test_the_scans_noise_is_that_of_the_scan(scan: Scan, bare: Back, coated: Back) -> None:
    plain, hairy = noise_sd(scan, bare), noise_sd(scan, coated)
    assert plain is not None
    assert hairy == pytest.approx(plain, rel=0.05)  # the same points about the same surface


def test_the_card_says_whether_a_coat_was_told(scan: Scan, coated: Back) -> None:
    told = quality_of(scan, coated)
    silent = replace(told, coat=None)
    lines = "\n".join(card_lines(silent))
    assert "Coat: not told" in lines
    assert "--coat" in lines
    assert card_facts(silent)["coat"] is None
    lines = "\n".join(card_lines(told))
    assert "Coat: told to stand 20 mm deep; the back lies 17 mm inside what was scanned" in lines
    assert card_facts(told)["coat"] == {
        "standing_mm": 20.0, "allowance_mm": 17.0, "allowance_sd_mm": pytest.approx(2.56, abs=0.01)
    }  # fmt: skip
    assert "0.79 in deep" in "\n".join(card_lines(told, "inch"))
    traced = replace(silent, traced=True)
    assert "the tracing curve lay on pressed hair" in "\n".join(card_lines(traced))


def test_results_tell_it_and_keep_their_contract() -> None:
    fitset = small_fitset()
    assert "coat" not in contract(fitset)["back"]  # type: ignore[operator]
    assert "Coat: not told" in page(fitset, pictures={})
    told = replace(fitset, back=replace(fitset.back, coat=Coat(WINTER)))
    document = contract(told)
    assert list(jsonschema.Draft202012Validator(SCHEMA).iter_errors(document)) == []
    assert document["back"]["coat"]["allowance_mm"] == 17.0  # type: ignore[index]
    assert "told to stand 20 mm deep" in page(told, pictures={})
    assert "told to stand 20 mm deep" in "\n".join(fit_lines(told))


def test_plausible_backs_know_the_coat_no_better_than_it_is_known() -> None:
    back = small_fitset().back
    coat = Coat(WINTER)
    hairy = replace(back, coat=coat)
    one, other = (_rescanned(hairy, np.random.default_rng(1), hair) for hair in (0.0, 2.0))
    out = (other.chart.points - one.chart.points)[back.chart.valid]
    along = np.einsum("ij,ij->i", out, back.chart.normals[back.chart.valid])
    np.testing.assert_allclose(along, 2.0 * coat.sd, atol=1e-12)
    plain = _rescanned(back, np.random.default_rng(1))
    waves = [
        np.linalg.norm(new.chart.points - back.chart.points, axis=-1).std() for new in (plain, one)
    ]
    assert waves[1] == pytest.approx(np.hypot(0.0015, coat.waves) / 0.0015 * waves[0])


@pytest.mark.parametrize(
    "standing", [-0.005, -1e-9, 2e-5, DEEPEST + 0.001, 20.0, float("nan"), float("inf")]
)
def test_what_no_coat_has_is_refused(standing: float) -> None:
    with pytest.raises(BadSettings, match="is no depth of hair; give in mm"):
        Coat(standing)


def test_a_traced_back_has_no_coat_to_take_off() -> None:
    lofted = ("Lofted from 7 tracings about 75 mm apart: between them",)
    with pytest.raises(BadSettings, match=r"lay on pressed hair; leave it out"):
        coat_told(WINTER, "traced.csv", lofted)
    assert coat_told(None, "traced.csv", lofted) is None
    assert coat_told(0.0, "traced.csv", lofted) == Coat(0.0)


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["scan", "mule.ply", "--coat", "-5"], "the coat: -5 mm is no depth of hair"),
        (["fit", "mule.ply", "--coat", "6 in"], "the coat: 152.4 mm is no depth of hair"),
        (["change", "a.ply", "b.ply", "--coat", "20"], "give --coat-after too"),
        (["change", "a.ply", "b.ply", "--coat-after", "3"], "give --coat too"),
        (
            ["compare", "a.ply", "b.ply", "--tree", "riding-middle", "--coat-on", "c.ply", "20"],
            "--coat-on c.ply: is none of the scans compared",
        ),
        (
            ["compare", "a.ply", "riding-narrow", "riding-wide", "--coat-on", "a.ply", "20"],
            "--coat-on: is for several scans",
        ),
    ],
)
def test_the_command_line_refuses_before_it_reads(
    arguments: list[str], sentence: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        main(arguments)
    assert ended.value.code == 3
    assert sentence in capsys.readouterr().err
