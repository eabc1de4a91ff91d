"""Tests by kind of proof; `tests.build` makes the small objects they share."""
