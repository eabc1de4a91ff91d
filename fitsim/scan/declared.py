"""Counts a file declares against the bytes it has, before any memory is given to them.

A cut-off file and a file made to fill the memory look alike: both promise more than they hold.
"""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING, Any, Final

from fitsim.errors import BadScan
from fitsim.scan.formats import STL_HEADER_BYTES, STL_TRIANGLE_BYTES, Format

if TYPE_CHECKING:
    from collections.abc import Callable

MAX_TRIANGLES: Final = 5_000_000
"""More than this is refused: two million took 570 MB, and an animal needs a tenth of that."""

_PLY_BYTES: Final = {
    **dict.fromkeys(("char", "uchar", "int8", "uint8"), 1),
    **dict.fromkeys(("short", "ushort", "int16", "uint16", "float16"), 2),
    **dict.fromkeys(("int", "uint", "int32", "uint32", "float", "float32"), 4),
    **dict.fromkeys(("double", "float64", "int64", "uint64"), 8),
}
_GLTF_BYTES: Final = {5120: 1, 5121: 1, 5122: 2, 5123: 2, 5125: 4, 5126: 4}
_GLTF_PARTS: Final = {
    "SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4, "MAT2": 4, "MAT3": 9, "MAT4": 16,
}  # fmt: skip
# The densest LZF token makes 264 bytes from 3 (libLZF format: 9-bit length, 13-bit offset).
_LZF_RATIO: Final = 88


def check_declared(name: str, format_: Format, content: bytes) -> None:
    r"""Refuse a file that promises more than its bytes can hold.

    Parameters
    ----------
    name : str
        File name, for the sentence.
    format_ : Format
        As `fitsim.scan.formats.file_format` told it.
    content : bytes
        The whole file.

    Raises
    ------
    BadScan
        If the file is cut off, its header cannot be read, or it is far too large.

    Examples
    --------
    >>> check_declared("a.off", "off", b"OFF\n8 6 12\n0 0 0\n")
    Traceback (most recent call last):
    fitsim.errors.BadScan: a.off: the file is cut off: it promises 8 points and 6 faces ...
    """
    checks: dict[str, Callable[[str, bytes], None]] = {
        "ply": _check_ply,
        "stl": _check_stl,
        "off": _check_off,
        "glb": _check_glb,
        "gltf": _check_gltf,
        "pcd": _check_pcd,
    }
    if format_ in checks:
        checks[format_](name, content)


def pcd_header(name: str, content: bytes) -> tuple[dict[str, list[str]], int]:
    r"""Read the header of a PCD file.

    Parameters
    ----------
    name : str
        File name, for the sentence.
    content : bytes
        The whole file.

    Returns
    -------
    header : dict of str to list of str
        Words by key, as FIELDS, SIZE, TYPE, COUNT, POINTS, DATA.
    start : int
        Byte at which the data begin.

    Raises
    ------
    BadScan
        If the header is broken.

    Examples
    --------
    >>> pcd_header("a.pcd", b"VERSION .7\nFIELDS x y z\nPOINTS 1\nDATA ascii\n0 0 0")[1]
    44
    """
    found = re.search(rb"^DATA[ \t]+\w+[ \t\r]*\n", content[:65536], re.MULTILINE)
    if found is None:
        raise _broken(name, "PCD")
    lines = content[: found.end()].decode("latin-1").splitlines()
    words = [line.split() for line in lines if line.strip() and not line.startswith("#")]
    return {w[0].upper(): w[1:] for w in words}, found.end()


