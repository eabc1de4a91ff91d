"""Every kind of file gives the same trunk in metres."""

from __future__ import annotations

import base64
import json
from typing import TYPE_CHECKING

import numpy as np
import pytest
import trimesh
from scipy.spatial import cKDTree

from fitsim.scan.open3d_loader import open3d
from fitsim.scan.read import read_scan
from tests.trunk import trunk

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from fitsim.scan.scan import Scan

SINGLE = 1e-6  # m; 32-bit numbers at 1.4 m step by 1e-7
TEXT = 2e-6  # m; six decimals are written


def _mesh(file_type: str, **options: object) -> Callable[[Path, trimesh.Trimesh], None]:
    return lambda path, mesh: path.write_bytes(_bytes(mesh.export(file_type=file_type, **options)))


def _bytes(content: str | bytes) -> bytes:
    return content.encode() if isinstance(content, str) else content


def _gltf_with_buffer_beside(path: Path, mesh: trimesh.Trimesh) -> None:
    for name, content in mesh.export(file_type="gltf").items():
        (path if name.endswith(".gltf") else path.parent / name).write_bytes(content)


def _gltf_with_buffer_inside(path: Path, mesh: trimesh.Trimesh) -> None:
    files = mesh.export(file_type="gltf")
    tree = json.loads(files["model.gltf"])
    for buffer in tree["buffers"]:
        text = base64.b64encode(files[buffer["uri"]]).decode()
        buffer["uri"] = f"data:application/octet-stream;base64,{text}"
    path.write_text(json.dumps(tree))


MESHES = {
    "binary.ply": _mesh("ply"),
    "ascii.ply": _mesh("ply", encoding="ascii"),
    "smooth.obj": _mesh("obj", include_normals=True),
    "binary.stl": _mesh("stl"),
    "ascii.stl": _mesh("stl_ascii"),
    "scene.glb": _mesh("glb"),
    "beside.gltf": _gltf_with_buffer_beside,
    "inside.gltf": _gltf_with_buffer_inside,
    "corners.off": _mesh("off"),
}


@pytest.mark.parametrize("name", MESHES)
def test_mesh_formats_give_the_same_surface(name: str, tmp_path: Path) -> None:
    whole = trunk()
    MESHES[name](tmp_path / name, whole)
    scan = read_scan(tmp_path / name)
    assert scan.provenance.unit == "m"
    assert scan.provenance.triangles == len(whole.faces)
    # STL comes as a triangle soup: only welding gives the vertices back.
    assert len(scan.vertices) == len(whole.vertices)
    assert len(scan.triangles) == len(whole.faces)
    distance, _ = cKDTree(scan.vertices).query(whole.vertices)
    assert distance.max() < TEXT
    area = trimesh.Trimesh(scan.vertices, scan.triangles, process=False).area
    assert area == pytest.approx(whole.area, rel=1e-5)  # from the coordinates' steps


def _pcd_text(path: Path, points: np.ndarray) -> None:
    rows = "\n".join(" ".join(f"{v:.7f}" for v in point) for point in points)
    path.write_text(_pcd_header(len(points), "ascii") + rows + "\n")


def _pcd_binary(path: Path, points: np.ndarray) -> None:
    path.write_bytes(_pcd_header(len(points), "binary").encode() + points.astype("<f4").tobytes())


def _pcd_packed(path: Path, points: np.ndarray) -> None:
    module = open3d()
    cloud = module.geometry.PointCloud(module.utility.Vector3dVector(points))
    module.io.write_point_cloud(str(path), cloud, compressed=True)
    assert b"binary_compressed" in path.read_bytes()[:500]


def _pcd_header(count: int, data: str) -> str:
    return (
        "# .PCD v0.7\nVERSION 0.7\nFIELDS x y z\nSIZE 4 4 4\nTYPE F F F\nCOUNT 1 1 1\n"
        f"WIDTH {count}\nHEIGHT 1\nVIEWPOINT 0 0 0 1 0 0 0\nPOINTS {count}\nDATA {data}\n"
    )


def _text(**how: object) -> Callable[[Path, np.ndarray], None]:
    return lambda path, points: np.savetxt(path, points, **{"fmt": "%.7f", **how})


def _decimal_commas(path: Path, points: np.ndarray) -> None:
    np.savetxt(path, points, fmt="%.7f", delimiter=";", header="X;Y;Z", comments="")
    path.write_text(path.read_text().replace(".", ","))


POINTS = {
    "points.ply": lambda path, points: trimesh.PointCloud(points).export(path),
    "plain.xyz": _text(),
    "counted.pts": _text(header="10800", comments=""),
    "commented.txt": _text(header="x y z", delimiter="\t"),
    "comma.csv": _text(header="x,y,z", comments="", delimiter=","),
    "decimal.csv": _decimal_commas,
    "spaced.csv": _text(delimiter=", "),
    "text.pcd": _pcd_text,
    "binary.pcd": _pcd_binary,
    "packed.pcd": _pcd_packed,
}


@pytest.mark.parametrize("name", POINTS)
def test_point_formats_give_the_same_points(name: str, tmp_path: Path) -> None:
    points = np.asarray(trunk().vertices)
    POINTS[name](tmp_path / name, points)
    scan = read_scan(tmp_path / name)
    assert scan.is_points
    assert scan.provenance.points == len(points)
    assert np.abs(scan.vertices - points).max() < SINGLE


