"""The finite-element reference model: derivatives, patch, locking, balance, small-strain limits."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq

from fitsim.contact.reference_model.assembly import (
    Assembly,
    assembly,
    energy,
    gradient,
    nodal_forces,
    stiffness,
)
from fitsim.contact.reference_model.indenter import clearance, height_field, quadric, sphere
from fitsim.contact.reference_model.material import cofactors, neo_hooke, stress, tangent
from fitsim.contact.reference_model.ordering import dissection
from fitsim.contact.reference_model.press import NotConvergedError, Pressed, at_rest, press
from fitsim.contact.reference_model.pressure import contact_area, skin_pressure
from fitsim.contact.reference_model.slab import Slab, slab
from fitsim.reference import bonded_layer, hertz

YOUNG = 60e3


def warped(layers: int = 1) -> Slab:
    """Small slab with curved, uneven elements."""

    def place(s: np.ndarray, t: np.ndarray, z: np.ndarray) -> np.ndarray:
        height = 0.02 * (1.0 + 2.0 * s - 3.0 * t * s) * (z - 1.0) - 2.0 * t**2
        return np.stack([s + 0.1 * t * z, t, height], axis=1)

    edges = np.array([0.0, 0.02, 0.05]), np.array([-0.02, 0.0, 0.03, 0.04])
    counts, shares = ([1, 2], [0.3, 0.7]) if layers > 1 else ([2], [1.0])
    return slab(place, edges, counts, shares)


def quarter(  # noqa: PLR0917 a mesh is described by numbers
    poisson: float,
    thickness: float,
    end: float,
    count: int,
    ratio: float,
    through: int,
    towards_skin: float = 0.75,
) -> tuple[Assembly, np.ndarray]:
    """Quarter of a flat layer with its planes of symmetry fixed."""
    steps = ratio ** np.arange(count)
    edges = end * np.concatenate([[0.0], np.cumsum(steps) / steps.sum()])
    mesh = slab(
        lambda s, t, z: np.stack([s, t, thickness * (z - 1.0)], axis=1),
        (edges, edges), [through], towards_skin=towards_skin,
    )  # fmt: skip
    fixed = np.zeros(mesh.points.shape, dtype=bool)
    fixed[mesh.bone] = True
    for axis in (0, 1):
        fixed[mesh.points[:, axis] == 0.0, axis] = True
    return assembly(mesh, [neo_hooke(YOUNG, poisson)]), fixed


def lowered(depth: float) -> np.ndarray:
    pose = np.eye(4)
    pose[2, 3] = -depth
    return pose


def shaken(mesh: Slab, size: float = 2e-4) -> np.ndarray:
    return size * np.random.default_rng(3).normal(size=mesh.points.shape)


def test_stress_and_tangent_are_derivatives() -> None:
    rng = np.random.default_rng(1)
    F, dF = np.eye(3) + 0.2 * rng.normal(size=(5, 3, 3)), rng.normal(size=(5, 3, 3))
    shear, pressure, step = np.full(5, 2.0), rng.normal(size=5), 1e-6

    def potential(G: np.ndarray) -> np.ndarray:
        J = cofactors(G)[0]
        return shear / 2.0 * (J ** (-2 / 3) * (G**2).sum(axis=(1, 2)) - 3.0) + pressure * J

    slope = (potential(F + step * dF) - potential(F - step * dF)) / (2.0 * step)
    assert (stress(F, shear, pressure) * dF).sum(axis=(1, 2)) == pytest.approx(slope, rel=1e-7)
    change = stress(F + step * dF, shear, pressure) - stress(F - step * dF, shear, pressure)
    exact = np.einsum("nijkl,nkl->nij", tangent(F, shear, pressure), dF)
    # Central differences: step^2 and rounding over step, both near 1e-9 of the values.
    assert exact == pytest.approx(change / (2.0 * step), rel=1e-6, abs=1e-6)


def test_small_strain_limit_is_hookes_law() -> None:
    material = neo_hooke(YOUNG, 0.45)
    A = tangent(np.eye(3)[None], np.array([material.shear]), np.zeros(1))[0]
    strain = np.array([[1.0, 0.3, -0.2], [0.3, -0.5, 0.4], [-0.2, 0.4, 0.7]])
    told = np.einsum("ijkl,kl->ij", A, strain) + material.bulk * np.trace(strain) * np.eye(3)
    lame = YOUNG * 0.45 / (1.45 * 0.1)
    hooke = lame * np.trace(strain) * np.eye(3) + 2.0 * material.shear * strain
    assert told == pytest.approx(hooke, rel=1e-12)


def test_forces_and_stiffness_are_derivatives_of_the_energy() -> None:
    mesh = warped(2)
    model = assembly(mesh, [neo_hooke(100e3, 0.40), neo_hooke(YOUNG, 0.49)])
    u, step = shaken(mesh), 1e-3
    du = np.random.default_rng(4).normal(size=u.shape) * 1e-4
    slope = (energy(model, u + step * du) - energy(model, u - step * du)) / (2.0 * step)
    assert (nodal_forces(model, u) * du).sum() == pytest.approx(slope, rel=1e-6)
    change = nodal_forces(model, u + step * du) - nodal_forces(model, u - step * du)
    K = stiffness(model, u)
    told = (K @ du.ravel()).reshape(u.shape)
    assert np.abs(told - change / (2.0 * step)).max() < 1e-6 * np.abs(told).max()
    assert abs(K - K.T).max() < 1e-12 * abs(K).max()


def test_rigid_motion_costs_nothing_and_forces_balance() -> None:
    mesh = warped()
    model = assembly(mesh, [neo_hooke(YOUNG, 0.49)])
    c, s = np.cos(0.7), np.sin(0.7)
    R = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]])
    turned = mesh.points @ R.T + 0.3 - mesh.points
    assert np.abs(nodal_forces(model, turned)).max() < 1e-9
    u = shaken(mesh)
    forces = nodal_forces(model, u)
    moment = np.cross(mesh.points + u, forces).sum(axis=0)
    assert np.abs(forces.sum(axis=0)).max() < 1e-10
    assert np.abs(moment).max() < 1e-10
    # Turning the deformed body turns its forces.
    both = (mesh.points + u) @ R.T - mesh.points
    assert nodal_forces(model, both) == pytest.approx(forces @ R.T, abs=1e-9)


def test_patch_of_curved_elements_deforms_evenly() -> None:
    """Affine displacements give the same gradient and, within, no unbalanced force."""
    mesh = warped()
    model = assembly(mesh, [neo_hooke(YOUNG, 0.45)])
    A = np.array([[0.1, 0.02, 0.03], [0.0, -0.1, 0.05], [0.04, 0.01, 0.2]])
    u = mesh.points @ A.T
    assert gradient(model, u) == pytest.approx(
        np.broadcast_to(np.eye(3) + A, (*mesh.volumes.shape, 3, 3)), abs=1e-12
    )
    forces = nodal_forces(model, u)
    inner = mesh.grid[1:-1, 1:-1, 1:-1].ravel()
    assert np.abs(forces[inner]).max() < 1e-12 * np.abs(forces).max() * 1e3


def test_dissection_is_an_ordering() -> None:
    mesh = warped()
    assert sorted(dissection(mesh.grid)) == list(range(len(mesh.points)))


@pytest.mark.parametrize(
    "body", [sphere(0.1), quadric(3.0, -1.0, 0.2, 0.2),
             height_field(*(2 * [np.linspace(-0.06, 0.06, 13)]),
                          np.cos(20.0 * np.linspace(-0.06, 0.06, 13))[:, None] * np.ones(13))],
)  # fmt: skip
def test_clearance_derivatives(body: object) -> None:
    pose = np.eye(4)
    pose[:3, :3] = [[0.96, 0.0, 0.28], [0.0, 1.0, 0.0], [-0.28, 0.0, 0.96]]
    pose[:3, 3] = [0.01, -0.005, 0.002]
    points, step = np.array([[0.01, 0.02, -0.01], [-0.02, 0.003, 0.004]]), 1e-6
    here = clearance(body, pose, points)
    for axis in range(3):
        shift = step * np.eye(3)[axis]
        up, down = (clearance(body, pose, points + d) for d in (shift, -shift))
        assert here.normal[:, axis] == pytest.approx((up.gap - down.gap) / (2 * step), abs=1e-7)
        slope = (up.normal - down.normal) / (2.0 * step)
        assert here.bend[:, axis] == pytest.approx(slope, abs=1e-5)


def shallow_sphere(poisson: float, through: int) -> tuple[Pressed, Assembly, float, float]:
    """1 % deep in a 20 mm layer; exact force and contact radius by the dual equations."""
    radius, thickness, depth = 0.5, 0.02, 2e-4
    model, fixed = quarter(poisson, thickness, 0.08, 9, 1.25, through)
    told = press(model, sphere(radius), at_rest(model, lowered(0.0)), lowered(depth), fixed=fixed)

    def misses(rho: float) -> float:
        a = rho * thickness
        return bonded_layer.paraboloid(rho, poisson).depth * a**2 / radius - depth

    rho = brentq(misses, 0.05, 3.0)
    shear = YOUNG / (2.0 * (1.0 + poisson))
    kappa = bonded_layer.paraboloid(rho, poisson).kappa
    a = rho * thickness
    return told, model, 4.0 * shear * a * depth * kappa / (1.0 - poisson), a


@pytest.mark.parametrize("poisson", [0.3, 0.45, 0.4999])
def test_small_strain_limit_of_a_layer(poisson: float) -> None:
    """Hayes et al.'s equations, solved accurately; nu = 0.4999 shows that nothing locks.

    Measured on this mesh (2 elements through, 6 along the contact radius), 1 % of compression
    included: force -0.1 to +0.8 %, peak +0.5 to +1.2 %, area +5 to +7 % (the rim is one element
    wide).
    """
    told, model, force, radius = shallow_sphere(poisson, 2)
    assert 4.0 * told.wrench[2] == pytest.approx(force, rel=0.015)
    skin = skin_pressure(model.slab, told)
    assert 4.0 * (skin.pressure * skin.area).sum() == pytest.approx(4 * told.wrench[2], rel=1e-3)
    shear = YOUNG / (2.0 * (1.0 + poisson))
    contact = bonded_layer.paraboloid(radius / 0.02, poisson)
    centre = float(bonded_layer.pressure(contact, np.array([0.0]))[0])
    peak = centre * 2.0 * shear * radius / ((1.0 - poisson) * np.pi * 0.5)
    assert skin.pressure.max() == pytest.approx(peak, rel=0.02)
    faces = (model.slab.points + told.displacement)[model.slab.skin_faces]
    area = 4.0 * contact_area(faces, sphere(0.5), told.T_space_indenter)
    assert area == pytest.approx(np.pi * radius**2, rel=0.08)


@pytest.mark.slow
def test_hertz_on_a_deep_slab() -> None:
    """Hertz, corrected by the exact layer solution for a/h = 0.1 (13 % there).

    Measured 0.1 % with three quadratic elements along the contact radius.
    """
    radius, thickness, rho, poisson = 0.16, 0.04, 0.1, 0.45
    layer = bonded_layer.paraboloid(rho, poisson)
    depth = layer.depth * (rho * thickness) ** 2 / radius
    model, fixed = quarter(poisson, thickness, 0.08, 10, 1.42, 5, 0.6)
    told = press(model, sphere(radius), at_rest(model, lowered(0)), lowered(depth), fixed=fixed)
    ball = hertz.sphere_at(radius, hertz.contact_modulus(YOUNG, poisson), depth)
    # Hertz at the same depth has a = rho h depth^(1/2), kappa = 2/3.
    correction = layer.kappa / (2.0 / 3.0) / np.sqrt(layer.depth)
    assert 4.0 * told.wrench[2] == pytest.approx(ball.force * correction, rel=0.01)


def test_force_control_undoes_pose_control() -> None:
    """Depth -> wrench -> the same depth and tilt, from another starting pose."""
    edges = np.linspace(-0.05, 0.05, 7), np.linspace(-0.04, 0.04, 6)
    mesh = slab(lambda s, t, z: np.stack([s, t, 0.02 * (z - 1)], axis=1), edges, [2])
    model = assembly(mesh, [neo_hooke(YOUNG, 0.45)])
    body = quadric(2.0, 4.0, np.inf, np.inf)
    pose = lowered(1.5e-3)
    pose[:3, :3] = [[np.cos(0.01), 0, np.sin(0.01)], [0, 1, 0], [-np.sin(0.01), 0, np.cos(0.01)]]
    there = press(model, body, at_rest(model, lowered(0)), pose)
    load = -there.wrench[[2, 3, 4]]
    start = press(model, body, at_rest(model, lowered(0)), lowered(1.0e-3))
    back = press(
        model, body, start, start.T_space_indenter, free=("z", "roll", "pitch"), wrench=load
    )
    assert back.wrench[[2, 3, 4]] == pytest.approx(-load, abs=1e-5 * np.abs(load).max())
    # Newton stops at 1e-8 of the force: far below a micrometre and a millidegree.
    assert back.T_space_indenter == pytest.approx(there.T_space_indenter, abs=1e-6)
    assert back.residual < 1e-7


def test_contact_only_pushes_and_nothing_enters() -> None:
    model, fixed = quarter(0.45, 0.02, 0.07, 6, 1.2, 2)
    state = at_rest(model, lowered(0.0))
    forces = []
    for depth in (0.001, 0.002, 0.004, 0.006):
        state = press(model, sphere(0.1), state, lowered(depth), fixed=fixed)
        forces.append(state.wrench[2])
        points = (model.slab.points + state.displacement)[model.slab.skin]
        touch = clearance(sphere(0.1), state.T_space_indenter, points)
        assert np.nanmin(touch.gap) > -1e-9
        assert np.einsum("ni,ni->n", state.push, touch.normal)[state.held].min() > 0.0
        assert np.all(state.push[~state.held] == 0.0)
    # Stiffens: every millimetre takes more force than the one before.
    per_depth = np.diff([0.0, *forces]) / np.diff([0.0, 0.001, 0.002, 0.004, 0.006])
    assert np.all(np.diff(per_depth) > 0.0)


def test_mirror_gives_the_mirror() -> None:
    edges = np.linspace(-0.05, 0.05, 6), np.linspace(-0.04, 0.04, 5)
    mesh = slab(lambda s, t, z: np.stack([s, t, 0.02 * (z - 1) - 2.0 * t**2], axis=1), edges, [2])
    model = assembly(mesh, [neo_hooke(YOUNG, 0.45)])
    told = []
    for side in (1.0, -1.0):
        pose = lowered(1e-3)
        pose[1, 3] = 0.006 * side
        pose[2, 3] -= 2.0 * 0.006**2
        told.append(press(model, quadric(2.0, 4.0, 1, 1), at_rest(model, lowered(0)), pose))
    left, right = (state.wrench for state in told)
    assert left[[0, 2, 4]] == pytest.approx(right[[0, 2, 4]], rel=1e-6, abs=1e-9)
    assert left[[1, 3, 5]] == pytest.approx(-right[[1, 3, 5]], rel=1e-6, abs=1e-9)


def test_wrench_on_nothing_is_refused() -> None:
    model, fixed = quarter(0.45, 0.02, 0.07, 4, 1.2, 1)
    with pytest.raises(NotConvergedError, match="nothing touches"):
        press(
            model, sphere(0.1), at_rest(model, lowered(0)), lowered(-0.01), fixed=fixed,
            free=("z",), wrench=np.array([-5.0]),
        )  # fmt: skip


def test_incompressible_is_refused() -> None:
    with pytest.raises(ValueError, match=r"below 0\.5"):
        neo_hooke(YOUNG, 0.5)
