"""`fit.json`: a FitSet as a plain dict under a public, versioned contract.

The schema stands in ``docs/fit.schema.json``. Every key that holds a quantity names its unit;
a number without a unit in its key is a share or a count. This is the edge where SI becomes the
units people read: mm, kPa, cm2, degrees.
"""

from __future__ import annotations

import json
import math
import platform
from functools import cache
from importlib import metadata
from typing import TYPE_CHECKING

import numpy as np

from fitsim import __version__
from fitsim.files import write_text
from fitsim.report.coat_words import coat_facts
from fitsim.report.sure import sure_facts
from fitsim.report.verdict import verdict_facts, verdict_of

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from numpy.typing import NDArray

    from fitsim.back.back import Back
    from fitsim.contact.equilibrium import AppliedForce, Equilibrium
    from fitsim.measure.measures import BarGap, Hotspot, Measures, Rocking, ZoneLoad
    from fitsim.rig.case import Pad
    from fitsim.rig.load import Load
    from fitsim.scan.scan import Provenance
    from fitsim.study.fit import Fit, FitSet
    from fitsim.study.moved import Moved
    from fitsim.tree.seat import Seat
    from fitsim.tree.tree import Tree

SCHEMA = 1

MM, KPA, CM2 = 1e3, 1e-3, 1e4
"""From m, Pa and m2."""

CAUTIONS = (
    "This is an estimate from a model, not a measurement.",
    "Tissue values are averages from the literature, for no animal in particular.",
    "It does not diagnose: lameness, pain, swelling or sores go to a licensed veterinarian.",
    "Fit is confirmed on the standing and the moving animal by a qualified person.",
    "Handle animals and cinches by safe local practice; load limits follow local welfare rules.",
)

_LIBRARIES = ("numpy", "scipy", "trimesh", "small_gicp", "vtk", "open3d-cpu", "open3d")
_DIGITS = 7
"""Significant digits written: the forces still balance to 1e-6."""


def contract(fitset: FitSet) -> dict[str, object]:
    """Return a FitSet as the dict that `fit.json` holds.

    Parameters
    ----------
    fitset : FitSet
        All cases of one tree on one back.

    Returns
    -------
    dict
        Plain strings, numbers, lists and dicts; valid under ``docs/fit.schema.json``.
    """
    return {
        "schema": SCHEMA,
        "model": fitset.model,
        "scan": _scan(fitset.back.provenance),
        "back": _back(fitset.back),
        "tree": _tree(fitset.tree),
        "pad": _pad(fitset.pad),
        "seat": None if fitset.seat is None else _seat(fitset.seat),
        "load": _load(fitset.load),
        "defaults": list(fitset.defaults),
        "cases": {name: _case(fit) for name, fit in fitset.fits.items()},
        "moved": [_moved(one) for one in fitset.moved],
        **({} if fitset.sure is None else {"sure": sure_facts(fitset.sure)}),
        "verdict": verdict_facts(verdict_of(fitset)),
        "cautions": list(CAUTIONS),
        "timing_s": {stage: _number(seconds) for stage, seconds in fitset.timing_s.items()},
        "versions": versions(),
    }


def scan_facts(back: Back) -> dict[str, object]:
    """Return what was found on a scan, without any tree: the parts "scan" and "back" of a fit.

    Parameters
    ----------
    back : Back

    Returns
    -------
    dict
        With the zones' outlines in chart coordinates, m.
    """
    zones = {str(zone.name): _rows(zone.outline) for zone in back.zones}
    return {
        "scan": _scan(back.provenance),
        "back": _back(back),
        "zones_xt_m": zones,
        "versions": versions(),
    }


def write_contract(fitset: FitSet, path: str | Path) -> None:
    """Write `fit.json`, whole or not at all.

    Parameters
    ----------
    fitset : FitSet
        All cases of one tree on one back.
    path : str or Path
        The file to write.

    Raises
    ------
    BadSettings
        When the file cannot be written.
    """
    write_text(path, as_json(contract(fitset)))


def as_json(document: Mapping[str, object]) -> str:
    """Return `document` as JSON text; a number that is not one is a fault of ours and raises.

    Examples
    --------
    >>> print(as_json({"peak_kpa": 12.5}), end="")
    {
      "peak_kpa": 12.5
    }
    """
    return json.dumps(document, indent=2, allow_nan=False, ensure_ascii=False) + "\n"


def versions() -> dict[str, str]:
    """Versions of fitsim, Python and the libraries whose numbers enter a result."""
    found = {"fitsim": __version__, "python": platform.python_version()}
    installed = {library: _installed(library) for library in _LIBRARIES}
    return found | {library: version for library, version in installed.items() if version}


