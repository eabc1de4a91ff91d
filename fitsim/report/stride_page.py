"""`stride.html` and `stride.gif`: a stride to look at, in one file that opens anywhere."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import numpy as np

from fitsim.draw.quantity import number, percent, quantity, shown
from fitsim.files import whole_file, write_text
from fitsim.report.contract import CAUTIONS
from fitsim.report.house import picture_of, rendered
from fitsim.report.stride_words import (
    ASSUMED,
    RULES,
    advice,
    best_trial,
    carries,
    headline,
    interval,
    verdict,
    work,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from PIL import Image

    from fitsim.draw.quantity import System
    from fitsim.measure.shoulder import ShoulderFreedom
    from fitsim.measure.stride import StrideMeasures
    from fitsim.study.stride_job import StrideStudy

GIF_SIZE = (900, 600)
SLOWER = 4.0
"""Times slower than life that the moving picture runs: a stride is over before one has looked."""


def write_gif(frames: Sequence[Image.Image], path: Path, stride_s: float) -> None:
    """Write `stride.gif`, four times slower than life.

    Parameters
    ----------
    frames : sequence of Image
        One a moment, evenly over the stride.
    path : Path
    stride_s : s
    """
    from PIL import Image

    small = [frame.resize(GIF_SIZE) for frame in frames]
    # One palette for all: a palette of its own for every picture flickers.
    palette = _together(small).quantize(256, dither=Image.Dither.NONE)
    coded = [frame.quantize(palette=palette, dither=Image.Dither.NONE) for frame in small]
    with whole_file(path) as draft:
        coded[0].save(
            draft,
            format="GIF",
            save_all=True,
            append_images=coded[1:],
            duration=max(20, round(1e3 * SLOWER * stride_s / len(frames))),
            loop=0,
        )


def write_page(
    study: StrideStudy, frames: Sequence[Image.Image], path: Path, system: System = "metric"
) -> None:
    """Write `stride.html`, with its moving picture inside.

    Parameters
    ----------
    study : StrideStudy
    frames : sequence of Image
        One a moment; none where the tree leaves.
    path : Path
    system : units people chose.
    """
    stride, coded = study.stride, [picture_of(frame) for frame in frames]
    do, why = advice(study)
    text = rendered(
        "stride.html.j2",
        stride=stride,
        headline=headline(stride),
        carries=carries(stride),
        said=verdict(study, system),
        todo=do,
        why=why,
        frames=coded,
        pictures=json.dumps(coded),
        shown=_worst(study),
        stride_ms=round(1e3 * stride.gait.stride),
        shoulders=_shoulders(study, system),
        trials=_trials(study, system),
        unit=shown("pressure", system).unit,
        assumed=ASSUMED,
        rules=RULES,
        sources=[(name.replace("_", " "), source) for name, source in stride.gait.sources.items()],
        cautions=(*CAUTIONS, *stride.back.cautions),
    )
    write_text(path, text)


def _shoulders(study: StrideStudy, system: System) -> list[tuple[str, str, str, str]]:
    """Rows of the table of both blades: what, left, right, and how sure."""
    measures = study.stride.measures
    if measures is None:
        return []
    rows: list[tuple[str, Callable[[ShoulderFreedom], float], Callable[[float], str]]] = [
        ("Rise that the bar takes back", lambda one: one.restricted, percent),
        (
            "Glide restricted",
            lambda one: one.restricted_glide,
            lambda value: quantity(value, "length", system),
        ),
        (
            "Hardest pressure on it",
            lambda one: float(one.peak.max()),
            lambda value: quantity(value, "pressure", system),
        ),
        ("Impulse on it", lambda one: one.impulse, "{:.0f} N·s".format),
        ("Work taken from it, at most", lambda one: one.work, "{:.1f} J".format),
        ("of that, lifting", lambda one: one.lift_work, "{:.1f} J".format),
    ]
    sides = [measures.shoulders[side] for side in ("left", "right")]
    return [
        (name, said(of(sides[0])), said(of(sides[1])), _sure(study, of, said))
        for name, of, said in rows
    ]


def _sure(
    study: StrideStudy, of: Callable[[ShoulderFreedom], float], said: Callable[[float], str]
) -> str:
    if study.range is None:
        return "not tried"

    def worse(measures: StrideMeasures) -> float:
        return max(of(one) for one in measures.shoulders.values())

    low, high = interval(study, worse)
    return f"{said(low)} to {said(high)}"


def _trials(study: StrideStudy, system: System) -> list[dict[str, object]]:
    best = best_trial(study.trials)
    rows: list[dict[str, object]] = []
    for trial in study.trials:
        row: dict[str, object] = {"words": trial.words.capitalize(), "best": trial is best}
        if trial.measures is None:
            row |= {"work": "does not stay", "restricted": "", "peak": ""}
        else:
            worst = max(one.restricted for one in trial.measures.shoulders.values())
            row |= {
                "work": f"{work(trial.measures):.1f}",
                "restricted": percent(worst),
                "peak": number(trial.measures.peak.max(), "pressure", system),
            }
        rows.append(row)
    return rows


def _worst(study: StrideStudy) -> int:
    """The moment shown before the picture is played: where the blades are pressed hardest."""
    measures = study.stride.measures
    if measures is None:
        return 0
    return int(np.argmax([one.peak for one in measures.shoulders.values()]) % len(measures.peak))


def _together(frames: Sequence[Image.Image]) -> Image.Image:
    """A few frames on one sheet, to choose a palette from."""
    from PIL import Image

    few = frames[:: max(1, len(frames) // 4)]
    wide, high = few[0].size
    sheet = Image.new("RGB", (wide, high * len(few)))
    for row, frame in enumerate(few):
        sheet.paste(frame, (0, row * high))
    return sheet
