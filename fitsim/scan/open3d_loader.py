"""The one place where Open3D is imported.

Open3D links the operating system's libusb, which a bare machine lacks though nothing here
uses it. The package ``libusb-package`` ships that library; loading its file first, with its
symbols made global, lets the import succeed.
"""

from __future__ import annotations

import ctypes
import re
from functools import cache
from typing import TYPE_CHECKING

from fitsim.errors import MissingSystemLibrary

if TYPE_CHECKING:
    from types import ModuleType

_DEBIAN_PACKAGE = {
    "libusb-1.0": "libusb-1.0-0",
    "libEGL": "libegl1",
    "libGL": "libgl1",
    "libGLX": "libglx0",
    "libOpenGL": "libopengl0",
    "libX11": "libx11-6",
    "libXau": "libxau6",
    "libXdmcp": "libxdmcp6",
    "libudev": "libudev1",
    "libgomp": "libgomp1",
    "libstdc++": "libstdc++6",
    "libxcb": "libxcb1",
    "libbsd": "libbsd0",
    "libcap": "libcap2",
}


@cache
def open3d() -> ModuleType:
    """Import Open3D, silent and without a screen.

    Takes about 2 s and 300 MB the first time, so it is called only where nothing lighter does.

    Returns
    -------
    module
        The module ``open3d``, logging errors only.

    Raises
    ------
    MissingSystemLibrary
        If a library of the operating system is missing; names the Debian package that has it.

    Examples
    --------
    >>> cloud = open3d().geometry.PointCloud()
    >>> cloud.is_empty()
    True
    """
    _load_libusb()
    try:
        import open3d as module  # noqa: TID251 - heavy; this is the one place
    except (ImportError, OSError) as error:
        raise missing_library(str(error)) from error
    module.utility.set_verbosity_level(module.utility.VerbosityLevel.Error)
    return module


def missing_library(message: str) -> MissingSystemLibrary:
    """Turn the loader's message into a sentence that names the package to install.

    Examples
    --------
    >>> print(missing_library("libEGL.so.1: cannot open shared object file"))
    Open3D: the system library libEGL.so.1 is missing; install it: apt-get install libegl1.
    """
    found = re.search(r"(lib[\w+.-]+?)\.so[\d.]*", message)
    if found is None:
        return MissingSystemLibrary(
            "Open3D", f"it cannot be loaded ({message})", "install open3d-cpu again"
        )
    package = _DEBIAN_PACKAGE.get(found[1])
    mend = f"apt-get install {package}" if package else f"apt-file search {found[0]} names it"
    return MissingSystemLibrary(
        "Open3D", f"the system library {found[0]} is missing", f"install it: {mend}"
    )


def _load_libusb() -> None:
    try:
        import libusb_package
    except ImportError:
        return  # a system that has its own libusb needs no other
    path = libusb_package.get_library_path()
    if path is not None:
        ctypes.CDLL(str(path), mode=ctypes.RTLD_GLOBAL)
