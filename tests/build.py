"""A made-up FitSet for tests of form: every field filled, nothing solved.

The trunk is smooth and plausible, the bars follow it with a lengthwise curve, and the pressures
come from a bed of springs under a prescribed pitch. Use it to test what is written and drawn,
never to test physics: its balance holds only for the vertical force.
"""

from __future__ import annotations

from functools import partial
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from scipy.ndimage import gaussian_filter, uniform_filter

from fitsim.back.back import Back, Barrel, Chart, Mark, Tissue, Zone
from fitsim.contact.equilibrium import AppliedForce, Equilibrium
from fitsim.contact.layer import Layer, Stack
from fitsim.measure.measures import BarGap, Hotspot, Measures, Rocking, ZoneLoad
from fitsim.rig.case import Case, DeadForce, Pad, Strap
from fitsim.rig.load import NO_LOAD
from fitsim.rig.rig import Rig
from fitsim.scan.scan import Provenance
from fitsim.study.fit import Fit, FitSet
from fitsim.tree.seat import Seat
from fitsim.tree.solid import joined
from fitsim.tree.tree import MountedBar, Tree, Underside

if TYPE_CHECKING:
    from collections.abc import Collection

    from numpy.typing import NDArray

    Array = NDArray[np.float64]

BAR_LENGTH, BAR_WIDTH, INNER_EDGE = 0.56, 0.11, 0.025
STATION = -0.02
GRAVITY = 9.80665
CINCH = {"front": 180.0, "rear": 120.0}
PITCH = {"front": 0.085, "rear": -0.080, "both": 0.010, "rider": 0.0}


def surface_z(x: Array, y: Array) -> Array:
    """Height of the made-up trunk over the body's x, y plane, m; 0 on the spine at x = 0."""
    withers = np.exp(-(((x - 0.12) / 0.16) ** 2))
    crest = 0.045 * withers + 0.03 * (x / 0.6) ** 2 - 0.045 * np.exp(-((0.12 / 0.16) ** 2))
    slope, radius = 0.42 + 0.5 * withers, 0.10 - 0.06 * withers
    roof = slope * (np.hypot(radius, y) - radius)
    pocket = 0.008 * np.exp(-(((x + 0.09) / 0.06) ** 2) - ((np.abs(y) - 0.18) / 0.05) ** 2)
    return crest - roof - 10.0 * y**4 + pocket


def small_chart(spacing: float = 0.010) -> Chart:
    """Chart of the made-up trunk: arc length across, with one filled hole and a ragged corner."""
    x = np.arange(round(-0.75 / spacing), round(0.30 / spacing) + 1) * spacing
    t = np.arange(-round(0.36 / spacing), round(0.36 / spacing) + 1) * spacing
    y_fine = np.linspace(0.0, 0.40, 801)
    points = np.empty((len(x), len(t), 3))
    for row, station in enumerate(x):
        z_fine = surface_z(np.full_like(y_fine, station), y_fine)
        arc = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(y_fine), np.diff(z_fine)))])
        y = np.sign(t) * np.interp(np.abs(t), arc, y_fine)
        points[row] = np.column_stack(
            [np.full_like(y, station), y, surface_z(np.full_like(y, station), y)]
        )
    along_x = np.gradient(points, spacing, axis=0)
    along_t = np.gradient(points, spacing, axis=1)
    cross = np.cross(along_x, along_t)
    stretch = np.linalg.norm(cross, axis=2)
    normals = cross / stretch[..., None]
    turn = np.gradient(np.arctan2(normals[..., 1], normals[..., 2]), spacing, axis=1)
    valid = np.ones(stretch.shape, dtype=bool)
    valid[np.ix_(x < -0.66, np.abs(t) > 0.30)] = False
    filled = np.hypot(x[:, None] + 0.35, t[None, :] - 0.15) < 0.02
    return Chart(
        x=x,
        t=t,
        points=points,
        normals=normals,
        area=stretch * spacing**2,
        curvature=turn,
        valid=valid,
        filled=filled,
        colours=None,
    )


def _box(x0: float, x1: float, t0: float, t1: float) -> Array:
    return np.array([(x0, t0), (x1, t0), (x1, t1), (x0, t1), (x0, t0)])


