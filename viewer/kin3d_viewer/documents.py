"""The files of the window: open, recent, dropped on it, another car beside, save; and no change is lost unasked."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import Any

from PySide6.QtCore import QObject, QSettings, Qt
from PySide6.QtGui import QDragEnterEvent, QDropEvent
from PySide6.QtWidgets import QMenu, QMessageBox, QWidget

from kin3d.errors import Kin3dError
from kin3d.linkage.car import Car
from kin3d_viewer.host import Host
from kin3d_viewer.model import Drives
from kin3d_viewer.session import Session
from kin3d_viewer.window_files import ask_car_file, ask_curves, ask_open, ask_picture, still

RECENT = 8
CAR_FILE = ".toml"


class Documents(QObject):
    """Opens and saves for a window."""

    def __init__(self, host: Host, parent: QWidget, menu: QMenu) -> None:
        super().__init__()
        self.window, self.widget = host, parent
        self.settings = QSettings(QSettings.Format.IniFormat, QSettings.Scope.UserScope, "kin3d", "viewer")
        self.recent_menu = menu
        menu.aboutToShow.connect(self._fill_recent)
        self.remember(host.session.editor.model.car.source)

    # opening

    def open(self) -> None:
        """Ask for a car file and open it in place of what is shown."""
        file = ask_open(self.widget, "Open a car", self.window.session.editor.model.car.source.parent)
        if file is not None:
            self.open_file(file)

    def open_beside(self) -> None:
        """Ask for a car file and put it beside the car that is shown."""
        file = ask_open(self.widget, "Open another car beside", self.window.session.editor.model.car.source.parent)
        if file is not None:
            self.open_file(file, beside=True)

    def open_targets(self) -> None:
        """Ask for a targets file and draw what it wants in the curves."""
        file = ask_open(self.widget, "Open targets", self.window.session.editor.model.car.source.parent)
        if file is not None:
            self.want(file)

    def want(self, file: Path) -> bool:
        """Open a targets file; what is wrong with it is told. Returns whether it is open."""
        try:
            self.window.session.want(file)
        except Kin3dError as error:
            QMessageBox.warning(self.widget, "Not opened", f"{file} is not opened:\n\n{error}")
            self.window.say(f"not opened: {file}")
            return False
        self.window.desk.show_wanted()
        self.window.refresh()
        self.window.say(f"targets: {file}; T moves the points there")
        return True

    def open_file(self, file: Path, *, beside: bool = False) -> bool:
        """Open a car file; what is wrong with it is told, and what is shown stays. Returns whether it is open."""
        unsaved = self.window.session.unsaved_beside if beside else self.window.session.unsaved
        if not self.may_lose("open another car", unsaved):
            return False
        try:
            car = _read(file)
            self._show(car, beside=beside)
        except Kin3dError as error:
            QMessageBox.warning(self.widget, "Not opened", f"{file} is not opened:\n\n{error}")
            self.window.say(f"not opened: {file}")
            return False
        self.remember(file)
        self.window.say(f"opened: {file}")
        return True

    def _show(self, car: Car, *, beside: bool) -> None:
        session = self.window.session
        if beside:
            session.stand_beside(car)
            self.window.take(session)
            return
        axles = [a.name for a in car.axles()]
        axle = session.editor.model.axle if session.editor.model.axle in axles else axles[0]
        other = session.other.car if session.other and axle in [a.name for a in session.other.car.axles()] else None
        self.window.take(Session.of(car, axle, Drives(), other))

    def close_beside(self) -> None:
        """Take the other car away."""
        if self.window.session.other is None:
            self.window.say("there is no other car")
        elif self.may_lose("take the other car away", self.window.session.unsaved_beside):
            self.window.session.stand_beside(None)
            self.window.take(self.window.session)

    def swap(self) -> None:
        """The other car in front, this one beside it."""
        step = self.window.session.swap()
        if self.window.session.other is None:
            self.window.say(step.reason)
            return
        self.window.take(self.window.session)
        self.window.say(step.reason or f"in front: {self.window.session.editor.model.car.title}")

    # recent and dropped

    def recent(self) -> list[Path]:
        """Car files that were open, the last one first; those that are gone are left out."""
        found: Any = self.settings.value("recent", [])
        names = [found] if isinstance(found, str) else list(found or [])
        return [p for p in map(Path, names) if p.is_file()]

    def remember(self, file: Path) -> None:
        """Put a file at the head of the recent ones."""
        place = file.resolve()
        names = [place, *(p for p in self.recent() if p != place)][:RECENT]
        self.settings.setValue("recent", [str(p) for p in names])

    def _fill_recent(self) -> None:
        self.recent_menu.clear()
        for file in self.recent():
            words = str(file).replace("&", "&&")
            self.recent_menu.addAction(words, partial(self.open_file, file))

    @staticmethod
    def dropped_files(event: QDragEnterEvent | QDropEvent) -> list[Path]:
        """Car files that hang on the mouse."""
        places = [Path(u.toLocalFile()) for u in event.mimeData().urls() if u.isLocalFile()]
        return [p for p in places if p.suffix.lower() == CAR_FILE]

    def drop(self, event: QDropEvent) -> None:
        """Open the car that was dropped, or with Shift put it beside; of two the second stands beside."""
        first, *others = self.dropped_files(event)
        beside = bool(event.modifiers() & Qt.KeyboardModifier.ShiftModifier)
        if self.open_file(first, beside=beside) and others:
            self.open_file(others[0], beside=True)

    # saving

    def save(self) -> bool:
        """Save as a new car file; whether it was."""
        editor = self.window.session.editor
        said = ask_car_file(self.widget, editor.model)
        if said.startswith("saved"):
            editor.note_saved()
            self.window.retitle()
        self.window.say(said)
        return said.startswith("saved")

    def may_lose(self, what: str, unsaved: Sequence[str]) -> bool:
        """Ask before changes that no file has are lost: whether to go on.

        Parameters
        ----------
        what : str
            What is about to be done.
        unsaved : sequence of str
            Titles of the cars whose changes would be lost. Those of the car in front can be saved from the question.
        """
        if not unsaved:
            return True
        box = QMessageBox(self.widget)
        box.setObjectName("unsaved")
        box.setIcon(QMessageBox.Icon.Question)
        box.setWindowTitle("Changes are not saved")
        box.setText(f"Points of {' and of '.join(unsaved)} were moved and are in no file. Save them before you {what}?")
        buttons = QMessageBox.StandardButton
        box.setStandardButtons(buttons.Save | buttons.Discard | buttons.Cancel)
        box.setDefaultButton(buttons.Save)
        answer = box.exec()
        if answer == buttons.Save:
            return self._save_all(unsaved)
        return bool(answer == buttons.Discard)

    def _save_all(self, titles: Sequence[str]) -> bool:
        """Save the cars of these titles one after the other, each in front for it; whether all are saved."""
        front = self.window.session.editor
        done = True
        for _ in titles:
            editor = self.window.session.editor
            if not editor.unsaved or editor.model.car.title not in titles:
                self.swap()
            done = done and self.save()
        if self.window.session.editor is not front:
            self.swap()
        return done

    def screenshot(self) -> None:
        """Save a picture of the 3D view."""
        self.window.say(ask_picture(self.widget, lambda: still(self.window.plotter, self.window.stage)))

    def save_curves(self) -> None:
        """Save the curves that are shown, as a table or as a picture."""
        self.window.say(ask_curves(self.widget, self.window.session, self.window.desk.measures()))


def _read(file: Path) -> Car:
    """A car file as `kin3d.load` reads it."""
    import kin3d

    return kin3d.load(file)