def test_colours_survive(tmp_path: Path) -> None:
    mesh = trunk()
    shade = (np.arange(len(mesh.vertices)) % 200).astype(np.uint8)
    hide = np.c_[shade, shade // 2, shade // 3, np.full(len(shade), 255)].astype(np.uint8)
    mesh.visual.vertex_colors = hide
    for name in ("hide.ply", "hide.glb", "hide.obj"):
        mesh.export(tmp_path / name)
        scan = read_scan(tmp_path / name)
        _, place = cKDTree(scan.vertices).query(mesh.vertices)
        assert scan.colours is not None
        # OBJ writes colours as fractions: one step of a byte may be lost.
        assert np.abs(scan.colours[place].astype(int) - hide[:, :3]).max() <= 1, name


def test_points_without_colours_are_no_fault(tmp_path: Path) -> None:
    """A merged cloud has none where one view had none: nothing is said of colours."""
    trimesh.PointCloud(trunk().vertices).export(tmp_path / "plain.ply")
    scan = read_scan(tmp_path / "plain.ply")
    assert scan.colours is None
    assert not any("colours" in note for note in scan.provenance.notes)


def test_colours_and_normals_of_point_columns(tmp_path: Path) -> None:
    mesh = trunk()
    shade = np.arange(len(mesh.vertices)) % 250
    table = np.c_[mesh.vertices, mesh.vertex_normals, shade, shade, shade]
    np.savetxt(tmp_path / "bare.txt", table, fmt="%.6f")
    names = "x,y,z,nx,ny,nz,red,green,blue"
    np.savetxt(tmp_path / "named.csv", table, "%.6f", ",", header=names, comments="")
    for name in ("bare.txt", "named.csv"):
        scan = read_scan(tmp_path / name)
        assert scan.colours is not None
        assert scan.normals is not None
        assert (scan.colours[:, 0] == shade).all(), name
        assert np.abs(scan.normals - mesh.vertex_normals).max() < TEXT, name


def test_a_texture_beside_the_file_becomes_colours(tmp_path: Path) -> None:
    pillow = pytest.importorskip("PIL.Image")
    mesh = trunk()
    uv = np.c_[mesh.vertices[:, 0] / 1.4, np.full(len(mesh.vertices), 0.5)]
    ramp = np.tile(np.arange(256, dtype=np.uint8)[None, :, None], (4, 1, 3))
    picture = pillow.fromarray(ramp)
    mesh.visual = trimesh.visual.TextureVisuals(uv=uv, image=picture)
    mesh.export(tmp_path / "hide.glb")
    scan = read_scan(tmp_path / "hide.glb")
    assert scan.colours is not None
    expected = 255.0 * scan.vertices[:, 0] / 1.4
    # A pixel either way, since the picture is read at its nearest pixel.
    assert np.abs(scan.colours[:, 0] - expected).max() < 2.0


def test_quads_are_split(tmp_path: Path) -> None:
    n = 30
    side = np.linspace(0.0, 1.2, n)
    x, y = np.meshgrid(side, side, indexing="ij")
    a = (np.arange(n - 1)[:, None] * n + np.arange(n - 1)).ravel()
    quads = np.c_[a, a + n, a + n + 1, a + 1]
    points = np.c_[x.ravel(), y.ravel(), 0.1 * np.cos(x.ravel())]
    lines = [f"OFF\n{n * n} {len(quads)} 0"]
    lines += [f"{px:.6f} {py:.6f} {pz:.6f}" for px, py, pz in points]
    lines += ["4 " + " ".join(map(str, quad)) for quad in quads]
    (tmp_path / "quads.off").write_text("\n".join(lines))
    assert len(read_scan(tmp_path / "quads.off").triangles) == 2 * len(quads)


def test_invalid_points_of_a_depth_camera_are_left_out(tmp_path: Path) -> None:
    points = np.asarray(trunk().vertices).copy()
    points[::10] = np.nan
    points[1::10] = 0.0
    _pcd_binary(tmp_path / "depth.pcd", points)
    scan = read_scan(tmp_path / "depth.pcd")
    lost = len(points[::10]) + len(points[1::10])
    assert len(scan.vertices) == len(points) - lost
    assert scan.provenance.notes == (
        f"{lost:,} points the camera could not measure were left out.",
    )


def test_the_hash_is_of_the_file(tmp_path: Path) -> None:
    import hashlib

    trunk().export(tmp_path / "a.ply")
    digest = hashlib.sha256((tmp_path / "a.ply").read_bytes()).hexdigest()
    assert read_scan(tmp_path / "a.ply").provenance.sha256 == digest


def test_borrowed_scans(borrowed: Path) -> None:
    """Counts as listed beside the files, ../shared/meshes/README.md."""

    def counts(name: str, **how: float) -> tuple[int, int, Scan]:
        scan = read_scan(borrowed / name, **how)
        return len(scan.vertices), len(scan.triangles), scan

    assert counts("horse-scan.ply", withers_height=1.5)[:2] == (48_485, 96_966)
    assert counts("spot.obj")[1] == 5_856
    *merged, donkey = counts("donkey-lowpoly.glb", withers_height=1.2)
    assert merged == [1_002, 2_000]
    assert donkey.provenance.points == 4_044
    vertices, _, top = counts("cattle-depth/top.pcd")
    assert top.colours is not None
    assert top.provenance.points + 42_463 == 217_088
    assert vertices == top.provenance.points