def _ellipse(x: float, t: float, half_x: float, half_t: float) -> Array:
    turn = np.linspace(0.0, 2.0 * np.pi, 49)
    return np.column_stack([x + half_x * np.cos(turn), t + half_t * np.sin(turn)])


def _both_sides(name: str, outline: Array) -> tuple[Zone, Zone]:
    mirrored = outline * (1.0, -1.0)
    return Zone(f"{name}_left", outline), Zone(f"{name}_right", mirrored[::-1])  # type: ignore[arg-type]


def small_zones() -> tuple[Zone, ...]:
    """Every zone, in the order in which they win where they overlap."""
    scapula = np.array(
        [(0.0, 0.10), (0.02, 0.20), (-0.01, 0.34), (0.20, 0.34), (0.16, 0.06), (0.05, 0.05)]
    )
    return (
        Zone("spine", _box(-0.75, 0.02, -0.025, 0.025)),
        Zone("withers", _box(0.02, 0.25, -0.05, 0.05)),
        *_both_sides("scapula", np.vstack([scapula, scapula[:1]])),
        *_both_sides("fat_pocket", _ellipse(-0.09, 0.19, 0.07, 0.045)),
        *_both_sides("long_muscle", _box(-0.45, 0.0, 0.025, 0.13)),
        *_both_sides("loin", _box(-0.70, -0.45, 0.025, 0.16)),
        *_both_sides("ribs", _box(-0.45, -0.02, 0.13, 0.36)),
    )


def _inside(outline: Array, x: Array, t: Array) -> NDArray[np.bool_]:
    """Even-odd rule, vectorised over the grid."""
    odd = np.zeros(np.broadcast(x, t).shape, dtype=bool)
    for (x0, t0), (x1, t1) in pairwise(outline):
        if t0 == t1:
            continue
        crosses = (t0 > t) != (t1 > t)
        odd ^= crosses & (x < x0 + (t - t0) * (x1 - x0) / (t1 - t0))
    return odd


def _zone_code(chart: Chart, zones: tuple[Zone, ...]) -> NDArray[np.int_]:
    code = np.full(chart.valid.shape, -1)
    for index in reversed(range(len(zones))):
        code[_inside(zones[index].outline, chart.x[:, None], chart.t[None, :])] = index
    return code


def _tissue(chart: Chart, zones: tuple[Zone, ...], code: NDArray[np.int_]) -> Tissue:
    skin = Layer("skin", 0.004, 300e3, 0.48)
    palette = (
        Stack("long muscle", (skin, Layer("muscle", 0.045, 60e3, 0.47))),
        Stack("fat pocket", (skin, Layer("fat", 0.020, 25e3, 0.48))),
        Stack("over bone", (Layer("skin", 0.005, 300e3, 0.48),)),
    )
    bony = [i for i, zone in enumerate(zones) if zone.name in {"spine", "withers"}]
    fat = [i for i, zone in enumerate(zones) if zone.name.startswith("fat_pocket")]
    share = np.stack([np.zeros(code.shape), np.isin(code, fat), np.isin(code, bony)], axis=-1)
    share[..., 0] = 1.0 - share[..., 1] - share[..., 2]
    sigma = 0.015 / chart.spacing
    weights = np.stack([gaussian_filter(share[..., k].astype(float), sigma) for k in range(3)], -1)
    return Tissue(palette, weights / weights.sum(axis=-1, keepdims=True))


def _marks(chart: Chart) -> dict[str, Mark]:
    def line(x: Array, y: Array) -> Array:
        return np.column_stack([x, y, surface_z(x, y)])

    def estimated(points: Array, sd_m: float) -> Mark:
        return Mark(points, "estimated", sd_m, "from shape and withers height, from memory")

    across = np.linspace(0.06, 0.22, 9)
    pocket = _ellipse(-0.09, 0.18, 0.07, 0.045)
    marks = {
        "spine": estimated(line(chart.x, np.zeros_like(chart.x)), 0.005),
        "withers": Mark(line(np.array([0.12]), np.zeros(1)), "marked", 0.005, "pointed at"),
    }
    for side, sign in (("left", 1.0), ("right", -1.0)):
        edge = line(np.zeros_like(across), sign * across)
        rib = line(np.full_like(across, -0.45), sign * across)
        marks[f"scapula_edge_{side}"] = estimated(edge, 0.020)
        marks[f"last_rib_{side}"] = estimated(rib, 0.030)
        marks[f"fat_pocket_{side}"] = estimated(line(pocket[:, 0], sign * pocket[:, 1]), 0.025)
    return marks


