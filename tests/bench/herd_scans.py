"""Made-up scans for a large herd: python herd_scans.py FOLDER COUNT.

The two made-up animals stretched by up to a tenth along, across and up, by a seeded sequence.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import trimesh

import fitsim

MESHES = Path(__file__).resolve().parents[2] / "meshes"


def write_herd(folder: Path, count: int, seed: int = 1) -> None:
    """Write `count` scans into a folder, each some 1.5 MB."""
    rng = np.random.default_rng(seed)
    animals = [fitsim.read_scan(MESHES / f"{name}.ply") for name in ("mule", "broad_pony")]
    folder.mkdir(parents=True, exist_ok=True)
    for k in range(count):
        one = animals[k % 2]
        one = replace(one, vertices=one.vertices * (1.0 + rng.uniform(-0.1, 0.1, 3)))
        mesh = trimesh.Trimesh(one.vertices, one.triangles, process=False)
        mesh.export(folder / f"made-up-{k:03}.ply")


if __name__ == "__main__":
    write_herd(Path(sys.argv[1]), int(sys.argv[2]))
