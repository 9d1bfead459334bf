"""Drive the viewer's window as a person would: move a slider, drag a point, type a coordinate, undo, save, compare,
open another car beside, swap, measure, drop a file, change the size, close.

Run it on a display: ``python tests/viewer/drive_window.py FOLDER``. Mouse and keys are xdotool's; the window runs in
this process, so that what it shows can be read. It prints a line a step and ends with "all done", or with what went
wrong.
"""

from __future__ import annotations

import csv
import os
import queue
import subprocess
import sys
import threading
import time
import traceback
from pathlib import Path

import numpy as np
from PySide6.QtCore import QMimeData, QObject, QPoint, QPointF, Qt, QTimer, QUrl, Signal
from PySide6.QtGui import QDragEnterEvent, QDropEvent
from PySide6.QtWidgets import QApplication, QDockWidget, QFileDialog, QLineEdit, QMessageBox, QStyle, QStyleOptionSlider

import kin3d
from kin3d_viewer.model import Drives
from kin3d_viewer.overlay import project
from kin3d_viewer.pointer import Picked
from kin3d_viewer.scene import visible
from kin3d_viewer.session import Session
from kin3d_viewer.window import Window, application

DOCKS = ("Drives", "Tables", "Curves")
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

    def answer_file(self, file: Path) -> None:
        """Type a file's name into the dialog that is open."""
        dialog = self.wait(lambda: next((w for w in QApplication.topLevelWidgets() if _is_open(w)), None))
        self.do("windowfocus", self.see(lambda: int(dialog.winId())))
        field = self.see(lambda: dialog.findChild(QLineEdit))
        self.see(field.selectAll)
        self.do("type", "--delay", 25, str(file))
        self.do("key", "Return")
        self.wait(lambda: all(w is not dialog for w in QApplication.topLevelWidgets() if _is_open(w)))
        if self.see(self.window.isVisible):
            self.do("windowfocus", self.see(lambda: int(self.window.winId())))

    def press(self, button: QMessageBox.StandardButton, about: str) -> None:
        """Answer a question."""
        box = self.wait(QApplication.activeModalWidget)
        assert about in self.see(box.text), self.see(box.text)
        found = self.see(lambda: box.button(button))
        self.click(self.on_screen(found, self.see(lambda: found.rect().center())))
        self.wait(lambda: QApplication.activeModalWidget() is not box)

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
    person.do("windowfocus", person.see(lambda: int(person.window.winId())))
    points = (sliders, dragging, typing, several_at_once, targets, measuring)
    parts = (*points, saving, beside, curves, dropped, sizes, closing)
    for part in parts:
        part(person, folder)


def sliders(person: Person, _folder: Path) -> None:
    window, editor = person.window, person.window.session.editor
    x, y = person.handle(window.desk.drives.sliders["travel_mm"])
    person.drag((x, y), (x + 45, y))
    person.wait(lambda: editor.drives.travel_mm > 5.0)
    print(f"slider moved to {editor.drives.travel_mm:.2f} mm")
    person.do("key", "Home")
    person.wait(lambda: editor.drives == Drives())