def small_back(spacing: float = 0.010) -> Back:
    """The made-up trunk as a Back."""
    chart, zones = small_chart(spacing), small_zones()
    code = _zone_code(chart, zones)
    stations = np.linspace(-0.6, 0.2, 9)
    turn = np.linspace(0.0, 2.0 * np.pi, 73)
    girth = np.column_stack([0.29 * np.sin(turn), -0.34 + 0.33 * np.cos(turn)])
    turned = np.array([[0, -1, 0, 0.2], [1, 0, 0, -0.1], [0, 0, 1, -1.3], [0, 0, 0, 1.0]])
    provenance = Provenance(
        name="made-up.ply",
        sha256="0" * 63 + "1",
        triangles=84_000,
        points=42_310,
        unit="m",
        unit_evidence="only metres give an animal of believable size",
        notes=("removed 3 stray pieces (412 points)", "filled 1 hole of 40 mm"),
    )
    return Back(
        T_body_scan=turned,
        chart=chart,
        zone_code=code,
        zones=zones,
        marks=_marks(chart),
        tissue=_tissue(chart, zones, code),
        barrel=Barrel(stations, (girth,) * 9, np.zeros(9, dtype=bool)),
        withers_height=1.45,
        provenance=provenance,
        cautions=("The shoulder blade was estimated, not marked.",),
    )


def _frame(origin: Array, roll: float) -> Array:
    cos, sin = np.cos(roll), np.sin(roll)
    frame = np.eye(4)
    frame[:3, :3] = [[1, 0, 0], [0, cos, -sin], [0, sin, cos]]
    frame[:3, 3] = origin
    return frame


def _bar(side: str) -> MountedBar:
    sign = 1.0 if side == "left" else -1.0
    y_middle = sign * (INNER_EDGE + 0.5 * BAR_WIDTH)
    x_middle = STATION - 0.5 * BAR_LENGTH
    step = 1e-4
    slope = (surface_z(np.array(x_middle), np.array(y_middle + step))
             - surface_z(np.array(x_middle), np.array(y_middle - step))) / (2 * step)  # fmt: skip
    height = float(surface_z(np.array(x_middle), np.array(y_middle)))
    T_body_bar = _frame(np.array([x_middle, y_middle, height]), float(np.arctan(slope)))
    xi, eta = np.linspace(-0.30, 0.30, 121), np.linspace(-0.07, 0.07, 57)
    zeta = np.zeros((len(xi), len(eta)))
    grid = np.stack(np.broadcast_arrays(xi[:, None], eta[None, :], zeta), axis=-1)
    for _ in range(40):
        grid[..., 2] = zeta
        body = grid @ T_body_bar[:3, :3].T + T_body_bar[:3, 3]
        zeta = zeta - 0.8 * (body[..., 2] - surface_z(body[..., 0], body[..., 1]))
    curve = 0.018 * (xi / 0.28)[:, None] ** 2
    half = 0.5 * np.array([BAR_LENGTH, BAR_WIDTH]) - 0.02
    corner = np.stack(np.broadcast_arrays(np.abs(xi)[:, None], np.abs(eta)[None, :]), -1) - half
    inside = 0.02 - np.hypot(*np.moveaxis(np.maximum(corner, 0.0), -1, 0))
    inside -= np.minimum(corner.max(axis=-1), 0.0)
    T_tree_body = np.eye(4)
    T_tree_body[0, 3] = -STATION
    underside = Underside(xi, eta, zeta + curve, inside, 0.5 * BAR_LENGTH, -0.5 * BAR_LENGTH)
    return MountedBar(side, underside, T_tree_body @ T_body_bar)  # type: ignore[arg-type]


