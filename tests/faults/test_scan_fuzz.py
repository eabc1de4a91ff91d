"""Files broken at random: a scan or one sentence comes back, and nothing else."""

from __future__ import annotations

import struct
import tempfile
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import trimesh
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fitsim.errors import FitsimError
from fitsim.scan.clean import cleaned
from fitsim.scan.read import read_scan
from tests.trunk import trunk

KINDS = ["ply", "ascii.ply", "stl", "obj", "off", "glb", "xyz", "points.ply"]


@cache
def whole(kind: str) -> bytes:
    """A small file of each kind, good as it is."""
    mesh = trunk(60, 40)
    if kind == "xyz":
        return "\n".join(" ".join(f"{v:.4f}" for v in p) for p in mesh.vertices).encode()
    if kind == "points.ply":
        return trimesh.PointCloud(mesh.vertices).export(file_type="ply")
    options = {"encoding": "ascii"} if kind == "ascii.ply" else {}
    content = mesh.export(file_type=kind.rpartition(".")[2], **options)
    return content.encode() if isinstance(content, str) else content


def outcome(kind: str, content: bytes) -> bool:
    """Whether a scan came back; what comes back must hang together."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, f"back.{kind}")
        path.write_bytes(content)
        try:
            scan = read_scan(path)
            cleaned(scan)
        except FitsimError:
            return False
    assert np.isfinite(scan.vertices).all()
    assert scan.is_points or scan.triangles.max() < len(scan.vertices)
    return True


@pytest.mark.parametrize("kind", KINDS)
def test_the_whole_file_is_read(kind: str) -> None:
    assert outcome(kind, whole(kind))


@pytest.mark.parametrize("kind", KINDS)
@settings(max_examples=12, suppress_health_check=list(HealthCheck))
@given(share=st.floats(0.0, 1.0, exclude_max=True))
def test_cut_anywhere(kind: str, share: float) -> None:
    content = whole(kind)
    outcome(kind, content[: int(share * len(content))])


@pytest.mark.parametrize("kind", KINDS)
@settings(max_examples=15, suppress_health_check=list(HealthCheck))
@given(
    flips=st.lists(st.tuples(st.floats(0.0, 1.0, exclude_max=True), st.integers(0, 7)), min_size=1),
    in_header=st.booleans(),
)
def test_bits_flipped_anywhere(
    kind: str, flips: list[tuple[float, int]], *, in_header: bool
) -> None:
    content = bytearray(whole(kind))
    reach = min(400, len(content)) if in_header else len(content)
    for share, bit in flips:
        content[int(share * reach)] ^= 1 << bit
    outcome(kind, bytes(content))


@pytest.mark.parametrize("kind", ["ply", "stl", "off", "glb", "pcd", "obj", "xyz"])
@settings(max_examples=10, suppress_health_check=list(HealthCheck))
@given(noise=st.binary(max_size=600))
def test_noise_behind_a_right_beginning(kind: str, noise: bytes) -> None:
    start = {
        "ply": b"ply\nformat binary_little_endian 1.0\nelement vertex 9\n",
        "stl": bytes(80) + struct.pack("<I", 3),
        "off": b"OFF\n",
        "glb": b"glTF" + struct.pack("<III", 2, 200, 100) + b"JSON",
        "pcd": b"# .PCD v0.7\nVERSION .7\nFIELDS x y z\n",
        "obj": b"v 0 0 0\nv 1 0 0\nv 0 1 0\n",
        "xyz": b"0 0 0\n",
    }[kind]
    assert not outcome(kind, start + noise)
