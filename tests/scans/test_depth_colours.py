"""Colour pictures of depth frames, rendered from the demo mule with stickers at known places."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import pytest
from PIL import Image

from fitsim.scan.clean import cleaned
from fitsim.scan.depth.frame import points_of
from fitsim.scan.merging.files import joined_scan, read_views
from fitsim.scan.merging.merge import merged
from fitsim.scan.read import read_scan
from fitsim.scan.stickers import blobs_of
from tests.depths import CAMERA, LEFT, TOP, Shot, mule, shots, write_shots
from tests.painted import HIDES, STICKERS, Dot, dotted, hide, lit
from tests.trunk import scan_of

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

FULL_COLOUR = {"quality": 92, "subsampling": 0}
"""Of a JPEG: by default it keeps colour at half the picture's fineness, 11 mm here."""

ON_BACK = {"blue": (-0.30, 0.0), "green": (0.0, 0.15), "yellow": (-0.45, 0.12)}
"""(x, y) m, body frame: where one sticker each is put on the skin from above."""


@cache
def stuck() -> dict[str, NDArray[np.float64]]:
    """Places of the stickers, (3,) m, body frame."""
    vertices, _ = mule()
    return {
        name: vertices[np.argmin(((vertices[:, :2] - xy) ** 2).sum(axis=1))]
        for name, xy in ON_BACK.items()
    }


def coloured(points: NDArray[np.float64]) -> NDArray[np.uint8]:
    """What a camera sees at places of the body frame."""
    rng = np.random.default_rng(7)
    dots = [Dot(place, STICKERS[name], 0.030) for name, place in stuck().items()]
    return lit(points, dotted(points, hide(points, rng, HIDES["brown"]), dots), rng)


def picture(shot: Shot) -> Image.Image:
    """The colour picture registered to a depth frame."""
    T = shot.T_body_camera
    flat = points_of(shot.depth, CAMERA).reshape(-1, 3) @ T[:3, :3].T + T[:3, 3]
    colours = np.where(shot.depth.reshape(-1, 1) > 0.0, coloured(flat), 20)
    return Image.fromarray(colours.reshape(CAMERA.height, CAMERA.width, 3).astype(np.uint8))


def written(folder: Path, frames: list[Shot], ending: str) -> Path:
    """Depth frames with colours beside them, at their true poses."""
    path = write_shots(folder, frames, [shot.T_body_camera for shot in frames])
    manifest = json.loads(path.read_text())
    for frame, shot in zip(manifest["frames"], frames, strict=True):
        frame["colour"] = f"{shot.name}-colour.{ending}"
        picture(shot).save(folder / frame["colour"], **FULL_COLOUR)
    path.write_text(json.dumps(manifest))
    return path


@pytest.mark.parametrize(
    ("views", "ending"),
    [(["top"], "png"), pytest.param(["left", "top"], "jpg", marks=pytest.mark.slow)],
)
def test_stickers_are_found_on_depth_frames(tmp_path: Path, views: list[str], ending: str) -> None:
    places = {"left": LEFT, "top": TOP}
    frames = shots({v: places[v] for v in views}, np.random.default_rng(3), 0.0005)
    written(tmp_path, frames, ending)
    scan = cleaned(read_scan(tmp_path))
    assert scan.colours is not None
    found = {blob.colour: blob for blob in blobs_of(scan) if not blob.doubt}
    assert set(found) == set(ON_BACK)
    T = frames[0].T_body_camera if len(views) == 1 else np.eye(4)
    for name, blob in found.items():
        off = np.linalg.norm(T[:3, :3] @ blob.place + T[:3, 3] - stuck()[name])
        # A pixel is 5.5 mm wide there and the views lie a few millimetres apart
        assert off < 2.45 * blob.sd_m + 0.003, (name, off, blob.sd_m)


def test_a_changed_colour_picture_changes_the_hash(tmp_path: Path) -> None:
    frames = shots({"top": TOP}, np.random.default_rng(3))
    written(tmp_path, frames, "png")
    before = read_scan(tmp_path).provenance.sha256
    picture(frames[0]).transpose(Image.Transpose.ROTATE_180).save(tmp_path / "top-colour.png")
    assert read_scan(tmp_path).provenance.sha256 != before


@pytest.mark.slow
def test_merged_views_keep_their_colours(tmp_path: Path) -> None:
    from fitsim.report.scan_file import write_scan

    vertices, triangles = mule()
    scan = replace(scan_of(vertices, triangles), colours=coloured(vertices))
    halves = {"left": vertices[:, 1] > -0.15, "right": vertices[:, 1] < 0.15}
    for name, kept in halves.items():
        rows = np.flatnonzero(kept)
        part = replace(scan_of(vertices[rows]), colours=scan.colours[rows])  # type: ignore[index]
        write_scan(part, tmp_path / f"{name}.ply")
    views = read_views([str(tmp_path / f"{name}.ply") for name in halves], "m")
    result = merged(views, [np.eye(4), np.eye(4)])
    whole = joined_scan(views, result)
    found = {blob.colour: blob for blob in blobs_of(whole) if not blob.doubt}
    assert set(found) == set(ON_BACK)
    for name, blob in found.items():
        assert np.linalg.norm(blob.place - stuck()[name]) < 2.45 * blob.sd_m
    bare = [views[0], replace(views[1], colours=None)]
    assert joined_scan(bare, result).colours is None
