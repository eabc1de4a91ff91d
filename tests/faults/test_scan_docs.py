"""The sentences in docs/scan-files.md are the ones a user sees."""

from __future__ import annotations

import json
import struct
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
import trimesh

from fitsim.back.back import Back
from fitsim.back.coat import Coat, coat_told
from fitsim.back.marks import read_marks
from fitsim.back.sticker_words import read_stickers
from fitsim.commands.change import _refuse_one_coat
from fitsim.demo import demo_folder
from fitsim.errors import BadScan, FitsimError
from fitsim.scan.clean import cleaned
from fitsim.scan.read import read_scan
from fitsim.scan.scale import read_known
from fitsim.scan.tracings import LOFTED
from tests.trunk import scan_of, sheet, trunk

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

DOCS = Path(__file__).resolve().parents[2] / "docs" / "scan-files.md"


def _mesh(scale: float = 1.0, kind: str = "ply") -> bytes:
    mesh = trunk()
    mesh.vertices = mesh.vertices.round(4) * scale
    return mesh.export(file_type=kind)


def _with_nan() -> bytes:
    mesh = trunk()
    mesh.vertices[[400, 5000]] = np.nan
    return mesh.export(file_type="ply")


def _glb(tree: dict[str, object]) -> bytes:
    text = json.dumps({"asset": {"version": "2.0"}, **tree}).encode()
    text += b" " * (-len(text) % 4)
    body = struct.pack("<II", len(text), 0x4E4F534A) + text
    return b"glTF" + struct.pack("<II", 2, 12 + len(body)) + body


def _elsewhere() -> bytes:
    tree = json.loads(trunk().export(file_type="gltf")["model.gltf"])
    for buffer in tree["buffers"]:
        buffer["uri"] = "../" + buffer["uri"]
    return json.dumps(tree).encode()


def _loose() -> bytes:
    return _mesh()[:-4] + (2_000_000).to_bytes(4, "little")


_HUGE = (
    b"ply\nformat binary_little_endian 1.0\nelement vertex 4000000000\nproperty float x\n"
    b"property float y\nproperty float z\nend_header\n"
)

