"""See where a saddle or pack tree presses on an animal's back, on a 3-D scan of it.

The public names are imported when first used, so that ``import fitsim`` costs nothing:

>>> import fitsim
>>> scan = fitsim.read_scan("back.ply", unit="mm")  # doctest: +SKIP
>>> back = fitsim.Back.from_scan(scan)  # doctest: +SKIP
>>> result = fitsim.fit(back, fitsim.Tree.read("riding-middle"))  # doctest: +SKIP
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

__version__ = "0.1.0"

if TYPE_CHECKING:
    from fitsim.back.back import Back
    from fitsim.back.marks import read_marks
    from fitsim.errors import FitsimError
    from fitsim.rig.read import read_load, read_pad, read_rig
    from fitsim.scan.clean import cleaned
    from fitsim.scan.read import read_scan
    from fitsim.scan.scan import Scan
    from fitsim.study.fit import Fit, FitSet, fit
    from fitsim.tree.tree import Tree

_HOME = {
    "Back": "fitsim.back.back",
    "Fit": "fitsim.study.fit",
    "FitSet": "fitsim.study.fit",
    "FitsimError": "fitsim.errors",
    "Scan": "fitsim.scan.scan",
    "Tree": "fitsim.tree.tree",
    "cleaned": "fitsim.scan.clean",
    "fit": "fitsim.study.fit",
    "read_load": "fitsim.rig.read",
    "read_marks": "fitsim.back.marks",
    "read_pad": "fitsim.rig.read",
    "read_rig": "fitsim.rig.read",
    "read_scan": "fitsim.scan.read",
}

__all__ = [
    "Back",
    "Fit",
    "FitSet",
    "FitsimError",
    "Scan",
    "Tree",
    "__version__",
    "cleaned",
    "fit",
    "read_load",
    "read_marks",
    "read_pad",
    "read_rig",
    "read_scan",
]


def __getattr__(name: str) -> object:
    """Import a public name when it is first asked for."""
    if name not in _HOME:
        raise AttributeError(f"module 'fitsim' has no attribute {name!r}")
    value = getattr(import_module(_HOME[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    """Public names, whether imported yet or not."""
    return sorted(__all__)
