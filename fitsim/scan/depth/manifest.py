"""The file that says what a set of depth frames is: `depth.json`, see docs/scan-files.md."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Annotated, Any, Final, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from fitsim.errors import BadScan

if TYPE_CHECKING:
    from pydantic_core import ErrorDetails

MANIFEST: Final = "depth.json"
"""Name of the manifest in a folder of depth frames."""
MOST_FRAMES: Final = 12

_Row = Annotated[tuple[float, ...], Field(min_length=4, max_length=4)]
_SENTENCES: Final = {
    "missing": ("is missing", "add it"),
    "extra_forbidden": ("is not a word of this file", "leave it out or correct its spelling"),
    "greater_than": ("is too small", "give more than {gt:g}"),
    "greater_than_equal": ("is too small", "give {ge:g} or more"),
    "less_than_equal": ("is too large", "give {le:g} or less"),
    "finite_number": ("is not a finite number", "give a plain number"),
    "literal_error": ("is a version that is not read", "write 1"),
    "too_short": ("has too few entries", "give {min_length} or more"),
    "too_long": ("has too many entries", "give {max_length} or fewer"),
}


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class Camera(_Table):
    """A pinhole camera without distortion.

    Attributes
    ----------
    width, height : pixels.
    fx, fy : focal lengths, pixels.
    cx, cy : principal point, pixels, from the middle of the upper left pixel.
    """

    width: int = Field(ge=16, le=8192)
    height: int = Field(ge=16, le=8192)
    fx: float = Field(gt=0.0)
    fy: float = Field(gt=0.0)
    cx: float
    cy: float


class Frame(_Table):
    """One depth frame.

    Attributes
    ----------
    depth : name of its 16-bit PNG, in the manifest's folder.
    colour : name of a PNG or JPEG in the same folder, registered to the depth picture.
    camera : its own, where it is not that of all frames.
    pose : T_scene_camera, rows of a (4, 4) array, m: roughly where the camera stood.
    """

    depth: str = Field(min_length=1)
    colour: str | None = Field(default=None, min_length=1)
    camera: Camera | None = None
    pose: Annotated[tuple[_Row, ...], Field(min_length=4, max_length=4)] | None = None


class Manifest(_Table):
    """What a `depth.json` holds.

    Attributes
    ----------
    depth_frames : version of the layout.
    metres_per_step : m, what one step of a pixel's value means.
    far_m : m, beyond which readings are not used.
    moved : whether the animal moved between the frames.
    camera : of all frames that have none of their own.
    frames : the frames.
    """

    depth_frames: Literal[1]
    metres_per_step: float = Field(gt=0.0, le=0.1)
    far_m: float = Field(default=4.0, gt=0.0, le=65.0)
    moved: bool = False
    camera: Camera | None = None
    frames: tuple[Frame, ...] = Field(min_length=1, max_length=MOST_FRAMES)

    def camera_of(self, frame: Frame) -> Camera | None:
        """The frame's own camera, or that of all."""
        return frame.camera or self.camera


def read_manifest(name: str, content: bytes) -> Manifest:
    """Read and check a manifest.

    Parameters
    ----------
    name : str
        File name, for the sentence.
    content : bytes
        The whole file.

    Returns
    -------
    Manifest
        In which every frame has a camera, and all frames or none have poses and colours.

    Raises
    ------
    BadScan
        If it is no JSON, or the first thing that is missing, misspelt or makes no sense.

    Examples
    --------
    >>> read_manifest("depth.json", b'{"depth_frames": 1, "metres_per_step": 0.001}')
    Traceback (most recent call last):
    fitsim.errors.BadScan: depth.json: frames is missing; add it.
    """
    try:
        data = json.loads(content)
    except (ValueError, RecursionError) as error:
        raise BadScan(name, "it is not JSON", "write it as docs/scan-files.md shows") from error
    if not isinstance(data, dict) or "depth_frames" not in data:
        raise BadScan(
            name, "it does not describe depth frames", 'begin it with {"depth_frames": 1, ...'
        )
    manifest = _checked(name, data)
    for number, frame in enumerate(manifest.frames):
        if manifest.camera_of(frame) is None:
            fault = f"frame {number + 1} ({frame.depth}) has no camera"
            raise BadScan(name, fault, "give width, height, fx, fy, cx and cy under camera")
    coloured = sum(frame.colour is not None for frame in manifest.frames)
    if coloured not in {0, len(manifest.frames)}:
        fault = f"only {coloured} of {len(manifest.frames)} frames have a colour picture"
        raise BadScan(name, fault, "give all of them one, or none")
    posed = sum(frame.pose is not None for frame in manifest.frames)
    if posed not in {0, len(manifest.frames)}:
        fault = f"only {posed} of {len(manifest.frames)} frames have a pose"
        raise BadScan(name, fault, "give all of them one, or none")
    if manifest.moved and not posed:
        raise BadScan(name, "the animal moved and no frame has a pose", "give rough poses")
    return manifest


def _checked(name: str, data: dict[str, Any]) -> Manifest:
    try:
        return Manifest.model_validate(data)
    except ValidationError as error:
        order = {"extra_forbidden": 0, "missing": 2}
        first = min(error.errors(), key=lambda one: order.get(one["type"], 1))
        raise _as_sentence(name, first) from error


def _as_sentence(name: str, error: ErrorDetails) -> BadScan:
    """What pydantic found, in our words; places in lists are counted from 1 as people do."""
    place = ".".join(str(p + 1) if isinstance(p, int) else p for p in error["loc"])
    said, mend = _SENTENCES.get(
        error["type"], (f"cannot be used ({error['msg'].lower()})", "give what the page shows")
    )
    return BadScan(name, f"{place} {said}", mend.format(**error.get("ctx", {})))
