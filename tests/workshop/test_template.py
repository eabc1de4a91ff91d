"""Workshop files measured as a bench would: printed sheets, drawings read back, solids checked."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import ezdxf
import manifold3d
import numpy as np
import pypdfium2
import pytest
import trimesh
from numpy.testing import assert_allclose

from fitsim.errors import BadSettings
from fitsim.tree.adjust import adjusted
from fitsim.tree.bar import height, inside_outline
from fitsim.tree.build import tree_from_settings
from fitsim.tree.outline import half_width
from fitsim.tree.placed import placed
from fitsim.tree.read import read_tree, settings_from
from fitsim.workshop.built import Built, built, upper
from fitsim.workshop.dimensions import dimensions
from fitsim.workshop.drawing import extent
from fitsim.workshop.lengthwise import plan, profile
from fitsim.workshop.paper import LAP, SHEETS, joins, sheets_of, window_corner, write_pdf
from fitsim.workshop.printing import RULE
from fitsim.workshop.sections import cross_section, face_angle, usual_stations
from fitsim.workshop.write import FILES, write_template

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from fitsim.tree.tree import Tree
    from fitsim.workshop.paper import Paper, Sheet

DPI = 300
PIXEL = 0.0254 / DPI


def pierced() -> Tree:
    """A tree with a pocket, a slot and a notch, which the library's have not."""
    tree = read_tree("riding-middle")
    bar = dict(tree.settings["bar"])  # type: ignore[call-overload]
    bar["pocket"] = ({"at": 0.11, "across": 0.0, "length": 0.12, "width": 0.06, "depth": 0.004},)
    bar["slot"] = ({"at": 0.25, "across": 0.0, "length": 0.06, "width": 0.02},)
    bar["notch"] = ({"at": 0.36, "edge": "outer", "length": 0.11, "depth": 0.008},)
    data = {**tree.settings, "bar": bar}
    return tree_from_settings(settings_from(data), "pierced")


@pytest.fixture(scope="module")
def made() -> Built:
    return built(pierced())


