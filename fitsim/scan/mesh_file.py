"""PLY, OBJ, STL, GLB, GLTF and OFF into arrays, read raw: nothing merged, nothing mended."""

from __future__ import annotations

import io
import warnings
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from fitsim.errors import BadScan
from fitsim.scan.raw import NO_TRIANGLES, Raw, as_bytes, joined
from fitsim.scan.scan import Paint

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from fitsim.scan.formats import Format

PAINTED: Final = 250_000
"""Places at which a picture is read: 4.5 mm apart over a whole animal of 5 m², as corners are."""


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
    triangles = triangles.reshape(-1, 3)
    colours, paint, notes = _colours(piece, vertices, triangles)
    return Raw(
        vertices,
        triangles,
        colours,
        notes=notes,
        paint=paint,
    )


def _paint(
    piece: Any,  # noqa: ANN401 - trimesh is imported lazily
    vertices: NDArray[np.float64],
    triangles: NDArray[np.int64],
) -> Paint | None:
    """Colours of a picture strewn over the triangles, where it shows more than their corners."""
    visual = piece.visual
    if visual.uv is None or len(vertices) > PAINTED / 2:
        return None
    uv, sides = np.nan_to_num(np.asarray(visual.uv, dtype=np.float64)), vertices[triangles]
    area = np.linalg.norm(np.cross(sides[:, 1] - sides[:, 0], sides[:, 2] - sides[:, 0]), axis=1)
    if len(uv) != len(vertices) or not 0.0 < area.sum() < np.inf:
        return None
    rng = np.random.default_rng(0)
    # Even steps along the summed area strew more evenly than chance does
    steps = (np.arange(PAINTED) + rng.uniform(size=PAINTED)) / PAINTED
    chosen = np.searchsorted(np.cumsum(area), steps * area.sum()).clip(0, len(area) - 1)
    turn, share = rng.uniform(size=(2, PAINTED))
    root = np.sqrt(share)
    weights = np.column_stack([1.0 - root, root * (1.0 - turn), root * turn])
    places = np.einsum("nk,nki->ni", weights, sides[chosen])
    there = np.einsum("nk,nki->ni", weights, uv[triangles[chosen]])
    return Paint(places, as_bytes(np.asarray(visual.material.to_color(there)))[:, :3])


def _colours(
    piece: Any,  # noqa: ANN401 - trimesh is imported lazily
    vertices: NDArray[np.float64],
    triangles: NDArray[np.int64],
) -> tuple[NDArray[np.uint8] | None, Paint | None, tuple[str, ...]]:
    """Colours at the vertices, and between them where a picture shows more."""
    visual, paint = piece.visual, None
    kind = getattr(visual, "kind", None)
    try:
        if kind == "texture":
            paint = _paint(piece, vertices, triangles)
            visual = visual.to_color()
        elif kind not in {"vertex", "face"} or not len(visual.vertex_colors):
            return None, None, ()
        colours = as_bytes(np.asarray(visual.vertex_colors))[..., :3]
        return np.broadcast_to(colours, (len(vertices), 3)), paint, ()
    except Exception:  # noqa: BLE001 - a picture that cannot be read costs the colour, not the scan
        note = "The scan's colours could not be read; its shape is used without them."
        return None, None, (note,)
