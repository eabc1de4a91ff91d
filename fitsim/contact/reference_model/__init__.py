"""Slow and exact: finite-strain, locking-free finite elements under a rigid indenter."""

from __future__ import annotations
