"""Which kind of file a scan is: by its name, and by what it holds."""

from __future__ import annotations

import re
from pathlib import PurePath
from typing import Final, Literal

from fitsim.errors import BadScan

Format = Literal["ply", "obj", "stl", "glb", "gltf", "off", "pcd", "xyz", "tracings"]

EXTENSIONS: Final[dict[str, Format]] = {
    ".ply": "ply",
    ".obj": "obj",
    ".stl": "stl",
    ".glb": "glb",
    ".gltf": "gltf",
    ".off": "off",
    ".pcd": "pcd",
    ".xyz": "xyz",
    ".txt": "xyz",
    ".csv": "xyz",
    ".asc": "xyz",
    ".pts": "xyz",
}
"""Format by file extension."""

READABLE: Final = "PLY, OBJ, STL, GLB, GLTF, OFF, PCD, XYZ, CSV or TXT"

STL_HEADER_BYTES: Final = 84
STL_TRIANGLE_BYTES: Final = 50

_COMMENTS = rb"(?:\s*(?:#|//)[^\n]*\n)*\s*"
_OBJ_WORDS = rb"(?:\s*#[^\n]*\n|\s*(?:mtllib|o|g|usemtl|s)\b[^\n]*\n|\s)*"
_NUMBER = rb"[-+]?(?:\d+[.,]?\d*|[.]\d+)(?:[eE][-+]?\d+)?|[-+]?(?:nan|inf)"
_TRACINGS = rb"(?:\xef\xbb\xbf)?(?:\s*#[^\n]*\n)*\s*\"?part\"?\s*[,;\t]\s*\"?station"
_MAGIC: Final[tuple[tuple[str, re.Pattern[bytes]], ...]] = (
    ("ply", re.compile(rb"ply[ \t]*[\r\n]")),
    ("glb", re.compile(rb"glTF")),
    ("off", re.compile(rb"\s*(?:ST)?C?N?4?n?OFF(?:\s|$)")),
    ("pcd", re.compile(rb"(?:#[^\n]*\n|\s)*#? ?\.?(?:PCD|VERSION [.]?\d)")),
    ("gltf", re.compile(rb'\s*\{(?s:.*)"asset"')),
    ("stl", re.compile(rb"\s*solid\b(?s:.*?)\b(?:facet|endsolid)\b")),
    ("obj", re.compile(_OBJ_WORDS + rb"vn?t? +[-+.\d]")),
    ("tracings", re.compile(_TRACINGS)),
    ("xyz", re.compile(_COMMENTS + rb"(?:%b)(?:\s*[,;\t ]\s*(?:%b))+" % (_NUMBER, _NUMBER))),
)
_OTHERS: Final[tuple[tuple[str, bytes], ...]] = (
    ("a ZIP archive", b"PK\x03\x04"),
    ("a JPEG picture", b"\xff\xd8\xff"),
    ("a PNG picture", b"\x89PNG"),
    ("a PDF document", b"%PDF"),
    ("a web page", b"<!DOCTYPE"),
    ("a web page", b"<html"),
    ("a gzip archive", b"\x1f\x8b"),
)


def file_format(name: str, content: bytes) -> Format:
    r"""Tell the format of a file, and that its name and its content agree.

    Parameters
    ----------
    name : str
        File name with its extension.
    content : bytes
        The whole file.

    Returns
    -------
    {"ply", "obj", "stl", "glb", "gltf", "off", "pcd", "xyz", "tracings"}
        Plain lists of points, whatever their extension, are "xyz"; cross-section tracings are
        told from them by their heading.

    Raises
    ------
    BadScan
        If the extension is not known, the file is empty, or the content is of another kind.

    Examples
    --------
    >>> file_format("back.ply", b"ply\nformat ascii 1.0\n")
    'ply'
    >>> file_format("back.ply", b"solid back\n facet normal 0 0 1\n")
    Traceback (most recent call last):
    fitsim.errors.BadScan: back.ply: the name says PLY but the content is STL; rename it ...
    """
    extension = PurePath(name).suffix.lower()
    if extension not in EXTENSIONS:
        fault = f'"{extension}" files are not read' if extension else "the name has no extension"
        raise BadScan(name, fault, f"export the scan as {READABLE}")
    if not content.strip(b"\x00 \t\r\n"):
        raise BadScan(name, "the file is empty", "export or copy the scan again")
    named, found = EXTENSIONS[extension], content_format(content)
    if named == "xyz" and found == "tracings":
        return found
    if found == named or (found is None and named in {"stl", "obj", "xyz"} and _unsigned(content)):
        return named
    raise _contradiction(name, named, found, content)


def content_format(content: bytes) -> Format | None:
    r"""Tell the format from the first bytes alone; None if they say nothing.

    Examples
    --------
    >>> content_format(b"OFF\n8 6 12\n"), content_format(b"0.1, 0.2, 0.3\n")
    ('off', 'xyz')
    """
    if _is_binary_stl(content):
        return "stl"
    head = content[:4096]
    for format_, pattern in _MAGIC:
        if pattern.match(head):
            return format_  # type: ignore[return-value]
    return None


def _is_binary_stl(content: bytes) -> bool:
    if len(content) < STL_HEADER_BYTES:
        return False
    count = int.from_bytes(content[80:84], "little")
    return len(content) == STL_HEADER_BYTES + STL_TRIANGLE_BYTES * count


def _unsigned(content: bytes) -> bool:
    return not any(content.startswith(magic) for _, magic in _OTHERS)


def _contradiction(name: str, named: Format, found: Format | None, content: bytes) -> BadScan:
    says = f"the name says {named.upper()} but"
    if found is not None:
        ending = "csv" if found == "tracings" else found
        right = PurePath(name).with_suffix(f".{ending}").name
        return BadScan(name, f"{says} the content is {found.upper()}", f"rename it to {right}")
    for kind, magic in _OTHERS:
        if content.startswith(magic):
            return BadScan(name, f"{says} it is {kind}", f"export the scan as {READABLE}")
    return BadScan(name, f"{says} the content is not", f"export the scan again as {READABLE}")