def _check_ply(name: str, content: bytes) -> None:
    end = re.search(rb"end_header[ \t]*\r?\n", content[:1_000_000])
    if end is None:
        raise _broken(name, "PLY")
    lines = [line.split() for line in content[: end.start()].decode("latin-1").splitlines()]
    ascii_ = ["format", "ascii", "1.0"] in lines
    counts, least = {}, 0
    element, count = "", 0
    for words in lines:
        try:
            if words[:1] == ["element"]:
                element, count = words[1], int(words[2])
                counts[element] = count
                _check_size(name, count)
            elif words[:1] == ["property"]:
                least += count * _ply_property_bytes(words, element, ascii_=ascii_)
        except (IndexError, ValueError, KeyError) as error:
            raise _broken(name, "PLY") from error
    if "vertex" not in counts:
        raise _broken(name, "PLY")
    # The last number of an ascii file needs no separator after it; each element has a line.
    short = len(content) - end.end() + ascii_ < least
    if short or (ascii_ and _lines(content, end.end()) < sum(counts.values())):
        raise _cut_off(name, counts["vertex"], counts.get("face", 0))


def _ply_property_bytes(words: list[str], element: str, *, ascii_: bool) -> int:
    """Fewest bytes a property can take; a face has three corners or more."""
    if words[1] != "list":
        size = _PLY_BYTES[words[1]]
        return 2 if ascii_ else size
    corners = 3 if element == "face" and words[4].startswith("vertex_ind") else 0
    length, item = _PLY_BYTES[words[2]], _PLY_BYTES[words[3]]
    return 2 + 2 * corners if ascii_ else length + item * corners


def _check_stl(name: str, content: bytes) -> None:
    if content.lstrip().startswith(b"solid") and b"facet" in content[:4096]:
        if b"endsolid" not in content[-4096:]:
            raise BadScan(name, "the file is cut off: its last line is missing", _AGAIN)
        return
    if len(content) < STL_HEADER_BYTES:
        raise BadScan(name, "the file is cut off: it ends within its header", _AGAIN)
    count = int.from_bytes(content[80:84], "little")
    if len(content) < STL_HEADER_BYTES + STL_TRIANGLE_BYTES * count:
        raise _cut_off(name, 0, count)
    _check_size(name, count)


def _check_off(name: str, content: bytes) -> None:
    text = re.sub(rb"#[^\n]*", b"", content[:4096])
    found = re.match(rb"\s*\w*OFF\s+(\d+)\s+(\d+)", text)
    if found is None:
        raise _broken(name, "OFF")
    points, faces = int(found[1]), int(found[2])
    _check_size(name, points)
    _check_size(name, faces)
    # Three numbers a point, a count and three corners a face, a separator after each.
    short = len(content) - found.end() < 6 * points + 8 * faces - 1
    if short or _lines(content, found.end()) < points + faces:
        raise _cut_off(name, points, faces)


def _check_glb(name: str, content: bytes) -> None:
    if len(content) < 20 or len(content) < int.from_bytes(content[8:12], "little"):  # noqa: PLR2004 - bytes of the two headers
        raise BadScan(name, "the file is cut off: it is shorter than it says", _AGAIN)
    length = int.from_bytes(content[12:16], "little")
    _check_gltf_tree(name, _json(name, content[20 : 20 + length]), len(content))


def _check_gltf(name: str, content: bytes) -> None:
    _check_gltf_tree(name, _json(name, content), None)