@pytest.fixture(scope="module")
def files(made: Built, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("template")
    write_template(made, folder)
    return folder


def test_all_files_are_there_and_nothing_else(files: Path) -> None:
    assert {path.name for path in files.iterdir()} == set(FILES)


def dark(page: pypdfium2.PdfPage) -> NDArray[np.bool_]:
    """What is printed, row 0 at the bottom, a pixel 1/300 inch."""
    grey = np.asarray(page.render(scale=DPI / 72.0, grayscale=True).to_pil())
    return grey[::-1] < 140


def seen(
    ink: NDArray[np.bool_], sheet: Sheet, low: tuple[float, float], high: tuple[float, float]
) -> NDArray[np.float64]:
    """Middles of inked pixels within a box of the drawing, (n, 2) m, in the drawing."""
    x, y = window_corner()
    shift = sheet.corner - np.array([x, y])
    rows, columns = np.nonzero(ink)
    place = (np.column_stack([columns, rows]) + 0.5) * PIXEL + shift
    return place[((place > low) & (place < high)).all(axis=1)]


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_printed_sheets_measure_what_the_settings_say(
    made: Built, paper: Paper, tmp_path: Path
) -> None:
    """Rasterised at 300 dpi: length, widths, thickness, spread; asked within 0.3 mm."""
    station = made.settings.arches.front.at
    drawings = [plan(made, ()), cross_section(made, station)]
    write_pdf(drawings, (), "test", paper, tmp_path / "t.pdf")
    document = pypdfium2.PdfDocument(str(tmp_path / "t.pdf"))
    sheets = [sheet for one in drawings for sheet in sheets_of(one, paper)]
    assert len(document) == len(sheets)
    ink = [dark(document[number]) for number in range(len(sheets))]
    for sheet, page in zip(sheets, ink, strict=True):
        assert_allclose(np.array(page.shape[::-1]) * PIXEL, sheet.size, atol=PIXEL)
    tolerance = 0.3e-3
    bar = made.bar
    flat = [(s, i) for s, i in zip(sheets, ink, strict=True) if s.drawing.key == "plan"]
    # The tips, off the middle line so that nothing else is there.
    off = [seen(i, s, (-1.0, 0.006), (1.0, 0.010)) for s, i in flat]
    off_tips = np.concatenate([points for points in off if len(points)])
    assert off_tips[:, 0].max() == pytest.approx(bar.front, abs=tolerance)
    assert off_tips[:, 0].min() == pytest.approx(bar.rear, abs=tolerance)
    middle = (bar.front + bar.rear) / 2.0
    points = np.concatenate(
        [seen(i, s, (middle - 1e-3, -0.06), (middle + 1e-3, 0.06)) for s, i in flat]
    )
    assert np.ptp(points[:, 1]) == pytest.approx(bar.widths[1], abs=tolerance)
    cut = [(s, i) for s, i in zip(sheets, ink, strict=True) if s.drawing.key.startswith("section")]
    # Nearest ink to either side of the middle, just above the level line: the bar's inner side
    # leans outwards there by its face's angle.
    arch = made.settings.arches.front
    above = 0.8e-3
    expected = arch.half_spread + above * np.tan(arch.angle)
    points = np.concatenate([seen(i, s, (-0.06, above), (0.06, 2 * above)) for s, i in cut])
    for sign in (-1.0, 1.0):
        side = sign * points[sign * points[:, 0] > 0.015, 0]  # beside the words on the middle line
        assert side.min() == pytest.approx(expected, abs=tolerance)


def test_check_rule_is_100_mm(made: Built, tmp_path: Path) -> None:
    write_pdf([cross_section(made, 0.1)], (), "test", "a4", tmp_path / "t.pdf")
    ink = dark(pypdfium2.PdfDocument(str(tmp_path / "t.pdf"))[0])
    band = ink[round(0.0185 / PIXEL)]  # 3.5 mm above the rule's line: only ticks of 10 mm
    columns = np.flatnonzero(band[: round(0.12 / PIXEL)])
    ticks = columns[np.concatenate([[True], np.diff(columns) > 3])]
    assert len(ticks) == 11
    assert (ticks[-1] - ticks[0]) * PIXEL == pytest.approx(RULE, abs=2 * PIXEL)


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_sheets_cover_the_drawing_and_share_their_marks(made: Built, paper: Paper) -> None:
    drawing = plan(made, ())
    sheets = sheets_of(drawing, paper)
    assert len(sheets) > 1
    low, high = extent(drawing)
    corners = np.array([sheet.corner for sheet in sheets])
    assert (corners.min(axis=0) <= low).all()
    assert ((corners + sheets[0].window).max(axis=0) >= high).all()
    assert sorted(sheets[0].size) == sorted(SHEETS[paper])
    for one, other in pairwise(sheets):
        assert other.corner[0] - one.corner[0] == pytest.approx(one.window[0] - LAP)
        mine, theirs = ({tuple(at.round(6)) for at in joins(s)} for s in (one, other))
        assert len(mine & theirs) == 2


def test_dxf_reads_back_as_the_bar(made: Built, files: Path) -> None:
    """Asked within 0.05 mm; the points are exact, chords between them add under 0.01 mm."""
    document = ezdxf.readfile(files / "templates.dxf")
    assert document.units == ezdxf.units.MM
    assert not document.audit().has_errors
    block = document.blocks["plan"]
    lines = {
        layer: [
            1e-3 * np.array([point[:2] for point in line])
            for line in block.query(f'LWPOLYLINE[layer=="{layer}"]')
        ]
        for layer in ("CUT", "SLOT", "POCKET")
    }
    (outline,), (slot,), (pocket,) = lines["CUT"], lines["SLOT"], lines["POCKET"]
    middles = (outline + np.roll(outline, 1, axis=0)) / 2.0
    for points in (outline, middles):
        off = inside_outline(made.bar, *points.T)
        assert np.abs(off).max() < 0.05e-3
    assert np.ptp(outline[:, 0]) == pytest.approx(0.56, abs=1e-5)
    assert_allclose(np.ptp(slot, axis=0), [0.06, 0.02], atol=1e-5)
    assert_allclose(np.ptp(pocket, axis=0), [0.12, 0.06], atol=1e-5)
    for name in ("profile", *(f"section-{at * 1e3:.0f}" for at in usual_stations(made))):
        assert name in document.blocks


def test_sections_lie_on_the_tree(made: Built) -> None:
    """Every point of a section is on the face it should be on, found by another way round."""
    for at in (0.06, 0.115, 0.25, 0.36):
        drawing = cross_section(made, at)
        cuts = [line.points for line in drawing.lines if line.layer == "CUT"]
        assert len(cuts) == (4 if at == 0.25 else 2)  # the slot parts each bar there
        xi = made.bar.front - at
        half = -edge_at(made, xi)
        corner = placed(
            made.T_tree_left, np.array([[xi, half, height(made.bar, *np.array([[xi], [half]]))[0]]])
        )[0]
        for cut in cuts[::2]:
            points = np.column_stack(
                [np.full(len(cut), corner[0]), -cut[:, 0], cut[:, 1] + corner[2]]
            )
            local = placed(np.linalg.inv(made.T_tree_left), points)
            below = local[:, 2] - height(made.bar, local[:, 0], local[:, 1])
            above = local[:, 2] - upper(made.bar, local[:, 0], local[:, 1])
            assert np.minimum(np.abs(below), np.abs(above)).max() < 2e-6
        nearest = min(np.abs(cut[:, 0]).min() for cut in cuts)
        assert nearest == pytest.approx(corner[1], abs=1e-5)


def edge_at(made: Built, xi: float) -> float:
    return float(half_width(np.array([xi]), made.bar.rear, made.bar.front, made.bar.widths)[0])


def test_section_at_an_arch_has_its_spread_and_angle(made: Built) -> None:
    for arch in (made.settings.arches.front, made.settings.arches.rear):
        drawing = cross_section(made, arch.at)
        cuts = np.concatenate([line.points for line in drawing.lines if line.layer == "CUT"])
        assert np.abs(cuts[:, 0]).min() == pytest.approx(arch.half_spread, abs=1e-5)
        # The section is square to the tree, the setting's angle square to the bar, which is
        # turned by 2 degrees in plan and rises along its rocker.
        assert face_angle(made, arch.at) == pytest.approx(arch.angle, abs=np.radians(0.3))


def test_a_face_has_its_angle_where_a_slot_parts_it() -> None:
    """The face's line runs along what is left of the face on both sides of the slot."""
    made, whole = built(pierced()), built(read_tree("riding-middle"))
    for at in (0.115, 0.25):
        assert face_angle(made, at) == pytest.approx(face_angle(whole, at), abs=1e-9)
        lines = [
            next(line.points for line in cross_section(one, at).lines if line.layer == "FACE")
            for one in (made, whole)
        ]
        assert_allclose(lines[0][0], lines[1][0], atol=1e-9)


def test_profile_has_the_length_the_curve_and_the_thickness(made: Built) -> None:
    bar = made.bar
    cut = [line.points for line in profile(made, ()).lines if line.layer == "CUT"]
    assert len(cut) == 2  # the slot parts it
    points = np.concatenate(cut)
    assert np.ptp(points[:, 0]) == pytest.approx(bar.length, abs=1e-6)
    for x in (-0.17, -0.13, -0.05):  # clear of pocket and slot
        beside = points[np.abs(points[:, 0] - x) < 3e-4, 1]
        assert beside.min() == pytest.approx(bar.curve * x**2 / 2.0, abs=1e-4)
        assert np.ptp(beside) == pytest.approx(bar.thickness, abs=1e-4)


@pytest.mark.parametrize("name", ["bar-left.stl", "bar-right.stl"])
def test_solid_files_are_closed_and_true(made: Built, files: Path, name: str) -> None:
    mesh = trimesh.load(files / name, force="mesh")
    assert mesh.is_volume
    solid = manifold3d.Manifold(
        manifold3d.Mesh(mesh.vertices.astype(np.float32), mesh.faces.astype(np.uint32))
    )
    assert solid.status() == manifold3d.Error.NoError
    assert solid.genus() == 1
    assert np.ptp(mesh.vertices[:, 0]) == pytest.approx(560.0, abs=0.01)
    volume = next(one.value for one in dimensions(made, ()) if one.kind == "volume")
    assert mesh.volume * 1e-9 == pytest.approx(volume, rel=2e-3)
    turn = 1.0 if name == "bar-left.stl" else -1.0
    x, y, z = (mesh.vertices * (1.0, turn, 1.0)).T
    outwards = [
        np.polyfit(y[end & (np.abs(y) < 30.0)], z[end & (np.abs(y) < 30.0)], 1)[0]
        for end in (x > 150.0, x < -150.0)
    ]
    # A bar is steeper in front: its outer side lies lower there than behind.
    assert outwards[0] < -0.03 < 0.03 < outwards[1]


def test_both_bars_stand_in_the_3mf_as_on_the_tree(made: Built, files: Path) -> None:
    scene = trimesh.load(files / "bars.3mf")
    meshes = scene.dump()
    assert len(meshes) == 2
    assert scene.units in ("mm", "millimeter")
    inner = [np.abs(mesh.vertices[:, 1]).min() for mesh in meshes]
    narrowest = 1e3 * min(made.settings.arches.front.half_spread, 1.0)
    assert_allclose(inner, inner[0], atol=1e-3)
    assert narrowest - 3.0 < inner[0] < narrowest + 1.0
    assert all(mesh.is_volume for mesh in meshes)


def test_the_same_tree_makes_the_same_pdf(made: Built, tmp_path: Path) -> None:
    for name in ("one.pdf", "two.pdf"):
        write_pdf([cross_section(made, 0.1)], (), "test", "a4", tmp_path / name)
    assert (tmp_path / "one.pdf").read_bytes() == (tmp_path / "two.pdf").read_bytes()


def test_a_wider_tree_is_drawn_wider() -> None:
    tree = read_tree("pack-fixed")
    wide = adjusted(tree, {"arches.front.inner_edge": 0.035, "arches.rear.inner_edge": 0.042})
    inner = [
        np.abs(
            np.concatenate([line.points for line in drawing.lines if line.layer == "CUT"])[:, 0]
        ).min()
        for drawing in (cross_section(built(one), 0.12) for one in (tree, wide))
    ]
    assert inner[1] - inner[0] == pytest.approx(0.010, abs=2e-5)


def test_a_station_off_the_bar_is_refused(made: Built, tmp_path: Path) -> None:
    with pytest.raises(BadSettings, match="station 600 mm: is not between the rounded ends"):
        write_template(made, tmp_path / "t", stations=(0.6,))
    assert not (tmp_path / "t").exists()
