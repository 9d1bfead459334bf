"""The window, driven under Xvfb with xdotool as a person would."""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
from pathlib import Path

import pytest

from kin3d_viewer import probe
from tests.everything import not_here

ROOT = Path(__file__).parents[2]
STEPS = (
    "slider moved to",
    "the construction follows while the button is down",
    "point dragged by",
    "coordinate typed: lower_rear z = 133.75",
    "taken back",
    "picked: left/upper_front: 115.00, 278.50, 303.50 mm in design; joins upper arm and chassis",
    "an arm's pivots nudged up by 1 mm, together",
    "targets: points moved there, and back",
    "measured to the contact point",
    "saved: FOLDER/driven.toml, FOLDER/driven_front.csv",
    "the saved car sweeps to what the window showed",
    "another car beside: roll centre",
    "swapped, and back with the changes",
    "curves saved",
    "dropped: Siskin, front axle, beside Plover",
    "refitted at two sizes",
    "asked before changes are lost",
    "all done",
)


@pytest.fixture
def display(display_tools, tmp_path):
    """A display server of its own, at a free number, on which a window of Qt opens."""
    with server("1600x1000", tmp_path) as number:
        yield number


@contextlib.contextmanager
def server(size, tmp_path):
    """A display of a size; gives its name."""
    ends = os.pipe()
    server = subprocess.Popen(
        ["Xvfb", "-displayfd", str(ends[1]), "-screen", "0", f"{size}x24", "-nolisten", "tcp"],
        pass_fds=[ends[1]],
        stderr=subprocess.DEVNULL,
    )
    os.close(ends[1])
    with os.fdopen(ends[0]) as told:
        number = told.readline().strip()
    try:
        done = run(["-c", probe._WINDOW], f":{number}", tmp_path)
        if done.returncode:
            not_here(f"no window opens: apt-get install {probe.DEBIAN_WINDOW}; {done.stderr.strip()[-200:]}")
        yield f":{number}"
    finally:
        server.terminate()
        server.wait(timeout=20)


def run(words, display, folder, scale="1"):
    environment = {k: v for k, v in os.environ.items() if k not in ("VTK_DEFAULT_OPENGL_WINDOW", "WAYLAND_DISPLAY")}
    environment |= {"DISPLAY": display, "XDG_RUNTIME_DIR": str(folder), "QT_QPA_PLATFORM": "xcb"}
    environment |= {"XDG_CONFIG_HOME": str(folder), "QT_SCALE_FACTOR": scale}  # there the recent files are kept
    folder.chmod(0o700)
    return subprocess.run(
        [sys.executable, *words], env=environment, cwd=ROOT, capture_output=True, text=True, timeout=240, check=False
    )


def test_a_person_drives_the_window(display, tmp_path):
    done = run(["-W", "error", "tests/viewer/drive_window.py", str(tmp_path)], display, tmp_path)
    lines = done.stdout.splitlines()
    assert done.returncode == 0, done.stdout + done.stderr
    assert [any(line.startswith(step) for line in lines) for step in STEPS] == [True] * len(STEPS), done.stdout


OPENED = """
import kin3d
from kin3d_viewer.model import Drives
from kin3d_viewer.session import Session
from kin3d_viewer.window import Window, application
app = application()
cars = [kin3d.load(f"models/{n}/car.toml") for n in ("dunlin", "plover")]
window = Window(Session.of(cars[0], "front", Drives(), cars[1]), "front")
window.show()
for _ in range(20):
    app.processEvents()
free, own = app.primaryScreen().availableGeometry(), window.geometry()
print("inside" if free.contains(own) else f"{own} on {free}")
print("no larger than asked" if window.minimumSizeHint().width() <= free.width() else window.minimumSizeHint())
from kin3d_viewer.overlay import project
import numpy as np
level = window.stage.scene.level
seen = project(window.plotter, level.back(window.stage.places()))
print("all seen" if (seen >= 0).all() and (seen <= window.plotter.window_size).all() else seen)
tall = [0.0, 0.0]
window.stage.overlay._title.GetSize(window.plotter.renderer, tall)
print(round(tall[1] / window.plotter.interactor.devicePixelRatioF()))
import os
os._exit(0)
"""


@pytest.mark.parametrize(("size", "scale"), [("1024x600", "1"), ("1920x1080", "2")])
def test_window_opens_within_the_screen(size, scale, display_tools, tmp_path):
    """All of it, with the whole axle in the picture and letters of one height to the eye."""
    with server(size, tmp_path) as number:
        done = run(["-W", "error", "-c", OPENED], number, tmp_path, scale)
    *said, height = done.stdout.split("\n")[:4] or [""] * 4
    assert said == ["inside", "no larger than asked", "all seen"], done.stdout + done.stderr
    assert 12 <= int(height) <= 22  # letters of 16 px, with their parts above and below


def test_qt_keeps_its_references(display, tmp_path):
    """PySide6 6.12.0 on Python 3.11 drops a reference to None with every call, until the interpreter gives up."""
    program = (
        "import sys; from PySide6.QtWidgets import QApplication, QLabel; app = QApplication([]); label = QLabel()\n"
        "before = sys.getrefcount(None)\n"
        "for _ in range(1000): label.setText('a')\n"
        "print(sys.getrefcount(None) - before > -500)"
    )
    done = run(["-c", program], display, tmp_path)
    assert done.stdout.strip() == "True", done.stdout + done.stderr


def test_without_a_display_the_command_says_what_works(tmp_path):
    environment = {k: v for k, v in os.environ.items() if k not in ("DISPLAY", "WAYLAND_DISPLAY")}
    done = subprocess.run(
        [sys.executable, "-m", "kin3d", "view", "models/dunlin/car.toml"],
        env=environment,
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 2
    assert "--screenshot, --animation and --scene work without a window" in done.stderr
    assert "Traceback" not in done.stderr
