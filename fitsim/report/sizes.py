"""How sizes of a tree serve animals: facts for programs and lines for people."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from fitsim.draw.quantity import percent, plain
from fitsim.report.contract import CAUTIONS
from fitsim.report.search import setting_shown, settings_in_units
from fitsim.study.sizes import SLACK
from fitsim.units import show_length

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from fitsim.draw.quantity import System
    from fitsim.study.search.space import Space
    from fitsim.study.sizes import Sizes

RULE = (
    "A size serves an animal if its score (docs/search.md) is within "
    f"{SLACK:.0%} of the best tried on it."
)


def sizes_facts(
    found: Sizes, space: Space, skipped: Mapping[str, str], share: float
) -> dict[str, Any]:
    """Return everything that was found, quantities with their unit in the key.

    Parameters
    ----------
    found : Sizes
    space : of the sizes.
    skipped : why, by scan.
    share : of the animals that were to be served.
    """
    return {
        "schema": 1,
        "share_asked_for": share,
        "animals": [
            {
                "name": name,
                "withers_height_m": shape.withers_height,
                "front_angle_deg": math.degrees(shape.front_angle),
                "rear_angle_deg": math.degrees(shape.rear_angle),
                "hollow_mm": 1e3 * shape.hollow,
                "scores": [score if math.isfinite(score) else None for score in row.tolist()],
            }
            for name, shape, row in zip(found.names, found.shapes, found.scores, strict=True)
        ],
        "sizes": [settings_in_units(space, values) for values in found.tried],
        "one": {"size": found.one, "left_out": list(found.left_out([found.one]))},
        "fewest": {"sizes": list(found.chosen), "left_out": list(found.left_out(found.chosen))},
        "skipped": dict(skipped),
        "cautions": list(CAUTIONS),
    }


def sizes_lines(
    found: Sizes, space: Space, skipped: Mapping[str, str], share: float, system: System = "metric"
) -> list[str]:
    """Return the same for the terminal.

    Parameters
    ----------
    found, space, skipped, share : see `sizes_facts`.
    system : {"metric", "inch"}
    """
    lines = [f"{len(found.names)} animals, {len(found.tried)} sizes tried on each", ""]
    lines += [f"  {'':26}{'least':>9}{'middle':>9}{'most':>9}"]
    lines += _spread(found, system)
    lines += ["", *_served_by(found, [found.one], "One size that serves most:", space, system)]
    words = f"The fewest sizes that serve {percent(share)}: {len(found.chosen)}"
    lines += ["", *_served_by(found, found.chosen, words, space, system)]
    never = [n for n, row in zip(found.names, found.served, strict=True) if not row.any()]
    if never:
        lines += ["", f"No size that was tried stays on: {', '.join(never)}."]
    lines += [f"Skipped: {why}" for why in skipped.values()]
    lines += ["", RULE, "", *CAUTIONS]
    return plain(lines)


def _spread(found: Sizes, system: System) -> list[str]:
    """How the shapes of the backs spread."""
    lines = []
    for words, name in (
        ("slope under the front", "front_angle"),
        ("slope under the rear", "rear_angle"),
        ("hollow between them", "hollow"),
        ("withers height", "withers_height"),
    ):
        values = np.array([getattr(shape, name) for shape in found.shapes])
        three = (values.min(), float(np.median(values)), values.max())
        said = [
            f"{math.degrees(v):.0f} deg" if "angle" in name else show_length(float(v), system)
            for v in three
        ]
        lines.append(f"  {words:26}{said[0]:>9}{said[1]:>9}{said[2]:>9}")
    return lines


def _served_by(
    found: Sizes, sizes: Sequence[int], words: str, space: Space, system: System
) -> list[str]:
    """Sizes one below the other, with how many each serves, and who is left out."""
    lines = [words]
    for size in sizes:
        said = ", ".join(
            f"{knob.word.replace('-', ' ')} {setting_shown(space, knob.word, value, system)}"
            for knob in space.knobs
            for value in [found.tried[size][knob.word]]
        )
        lines.append(f"  {said}: serves {int(found.served[:, size].sum())}")
    left = found.left_out(sizes)
    return [*lines, f"  Left out: {', '.join(left)}." if left else "  Nobody is left out."]