def dragging(person: Person, _folder: Path) -> None:
    window, editor = person.window, person.window.session.editor
    person.do("key", "1")
    person.wait(lambda: window.view_name == "front" and window.mouse.eye().aligned)
    camber = person.see(lambda: window.session.view.curves.values["camber_deg"].copy())
    start = person.joint("left/upper_outer")
    before = person.see(lambda: editor.place(0, "upper_outer").copy())
    centre = person.see(lambda: window.stage.scene["left/front centre"].centre.copy())
    person.do("mousemove", *start)
    person.do("mousedown", 1)
    person.do("mousemove", start[0] - 6, start[1] - 4)
    person.do("mousemove", start[0] - 12, start[1] - 8)
    person.wait(lambda: editor.changed)
    held = person.see(lambda: {p.role: p for p in visible(window.stage.scene, window.stage.layers)})
    assert {"front line", "front arms", "front centre", "roll centre"} <= set(held)
    assert person.see(lambda: np.abs(window.stage.scene["left/front centre"].centre - centre).max()) > 20.0
    print("the construction follows while the button is down")
    person.do("mouseup", 1)
    person.wait(lambda: editor.changed and editor.can_undo)
    moved = person.see(lambda: editor.place(0, "upper_outer") - before)
    scale = person.see(lambda: window.mouse.eye().px_per_mm)
    np.testing.assert_allclose(moved, np.array([0.0, -12.0, 8.0]) / scale, rtol=0.0, atol=1e-6)
    assert person.see(lambda: np.abs(window.session.view.curves.values["camber_deg"] - camber).max()) > 0.05
    print(f"point dragged by {np.round(moved, 2)} mm; {person.see(lambda: window.said)}")


def typing(person: Person, _folder: Path) -> None:
    window, editor = person.window, person.window.session.editor
    dragged = person.see(lambda: editor.design.copy())
    person.see(lambda: window.desk.tabs.setCurrentWidget(window.desk.points))
    row = person.see(lambda: window.desk.points.names.index("lower_rear"))
    cell = person.see(lambda: window.desk.points.visualItemRect(window.desk.points.item(row, 3)).center())
    person.do("mousemove", *person.on_screen(window.desk.points.viewport(), cell))
    person.do("click", "--repeat", 2, "--delay", 60, 1)
    person.do("key", "ctrl+a")
    person.do("type", "--delay", 40, "133.75")
    person.do("key", "Return")
    person.wait(lambda: editor.place(0, "lower_rear")[2] == 133.75)
    print("coordinate typed: lower_rear z = 133.75")
    person.do("key", "ctrl+z")
    person.wait(lambda: np.array_equal(editor.design, dragged))
    print("taken back")


def several_at_once(person: Person, _folder: Path) -> None:
    """One point, then the other pivot of its arm with it; the arrow key moves both."""
    window, editor = person.window, person.window.session.editor
    person.click(person.joint("left/upper_front"))
    person.wait(lambda: window.hand.held == (Picked(0, "upper_front"),))
    print(f"picked: {person.see(lambda: window.said)}")
    label = person.see(lambda: window.stage.scene["picked/left/upper_front"].text)
    assert label.startswith("upper_front  (115.0, 278.5, 303.5)"), label
    person.do("key", "g")
    person.wait(lambda: {p.point for p in window.hand.held} == {"upper_front", "upper_rear"})
    places = person.see(lambda: {p: editor.place(0, p).copy() for p in ("upper_front", "upper_rear")})
    person.do("key", "Up")
    for point, place in places.items():
        person.wait(lambda p=point, z=place[2]: abs(editor.place(0, p)[2] - z - 1.0) < 1e-9)
    print("an arm's pivots nudged up by 1 mm, together")
    person.do("key", "ctrl+z")
    person.wait(lambda: np.array_equal(editor.place(0, "upper_rear"), places["upper_rear"]))


def targets(person: Person, folder: Path) -> None:
    """A targets file: bands in the curves, T moves the points there, and back."""
    window, editor = person.window, person.window.session.editor
    before = person.see(editor.design.copy)
    person.do("key", "ctrl+t")
    person.answer_file(MODELS / "dunlin" / "targets.toml")
    person.wait(lambda: window.session.targets is not None)
    assert person.see(window.desk.measures) == ["camber_deg", "toe_deg", "roll_centre_height_mm"]
    person.do("key", "t")
    person.wait(lambda: "all 3 wants met" in window.said, limit_s=60.0)
    assert not np.array_equal(person.see(lambda: editor.design), before)
    person.see(lambda: window.grab().save(str(folder / "wanted.png")))
    person.do("key", "ctrl+z")
    person.wait(lambda: np.array_equal(editor.design, before))
    print("targets: points moved there, and back")


