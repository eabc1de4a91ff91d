"""Depth frames and their manifest into a `Scan`: one surface in metres."""

from __future__ import annotations

import hashlib
from pathlib import Path, PurePath
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from fitsim.errors import BadScan
from fitsim.scan.depth.frame import points_of, read_frame, trusted
from fitsim.scan.depth.fuse import fused
from fitsim.scan.depth.manifest import Camera, Manifest, read_manifest
from fitsim.scan.scan import Provenance, Scan

if TYPE_CHECKING:
    from numpy.typing import NDArray


class DepthFrame(NamedTuple):
    """A frame as read.

    Attributes
    ----------
    name : of its picture.
    depth : (height, width) array, m; 0 where there is no trusted reading.
    camera : its camera.
    pose : (4, 4) array, rough T_scene_camera, or None.
    dropped : int, readings that were not trusted.
    """

    name: str
    depth: NDArray[np.float64]
    camera: Camera
    pose: NDArray[np.float64] | None
    dropped: int

    @property
    def points(self) -> NDArray[np.float64]:
        """Trusted points in the camera's frame, (n, 3) m."""
        return points_of(self.depth, self.camera)[self.depth > 0.0]


def read_depth(path: Path, content: bytes) -> Scan:
    """Read depth frames and fuse them into one surface.

    Parameters
    ----------
    path : Path
        The manifest; its frames lie beside it.
    content : bytes
        Of the manifest.

    Returns
    -------
    Scan
        A mesh in metres, in the frame of the first camera (of the manifest's scene, where it
        gives poses); the unit is not settled yet.

    Raises
    ------
    BadScan
        One sentence for each fault, see docs/scan-files.md; or the view that cannot be placed.
    """
    manifest = read_manifest(path.name, content)
    frames = read_frames(path.parent, manifest)
    depths, poses, notes = _placed(frames)
    vertices, triangles = fused(depths, [frame.camera for frame in frames], poses)
    if len(triangles) == 0:
        raise BadScan(path.name, "no surface can be made of its frames", "scan again")
    provenance = Provenance(
        path.name,
        _digest(path.parent, manifest, content),
        triangles=len(triangles),
        points=sum(int((frame.depth > 0.0).sum()) for frame in frames),
        notes=(*_dropped(frames), *notes),
    )
    return Scan(vertices, triangles, provenance)


def read_frames(folder: Path, manifest: Manifest) -> list[DepthFrame]:
    """Read all frames of a manifest, edges and flying pixels taken out.

    Parameters
    ----------
    folder : Path
        Where the manifest lies; only files in it are opened.
    manifest : Manifest

    Returns
    -------
    list of DepthFrame

    Raises
    ------
    BadScan
        See `fitsim.scan.depth.frame.read_frame`; or if a frame's name leads out of the folder.
    """
    frames = []
    for frame in manifest.frames:
        camera = manifest.camera_of(frame)
        assert camera is not None  # noqa: S101 - read_manifest has seen to it
        path = folder / _plain(frame.depth)
        depth = read_frame(path, camera, manifest.metres_per_step, manifest.far_m)
        good = trusted(depth, camera)
        dropped = int(((depth > 0.0) & ~good).sum())
        pose = None if frame.pose is None else np.array(frame.pose)
        frames.append(DepthFrame(path.name, np.where(good, depth, 0.0), camera, pose, dropped))
    return frames


def _plain(name: str) -> str:
    """A file name that stays in its folder."""
    if PurePath(name).name != name or name in {".", ".."} or "\\" in name or ":" in name:
        raise BadScan(name, "a depth frame must lie beside its manifest", "write its name alone")
    return name


def _placed(
    frames: list[DepthFrame],
) -> tuple[list[NDArray[np.float64]], NDArray[np.float64], tuple[str, ...]]:
    """Depths to fuse, where their cameras stood, and what is to be said about that."""
    if len(frames) > 1 and frames[0].pose is None:
        raise BadScan(frames[1].name, "it is not known where its camera stood", "give poses")
    poses = [np.eye(4) if frame.pose is None else frame.pose for frame in frames]
    return [frame.depth for frame in frames], np.array(poses), ()


def _dropped(frames: list[DepthFrame]) -> tuple[str, ...]:
    dropped = sum(frame.dropped for frame in frames)
    if dropped == 0:
        return ()
    return (f"{dropped:,} readings at edges and grazing the surface were left out.",)


def _digest(folder: Path, manifest: Manifest, content: bytes) -> str:
    """Of the manifest and all its frames in order: any change changes it."""
    whole = hashlib.sha256(content)
    for frame in manifest.frames:
        whole.update((folder / frame.depth).read_bytes())
    return whole.hexdigest()
