"""The same cases as CalculiX decks: written, run, and read back.

20-node hexahedra with reduced integration (C3D20R), the same neo-Hookean energy
(``C10 = G/2``, ``D1 = 2/K``), the same slab mesh, a finely facetted rigid indenter, and
face-to-face penalty contact without friction. Units in the deck: mm, N, MPa.
"""

from __future__ import annotations

import re
import subprocess
import time
from typing import TYPE_CHECKING

import numpy as np
from cases import fixed
from ours import clear_height, mirrored

from fitsim.contact.reference_model.pressure import contact_area, patch_peak

if TYPE_CHECKING:
    from pathlib import Path

    from cases import Case
    from numpy.typing import NDArray

    from fitsim.contact.reference_model.slab import Slab

# Contact penalty, MPa/mm: 10 kPa of pressure overlaps by 5 micrometres, 0.25 % of the depth of
# the shallowest case.
PENALTY = 2.0
_LIFT = 5e-6  # m, clearance at the start

# Corners, then mid-edges bottom, top, upright, as places in a 3 x 3 x 3 block of nodes.
_HEX20 = (
    (0, 0, 0), (2, 0, 0), (2, 2, 0), (0, 2, 0), (0, 0, 2), (2, 0, 2), (2, 2, 2), (0, 2, 2),
    (1, 0, 0), (2, 1, 0), (1, 2, 0), (0, 1, 0), (1, 0, 2), (2, 1, 2), (1, 2, 2), (0, 1, 2),
    (0, 0, 1), (2, 0, 1), (2, 2, 1), (0, 2, 1),
)  # fmt: skip


def version() -> str:
    """Version line of the installed program."""
    told = subprocess.run(["ccx", "-v"], capture_output=True, text=True, check=False).stdout  # noqa: S607
    return told.strip().removeprefix("This is ").rstrip(".")


def run(case: Case, level: int, folder: Path) -> dict[str, float]:
    """Write, run and read one case.

    Returns
    -------
    dict
        As `ours.run`.
    """
    mesh = case.mesh(level)
    name = re.sub(r"[^a-z0-9]+", "_", f"{case.name} {level}".lower()).strip("_")
    (folder / f"{name}.inp").write_text("\n".join(_deck(case, mesh)) + "\n", encoding="ascii")
    begin = time.perf_counter()
    done = subprocess.run(
        ["ccx", name], cwd=folder, capture_output=True, text=True, check=False,  # noqa: S607
        timeout=1500,
    )  # fmt: skip
    seconds = time.perf_counter() - begin
    if "Job finished" not in done.stdout:
        raise RuntimeError(f"{name}: {done.stdout[-600:]}")
    dat = (folder / f"{name}.dat").read_text(encoding="ascii")
    frd = (folder / f"{name}.frd").read_text(encoding="ascii")
    moved, pressed = _block(frd, "DISP", 3), _block(frd, "CONTACT", 4)
    skin = np.intersect1d(mesh.skin, _used(mesh)[0])
    now = mesh.points.copy()
    for n in np.unique(_used(mesh)[0]):
        now[n] += np.array(moved[n + 1]) * 1e-3
    pressure = np.array([pressed.get(n + 1, (0.0,) * 4)[3] for n in skin]) * 1e6
    points, pressure = mirrored(case.symmetric, now[skin], pressure)
    faces = _with_middles(now[mesh.skin_faces])
    return {
        "force_n": case.copies * _force(dat),
        "peak_kpa": patch_peak(points[:, 0], points[:, 1], pressure) / 1e3,
        "area_cm2": case.copies * contact_area(faces, case.indenter, case.pose) * 1e4,
        "seconds": seconds,
        "unknowns": 3 * len(_used(mesh)[0]),
    }


