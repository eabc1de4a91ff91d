"""Bad scan files: one sentence each, naming the file, the fault and the mend."""

from __future__ import annotations

import json
import struct
import warnings
from typing import TYPE_CHECKING

import numpy as np
import pytest
import trimesh
from PIL import Image

from fitsim.errors import BadScan, FitsimError
from fitsim.scan.read import read_scan
from tests.trunk import trunk

if TYPE_CHECKING:
    from pathlib import Path


def said(path: Path, **how: object) -> str:
    """The sentence a bad file gives, checked to be one sentence that names the file."""
    with pytest.raises(BadScan) as caught:
        read_scan(path, **how)
    error = caught.value
    sentence = str(error)
    assert path.name in sentence
    assert error.fault
    assert error.mend
    assert "\n" not in sentence
    assert sentence.endswith(".")
    assert error.exit_code == 3
    return sentence


@pytest.fixture
def ply(tmp_path: Path) -> Path:
    path = tmp_path / "back.ply"
    trunk().export(path)
    return path


def test_missing(tmp_path: Path) -> None:
    assert "there is no such file" in said(tmp_path / "none.ply")


def test_folder(tmp_path: Path) -> None:
    assert "it is a folder" in said(tmp_path)


@pytest.mark.parametrize(
    "name", ["a.ply", "a.obj", "a.stl", "a.glb", "a.gltf", "a.off", "a.pcd", "a.xyz", "a.csv"]
)
@pytest.mark.parametrize("content", [b"", b"\n \n", bytes(500)])
def test_empty(tmp_path: Path, name: str, content: bytes) -> None:
    (tmp_path / name).write_bytes(content)
    sentence = said(tmp_path / name)
    assert "the file is empty" in sentence
    assert "again" in sentence


@pytest.mark.parametrize("kind", ["ply", "stl", "glb", "off"])
@pytest.mark.parametrize("share", [0.05, 0.5, 0.9, 0.999])
def test_truncated(tmp_path: Path, kind: str, share: float) -> None:
    content = trunk().export(file_type=kind)
    content = content.encode() if isinstance(content, str) else content
    path = tmp_path / f"cut.{kind}"
    path.write_bytes(content[: int(len(content) * share)])
    sentence = said(path)
    assert "cut off" in sentence or "not" in sentence
    assert "again" in sentence


@pytest.mark.parametrize("share", [0.05, 0.5, 0.9, 0.999])
def test_truncated_ascii_ply(tmp_path: Path, share: float) -> None:
    content = trunk().export(file_type="ply", encoding="ascii")
    (tmp_path / "cut.ply").write_bytes(content[: int(len(content) * share)])
    assert "cut off" in said(tmp_path / "cut.ply")


def test_truncated_obj(tmp_path: Path) -> None:
    """An OBJ declares no counts: a cut among its faces may only be suspected."""
    mesh, path = trunk(), tmp_path / "cut.obj"
    mesh.faces = mesh.faces[np.argsort(mesh.faces.max(axis=1))]  # as a scanner writes them
    content = mesh.export(file_type="obj").encode() + b"\n"
    for share in (0.05, 0.5, 0.9):
        path.write_bytes(content[: int(len(content) * share)])
        assert "again" in said(path)
    path.write_bytes(content[: int(len(content) * 0.999)])
    assert "it was cut off" in read_scan(path).provenance.notes[0]
    path.write_bytes(content)
    assert read_scan(path).provenance.notes == ()


@pytest.mark.parametrize("data", ["ascii", "binary"])
def test_truncated_pcd(tmp_path: Path, data: str) -> None:
    points = np.asarray(trunk().vertices, dtype="<f4")
    head = (
        "VERSION 0.7\nFIELDS x y z\nSIZE 4 4 4\nTYPE F F F\nCOUNT 1 1 1\n"
        f"WIDTH {len(points)}\nHEIGHT 1\nVIEWPOINT 0 0 0 1 0 0 0\nPOINTS {len(points)}\n"
        f"DATA {data}\n"
    )
    rows = "\n".join(" ".join(f"{v:.5f}" for v in p) for p in points[:8000]).encode()
    body = rows if data == "ascii" else points.tobytes()[:90_000]
    (tmp_path / "cut.pcd").write_bytes(head.encode() + body)
    sentence = said(tmp_path / "cut.pcd")
    assert "10,800" in sentence
    assert "again" in sentence


@pytest.mark.parametrize(
    ("wrong", "right"),
    [
        ("back.stl", "ply"),
        ("back.obj", "ply"),
        ("back.glb", "ply"),
        ("back.xyz", "ply"),
        ("back.pcd", "ply"),
        ("back.ply", "stl"),
        ("back.off", "stl"),
        ("back.ply", "glb"),
        ("back.ply", "off"),
        ("back.ply", "obj"),
        ("back.xyz", "obj"),
        ("back.stl", "obj"),
    ],
)
def test_wrong_extension(tmp_path: Path, wrong: str, right: str) -> None:
    path = tmp_path / wrong
    content = trunk().export(file_type=right)
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    sentence = said(path)
    assert f"the name says {wrong[5:].upper()} but the content is {right.upper()}" in sentence
    assert f"rename it to back.{right}" in sentence


