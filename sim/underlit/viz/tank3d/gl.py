"""Whether pictures in 3D can be drawn here: asked in a process of its own, for without a GL library drawing dies."""

from __future__ import annotations

import os
import subprocess
import sys
from functools import lru_cache

INSTALL = "apt-get install -y --no-install-recommends libegl1 libgl1-mesa-dri"
"""What Debian and Ubuntu need for drawing in software, without a display."""

_PROBE = """
import pyvista
p = pyvista.Plotter(off_screen=True, window_size=(32, 32))
p.add_mesh(pyvista.Sphere(), color="red", lighting=False)
image = p.screenshot(None, return_img=True)
raise SystemExit(0 if image[16, 16, 0] > 200 else 3)
"""


@lru_cache(maxsize=1)
def why_no_gl() -> str | None:
    """None where drawing works; else one line that says what is missing and what to install."""
    if os.environ.get("UNDERLIT_NO_GL"):
        return _line("drawing is switched off by UNDERLIT_NO_GL")
    try:
        done = subprocess.run(
            [sys.executable, "-c", _PROBE], env=offscreen_environment(), capture_output=True, timeout=120
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        return _line(f"the probe did not finish ({type(error).__name__})")
    if done.returncode == 0:
        return None
    if b"No module named" in done.stderr:
        return "no 3D picture: pyvista is not installed; install it with: pip install pyvista"
    return _line("no working GL library")


def offscreen_environment() -> dict[str, str]:
    """The environment with EGL chosen where there is no display, so that no X server is sought."""
    environment = dict(os.environ)
    if sys.platform.startswith("linux") and not has_display():
        environment.setdefault("VTK_DEFAULT_OPENGL_WINDOW", "vtkEGLRenderWindow")
    return environment


def has_display() -> bool:
    """Whether a window could be opened."""
    if sys.platform.startswith("linux"):
        return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))
    return True


def use_offscreen() -> None:
    """Choose EGL for this process where there is no display. To be called before VTK makes its first window."""
    os.environ.update(offscreen_environment())


def _line(reason: str) -> str:
    return f"no 3D picture: {reason}; on Debian or Ubuntu install it with: {INSTALL}"