@cache
def _installed(library: str) -> str | None:
    """Version of a library, None where it is missing; asking takes longer than writing a file."""
    try:
        return metadata.version(library)
    except metadata.PackageNotFoundError:
        return None


def pose(equilibrium: Equilibrium) -> dict[str, float]:
    """Return how the tree moved from where it was seated to where it rests.

    The shift is that of the tree frame's origin (midway between the bars' front ends), along the
    body's axes. The rotation is ``R = Rz(yaw) Ry(pitch) Rx(roll)`` about them.

    .. warning::
        Right-handed signs: roll > 0 lifts the left side, pitch > 0 lowers the front,
        yaw > 0 turns the front to the left.

    Returns
    -------
    dict
        ``dx_mm, dy_mm, dz_mm`` and ``roll_deg, pitch_deg, yaw_deg``.
    """
    rest, seat = equilibrium.T_body_tree, equilibrium.T_body_tree_seat
    turn = rest[:3, :3] @ seat[:3, :3].T
    angles = (
        math.atan2(turn[2, 1], turn[2, 2]),
        math.asin(float(np.clip(-turn[2, 0], -1.0, 1.0))),
        math.atan2(turn[1, 0], turn[0, 0]),
    )
    shift = rest[:3, 3] - seat[:3, 3]
    names = ("roll_deg", "pitch_deg", "yaw_deg")
    return {f"d{axis}_mm": _number(MM * d) for axis, d in zip("xyz", shift, strict=True)} | {
        name: _number(math.degrees(angle)) for name, angle in zip(names, angles, strict=True)
    }


def _scan(provenance: Provenance) -> dict[str, object]:
    return {
        "name": provenance.name,
        "sha256": provenance.sha256,
        "triangles": provenance.triangles,
        "points": provenance.points,
        "unit": provenance.unit,
        "unit_evidence": provenance.unit_evidence,
        "notes": list(provenance.notes),
    }


def _back(back: Back) -> dict[str, object]:
    valid = back.chart.valid
    return {
        "frame": back.T_body_scan.tolist(),
        "marks": {
            name: {
                "source": mark.source,
                "sd_mm": _number(MM * mark.sd_m),
                "basis": mark.basis,
                "points_m": _rows(mark.points),
            }
            for name, mark in back.marks.items()
        },
        "stickers": [
            {
                "colour": one.colour,
                "mark": one.mark,
                "point_m": _vector(one.place),
                "sd_mm": _number(MM * one.sd_m),
                "width_mm": _number(MM * one.width_m),
                "used": not one.doubt,
                "doubt": one.doubt,
            }
            for one in back.stickers
        ],
        "withers_height_m": _number(back.withers_height),
        "spacing_mm": _number(MM * back.chart.spacing),
        "nodes": int(valid.sum()),
        "filled_nodes": int((back.chart.filled & valid).sum()),
        "cautions": list(back.cautions),
        **({} if back.coat is None else {"coat": coat_facts(back.coat)}),
    }


def _tree(tree: Tree) -> dict[str, object]:
    return {
        "name": tree.name,
        "mass_kg": _number(tree.mass),
        "centre_of_mass_m": _vector(tree.centre_of_mass),
        "bar_length_mm": {
            bar.side: _number(MM * (bar.underside.front - bar.underside.rear)) for bar in tree.bars
        },
        "notes": list(tree.notes),
        "settings": _plain(tree.settings),
    }


def _pad(pad: Pad) -> dict[str, object]:
    return {
        "name": pad.name,
        "thickness_mm": _number(MM * pad.thickness),
        "p25_kpa": _number(KPA * pad.p25),
        "stiffening": _number(pad.stiffening),
        "shear_modulus_kpa": _number(KPA * pad.shear_modulus),
        "friction": _number(pad.friction),
        "mass_kg": _number(pad.mass),
    }


def _seat(seat: Seat) -> dict[str, object]:
    return {
        "frame": seat.T_body_tree.tolist(),
        "station_mm": _number(MM * seat.station),
        "rms_mm": _number(MM * seat.rms),
        "inliers": _number(seat.inliers),
        "lift_mm": _number(MM * seat.lift),
        "notes": list(seat.notes),
    }


def _load(load: Load) -> dict[str, object]:
    going = load.going
    return {
        "kind": load.kind,
        "name": load.name,
        "mass_kg": _number(sum(weight.mass for weight in load.weights)),
        "slope_deg": _number(math.degrees(going.slope)),
        "side_slope_deg": _number(math.degrees(going.side_slope)),
        "load_factor": _number(going.load_factor),
    }