def measuring(person: Person, _folder: Path) -> None:
    window = person.window
    person.do("key", "Escape")
    person.click(person.joint("left/lower_outer"))
    person.wait(lambda: window.mouse.held is not None)
    person.do("key", "m")
    person.wait(lambda: window.mouse.measuring)
    person.click(person.joint("left/contact"))
    person.wait(lambda: window.session.ruler is not None)
    now = person.see(lambda: window.session.view.now)
    way = np.linalg.norm(now.at(0, "lower_outer") - now.vector(0, "contact_"))
    said = person.see(lambda: window.said)
    assert said.startswith(f"left/lower_outer to left/contact: {way:.2f} mm"), said
    print("measured to the contact point")
    person.do("key", "Escape")
    person.wait(lambda: window.session.ruler is None)


def saving(person: Person, folder: Path) -> None:
    window, editor = person.window, person.window.session.editor
    new = folder / "driven.toml"
    assert person.see(lambda: window.isWindowModified())
    person.do("key", "ctrl+s")
    person.answer_file(new)
    person.wait(lambda: window.said.startswith("saved"))
    print(person.see(lambda: window.said.replace(str(folder), "FOLDER")))
    assert not person.see(lambda: window.isWindowModified())
    data = kin3d.sweep(kin3d.load(new), "front", travel=editor.model.ranges["travel_mm"]).dataset()
    for name in ("camber_deg", "toe_deg", "roll_centre_height_mm", "motion_ratio"):
        shown = person.see(lambda n=name: window.session.view.curves.values[n])
        fresh = data[name].transpose("rack_mm", "side", "travel_mm").values[0]
        np.testing.assert_allclose(shown, fresh, rtol=1e-9, atol=1e-7)
    print("the saved car sweeps to what the window showed")


def beside(person: Person, _folder: Path) -> None:
    """Another car beside, its figures in the table and its centres in the picture; then the two change places."""
    window = person.window
    person.do("key", "ctrl+b")
    person.answer_file(MODELS / "plover" / "car.toml")
    person.wait(lambda: window.session.other is not None)
    person.see(lambda: window.desk.tabs.setCurrentIndex(0))
    plover = kin3d.sweep(kin3d.load(MODELS / "plover" / "car.toml"), "front", travel=[0.0]).dataset()
    height = float(plover["roll_centre_height_mm"].sel(side="left").values.ravel()[0])
    table = person.see(lambda: window.desk.figures)
    row = person.see(lambda: table._rows["roll_centre_height_mm"])
    assert person.wait(lambda: table.item(row, 4).text()) == f"{height:.2f}"
    ball = person.see(lambda: window.stage.scene["B/roll centre"])
    assert ball.role == "B roll centre"
    print(f"another car beside: roll centre {height:.2f} mm in the table")
    person.do("key", "ctrl+w")
    person.wait(lambda: window.session.swapped)
    assert person.see(lambda: window.session.editor.model.car.title).startswith("Plover")
    assert person.see(lambda: window.stage.scene["roll centre"].role) == "B roll centre"
    person.do("key", "ctrl+w")
    person.wait(lambda: not window.session.swapped and window.session.editor.changed)
    print("swapped, and back with the changes")


def curves(person: Person, folder: Path) -> None:
    window = person.window
    person.do("key", "ctrl+e")
    person.answer_file(folder / "curves.csv")
    person.wait(lambda: window.said.startswith("curves saved"))
    rows = list(csv.DictReader((folder / "curves.csv").read_text("utf-8").splitlines()))
    titles = dict.fromkeys(r["car"] for r in rows)
    assert [t.split(",")[-1].strip() for t in titles] == ["changed", "last season", "this season"]
    shown = person.see(lambda: window.session.view.curves.values["camber_deg"][0])
    written = [float(r["camber_deg"]) for r in rows if r["car"].endswith("changed") and r["side"] == "left"]
    np.testing.assert_allclose(written, shown, rtol=1e-11, atol=0.0)
    print(f"curves saved: {len(rows)} rows")


