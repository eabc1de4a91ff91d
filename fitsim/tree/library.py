"""The trees that come with fitsim, in general words."""

from __future__ import annotations

from importlib.resources import files


def library_names() -> tuple[str, ...]:
    """Names of the trees in the library, sorted.

    Returns
    -------
    Tuple of str

    Examples
    --------
    >>> library_names()  # doctest: +NORMALIZE_WHITESPACE
    ('pack-fixed', 'pack-pivoting', 'riding-flat', 'riding-middle', 'riding-narrow',
     'riding-short', 'riding-wide')
    """
    shelf = files("fitsim.tree") / "library"
    names = (entry.name for entry in shelf.iterdir())
    return tuple(sorted(name.removesuffix(".toml") for name in names if name.endswith(".toml")))


def library_text(name: str) -> str:
    """Tree file of one tree in the library.

    Parameters
    ----------
    name : one of `library_names`.

    Returns
    -------
    str, TOML.

    Examples
    --------
    >>> library_text("pack-fixed").splitlines()[0]
    'name = "Fixed-arch pack tree"'
    """
    return (files("fitsim.tree") / "library" / f"{name}.toml").read_text(encoding="utf-8")
