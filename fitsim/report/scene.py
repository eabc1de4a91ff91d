"""What the browser's 3-D view needs, as one compact plain dict."""

from __future__ import annotations

import base64
import io
from typing import TYPE_CHECKING

import numpy as np

from fitsim.draw.bars import bar_pose, middle_line, moved, outline
from fitsim.draw.paint import OUTLINED, canvas
from fitsim.draw.palette import pressure_map
from fitsim.draw.quantity import quantity, shown
from fitsim.draw.surface import laid_on, on_nodes, surface_triangles, under_bars
from fitsim.draw.words import case_title, lifted_tips, zone_words

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fitsim.back.back import Back
    from fitsim.draw.paint import Canvas
    from fitsim.draw.quantity import System
    from fitsim.study.fit import Fit, FitSet
    from fitsim.tree.tree import Tree

_LABELLED = ("scapula", "fat_pocket")


def scene(
    fitset: FitSet, *, top: float, system: System = "metric", skin: Canvas | None = None
) -> dict[str, object]:
    """Return the scene of a set: skin once, then each case's pressure, daylight and pose.

    Parameters
    ----------
    fitset : all cases of one tree on one back.
    top : Pa, dark end of the pressure scale.
    system : units people chose.
    skin : the unpainted back, made if not given.

    Returns
    -------
    dict of plain values; arrays are base64 of little-endian numbers whose kind the viewer knows.
    """
    back, tree = fitset.back, fitset.tree
    return {
        **back_scene(back, top=top, system=system, skin=skin),
        "tree": tree_scene(tree),
        "cases": [
            case_scene(back, tree, fit, top=top, system=system) for fit in fitset.fits.values()
        ],
    }


def back_scene(
    back: Back, *, top: float, system: System = "metric", skin: Canvas | None = None
) -> dict[str, object]:
    """Return what stays the same whatever is laid on a back: its skin, zones, colours and units.

    Parameters
    ----------
    back : the back.
    top, system, skin : see `scene`.
    """
    chart, how = back.chart, shown("pressure", system)
    points = np.where(chart.valid[..., None], chart.points, 0.0)
    return {
        "rows": len(chart.x),
        "columns": len(chart.t),
        "spacing": chart.spacing,
        "points": packed(points.reshape(-1, 3), "<f4"),
        "triangles": packed(surface_triangles(chart), "<u4"),
        "hide": _hide(skin or canvas(back)),
        "holes": packed((chart.filled & chart.valid).ravel(), "u1") if chart.filled.any() else "",
        "map": packed(pressure_map(), "u1"),
        "top": top,
        "unit": how.unit,
        "perPascal": how.per_si,
        "decimals": how.decimals,
        "zones": _zone_labels(back),
    }


def tree_scene(tree: Tree) -> dict[str, str]:
    """Return the drawn body of a tree."""
    return {"points": packed(tree.vertices, "<f4"), "triangles": packed(tree.triangles, "<u4")}


def packed(values: NDArray[np.generic], kind: str) -> str:
    """Return an array as base64 of numbers of one kind.

    Examples
    --------
    >>> packed(np.array([1, 2, 3]), "u1")
    'AQID'
    """
    return base64.b64encode(np.ascontiguousarray(values, dtype=kind).tobytes()).decode("ascii")


def _hide(skin: Canvas) -> str:
    """Return the bare skin with its zones as a picture to lay on the surface."""
    from PIL import Image

    file = io.BytesIO()
    Image.fromarray(skin.bare[::-1]).save(file, "WEBP", quality=82, method=2)
    return "data:image/webp;base64," + base64.b64encode(file.getvalue()).decode("ascii")


def _zone_labels(back: Back) -> list[dict[str, object]]:
    """Return name and place of each zone that is named in the view."""
    labels: list[dict[str, object]] = []
    for zone in back.zones:
        if not zone.name.startswith(OUTLINED) or not zone.name.startswith(_LABELLED):
            continue
        places, _ = laid_on(back.chart, zone.outline, 0.006)
        seen = places[np.isfinite(places[:, 0])]
        if len(seen):
            outermost = seen[np.argmax(np.abs(seen[:, 1]))]
            words = zone_words(zone.name).split(" ", 1)[1]
            labels.append({"words": words, "at": _rounded(outermost)})
    return labels


def case_scene(
    back: Back, tree: Tree, fit: Fit, *, top: float, system: System = "metric"
) -> dict[str, object]:
    """Return what changes from case to case.

    Parameters
    ----------
    back, tree : what was fitted.
    fit : of one case.
    top, system : see `scene`.
    """
    chart, rest = back.chart, fit.equilibrium
    held = rest.found and fit.measures is not None
    pressure = np.where(held, rest.pressure, 0.0)
    gap = np.where(np.isfinite(rest.gap) & under_bars(chart, rest.bar) & held, rest.gap, 0.0)
    nodes = np.stack(
        [on_nodes(chart, pressure / top, 0.0), on_nodes(chart, np.clip(gap, 0.0, 0.1), 0.0)],
        axis=-1,
    )
    rims = [
        moved(bar_pose(tree, rest, k), _thinned(outline(bar))) for k, bar in enumerate(tree.bars)
    ]
    return {
        "name": fit.case.name,
        "title": case_title(fit.case.name),
        "held": held,
        "field": packed(nodes, "<f2"),
        "pose": [float(f"{value:.7g}") for value in rest.T_body_tree.T.ravel()],
        "rims": [packed(rim, "<f4") for rim in rims],
        "spots": _spots(fit),
        "lifts": _lifts(tree, fit, system),
    }


def _thinned(rim: NDArray[np.float64], most: int = 160) -> NDArray[np.float64]:
    """Return a closed rim with at most `most` points."""
    step = max(len(rim) // most, 1)
    return np.vstack([rim[:-1:step], rim[:1]])


def _spots(fit: Fit) -> list[dict[str, object]]:
    """Return the numbered hotspots."""
    if fit.measures is None:
        return []
    return [
        {"number": spot.number, "at": _rounded(np.array([spot.x, spot.y, spot.z]))}
        for spot in fit.measures.hotspots
    ]


def _lifts(tree: Tree, fit: Fit, system: System) -> list[dict[str, object]]:
    """Return the tips that lift, with their clearance in words."""
    if fit.measures is None:
        return []
    marks: list[dict[str, object]] = []
    tips = lifted_tips(fit.measures)
    for k, bar in enumerate(tree.bars):
        line = moved(bar_pose(tree, fit.equilibrium, k), middle_line(bar))
        for end, place in (("front", line[0]), ("rear", line[-1])):
            if f"{end}_{bar.side}" in tips:
                clear = fit.measures.lift[f"{end}_{bar.side}"]
                words = f"lifts {quantity(clear, 'length', system)}"
                marks.append({"words": words, "at": _rounded(place)})
    return marks


def _rounded(point: NDArray[np.float64]) -> list[float]:
    return [round(float(value), 4) for value in point]
