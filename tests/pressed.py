"""Rigid bodies of known shape on a flat layer of known tissue, through the product's own solver."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from fitsim.back.back import Chart, Tissue
from fitsim.back.stack import Layer, Stack
from fitsim.contact.foundation import build_foundation
from fitsim.contact.problem import prepare
from fitsim.contact.solve import solve
from fitsim.rig.case import Case, DeadForce, Pad, Strap
from fitsim.tree.solid import joined
from fitsim.tree.tree import Joint, MountedBar, Tree, Underside

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from fitsim.contact.equilibrium import Equilibrium
    from fitsim.contact.foundation import Foundation
    from fitsim.contact.problem import Problem

    Array = NDArray[np.float64]

BARE = Pad("none", 0.0, 20e3, 0.0, 1e5, 0.4)


def layer_of(depth: float, young: float, poisson: float) -> Stack:
    """One bonded layer."""
    return Stack("one", (Layer("muscle", depth, young, poisson),))


def flat_square(spacing: float, half: float, palette: tuple[Stack, ...]) -> tuple[Chart, Tissue]:
    """A level square with its middle at the origin and its middle node there, evenly blended."""
    line = np.arange(-round(half / spacing), round(half / spacing) + 1) * spacing
    shape = (len(line), len(line))
    points = np.zeros((*shape, 3))
    points[..., 0], points[..., 1] = line[:, None], line[None, :]
    up = np.zeros((*shape, 3))
    up[..., 2] = 1.0
    yes, no = np.ones(shape, dtype=bool), np.zeros(shape, dtype=bool)
    chart = Chart(line, line, points, up, np.full(shape, spacing**2), np.zeros(shape), yes, no)
    weights = np.full((*shape, len(palette)), 1.0 / len(palette))
    return chart, Tissue(palette, weights)


def flat_foundation(
    spacing: float, half: float, *palette: Stack, stiffens: bool = False
) -> Foundation:
    """Compliance of a level square; without stiffening it is the linear layer of the textbooks."""
    found = build_foundation(*flat_square(spacing, half, palette))
    return found if stiffens else replace(found, depth=np.full_like(found.depth, np.inf))


def body(
    shape: Callable[[Array, Array], Array],
    inside: Callable[[Array, Array], Array],
    half: float,
    step: float,
    *,
    at: Array | None = None,
    joints: tuple[Joint, ...] = (),
) -> MountedBar:
    """One rigid body of given underside and outline, as a bar mounted at a place of the tree."""
    line = np.linspace(-half, half, 2 * round(half / step) + 1)
    xi, eta = np.meshgrid(line, line, indexing="ij")
    face = Underside(line, line, shape(xi, eta), inside(xi, eta), half, -half)
    T = np.eye(4)
    T[:3, 3] = np.zeros(3) if at is None else at
    return MountedBar("left", face, T, joints)


def paraboloid(radius: float, half: float, step: float) -> MountedBar:
    """A paraboloid of revolution, apex at the origin, its rim far from what it touches."""
    return body(
        lambda x, y: (x**2 + y**2) / (2.0 * radius),
        lambda x, y: half - np.hypot(x, y),
        half,
        step,
    )


def slab(length: float, width: float, at: Array, *joints: Joint) -> MountedBar:
    """A flat rectangular bar; its underside lies level at `at` (tree frame)."""
    step = 0.002
    xi = np.linspace(-0.5 * length, 0.5 * length, round(length / step) + 1)
    eta = np.linspace(-0.5 * width, 0.5 * width, round(width / step) + 1)
    x, y = np.meshgrid(xi, eta, indexing="ij")
    inside = np.minimum(0.5 * length - np.abs(x), 0.5 * width - np.abs(y))
    face = Underside(xi, eta, np.zeros_like(x), inside, 0.5 * length, -0.5 * length)
    T = np.eye(4)
    T[:3, 3] = at
    return MountedBar("left" if at[1] >= 0.0 else "right", face, T, joints)


def tree_of(*bars: MountedBar) -> Tree:
    """A weightless tree of any number of bars, not to be drawn."""
    return Tree("bodies", bars, 0.0, np.zeros(3), {}, partial(joined, []))  # type: ignore[arg-type]


def pushed(*forces: tuple[Array | list[float], Array | list[float]]) -> Case:
    """Dead forces: (point in the tree frame m, force N) each."""
    dead = [
        DeadForce(f"push_{number}", np.asarray(point, float), np.asarray(force, float))
        for number, (point, force) in enumerate(forces)
    ]
    return Case("both", (), tuple(dead))


@dataclass(frozen=True)
class Pressed:
    """A body at rest: what a test measures on it."""

    problem: Problem
    rest: Equilibrium

    @property
    def node_force(self) -> Array:
        """(n,) N."""
        return self.rest.pressure * self.problem.foundation.area

    @property
    def force(self) -> float:
        """Normal force, N."""
        return float(self.node_force.sum())

    @property
    def sinking(self) -> float:
        """How far the tree's origin has come down, m."""
        return float(self.rest.T_body_tree_seat[2, 3] - self.rest.T_body_tree[2, 3])


def press_down(
    foundation: Foundation, tree: Tree, case: Case, pad: Pad = BARE, seat: Array | None = None
) -> Pressed:
    """Lay a tree on the flat and let it come to rest."""
    T = np.eye(4) if seat is None else seat
    problem = prepare(foundation, tree, pad, T)
    return Pressed(problem, solve(problem, case))


def strap(  # noqa: PLR0917 - in the order a strap is described
    name: str,
    attach: list[float],
    anchor: list[float],
    tension: float,
    stiffness: float = 0.0,
    tight: float = 0.0,
) -> Strap:
    """One strap end."""
    return Strap(name, np.array(attach), np.array(anchor), tension, stiffness, tight)