def _slab(lower: Array, upper: Array) -> tuple[Array, NDArray[np.int32]]:
    """Closed surface between two (m, k, 3) grids of points, outward when upper lies above."""
    m, k = lower.shape[:2]
    index = np.arange(m * k).reshape(m, k)

    def sheet(a: NDArray[np.int_], b: NDArray[np.int_], c: NDArray[np.int_], d: NDArray[np.int_]):  # noqa: ANN202
        return np.vstack([np.column_stack([a.ravel(), b.ravel(), c.ravel()]),
                          np.column_stack([a.ravel(), c.ravel(), d.ravel()])])  # fmt: skip

    top = sheet(index[:-1, :-1], index[1:, :-1], index[1:, 1:], index[:-1, 1:])
    rim = np.concatenate([index[:-1, 0], index[-1, :-1], index[:0:-1, -1], index[0, :0:-1]])
    after = np.roll(rim, -1)
    shift = m * k
    wall = sheet(rim + shift, after + shift, after, rim)
    triangles = np.vstack([top, top[:, ::-1] + shift, wall]).astype(np.int32)
    return np.vstack([upper.reshape(-1, 3), lower.reshape(-1, 3)]), triangles


def _bar_body(bar: MountedBar) -> tuple[Array, NDArray[np.int32]]:
    face = bar.underside
    xi, eta = np.linspace(-0.28, 0.28, 57), np.linspace(-0.055, 0.055, 12)
    rows = np.searchsorted(face.xi, xi - 1e-9)
    columns = np.searchsorted(face.eta, eta - 1e-9)
    zeta = face.height[np.ix_(rows, columns)]
    lower = np.stack(np.broadcast_arrays(xi[:, None], eta[None, :], zeta), axis=-1)
    upper = lower + np.array([0.0, 0.0, 0.02])
    place = bar.T_tree_bar
    return _slab(lower @ place[:3, :3].T + place[:3, 3], upper @ place[:3, :3].T + place[:3, 3])


def _arch_body(x: float, bars: tuple[MountedBar, MountedBar]) -> tuple[Array, NDArray[np.int32]]:
    feet = [bar.T_tree_bar[:3, 3] + (x + 0.28, 0.0, 0.02) for bar in bars]
    turn = np.linspace(0.0, np.pi, 25)
    centre = np.column_stack([
        np.full_like(turn, x), feet[0][1] * np.cos(turn), feet[0][2] + 0.14 * np.sin(turn)
    ])  # fmt: skip
    wide = np.array([0.02, 0.0, 0.0])
    outward = np.column_stack([np.zeros_like(turn), np.cos(turn), np.sin(turn)])
    lower = np.stack([centre + wide, centre - wide], axis=1)
    return _slab(lower, lower + 0.02 * outward[:, None, :])


def small_tree() -> Tree:
    """Two bars that follow the made-up trunk, with 18 mm of lengthwise curve, on two arches."""
    bars = (_bar("left"), _bar("right"))
    bodies = [_bar_body(bars[0]), _bar_body(bars[1]), _arch_body(-0.08, bars)]
    bodies.append(_arch_body(-0.48, bars))
    return Tree(
        name="made-up tree",
        bars=bars,
        mass=8.0,
        centre_of_mass=np.array([-0.28, 0.0, 0.05]),
        settings={"rigging": {"front": 0.10, "rear": 0.46}},
        drawing=partial(joined, bodies),
    )


def small_seat() -> Seat:
    """Where the made-up tree was laid."""
    T_body_tree = np.eye(4)
    T_body_tree[0, 3] = STATION
    return Seat(T_body_tree, STATION, 0.006, 0.9, 0.004, ("The seat was refined.",))


def small_pad() -> Pad:
    """A felt pad."""
    return Pad("felt", 0.020, 20e3, 4.0, 6e3, 0.4, 1.5)


def _case(name: str) -> Case:
    ends = {"front": ("front",), "rear": ("rear",)}.get(name, ("front", "rear"))
    ring = {"front": -0.10, "rear": -0.46}
    straps = tuple(
        Strap(
            name=f"{end}_cinch_{side}",
            attach_tree=np.array([ring[end], sign * 0.13, -0.05]),
            anchor_body=np.array([STATION + ring[end], sign * 0.28, -0.3]),
            tension=CINCH[end],
        )
        for end in ends
        for side, sign in (("left", 1.0), ("right", -1.0))
    )  # fmt: skip
    forces = [
        DeadForce("tree_weight", np.array([-0.28, 0.0, 0.05]), np.array([0, 0, -8 * GRAVITY]))
    ]
    if name == "rider":
        rider = DeadForce("rider", np.array([-0.26, 0.0, 0.25]), np.array([0, 0, -80 * GRAVITY]))
        forces.append(rider)
    return Case(name, straps, tuple(forces))


