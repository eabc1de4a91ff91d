"""`python -m fitsim` is the same program as `fitsim`."""

from __future__ import annotations

from fitsim.cli import main

if __name__ == "__main__":
    main()
