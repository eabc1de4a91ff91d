"""Places on the back: read from a file, or estimated from shape and proportion."""

from __future__ import annotations

import csv
import json
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from scipy.interpolate import RegularGridInterpolator
from scipy.spatial import KDTree

from fitsim.back.back import Mark
from fitsim.back.noted import NOTED_NAMES, noted_kind
from fitsim.back.withers import BLADE_BEHIND_WITHERS
from fitsim.errors import BadSettings

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from fitsim.back.back import Chart
    from fitsim.back.stickers import Stuck
    from fitsim.back.withers import Withers

MARK_NAMES = (
    "spine", "withers", "scapula_edge_left", "scapula_edge_right",
    "last_rib_left", "last_rib_right", "fat_pocket_left", "fat_pocket_right",
    *NOTED_NAMES,
)  # fmt: skip

OFF_THE_SCAN = 0.05
"""-: a mark farther from the scan than this share of its size was not made on it."""

BLADE_EDGE = (0.08, 0.30)
"""m, arc from the spine at 1.5 m height: the blade reaches from and to (from memory)."""

BLADE_CORNER, BLADE_SLOPE = 0.14, 0.50
"""The rear edge is rearmost this far from the spine (m, on an animal of 1.5 m) and runs forward by
this much per arc length below (from memory)."""

LAST_RIB = -0.33
"""The last rib leaves the long muscle at this share of the withers height behind the blade:
ten vertebrae of about 48 mm on an animal of 1.5 m (from memory, no source)."""

POCKET_CENTRE, POCKET_HALF = (-0.085, 0.190), (0.065, 0.045)
"""m, (x, t), on an animal of 1.5 m: just behind the blade, outside the flat beside the spine. Bars
110 mm wide with the inner edge 25 mm from the spine do not touch it, wider set ones do, so its
inner edge lies about 145 mm from the spine (common practice, no source)."""


def read_marks(path: str | Path, metres_per_unit: float = 1.0) -> dict[str, NDArray[np.float64]]:
    """Read pointed-at places from a JSON or CSV file.

    JSON: ``{"withers": [[x, y, z]], ...}``; CSV: columns ``name,x,y,z``, one point a row.
    Coordinates are the scan file's own, in its unit.

    Parameters
    ----------
    path : str or Path
    metres_per_unit : float
        Of the scan the marks belong to, `Provenance.metres_per_unit`.

    Returns
    -------
    dict
        (k, 3) array by name, in the coordinates of the scan as it was taken in.

    Raises
    ------
    BadSettings
        The file cannot be read, a name is unknown, or a coordinate is no number.
    """
    path = Path(path)
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as fault:
        raise BadSettings(path.name, "the marks cannot be read", "check the path") from fault
    try:
        raw = json.loads(text) if path.suffix.lower() == ".json" else _from_csv(text)
        marks = {name: metres_per_unit * np.asarray(points, dtype=float).reshape(-1, 3)
                 for name, points in raw.items()}  # fmt: skip
    except (ValueError, KeyError, TypeError, AttributeError) as fault:
        raise BadSettings(
            path.name, "the marks are not a list of names with x, y, z",
            'write {"withers": [[x, y, z]]} or a CSV with the columns name,x,y,z',
        ) from fault  # fmt: skip
    return checked_marks(marks, path.name)


def checked_marks(
    marks: Mapping[str, NDArray[np.float64]], where: str
) -> dict[str, NDArray[np.float64]]:
    """Marks as (k, 3) arrays, every name known and every coordinate finite.

    Parameters
    ----------
    marks : mapping of name to (k, 3) array.
    where : for messages.

    Returns
    -------
    dict

    Raises
    ------
    BadSettings
        A name is unknown, or a coordinate is no number.
    """
    good = {}
    for name, points in marks.items():
        if name not in MARK_NAMES and not noted_kind(name):
            raise BadSettings(where, f'no mark is called "{name}"',
                              f"use one of {', '.join(MARK_NAMES)}")  # fmt: skip
        array = np.atleast_2d(np.asarray(points, dtype=float))
        if array.shape[-1] != 3 or not len(array) or not np.isfinite(array).all():  # noqa: PLR2004
            raise BadSettings(where, f'the mark "{name}" has a coordinate that is no number',
                              "give x, y and z for each of its points")  # fmt: skip
        good[name] = array
    return good


