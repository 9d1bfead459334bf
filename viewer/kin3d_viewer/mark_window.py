"""The window of `kin3d mark`: photographs side by side, one list of names, and what the marks say as they are set."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from PySide6.QtCore import Qt, QThreadPool, QTimer
from PySide6.QtGui import QAction, QKeyEvent, QKeySequence
from PySide6.QtWidgets import (
    QApplication,
    QDockWidget,
    QHBoxLayout,
    QLabel,
    QMainWindow,
    QMessageBox,
    QSplitter,
    QVBoxLayout,
    QWidget,
)

from kin3d.errors import Kin3dError
from kin3d.photographs.parameters import parameters_of
from kin3d.reading.photo_records import CarPhotos
from kin3d.reading.photographs import read_photographs
from kin3d_viewer.fitting import fit_screen
from kin3d_viewer.mark_canvas import Glass
from kin3d_viewer.mark_panes import NameTree, Pane
from kin3d_viewer.mark_work import Work
from kin3d_viewer.marking import Solution
from kin3d_viewer.marks import ListedMark, Marks, nearest

SIZE = (1340, 740)
LIST_WIDTH = 360
STEP_PX = {Qt.KeyboardModifier.ControlModifier: 0.1, Qt.KeyboardModifier.ShiftModifier: 10.0}
ARROWS = {Qt.Key.Key_Left: (-1, 0), Qt.Key.Key_Right: (1, 0), Qt.Key.Key_Up: (0, -1), Qt.Key.Key_Down: (0, 1)}
HELP = (
    "Click: mark what is chosen in the list; the next name follows.\n"
    "Shift and click: choose the mark that is nearest.\n"
    "Wheel: zoom at the mouse. Middle or right button: pull the picture. F: the whole picture.\n"
    "Arrow keys: move the chosen mark by 1 px, with Ctrl by 0.1 px, with Shift by 10 px.\n"
    "N: next name to do. H: hidden in this photograph. D: doubtful. Delete: take the mark away.\n"
    "O: with or without the other car.\n"
    "Ctrl+Z, Ctrl+Shift+Z: back and forth over all that was done. Everything is saved as you go.\n\n"
    "leg: a place on the tube of an arm or link, named by its inboard end; two or three on each.\n"
    "rim: places on the edge of the rim, five or more. contact: where the tyre meets the ground.\n\n"
    "Dashed ellipses: where a name that is not marked here is expected, 95 %, from the other photographs.\n"
    "Red lines: how far marks miss, five times as long."
)


class MarkWindow(QMainWindow):
    """The whole window.

    Parameters
    ----------
    photographs : CarPhotos
        With the car that it names in ``[same_as]``, which stands beside it with the same list.
    """

    def __init__(self, photographs: CarPhotos) -> None:
        super().__init__()
        self.setWindowTitle(f"{photographs.title}: marks in photographs")
        parameters = parameters_of(photographs)
        self.solution: Solution | None = None
        self.said = ""
        self._number, self._busy, self._again = 0, False, False
        self.panes: list[Pane] = []
        splitter = QSplitter()
        for number, (file, upright) in enumerate(zip(parameters.cars, parameters.uprights, strict=True)):
            legs = tuple(upright.points[i] for i, _ in upright.tubes)
            pane = Pane(number, Marks(file, upright.points, legs))
            pane.canvas.clicked.connect(lambda u, v, p=pane: self._clicked(p, u, v))
            pane.canvas.hovered.connect(lambda u, v, p=pane: self.glass.look(p.canvas, u, v))
            pane.choice.currentIndexChanged.connect(lambda _k, p=pane: self._enter(p))
            self.panes.append(pane)
            splitter.insertWidget(0, pane)  # the car asked for stands at the left
        self.setCentralWidget(splitter)
        self.pane = self.panes[-1]
        self.chosen: dict[int, int | None] = {}
        self._panel()
        self._actions()
        fit_screen(self, SIZE)
        QTimer.singleShot(0, self._begin)

    def _begin(self) -> None:
        for pane in self.panes:
            pane.show_photo()
        first = next((i for i in self.pane.marks.items() if self._state(i) == "to do"), next(self.pane.marks.items()))
        self._choose(first)
        self._adjust()

    def _panel(self) -> None:
        self.glass, self.words = Glass(), QLabel()
        self.list = NameTree(tuple(self.pane.marks.items()))
        self.words.setWordWrap(True)
        self.list.currentItemChanged.connect(self._list_chosen)
        side = QWidget()
        layout = QVBoxLayout(side)
        layout.addWidget(self.list, 1)
        below = QHBoxLayout()
        below.addWidget(self.glass)
        below.addWidget(self.words, 1)
        layout.addLayout(below)
        dock = QDockWidget("Names", self)
        dock.setFeatures(QDockWidget.DockWidgetFeature.NoDockWidgetFeatures)
        dock.setWidget(side)
        dock.setMinimumWidth(LIST_WIDTH)
        self.addDockWidget(Qt.DockWidgetArea.RightDockWidgetArea, dock)
        self.resizeDocks([dock], [LIST_WIDTH], Qt.Orientation.Horizontal)  # the room is the photographs'

    def _actions(self) -> None:
        menus = {name: self.menuBar().addMenu(name) for name in ("Marks", "View", "Help")}
        actions: tuple[tuple[str, str, str, Callable[[], Any]], ...] = (
            ("Marks", "Next name to do", "N", self.next_item),
            ("Marks", "Hidden in this photograph", "H", self.hide_item),
            ("Marks", "Doubtful", "D", self.doubt_item),
            ("Marks", "Take the mark away", "Del", self.remove),
            ("Marks", "Back", "Ctrl+Z", self.undo),
            ("Marks", "Forth", "Ctrl+Shift+Z", self.redo),
            ("View", "Whole picture", "F", lambda: self.pane.canvas.whole()),
            ("View", "The other car", "O", self.other_car),
            ("View", "Look for a solution anew", "R", self.anew),
            ("Help", "Keys and mouse", "F1", lambda: QMessageBox.information(self, "Keys and mouse", HELP)),
        )
        for menu, words, keys, call in actions:
            action = QAction(words, self)
            action.setShortcut(QKeySequence(keys))
            action.triggered.connect(lambda _checked=False, c=call: c())
            menus[menu].addAction(action)

    # --- what is chosen ---------------------------------------------------------------------------------------

    @property
    def item(self) -> ListedMark:
        """What a click marks."""
        return self.list.chosen

    def _state(self, item: ListedMark) -> str:
        return self.pane.marks.state(self.pane.photo, item)

    def _choose(self, item: ListedMark) -> None:
        self.list.setCurrentItem(self.list.rows[item])

    def _list_chosen(self) -> None:
        there = self.pane.marks.of(self.pane.photo, self.item)
        self._mark(there[-1] if there else None)
        self._tell()

    def _mark(self, number: int | None) -> None:
        self.pane.canvas.current = number
        self.chosen[self.pane.car] = number
        self.pane.canvas.viewport().update()

    def _enter(self, pane: Pane) -> None:
        """The pane that keys and list speak of from now on."""
        self.pane = pane
        self._refresh()

    def _clicked(self, pane: Pane, u: float, v: float) -> None:
        if pane is not self.pane:
            self._enter(pane)
        if QApplication.keyboardModifiers() & Qt.KeyboardModifier.ShiftModifier:
            number = nearest(pane.marks, pane.photo, u, v, 20.0 / max(pane.canvas.transform().m11(), 1e-6))
            if number is not None:
                mark = pane.marks.marks[number]
                self._choose(ListedMark(mark.kind, mark.name, mark.side))
                self._mark(number)
            return
        item = self.item
        number = self._do(lambda: pane.marks.add(pane.photo, item, u, v))
        if number is None:
            return
        following = pane.marks.following(pane.photo, item)
        if following != item:
            self._choose(following)
        self._mark(number)

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802 - Qt's name
        """Arrow keys move the chosen mark."""
        way = ARROWS.get(Qt.Key(event.key()))
        number = self.pane.canvas.current
        if way is None or number is None:
            super().keyPressEvent(event)
            return
        held = event.modifiers() & (Qt.KeyboardModifier.ControlModifier | Qt.KeyboardModifier.ShiftModifier)
        step = STEP_PX.get(held, 1.0)
        mark = self.pane.marks.marks[number]
        self._do(lambda: self.pane.marks.move(number, mark.u + step * way[0], mark.v + step * way[1]))
        self.glass.look(self.pane.canvas, mark.u + step * way[0], mark.v + step * way[1])

    # --- what may be done -------------------------------------------------------------------------------------

    def next_item(self) -> None:
        """Go to the next name that is to do."""
        every = list(self.list.rows)
        at = every.index(self.item)
        for item in (*every[at + 1 :], *every[: at + 1]):
            if self._state(item) == "to do":
                self._choose(item)
                return

    def hide_item(self) -> None:
        """The chosen name cannot be seen in this photograph."""
        item = self.item
        self._do(lambda: self.pane.marks.hide(self.pane.photo, item))
        self._mark(None)
        if self._state(item) == "hidden":
            self.next_item()

    def doubt_item(self) -> None:
        """The marks of the chosen name are doubtful."""
        self._do(lambda: self.pane.marks.doubt(self.pane.photo, self.item))

    def remove(self) -> None:
        """Take the chosen mark away."""
        number = self.pane.canvas.current
        if number is not None:
            self._do(lambda: self.pane.marks.remove(number))
            self._mark(None)

    def undo(self) -> None:
        """Take the last change back."""
        if self._do(self.pane.marks.undo):
            self._mark(None)

    def redo(self) -> None:
        """Make it again."""
        if self._do(self.pane.marks.redo):
            self._mark(None)

    def other_car(self) -> None:
        """Show or hide the car that stands beside."""
        for pane in self.panes[:-1]:
            pane.setVisible(not pane.isVisible())
        self._enter(self.panes[-1])
        QTimer.singleShot(0, self.panes[-1].canvas.whole)

    def anew(self) -> None:
        """Look for a solution without the one before."""
        self.solution = None
        self._adjust()

    def _do(self, change: Callable[[], Any]) -> Any:
        """Make a change; one that cannot be saved is said, and the marks stay in the window."""
        try:
            found = change()
        except Kin3dError as error:
            QMessageBox.warning(self, "Not saved", str(error))
            found = None
        self._refresh()
        self._adjust()
        return found

    # --- what the marks say -----------------------------------------------------------------------------------

    def _adjust(self) -> None:
        if self._busy:
            self._again = True
            return
        self._busy, self._again = True, False
        self._number += 1
        photographs = self.panes[0].marks.photographs
        for pane in self.panes[1:]:
            own = pane.marks.photographs
            photographs = _joined(own, photographs)
        work = Work(photographs, self.solution, self._number)
        work.told.done.connect(self._solved)
        self._work = work  # kept until it has told
        QThreadPool.globalInstance().start(work)

    def _solved(self, found: Solution | str, _number: int) -> None:
        self._busy = False
        if isinstance(found, str):
            self.said = found
        else:
            self.solution = found
            self.said = f"solved from {len(found.fit.model.marks)} marks, mean square of the misses {found.chi:.2f}"
        for pane in self.panes:
            pane.canvas.overlay = None if self.solution is None else self.solution.overlays.get((pane.car, pane.photo))
        self._refresh()
        if self._again:
            self._adjust()

    def _refresh(self) -> None:
        for pane in self.panes:
            if self.solution is not None:
                pane.canvas.overlay = self.solution.overlays.get((pane.car, pane.photo))
            pane.refresh()
        self.list.follow(self.pane.marks, self.pane.photo)
        self._tell()

    def _tell(self) -> None:
        self.words.setText(f"{self.pane.marks.file.title}, {self.pane.photo}\nnext click: {self.item}\n\n{self.said}")


def _joined(own: CarPhotos, other: CarPhotos) -> CarPhotos:
    """A car's photographs with the other car's marks as they are now."""
    return replace(own, same_as=other)


def open_window(path: Path) -> int:
    """Open the window for a file of photographs; returns when it is closed.

    Raises
    ------
    ReadingError
        With everything that is wrong with the files.
    """
    photographs = read_photographs(path, unmarked=True)
    app = QApplication.instance() or QApplication([])
    window = MarkWindow(photographs)
    window.show()
    return int(app.exec())
