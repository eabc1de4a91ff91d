"""The one family of errors a user of fitsim can meet, each a sentence they can act on."""

from __future__ import annotations


class FitsimError(Exception):
    """Something the user can mend: says where, what is wrong, and what to do.

    Parameters
    ----------
    where : str
        The file, setting or command the fault was found in.
    fault : str
        What is wrong, without a full stop.
    mend : str
        What the user can do, without a full stop.

    Examples
    --------
    >>> print(BadScan("back.ply", "the file is empty", "export the scan again"))
    back.ply: the file is empty; export the scan again.
    """

    exit_code = 3

    def __init__(self, where: str, fault: str, mend: str) -> None:
        self.where, self.fault, self.mend = where, fault, mend
        super().__init__(f"{where}: {fault}; {mend}.")

    def __reduce__(self) -> tuple[type[FitsimError], tuple[str, str, str]]:
        """Made anew of its three parts, for it comes back from other processes."""
        return type(self), (self.where, self.fault, self.mend)


class BadScan(FitsimError):
    """The scan cannot be read, scaled or understood as a back."""


class BadSettings(FitsimError):
    """A tree, rig, pad, load or marks file, or a command's option, makes no sense."""


class NoEquilibrium(FitsimError):
    """No case holds: the tree leaves the back under every one of them."""

    exit_code = 4


class WorkersLost(FitsimError):
    """The processes or machines that work on a herd cannot begin or are gone."""


class MissingSystemLibrary(FitsimError):
    """A library of the operating system is missing."""
