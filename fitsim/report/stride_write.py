"""Everything `fitsim stride` leaves behind, written whole or not at all."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitsim.draw.stride import frames
from fitsim.files import whole_folder
from fitsim.progress import Stages, silent
from fitsim.report.stride_files import write_moments, write_pressure, write_stride_json
from fitsim.report.stride_page import write_gif, write_page
from fitsim.report.stride_words import advice, headline

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from fitsim.study.stride_job import StrideStudy
    from fitsim.units import System


def write_stride(
    study: StrideStudy,
    folder: str | Path,
    *,
    system: System = "metric",
    timing_s: Mapping[str, float],
    stages: Stages = silent,
) -> None:
    """Write the page, the moving picture, the tables and `stride.json` into a folder.

    Parameters
    ----------
    study : StrideStudy
        A stride through which the tree leaves has a page without pictures.
    folder : str or Path
        Made if missing; files of the same names are replaced.
    system : {"metric", "inch"}
        Units on the page; the tables never change theirs.
    timing_s : mapping
        Seconds by stage, read when `stride.json` is written.
    stages : Stages
        Called around each stage.

    Raises
    ------
    BadSettings
        When the folder cannot be written.
    MissingSystemLibrary
        When this machine cannot draw.
    """
    stride = study.stride
    with whole_folder(folder) as draft:
        pictures = []
        if stride.stays:
            with stages("pictures", "drawing the stride"):
                do, why = advice(study)
                todo = f"Try first: {do[0].lower()}{do[1:]} {why}"
                pictures = list(frames(stride, headline(stride), todo, system=system))
                write_gif(pictures, draft / "stride.gif", stride.gait.stride)
        with stages("report", "writing the page and the tables"):
            write_page(study, pictures, draft / "stride.html", system)
            write_moments(stride, draft / "stride.csv")
            write_pressure(stride, draft / "pressure.npz")
        write_stride_json(study, draft / "stride.json", timing_s)
