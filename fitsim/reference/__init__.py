"""Closed forms and slow, obvious solutions that the fast code is checked against.

Each module is one textbook problem as documented functions with its source, usable by tests,
docs and readers. Nothing here is used to compute a fit.
"""

from __future__ import annotations
