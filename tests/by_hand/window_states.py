"""Pictures of the window: fourteen states at several sizes of screen, to be looked at.

``python -m tests.by_hand.window_states FOLDER [SIZE ...]``, SIZE as ``1366x768`` or ``1920x1080@2`` (double scale).
Each size gets a display server of its own (Xvfb); each state is the whole screen, so that what leaves it is seen to.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np

SIZES = ("1024x600", "1366x768", "1920x1080", "1920x1080@2")
MODELS = Path(__file__).parents[2] / "models"


def states(window: Any) -> Iterator[tuple[str, Callable[[], Any]]]:
    """Name of each state, and how it is come to from the one before."""
    hand, desk, editor = window.hand, lambda: window.desk, lambda: window.session.editor

    def edit() -> None:
        editor().set_point(0, "lower_outer", editor().place(0, "lower_outer") + np.array([0.0, 2.0, 6.0]))
        window.refresh()

    def swap() -> None:
        window.documents.swap()
        window.player.run_over("roll_deg")
        window.player.drive("roll_deg", 2.0)

    def measured() -> None:
        window.player.design_position()
        window.look("side")
        hand.pick(_picked("lower_outer"))
        hand.measure()
        hand.touch("left/upper_outer")

    def dragged(shift: np.ndarray) -> None:
        hand.let_go()
        hand.pick(_picked("lower_front"))
        hand.arm()
        hand.begin()
        hand.drag(shift)  # and the button is still down

    def recent() -> None:
        menu = window.documents.recent_menu
        menu.popup(window.mapToGlobal(window.rect().topLeft()))

    def dropped() -> None:
        from PySide6.QtCore import QMimeData, QPointF, Qt, QUrl
        from PySide6.QtGui import QDropEvent

        window.documents.recent_menu.close()
        editor().note_saved()
        window.session.stand_beside(None)
        what = QMimeData()
        what.setUrls([QUrl.fromLocalFile(str(MODELS / n / "car.toml")) for n in ("siskin", "dunlin")])
        buttons, keys = Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier
        window.dropEvent(QDropEvent(QPointF(300.0, 300.0), Qt.DropAction.CopyAction, what, buttons, keys))
        window.look("front")

    def unsaved() -> None:
        from PySide6.QtCore import QTimer
        from PySide6.QtWidgets import QApplication

        QTimer.singleShot(900, lambda: _shoot("10 unsaved"))
        QTimer.singleShot(1500, lambda: QApplication.activeModalWidget().reject())
        window.documents.may_lose("close the window", window.session.unsaved)

    yield "1 opened", lambda: None
    yield "2 front construction in bump", lambda: (window.look("front"), window.player.drive("travel_mm", 25.0))
    yield "3 side construction", lambda: window.look("side")
    yield "4 edited beside another car", lambda: (window.look("front"), edit())
    yield "5 swapped, in roll", swap
    yield "6 points, an arm picked", lambda: (
        window.look("plan"),
        desk().tabs.setCurrentWidget(desk().points),
        hand.pick(_picked("lower_front")),
        hand.arm(),
    )
    yield "7 measured", measured
    yield "8 layers", lambda: (window.look("perspective"), desk().tabs.setCurrentIndex(2))
    yield "9 keys", window.help
    yield "10 unsaved", unsaved
    yield "11 mid-drag in the front view", lambda: (window.look("front"), dragged(np.array([0.0, 0.0, 9.0])))
    yield "12 mid-drag in the side view", lambda: (window.look("side"), dragged(np.array([25.0, 0.0, 12.0])))
    yield "13 smaller, then recent files", lambda: (window.resize(900, 520), recent())
    yield "14 dropped", dropped


def _picked(point: str) -> Any:
    from kin3d_viewer.pointer import Picked

    return Picked(0, point)


def _shoot(name: str) -> None:
    from PySide6.QtWidgets import QApplication

    folder = Path(os.environ["KIN3D_SHOTS"])
    QApplication.primaryScreen().grabWindow(0).save(str(folder / f"{name.replace(' ', '_').replace(',', '')}.png"))


def _inside() -> None:
    """In a process of its own, on its display."""
    from PySide6.QtWidgets import QDialog

    import kin3d
    from kin3d_viewer.model import Drives
    from kin3d_viewer.session import Session
    from kin3d_viewer.window import Window, application

    app = application()
    cars = [kin3d.load(MODELS / n / "car.toml") for n in ("dunlin", "plover")]
    window = Window(Session.of(cars[0], "front", Drives(), cars[1]))
    window.show()

    def settle() -> None:
        for _ in range(50):  # rounds and not seconds: on a busy machine one round may take half a second
            app.processEvents()
            time.sleep(0.01)

    settle()
    free = app.primaryScreen().availableGeometry()
    print(f"window {window.geometry()} on {free}: {'inside' if free.contains(window.geometry()) else 'OUTSIDE'}")
    for name, come in states(window):
        come()
        settle()
        if not name.startswith("10"):
            _shoot(name)
        for sheet in window.findChildren(QDialog, "help"):
            sheet.close()
    os._exit(0)


def main(folder: Path, sizes: tuple[str, ...]) -> None:
    """Take all pictures."""
    for size in sizes:
        pixels, _, scale = size.partition("@")
        into = folder / size
        into.mkdir(parents=True, exist_ok=True)
        ends = os.pipe()
        screen = ["-screen", "0", f"{pixels}x24", "-nolisten", "tcp"]
        words = ["Xvfb", "-displayfd", str(ends[1]), *screen]
        server = subprocess.Popen(words, pass_fds=[ends[1]], stderr=subprocess.DEVNULL)
        os.close(ends[1])
        with os.fdopen(ends[0]) as told:
            display = f":{told.readline().strip()}"
        environment = os.environ | {
            "DISPLAY": display, "QT_QPA_PLATFORM": "xcb", "QT_SCALE_FACTOR": scale or "1", "KIN3D_SHOTS": str(into),
            "XDG_CONFIG_HOME": str(into), "XDG_RUNTIME_DIR": str(into),
        }  # fmt: skip
        try:
            itself = [sys.executable, "-m", "tests.by_hand.window_states"]
            subprocess.run(itself, env=environment, check=True, timeout=600)
        finally:
            server.terminate()
            server.wait(timeout=20)
        print(f"{size}: {len(list(into.glob('*.png')))} pictures in {into}")


if __name__ == "__main__":
    if "KIN3D_SHOTS" in os.environ:
        _inside()
    else:
        main(Path(sys.argv[1]), tuple(sys.argv[2:]) or SIZES)
