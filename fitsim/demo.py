"""The bundled demo: where its data lies, and its first question as a job."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from fitsim.errors import BadSettings
from fitsim.study.job import Job, ScanFile
from fitsim.units import quantity


def demo_folder() -> Path:
    """Return the folder of the demo's data: in a checkout, or inside an installed package.

    Raises
    ------
    BadSettings
        When it is in neither place.

    Examples
    --------
    >>> (demo_folder() / "scenario.toml").is_file()
    True
    """
    package = Path(__file__).parent
    for folder in (package.parent / "meshes", package / "_meshes"):
        if (folder / "scenario.toml").is_file():
            return folder
    raise BadSettings("the demo", "its data was not installed", "install the package again")


def demo_job(folder: Path) -> tuple[str, Job]:
    """Return the story's first question, as asked and as a job.

    Parameters
    ----------
    folder : Path
        See `demo_folder`.

    Returns
    -------
    str
        The question, naming the animal.
    Job
    """
    story: dict[str, Any] = tomllib.loads((folder / "scenario.toml").read_text(encoding="utf-8"))
    question = story["question"][0]
    animal = next(one for one in story["animal"] if one["name"] == question["animal"])
    job = Job(
        scan=ScanFile(
            path=folder / animal["scan"],
            unit=animal["unit"],
            withers_height=quantity(animal["withers_height"], "length"),
        ),
        tree=question["trees"][0],
        pad=question["pad"],
        load=question["load"],
    )
    return f"{animal['name']} ({animal['about']}): {question['ask']}", job
