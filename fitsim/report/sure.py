"""How sure a fit's numbers are: in words, in a table, for programs, and what to measure next."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fitsim.draw.quantity import percent, quantity
from fitsim.draw.words import case_title
from fitsim.study.confidence import COAT, LEVEL, hangs_on, interval

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fitsim.draw.quantity import System
    from fitsim.study.confidence import Interval, Samples

_KPA, _CM2, _MM = 1e-3, 1e4, 1e3

# By headline: words, kind of quantity, key in the file, factor from SI.
WORDS: Mapping[str, tuple[str, str, str, float]] = {
    "peak": ("hardest pressure anywhere", "pressure", "peak_kpa", _KPA),
    "mean": ("mean pressure where it bears", "pressure", "mean_kpa", _KPA),
    "scapula_peak": ("hardest on the shoulder blades", "pressure", "scapula_peak_kpa", _KPA),
    "fat_pocket_peak": ("hardest on the fat pockets", "pressure", "fat_pocket_peak_kpa", _KPA),
    "spine_peak": ("hardest on the spine", "pressure", "spine_peak_kpa", _KPA),
    "area": ("area that bears", "area", "area_cm2", _CM2),
    "front_share": ("load on the front third", "share", "front_share", 1.0),
    "middle_share": ("load on the middle third", "share", "middle_share", 1.0),
    "rear_share": ("load on the rear third", "share", "rear_share", 1.0),
    "scapula_share": ("load on the shoulder blades", "share", "scapula_share", 1.0),
    "fat_pocket_share": ("load on the fat pockets", "share", "fat_pocket_share", 1.0),
    "front_lift": ("lift of the front tips", "length", "front_lift_mm", _MM),
    "rear_lift": ("lift of the rear tips", "length", "rear_lift_mm", _MM),
}

SHOWN = (
    "peak", "front_share", "middle_share", "rear_share", "scapula_share", "fat_pocket_share",
    "front_lift", "rear_lift",
)  # fmt: skip
"""Headlines of one fit that are shown to people with their interval; programs get them all."""


def measure_next(samples: Samples, case: str) -> str | None:
    """Return what to find out next on the animal: what most of the first tree's spread hangs on.

    Parameters
    ----------
    samples : Samples
    case : name.

    Returns
    -------
    str or None
        None where too few plausible backs were tried to say.
    """
    shares = hangs_on(samples, samples.of(0, case, "scapula_peak"))
    shares = shares or hangs_on(samples, samples.of(0, case, "peak"))
    if not shares:
        return None
    name, share = next(iter(shares.items()))
    advice = {
        "blade along": "where the shoulder blade's rear edge lies: feel for it and mark it",
        "pocket along": "where the fat pocket lies: mark its outline",
        "pocket across": "where the fat pocket lies: mark its outline",
        "front cinch": "how tight the front cinch is: put a strap gauge on it",
        "rear cinch": "how tight the rear cinch is: put a strap gauge on it",
        "coat": "what a load leaves of the coat: measure its depth, or scan when it is short",
        "pad stiffness": "how stiff the pad is: measure it (docs/rig-file.md)",
    }.get(name, f"{name.replace('depth over', 'how deep the tissue is over')}, which only a "
                "veterinarian's ultrasound or a feeling hand tells")  # fmt: skip
    return f"Most hangs on {advice} ({percent(share)} of the spread)."


def sure_facts(samples: Samples) -> dict[str, Any]:
    """Return the key "sure" of `fit.json`.

    Parameters
    ----------
    samples : Samples
        Of one tree.
    """
    return {
        "level": LEVEL,
        "plausible_backs": len(samples.draws),
        "model": "fast",
        "cases": {
            case: {
                "stays_on_share_of_backs": samples.stays(0, case),
                **{
                    key: _facts(interval(samples.of(0, case, name)), factor)
                    for name, (_, _, key, factor) in WORDS.items()
                },
            }
            for case in samples.cases
        },
        "measure_next": measure_next(samples, samples.cases[-1]),
    }


def _facts(within: Interval | None, factor: float) -> dict[str, float] | None:
    if within is None:
        return None
    return {
        name: float(f"{factor * getattr(within, name):.7g}") for name in ("low", "middle", "high")
    }


def sure_rows(samples: Samples, system: System) -> list[tuple[str, list[str]]]:
    """Return the table of intervals: words, and a cell "between a and b" for every case.

    Parameters
    ----------
    samples : Samples
        Of one tree.
    system : {"metric", "inch"}
    """
    rows = [
        (
            WORDS[name][0].capitalize(),
            [_between(samples, case, name, system) for case in samples.cases],
        )
        for name in SHOWN
    ]
    stays = [percent(samples.stays(0, case)) for case in samples.cases]
    return [*rows, ("Stays on, of the plausible backs", stays)]


def _between(samples: Samples, case: str, name: str, system: System) -> str:
    within, kind = interval(samples.of(0, case, name)), WORDS[name][1]
    if within is None:
        return "leaves"

    def said(value: float) -> str:
        return percent(value) if kind == "share" else quantity(value, kind, system)

    low, high = said(within.low), said(within.high)
    return f"{low}, give or take little" if low == high else f"between {low} and {high}"


def sure_note(samples: Samples) -> str:
    """Return how the intervals are to be read."""
    coat = ", the coat" if COAT in samples.unknowns else ""
    return (
        f"Nine in ten of {len(samples.draws)} plausible backs lie between these: tissue, marks, "
        f"pad, cinches, friction{coat} and the scan itself drawn as unsure as they are. They say "
        "nothing of what the model leaves out."
    )


def sure_lines(samples: Samples, system: System = "metric") -> list[str]:
    """Return the intervals of the last case, which bears most, for the terminal.

    Parameters
    ----------
    samples : Samples
        Of one tree.
    system : {"metric", "inch"}
    """
    lines = [f"How sure: {case_title(samples.cases[-1])}"]
    lines += [f"  {words:34}{cells[-1]}" for words, cells in sure_rows(samples, system)]
    found = measure_next(samples, samples.cases[-1])
    return [*lines, sure_note(samples), *([found] if found else [])]