def require_on_scan(
    marks: Mapping[str, NDArray[np.float64]], where: str, vertices: NDArray[np.float64]
) -> None:
    """Refuse marks that were not made on this scan, or not in its unit.

    Parameters
    ----------
    marks : mapping of name to (k, 3) array.
    where : for messages.
    vertices : (n, 3) array, of the scan, in the marks' coordinates.

    Raises
    ------
    BadSettings
        A place lies off the scan.
    """
    if not marks:
        return
    surface = KDTree(vertices)
    reach = OFF_THE_SCAN * float(np.linalg.norm(np.ptp(vertices, axis=0)))
    for name, points in marks.items():
        if np.max(surface.query(points)[0]) > reach:
            raise BadSettings(where, f'the mark "{name}" lies off the scan',
                              "give marks in the scan file's own coordinates and unit")  # fmt: skip


def estimated_marks(
    chart: Chart, withers: Withers, withers_height: float, *, assumed_height: bool
) -> dict[str, Mark]:
    """Every mark, estimated from the shape and from proportion to the withers height.

    Parameters
    ----------
    chart : Chart
    withers : Withers
    withers_height : float, m.
    assumed_height : the height was not known, so proportions are less sure.

    Returns
    -------
    dict of Mark
    """
    more = 1.5 if assumed_height else 1.0
    scale = withers_height / 1.5
    surface = partial(on_chart, chart)
    spine = chart.points[:, len(chart.t) // 2][chart.valid[:, len(chart.t) // 2]]
    marks = {
        "spine": Mark(spine, "estimated", 0.005, "the line about which each section mirrors"),
        "withers": Mark(
            surface(np.array([[BLADE_BEHIND_WITHERS * withers_height, 0.0]])),
            "estimated",
            withers.sd * scale,
            withers.basis,
        ),
    }
    edge_sd = float(np.hypot(withers.sd, 0.025) * scale * more)
    for side, sign in (("left", 1.0), ("right", -1.0)):
        t = np.linspace(*BLADE_EDGE, 9) * scale
        rise = BLADE_SLOPE * np.maximum(t - BLADE_CORNER * scale, 0.0)
        edge = np.column_stack([rise, sign * t])
        marks[f"scapula_edge_{side}"] = Mark(
            surface(edge), "estimated", edge_sd,
            "0.07 of the withers height behind the withers, from memory, no source",
        )  # fmt: skip
        rib = np.column_stack([np.full(8, LAST_RIB * withers_height), sign * np.linspace(
            0.05, 0.30, 8) * scale])  # fmt: skip
        marks[f"last_rib_{side}"] = Mark(
            surface(rib), "estimated", 0.040 * scale * more,
            "0.33 of the withers height behind the blade, from memory, no source",
        )  # fmt: skip
        marks[f"fat_pocket_{side}"] = Mark(
            surface(pocket_outline(scale, sign)), "estimated", 0.030 * scale * more,
            "just behind the blade and outside the flat beside the spine, "
            "common practice, no source",
        )  # fmt: skip
    return marks


MARKED_SD = 0.005
"""m: how well a place is pointed at by hand (from memory)."""


def with_told(
    estimated: Mapping[str, Mark],
    told: Mapping[str, NDArray[np.float64]],
    T_body_scan: NDArray[np.float64],
    chart: Chart,
    stuck: Stuck,
) -> dict[str, Mark]:
    """The marks with those that were pointed at in place of the estimates.

    A line or outline of which a single point was marked keeps its estimated shape, moved there.

    Parameters
    ----------
    estimated : mapping of name to Mark.
    told : mapping of name to (k, 3) array, scan coordinates.
    T_body_scan : (4, 4) array.
    chart : Chart
    stuck : Stuck
        Stickers that some of them come from.

    Returns
    -------
    dict of Mark
    """
    marks, by_sticker = dict(estimated), stuck.used
    for name, points in told.items():
        body = points @ T_body_scan[:3, :3].T + T_body_scan[:3, 3]
        outline = name.startswith(("scapula_edge", "fat_pocket"))
        if outline and len(body) < 3:  # noqa: PLR2004 - no outline
            shape = chart_places(chart, estimated[name].points)
            anchor = shape[0] if name.startswith("scapula_edge") else shape.mean(axis=0)
            body = on_chart(chart, shape + chart_places(chart, body).mean(axis=0) - anchor)
        marks[name] = (
            Mark(body, "sticker", stuck.sd(name), stuck.basis(name))
            if name in by_sticker
            else Mark(body, "marked", MARKED_SD, "pointed at on the animal or the scan")
        )
    return marks


def station_told(
    told: Mapping[str, NDArray[np.float64]],
    T_body_scan: NDArray[np.float64],
    withers_height: float,
) -> float | None:
    """Station of the blade's rear edge by the marks, m, in the present body frame.

    Parameters
    ----------
    told : mapping of name to (k, 3) array, scan coordinates.
    T_body_scan : (4, 4) array.
    withers_height : float, m.

    Returns
    -------
    float or None
        The rearmost point of the marked rear edges (mean of the sides), else from the marked
        withers; None when neither was marked.
    """
    stations = {
        name: points @ T_body_scan[0, :3] + T_body_scan[0, 3] for name, points in told.items()
    }
    edges = [stations[f"scapula_edge_{side}"].min() for side in ("left", "right")
             if f"scapula_edge_{side}" in stations]  # fmt: skip
    if edges:
        return float(np.mean(edges))
    if "withers" in stations:
        return float(stations["withers"].mean()) - BLADE_BEHIND_WITHERS * withers_height
    return None


def pocket_outline(scale: float, sign: float) -> NDArray[np.float64]:
    """Outline of the estimated fat pocket in chart coordinates.

    Parameters
    ----------
    scale : float
        Size of the animal over one of 1.5 m.
    sign : +1 left, -1 right.

    Returns
    -------
    (24, 2) array, m: (x, t).
    """
    angle = np.linspace(0.0, 2 * np.pi, 24, endpoint=False)
    x = POCKET_CENTRE[0] + POCKET_HALF[0] * np.cos(angle)
    t = POCKET_CENTRE[1] + POCKET_HALF[1] * np.sin(angle)
    return np.column_stack([x, sign * t]) * scale


def on_chart(chart: Chart, places: NDArray[np.float64]) -> NDArray[np.float64]:
    """Body points at chart coordinates, held to the chart's edge.

    Parameters
    ----------
    chart : Chart
    places : (k, 2) array, m: (x, t).

    Returns
    -------
    (k, 3) array, m, body frame.
    """
    low, high = [chart.x[0], chart.t[0]], [chart.x[-1], chart.t[-1]]
    look = RegularGridInterpolator((chart.x, chart.t), chart.points)
    return np.asarray(look(np.clip(places, low, high)))


def chart_places(chart: Chart, points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Chart coordinates of body points: those of the nearest nodes.

    Parameters
    ----------
    chart : Chart
    points : (k, 3) array, m, body frame.

    Returns
    -------
    (k, 2) array, m: (x, t).
    """
    flat = chart.points.reshape(-1, 3)
    node = [int(np.argmin(((flat - point) ** 2).sum(axis=1))) for point in points]
    _, column = np.unravel_index(node, chart.points.shape[:2])
    return np.column_stack([points[:, 0], chart.t[column]])


def _from_csv(text: str) -> dict[str, list[list[float]]]:
    """Marks by name from a CSV with the columns name, x, y, z."""
    marks: dict[str, list[list[float]]] = {}
    for row in csv.DictReader(text.splitlines()):
        marks.setdefault(row["name"].strip(), []).append([float(row[c]) for c in "xyz"])
    return marks