def _moved(moved: Moved) -> dict[str, object]:
    """One place along the spine where the tree was tried, under both cinches."""
    found: dict[str, object] = {
        "by_mm": _number(MM * moved.by),
        "equilibrium": bool(moved.measures),
    }
    if moved.measures is None:
        return {**found, "why_not": moved.why_not}
    return {
        **found,
        "peak_kpa": _number(KPA * moved.measures.peak),
        "share": {name: _number(share) for name, share in moved.measures.share.items()},
    }


def _case(fit: Fit) -> dict[str, object]:
    """One case; where the tree does not stay on, no number but the balance it could not find."""
    equilibrium, measures = fit.equilibrium, fit.measures
    if not equilibrium.found or measures is None:
        return {
            "equilibrium": False,
            "leaves": equilibrium.leaves,
            "residual": _number(equilibrium.residual),
        }
    return {
        "equilibrium": True,
        "residual": _number(equilibrium.residual),
        "iterations": equilibrium.iterations,
        "pose": pose(equilibrium),
        "frame": equilibrium.T_body_tree.tolist(),
        "joint_angles_deg": [_number(angle) for angle in np.degrees(equilibrium.joint_angles)],
        "forces_on_tree": [_force(force) for force in equilibrium.forces],
        **_measures(measures),
    }


def _force(force: AppliedForce) -> dict[str, object]:
    return {"name": force.name, "point_m": _vector(force.point), "force_n": _vector(force.force)}


def _measures(measures: Measures) -> dict[str, object]:
    return {
        "normal_force_n": _number(measures.normal_force),
        "vertical_force_n": _number(measures.vertical_force),
        "peak_kpa": _number(KPA * measures.peak),
        "point_max_kpa": _number(KPA * measures.point_max),
        "p95_kpa": _number(KPA * measures.p95),
        "mean_kpa": _number(KPA * measures.mean),
        "area_cm2": _number(CM2 * measures.area),
        "share": {name: _number(share) for name, share in measures.share.items()},
        "lift_mm": {tip: _known(MM * lift) for tip, lift in measures.lift.items()},
        "zones": {name: _zone(load) for name, load in measures.zones.items()},
        "hotspots": [_hotspot(spot) for spot in measures.hotspots],
        "bridging": {side: _bridge(gap) for side, gap in measures.bridging.items()},
        "rocking": None if measures.rocking is None else _rocking(measures.rocking),
        "friction_used": None
        if measures.margins is None
        else _number(measures.margins.friction_used),
        "cautions": list(measures.cautions),
    }


def _zone(load: ZoneLoad) -> dict[str, float]:
    return {
        "force_n": _number(load.force),
        "peak_kpa": _number(KPA * load.peak),
        "area_cm2": _number(CM2 * load.area),
    }


def _hotspot(spot: Hotspot) -> dict[str, object]:
    return {
        "number": spot.number,
        "zone": spot.zone,
        "side": spot.side,
        "x_mm": _number(MM * spot.x),
        "y_mm": _number(MM * spot.y),
        "z_mm": _number(MM * spot.z),
        "peak_kpa": _number(KPA * spot.peak),
        "area_cm2": _number(CM2 * spot.area),
        "unsure": spot.unsure,
    }


def _bridge(gap: BarGap) -> dict[str, float]:
    return {"length_share": _number(gap.length_share), "depth_mm": _number(MM * gap.depth)}


def _rocking(rocking: Rocking) -> dict[str, float | None]:
    return {
        "deg_per_nm": _number(math.degrees(rocking.rad_per_nm)),
        "pivot_along": _known(rocking.pivot_along),
        "free_play_deg": _number(math.degrees(rocking.free_play)),
    }


def _number(value: float) -> float:
    return float(f"{float(value):.{_DIGITS}g}")


def _known(value: float) -> float | None:
    """A measure that need not exist (no bar above the tip, no pivot): null, not a number."""
    return None if math.isnan(value) else _number(value)


def _vector(values: NDArray[np.float64]) -> list[float]:
    return [_number(value) for value in values]


def _rows(points: NDArray[np.float64]) -> list[list[float]]:
    return [_vector(point) for point in np.atleast_2d(points)]


def _plain(value: object) -> object:
    """Settings as they can stand in JSON."""
    if isinstance(value, dict):
        return {str(key): _plain(inner) for key, inner in value.items()}
    if isinstance(value, np.ndarray):
        return _plain(value.tolist())
    if isinstance(value, list | tuple):
        return [_plain(inner) for inner in value]
    if isinstance(value, np.generic):
        return _plain(value.item())
    if isinstance(value, bool | int | str) or value is None:
        return value
    return _number(value) if isinstance(value, float) else str(value)
