"""Lists of points into arrays: XYZ, CSV, TXT by text, PCD by Open3D."""

from __future__ import annotations

import io
import re
import warnings
from typing import TYPE_CHECKING, Final

import numpy as np

from fitsim.errors import BadScan
from fitsim.scan.declared import pcd_header
from fitsim.scan.open3d_loader import open3d
from fitsim.scan.raw import NO_TRIANGLES, Raw, as_bytes

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

LONG: Final = 1_000_000
"""Bytes of text from which a faster reader is worth loading."""
_COLOUR_NAMES: Final = (("r", "g", "b"), ("red", "green", "blue"))
_NORMAL_NAMES: Final = ("nx", "ny", "nz")
_HEADER_LINES: Final = 100
_HEAD_BYTES: Final = 65_536
_MEND: Final = "export it with x y z on each line"
_UNIT_NORMAL_TOLERANCE: Final = 0.02  # three decimals in a text file, with room


def read_point_text(name: str, content: bytes) -> Raw:
    r"""Read points from text, one a line: x y z, then colours or normals if there are any.

    Spaces, tabs, commas or semicolons separate; decimal commas are understood between
    semicolons or tabs; a line of column names, comments (# or //) and a first line with the
    count alone are skipped.

    Parameters
    ----------
    name : str
        File name, for the sentence.
    content : bytes
        The whole file.

    Returns
    -------
    Raw
        Without triangles.

    Raises
    ------
    BadScan
        If a line cannot be read or has fewer than three numbers.

    Examples
    --------
    >>> read_point_text("a.csv", b"x;y;z\n0,1;0,2;0,3\n1;2;3\n").vertices.tolist()
    [[0.1, 0.2, 0.3], [1.0, 2.0, 3.0]]
    """
    read = _quickly(content) if len(content) > LONG else None
    heads, table = read or _line_by_line(name, content)
    words = (re.findall(r"[a-z_]+", line.lower()) for line in heads)
    names = next((found for found in words if "x" in found), [])
    colours, normals = _extras(table[:, 3:], names[3:])
    return Raw(table[:, :3].copy(), NO_TRIANGLES, colours, normals)


def _quickly(content: bytes) -> tuple[list[str], NDArray[np.float64]] | None:
    """Lines before the numbers, and the numbers; None where they are not laid out evenly.

    Five million points in 2 s instead of 10, and without a string for each line; the reader is
    stricter (one separator, no comments), so what it refuses is read line by line.
    """
    import pyarrow as pa
    from pyarrow import csv

    start, heads, separator, line = 0, [], None, ""
    for raw in content[:_HEAD_BYTES].splitlines(keepends=True)[:_HEADER_LINES]:
        line = raw.decode("utf-8-sig", errors="replace")
        separator = _separator(line)
        if separator is not None:
            break
        start += len(raw)
        if not line.lstrip().startswith("//"):
            heads.append(line)
    if separator is None:
        return None
    columns = [str(k) for k in range(len(line.split(None if separator == " " else separator)))]
    decimal = "," if separator != "," and "," in line else "."
    try:
        table = csv.read_csv(
            pa.py_buffer(memoryview(content)[start:]),
            csv.ReadOptions(column_names=columns),
            csv.ParseOptions(delimiter=separator, quote_char=False),
            csv.ConvertOptions(
                column_types=dict.fromkeys(columns, pa.float64()), null_values=[],
                decimal_point=decimal,
            ),
        )  # fmt: skip
    except pa.ArrowInvalid:
        return None
    return heads, np.column_stack([column.to_numpy() for column in table.columns])


def _line_by_line(name: str, content: bytes) -> tuple[list[str], NDArray[np.float64]]:
    """Lines before the numbers, and the numbers."""
    text = content.decode("utf-8-sig", errors="replace")
    lines = [ln for ln in text.splitlines() if ln.strip() and not ln.lstrip().startswith("//")]
    rows = (i for i, line in enumerate(lines[:_HEADER_LINES]) if _separator(line) is not None)
    first = next(rows, None)
    if first is None:
        raise BadScan(name, "there is no line of three numbers in it", _MEND)
    return lines[:first], _table(name, lines[first:])


