"""A back on the bench: whatever is set on the screen, solved from what was solved before."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cache
from typing import TYPE_CHECKING, TypeVar

from fitsim.contact.foundation import build_foundation
from fitsim.contact.solve import solve
from fitsim.measure.measured import measured
from fitsim.rig.cases import cases_for
from fitsim.rig.going import Going
from fitsim.rig.load import NO_LOAD, pack, rider
from fitsim.rig.read import read_pad
from fitsim.rig.rig import Cinch, Rig
from fitsim.study.fit import Fit
from fitsim.study.laid import laid
from fitsim.study.margins import grip
from fitsim.tree.adjust import adjusted
from fitsim.tree.read import read_tree, settings_of
from fitsim.tree.rules import sagitta_of

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from fitsim.app.scenario import Scenario
    from fitsim.back.back import Back
    from fitsim.back.motion.kinematics import Kinematics
    from fitsim.contact.equilibrium import Equilibrium
    from fitsim.contact.foundation import Foundation
    from fitsim.contact.problem import Problem
    from fitsim.rig.case import Case
    from fitsim.rig.load import Load
    from fitsim.study.laid import Laid
    from fitsim.tree.seat import Seat
    from fitsim.tree.tree import Tree

Kept = TypeVar("Kept")

SPACING = 0.016
"""m, of a live back's grid: some 3,000 nodes, which are solved while a hand moves a slider."""
_UNDERSIDE = 0.004
_KEPT = 12
"""Trees and seats kept ready."""
_BESIDE_SPINE = 0.20
"""m, as far as bars come to lie: the compliance among these nodes is worked out once."""


@dataclass(frozen=True)
class Shown:
    """What a scenario comes to.

    Attributes
    ----------
    scenario : as set.
    tree : as changed.
    fit : the case and where it rests.
    points : (nx, nt, 3) array, m, the skin where it now is; None while the animal stands.
    """

    scenario: Scenario
    tree: Tree
    fit: Fit
    points: NDArray[np.float64] | None = None


@dataclass
class Bench:
    """A back made ready, and what was last solved on it.

    Attributes
    ----------
    back : Back
    foundation : Foundation
        Its compliance.
    """

    back: Back
    foundation: Foundation
    _trees: dict[tuple[object, ...], Tree] = field(default_factory=dict)
    _seats: dict[tuple[object, ...], Laid] = field(default_factory=dict)
    _moving: dict[str, Kinematics] = field(default_factory=dict)
    _last: dict[tuple[object, ...], Equilibrium] = field(default_factory=dict)
    _near: dict[tuple[object, ...], tuple[Seat, Equilibrium]] = field(default_factory=dict)

    @staticmethod
    def on(back: Back) -> Bench:
        """Make a back ready."""
        return Bench(back, build_foundation(back.chart, back.tissue))

    def shown(self, scenario: Scenario) -> Shown:
        """Solve one scenario.

        Parameters
        ----------
        scenario : Scenario

        Returns
        -------
        Shown
            A tree that does not stay has ``found`` False and no measures.

        Raises
        ------
        BadSettings
            The tree cannot be built or laid so.
        """
        tree, on = self.tree(scenario), self.laid(scenario)
        case = case_of(self.back, tree, on, scenario)
        if scenario.phase is not None:
            return self._striding(scenario, on, case)
        key, kind = seat_key(scenario), (scenario.tree, scenario.pad)
        rest = solve(on.problem, case, self._last.get(key) or self._neighbour(kind, on.seat))
        if rest.found:
            _keep(self._last, key, rest)
            _keep(self._near, kind, (on.seat, rest))
        return Shown(scenario, tree, self._fit(on.problem, case, rest))

    def tree(self, scenario: Scenario) -> Tree:
        """The tree as it is set."""
        key = tree_key(scenario)
        if key not in self._trees:
            _keep(self._trees, key, changed_tree(scenario))
        return self._trees[key]

    def laid(self, scenario: Scenario) -> Laid:
        """That tree where a hand lays it."""
        key, kind = seat_key(scenario), (scenario.tree, scenario.pad)
        if key not in self._seats:
            pad, tree, at = read_pad(scenario.pad), self.tree(scenario), scenario.at
            near = self._near[kind][0] if kind in self._near else None
            ground = self._ready() if near else self.foundation
            _keep(
                self._seats,
                key,
                laid(self.back, tree, pad=pad, at=at, foundation=ground, near=near),
            )
        return self._seats[key]

    def _ready(self) -> Foundation:
        """The back's compliance, with all that a tree reshaped by hand may ask of it at hand."""
        import numpy as np

        if self.foundation.ready is None:
            beside = np.abs(self.foundation.points[:, 1]) < _BESIDE_SPINE
            self.foundation = self.foundation.readied(np.flatnonzero(beside))
        return self.foundation

    def _neighbour(self, kind: tuple[object, ...], seat: Seat) -> Equilibrium | None:
        """Where this tree rested last, before it was reshaped or moved, carried to its seat now."""
        import numpy as np

        if kind not in self._near:
            return None
        then, rest = self._near[kind]
        carried = seat.T_body_tree @ np.linalg.inv(then.T_body_tree) @ rest.T_body_tree
        return replace(rest, T_body_tree=carried)

    def _fit(self, problem: Problem, case: Case, rest: Equilibrium) -> Fit:
        if not rest.found:
            return Fit(case, rest, None)
        margins = grip(problem, rest)
        return Fit(case, rest, measured(self.back, problem.tree, case, rest, margins=margins))

    def _striding(self, scenario: Scenario, on: Laid, case: Case) -> Shown:
        """One moment of a stride, from the last one shown."""
        import numpy as np

        from fitsim.back.motion.gait import read_gait
        from fitsim.back.motion.kinematics import kinematics
        from fitsim.back.motion.posture import posture
        from fitsim.study.carried import carried_case, carried_on

        if scenario.gait not in self._moving:
            self._moving[scenario.gait] = kinematics(self.back, read_gait(scenario.gait))
        moving = self._moving[scenario.gait]
        now = posture(moving, float(scenario.phase or 0.0))
        here, _ = carried_on(on.problem, now)
        key = (*seat_key(scenario), "stride")
        rest = solve(here, carried_case(case, moving, now.phase, now.load), self._last.get(key))
        if rest.found:
            _keep(self._last, key, rest)
        points = np.zeros((*self.back.chart.valid.shape, 3))
        points[self.back.chart.valid] = now.points
        return Shown(scenario, self.tree(scenario), self._fit(here, case, rest), points)


