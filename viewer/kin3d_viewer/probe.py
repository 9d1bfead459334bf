"""Is there a graphics library? Asked in a child process, because its absence ends the process that asks."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Mapping

from kin3d.errors import Finding, RequestError

DEBIAN_PICTURES = "libegl1 libgl1"
DEBIAN_WINDOW = (
    "libegl1 libgl1 libfontconfig1 libglib2.0-0 libdbus-1-3 libxkbcommon-x11-0 libxcb-cursor0 libxcb-icccm4 "
    "libxcb-image0 libxcb-keysyms1 libxcb-render-util0 libxcb-shape0 libxcb-xkb1"
)
OFF_SCREEN = {"VTK_DEFAULT_OPENGL_WINDOW": "vtkEGLRenderWindow"}
_PICTURE = (
    "import vtkmodules.vtkRenderingOpenGL2; from vtkmodules.vtkRenderingCore import vtkRenderer, vtkRenderWindow; "
    "w = vtkRenderWindow(); w.SetOffScreenRendering(1); w.SetSize(16, 16); w.AddRenderer(vtkRenderer()); w.Render()"
)
_WINDOW = "from PySide6.QtWidgets import QApplication; QApplication([]); print('there')"
WAIT_S = 120


def need_pictures() -> None:
    """Prepare for pictures without a window; raises RequestError with the Debian line where the library is missing."""
    os.environ.update(OFF_SCREEN)
    said = _ask(_PICTURE, os.environ)
    if said is not None:
        text = (
            "no OpenGL library draws pictures here; on Debian or Ubuntu install it with\n"
            f"    apt-get install {DEBIAN_PICTURES}\n"
            f"(it draws in software; no display and no graphics card are needed){said}"
        )
        raise RequestError(Finding("no-graphics", text))


_INSTEAD = "--screenshot, --animation and --scene work without a window"


def need_window(instead: str = _INSTEAD) -> None:
    """Check that a window can be opened; raises RequestError with what to install or to use `instead`."""
    missing = missing_modules()
    if missing:
        text = f"the window needs {' and '.join(missing)}: pip install 'kin3d[viewer]'; {instead}"
        raise RequestError(Finding("no-viewer", text))
    if sys.platform.startswith("linux") and not (os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")):
        raise RequestError(Finding("no-display", f"there is no display to open a window on; {instead}"))
    said = _ask(_WINDOW, os.environ)
    if said is not None:
        text = f"no window can be opened; on Debian or Ubuntu install\n    apt-get install {DEBIAN_WINDOW}{said}"
        raise RequestError(Finding("no-window", text))



def missing_modules() -> list[str]:
    """Packages of the extra `viewer` that are not installed."""
    from importlib.util import find_spec

    return [n for n in ("PySide6", "pyvistaqt") if find_spec(n) is None]


def _ask(program: str, environment: Mapping[str, str]) -> str | None:
    """Run a small program; None when it works, else what it said last."""
    try:
        done = subprocess.run(
            [sys.executable, "-c", program],
            env=dict(environment),
            capture_output=True,
            text=True,
            timeout=WAIT_S,
            check=False,
        )
    except subprocess.TimeoutExpired:
        return f"\n(the trial did not end within {WAIT_S} s)"
    if done.returncode == 0:
        return None
    last = [line.strip() for line in done.stderr.splitlines() if line.strip()][-1:]
    how = f"signal {-done.returncode}" if done.returncode < 0 else f"exit code {done.returncode}"
    return f"\n(the trial ended with {how}{': ' + last[0] if last else ''})"