def read_pcd(path: Path, content: bytes) -> Raw:
    """Read a PCD file of any of its three kinds.

    Points a depth camera could not measure are stored as NaN or as the camera's own place; they
    are no part of the shape and are left out with a note.

    Parameters
    ----------
    path : pathlib.Path
        Where the file lies.
    content : bytes
        The whole file.

    Returns
    -------
    Raw
        Without triangles.

    Raises
    ------
    BadScan
        If it does not hold as many points as it declares.
    """
    module = open3d()
    header, _ = pcd_header(path.name, content)
    cloud = module.io.read_point_cloud(
        str(path), format="pcd", remove_nan_points=False, remove_infinite_points=False
    )
    points = np.asarray(cloud.points, dtype=np.float64)
    if len(points) != int(header["POINTS"][0]):
        raise BadScan(
            path.name,
            f"only {len(points):,} of its {int(header['POINTS'][0]):,} points can be read",
            "export or copy the scan again",
        )
    colours = as_bytes(np.asarray(cloud.colors)) if cloud.has_colors() else None
    normals = np.asarray(cloud.normals) if cloud.has_normals() else None
    keep = np.isfinite(points).all(axis=1) & points.any(axis=1)
    lost = int(len(points) - keep.sum())
    notes = (f"{lost:,} points the camera could not measure were left out.",) if lost else ()
    return Raw(
        points[keep],
        NO_TRIANGLES,
        None if colours is None else colours[keep],
        None if normals is None else normals[keep],
        notes,
    )


def _separator(line: str) -> str | None:
    """What parts the numbers of a line; None if they are not three numbers or more."""
    for separator in (";", "\t", ",", " "):
        words = line.split() if separator == " " else line.strip().split(separator)
        if separator != ",":
            words = [word.replace(",", ".") for word in words]
        if len(words) >= 3 and all(map(_is_number, words)):  # noqa: PLR2004 - x, y and z
            return separator
    return None


def _is_number(word: str) -> bool:
    try:
        float(word)
    except ValueError:
        return False
    return True


def _table(name: str, lines: list[str]) -> NDArray[np.float64]:
    separator = _separator(lines[0])
    text = "\n".join(lines)
    if separator != ",":
        text = text.replace(",", ".")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            return np.loadtxt(
                io.StringIO(text), delimiter=None if separator == " " else separator, ndmin=2
            )
    except (ValueError, UserWarning) as error:
        raise BadScan(name, f"a line is not numbers ({_short(error)})", _MEND) from error


def _short(error: Exception) -> str:
    return str(error).split(";", maxsplit=1)[0].strip(".")[:100]


def _extras(
    rest: NDArray[np.float64], names: list[str]
) -> tuple[NDArray[np.uint8] | None, NDArray[np.float64] | None]:
    """Columns behind x y z: told by their names, or by what they hold."""
    colours, normals = _named(rest, names)
    if names:
        return (None if colours is None else as_bytes(colours)), normals
    for first in range(rest.shape[1] - 2):
        three = rest[:, first : first + 3]
        if normals is None and _are_normals(three):
            normals = three
        elif colours is None and _are_colours(three):
            colours = three
    return (None if colours is None else as_bytes(colours)), normals


def _named(
    rest: NDArray[np.float64], names: list[str]
) -> tuple[NDArray[np.float64] | None, NDArray[np.float64] | None]:
    def columns(wanted: tuple[str, ...]) -> NDArray[np.float64] | None:
        if not set(wanted) <= set(names[: rest.shape[1]]):
            return None
        return rest[:, [names.index(w) for w in wanted]]

    colours = next((c for c in map(columns, _COLOUR_NAMES) if c is not None), None)
    return colours, columns(_NORMAL_NAMES)


def _are_normals(three: NDArray[np.float64]) -> bool:
    lengths = np.linalg.norm(three, axis=1)
    return bool((np.abs(lengths - 1.0) < _UNIT_NORMAL_TOLERANCE).mean() > 0.9)  # noqa: PLR2004 - a few may be missing


def _are_colours(three: NDArray[np.float64]) -> bool:
    whole = bool((three == np.rint(three)).all())
    return whole and three.min() >= 0.0 and 1.0 < three.max() <= 255.0  # noqa: PLR2004 - bytes
