"""Drive the viewer's window as a person would: move a slider, drag a point, type a coordinate, undo, save, compare.

Run it on a display: ``python tests/viewer/drive_window.py FOLDER``. Mouse and keys are xdotool's; the window runs in
this process, so that what it shows can be read. It prints a line a step and ends with "all done", or with what went
wrong.
"""

from __future__ import annotations

import queue
import subprocess
import sys
import threading
import time
import traceback
from pathlib import Path

import numpy as np
from PySide6.QtCore import QObject, QPoint, Signal
from PySide6.QtWidgets import QApplication, QFileDialog, QLineEdit, QStyle, QStyleOptionSlider

import kin3d
from kin3d_viewer.model import Drives
from kin3d_viewer.overlay import project
from kin3d_viewer.session import Session
from kin3d_viewer.window import Window, application

MODELS = Path(__file__).parents[2] / "models"
PAUSE_S = 0.35  # between moving, pressing and releasing, as a hand needs it


class Person(QObject):
    """Hands and eyes: xdotool from a thread of their own, questions answered on the window's thread."""

    asked = Signal(object)

    def __init__(self, window: Window) -> None:
        super().__init__()
        self.window = window
        self.asked.connect(lambda call: call())

    def see(self, question):
        """Ask the window's thread; gives the answer or raises what it raised."""
        answers: queue.Queue = queue.Queue()

        def answer() -> None:
            try:
                answers.put((question(), None))
            except Exception as error:  # noqa: BLE001 - handed to the asking thread
                answers.put((None, error))

        self.asked.emit(answer)
        found, error = answers.get(timeout=30)
        if error is not None:
            raise error
        return found

    def wait(self, question, limit_s: float = 20.0):
        """Wait until something is seen."""
        end = time.monotonic() + limit_s
        while not (found := self.see(question)):
            if time.monotonic() > end:
                raise AssertionError(f"waited in vain; the window says: {self.see(lambda: self.window.said)}")
            time.sleep(0.1)
        return found

    @staticmethod
    def do(*words: object) -> None:
        """One xdotool command, then a pause."""
        subprocess.run(["xdotool", *map(str, words)], check=True)
        time.sleep(PAUSE_S)

    def click(self, at: tuple[int, int]) -> None:
        self.do("mousemove", *at)
        self.do("click", 1)

    def drag(self, start: tuple[int, int], end: tuple[int, int], steps: int = 6) -> None:
        self.do("mousemove", *start)
        self.do("mousedown", 1)
        for k in range(1, steps + 1):
            self.do("mousemove", *(round(a + (b - a) * k / steps) for a, b in zip(start, end, strict=True)))
        self.do("mouseup", 1)

    def on_screen(self, widget, point: QPoint) -> tuple[int, int]:
        found = self.see(lambda: widget.mapToGlobal(point))
        return found.x(), found.y()

    def handle(self, slider) -> tuple[int, int]:
        """Where a slider's handle is."""

        def place():
            option = QStyleOptionSlider()
            slider.initStyleOption(option)
            style = slider.style()
            return style.subControlRect(
                QStyle.ComplexControl.CC_Slider, option, QStyle.SubControl.SC_SliderHandle, slider
            ).center()

        return self.on_screen(slider, self.see(place))

    def joint(self, name: str) -> tuple[int, int]:
        """Where a point is on the screen."""
        window = self.window

        def place() -> QPoint:
            x, y = project(window.plotter, window.stage.scene[name].centre[None])[0]
            return QPoint(round(x), round(window.plotter.window_size[1] - y))

        return self.on_screen(window.plotter.interactor, self.see(place))


