"""Hostile and broken files of every kind, read in a process with 2 GB and 30 s a file.

What comes back is a scan or one sentence; nothing outside the scan's folder is opened, no other
program is run and no address is called.
"""

from __future__ import annotations

import base64
import json
import os
import struct
import subprocess
import sys
import zlib
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import trimesh
from PIL import Image

from tests.limited import MOST_MEMORY, MOST_SECONDS
from tests.trunk import trunk

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

pytestmark = pytest.mark.slow

TESTS = Path(__file__).resolve().parents[1]
OUTSIDE = "secret.png"
"""A picture one folder up: no scan may read it."""


@cache
def textured() -> trimesh.Trimesh:
    """A small trunk with a picture."""
    mesh = trunk(60, 40)
    uv = np.random.default_rng(0).uniform(size=(len(mesh.vertices), 2))
    noisy = np.random.default_rng(1).integers(0, 255, (64, 64, 3)).astype(np.uint8)
    mesh.visual = trimesh.visual.TextureVisuals(uv=uv, image=Image.fromarray(noisy))
    return mesh


def written(folder: Path, kind: str) -> dict[str, bytes]:
    """A good scan of a kind and the files beside it, by name."""
    folder.mkdir(parents=True, exist_ok=True)
    if kind == "gltf":
        for name, content in textured().export(file_type="gltf").items():
            (folder / name.replace("model.gltf", "back.gltf")).write_bytes(content)
    elif kind == "pcd":
        points = np.asarray(trunk(60, 40).vertices, dtype="<f4")
        head = (
            "VERSION 0.7\nFIELDS x y z\nSIZE 4 4 4\nTYPE F F F\nCOUNT 1 1 1\n"
            f"WIDTH {len(points)}\nHEIGHT 1\nVIEWPOINT 0 0 0 1 0 0 0\nPOINTS {len(points)}\n"
            "DATA binary\n"
        )
        (folder / "back.pcd").write_bytes(head.encode() + points.tobytes())
    elif kind == "depth":
        steps = np.full((48, 64), 1500, np.uint16)
        Image.fromarray(steps).save(folder / "left.png")
        camera = {"width": 64, "height": 48, "fx": 60.0, "fy": 60.0, "cx": 32.0, "cy": 24.0}
        manifest = {
            "depth_frames": 1,
            "metres_per_step": 0.001,
            "camera": camera,
            "frames": [{"depth": "left.png"}],
        }
        (folder / "depth.json").write_text(json.dumps(manifest))
    else:
        textured().export(folder / f"back.{kind}")
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}


MAIN = {kind: f"back.{kind}" for kind in ("ply", "obj", "stl", "glb", "gltf", "off", "pcd")}
MAIN["depth"] = "depth.json"


def spoilt(content: bytes, rng: np.random.Generator) -> Iterator[bytes]:
    """A file cut, with bits turned, with bytes of large numbers and of NaN in it."""
    for share in rng.uniform(0.0, 1.0, 3):
        yield content[: int(share * len(content))]
    for reach in (300, len(content), len(content)):
        broken = bytearray(content)
        for place in rng.integers(0, min(reach, len(content)), 6):
            broken[place] ^= 1 << int(rng.integers(8))
        yield bytes(broken)
    for word in (b"\xff\xff\xff\x7f", struct.pack("<f", np.nan), struct.pack("<f", 1e38)):
        broken = bytearray(content)
        at = int(rng.integers(0, max(1, len(content) - 4)))
        broken[at : at + 4] = word
        yield bytes(broken)


def read_all(files: list[Path]) -> tuple[list[dict[str, Any]], int]:
    """Read files in a process of their own; what each gave, and the most memory it took, bytes."""
    ran = subprocess.run(
        [sys.executable, str(TESTS / "limited.py"), *map(str, files)],
        capture_output=True,
        text=True,
        timeout=MOST_SECONDS * max(4, len(files)),
        env={**os.environ, "PYTHONPATH": str(TESTS.parent), "OPENBLAS_NUM_THREADS": "1"},
        check=False,
    )
    assert ran.returncode == 0, ran.stderr[-2000:]
    lines = [json.loads(line) for line in ran.stdout.splitlines()]
    return lines[:-1], lines[-1]["peak"]


def check(files: list[Path]) -> list[dict[str, Any]]:
    """Read files, and see that each gave a scan or a sentence within its limits and its folder."""
    found, peak = read_all(files)
    assert len(found) == len(files)
    assert peak < MOST_MEMORY
    for one, path in zip(found, files, strict=True):
        assert one["came"] in {"scan", "sentence"}, one
        assert one["seconds"] < MOST_SECONDS, one
        assert "\n" not in one["said"], one
        folder = path if path.is_dir() else path.parent
        strange = [name for name in one["opened"] if not _may_open(name, folder)]
        assert not strange, (one["file"], strange)
    return found


def _may_open(name: str, folder: Path) -> bool:
    """Whether a file is of the scan's folder, or of Python, its libraries and the system."""
    own = [folder, Path(sys.prefix), Path(sys.base_prefix), TESTS.parent / "fitsim"]
    own += [Path("/etc/mime.types")]  # read by Python's own table of kinds of file
    own += [Path(place) for place in ("/usr/lib", "/usr/share", "/lib", "/proc", "/sys")]
    return any(Path(name).is_relative_to(place.resolve()) for place in own)


