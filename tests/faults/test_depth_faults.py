"""Depth frames and merges that cannot be used: one sentence each, the one that docs show."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from fitsim.errors import BadScan, BadSettings
from fitsim.scan.depth.manifest import read_manifest
from fitsim.scan.merging.files import read_views
from fitsim.scan.merging.start_file import read_start
from fitsim.scan.read import read_scan

if TYPE_CHECKING:
    from collections.abc import Callable

DOCS = Path(__file__).resolve().parents[2] / "docs" / "scan-files.md"
CAMERA = {"width": 64, "height": 48, "fx": 60.0, "fy": 60.0, "cx": 32.0, "cy": 24.0}


def _good() -> dict[str, Any]:
    return {
        "depth_frames": 1,
        "metres_per_step": 0.001,
        "camera": dict(CAMERA),
        "frames": [{"depth": "left.png"}],
    }


def _changed(**changes: object) -> dict[str, Any]:
    return {**_good(), **changes}


def _without(key: str) -> dict[str, Any]:
    return {name: value for name, value in _good().items() if name != key}


def _picture(value: int = 1500, shape: tuple[int, int] = (48, 64), kind: type = np.uint16) -> Any:  # noqa: ANN401
    return Image.fromarray(np.full(shape, value, kind))


def _coloured(name: str) -> dict[str, Any]:
    return _changed(frames=[{"depth": "left.png", "colour": name}])


SPOILT: dict[str, tuple[dict[str, Any], Callable[[], Any]]] = {
    "wrong size": (_good(), lambda: _picture(shape=(40, 64))),
    "8-bit": (_good(), lambda: _picture(200, kind=np.uint8)),
    "no readings": (_good(), lambda: _picture(0)),
    "too far": (_changed(metres_per_step=0.01), _picture),
    "no camera": (_without("camera"), _picture),
    "a part of the camera": (
        _changed(camera={k: v for k, v in CAMERA.items() if k != "fx"}),
        _picture,
    ),
    "no scale": (_without("metres_per_step"), _picture),
    "misspelt": (_changed(frames=[{"depht": "left.png"}]), _picture),
    "no such frame": (_changed(frames=[{"depth": "lost.png"}]), _picture),
    "out of the folder": (_changed(frames=[{"depth": "../left.png"}]), _picture),
    "colours out of the folder": (_coloured("../../colour.png"), _picture),
    "no such colours": (_coloured("lost.png"), _picture),
    "colours of another size": (_coloured("small.png"), _picture),
    "no picture of colours": (_coloured("depth.json"), _picture),
    "half the colours": (
        _changed(frames=[{"depth": "left.png", "colour": "small.png"}, {"depth": "left.png"}]),
        _picture,
    ),
    "half the poses": (
        _changed(frames=[{"depth": "left.png", "pose": np.eye(4).tolist()}, {"depth": "left.png"}]),
        _picture,
    ),
    "moved": (_changed(moved=True), _picture),
}


@pytest.mark.parametrize("name", SPOILT)
def test_the_page_says_what_the_program_says(name: str, tmp_path: Path) -> None:
    manifest, picture = SPOILT[name]
    picture().save(tmp_path / "left.png")
    Image.new("RGB", (40, 30)).save(tmp_path / "small.png")
    (tmp_path / "depth.json").write_text(json.dumps(manifest))
    with pytest.raises(BadScan) as caught:
        read_scan(tmp_path)
    sentence = str(caught.value)
    assert f"`{sentence}`" in DOCS.read_text(encoding="utf-8"), sentence


@pytest.mark.parametrize("pictures", [True, False])
def test_a_folder_without_a_manifest_is_told_what_to_do(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, *, pictures: bool
) -> None:
    (tmp_path / "frames").mkdir()
    if pictures:
        _picture().save(tmp_path / "frames" / "left.png")
    monkeypatch.chdir(tmp_path)
    with pytest.raises(BadScan) as caught:
        read_scan("frames")
    sentence = str(caught.value)
    assert f"`{sentence}`" in DOCS.read_text(encoding="utf-8"), sentence


def test_a_cut_off_colour_picture_is_said_to_be_one(tmp_path: Path) -> None:
    _picture().save(tmp_path / "left.png")
    noisy = np.random.default_rng(0).integers(0, 255, (48, 64, 3)).astype(np.uint8)
    Image.fromarray(noisy).save(tmp_path / "colour.png")
    whole = (tmp_path / "colour.png").read_bytes()
    (tmp_path / "colour.png").write_bytes(whole[: len(whole) // 2])
    (tmp_path / "depth.json").write_text(json.dumps(_coloured("colour.png")))
    with pytest.raises(BadScan, match=r"colour\.png: the picture is cut off or damaged"):
        read_scan(tmp_path)


@pytest.mark.parametrize(
    "content", [b"not json", b"[1]", b'{"T_a_b": 1}', b"[" * 5000, b"\xff\x00"]
)
def test_a_json_that_is_no_manifest_is_said_to_be_none(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "marks.json").write_bytes(content)
    with pytest.raises(BadScan, match=r"JSON|does not describe depth frames"):
        read_scan(tmp_path / "marks.json")


def test_a_cut_off_picture_is_said_to_be_one(tmp_path: Path) -> None:
    noisy = np.random.default_rng(0).integers(500, 1500, (48, 64)).astype(np.uint16)
    Image.fromarray(noisy).save(tmp_path / "left.png")
    whole = (tmp_path / "left.png").read_bytes()
    (tmp_path / "left.png").write_bytes(whole[: len(whole) // 2])
    (tmp_path / "depth.json").write_text(json.dumps(_good()))
    with pytest.raises(BadScan, match=r"left\.png: the picture is cut off or damaged"):
        read_scan(tmp_path)


def test_a_picture_of_huge_size_is_refused_by_its_heading(tmp_path: Path) -> None:
    _picture().save(tmp_path / "left.png")
    whole = bytearray((tmp_path / "left.png").read_bytes())
    whole[16:24] = (60_000).to_bytes(4, "big") * 2  # width and height stand in PNG's first chunk
    (tmp_path / "left.png").write_bytes(bytes(whole))
    (tmp_path / "depth.json").write_text(json.dumps(_good()))
    with pytest.raises(BadScan, match=r"left\.png"):
        read_scan(tmp_path)


_VALUES = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner),
    max_leaves=6,
)


@settings(max_examples=60)
@given(key=st.sampled_from([*_good(), "far_m", "moved"]), value=_VALUES)
def test_any_manifest_is_read_or_refused(key: str, value: object) -> None:
    content = json.dumps({**_good(), key: value}).encode()
    said = None
    try:
        manifest = read_manifest("depth.json", content)
    except BadScan as fault:
        said = str(fault)
    assert (manifest.metres_per_step > 0.0) if said is None else ("\n" not in said)


POSE = [[1.0, 0.0, 0.0, 0.3], [0.0, 0.99, 0.1, 0.0], [0.0, -0.1, 0.99, 0.0], [0, 0, 0, 1]]


def test_rough_poses_are_chained_to_the_first(tmp_path: Path) -> None:
    start = tmp_path / "start.json"
    start.write_text(json.dumps({"T_b_a": POSE, "T_b_c": POSE, "note": "rough", "T_b_room": 1}))
    found = read_start(start, ["a", "b", "c"])
    assert np.allclose(found[1], np.linalg.inv(POSE), atol=1e-12)
    assert np.allclose(found[2], np.eye(4), atol=1e-12)  # to b and back again


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("{", "it is not JSON"),
        ("[]", "it holds no poses"),
        (json.dumps({"T_a_b": POSE}), "it does not say where c lies"),
        (json.dumps({"T_a_b": [[1, 2], [3, 4]]}), "is not four rows of four numbers"),
        (json.dumps({"T_a_b": np.diag([2, 2, 2, 1]).tolist()}), "is no turn and shift"),
        (json.dumps({"T_a_b": np.diag([1, 1, -1, 1]).tolist()}), "is no turn and shift"),
    ],
)
def test_poses_that_make_no_sense_are_refused(tmp_path: Path, content: str, words: str) -> None:
    start = tmp_path / "start.json"
    start.write_text(content)
    with pytest.raises(BadSettings, match=words):
        read_start(start, ["a", "b", "c"])


def test_one_view_is_no_merge() -> None:
    with pytest.raises(BadSettings, match="1 view cannot be merged; name two to 12 files"):
        read_views(["a.ply"])