@pytest.mark.parametrize(
    ("content", "kind"),
    [
        (b"\xff\xd8\xff\xe0" + bytes(range(256)) * 4, "a JPEG picture"),
        (b"PK\x03\x04" + bytes(range(256)) * 4, "a ZIP archive"),
        (b"%PDF-1.7\n" + bytes(range(256)) * 4, "a PDF document"),
    ],
)
@pytest.mark.parametrize("name", ["a.ply", "a.stl", "a.xyz", "a.obj"])
def test_no_scan_at_all(tmp_path: Path, content: bytes, kind: str, name: str) -> None:
    (tmp_path / name).write_bytes(content)
    assert kind in said(tmp_path / name)


def test_unknown_extension(tmp_path: Path) -> None:
    (tmp_path / "notes.docx").write_bytes(b"words")
    sentence = said(tmp_path / "notes.docx")
    assert '".docx" files are not read' in sentence
    assert "PLY" in sentence


@pytest.mark.parametrize("name", ["few.xyz", "few.ply", "few.csv"])
def test_fifty_points(tmp_path: Path, name: str) -> None:
    points = np.asarray(trunk().vertices)[::216]
    assert len(points) == 50
    if name == "few.ply":
        trimesh.PointCloud(points).export(tmp_path / name)
    else:
        np.savetxt(tmp_path / name, points, delimiter="," if name == "few.csv" else " ")
    sentence = said(tmp_path / name)
    assert "only 50 points" in sentence
    assert "2,000 points or more" in sentence


def test_one_point_many_times(tmp_path: Path) -> None:
    points = np.tile(np.asarray(trunk().vertices)[::216], (100, 1))
    np.savetxt(tmp_path / "same.xyz", points)
    assert "only 50 different points" in said(tmp_path / "same.xyz")


def test_few_triangles(tmp_path: Path) -> None:
    trimesh.creation.box(extents=(1.4, 0.6, 0.5)).export(tmp_path / "box.ply")
    assert "only 12 triangles" in said(tmp_path / "box.ply")


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
@pytest.mark.parametrize("name", ["nan.ply", "nan.stl", "nan.obj", "nan.off", "nan.xyz"])
def test_nan_coordinates(tmp_path: Path, name: str, bad: float) -> None:
    mesh = trunk()
    mesh.vertices[[400, 5000], 1] = bad
    if name == "nan.xyz":
        np.savetxt(tmp_path / name, mesh.vertices)
    elif name == "nan.stl":
        corners = np.zeros((len(mesh.faces), 50), dtype=np.uint8)
        corners[:, 12:48] = mesh.triangles.astype("<f4").reshape(-1, 9).view(np.uint8)
        head = bytes(80) + struct.pack("<I", len(corners))
        (tmp_path / name).write_bytes(head + corners.tobytes())
    else:
        mesh.export(tmp_path / name)
    sentence = said(tmp_path / name)
    assert "not numbers (NaN)" in sentence
    assert "export the scan again" in sentence


def test_first_nan_is_told(tmp_path: Path) -> None:
    mesh = trunk()
    mesh.vertices[[400, 5000]] = np.nan
    mesh.export(tmp_path / "nan.ply")
    sentence = said(tmp_path / "nan.ply")
    assert "2 of 10,800 points" in sentence
    assert "the first is point 401" in sentence


def test_millimetres_called_metres(tmp_path: Path) -> None:
    mesh = trunk()
    mesh.apply_scale(1000.0)
    mesh.export(tmp_path / "back.ply")
    sentence = said(tmp_path / "back.ply", unit="m")
    assert "in m the scan would be 1,4" in sentence
    assert "in mm: use --unit mm" in sentence


def test_triangles_on_missing_points(ply: Path) -> None:
    content = bytearray(ply.read_bytes())
    content[-4:] = (2_000_000).to_bytes(4, "little")
    ply.write_bytes(content)
    sentence = said(ply)
    assert "triangles on points that are not in the file" in sentence


@pytest.mark.parametrize("name", ["bomb.ply", "bomb.off", "bomb.pcd", "bomb.stl"])
@pytest.mark.parametrize("count", [15_000_000, 4_000_000_000])
def test_a_file_that_promises_too_much(tmp_path: Path, name: str, count: int) -> None:
    """Refused by its header; giving memory to 4e9 points would end the test run."""
    heads = {
        "bomb.ply": f"ply\nformat binary_little_endian 1.0\nelement vertex {count}\n"
        "property float x\nproperty float y\nproperty float z\nend_header\n".encode(),
        "bomb.off": f"OFF\n{count} {count} 0\n".encode(),
        "bomb.pcd": b"VERSION .7\nFIELDS x y z\nSIZE 4 4 4\nTYPE F F F\nCOUNT 1 1 1\n"
        + f"WIDTH {count}\nHEIGHT 1\nPOINTS {count}\nDATA binary\n".encode(),
        "bomb.stl": b"\x01" * 80 + struct.pack("<I", count),
    }
    (tmp_path / name).write_bytes(heads[name] + b"0 0 0\n" * 100)
    sentence = said(tmp_path / name)
    assert "promises" in sentence or "cut off" in sentence


