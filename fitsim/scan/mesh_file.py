"""PLY, OBJ, STL, GLB, GLTF and OFF into arrays, read raw: nothing merged, nothing mended."""

from __future__ import annotations

import io
import warnings
from typing import TYPE_CHECKING, Any

import numpy as np

from fitsim.errors import BadScan
from fitsim.scan.raw import NO_TRIANGLES, Raw, as_bytes, joined

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from fitsim.scan.formats import Format


def read_mesh_file(path: Path, format_: Format, content: bytes) -> Raw:
    r"""Read a mesh, or the points of a PLY.

    Materials and buffers named by the file are looked for in the file's own folder and below
    it, nowhere else.

    Parameters
    ----------
    path : pathlib.Path
        Where the file lies.
    format_ : Format
        What it is.
    content : bytes
        The whole file.

    Returns
    -------
    Raw
        All its meshes, placed as the file places them.

    Raises
    ------
    BadScan
        If it cannot be read or holds no geometry.

    Examples
    --------
    >>> from pathlib import Path
    >>> text = b"OFF\n3 1 0\n0 0 0\n1 0 0\n0 1 0\n3 0 1 2\n"
    >>> read_mesh_file(Path("one.off"), "off", text).triangles.tolist()
    [[0, 1, 2]]
    """
    try:
        parts = [_raw(piece, place) for piece, place in _pieces(path, format_, content)]
    except Exception as error:  # a broken file makes the parsers raise anything
        reason = (str(error).splitlines() or [""])[0][:120] or type(error).__name__
        if str(path.parent) in str(error) or "outside" in reason.lower():
            reason = "it names a file that is not there or lies outside its folder"
        raise BadScan(
            path.name,
            f"it cannot be read as {format_.upper()} ({reason})",
            "export or copy the scan again",
        ) from error
    parts = [part for part in parts if len(part.vertices)]
    meshes = [part for part in parts if len(part.triangles)] or parts
    if not meshes:
        raise BadScan(path.name, "there is no surface and no point in it", "export the scan again")
    return joined(meshes)


def _pieces(path: Path, format_: Format, content: bytes) -> list[tuple[Any, NDArray[np.float64]]]:
    """Each mesh or cloud with its place, (4, 4) T_file_piece."""
    import trimesh
    from PIL.Image import DecompressionBombWarning

    with warnings.catch_warnings():
        # A picture past this size is left out like a broken one: 169 million pixels took 2.3 GB.
        warnings.simplefilter("error", DecompressionBombWarning)
        scene = trimesh.load_scene(
            io.BytesIO(content),
            file_type=format_,
            resolver=trimesh.resolvers.FilePathResolver(str(path)),
            process=False,
            maintain_order=True,
        )
    placed = [scene.graph[node] for node in scene.graph.nodes_geometry]
    pieces = [(scene.geometry[name], np.asarray(place)) for place, name in placed]
    return [p for p in pieces if isinstance(p[0], trimesh.Trimesh | trimesh.PointCloud)]


def _raw(piece: Any, T_file_piece: NDArray[np.float64]) -> Raw:  # noqa: ANN401 - trimesh is imported lazily
    vertices = np.asarray(piece.vertices, dtype=np.float64).reshape(-1, 3)
    if not np.array_equal(T_file_piece, np.eye(4)):
        vertices = vertices @ T_file_piece[:3, :3].T + T_file_piece[:3, 3]
    faces = getattr(piece, "faces", None)
    triangles = NO_TRIANGLES if faces is None else np.asarray(faces, dtype=np.int64)
    colours, notes = _colours(piece, len(vertices))
    return Raw(
        vertices,
        triangles.reshape(-1, 3),
        colours,
        notes=notes,
    )


def _colours(piece: Any, count: int) -> tuple[NDArray[np.uint8] | None, tuple[str, ...]]:  # noqa: ANN401 - trimesh is imported lazily
    """Colours at the vertices; a texture is read at each vertex, a plain material repeated."""
    visual = piece.visual
    kind = getattr(visual, "kind", None)
    try:
        if kind == "texture":
            visual = visual.to_color()
        elif kind not in {"vertex", "face"}:
            return None, ()
        colours = as_bytes(np.asarray(visual.vertex_colors))[..., :3]
        return np.broadcast_to(colours, (count, 3)), ()
    except Exception:  # noqa: BLE001 - a picture that cannot be read costs the colour, not the scan
        return None, ("The scan's colours could not be read; its shape is used without them.",)
