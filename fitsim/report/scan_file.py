"""A scan written back to a file, for other programs to open."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fitsim.errors import BadSettings
from fitsim.files import whole_file

if TYPE_CHECKING:
    from pathlib import Path

    from fitsim.scan.scan import Scan


def write_scan(scan: Scan, path: Path) -> None:
    """Write a scan as binary PLY in metres, in the scanner's own frame, with its colours.

    Parameters
    ----------
    scan : Scan
        Triangles or points.
    path : Path
        A file whose name ends in ``.ply``.

    Raises
    ------
    BadSettings
        When the name has another ending or the file cannot be written.
    """
    import trimesh

    require_ply(path)
    shape: Any = (
        trimesh.PointCloud(scan.vertices, colors=scan.colours)  # type: ignore[no-untyped-call]
        if scan.is_points
        else trimesh.Trimesh(
            scan.vertices, scan.triangles, vertex_colors=scan.colours, process=False
        )
    )
    with whole_file(path) as draft:
        shape.export(draft, file_type="ply")


def require_ply(path: Path) -> None:
    """Say before the work, not after it, that a name does not end in ``.ply``.

    Parameters
    ----------
    path : Path
        The file to be written.

    Raises
    ------
    BadSettings
        When the name has another ending.
    """
    if path.suffix.lower() != ".ply":
        raise BadSettings(str(path), "only PLY is written", "end the name in .ply")