def _glb(tree: dict[str, object], binary: bytes = b"") -> bytes:
    text = json.dumps(tree).encode()
    text += b" " * (-len(text) % 4)
    body = struct.pack("<II", len(text), 0x4E4F534A) + text
    body += struct.pack("<II", len(binary), 0x004E4942) + binary if binary else b""
    return b"glTF" + struct.pack("<II", 2, 12 + len(body)) + body


def test_a_gltf_that_promises_too_much(tmp_path: Path) -> None:
    position = {"count": 10_000_000, "componentType": 5126, "type": "VEC3"}
    tree = {
        "asset": {"version": "2.0"},
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": [{"mesh": 0}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}}]}],
        "accessors": [position],
    }
    (tmp_path / "bomb.glb").write_bytes(_glb(tree))
    assert "promises more than it holds" in said(tmp_path / "bomb.glb")
    (tmp_path / "bomb.gltf").write_text(json.dumps(tree))
    assert "promises more than it holds" in said(tmp_path / "bomb.gltf")


def test_a_gltf_whose_nodes_go_round(tmp_path: Path) -> None:
    tree = {
        "asset": {"version": "2.0"},
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": [{"children": [1]}, {"children": [0]}],
    }
    (tmp_path / "round.glb").write_bytes(_glb(tree))
    assert "header cannot be read" in said(tmp_path / "round.glb")


def test_a_packed_gltf(tmp_path: Path) -> None:
    tree = {"asset": {"version": "2.0"}, "extensionsRequired": ["KHR_draco_mesh_compression"]}
    (tmp_path / "packed.glb").write_bytes(_glb(tree))
    sentence = said(tmp_path / "packed.glb")
    assert "packed (KHR_draco_mesh_compression)" in sentence
    assert "export it without mesh compression" in sentence


def test_no_file_outside_the_folder_is_read(tmp_path: Path) -> None:
    """The buffer lies one folder up: the same file reads once it lies beside."""
    files = trunk().export(file_type="gltf")
    inner = tmp_path / "inner"
    inner.mkdir()
    tree = json.loads(files["model.gltf"])
    names = [buffer["uri"] for buffer in tree["buffers"]]
    for buffer, name in zip(tree["buffers"], names, strict=True):
        (tmp_path / name).write_bytes(files[name])
        buffer["uri"] = f"../{name}"
    (inner / "back.gltf").write_text(json.dumps(tree))
    sentence = said(inner / "back.gltf")
    assert "outside its folder" in sentence
    assert str(inner) not in sentence  # a viewer of the app must not learn where things lie
    for buffer, name in zip(tree["buffers"], names, strict=True):
        (inner / name).write_bytes(files[name])
        buffer["uri"] = name
    (inner / "back.gltf").write_text(json.dumps(tree))
    assert len(read_scan(inner / "back.gltf").triangles) == len(trunk().faces)


def test_materials_outside_the_folder_are_not_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    inner = tmp_path / "inner"
    inner.mkdir()
    (tmp_path / "secret.mtl").write_text("newmtl hide\nKd 0.4 0.3 0.2\n")
    text = trunk().export(file_type="obj", include_normals=False)
    (inner / "back.obj").write_text(f"mtllib ../secret.mtl\nusemtl hide\n{text}")
    opened: list[str] = []
    real = open

    def watched(file: object, *args: object, **how: object) -> object:
        opened.append(str(file))
        return real(file, *args, **how)

    monkeypatch.setattr("builtins.open", watched)
    assert len(read_scan(inner / "back.obj").triangles) == len(trunk().faces)
    assert not [name for name in opened if "secret" in name]


def test_a_picture_of_huge_size_costs_the_colours_alone(tmp_path: Path) -> None:
    """A small file that unfolds into 100 million pixels is left out by its heading, in silence."""
    mesh = trunk()
    corners = "".join(f"v {x} {y} {z}\n" for x, y, z in mesh.vertices) + "vt 0.5 0.5\n"
    faces = "".join(f"f {a}/1 {b}/1 {c}/1\n" for a, b, c in mesh.faces + 1)
    (tmp_path / "back.obj").write_text(f"mtllib back.mtl\nusemtl hide\n{corners}{faces}")
    (tmp_path / "back.mtl").write_text("newmtl hide\nmap_Kd hide.png\n")
    for side, coloured in ((10, True), (10_000, False)):
        Image.new("1", (side, side)).save(tmp_path / "hide.png")
        with warnings.catch_warnings(record=True) as said_aloud:
            warnings.simplefilter("always")  # as users run it, not as the tests do
            scan = read_scan(tmp_path / "back.obj", unit="m")
        assert not said_aloud
        assert len(scan.triangles) == len(mesh.faces)
        left_out = [note for note in scan.provenance.notes if "colours could not be read" in note]
        assert bool(left_out) is not coloured


def test_errors_are_of_the_family() -> None:
    assert issubclass(BadScan, FitsimError)