def _applied(case: Case, T_body_tree: Array) -> tuple[AppliedForce, ...]:
    pulls = []
    for strap in case.straps:
        point = T_body_tree[:3, :3] @ strap.attach_tree + T_body_tree[:3, 3]
        along = strap.anchor_body - point
        pulls.append(AppliedForce(strap.name, point, strap.tension * along / np.linalg.norm(along)))
    weights = [
        AppliedForce(w.name, T_body_tree[:3, :3] @ w.point_tree + T_body_tree[:3, 3], w.force_body)
        for w in case.forces
    ]
    return (*pulls, *weights)


def _under_bars(
    back: Back, tree: Tree, T_body_tree: Array
) -> tuple[Array, NDArray[np.int_], Array]:
    """Clearance along the bar's own upward axis, bar code and place along, per valid node."""
    points = back.chart.points[back.chart.valid]
    clearance = np.full(len(points), np.nan)
    code, along = np.zeros(len(points), dtype=int), np.full(len(points), np.nan)
    for bar, sign in zip(tree.bars, (1, -1), strict=True):
        face, place = bar.underside, T_body_tree @ bar.T_tree_bar
        local = (points - place[:3, 3]) @ place[:3, :3]
        row = np.clip(np.searchsorted(face.xi, local[:, 0]), 0, len(face.xi) - 1)
        column = np.clip(np.searchsorted(face.eta, local[:, 1]), 0, len(face.eta) - 1)
        below = (face.inside[row, column] > 0.0) & (np.abs(local[:, 2]) < 0.1)
        clearance[below] = (face.height[row, column] - local[:, 2])[below]
        code[below] = sign
        along[below] = ((face.front - local[:, 0]) / (face.front - face.rear))[below]
    return clearance, code, np.clip(along, 0.0, 1.0)


def _equilibrium(back: Back, tree: Tree, case: Case, *, found: bool) -> Equilibrium:
    pitch = PITCH[case.name]
    T_body_seat = small_seat().T_body_tree
    T_body_tree = T_body_seat.copy()
    T_body_tree[:3, :3] = [
        [np.cos(pitch), 0, np.sin(pitch)], [0, 1, 0], [-np.sin(pitch), 0, np.cos(pitch)],
    ]  # fmt: skip
    T_body_tree[2, 3] = -0.012 - 0.28 * np.sin(pitch) - 0.006 * (case.name == "rider")
    clearance, code, along = _under_bars(back, tree, T_body_tree)
    forces = _applied(case, T_body_tree)
    need = -sum(force.force[2] for force in forces)
    area = back.chart.area[back.chart.valid]
    upward = back.chart.normals[back.chart.valid][:, 2]
    pressed = np.zeros(back.chart.valid.shape)
    pressed[back.chart.valid] = np.nan_to_num(np.maximum(-clearance, 0.0))
    pressure = gaussian_filter(pressed, 0.8)[back.chart.valid] * (code != 0)
    pressure *= need / float(np.sum(pressure * area * upward))
    gap = np.where(pressure > 0.0, 0.0, np.maximum(clearance, 0.0))
    return Equilibrium(
        found=found,
        leaves=None if found else "tips forward",
        residual=4e-4 if found else 0.31,
        iterations=5,
        T_body_tree=T_body_tree,
        T_body_tree_seat=T_body_seat,
        joint_angles=np.zeros(0),
        pressure=pressure,
        shear=np.zeros((len(pressure), 3)),
        gap=gap,
        indentation=pressure / 2.0e6,
        bar=code,
        along=along,
        forces=forces,
    )


def _patch_mean(back: Back, pressure: Array) -> Array:
    grid = np.zeros(back.chart.valid.shape)
    grid[back.chart.valid] = pressure
    size = max(1, round(0.020 / back.chart.spacing))
    return uniform_filter(grid, size, mode="constant")