def dropped(person: Person, _folder: Path) -> None:
    """A file of another car falls on the window: once changes are given up it is open, and among the recent ones."""
    window, editor = person.window, person.window.session.editor
    file = MODELS / "siskin" / "car.toml"

    def drop() -> None:
        data = QMimeData()
        data.setUrls([QUrl.fromLocalFile(str(file))])
        at, action = QPoint(400, 300), Qt.DropAction.CopyAction
        kinds = (Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier)
        enter = QDragEnterEvent(at, action, data, *kinds)
        QApplication.sendEvent(window, enter)
        assert enter.isAccepted()
        QApplication.sendEvent(window, QDropEvent(QPointF(at), action, data, *kinds))

    person.see(lambda: window.done(editor.set_point(0, "tie_outer", editor.place(0, "tie_outer") + 1.0)))
    QTimer.singleShot(0, window, drop)
    person.press(QMessageBox.StandardButton.Discard, "Dunlin, last season")
    person.wait(lambda: window.session.editor.model.car.title.startswith("Siskin"))
    recent = person.see(lambda: [p.parent.name for p in window.documents.recent()])
    assert recent[:2] == ["siskin", "plover"]
    print(f"dropped: {person.see(lambda: window.windowTitle())}")


def sizes(person: Person, _folder: Path) -> None:
    """On a small screen all of the axle is still in the picture, and the curves stand behind the tables."""
    window = person.window
    person.do("key", "4")
    for size in ((1024, 560), (1500, 900)):
        person.see(lambda s=size: window.resize(*s))
        person.wait(lambda s=size: (window.width(), window.height()) == s)
        time.sleep(0.6)
        seen = person.see(lambda: project(window.plotter, window.stage.scene.level.back(window.stage.places())))
        frame = person.see(lambda: window.plotter.window_size)
        assert (seen >= 0.0).all()
        assert (seen <= frame).all()
        assert np.ptp(seen, axis=0)[0] > 0.5 * frame[0] or np.ptp(seen, axis=0)[1] > 0.5 * frame[1]
        areas = {person.see(lambda n=n: window.dockWidgetArea(window.findChild(QDockWidget, n))) for n in DOCKS}
        assert len(areas) == (1 if size[0] < 1200 else 2)
    print("refitted at two sizes")


def closing(person: Person, folder: Path) -> None:
    """Both cars have changes: Cancel keeps the window; Save asks for a file of each, then the window goes."""
    window = person.window
    for _ in range(2):
        editor = person.see(lambda: window.session.editor)
        point = editor.model.points()[0]
        person.see(lambda e=editor, p=point: window.done(e.set_point(0, p, e.place(0, p) + 1.0)))
        person.see(window.documents.swap)
    QTimer.singleShot(0, window, window.close)
    person.press(QMessageBox.StandardButton.Cancel, "Siskin and of Plover")
    assert person.see(window.isVisible)
    QTimer.singleShot(0, window, window.close)
    person.press(QMessageBox.StandardButton.Save, "Siskin and of Plover")
    for name in ("siskin", "plover"):
        person.answer_file(folder / f"{name}.toml")
    person.wait(lambda: not window.isVisible())
    assert [kin3d.load(folder / f"{n}.toml").title.split(",")[0] for n in ("siskin", "plover")] == ["Siskin", "Plover"]
    print("asked before changes are lost")


def _is_open(widget) -> bool:
    return isinstance(widget, QFileDialog) and widget.isVisible()


def main(folder: Path) -> int:
    """Open the window, let the person act, give the exit code."""
    app = application()
    app.setQuitOnLastWindowClosed(False)
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
            print(wrong[0], flush=True)
            os._exit(1)  # a question may be open, which would not let the window go
        person.see(app.quit)

    threading.Thread(target=act, daemon=True).start()
    app.exec()
    print("all done")
    return 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
