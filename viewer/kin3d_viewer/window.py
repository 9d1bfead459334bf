"""The window: the 3D view in the middle, sliders, curves and tables about it."""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import Any

from PySide6.QtCore import Qt, QTimer
from PySide6.QtGui import QAction, QKeySequence
from PySide6.QtWidgets import QApplication, QMainWindow, QMenu, QStyleFactory

from kin3d.errors import Kin3dError
from kin3d_viewer.desk import WIDE_PX, Desk, arrange
from kin3d_viewer.documents import Documents
from kin3d_viewer.editing import Step
from kin3d_viewer.fitting import fit_screen
from kin3d_viewer.hand import Hand
from kin3d_viewer.keys import GROUPS, KEYS, RECENT, TOOLS
from kin3d_viewer.mouse import Mouse
from kin3d_viewer.player import Player
from kin3d_viewer.session import Session
from kin3d_viewer.stage import Stage
from kin3d_viewer.style import SHEET_STYLE, SHOWN
from kin3d_viewer.window_files import show_help

SIZE = (1480, 900)  # where the screen has room for it
DOTS_PER_INCH = 72
FOCUSES = ("axle", "left", "right")
CONSTRUCTIONS = {"front": "front centres", "side": "side centres"}  # what a view shows of itself


class Window(QMainWindow):
    """The viewer.

    Attributes
    ----------
    session : Session
    stage : Stage
    desk : Desk
        The panels.
    player, hand, documents
        What moves the linkage, moves points, opens and saves.
    said : str
        The last sentence of the status line.
    """

    def __init__(self, session: Session, view: str = "perspective", layers: tuple[str, ...] = SHOWN) -> None:
        super().__init__()
        from pyvistaqt import QtInteractor

        self.session, self.said, self.view_name, self.focus = session, "", view, "axle"
        self.plotter = QtInteractor(self, auto_update=False, multi_samples=1, line_smoothing=False)
        self.setCentralWidget(self.plotter.interactor)
        self.plotter.enable_trackball_style()  # type: ignore[call-arg] # its decorator hides that it is bound
        self.stage = Stage(self.plotter, layers)
        self.mouse = Mouse(self.stage, self.plotter.interactor, session.editor.model.points())
        self.mouse.turned.connect(self._turned)
        self.mouse.resized.connect(self._resized)
        self._turned_by_hand, self._wide, self._of_view = False, True, ""
        self.player, self.hand = Player(self), Hand(self)
        self._actions()
        self.setAcceptDrops(True)
        self.setStyleSheet(SHEET_STYLE)
        self.statusBar()
        fit_screen(self, SIZE)
        self.take(session)

    def take(self, session: Session) -> None:
        """Show a session, in place of the one before."""
        self.player.stop()
        self.session = session
        self.desk = Desk(session, self.stage.layers)
        self.desk.drives.moved.connect(self.player.drive)
        self.desk.drives.run_over.connect(self.player.run_over)
        self.desk.drives.play.connect(self.player.play)
        self.desk.points.typed.connect(self.hand.type_coordinate)
        self.desk.points.chosen.connect(self.hand.choose)
        self.desk.layer_shown.connect(self.show_layer)
        self.desk.put(self)
        self._wide = self.width() >= WIDE_PX
        arrange(self, self._wide)
        self.mouse.movable = session.editor.model.points()
        self.hand.let_go()
        self.look(self.view_name)
        self.refresh()

    def _actions(self) -> None:
        bar = self.addToolBar("Main")
        bar.setMovable(False)
        menus: dict[str, Any] = {name: self.menuBar().addMenu(f"&{name}") for name in GROUPS}
        self.actions_by_name: dict[str, QAction] = {}
        for key in KEYS:
            if key.action == RECENT:
                recent = QMenu(key.about, self)
                menus[key.group].addMenu(recent)
                self.documents = Documents(self, self, recent)
                continue
            action = QAction(key.about[0].upper() + key.about[1:], self)
            action.setShortcut(QKeySequence(key.keys))
            action.setShortcutContext(Qt.ShortcutContext.WindowShortcut)
            action.triggered.connect(lambda _checked=False, name=key.action: self._called(name)())
            menus[key.group].addAction(action)
            self.actions_by_name[key.action] = action
        for name, text in TOOLS.items():
            tool = QAction(text, self)
            tool.setToolTip(f"{self.actions_by_name[name].text()} ({self.actions_by_name[name].shortcut().toString()})")
            tool.triggered.connect(self.actions_by_name[name].trigger)
            bar.addAction(tool)

    def _called(self, name: str) -> Callable[[], Any]:
        """What an action's name stands for."""
        kind, _, rest = name.partition("_")
        if kind == "view":
            return lambda: self.look(rest)
        if kind == "lock":
            return lambda: self.hand.lock(rest)
        if kind == "layer":
            return lambda: self.desk.layers.boxes[rest].toggle()
        owner = next(o for o in (self.player, self.hand, self.documents, self) if name in vars(type(o)))
        found: Callable[[], Any] = getattr(owner, name)
        return found

    # what is shown

    def refresh(self, *, quick: bool = False) -> None:
        """Bring picture, curves and tables to the session's state; while dragging the tables follow afterwards."""
        overlay = self.stage.overlay
        shown = self.session.scene(self.stage.layers)  # the caption says what it shows
        overlay.caption, overlay.cars = self.session.caption(), (*self.session.cars(), *self.session.legend())
        self._scale()
        self.stage.show(shown)
        self.desk.follow(quick=quick)
        self.retitle()
        self.stage.frame()

    def _scale(self) -> None:
        """Letters and lines of the picture as large as those about it, at double scale too."""
        self.stage.overlay.scale = self.plotter.interactor.devicePixelRatioF()
        # the scale is ours; with a resolution of its own the graphics library would scale letters once more
        self.plotter.renderer.GetRenderWindow().SetDPI(DOTS_PER_INCH)

    def retitle(self) -> None:
        """Say in the title which cars are shown, and whether there are changes that no file has."""
        model, other = self.session.editor.model, self.session.other
        beside = f", beside {other.car.title}" if other else ""
        self.setWindowTitle(f"{model.car.title}, {model.axle} axle{beside}[*]")
        self.setWindowModified(bool(self.session.unsaved))

    def say(self, text: str) -> None:
        """A sentence in the status line."""
        self.said = text
        self.statusBar().showMessage(text)

    def done(self, step: Step, *, quick: bool = False) -> None:
        """Show what came of a move, and why it is not all that was asked for."""
        self.refresh(quick=quick)
        self.say(step.reason or "; ".join(self.session.view.curves.notes) or self.hand.distance())

    def look(self, view: str) -> None:
        """Take a view; front and side view show their construction, and take it along when they are left."""
        self.view_name, self._turned_by_hand = view, False
        wanted = CONSTRUCTIONS.get(view, "")
        if self._of_view != wanted:
            for name, on in ((self._of_view, False), (wanted, True)):
                if name and (on or self._of_view == name):
                    self._show_of_itself(name, on)
        self._scale()
        self.stage.show(self.session.scene(self.stage.layers))
        self.stage.look(view, self.focus)
        self.stage.frame()

    def _show_of_itself(self, name: str, on: bool) -> None:
        """Show or hide a construction with its view; one that is shown already stays when the view is left."""
        if on and name in self.stage.layers:
            self._of_view = ""
            return
        self._of_view = name if on else ""
        self.desk.layers.boxes[name].setChecked(on)

    def focus_next(self) -> None:
        """Fill the picture with the axle, the left corner, the right one."""
        self.focus = FOCUSES[(FOCUSES.index(self.focus) + 1) % len(FOCUSES)]
        self.look(self.view_name)

    def _turned(self) -> None:
        self._turned_by_hand = True
        if not self.stage.still_in_view():
            self.stage.overlay.view = ""
        self.stage.frame()

    def _resized(self) -> None:
        """Fit the view into the new size, unless the camera was moved by hand; panels where they have room."""
        wide = self.width() >= WIDE_PX
        if wide != self._wide:
            self._wide = wide
            arrange(self, wide)
        self._scale()
        if self.stage.scene is not None and not self._turned_by_hand:
            self.look(self.view_name)
        else:
            self.stage.frame()

    def show_layer(self, name: str, on: bool) -> None:
        """Show or hide a layer."""
        (self.stage.layers.add if on else self.stage.layers.discard)(name)
        self.refresh(quick=True)
        if name in ("rod force", "forces", "gaps") and on and self.session.lacking:
            self.say(self.session.lacking)

    def next_case(self) -> None:
        """Show the forces of the next load case; after the first one they were not shown before."""
        session, box = self.session, self.desk.layers.boxes["forces"]
        name = session.load.next(session.editor.model) if box.isChecked() else session.load.name
        box.setChecked(True)
        self.refresh(quick=True)
        self.say(session.lacking or session.load.told(session.editor.model) or name)

    def help(self) -> None:
        """Show all keys."""
        show_help(self)

    # Qt's events

    def dragEnterEvent(self, event: Any) -> None:  # noqa: N802 - Qt's name
        """Take car files."""
        if self.documents.dropped_files(event):
            event.acceptProposedAction()

    def dropEvent(self, event: Any) -> None:  # noqa: N802 - Qt's name
        """Open them."""
        event.acceptProposedAction()
        self.documents.drop(event)

    def closeEvent(self, event: Any) -> None:  # noqa: N802 - Qt's name
        """Ask where changes would be lost; let go of the graphics memory before the window goes."""
        self.player.stop()
        if not self.documents.may_lose("close the window", self.session.unsaved):
            event.ignore()
            return
        self.plotter.close()
        super().closeEvent(event)


def application() -> QApplication:
    """The one application, in a look that is the same everywhere."""
    found = QApplication.instance()
    app = found if isinstance(found, QApplication) else QApplication(sys.argv[:1])
    app.setStyle(QStyleFactory.create("Fusion"))
    app.styleHints().setColorScheme(Qt.ColorScheme.Light)
    return app


def open_window(session: Session, view: str, layers: tuple[str, ...]) -> None:
    """Open the window and stay until it is closed; `need_window` has been asked before."""
    app = application()
    window = Window(session, view, layers)
    window.show()
    QTimer.singleShot(0, lambda: window.look(view))
    sys.excepthook = _tell(window)
    app.exec()


def _tell(window: Window) -> Callable[..., None]:
    """A mistake of the user's is told in the status line; anything else as usual."""
    usual = sys.excepthook

    def hook(kind: type[BaseException], error: BaseException, trace: Any) -> None:
        if isinstance(error, Kin3dError):
            window.say(str(error))
        else:
            usual(kind, error, trace)

    return hook
