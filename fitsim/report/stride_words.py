"""What a stride shows, in a horseman's words, by rules that are stated."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fitsim.draw.quantity import percent, quantity
from fitsim.draw.words import case_title, what_would_hold

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from fitsim.draw.quantity import System
    from fitsim.measure.shoulder import ShoulderFreedom
    from fitsim.measure.stride import StrideMeasures
    from fitsim.study.stride import Stride
    from fitsim.study.stride_job import StrideStudy
    from fitsim.study.stride_trials import Trial

# The limits below decide which sentence is said; none is a threshold of harm.
HELD = 0.30
"""Share of its rise that the bar takes back from which a blade is said to be held down."""
FREE = 0.10
"""The same, up to which it is said to be free."""
HELPS = 0.10
"""Share of the work by which a change must ease the shoulders to be worth trying."""
HARDER = 0.05
"""Share by which the hardest pressure may rise with it."""
LOPSIDED = 0.06
"""Left minus right over a whole stride, from which the load is called uneven."""

RULES = (
    (
        f"A shoulder blade is 'held down' when the bar takes back {percent(HELD)} or more of the "
        f"rise of its rear edge, and 'free' up to {percent(FREE)}."
    ),
    (
        f"A change is worth trying when the shoulders work {percent(HELPS)} less and the hardest "
        f"pressure rises by no more than {percent(HARDER)}."
    ),
    (
        f"The load is 'uneven' when one side carries {percent(LOPSIDED)} of it more than the other "
        "over the whole stride."
    ),
    "These limits are choices that decide what is said first; none marks where harm begins.",
)

ASSUMED = (
    (
        "How far a shoulder blade moves under a tree was never measured: 40 mm back and 8 mm out "
        "is what people who fit trees say (25 to 75 and 3 to 15 mm; common practice, no source)."
    ),
    (
        "The skin slides over the blade, and the tissue keeps the stiffness it has on the standing "
        "animal."
    ),
    (
        "Each moment is a balance of its own; cinches keep their pull through the stride; a rider "
        "moves with the animal."
    ),
    (
        "Friction is counted from where the seat is carried to: slip that adds up over many "
        "strides is not followed."
    ),
)


def carries(stride: Stride) -> str:
    """Return what the tree carries, or under which cinches it goes without a load."""
    name = stride.case.name
    return stride.load.name if name == stride.load.kind else case_title(name).lower()


def headline(stride: Stride) -> str:
    """Return the finding that matters most, in a few words."""
    if stride.measures is None:
        return "The tree does not stay on through the stride"
    blades = stride.measures.shoulders
    held = [side for side, one in blades.items() if one.restricted >= HELD]
    if len(held) == 1:
        return f"The {held[0]} bar holds its shoulder blade down"
    if held:
        return "The bars hold the shoulder blades down"
    if max(one.restricted for one in blades.values()) <= FREE:
        return "The shoulder blades glide free"
    return "The bars touch the shoulder blades as they glide"


def verdict(study: StrideStudy, system: System = "metric") -> list[str]:
    """Return what a stride shows, most telling first."""
    stride = study.stride
    measures = stride.measures
    if measures is None:
        return [_left(stride)]
    said = [
        _restriction(study),
        _shoulder_pressure(measures, system),
        f"The hardest pressure swings between {_range(measures.peak, 'pressure', system)}.",
        _sides(measures),
        _works(stride, system),
    ]
    if abs(measures.lopsided) >= LOPSIDED:
        side = "left" if measures.lopsided > 0.0 else "right"
        share = percent(abs(measures.lopsided))
        said.append(f"Over the stride the {side} side carries {share} of the load more.")
    return said


def advice(study: StrideStudy) -> tuple[str, str]:
    """Return what to try first, and why."""
    stride, measures = study.stride, study.stride.measures
    if measures is None:
        way = next(one.equilibrium.leaves for one in stride.moments if not one.equilibrium.found)
        return "Do not use this tree so: make it stay on first.", what_would_hold(way or "")
    if max(one.restricted for one in measures.shoulders.values()) <= FREE:
        return (
            "Nothing here asks for a change. Confirm it on the moving animal.",
            "The bars take back almost nothing of what the shoulder blades rise.",
        )
    best = best_trial(study.trials)
    if best is not None and best.measures is not None:
        was, now = (work(one) for one in (study.trials[0].measures, best.measures))
        return (
            f"{best.words[0].upper()}{best.words[1:]}.",
            f"The work taken from the two shoulders falls from {was:.1f} to {now:.1f} J a stride.",
        )
    if study.trials:
        return (
            "Give the bar fronts more room over the shoulder: a tree of another shape.",
            (
                "Moving it back, changing either cinch and more flare were tried; none eased the "
                f"shoulders by {percent(HELPS)} without pressing harder elsewhere."
            ),
        )
    return (
        "The tree farther back, or more room in front.",
        "The bars press on the shoulder blades as they glide.",
    )


def best_trial(trials: tuple[Trial, ...]) -> Trial | None:
    """Return the change that eases the shoulders most, if one is worth trying."""
    if not trials or trials[0].measures is None:
        return None
    as_it_is = trials[0].measures
    better = [
        one
        for one in trials[1:]
        if one.measures is not None
        and work(one.measures) <= (1.0 - HELPS) * work(as_it_is)
        and one.measures.peak.max() <= (1.0 + HARDER) * as_it_is.peak.max()
    ]
    return min(better, key=lambda one: work(one.measures), default=None)


def work(measures: StrideMeasures | None) -> float:
    """Return the work taken from both shoulders, J a stride; nan where the tree leaves."""
    if measures is None:
        return float("nan")
    return sum(one.work for one in measures.shoulders.values())


def interval(study: StrideStudy, of: Callable[[StrideMeasures], float]) -> tuple[float, float]:
    """Return the range of a number over how far shoulders move; the number itself included."""
    known = [study.stride.measures]
    if study.range is not None:
        known += [study.range.little, study.range.much]
    values = [of(one) for one in known if one is not None]
    return min(values), max(values)


def most_restricted(measures: StrideMeasures) -> ShoulderFreedom:
    """Return the shoulder that is held down more."""
    return max(measures.shoulders.values(), key=lambda one: one.restricted)


def _restriction(study: StrideStudy) -> str:
    measures = study.stride.measures
    if measures is None:
        return ""
    left, right = (measures.shoulders[side].restricted for side in ("left", "right"))
    low, high = interval(study, lambda one: most_restricted(one).restricted)
    sure = f" ({percent(low)} to {percent(high)} by how far it moves)" if study.range else ""
    return (
        f"The bars take back {percent(left)} (left) and {percent(right)} (right) of what the "
        f"shoulder blades rise as they glide{sure}."
    )


def _shoulder_pressure(measures: StrideMeasures, system: System) -> str:
    peak = max(float(one.peak.max()) for one in measures.shoulders.values())
    clear = [one.least_clearance for one in measures.shoulders.values()]
    if peak <= 0.0 and np.isfinite(clear).all():
        return f"Least clearance over a blade: {quantity(min(clear), 'length', system)}."
    return f"On a shoulder blade the hardest pressure is {quantity(peak, 'pressure', system)}."


def _sides(measures: StrideMeasures) -> str:
    return (
        f"Left and right differ by up to {percent(measures.uneven)} of the load within the "
        f"stride, by {percent(abs(measures.lopsided))} over all of it."
    )


def _works(stride: Stride, system: System) -> str:
    slid = np.array([one.working.slid for one in stride.moments])
    along, across = np.ptp(slid[:, 0]), np.ptp(slid[:, 1])
    return (
        f"The tree works {quantity(along, 'length', system)} to and fro and "
        f"{quantity(across, 'length', system)} from side to side on the skin each stride, of which "
        f"{quantity(slip_per_stride(stride), 'length', system)} is slip."
    )


def slip_per_stride(stride: Stride) -> float:
    """Return how far the tree slips on the coat in a stride, m: the way its middle rubs."""
    slipped = np.array([one.working.slipped[:2] for one in stride.moments])
    return float(np.linalg.norm(np.roll(slipped, -1, axis=0) - slipped, axis=1).sum())


def _range(values: np.ndarray[tuple[int], np.dtype[np.float64]], kind: str, system: System) -> str:
    return f"{quantity(values.min(), kind, system)} and {quantity(values.max(), kind, system)}"


def _left(stride: Stride) -> str:
    lost = [one for one in stride.moments if not one.equilibrium.found]
    first = lost[0]
    return (
        f"It {first.equilibrium.leaves or 'leaves the back'} {percent(first.posture.phase)} into "
        f"the stride; it stays in {len(stride.moments) - len(lost)} of {len(stride.moments)} "
        "moments."
    )


FILES = {
    "stride.html": "the stride to look at, with a play button",
    "stride.gif": "the same as a moving picture",
    "stride.csv": "one row a moment",
    "pressure.npz": "pressure on every node at every moment",
    "stride.json": "everything in numbers",
}


def stride_lines(study: StrideStudy, folder: Path, system: System = "metric") -> list[str]:
    """Return what the command line says after a stride."""
    stride = study.stride
    do, why = advice(study)
    what = f"{carries(stride)}: {headline(stride)}."
    said = [
        f"{stride.tree.name} on {stride.back.provenance.name}, {stride.gait.words}, {what}",
        *(f"  {line}" for line in verdict(study, system)),
        "",
        f"Try first: {do} {why}",
    ]
    if study.defaults:
        said.append(f"Defaults used: {', '.join(study.defaults)}.")
    said += ["An estimate from a model, not a measurement: confirm it on the moving animal.", ""]
    written = [name for name in FILES if (folder / name).is_file()]
    return said + [f"{folder / name}  {FILES[name]}" for name in written]
