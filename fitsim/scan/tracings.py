"""Cross-section tracings, taken with a flexible curve and a pencil, into a `Scan`.

The file is described in docs/tracings-file.md: one line for the withers, some for the spine
profile, and the points of four or more tracings, with stations counted from the rear edge of the
shoulder blade, forward positive.
"""

from __future__ import annotations

import csv
import hashlib
import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, get_args

import numpy as np

from fitsim.errors import BadScan, BadSettings
from fitsim.scan.loft import (
    STEP,
    between_sections,
    grid_triangles,
    left_out,
    lofted,
    sections_of,
    stations_of,
)
from fitsim.scan.scale import settled
from fitsim.scan.scan import Provenance, Scan, Unit
from fitsim.units import show_length

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from fitsim.scan.loft import Sections
    from fitsim.scan.scale import Known

LOFTED: Final = "Lofted from"
"""How the note of a scan made from tracings begins."""
FEWEST_SECTIONS: Final = 4
"""A cubic needs four; with fewer there is nothing to judge the accuracy by either."""
FEWEST_POINTS: Final = 5
"""Of one tracing, or of one side of it, and the least a smoothing spline takes."""
FEWEST_SPINE: Final = 4
WIDEST_GAP: Final = 0.15
"""m between tracings: a fat pocket is about this long, and would be missed (from memory)."""
AT_SPINE: Final = 0.015
"""m: a one-sided tracing that begins within this of the spine begins at it."""
ON_SPINE: Final = 0.001
"""m: a point closer than this to the spine is the spine's own, which is put in anew."""
ODD_ONE: Final = 0.025
"""m: a tracing farther than this from where its neighbours put it may carry a slip of writing."""

_COLUMNS: Final = ("part", "station", "across", "height")
_PARTS: Final = ("withers", "spine", "section")


@dataclass(frozen=True)
class Tracings:
    """What was traced, as written down.

    Attributes
    ----------
    withers : station of the withers' highest place.
    spine : (np, 2) array: station and height of the spine profile, ascending.
    sections : by station, ascending: (k, 2) arrays of (y, z), from right to left.
    unit : named in the heading, or None.
    """

    withers: float
    spine: NDArray[np.float64]
    sections: Mapping[float, NDArray[np.float64]]
    unit: Unit | None

    def scaled(self, factor: float) -> Tracings:
        """The same tracings with every length multiplied."""
        sections = {factor * x: factor * curve for x, curve in self.sections.items()}
        return Tracings(factor * self.withers, factor * self.spine, sections, self.unit)


def read_tracings(
    name: str,
    content: bytes,
    unit: Unit | None = None,
    withers_height: float | None = None,
    known: Known | None = None,
) -> Scan:
    r"""Read a file of tracings and loft a surface through them.

    Parameters
    ----------
    name : str
        File name, for messages.
    content : bytes
        The whole file.
    unit : {"m", "cm", "mm", "inch"}, optional
        Where the heading names none.
    withers_height : float, optional
        m; does not tell the scale of tracings, which have no feet.
    known : Known, optional
        A known distance.

    Returns
    -------
    Scan
        In metres: x the station, y to the left of the spine, z up; a mesh of 10 mm. Its notes
        say how it was made, and how sure it is between the tracings; its marks are the withers
        and the blade's rear edge, which the file names.

    Raises
    ------
    BadScan
        One sentence for each fault, see docs/tracings-file.md.
    BadSettings
        When the told unit is not the heading's.
    """
    traced, provenance = _in_metres(name, content, unit, withers_height, known)
    notes: list[str] = []
    sections = _sections(name, traced, notes)
    x = stations_of(sections)
    points = lofted(sections, x)
    notes += _accuracy(sections, x)
    return Scan(
        vertices=points.reshape(-1, 3),
        triangles=grid_triangles(*points.shape[:2]),
        provenance=replace(provenance, notes=tuple(notes)),
        marks=_marks(traced, sections),
    )


def _marks(traced: Tracings, sections: Sections) -> dict[str, NDArray[np.float64]]:
    """Places the file names, (1, 3) m: the withers, and the blade's rear edge at station 0."""
    surface = lofted(sections, np.array([traced.withers, 0.0]))
    marks = {"withers": surface[:1, np.argmin(np.abs(sections.t))]}
    for side, sign in (("left", 1.0), ("right", -1.0)):
        column = int(np.argmin(np.abs(sections.t - sign * BLADE_TOP)))
        marks[f"scapula_edge_{side}"] = surface[1:, column]
    return marks


BLADE_TOP: Final = 0.08
"""m from the spine: about where the upper end of the blade's rear edge is felt (from memory)."""