def _check_gltf_tree(name: str, tree: dict[str, Any], size: int | None) -> None:
    packed = [e for e in tree.get("extensionsRequired", []) if "compression" in str(e)]
    if packed:
        raise BadScan(
            name, f"its mesh is packed ({packed[0]})", "export it without mesh compression"
        )
    try:
        accessors = [
            int(a["count"]) * _GLTF_BYTES[a["componentType"]] * _GLTF_PARTS[a["type"]]
            for a in tree.get("accessors", [])
        ]
        room = sum(int(b["byteLength"]) for b in tree.get("buffers", [])) if size is None else size
        _check_nodes(name, tree)
        _check_size(name, _gltf_corners(tree) // 3)
    except (KeyError, TypeError, ValueError, IndexError, AttributeError) as error:
        raise _broken(name, "glTF") from error
    if any(need > room or need < 0 for need in accessors):
        raise BadScan(name, "the file is cut off: it promises more than it holds", _AGAIN)


def _check_nodes(name: str, tree: dict[str, Any]) -> None:
    """Refuse nodes that hang under two parents or under themselves."""
    nodes = tree.get("nodes", [])
    children = [int(child) for node in nodes for child in node.get("children", [])]
    if len(set(children)) != len(children) or any(not 0 <= c < len(nodes) for c in children):
        raise _broken(name, "glTF")
    reached, front = set(), [n for n in range(len(nodes)) if n not in set(children)]
    while front:
        node = front.pop()
        reached.add(node)
        front.extend(int(child) for child in nodes[node].get("children", []))
    if len(reached) != len(nodes):
        raise _broken(name, "glTF")


def _gltf_corners(tree: dict[str, Any]) -> int:
    """Corners of all triangles, each mesh as often as a node shows it."""
    accessors, meshes = tree.get("accessors", []), tree.get("meshes", [])
    corners = [
        sum(
            int(accessors[p.get("indices", p["attributes"]["POSITION"])]["count"])
            for p in mesh["primitives"]
        )
        for mesh in meshes
    ]
    return sum(corners[node["mesh"]] for node in tree.get("nodes", []) if "mesh" in node)


def _check_pcd(name: str, content: bytes) -> None:
    header, start = pcd_header(name, content)
    try:
        points = int(header["POINTS"][0])
        sizes = [int(s) for s in header["SIZE"]]
        counts = [int(c) for c in header.get("COUNT", ["1"] * len(sizes))]
        kind = header["DATA"][0]
    except (KeyError, IndexError, ValueError) as error:
        raise _broken(name, "PCD") from error
    if points < 0 or min(sizes, default=0) < 1 or min(counts, default=0) < 1:
        raise _broken(name, "PCD")
    if not {"x", "y", "z"} <= set(header.get("FIELDS", [])):
        raise BadScan(name, "the points have no x, y and z", _AGAIN)
    _check_size(name, points)
    need = points * sum(s * c for s, c in zip(sizes, counts, strict=False))
    have = len(content) - start
    if kind == "ascii":
        need = 2 * points * sum(counts) - 1
    elif kind == "binary_compressed":
        packed, unpacked = (
            int.from_bytes(content[start + i : start + i + 4], "little") for i in (0, 4)
        )
        if unpacked != need or packed > have - 8 or unpacked > packed * _LZF_RATIO:
            raise _cut_off(name, points, 0)
        return
    if have < need or (kind == "ascii" and _lines(content, start) < points):
        raise _cut_off(name, points, 0)


def _lines(content: bytes, start: int) -> int:
    """Lines from `start` on, the last one with or without its end."""
    return content.count(b"\n", start) + (not content.endswith(b"\n"))


def _json(name: str, content: bytes) -> dict[str, Any]:
    try:
        tree = json.loads(content)
    except (ValueError, RecursionError) as error:
        raise _broken(name, "glTF") from error
    if not isinstance(tree, dict):
        raise _broken(name, "glTF")
    return tree


_AGAIN: Final = "export or copy the scan again"


def _check_size(name: str, count: int) -> None:
    if count < 0:
        raise BadScan(name, "its header cannot be read", _AGAIN)
    if count > MAX_TRIANGLES:
        raise BadScan(
            name,
            f"it promises {count:,} parts, more than a usual machine can hold",
            "export it thinned to less than a million triangles",
        )


def _broken(name: str, kind: str) -> BadScan:
    return BadScan(name, f"its {kind} header cannot be read", _AGAIN)


def _cut_off(name: str, points: int, faces: int) -> BadScan:
    parts = [f"{points:,} points"] * (points > 0) + [f"{faces:,} faces"] * (faces > 0)
    promised = " and ".join(parts)
    return BadScan(name, f"the file is cut off: it promises {promised} but ends too early", _AGAIN)