def _used(mesh: Slab) -> tuple[NDArray[np.int_], NDArray[np.int_]]:
    """Nodes of the 20-node elements, and the elements (e, 20) with their layers' order kept."""
    nx, ny, nz = ((n - 1) // 2 for n in mesh.grid.shape)
    rows = [
        [mesh.grid[2 * i + a, 2 * j + b, 2 * k + c] for a, b, c in _HEX20]
        for i in range(nx) for j in range(ny) for k in range(nz)
    ]  # fmt: skip
    elements = np.array(rows)
    return np.unique(elements), elements


def _deck(case: Case, mesh: Slab) -> list[str]:
    nodes, elements = _used(mesh)
    owner = {tuple(sorted(e)): layer for e, layer in zip(mesh.elements, mesh.layer, strict=True)}
    layers = _layers(mesh, elements, owner)
    lines = ["*NODE, NSET=NALL"]
    lines += [f"{n + 1},{x:.9e},{y:.9e},{z:.9e}" for n, (x, y, z) in
              zip(nodes, mesh.points[nodes] * 1e3, strict=True)]  # fmt: skip
    for layer, material in enumerate(case.materials):
        lines += [f"*ELEMENT, TYPE=C3D20R, ELSET=L{layer}"]
        for e in np.flatnonzero(layers == layer):
            numbers = [str(n + 1) for n in elements[e]]
            lines += [",".join([str(e + 1), *numbers[:10]]) + ",", ",".join(numbers[10:])]
        lines += [
            f"*MATERIAL, NAME=M{layer}", "*HYPERELASTIC, NEO HOOKE",
            f"{material.shear / 2e6:.9e},{2e6 / material.bulk:.9e}",
            f"*SOLID SECTION, ELSET=L{layer}, MATERIAL=M{layer}",
        ]  # fmt: skip
    top = np.flatnonzero(np.isin(elements[:, 4], mesh.skin) & np.isin(elements[:, 6], mesh.skin))
    lines += ["*SURFACE, NAME=SKIN"] + [f"{e + 1},S2" for e in top]
    lines += _indenter(case, mesh, first_node=len(mesh.points) + 1, first=len(elements) + 1)
    bound = fixed(case, mesh)
    lines += ["*BOUNDARY"]
    lines += [f"{n + 1},{a + 1},{a + 1}" for n in nodes for a in range(3) if bound[n, a]]
    start = clear_height(case, mesh.points[mesh.skin]) + _LIFT
    return lines + _step(case.pose[2, 3] - start)


def _layers(
    mesh: Slab, elements: NDArray[np.int_], owner: dict[tuple[int, ...], int]
) -> NDArray[np.int_]:
    """Layer of each 20-node element: that of the 27-node one with its corners."""
    by_corners = {frozenset(key): layer for key, layer in owner.items()}
    corner_of = {frozenset(map(int, k)): v for k, v in by_corners.items()}
    return np.array(
        [next(v for k, v in corner_of.items() if set(map(int, e)) <= k) for e in elements]
        if len(set(mesh.layer.tolist())) > 1
        else np.zeros(len(elements), dtype=np.int_)
    )


def _indenter(case: Case, mesh: Slab, first_node: int, first: int) -> list[str]:
    """Rigid sheet of hexahedra, every node of it driven."""
    low, high = case.reach[:, 0], case.reach[:, 1]
    counts = np.ceil((high - low) / case.facet).astype(int)
    x, y = (np.linspace(a, b, n + 1) for a, b, n in zip(low, high, counts, strict=True))
    X, Y = np.meshgrid(x, y, indexing="ij")
    Z = case.indenter.height(X.ravel(), Y.ravel())[0]
    bottom = np.column_stack([X.ravel(), Y.ravel(), Z])
    pose = case.pose.copy()
    pose[2, 3] = clear_height(case, mesh.points[mesh.skin]) + _LIFT
    stack = [
        (layer @ pose[:3, :3].T + pose[:3, 3]) * 1e3
        for layer in (bottom, bottom + np.array([0.0, 0.0, 5e-3]))
    ]
    lines = ["*NODE, NSET=NRIGID"]
    lines += [f"{first_node + i},{p[0]:.9e},{p[1]:.9e},{p[2]:.9e}"
              for i, p in enumerate(np.concatenate(stack))]  # fmt: skip
    m = len(y)
    corner = (np.arange(counts[0])[:, None] * m + np.arange(counts[1])).ravel() + first_node
    base = np.column_stack([corner, corner + m, corner + m + 1, corner + 1])
    whole = np.concatenate([base, base + len(bottom)], axis=1)
    lines += ["*ELEMENT, TYPE=C3D8, ELSET=RIGID"]
    lines += [",".join(map(str, [first + i, *row])) for i, row in enumerate(whole)]
    lines += ["*MATERIAL, NAME=STIFF", "*ELASTIC", "1.,0.3",
              "*SOLID SECTION, ELSET=RIGID, MATERIAL=STIFF"]  # fmt: skip
    return [*lines, "*SURFACE, NAME=UNDERSIDE", "RIGID,S1"]


def _step(travel: float) -> list[str]:
    return [
        "*CONTACT PAIR, INTERACTION=TOUCH, TYPE=SURFACE TO SURFACE", "SKIN,UNDERSIDE",
        "*SURFACE INTERACTION, NAME=TOUCH", "*SURFACE BEHAVIOR, PRESSURE-OVERCLOSURE=LINEAR",
        f"{PENALTY},1e-6,1e-3",
        "*STEP, NLGEOM, INC=400", "*STATIC", "0.1,1.,1e-5,0.2",
        "*BOUNDARY", "NRIGID,1,2", f"NRIGID,3,3,{travel * 1e3:.9e}",
        "*NODE PRINT, NSET=NRIGID, TOTALS=ONLY, FREQUENCY=1000", "RF",
        "*NODE FILE, NSET=NALL, FREQUENCY=1000", "U",
        "*CONTACT FILE, FREQUENCY=1000", "CDIS,CSTR",
        "*END STEP",
    ]  # fmt: skip


def _force(dat: str) -> float:
    """Upward force on the indenter, N, at the end."""
    last = dat.rstrip().splitlines()[-1].split()
    return abs(float(last[2]))


def _with_middles(faces: NDArray[np.float64]) -> NDArray[np.float64]:
    """Faces (f, 9, 3) with the middle node that an 8-node face implies."""
    out = faces.copy()
    out[:, 4] = faces[:, [1, 3, 5, 7]].sum(axis=1) / 2.0 - faces[:, [0, 2, 6, 8]].sum(axis=1) / 4.0
    return out


def _block(frd: str, name: str, count: int) -> dict[int, tuple[float, ...]]:
    """Last block of nodal values of that name."""
    text = frd[frd.rindex(f" -4  {name}") :]
    out = {}
    for line in text.splitlines():
        if line.startswith(" -1"):
            values = tuple(float(line[13 + 12 * i : 25 + 12 * i]) for i in range(count))
            out[int(line[3:13])] = values
        elif line.startswith(" -3"):
            break
    return out
