"""What a stride leaves behind for other programs: `stride.json`, `stride.csv`, `pressure.npz`."""

from __future__ import annotations

import csv
import math
from typing import TYPE_CHECKING

import numpy as np

from fitsim.files import whole_file, write_text
from fitsim.measure.stride import SHARES
from fitsim.report.contract import CAUTIONS, CM2, KPA, MM, as_json, scan_facts, versions
from fitsim.report.stride_words import ASSUMED, advice, headline, slip_per_stride

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from numpy.typing import NDArray

    from fitsim.measure.shoulder import ShoulderFreedom
    from fitsim.measure.stride import StrideMeasures
    from fitsim.study.stride import Stride
    from fitsim.study.stride_job import StrideStudy

    Array = NDArray[np.float64]

SCHEMA = 1


def stride_contract(study: StrideStudy, timing_s: Mapping[str, float]) -> dict[str, object]:
    """Return a stride as the dict that `stride.json` holds; docs/stride.md says what each key is.

    Parameters
    ----------
    study : StrideStudy
    timing_s : mapping
        Seconds by stage.
    """
    stride, facts = study.stride, scan_facts(study.stride.back)
    do, why = advice(study)
    return {
        "schema": SCHEMA,
        "scan": facts["scan"],
        "back": facts["back"],
        "tree": {"name": stride.tree.name, "mass_kg": _number(stride.tree.mass)},
        "pad": {"name": stride.pad.name, "thickness_mm": _number(MM * stride.pad.thickness)},
        "load": stride.load.name,
        "case": stride.case.name,
        "at_mm": _number(MM * stride.laid.seat.station),
        "defaults": list(study.defaults),
        "gait": _gait(stride),
        "stays": stride.stays,
        "finding": headline(stride),
        "try": {"do": do, "why": why},
        "measures": None if stride.measures is None else _measures(stride, stride.measures),
        "range": None
        if study.range is None
        else {
            "little": _short(study.range.little),
            "much": _short(study.range.much),
        },
        "trials": [{"changed": one.words, **_short(one.measures)} for one in study.trials],
        "moments": _rows(stride),
        "assumed": list(ASSUMED),
        "cautions": [*CAUTIONS, *stride.back.cautions],
        "timing_s": {name: _number(took) for name, took in timing_s.items()},
        "versions": versions(),
    }


def write_stride_json(study: StrideStudy, path: Path, timing_s: Mapping[str, float]) -> None:
    """Write `stride.json`, whole or not at all."""
    write_text(path, as_json(stride_contract(study, timing_s)))


def write_moments(stride: Stride, path: Path) -> None:
    """Write `stride.csv`: one row a moment. A moment in which the tree leaves has no numbers."""
    rows = _rows(stride)
    columns = list(dict.fromkeys(name for row in rows for name in row))
    with whole_file(path) as draft, draft.open("w", encoding="utf-8", newline="") as file:
        table = csv.DictWriter(file, columns, restval="", lineterminator="\n")
        table.writeheader()
        table.writerows(
            {name: "" if value is None else value for name, value in row.items()} for row in rows
        )


def write_pressure(stride: Stride, path: Path) -> None:
    """Write `pressure.npz`: the pressure on every node at every moment.

    Arrays: ``phase`` (p,), ``load_factor`` (p,), ``found`` (p,), ``pressure_pa`` (p, n) and
    ``points_m`` (p, n, 3) of the moving skin in the body frame, ``area_m2`` (n,), ``node`` (n,)
    places in the flattened chart of ``shape``. Where the tree leaves, its pressure is nan.
    """
    chart = stride.back.chart
    found = np.array([one.equilibrium.found for one in stride.moments])
    pressure = np.array([one.equilibrium.pressure for one in stride.moments], dtype=np.float32)
    pressure[~found] = np.nan
    with whole_file(path) as draft, draft.open("wb") as file:
        np.savez_compressed(
            file,
            phase=stride.phases,
            load_factor=np.array([one.posture.load for one in stride.moments]),
            found=found,
            pressure_pa=pressure,
            points_m=np.array([one.posture.points for one in stride.moments], dtype=np.float32),
            area_m2=chart.area[chart.valid],
            node=np.flatnonzero(chart.valid),
            shape=np.array(chart.valid.shape),
        )


