"""A herd's results in Parquet: a part file for each scan as it is done, whole or not at all."""

from __future__ import annotations

from dataclasses import asdict, dataclass, fields
from typing import TYPE_CHECKING

from fitsim.errors import BadSettings
from fitsim.files import output_folder, whole_file

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

    import pyarrow as pa


@dataclass(frozen=True)
class Row:
    """What is kept of one tree on one scan.

    Attributes
    ----------
    key : see `fitsim.study.herd.plan.Pair`.
    animal, tree : names.
    word : of the verdict; empty where nothing could be solved.
    faults : names of the verdict's rules that are broken, by commas.
    score : -, see docs/search.md; None where the tree does not stay on.
    peak_pa, mean_pa, area_m2 : Pa, Pa, m2, in the case the animal works under; None as above.
    fault : why nothing could be solved, one sentence; None where it could.
    """

    key: str
    animal: str
    tree: str
    word: str = ""
    faults: str = ""
    score: float | None = None
    peak_pa: float | None = None
    mean_pa: float | None = None
    area_m2: float | None = None
    fault: str | None = None


def keep(folder: Path, rows: Sequence[Row]) -> None:
    """Write the rows of one scan as a part file.

    Parameters
    ----------
    folder : Path
        Of the herd; the part goes under ``parts`` in one of 256 folders, by its first key.
    rows : at least one.

    Raises
    ------
    BadSettings
        When the folder cannot be written.
    """
    place = output_folder(folder / "parts" / rows[0].key[:2])
    write_rows(place / f"{rows[0].key}.parquet", rows)


def write_rows(file: Path, rows: Sequence[Row]) -> None:
    """Write rows as one Parquet file, whole or not at all."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    with whole_file(file) as draft:
        pq.write_table(pa.Table.from_pylist([asdict(row) for row in rows], schema()), draft)


def kept(folder: Path) -> dict[str, Row]:
    """Return every row kept so far by its key.

    Parameters
    ----------
    folder : Path
        Of the herd.

    Returns
    -------
    dict of str to Row

    Raises
    ------
    BadSettings
        When a part file is spoiled.
    """
    return {row.key: row for file in _parts(folder) for row in read_rows(file)}


def read_rows(file: Path) -> list[Row]:
    """Read a file of rows.

    Raises
    ------
    BadSettings
        When it is no such file.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        # ParquetFile: read_table would take a folder's name for a column
        with pq.ParquetFile(file) as part:
            return [Row(**line) for line in part.read().to_pylist()]
    except (pa.ArrowInvalid, OSError, TypeError) as error:
        fault = "this is no part of a herd's results, or is spoiled"
        raise BadSettings(str(file), fault, "delete it, and its animal is done again") from error


def schema() -> pa.Schema:
    """Column names and types of a part."""
    import pyarrow as pa

    words = {"key", "animal", "tree", "word", "faults", "fault"}
    return pa.schema(
        [(one.name, pa.string() if one.name in words else pa.float64()) for one in fields(Row)]
    )


def _parts(folder: Path) -> Iterable[Path]:
    """The part files; one that begins with a dot was being written when the program was killed."""
    found = (folder / "parts").glob("*/*.parquet")
    return sorted(file for file in found if not file.name.startswith("."))
