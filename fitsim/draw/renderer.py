"""Whether this machine can draw, asked before the work: VTK ends the process where it cannot."""

from __future__ import annotations

import ctypes
import sys
from functools import cache
from typing import Final

from fitsim.errors import MissingSystemLibrary

_EGL_LIBRARY: Final = "libEGL.so.1"
_SURFACELESS: Final = 0x31DD  # EGL_PLATFORM_SURFACELESS_MESA
_DEVICE: Final = 0x313F  # EGL_PLATFORM_DEVICE_EXT
_MOST_DEVICES: Final = 16


@cache
def require_renderer() -> None:
    """Return if pictures can be rendered here, with a screen or without.

    On Linux VTK draws through EGL. Where EGL or its driver is missing it warns, falls back on
    another missing library and ends in a segmentation fault, so EGL is asked first. Windows and
    macOS bring their own.

    Raises
    ------
    MissingSystemLibrary
        If EGL is missing or has no driver, not even one that draws without a graphics card.
    """
    if sys.platform != "linux":
        return
    try:
        egl = ctypes.CDLL(_EGL_LIBRARY)
    except OSError as error:
        raise _missing(f"the system library {_EGL_LIBRARY} is missing") from error
    if not any(_opens(egl, display) for display in _displays(egl)):
        raise _missing("the system has EGL but no OpenGL driver for it")


def _displays(egl: ctypes.CDLL) -> list[int]:
    """Handles of every display EGL offers without a window, in the order VTK tries them."""
    egl.eglGetDisplay.restype = ctypes.c_void_p
    egl.eglGetDisplay.argtypes = [ctypes.c_void_p]
    egl.eglGetProcAddress.restype = ctypes.c_void_p
    egl.eglGetProcAddress.argtypes = [ctypes.c_char_p]
    found = [egl.eglGetDisplay(None)]
    address = egl.eglGetProcAddress(b"eglGetPlatformDisplayEXT")
    if address:
        kind = ctypes.CFUNCTYPE(ctypes.c_void_p, ctypes.c_uint, ctypes.c_void_p, ctypes.c_void_p)
        display = kind(address)
        found.append(display(_SURFACELESS, None, None))
        found += [display(_DEVICE, device, None) for device in _devices(egl)]
    return [handle for handle in found if handle]


def _devices(egl: ctypes.CDLL) -> list[int]:
    address = egl.eglGetProcAddress(b"eglQueryDevicesEXT")
    if not address:
        return []
    kind = ctypes.CFUNCTYPE(
        ctypes.c_uint, ctypes.c_int, ctypes.c_void_p, ctypes.POINTER(ctypes.c_int)
    )
    devices, count = (ctypes.c_void_p * _MOST_DEVICES)(), ctypes.c_int(0)
    if not kind(address)(_MOST_DEVICES, devices, ctypes.byref(count)):
        return []
    return [device for device in devices[: count.value] if device]


def _opens(egl: ctypes.CDLL, display: int) -> bool:
    """Whether a display starts; it is left open, for VTK may be given the same one."""
    egl.eglInitialize.restype = ctypes.c_uint
    egl.eglInitialize.argtypes = [ctypes.c_void_p, ctypes.c_void_p, ctypes.c_void_p]
    return bool(egl.eglInitialize(display, None, None))


def _missing(fault: str) -> MissingSystemLibrary:
    return MissingSystemLibrary(
        "Pictures",
        f"cannot be drawn, for {fault}",
        "install it, on Debian and Ubuntu with: apt-get install libegl1 libgl1",
    )