def _keep(kept: dict[tuple[object, ...], Kept], key: tuple[object, ...], value: Kept) -> None:
    """Keep a value, and no more than a few of its kind."""
    while len(kept) >= _KEPT:
        kept.pop(next(iter(kept)))
    kept[key] = value


def tree_key(scenario: Scenario) -> tuple[object, ...]:
    """What tells one built tree from another."""
    return (
        scenario.tree, scenario.front_wider, scenario.rear_wider,
        scenario.front_steeper, scenario.rear_steeper, scenario.more_curve,
    )  # fmt: skip


def seat_key(scenario: Scenario) -> tuple[object, ...]:
    """What tells one tree laid on the back from another."""
    return (*tree_key(scenario), scenario.pad, scenario.at)


@cache
def library_tree(name: str) -> Tree:
    """A tree of the library, built once."""
    return read_tree(name)


def changed_tree(scenario: Scenario, spacing: float = _UNDERSIDE) -> Tree:
    """The library's tree with what the sliders add to it.

    Parameters
    ----------
    scenario : Scenario
    spacing : m, grid of the undersides.

    Returns
    -------
    Tree

    Raises
    ------
    BadSettings
        It cannot be built so.
    """
    tree = library_tree(scenario.tree)
    changes: dict[str, object] = {}
    arches = tree.settings["arches"]
    assert isinstance(arches, dict)  # noqa: S101 - a library tree has settings
    for end, wider, steeper in (
        ("front", scenario.front_wider, scenario.front_steeper),
        ("rear", scenario.rear_wider, scenario.rear_steeper),
    ):
        arch = arches[end]
        if wider:
            spread = arch["spread"] if "spread" in arch else 2.0 * arch["inner_edge"]
            changes[f"arches.{end}.spread"] = spread + wider
        if steeper:
            changes[f"arches.{end}.angle"] = arch["angle"] + steeper
    if scenario.more_curve:
        curve = sagitta_of(settings_of(tree).bar) or 0.0
        changes["bar.curve.sagitta"] = max(curve + scenario.more_curve, 0.0)
    return adjusted(tree, changes, spacing)


def rig_of(scenario: Scenario) -> Rig:
    """The two cinches as set."""
    return Rig(
        front=Cinch(scenario.front_left, scenario.front_right),
        rear=Cinch(scenario.rear_left, scenario.rear_right),
    )


def load_of(scenario: Scenario) -> Load:
    """What is carried, over the ground as set."""
    load = NO_LOAD
    if scenario.load == "rider" and scenario.mass > 0.0:
        load = rider(scenario.mass)
    elif scenario.load == "pack" and scenario.mass > 0.0:
        uneven = min(max(scenario.uneven, -scenario.mass), scenario.mass)
        load = pack((scenario.mass + uneven) / 2.0, (scenario.mass - uneven) / 2.0, 0.0)
    return load.over(Going(slope=scenario.slope, side_slope=scenario.side_slope))


def case_of(back: Back, tree: Tree, on: Laid, scenario: Scenario) -> Case:
    """Everything drawn and loaded as it is set."""
    rig, load = rig_of(scenario), load_of(scenario)
    cases = cases_for(back, tree, on.seat.T_body_tree, rig, load)
    wanted = "both" if load.kind == "none" else load.kind
    return next(case for case in cases if case.name == wanted)
