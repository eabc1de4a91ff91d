"""Depth frames and their manifest into a `Scan`: one surface in metres."""

from __future__ import annotations

import hashlib
from pathlib import Path, PurePath
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np
from scipy.spatial import cKDTree

from fitsim.errors import BadScan
from fitsim.scan.depth.colours import read_colour, seen_colours
from fitsim.scan.depth.frame import points_of, read_frame, trusted
from fitsim.scan.depth.fuse import fused
from fitsim.scan.depth.manifest import Camera, Manifest, read_manifest
from fitsim.scan.merging.merge import merge_notes, merged
from fitsim.scan.merging.start_file import rough_motion
from fitsim.scan.merging.starts import orthonormal
from fitsim.scan.merging.view import View, view_of
from fitsim.scan.scan import Provenance, Scan

if TYPE_CHECKING:
    from numpy.typing import NDArray

_NEAR: Final = 0.010  # m: cleaning thins, so that a reading may be this far from what was kept


class DepthFrame(NamedTuple):
    """A frame as read.

    Attributes
    ----------
    name : of its picture.
    depth : (height, width) array, m; 0 where there is no trusted reading.
    camera : its camera.
    pose : (4, 4) array, rough T_scene_camera, or None.
    dropped : int, readings that were not trusted.
    picture : (height, width, 3) uint8 array, its colours, or None.
    """

    name: str
    depth: NDArray[np.float64]
    camera: Camera
    pose: NDArray[np.float64] | None
    dropped: int
    picture: NDArray[np.uint8] | None = None

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
    depths, poses, notes = _placed(frames, moved=manifest.moved)
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
    return Scan(vertices, triangles, provenance, _colours(vertices, triangles, frames, poses))


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
    BadSettings
        If a pose is no turn and shift.
    """
    frames = []
    for frame in manifest.frames:
        camera = manifest.camera_of(frame)
        assert camera is not None  # noqa: S101 - read_manifest has seen to it
        path = _beside(folder, frame.depth)
        depth = read_frame(path, camera, manifest.metres_per_step, manifest.far_m)
        good = trusted(depth, camera)
        dropped = int(((depth > 0.0) & ~good).sum())
        pose = None if frame.pose is None else rough_motion(f"{frame.depth}, pose", frame.pose)
        picture = None
        if frame.colour is not None:
            picture = read_colour(_beside(folder, frame.colour), camera)
        kept = np.where(good, depth, 0.0)
        frames.append(DepthFrame(path.name, kept, camera, pose, dropped, picture))
    return frames


def _colours(
    vertices: NDArray[np.float64],
    triangles: NDArray[np.int32],
    frames: list[DepthFrame],
    poses: NDArray[np.float64],
) -> NDArray[np.uint8] | None:
    """Colours of the fused surface, where the frames have pictures of them."""
    pictures = [frame.picture for frame in frames if frame.picture is not None]
    if not pictures:
        return None
    import trimesh

    depths, cameras = [frame.depth for frame in frames], [frame.camera for frame in frames]
    normals = trimesh.Trimesh(vertices, triangles, process=False).vertex_normals
    return seen_colours(
        vertices, np.asarray(normals), depths, pictures, cameras, T_scene_camera=poses
    )


def _beside(folder: Path, name: str) -> Path:
    """A file of the folder itself: no path, and no link that leads out of it."""
    plain = PurePath(name).name == name and name not in {".", ".."} and not set("\\:\0") & set(name)
    if not plain or (folder / name).resolve().parent != folder.resolve():
        raise BadScan(name, "a picture must lie beside its manifest", "write its name alone")
    return folder / name


def _placed(
    frames: list[DepthFrame], *, moved: bool
) -> tuple[list[NDArray[np.float64]], NDArray[np.float64], tuple[str, ...]]:
    """Depths to fuse, where their cameras stood, and what is to be said about that."""
    if len(frames) == 1:
        return [frames[0].depth], np.eye(4)[None], ()
    views = [_view(frame) for frame in frames]
    poses = [frame.pose for frame in frames if frame.pose is not None]
    start = [np.linalg.inv(poses[0]) @ T for T in poses] if poses else None
    result = merged(views, start, moved=moved)
    scene = orthonormal(poses[0]) if poses else np.eye(4)
    depths = [_of_animal(frame, view) for frame, view in zip(frames, views, strict=True)]
    return depths, scene @ result.T_first_view, tuple(merge_notes(views, result))


def _view(frame: DepthFrame) -> View:
    points = frame.points
    provenance = Provenance(frame.name, "", 0, len(points), unit="m")
    return view_of(Scan(points, np.empty((0, 3), np.int32), provenance), np.zeros(3))


def _of_animal(frame: DepthFrame, view: View) -> NDArray[np.float64]:
    """The frame's depth without the room: it stands still while the animal moves."""
    near, _ = cKDTree(view.points).query(frame.points, distance_upper_bound=_NEAR, workers=2)
    depth = frame.depth.copy()
    depth[depth > 0.0] = np.where(np.isfinite(near), depth[depth > 0.0], 0.0)
    return depth


def _dropped(frames: list[DepthFrame]) -> tuple[str, ...]:
    dropped = sum(frame.dropped for frame in frames)
    if dropped == 0:
        return ()
    return (f"{dropped:,} readings at edges and grazing the surface were left out.",)


def _digest(folder: Path, manifest: Manifest, content: bytes) -> str:
    """Of the manifest and all its pictures in order: any change changes it."""
    whole = hashlib.sha256(content)
    for frame in manifest.frames:
        for name in filter(None, (frame.depth, frame.colour)):
            whole.update((folder / name).read_bytes())
    return whole.hexdigest()