def _hotspots(back: Back, patch: Array) -> tuple[Hotspot, ...]:
    left, spots = patch.copy(), []
    names = [zone.name for zone in back.zones]
    while len(spots) < 5 and left.max() > 0.4 * patch.max():
        row, column = np.unravel_index(int(np.argmax(left)), left.shape)
        code = back.zone_code[row, column]
        zone, _, side = (names[code] if code >= 0 else "none").rpartition("_")
        near = np.hypot(
            back.chart.x[:, None] - back.chart.x[row], back.chart.t - back.chart.t[column]
        )
        high = (near < 0.08) & (patch > 0.5 * patch[row, column])
        x, y, z = back.chart.points[row, column]
        spots.append(Hotspot(
            number=len(spots) + 1,
            zone=zone or side,
            side=side if zone else "middle",
            x=float(x), y=float(y), z=float(z),
            peak=float(patch[row, column]),
            area=float(back.chart.area[high].sum()),
        ))  # fmt: skip
        left[near < 0.08] = 0.0
    return tuple(spots)


def _zone_loads(back: Back, pressure: Array, patch: Array) -> dict[str, ZoneLoad]:
    code, area = back.zone_code[back.chart.valid], back.chart.area[back.chart.valid]
    patch_here = patch[back.chart.valid]
    loads = {}
    for index, zone in enumerate(back.zones):
        here = code == index
        loaded = here & (pressure > 500.0)
        loads[zone.name] = ZoneLoad(
            force=float(np.sum(pressure[here] * area[here])),
            peak=float(patch_here[here].max(initial=0.0)),
            area=float(area[loaded].sum()),
        )
    return loads


def _measures(back: Back, equilibrium: Equilibrium) -> Measures:
    pressure, along, code = equilibrium.pressure, equilibrium.along, equilibrium.bar
    area = back.chart.area[back.chart.valid]
    force = pressure * area
    patch, contact, total = _patch_mean(back, pressure), pressure > 500.0, float(force.sum())
    third = np.clip(np.nan_to_num(along, nan=-1.0) * 3, -1, 2.999).astype(int)
    share = {n: float(force[(third == i) & (code != 0)].sum()) / total
             for i, n in enumerate(("front", "middle", "rear"))}  # fmt: skip
    share |= {n: float(force[code == c].sum()) / total for n, c in (("left", 1), ("right", -1))}
    lift = {}
    for end, tip in (("front", along < 0.04), ("rear", along > 0.96)):
        for side, c in (("left", 1), ("right", -1)):
            lift[f"{end}_{side}"] = float(np.nanmean(equilibrium.gap[tip & (code == c)]))
    return Measures(
        normal_force=total,
        vertical_force=float(np.sum(force * back.chart.normals[back.chart.valid][:, 2])),
        peak=float(patch.max()),
        point_max=float(pressure.max()),
        p95=float(np.percentile(pressure[contact], 95)),
        mean=float(np.average(pressure[contact], weights=area[contact])),
        area=float(area[contact].sum()),
        share=share,
        lift=lift,
        zones=_zone_loads(back, pressure, patch),
        hotspots=_hotspots(back, patch),
        bridging={"left": BarGap(0.0, 0.0), "right": BarGap(0.12, 0.003)},
        rocking=Rocking(0.0009, 0.47, 0.0004),
        cautions=("A hole in the scan was filled under the left bar: pressure there is unsure.",),
    )


def small_fitset(spacing: float = 0.010, unstable: Collection[str] = ()) -> FitSet:
    """A made-up FitSet with the cases front, rear, both and rider.

    `unstable` names the cases in which the tree is said to leave the back.
    """
    back, tree = small_back(spacing), small_tree()
    fits = {}
    for name in ("front", "rear", "both", "rider"):
        case = _case(name)
        equilibrium = _equilibrium(back, tree, case, found=name not in unstable)
        measures = _measures(back, equilibrium) if equilibrium.found else None
        fits[name] = Fit(case, equilibrium, measures)
    timing = {"read": 0.8, "back": 1.4, "compliance": 0.9, "cases": 0.4}
    return FitSet(
        back=back,
        tree=tree,
        pad=small_pad(),
        rig=Rig(),
        load=NO_LOAD,
        fits=fits,
        seat=small_seat(),
        defaults=("pad", "load"),
        timing_s=timing,
    )