def _in_metres(
    name: str,
    content: bytes,
    unit: Unit | None,
    withers_height: float | None,
    known: Known | None,
) -> tuple[Tracings, Provenance]:
    """The tracings in metres, and where they came from."""
    traced = _parsed(name, content)
    if unit is not None and traced.unit not in {None, unit}:
        raise BadSettings(
            "--unit", f"the heading of {name} says {traced.unit}, not {unit}", "leave --unit out"
        )
    points = _points(traced)
    raw = Scan(
        points, np.empty((0, 3), np.int32),
        Provenance(name, hashlib.sha256(content).hexdigest(), 0, len(points)),
    )  # fmt: skip
    scan = settled(raw, unit or traced.unit, withers_height, known)
    if scan.provenance.unit is None:
        raise BadScan(
            name, "its unit is not known", "write it in the heading, for example station_mm"
        )
    provenance = scan.provenance
    if unit is None and traced.unit is not None:
        told = provenance.unit_evidence.replace("Told:", "The heading says", 1)
        provenance = replace(provenance, unit_evidence=told)
    return traced.scaled(provenance.metres_per_unit), provenance


def _points(traced: Tracings) -> NDArray[np.float64]:
    """All traced points, (n, 3), in the file's unit."""
    spine = np.insert(traced.spine, 1, 0.0, axis=1)
    curves = [np.insert(curve, 0, x, axis=1) for x, curve in traced.sections.items()]
    return np.vstack([spine, *curves])


def _parsed(name: str, content: bytes) -> Tracings:
    """The rows of the file by their part, checked for what any unit would show."""
    text = content.decode("utf-8-sig", errors="replace")
    lines = [(n, line) for n, line in enumerate(text.splitlines(), 1)
             if line.strip().strip(",;\t") and not line.lstrip().startswith("#")]  # fmt: skip
    separator = next((s for s in ";\t" if s in lines[0][1]), ",")
    unit = _heading(name, lines[0][1], separator)
    rows: dict[str, list[list[float]]] = {part: [] for part in _PARTS}
    for number, line in lines[1:]:
        part, values = _row(name, number, line, separator)
        rows[part].append(values)
    if len(rows["withers"]) != 1:
        raise BadScan(
            name, f"it has {len(rows['withers'])} lines for the withers",
            "write one: withers, and the station of their highest place",
        )  # fmt: skip
    return Tracings(
        rows["withers"][0][0], _spine(name, rows["spine"]), _curves(rows["section"]), unit
    )


def _heading(name: str, line: str, separator: str) -> Unit | None:
    """The unit the heading names, or None."""
    heads = [word.strip().strip('"').lower() for word in line.split(separator)]
    plain = [re.split(r"[_ (\[]", head)[0] for head in heads]
    if tuple(plain[:4]) != _COLUMNS:
        raise BadScan(name, "its heading is not that of tracings",
                      "begin it with part,station_mm,across_mm,height_mm")  # fmt: skip
    named = {re.sub(r"^[a-z]+[_ (\[]*|[)\]]$", "", head) for head in heads[1:4]}
    if named == {""}:
        return None
    if len(named) == 1 and (found := named.pop().replace("in", "inch").replace("inchch", "inch")):
        for unit in get_args(Unit):
            if unit == found:
                return unit  # type: ignore[no-any-return]
    raise BadScan(name, "its heading names no unit, or several",
                  "use one of m, cm, mm, inch in all three columns")  # fmt: skip


def _row(name: str, number: int, line: str, separator: str) -> tuple[str, list[float]]:
    """Part and numbers of one line: what the part does not use is left out."""
    words = [word.strip().lower() for word in next(csv.reader([line], delimiter=separator))]
    used = {"withers": (1,), "spine": (1, 3), "section": (1, 2, 3)}
    if words[0] not in used:
        raise BadScan(name, f'line {number} begins with "{words[0][:20]}"',
                      "begin each line with withers, spine or section")  # fmt: skip
    try:
        values = [float(words[k].replace(",", ".")) for k in used[words[0]]]
    except (ValueError, IndexError):
        values = [np.nan]
    if not np.isfinite(values).all():
        raise BadScan(name, f"line {number} has a number missing or not readable",
                      "write station, across and height")  # fmt: skip
    return words[0], values


def _spine(name: str, rows: list[list[float]]) -> NDArray[np.float64]:
    """The spine profile, from rear to front."""
    if len(rows) < FEWEST_SPINE:
        raise BadScan(
            name, f"its spine profile has {len(rows)} points, fewer than {FEWEST_SPINE}",
            "measure the height of the spine every 5 to 10 cm, from the croup to the withers",
        )  # fmt: skip
    spine = np.array(sorted(rows))
    if (np.diff(spine[:, 0]) <= 0.0).any():
        twice = spine[:-1, 0][np.diff(spine[:, 0]) <= 0.0][0]
        raise BadScan(name, f"its spine profile has station {twice:g} twice", "leave one out")
    return spine