@pytest.mark.parametrize("kind", MAIN)
def test_spoilt_files_give_a_scan_or_a_sentence(tmp_path: Path, kind: str) -> None:
    rng, files = np.random.default_rng(11), []
    whole = written(tmp_path / "good", kind)
    for name, content in whole.items():  # what lies beside the scan is spoilt as well
        for number, broken in enumerate(spoilt(content, rng)):
            folder = tmp_path / f"{name}-{number}"
            written(folder, kind)
            (folder / name).write_bytes(broken)
            files.append(folder / MAIN[kind])
    found = check([tmp_path / "good" / MAIN[kind], *files])
    assert kind == "depth" or found[0]["came"] == "scan"
    assert any(one["came"] == "sentence" for one in found[1:])


PLACES = [
    f"../{OUTSIDE}",
    f"..%2f{OUTSIDE}",
    f"inner/../../{OUTSIDE}",
    "ABSOLUTE",
    "file://ABSOLUTE",
    "http://127.0.0.1:9/secret.png",
    "LINK",
    "~/secret.png",
    f"..\\{OUTSIDE}",
    "/etc/passwd",
    "/dev/zero",
]
"""What a file may name in place of a picture that lies beside it."""


def place(named: str, folder: Path) -> str:
    secret = folder.parent / OUTSIDE
    if named == "LINK":
        (folder / "link.png").symlink_to(secret)
        return "link.png"
    return named.replace("ABSOLUTE", str(secret))


def obj_picture(folder: Path, name: str) -> Path:
    written(folder, "obj")
    (material,) = folder.glob("*.mtl")
    lines = material.read_text().splitlines()
    lines = [f"map_Kd {name}" if line.startswith("map_Kd") else line for line in lines]
    material.write_text("\n".join(lines))
    assert name in material.read_text()
    return folder / "back.obj"


def obj_material(folder: Path, name: str) -> Path:
    written(folder, "obj")
    lines = (folder / "back.obj").read_text().splitlines()
    lines = [f"mtllib {name}" if line.startswith("mtllib") else line for line in lines]
    (folder / "back.obj").write_text("\n".join(lines) + "\n")
    assert f"mtllib {name}\n" in (folder / "back.obj").read_text()
    return folder / "back.obj"


def glb_picture(folder: Path, name: str) -> Path:
    whole = written(folder, "glb")["back.glb"]
    length = struct.unpack("<I", whole[12:16])[0]
    tree, rest = json.loads(whole[20 : 20 + length]), whole[20 + length :]
    tree["images"] = [{"uri": name}]
    text = json.dumps(tree).encode()
    text += b" " * (-len(text) % 4)
    body = struct.pack("<II", len(text), 0x4E4F534A) + text + rest
    (folder / "back.glb").write_bytes(b"glTF" + struct.pack("<II", 2, 12 + len(body)) + body)
    return folder / "back.glb"


def gltf_buffer(folder: Path, name: str) -> Path:
    written(folder, "gltf")
    tree = json.loads((folder / "back.gltf").read_text())
    tree["buffers"][0]["uri"] = name
    (folder / "back.gltf").write_text(json.dumps(tree))
    return folder / "back.gltf"


def depth_picture(folder: Path, name: str) -> Path:
    written(folder, "depth")
    tree = json.loads((folder / "depth.json").read_text())
    tree["frames"][0]["depth"] = name
    (folder / "depth.json").write_text(json.dumps(tree))
    return folder / "depth.json"


def depth_colour(folder: Path, name: str) -> Path:
    path = depth_picture(folder, "left.png")
    tree = json.loads(path.read_text())
    tree["frames"][0]["colour"] = name
    path.write_text(json.dumps(tree))
    return path


@pytest.mark.parametrize(
    "make", [obj_picture, obj_material, glb_picture, gltf_buffer, depth_picture, depth_colour]
)
def test_nothing_outside_the_folder_is_opened(
    tmp_path: Path, make: Callable[[Path, str], Path]
) -> None:
    Image.fromarray(np.full((48, 64), 1500, np.uint16)).save(tmp_path / OUTSIDE)
    files = []
    for number, named in enumerate(PLACES):
        folder = tmp_path / str(number)
        (folder / "inner").mkdir(parents=True)
        files.append(make(folder, place(named, folder)))
    found = check(files)
    for one in found:
        assert str((tmp_path / OUTSIDE).resolve()) not in one["opened"], one
        # nor is it told where the scan lies
        assert str(Path(one["file"]).parent) not in one["said"], one
    keeps_shape = make in {obj_picture, obj_material, glb_picture}
    assert {one["came"] for one in found} == {"scan" if keeps_shape else "sentence"}


def _bomb(side: int) -> bytes:
    """A PNG of black pixels, a thousandth of its size unpacked."""
    head = struct.pack(">IIBBBBB", side, side, 8, 2, 0, 0, 0)
    rows = zlib.compress(bytes(side * (3 * side + 1)), 9)
    parts = [(b"IHDR", head), (b"IDAT", rows), (b"IEND", b"")]
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))
        for name, body in parts
    )


def test_pictures_that_unfold_cost_no_more_than_their_colours(tmp_path: Path) -> None:
    """A hundred million pixels in 300 kB: in a GLB, beside an OBJ and as a depth picture."""
    bomb = _bomb(10_000)
    assert len(bomb) < 400_000
    for name in "abc":
        (tmp_path / name).mkdir()
    inside = "data:image/png;base64," + base64.b64encode(bomb).decode()
    files = [glb_picture(tmp_path / "a", inside), obj_picture(tmp_path / "b", "bomb.png")]
    (tmp_path / "b" / "bomb.png").write_bytes(bomb)
    files.append(depth_colour(tmp_path / "c", "bomb.png"))
    (tmp_path / "c" / "bomb.png").write_bytes(bomb)
    found = check(files)
    assert [one["came"] for one in found] == ["scan", "scan", "sentence"]
