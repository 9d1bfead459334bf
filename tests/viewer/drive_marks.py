"""Drive the marking window as a person would: click names, fine steps, hide, doubt, back and forth; read what is saved.

``python tests/viewer/drive_marks.py FOLDER``. It prints a line a step and ends with "all done". Mouse and keys are Qt's
own test events, on whatever platform Qt runs on.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np
from PySide6.QtCore import QPoint, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication

from kin3d.reading.photographs import read_photographs
from kin3d_viewer.mark_window import MarkWindow
from kin3d_viewer.marks import ListedMark
from tests import photo_scenes as scenes

LIMIT_S = 240.0


def wait(app, question, words):
    end = time.monotonic() + LIMIT_S
    while not question():
        assert time.monotonic() < end, f"waited in vain for {words}"
        app.processEvents()
        time.sleep(0.02)


def rows(file):
    return [line for line in file.read_text("utf-8").splitlines() if not line.startswith(("#", "photo,"))]


def main(folder):
    made = scenes.scene(("dunlin",), (scenes.FRONT, scenes.QUARTER), 5)
    path = scenes.write_files(made, folder)
    table = folder / "dunlin.marks.csv"
    lines = table.read_text("utf-8").splitlines()
    asked = [r for r in lines if ",point,upper_rear,left," in r]
    assert asked, "the scene shows no such mark"
    photo, u, v = asked[0].split(",")[0], *map(float, asked[0].split(",")[4:6])
    table.write_text("\n".join(r for r in lines if r != asked[0]) + "\n", "utf-8")
    count = len(lines) - 2

    app = QApplication.instance() or QApplication([])
    window = MarkWindow(read_photographs(path, unmarked=True))
    window.resize(1366, 768)
    window.show()
    wait(app, lambda: window.solution is not None, "a solution")
    print("solved:", window.said)
    pane = window.pane
    pane.choice.setCurrentText(photo)
    app.processEvents()
    expected = next(
        p for p in window.solution.overlays[0, photo].points if (p.name, p.side) == ("upper_rear", "left")
    )
    off = np.linalg.solve(expected.ellipse, np.array([u, v]) - expected.place)
    assert np.hypot(*off) < 1.6, f"the mark is {np.hypot(*off):.2f} half axes off where it is expected"
    print("expected within its ellipse")

    item = ListedMark("point", "upper_rear", "left")
    window._choose(item)
    assert pane.marks.state(photo, item) == "to do"
    spot = pane.canvas.at(u, v)
    QTest.mouseClick(pane.canvas.viewport(), Qt.MouseButton.LeftButton, pos=QPoint(round(spot.x()), round(spot.y())))
    assert pane.marks.state(photo, item) == "seen"
    assert len(rows(table)) == count + 1
    assert window.item != item, "the next name follows a click"
    print("clicked:", rows(table)[-1])

    before = pane.marks.marks[pane.canvas.current]
    for key, held in ((Qt.Key.Key_Right, "Control"), (Qt.Key.Key_Down, ""), (Qt.Key.Key_Left, "Shift")):
        QTest.keyClick(window, key, getattr(Qt.KeyboardModifier, f"{held}Modifier" if held else "NoModifier"))
    after = pane.marks.marks[pane.canvas.current]
    np.testing.assert_allclose([after.u - before.u, after.v - before.v], [0.1 - 10.0, 1.0], rtol=0, atol=1e-9)
    print("moved by 0.1, 1 and 10 px")

    window._choose(item)
    QTest.keyClick(window, Qt.Key.Key_D)
    assert pane.marks.state(photo, item) == "doubtful"
    assert rows(table)[-1].endswith(",6,doubtful")
    QTest.keyClick(window, Qt.Key.Key_D)
    window._choose(item)
    QTest.keyClick(window, Qt.Key.Key_H)
    assert pane.marks.state(photo, item) == "hidden"
    assert len(rows(table)) == count
    assert f"# hidden in {photo}: point upper_rear left" in table.read_text("utf-8")
    print("doubtful, hidden: saved as one goes")

    for _ in range(7):
        QTest.keyClick(window, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert pane.marks.state(photo, item) == "to do"
    assert len(rows(table)) == count
    QTest.keyClick(window, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier | Qt.KeyboardModifier.ShiftModifier)
    assert pane.marks.state(photo, item) == "seen"
    print("back and forth")

    wait(app, lambda: not window._busy and not window._again, "the last adjustment")
    assert len(window.solution.fit.model.marks) == count + 1
    again = read_photographs(path)
    assert len(again.marks) == count + 1
    print("live:", window.said)
    window.grab().save(str(folder / "window.png"))
    print("all done")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
