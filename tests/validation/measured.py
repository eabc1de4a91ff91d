"""What a test measured, beside the limit it is held to: asserted and kept by the same call.

A test asks for the fixture `measured` and says by it what it holds against an outside source.
`make validation` runs those tests and puts the figures into docs/validation.md, so that the
number a reader sees is the number that was tested.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import ArrayLike

Kind = Literal["relative", "apart", "below", "above", "within", "same", "told"]


@dataclass(frozen=True)
class Figure:
    """One number that a test holds to a limit.

    Attributes
    ----------
    what : what was measured, in words.
    against : the source it is held against.
    kind : how the limit is meant.
    found : what was found; of several, the one that is nearest to failing.
    limit : one number; two for "within"; for "apart" the value expected and how far off is
        allowed; words for "same". What is "told" has none: `what` is then the column and `against`
        the row of a table by case.
    unit : of both, as shown; "" is a plain number. A relative deviation is a plain number.
    asked : the limit that was asked for, where the test's own had to be wider.
    held : whether it kept to its limit.
    """

    what: str
    against: str
    kind: Kind
    found: float | str
    limit: float | str | tuple[float, float]
    unit: str
    asked: float | None
    held: bool


class Measured:
    """Asserts, and hands on what it asserted: `keep` takes a name and a dictionary."""

    def __init__(self, keep: Callable[[str, object], None]) -> None:
        self._keep = keep

    def near(
        self, what: str, found: ArrayLike, expected: ArrayLike, against: str, *,
        rel: float, asked: float | None = None,
    ) -> None:  # fmt: skip
        """Hold it within a share of what is expected; of an array, the worst entry is kept."""
        off = np.atleast_1d(np.asarray(found) / np.asarray(expected) - 1.0)
        worst = _worst(off)
        self._say(Figure(what, against, "relative", worst, rel, "", asked, abs(worst) <= rel))

    def apart(
        self, what: str, found: ArrayLike, expected: float, against: str, *,
        off: float, unit: str, asked: float | None = None,
    ) -> None:  # fmt: skip
        """Hold it to a value that is told, give or take `off`."""
        values = np.atleast_1d(np.asarray(found, dtype=float))
        limit = (float(expected), float(off))
        worst = limit[0] + _worst(values - expected)
        held = abs(worst - limit[0]) <= limit[1]
        self._say(Figure(what, against, "apart", worst, limit, unit, asked, held))

    def below(
        self, what: str, found: ArrayLike, limit: float, unit: str, against: str, *,
        asked: float | None = None,
    ) -> None:  # fmt: skip
        """Hold it at a limit or under."""
        worst, limit = float(np.max(found)), float(limit)
        self._say(Figure(what, against, "below", worst, limit, unit, asked, worst <= limit))

    def above(
        self, what: str, found: ArrayLike, limit: float, unit: str, against: str, *,
        asked: float | None = None,
    ) -> None:  # fmt: skip
        """Hold it at a limit or over."""
        worst, limit = float(np.min(found)), float(limit)
        self._say(Figure(what, against, "above", worst, limit, unit, asked, worst >= limit))

    def within(
        self, what: str, found: float, limit: tuple[float, float], unit: str, against: str
    ) -> None:
        """Hold it between two limits."""
        held = bool(limit[0] <= found <= limit[1])
        self._say(Figure(what, against, "within", float(found), limit, unit, None, held))

    def same(self, what: str, found: str | None, expected: str, against: str) -> None:
        """Hold a word to the word expected."""
        held = found == expected
        self._say(Figure(what, against, "same", str(found), expected, "", None, held))

    def told(self, row: str, column: str, words: str) -> None:
        """Keep a cell of a table by case, of numbers whose limits are held by the other calls."""
        self._say(Figure(column, row, "told", words, "", "", None, held=True))

    def _say(self, figure: Figure) -> None:
        # kept before it is asserted: a figure beyond its limit is to be seen, not to vanish
        told = {name: value for name, value in asdict(figure).items() if value not in ("", None)}
        self._keep("figure", told)
        assert figure.held, (
            f"{figure.what}: {figure.found} {figure.unit}, limit {figure.limit} ({figure.kind})"
        )


def _worst(off: np.ndarray[Any, Any]) -> float:
    return float(off.flat[int(np.argmax(np.abs(off)))])
