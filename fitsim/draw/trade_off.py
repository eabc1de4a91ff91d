"""What one goal costs another: every setting a search tried, as a chart."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitsim.draw.flat_map import png_of
from fitsim.draw.quantity import shown

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fitsim.draw.quantity import System
    from fitsim.study.search.search import Found
    from fitsim.study.search.trial import Trial

_SIZE, _DOTS = (9.0, 6.0), 150  # inches, per inch
_TRIED, _FRONT, _START, _ANSWER = "#b8b8b8", "#35618f", "#1a1a1a", "#b5421a"
_ROOM = 1.3  # of the start's own value: what is far worse is left out


def trade_off(found: Found, trials: Sequence[Trial], system: System = "metric") -> bytes:
    """Draw peak pressure against pressure on the shoulder blades, for every setting tried.

    Parameters
    ----------
    found : Found
    trials : sequence of Trial
        All that were made on the back as found.
    system : {"metric", "inch"}

    Returns
    -------
    bytes
        Of a PNG.
    """
    from matplotlib.figure import Figure

    figure = Figure(figsize=_SIZE, dpi=_DOTS, layout="constrained")
    axes = figure.add_subplot()
    x, y = _places(trials, system)
    axes.scatter(x, y, s=14, color=_TRIED, label="tried")
    x, y = _places(found.front, system)
    axes.scatter(x, y, s=34, color=_FRONT, label="none better in all goals")
    for trial, words, colour, marker in (
        (found.start, "start", _START, "s"),
        (found.answer, "answer", _ANSWER, "D"),
    ):
        if trial.goals is None:
            continue
        x, y = _places([trial], system)
        axes.scatter(x, y, s=110, color=colour, marker=marker, zorder=3)
        axes.annotate(
            words, (x[0], y[0]), (10, 8), textcoords="offset points", fontsize=15, color=colour
        )
    unit = shown("pressure", system).unit
    axes.set_xlabel(f"highest pressure anywhere ({unit})", fontsize=13)
    axes.set_ylabel(f"highest pressure on the shoulder blades ({unit})", fontsize=13)
    axes.set_title(
        "Every dot is one setting of the tree. Down and to the left is better.", loc="left"
    )
    shown_trials = _places([t for t in (found.start, found.answer) if t.goals], system)
    least = min(_places(found.front, system)[0])
    axes.set_xlim(0.8 * least, _ROOM * max(shown_trials[0]))
    axes.set_ylim(-0.02 * max(shown_trials[1], default=1.0), _ROOM * max(*shown_trials[1], 1.0))
    axes.tick_params(labelsize=12)
    axes.grid(visible=True, color="#e6e6e6")
    axes.set_axisbelow(True)
    axes.legend(fontsize=11, loc="upper left")
    return png_of(figure)


def _places(trials: Sequence[Trial], system: System) -> tuple[list[float], list[float]]:
    per_si = shown("pressure", system).per_si
    goals = [trial.goals for trial in trials if trial.goals is not None]
    return [g.pressure * per_si for g in goals], [g.shoulder * per_si for g in goals]
