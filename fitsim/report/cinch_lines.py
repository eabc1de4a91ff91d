"""A cinch map in words and as plain data; a slider reads the same data."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from fitsim.draw.cinch_words import region_sentences, rig_sentence, rule_words
from fitsim.measure.hand import EASY
from fitsim.report.contract import CAUTIONS, KPA, MM
from fitsim.study.cinch_rules import (
    GRIP,
    LIFTED,
    MOSTLY,
    ON_THE_BLADE,
    RULES,
    SNUG,
    middle,
    serving,
)

if TYPE_CHECKING:
    import numpy as np

    from fitsim.draw.quantity import System
    from fitsim.study.cinch_map import CinchMap

SCHEMA = 1

HOW_SURE = (
    "How sure: which way a line leans and which trouble lies beyond it are surer than where it "
    "runs. Tissue and tension are known to a factor of 1.6 at best; take the region's middle, "
    "not its rim."
)

# Key in the files, field of a cell, factor from SI.
COLUMNS = (
    ("front_share", "front_share", 1.0),
    ("middle_share", "middle_share", 1.0),
    ("rear_share", "rear_share", 1.0),
    ("peak_kpa", "peak", KPA),
    ("blade_peak_kpa", "blade_peak", KPA),
    ("blade_share", "blade_share", 1.0),
    ("front_lift_mm", "front_lift", MM),
    ("rear_lift_mm", "rear_lift", MM),
    ("grip_n", "grip", 1.0),
    ("hand_push_n", "hand_push", 1.0),
)


def cinch_lines(found: CinchMap, front: float, rear: float, system: System = "metric") -> list[str]:
    """Return where to draw the cinches, by which rules, and how sure that is.

    Parameters
    ----------
    found : CinchMap
    front, rear : N, each strap end, as they are now.
    system : units people chose.
    """
    serves = serving(found)
    return [
        *region_sentences(found, serves, system),
        rig_sentence(found, serves, front, rear),
        "",
        "The rules, which are choices and mark no harm:",
        *(f"  {rule_words(rule, system)}" for rule in RULES),
        "",
        HOW_SURE,
        *CAUTIONS,
    ]


def cinch_facts(found: CinchMap) -> dict[str, object]:
    """Return a cinch map as plain data.

    Parameters
    ----------
    found : CinchMap

    Returns
    -------
    dict
        Every table is a list of rows, one for each front tension, of one number for each rear
        tension; null where the tree does not stay.
    """
    serves = serving(found)
    best = middle(found, serves) if serves.inside.any() else None
    return {
        "schema": SCHEMA,
        "case": found.case,
        "front_n": _row(found.front),
        "rear_n": _row(found.rear),
        "measures": {
            key: [_row(factor * row) for row in found.measures[name]]
            for key, name, factor in COLUMNS
        },
        "leaves": [list(row) for row in found.leaves],
        "serves": serves.inside.tolist(),
        "kept": list(serves.kept),
        "middle_n": None if best is None else list(best),
        "rules": {
            "blade_share_below": ON_THE_BLADE,
            "lift_difference_mm_at_most": MM * LIFTED,
            "third_share_below": MOSTLY,
            "grip_n_at_least": GRIP,
            "front_n_above": SNUG,
            "hand_push_n_at_most": EASY,
        },
        "cautions": list(CAUTIONS),
    }


def cinch_csv(found: CinchMap) -> str:
    """Return a cinch map as CSV, one row for each pair of tensions.

    Parameters
    ----------
    found : CinchMap
    """
    serves = serving(found)
    lines = [",".join(["front_n", "rear_n", *(key for key, _, _ in COLUMNS), "serves", "leaves"])]
    for row, front in enumerate(found.front):
        for column, rear in enumerate(found.rear):
            values = [factor * found.measures[name][row, column] for _, name, factor in COLUMNS]
            cells = [_text(value) for value in (front, rear, *values)]
            way = found.leaves[row][column] or ""
            lines.append(",".join([*cells, str(int(serves.inside[row, column])), way]))
    return "\n".join(lines) + "\n"


def _text(value: float) -> str:
    return f"{value:.6g}" if math.isfinite(value) else ""


def _row(values: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> list[float | None]:
    return [float(f"{value:.7g}") if math.isfinite(value) else None for value in values]