def _curves(rows: list[list[float]]) -> dict[float, NDArray[np.float64]]:
    """Points by station, in the order written."""
    by_station: dict[float, list[list[float]]] = {}
    for station, *place in rows:
        by_station.setdefault(station, []).append(place)
    return {x: np.array(by_station[x]) for x in sorted(by_station)}


def _sections(name: str, traced: Tracings, notes: list[str]) -> Sections:
    """Checked and mirrored sections on common arc lengths; what was done goes into `notes`."""
    _check_layout(name, traced)
    curves, mirrored = [], []
    for x, curve in traced.sections.items():
        whole, one_sided = _whole(name, x, curve)
        curves.append(whole)
        mirrored += [x] * one_sided
    if mirrored:
        notes.append(
            f"{len(mirrored)} of {len(curves)} tracings show one side only and were mirrored: "
            "left and right are not told apart there."
        )
    sections = sections_of(np.array(list(traced.sections)), curves, traced.spine)
    for miss, x in zip(left_out(sections), sections.x[1:-1], strict=True):
        if miss > ODD_ONE:
            notes.append(
                f"The tracing at station {show_length(float(x))} lies {show_length(float(miss))} "
                "off what its neighbours tell: check its station and heights."
            )
    return sections


def _check_layout(name: str, traced: Tracings) -> None:
    """Refuse too few tracings, tracings too far apart, and a spine profile that is too short."""
    x = np.array(list(traced.sections))
    if len(x) < FEWEST_SECTIONS:
        raise BadScan(
            name, f"it has {len(x)} tracings, fewer than {FEWEST_SECTIONS}",
            "trace the back every 5 to 10 cm from the withers to the loin",
        )  # fmt: skip
    gap = int(np.argmax(np.diff(x)))
    if x[gap + 1] - x[gap] > WIDEST_GAP:
        raise BadScan(
            name,
            f"between the tracings at {show_length(float(x[gap]))} and "
            f"{show_length(float(x[gap + 1]))} lie {show_length(float(x[gap + 1] - x[gap]))}",
            "add one between them: the back can change much in more than 15 cm",
        )
    needed = min(x[0], 0.0), max(x[-1], traced.withers)
    if traced.spine[0, 0] > needed[0] or traced.spine[-1, 0] < needed[1]:
        raise BadScan(
            name, "its spine profile is shorter than the tracings or does not reach the withers",
            "measure the height of the spine from the last tracing to in front of the withers",
        )  # fmt: skip


def _whole(name: str, x: float, curve: NDArray[np.float64]) -> tuple[NDArray[np.float64], bool]:
    """One tracing from right to left, mirrored if it shows one side only."""
    at = f"the tracing at station {show_length(x)}"
    if len(curve) < FEWEST_POINTS:
        raise BadScan(name, f"{at} has {len(curve)} points, fewer than {FEWEST_POINTS}",
                      "write down a point every 2 to 3 cm")  # fmt: skip
    steps = np.diff(curve, axis=0)
    turns = (steps[1:] * steps[:-1]).sum(axis=1)
    if (turns <= 0.0).any():  # no back bends by a right angle from one point to the next
        raise BadScan(
            name, f"the points of {at} go to and fro, or it was written twice",
            "write them in one row from one side to the other",
        )  # fmt: skip
    curve = curve if curve[-1, 0] > curve[0, 0] else curve[::-1]
    right, left = float(curve[0, 0]), float(curve[-1, 0])
    if right < -AT_SPINE and left > AT_SPINE:
        return curve, False
    near = curve[np.argmin(np.abs(curve[:, 0]))]
    if abs(near[0]) > AT_SPINE:
        raise BadScan(name, f"{at} does not reach the spine", "trace it across the spine")
    half = curve if left > AT_SPINE else curve[::-1] * [-1.0, 1.0]
    half = half[half[:, 0] > ON_SPINE]
    top = np.array([[0.0, near[1]]])
    return np.vstack([half[::-1] * [-1.0, 1.0], top, half]), True


def _accuracy(sections: Sections, x: NDArray[np.float64]) -> list[str]:
    """What a reader must know of a back that was measured in few places."""
    gap = show_length(float(np.median(np.diff(sections.x))))
    sd = show_length(between_sections(sections))
    note = (
        f"{LOFTED} {len(sections.x)} tracings about {gap} apart: between them the surface is "
        f"a guess, give or take {sd}, judged by leaving out one tracing after the other."
    )
    ends = [
        (sections.x[0] - x[0], "behind the last"), (x[-1] - sections.x[-1], "in front of the first")
    ]  # fmt: skip
    carried = [f"{show_length(float(d))} {where}" for d, where in ends if d > STEP]
    if not carried:
        return [note]
    ends_note = (
        f"Beyond the tracings their shape was carried on along the spine "
        f"({' and '.join(carried)}): what presses there is unsure."
    )
    return [note, ends_note]