SPOILT: dict[str, Callable[[], bytes]] = {
    "empty.ply": lambda: b"",
    "cut.ply": lambda: _mesh()[: len(_mesh()) // 2],
    "named.ply": lambda: _mesh(kind="stl"),
    "letter.docx": lambda: b"words",
    "photo.ply": lambda: b"\xff\xd8\xff\xe0" + bytes(range(256)) * 4,
    "zipped.obj": lambda: b"PK\x03\x04" + bytes(range(256)) * 4,
    "packed.glb": lambda: _glb({"extensionsRequired": ["KHR_draco_mesh_compression"]}),
    "round.glb": lambda: _glb({"nodes": [{"children": [1]}, {"children": [0]}]}),
    "elsewhere.gltf": _elsewhere,
    "huge.ply": lambda: _HUGE,
    "loose.ply": _loose,
    "words.xyz": lambda: b"the back of an animal\n" * 20,
    "box.ply": lambda: trimesh.creation.box(extents=(1.4, 0.6, 0.5)).export(file_type="ply"),
    "few.xyz": lambda: "\n".join(f"0 0 {n}" for n in range(50)).encode(),
    "nan.ply": _with_nan,
    "mm.ply": lambda: _mesh(1000.0),
    "inch-or-cm.ply": lambda: _mesh(1.0 / 0.0254),
    "statue.ply": lambda: _mesh(0.1),
    "room.ply": lambda: sheet([0, 0, 0], [3, 0, 0], [0, 3, 0], 40).export(file_type="ply"),
}


@pytest.mark.parametrize("name", SPOILT)
def test_the_page_says_what_the_program_says(name: str, tmp_path: Path) -> None:
    (tmp_path / name).write_bytes(SPOILT[name]())
    with pytest.raises(BadScan) as caught:
        cleaned(read_scan(tmp_path / name, unit="m" if name == "mm.ply" else None))
    sentence = str(caught.value)
    assert f"`{sentence}`" in DOCS.read_text(encoding="utf-8"), sentence


def _mule(kept: Callable[[NDArray[np.float64]], NDArray[np.bool_]]) -> object:
    """What comes of the part of the demo mule of which something holds in the body frame."""
    scan = read_scan(demo_folder() / "mule.ply", unit="m")
    T = np.array(json.loads((demo_folder() / "mule.json").read_text())["T_scan_body"])
    gone = ~kept((scan.vertices - T[:3, 3]) @ T[:3, :3])
    return Back.from_scan(
        replace(scan, triangles=scan.triangles[~gone[scan.triangles].any(axis=1)])
    )


def _head_down() -> object:
    """What comes of the demo mule with its neck bent down in front of the withers."""
    scan = read_scan(demo_folder() / "mule.ply", unit="m")
    T = np.array(json.loads((demo_folder() / "mule.json").read_text())["T_scan_body"])
    place = (scan.vertices - T[:3, 3]) @ T[:3, :3]
    place[:, 2] -= 0.9 * np.maximum(place[:, 0] - 0.10, 0.0)
    return Back.from_scan(replace(scan, vertices=place @ T[:3, :3].T + T[:3, 3]))


def _marks(text: str, name: str = "marks.json") -> Callable[[Path], object]:
    def read(folder: Path) -> object:
        (folder / name).write_text(text)
        return read_marks(folder / name)

    return read


def _far(_: Path) -> object:
    scan = read_scan(demo_folder() / "mule.ply", unit="m")
    return Back.from_scan(scan, {"withers": np.array([[90.0, 0.0, 0.0]])})


TOLD: dict[str, Callable[[Path], object]] = {
    "one side": lambda _: _mule(lambda p: (p[:, 1] > -0.02) | (np.abs(p[:, 0] + 0.22) > 0.25)),
    "short": lambda _: _mule(lambda p: p[:, 0] > -0.25),
    "strip": lambda _: _mule(lambda p: np.abs(p[:, 1]) < 0.08),
    "head down": lambda _: _head_down(),
    "marks that are none": _marks("[]"),
    "a mark of no name": _marks('{"tail": [[0, 0, 0]]}'),
    "a mark without z": _marks('{"withers": [[0, 0]]}'),
    "a mark that is no number": _marks('{"withers": [[0, 0, NaN]]}'),
    "a mark off the scan": _far,
    "no marks file": lambda _: read_marks("lost.json"),
    "orange": lambda _: read_stickers("orange=spine"),
    "twice": lambda _: read_stickers("blue=spine, blue=withers"),
    "nowhere": lambda _: read_stickers("blue=tail"),
    "no colour": lambda _: read_stickers(""),
    "no distance": lambda _: read_known("60 cm"),
    "no coat": lambda _: Coat(0.150),
    "a traced coat": lambda _: coat_told(0.020, "traced.csv", (f"{LOFTED} 7 tracings",)),
    "one coat": lambda _: _refuse_one_coat(0.020, None),
}


@pytest.mark.parametrize("name", TOLD)
def test_the_page_says_what_is_said_of_backs_and_marks(name: str, tmp_path: Path) -> None:
    with pytest.raises(FitsimError) as caught:
        TOLD[name](tmp_path)
    sentence = str(caught.value)
    assert f"`{sentence}`" in DOCS.read_text(encoding="utf-8"), sentence


def test_the_page_says_what_cleaning_says() -> None:
    floor = sheet([-1.2, -2.0, 0.2], [4.0, 0.0, 0.0], [0.0, 4.0, 0.0], 60)
    faces = np.r_[trunk().faces[:, ::-1], floor.faces + len(trunk().vertices)]
    scan = cleaned(scan_of(np.r_[trunk().vertices, floor.vertices], faces))
    text = " ".join(DOCS.read_text(encoding="utf-8").split())
    assert len(scan.provenance.notes) == 2
    for note in scan.provenance.notes:
        assert note in text, note