def story(person: Person, folder: Path) -> None:
    """What the person does."""
    window = person.window
    editor = window.session.editor
    person.do("windowfocus", person.see(lambda: int(window.winId())))
    x, y = person.handle(window.drives.sliders["travel_mm"])
    person.drag((x, y), (x + 45, y))
    person.wait(lambda: editor.drives.travel_mm > 5.0)
    print(f"slider moved to {editor.drives.travel_mm:.2f} mm")
    person.do("key", "Home")
    person.wait(lambda: editor.drives == Drives())

    person.do("key", "1")
    person.wait(lambda: window.view_name == "front" and window.mouse.eye().aligned)
    camber = person.see(lambda: window.session.view.curves.values["camber_deg"].copy())
    start = person.joint("left/upper_outer")
    before = person.see(lambda: editor.place(0, "upper_outer").copy())
    person.drag(start, (start[0] - 12, start[1] - 8))
    person.wait(lambda: editor.changed and editor.can_undo)
    moved = person.see(lambda: editor.place(0, "upper_outer") - before)
    scale = person.see(lambda: window.mouse.eye().px_per_mm)
    np.testing.assert_allclose(moved, np.array([0.0, -12.0, 8.0]) / scale, rtol=0.0, atol=1e-6)
    assert person.see(lambda: np.abs(window.session.view.curves.values["camber_deg"] - camber).max()) > 0.05
    print(f"point dragged by {np.round(moved, 2)} mm; {person.see(lambda: window.said)}")
    dragged = person.see(lambda: editor.design.copy())

    person.see(lambda: window.tabs.setCurrentWidget(window.points))
    row = person.see(lambda: window.points.names.index("lower_rear"))
    cell = person.see(lambda: window.points.visualItemRect(window.points.item(row, 3)).center())
    person.do("mousemove", *person.on_screen(window.points.viewport(), cell))
    person.do("click", "--repeat", 2, "--delay", 60, 1)
    person.do("key", "ctrl+a")
    person.do("type", "--delay", 40, "133.75")
    person.do("key", "Return")
    person.wait(lambda: editor.place(0, "lower_rear")[2] == 133.75)
    print("coordinate typed: lower_rear z = 133.75")

    person.do("key", "ctrl+z")
    person.wait(lambda: np.array_equal(editor.design, dragged))
    print("taken back")

    person.click(person.joint("left/upper_front"))
    person.wait(lambda: window.mouse.held is not None and window.mouse.held.point == "upper_front")
    print(f"picked: {person.see(lambda: window.said)}")
    nudged = person.see(lambda: editor.place(0, "upper_front").copy())
    person.do("key", "Up")
    person.wait(lambda: abs(editor.place(0, "upper_front")[2] - nudged[2] - 1.0) < 1e-9)
    print("nudged up by 1 mm")

    new = folder / "driven.toml"
    person.do("key", "ctrl+s")
    dialog = person.wait(lambda: next((w for w in QApplication.topLevelWidgets() if _is_open(w)), None))
    person.do("windowfocus", person.see(lambda: int(dialog.winId())))
    field = person.see(lambda: dialog.findChild(QLineEdit))
    person.see(field.selectAll)
    person.do("type", "--delay", 25, str(new))
    person.do("key", "Return")
    person.wait(lambda: window.said.startswith("saved"))
    print(person.see(lambda: window.said.replace(str(folder), "FOLDER")))

    data = kin3d.sweep(kin3d.load(new), "front", travel=editor.model.ranges["travel_mm"]).dataset()
    for name in ("camber_deg", "toe_deg", "roll_centre_height_mm", "motion_ratio"):
        shown = person.see(lambda n=name: window.session.view.curves.values[n])
        fresh = data[name].transpose("rack_mm", "side", "travel_mm").values[0]
        np.testing.assert_allclose(shown, fresh, rtol=1e-9, atol=1e-7)
    print("the saved car sweeps to what the window showed")


def _is_open(widget) -> bool:
    return isinstance(widget, QFileDialog) and widget.isVisible()


def main(folder: Path) -> int:
    """Open the window, let the person act, give the exit code."""
    app = application()
    window = Window(Session.of(kin3d.load(MODELS / "dunlin" / "car.toml"), "front", Drives()))
    window.move(0, 0)
    window.show()
    window.look("perspective")
    person, wrong = Person(window), []

    def act() -> None:
        time.sleep(1.0)
        try:
            story(person, folder)
        except BaseException:  # noqa: BLE001 - told below, after the window is closed
            wrong.append(traceback.format_exc())
            person.see(lambda: window.grab().save(str(folder / "failed.png")))
        person.see(app.closeAllWindows)
        person.see(app.quit)

    threading.Thread(target=act, daemon=True).start()
    app.exec()
    print(wrong[0] if wrong else "all done")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
