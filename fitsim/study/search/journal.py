"""The trials of a search, kept as they come: a search that was stopped goes on from them."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from fitsim.errors import BadSettings
from fitsim.study.search.goals import Goals
from fitsim.study.search.trial import Trial

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

NAME = "trials.jsonl"


class Journal:
    """Trials by what was tried, on which of the backs; each is on disk before it is used.

    Parameters
    ----------
    folder : Path
        Made if it is not there.
    of : mapping
        Everything that a trial hangs on besides its values. A folder that holds the trials of
        another search is refused.

    Raises
    ------
    BadSettings
        See `of`.
    """

    def __init__(self, folder: Path, of: Mapping[str, Any]) -> None:
        self.path = folder / NAME
        self.known: dict[tuple[int, tuple[tuple[str, float], ...]], Trial] = {}
        self._print = hashlib.sha256(json.dumps(of, sort_keys=True).encode()).hexdigest()
        folder.mkdir(parents=True, exist_ok=True)
        if self.path.exists():
            self._read()
        else:
            self._append({"search": self._print, "of": dict(of)})

    def __len__(self) -> int:
        return len(self.known)

    def find(self, back: int, values: Mapping[str, float]) -> Trial | None:
        """What came of these values on that back, if they were tried."""
        return self.known.get(_key(back, values))

    def keep(self, back: int, trial: Trial) -> None:
        """Write down a trial."""
        goals = None if trial.goals is None else asdict(trial.goals)
        self._append({"back": back, "values": dict(trial.values), "goals": goals, "why": trial.why})
        self.known[_key(back, trial.values)] = trial

    def trials(self, back: int = 0) -> list[Trial]:
        """All trials on one back, in the order in which they were made."""
        return [trial for (on, _), trial in self.known.items() if on == back]

    def _append(self, line: Mapping[str, Any]) -> None:
        with self.path.open("a", encoding="utf-8") as file:
            file.write(json.dumps(line) + "\n")

    def _read(self) -> None:
        lines = self.path.read_text(encoding="utf-8").splitlines(keepends=True)
        try:
            ours = bool(lines) and json.loads(lines[0]).get("search") == self._print
        except (json.JSONDecodeError, AttributeError):
            ours = False
        if not ours:
            raise BadSettings(
                str(self.path),
                "holds the trials of another search",
                "choose another folder with -o, or delete it",
            )
        # A line without its end was being written when the search was killed.
        whole = [line for line in lines if line.endswith("\n")]
        if len(whole) < len(lines):
            self.path.write_text("".join(whole), encoding="utf-8")
        for line in whole[1:]:
            told = json.loads(line)
            goals = None if told["goals"] is None else Goals(**told["goals"])
            trial = Trial(told["values"], goals, told["why"])
            self.known[_key(told["back"], trial.values)] = trial


def _key(back: int, values: Mapping[str, float]) -> tuple[int, tuple[tuple[str, float], ...]]:
    return back, tuple(sorted(values.items()))
