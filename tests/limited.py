"""Reads scan files under limits of memory and time and tells what each gave and what it opened.

Run as a program, since limits hold for a whole process: ``python tests/limited.py FILE...``.
"""

from __future__ import annotations

import json
import resource
import sys
import time
from pathlib import Path

MOST_MEMORY = 2 * 1024**3
"""bytes, set for scans: of everything a process asks for itself."""
MOST_SECONDS = 30.0
"""s, set for scans: of each file."""


def outcome(path: Path, opened: list[str]) -> dict[str, object]:
    """What came back from one file: a scan, a sentence, or something that must not be."""
    from fitsim.errors import FitsimError
    from fitsim.scan.clean import cleaned
    from fitsim.scan.read import read_scan

    opened.clear()
    start = time.process_time()
    try:
        scan = cleaned(read_scan(path))
        came, said = "scan", " ".join(scan.provenance.notes)
    except FitsimError as fault:
        came, said = "sentence", str(fault)
    except BaseException as fault:  # noqa: BLE001 - whatever it is, it must be told and counted
        came, said = "crash", repr(fault)
    return {
        "file": str(path),
        "came": came,
        "said": said,
        "seconds": time.process_time() - start,
        "opened": sorted(set(opened)),
    }


def main(files: list[str]) -> None:
    """Print one line of JSON for each file, then one with the most memory that was used."""
    opened: list[str] = []

    def watch(event: str, arguments: tuple[object, ...]) -> None:
        if event in {"open", "os.open"} and isinstance(arguments[0], str | Path):
            opened.append(str(Path(arguments[0]).resolve()))
        if event.startswith(("socket.connect", "urllib.Request", "subprocess.Popen", "os.system")):
            opened.append(event)

    resource.setrlimit(resource.RLIMIT_DATA, (MOST_MEMORY, MOST_MEMORY))
    sys.addaudithook(watch)
    for name in files:
        sys.stdout.write(json.dumps(outcome(Path(name), opened)) + "\n")
        sys.stdout.flush()
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
    sys.stdout.write(json.dumps({"peak": peak}) + "\n")


if __name__ == "__main__":
    main(sys.argv[1:])
