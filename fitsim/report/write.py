"""Everything `fitsim fit` leaves behind, written whole or not at all."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from fitsim.draw.paint import canvas
from fitsim.draw.renderer import require_renderer
from fitsim.draw.sheet import draw_cases
from fitsim.files import whole_folder
from fitsim.progress import Stages, silent
from fitsim.report.contract import write_contract
from fitsim.report.html import write_report
from fitsim.report.pdf import write_pdfs
from fitsim.report.tables import write_nodes, write_surface

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from fitsim.study.fit import FitSet
    from fitsim.units import System
    from fitsim.workshop.paper import Paper


def write_results(
    fitset: FitSet,
    folder: str | Path,
    *,
    system: System = "metric",
    timing_s: Mapping[str, float] | None = None,
    stages: Stages = silent,
    paper: Paper | None = None,
) -> FitSet:
    """Write the report, the pictures, `fit.json`, `nodes.csv` and `pressure.vtp` into a folder.

    All files are made beside the folder first and moved in at the end, so that an error or an
    interrupt leaves the folder as it was.

    Parameters
    ----------
    fitset : FitSet
        All cases of one tree on one back.
    folder : str or Path
        Made if missing; files of the same names are replaced.
    system : {"metric", "inch"}
        Units in pictures and the report. `fit.json` and the tables never change theirs.
    timing_s : mapping, optional
        Seconds by stage, read when `fit.json` is written, so that `stages` may still add to it.
    stages : Stages
        Called around each stage.
    paper : "a4" or "letter", optional
        Of `summary.pdf` and `report.pdf`, which are written only where it is given.

    Returns
    -------
    FitSet
        As written, with its timing.

    Raises
    ------
    BadSettings
        When the folder cannot be written.
    MissingSystemLibrary
        When this machine cannot draw.
    """
    require_renderer()
    with whole_folder(folder) as draft:
        with stages("pictures", "drawing the pictures"):
            skin = canvas(fitset.back)
            pictures = draw_cases(fitset, draft, system=system, skin=skin)
        with stages("tables", "writing the tables"):
            write_nodes(fitset, draft / "nodes.csv")
            write_surface(fitset, draft / "pressure.vtp")
        with stages("report", "writing the report"):
            page = draft / "report.html"
            write_report(fitset, page, pictures=pictures, system=system, skin=skin)
            if paper is not None:
                write_pdfs(fitset, draft, pictures, paper=paper, system=system)
        timed = replace(fitset, timing_s={**fitset.timing_s, **(timing_s or {})})
        write_contract(timed, draft / "fit.json")
    return timed
