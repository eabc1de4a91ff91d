"""Write the demo's scans and their truths beside this file: ``python -m meshes.make_backs``."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import trimesh

from meshes import anatomy
from meshes.animal import BROAD_PONY, MULE, WITHERS
from meshes.hide import chalk_spots
from meshes.scanner import NOISE, scan
from meshes.surface import LEVEL_FROM, LEVEL_TO, surface

if TYPE_CHECKING:
    from meshes.animal import Animal
    from meshes.scanner import RawScan
    from meshes.surface import Surface

BACKS: tuple[tuple[Animal, int], ...] = ((MULE, 187), (BROAD_PONY, 63))
"""Animals that ship with the demo, each with the seed of its scan."""


def make_backs(folder: Path) -> list[Path]:
    """Write ``<name>.ply`` and ``<name>.json`` for every animal of `BACKS`.

    Parameters
    ----------
    folder : where to; exists.

    Returns
    -------
    list of the files written.
    """
    written = []
    for animal, seed in BACKS:
        hide = surface(animal)
        raw = scan(hide, seed=seed)
        truth = json.dumps(_truth(hide, raw), indent=1) + "\n"
        written += [
            _write(folder / f"{animal.name}.ply", ply_bytes(raw)),
            _write(folder / f"{animal.name}.json", truth.encode()),
        ]
    return written


def ply_bytes(raw: RawScan, factor: float = 1.0) -> bytes:
    """Binary PLY of a scan; `factor` 1000 writes millimetres.

    Parameters
    ----------
    raw : the scan, m.
    factor : file units per metre.

    Returns
    -------
    bytes of the file.
    """
    mesh = trimesh.Trimesh(
        raw.vertices * np.float32(factor),
        raw.triangles,
        vertex_colors=raw.colours,
        process=False,
    )
    return trimesh.exchange.ply.export_ply(mesh, vertex_normal=False)


def _write(path: Path, content: bytes) -> Path:
    whole = path.with_suffix(path.suffix + ".part")
    whole.write_bytes(content)
    os.replace(whole, path)  # noqa: PTH105 - atomic, and never half a file under its name
    return path


def _truth(hide: Surface, raw: RawScan) -> dict[str, Any]:
    """What only the maker of a scan knows, in the body frame, metres."""
    animal, k = hide.animal, hide.animal.scale
    x = np.linspace(-0.88, 0.36, 63) * k
    outlines = {
        "scapula": anatomy.blade_outline(animal),
        "scapula_edge": anatomy.blade_rear_edge(animal),
        "fat_pocket": anatomy.fat_pocket_outline(animal),
        "last_rib": anatomy.last_rib(animal),
    }
    return {
        "name": animal.name,
        "made_up": "generated geometry: no living animal was scanned",
        "unit": "m",
        "withers_height_m": animal.withers_height,
        "frame": "x forward along the spine line, y left, z up; origin on the spine line at the"
        " station of the shoulder blade's rear edge; x axis parallel to the least-squares line of"
        f" the spine over x from {LEVEL_FROM * k:.3f} to {LEVEL_TO * k:.3f}",
        "T_scan_body": raw.T_scan_body.round(12).tolist(),
        "spine_over_ground_deg": round(float(np.rad2deg(np.arctan(hide.slope))), 4),
        "noise_sd_m": NOISE,
        "triangles": len(raw.triangles),
        "spine": hide.spine(x).round(6).tolist(),
        "withers_top": hide.spine(np.array([WITHERS * k]))[0].round(6).tolist(),
        "holes_x_t_radius": raw.holes.round(6).tolist(),
        "chalk_x_t": chalk_spots(hide).round(6).tolist(),
        "outlines": {
            f"{name}_{side}": _outline(hide, outline * [1, sign])
            for name, outline in outlines.items()
            for side, sign in (("left", 1), ("right", -1))
        },
    }


def _outline(hide: Surface, chart: np.ndarray) -> dict[str, list[list[float]]]:
    body = hide.points(chart[:, 0], chart[:, 1])
    return {"x_t": chart.round(6).tolist(), "body": body.round(6).tolist()}


if __name__ == "__main__":
    make_backs(Path(__file__).parent)
