"""Whether this machine can draw: asked before VTK is loaded, because VTK ends the whole process when it cannot."""

from __future__ import annotations

import ctypes
import os
import sys
from functools import cache
from typing import Final

from fixture3d.errors import MissingLibrary

_LIBRARIES: Final = ("libGL.so.1", "libEGL.so.1")
_DEVICE_PLATFORM: Final = 0x313F  # EGL_PLATFORM_DEVICE_EXT, EGL registry
_CURE: Final = "install libgl1 libegl1 (Debian and Ubuntu: apt-get install libgl1 libegl1)"


def need_off_screen() -> None:
    """Make sure that a picture can be drawn without a screen, and tell VTK to do it that way.

    Raises:
        MissingLibrary: a system library for drawing is missing or finds nothing to draw with.
    """
    if not sys.platform.startswith("linux"):
        return
    need_libraries()
    if not _egl_works():
        raise MissingLibrary(f"the picture cannot be drawn: libEGL finds no driver to draw with; {_CURE}")
    os.environ["VTK_DEFAULT_OPENGL_WINDOW"] = "vtkEGLRenderWindow"


def need_libraries() -> None:
    """Make sure that the system libraries for drawing are there.

    Raises:
        MissingLibrary: one is not.
    """
    if not sys.platform.startswith("linux"):
        return
    missing = [name for name in _LIBRARIES if not _loads(name)]
    if missing:
        raise MissingLibrary(f"the picture cannot be drawn: {' and '.join(missing)} not found; {_CURE}")


def need_screen() -> None:
    """Make sure that there is a screen for a window.

    Raises:
        MissingLibrary: there is none, or a library for it is missing.
    """
    if not sys.platform.startswith("linux"):
        return
    if not os.environ.get("DISPLAY"):
        raise MissingLibrary("there is no screen here (DISPLAY is not set); write a picture: view SCENE --png FILE")
    need_libraries()
    if not _display_opens():
        raise MissingLibrary(
            f"the screen {os.environ['DISPLAY']} does not answer; write a picture instead: view SCENE --png FILE"
        )
    # Left over from a picture in the same process, it would open a window nobody sees.
    os.environ.pop("VTK_DEFAULT_OPENGL_WINDOW", None)


def _loads(name: str) -> bool:
    try:
        ctypes.CDLL(name)
    except OSError:
        return False
    return True


@cache
def _egl_works() -> bool:
    """Whether one of EGL's devices starts: what VTK tries, and dies of when none does."""
    try:
        egl = ctypes.CDLL("libEGL.so.1")
        egl.eglGetProcAddress.restype = ctypes.c_void_p
        egl.eglGetProcAddress.argtypes = [ctypes.c_char_p]
        query_at = egl.eglGetProcAddress(b"eglQueryDevicesEXT")
        display_at = egl.eglGetProcAddress(b"eglGetPlatformDisplayEXT")
        if not query_at or not display_at:
            return False
        pointer, integer = ctypes.c_void_p, ctypes.c_int32
        query = ctypes.CFUNCTYPE(ctypes.c_uint, integer, ctypes.POINTER(pointer), ctypes.POINTER(integer))(query_at)
        display = ctypes.CFUNCTYPE(pointer, ctypes.c_uint, pointer, pointer)(display_at)
        devices, count = (pointer * 32)(), integer(0)
        if not query(32, devices, ctypes.byref(count)):
            return False
        egl.eglInitialize.argtypes = [pointer, pointer, pointer]
        egl.eglInitialize.restype = ctypes.c_uint
        return any(
            bool(found := display(_DEVICE_PLATFORM, devices[k], None)) and bool(egl.eglInitialize(found, None, None))
            for k in range(count.value)
        )
    except (OSError, AttributeError):
        return False


def _display_opens() -> bool:
    """Whether the X server that DISPLAY names answers."""
    try:
        x11 = ctypes.CDLL("libX11.so.6")
    except OSError:
        return True  # VTK brings its own; let it try
    x11.XOpenDisplay.restype = ctypes.c_void_p
    x11.XOpenDisplay.argtypes = [ctypes.c_char_p]
    x11.XCloseDisplay.argtypes = [ctypes.c_void_p]
    found = x11.XOpenDisplay(None)
    if not found:
        return False
    x11.XCloseDisplay(found)
    return True
