"""All workshop files of one tree, written into a folder whole or not at all."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING

from fitsim.errors import BadSettings
from fitsim.files import whole_folder
from fitsim.workshop.dimensions import dimensions, in_words
from fitsim.workshop.dxf import write_dxf
from fitsim.workshop.lengthwise import plan, profile
from fitsim.workshop.paper import write_pdf
from fitsim.workshop.sections import cross_sections, usual_stations
from fitsim.workshop.solids import write_solids

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from fitsim.workshop.built import Built
    from fitsim.workshop.drawing import Drawing
    from fitsim.workshop.paper import Paper

HEADINGS = ("measure", "metric", "inch")

#: Files of a template in the order in which people want them, and what they are.
FILES = {
    "templates.pdf": "dimensions, profile, plan and sections to print in true size",
    "templates.dxf": "the same drawings in millimetres, a block each, on named layers",
    "dimensions.csv": "every measure in millimetres and inches",
    "bar-left.stl": "left bar as a closed solid in millimetres",
    "bar-right.stl": "right bar",
    "bars.3mf": "both bars as they stand to each other",
}


def write_template(
    made: Built,
    folder: Path,
    paper: Paper = "a4",
    stations: Sequence[float] = (),
    *,
    more: Sequence[Drawing] = (),
    beside: Mapping[str, str | bytes] | None = None,
) -> tuple[float, ...]:
    """Write drawings, solids and the dimension sheet of a tree.

    Parameters
    ----------
    made : the tree.
    folder : made if missing.
    paper : "a4" or "letter".
    stations : m, behind the front tip, where sections are taken; the usual ones if empty.
    more : further drawings, put last.
    beside : further files by name, text or bytes.

    Returns
    -------
    Tuple of float, m: the stations taken.

    Raises
    ------
    BadSettings
        A station is not on the bar, or the folder cannot be written.
    """
    at = tuple(sorted(stations)) or usual_stations(made)
    check_stations(made, at)
    drawings = [profile(made, at), plan(made, at), *cross_sections(made, at), *more]
    table = [HEADINGS, *map(in_words, dimensions(made, at))]
    with whole_folder(folder) as draft:
        heading = "Dimensions, and where each section is taken"
        write_pdf(drawings, [(heading, table)], made.tree.name, paper, draft / "templates.pdf")
        write_dxf(drawings, draft / "templates.dxf")
        (draft / "dimensions.csv").write_text(_csv(table), encoding="utf-8", newline="")
        write_solids(made, draft)
        for name, content in (beside or {}).items():
            (draft / name).write_bytes(content.encode() if isinstance(content, str) else content)
    return at


def check_stations(made: Built, stations: Sequence[float]) -> None:
    """Refuse stations that are not on the bar.

    Parameters
    ----------
    made : the tree.
    stations : m, behind the front tip.

    Raises
    ------
    BadSettings
        One is not between the rounded corners.
    """
    corner, length = made.bar.corner, made.bar.length
    for at in stations:
        if not corner <= at <= length - corner:
            raise BadSettings(
                f"station {at * 1e3:.0f} mm",
                f"is not between the rounded ends of a bar {length * 1e3:.0f} mm long",
                f"give {corner * 1e3:.0f} to {(length - corner) * 1e3:.0f} mm behind the front tip",
            )


def _csv(rows: Sequence[Sequence[str]]) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue()