def _gait(stride: Stride) -> dict[str, object]:
    gait = stride.gait
    return {
        "name": gait.name,
        "stride_s": _number(gait.stride),
        "load_peak": _number(gait.load_peak),
        "flexion_deg": _number(math.degrees(gait.flexion)),
        "lateral_deg": _number(math.degrees(gait.lateral)),
        "axial_front_deg": _number(math.degrees(gait.axial_front)),
        "axial_rear_deg": _number(math.degrees(gait.axial_rear)),
        "glide_mm": _number(MM * gait.shoulder.glide * stride.moving.scale),
        "lift_mm": _number(MM * gait.shoulder.lift * stride.moving.scale),
        "sources": dict(gait.sources),
    }


def _measures(stride: Stride, measures: StrideMeasures) -> dict[str, object]:
    weight = measures.vertical_force - measures.strap_force
    return {
        "peak_kpa": _number(KPA * measures.peak.max()),
        "mean_kpa": _number(KPA * measures.mean.mean()),
        "vertical_impulse_ns": _number(measures.vertical_force.mean() * stride.gait.stride),
        "carried_impulse_ns": _number(weight.mean() * stride.gait.stride),
        "share": {
            name: _number(share @ measures.normal_force / measures.normal_force.sum())
            for name, share in measures.share.items()
        },
        "uneven": _number(measures.uneven),
        "lopsided": _number(measures.lopsided),
        "slip_mm": _number(MM * slip_per_stride(stride)),
        "shoulders": {side: _shoulder(one) for side, one in measures.shoulders.items()},
    }


def _shoulder(one: ShoulderFreedom) -> dict[str, object]:
    return {
        "restricted": _number(one.restricted),
        "restricted_glide_mm": _number(MM * one.restricted_glide),
        "least_clearance_mm": _known(MM * one.least_clearance),
        "held_down_mm": _number(MM * one.held_down.max()),
        "peak_kpa": _number(KPA * one.peak.max()),
        "impulse_ns": _number(one.impulse),
        "work_j": _number(one.work),
        "lift_work_j": _number(one.lift_work),
        "rub_work_j": _number(one.rub_work),
    }


def _short(measures: StrideMeasures | None) -> dict[str, object]:
    if measures is None:
        return {"stays": False}
    return {
        "stays": True,
        "peak_kpa": _number(KPA * measures.peak.max()),
        "shoulders": {side: _shoulder(one) for side, one in measures.shoulders.items()},
    }


def _rows(stride: Stride) -> list[dict[str, object]]:
    return [_row(stride, number) for number in range(len(stride.moments))]


def _row(stride: Stride, number: int) -> dict[str, object]:
    moment, measures = stride.moments[number], stride.measures
    row: dict[str, object] = {
        "phase": _number(moment.posture.phase),
        "time_s": _number(moment.posture.phase * stride.gait.stride),
        "load_factor": _number(moment.posture.load),
        "stays": moment.equilibrium.found,
    }
    if not moment.equilibrium.found:
        return row
    slid, slipped = moment.working.slid, moment.working.slipped
    row |= {
        "slid_forward_mm": _number(MM * slid[0]),
        "slid_left_mm": _number(MM * slid[1]),
        "turned_left_deg": _number(math.degrees(slid[2])),
        "slipped_forward_mm": _number(MM * slipped[0]),
        "slipped_left_mm": _number(MM * slipped[1]),
    }
    if measures is None:
        return row
    row |= {
        "normal_force_n": _number(measures.normal_force[number]),
        "vertical_force_n": _number(measures.vertical_force[number]),
        "strap_force_n": _number(measures.strap_force[number]),
        "peak_kpa": _number(KPA * measures.peak[number]),
        "mean_kpa": _number(KPA * measures.mean[number]),
        "area_cm2": _number(CM2 * measures.area[number]),
        **{f"share_{name}": _number(measures.share[name][number]) for name in SHARES},
    }
    for side, one in measures.shoulders.items():
        row |= {
            f"glide_{side}_mm": _number(MM * one.glide[number]),
            f"lift_{side}_mm": _number(MM * one.lift[number]),
            f"clearance_{side}_mm": _known(MM * one.clearance[number]),
            f"held_down_{side}_mm": _number(MM * one.held_down[number]),
            f"shoulder_peak_{side}_kpa": _number(KPA * one.peak[number]),
            f"shoulder_force_{side}_n": _number(one.force[number]),
        }
    return row


def _number(value: float) -> float:
    return float(f"{float(value):.7g}")


def _known(value: float) -> float | None:
    return None if math.isnan(value) else _number(value)
