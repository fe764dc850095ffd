"""Can this machine draw? Asked in a child process, as VTK may crash its own."""

import ctypes
import os
import subprocess
import sys
from functools import cache

_TIMEOUT = 120  # s: a slow disk's first import of VTK
_PROBE = (
    "import pyvista as pv; p = pv.Plotter(off_screen=True, window_size=(32, 32)); "
    "p.add_mesh(pv.Sphere()); print(p.screenshot(return_img=True).shape)"
)
ADVICE = (
    "no picture can be drawn on this machine: OpenGL is missing; install libgl1 and "
    "libegl1 (Debian, Ubuntu: apt install libgl1 libegl1; Fedora: dnf install "
    "mesa-libGL mesa-libEGL)"
)
_INSTEAD = "use --png FILE for a picture instead"
NO_SCREEN = f"no window can be opened: there is no screen; {_INSTEAD}"


def prepare_off_screen() -> None:
    """Choose VTK's window for machines without a screen, unless the user chose one."""
    if sys.platform.startswith("linux"):
        os.environ.setdefault("VTK_DEFAULT_OPENGL_WINDOW", "vtkEGLRenderWindow")


@cache
def why_not(probe: str = _PROBE) -> str | None:
    """Say why pictures cannot be drawn here.

    Parameters
    ----------
    probe
        Code that draws one and prints something; run in a process of its own.

    Returns
    -------
    sentence
        None when they can.
    """
    prepare_off_screen()
    try:
        run = subprocess.run(
            [sys.executable, "-c", probe],
            capture_output=True,
            timeout=_TIMEOUT,
            check=False,
        )
    except (OSError, subprocess.TimeoutExpired):
        return ADVICE
    return None if run.returncode == 0 and run.stdout.strip() else ADVICE


def why_no_window() -> str | None:
    """Say why no window can be opened here; None when one can."""
    if sys.platform.startswith("linux"):
        screen = os.environ.get("DISPLAY")
        if not screen:  # VTK's windows are those of X11, also where Wayland shows them
            return NO_SCREEN
        if not _answers(screen):
            return (
                f"no window can be opened: the screen {screen}, which DISPLAY names, "
                f"does not answer; {_INSTEAD}"
            )
    os.environ.pop("VTK_DEFAULT_OPENGL_WINDOW", None)
    return None


def _answers(screen: str) -> bool:
    """Whether an X server answers there; VTK would only print warnings, and go on."""
    try:
        x11 = ctypes.CDLL("libX11.so.6")
    except OSError:
        return False
    x11.XOpenDisplay.restype = ctypes.c_void_p
    x11.XCloseDisplay.argtypes = [ctypes.c_void_p]
    found = x11.XOpenDisplay(screen.encode())
    if found:
        x11.XCloseDisplay(found)
    return bool(found)
