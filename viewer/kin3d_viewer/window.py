"""The window: the 3D view in the middle, sliders, curves and tables about it."""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import Qt, QTimer
from PySide6.QtGui import QAction, QKeySequence
from PySide6.QtWidgets import QApplication, QDockWidget, QMainWindow, QScrollArea, QStyleFactory, QTabWidget, QWidget

from kin3d.errors import Kin3dError
from kin3d_viewer.canvas import CurvesCanvas
from kin3d_viewer.charts import default_measures
from kin3d_viewer.editing import Step
from kin3d_viewer.keys import KEYS
from kin3d_viewer.model import Drives
from kin3d_viewer.mouse import Mouse
from kin3d_viewer.panels import DrivesPanel, FiguresTable, PointsTable, Toggles
from kin3d_viewer.pointer import Picked, nudge_direction
from kin3d_viewer.primitives import Array
from kin3d_viewer.session import Session
from kin3d_viewer.stage import Stage
from kin3d_viewer.style import LAYERS, SHEET_STYLE, SHOWN
from kin3d_viewer.window_files import ask_car_file, ask_picture, show_help, still

if TYPE_CHECKING:
    from kin3d_viewer.command import Request

FRAME_MS = 30
NUDGE_MM = 1.0
FOCUSES = ("axle", "left", "right")


class Window(QMainWindow):
    """The viewer.

    Attributes
    ----------
    session : Session
    stage : Stage
    said : str
        The last sentence of the status line.
    """

    def __init__(self, session: Session, view: str = "perspective", layers: tuple[str, ...] = SHOWN) -> None:
        super().__init__()
        from pyvistaqt import QtInteractor

        self.session, self.said, self.view_name, self.focus = session, "", view, "axle"
        self.setWindowTitle(f"{session.editor.model.car.title}, {session.editor.model.axle} axle")
        self.plotter = QtInteractor(self, auto_update=False, multi_samples=1, line_smoothing=False)
        self.setCentralWidget(self.plotter.interactor)
        self.plotter.enable_trackball_style()  # type: ignore[call-arg] # its decorator hides that it is bound
        self.stage = Stage(self.plotter, layers)
        model = session.editor.model
        self.file_values = model.solve(model.base.variants.design, Drives()).now.values
        self._design_values = self.file_values
        self._panels()
        self._mouse()
        self._actions()
        self._timer = QTimer(self)
        self._timer.setInterval(FRAME_MS)
        self._timer.timeout.connect(self._play_on)
        self._way = 1
        self.setStyleSheet(SHEET_STYLE)
        self.statusBar()
        self.resize(1480, 900)
        self.refresh()

    def _panels(self) -> None:
        model, view = self.session.editor.model, self.session.view
        self.drives = DrivesPanel(self.session)
        self.drives.moved.connect(self.drive)
        self.drives.run_over.connect(self._run_over)
        self.drives.play.connect(self.play)
        names = default_measures(list(view.now.values))
        self.curves = CurvesCanvas(model.every_measure, names)
        self.figures = FiguresTable(model.every_measure)
        self.points = PointsTable(model)
        self.points.typed.connect(self.type_coordinate)
        self.points.chosen.connect(lambda p: self.pick(Picked(self.points.side, p)))
        self.layers = Toggles(LAYERS, self.stage.layers, self.show_layer)
        about = {n: model.every_measure[n].label for n in view.now.values}
        self.charts = Toggles(about, set(names), lambda *_: self._choose_curves())
        tabs = QTabWidget()
        for title, widget in (
            ("Figures", self.figures),
            ("Points", self.points),
            ("Show", _scrolled(self.layers)),
            ("Curves", _scrolled(self.charts)),
        ):
            tabs.addTab(widget, title)
        self.tabs = tabs
        left, right = Qt.DockWidgetArea.LeftDockWidgetArea, Qt.DockWidgetArea.RightDockWidgetArea
        self._dock("Drives", self.drives, left)
        self._dock("Tables", tabs, left)
        self._dock("Curves", self.curves, right)
        docks = self.findChildren(QDockWidget)
        self.resizeDocks(docks, [395, 395, 335], Qt.Orientation.Horizontal)

    def _dock(self, title: str, widget: QWidget, area: Qt.DockWidgetArea) -> None:
        dock = QDockWidget(title, self)
        dock.setObjectName(title)
        dock.setWidget(widget)
        self.addDockWidget(area, dock)

    def _mouse(self) -> None:
        self.mouse = Mouse(self.stage, self.plotter.interactor, self.session.editor.model.points())
        self.mouse.picked.connect(self.pick)
        self.mouse.began.connect(self.session.editor.begin_drag)
        self.mouse.dragged.connect(self.drag)
        self.mouse.ended.connect(lambda: self.done(self.session.editor.end_drag()))
        self.mouse.refused.connect(self.say)
        self.mouse.nudged.connect(self.nudge)
        self.mouse.turned.connect(self._turned)

    def _actions(self) -> None:
        bar = self.addToolBar("Main")
        bar.setMovable(False)
        menus: dict[str, Any] = {}
        self.actions_by_name: dict[str, QAction] = {}
        for key in KEYS:
            menu = menus.get(key.group) or menus.setdefault(key.group, self.menuBar().addMenu(key.group))
            action = QAction(key.about[0].upper() + key.about[1:], self)
            action.setShortcut(QKeySequence(key.keys))
            action.setShortcutContext(Qt.ShortcutContext.WindowShortcut)
            action.triggered.connect(self._called(key.action))
            menu.addAction(action)
            self.actions_by_name[key.action] = action
        for name, text in TOOLS.items():
            tool = QAction(text, self)
            tool.setToolTip(f"{self.actions_by_name[name].text()} ({self.actions_by_name[name].shortcut().toString()})")
            tool.triggered.connect(self.actions_by_name[name].trigger)
            bar.addAction(tool)

    def _called(self, name: str) -> Callable[[], None]:
        """What an action's name stands for."""
        kind, _, rest = name.partition("_")
        if kind == "view":
            return lambda: self.look(rest)
        if kind == "lock":
            return lambda: self.lock(rest)
        if kind == "layer":
            return lambda: self.layers.boxes[rest].toggle()
        found: Callable[[], None] = getattr(self, name)
        return found

    # what is shown

    def refresh(self, *, quick: bool = False) -> None:
        """Bring picture, curves and tables to the session's state; while dragging the tables follow afterwards."""
        self.stage.overlay.caption = self.session.caption()
        self.stage.overlay.cars = self.session.cars()
        self.stage.show(self.session.scene(self.stage.layers))
        self.drives.follow(self.session.editor.drives.as_dict())
        self.curves.follow(self.session)
        if not quick:
            model = self.session.editor.model
            changed = self.session.editor.changed
            self._design_values = model.solve(model.design, Drives()).now.values if changed else self.file_values
            self.points.follow()
        self.figures.follow(self.file_values, self._design_values, self.session.view.now.values)
        self.stage.frame()

    def say(self, text: str) -> None:
        """A sentence in the status line."""
        self.said = text
        self.statusBar().showMessage(text)

    def done(self, step: Step, *, quick: bool = False) -> None:
        """Show what came of a move, and why it is not all that was asked for."""
        notes = self.session.view.curves.notes
        self.say(step.reason or "; ".join(notes))
        self.refresh(quick=quick)

    def look(self, view: str) -> None:
        """Take a view."""
        self.view_name = view
        self.stage.look(view, self.focus)
        self.stage.frame()

    def focus_next(self) -> None:
        """Fill the picture with the axle, the left corner, the right one."""
        self.focus = FOCUSES[(FOCUSES.index(self.focus) + 1) % len(FOCUSES)]
        self.look(self.view_name)

    def _turned(self) -> None:
        if not self.stage.still_in_view():
            self.stage.overlay.view = ""
        self.stage.frame()

    def show_layer(self, name: str, on: bool) -> None:
        """Show or hide a layer."""
        (self.stage.layers.add if on else self.stage.layers.discard)(name)
        self.refresh(quick=True)
        if name == "rod force" and on and self.session.lacking:
            self.say(self.session.lacking)

    def _choose_curves(self) -> None:
        names = [n for n, box in self.charts.boxes.items() if box.isChecked()]
        self.curves.choose(names, self.session)

    def _run_over(self, drive: str) -> None:
        self.done(self.session.run_over(drive))

    # the drives

    def drive(self, name: str, value: float) -> None:
        """Move a slider."""
        self.done(self.session.editor.drive(**{name: value}))

    def design_position(self) -> None:
        """All sliders to zero."""
        self.done(self.session.editor.drive(**Drives().as_dict()))

    def drive_on(self) -> None:
        """One step along the sweep."""
        self._step(1)

    def drive_back(self) -> None:
        """One step back along the sweep."""
        self._step(-1)

    def _step(self, way: int) -> Step:
        at = self.session.editor.model.ranges[self.session.over]
        here = self.session.editor.drives.as_dict()[self.session.over]
        ahead = [v for v in at if (v - here) * way > 1e-9]
        if not ahead:
            return Step(self.session.view, "end of the sweep")
        step = self.session.editor.drive(**{self.session.over: min(ahead) if way > 0 else max(ahead)})
        self.done(step)
        return step

    def play(self) -> None:
        """Play the sweep to and fro, or stop."""
        running = self._timer.isActive()
        (self._timer.stop if running else self._timer.start)()
        self.drives.button.setText("Play" if running else "Stop")

    def _play_on(self) -> None:
        if self._step(self._way).reason:
            self._way = -self._way

    # the points

    def pick(self, point: Picked) -> None:
        """Choose a point: mark it, say where it is and what it drives."""
        self.mouse.held = point
        self.stage.highlight = point.name
        if point.side == self.points.side:
            self.points.select(point.point)
        linkage = self.session.editor.model.base.linkage
        bodies = [b for b, points in linkage.bodies.items() if point.point in points]
        bodies += ["chassis"] if point.point in linkage.fixed else []
        bodies += ["rack"] if point.point in linkage.rack else []
        x, y, z = self.session.editor.place(point.side, point.point)
        self.say(f"{point.name}: {x:.2f}, {y:.2f}, {z:.2f} mm in design; joins {' and '.join(bodies)}")
        self.refresh(quick=True)

    def let_go(self) -> None:
        """Pick nothing."""
        self.mouse.held = None
        self.stage.highlight = ""
        self.refresh(quick=True)

    def lock(self, axis: str) -> None:
        """Drag along one axis, or freely again."""
        self.mouse.lock = "" if self.mouse.lock == axis else axis
        self.say(f"drag along {axis} only" if self.mouse.lock else "drag in the picture plane")

    def drag(self, shift: Array) -> None:
        """A step of a drag."""
        held = self.mouse.held
        if held is not None:
            self.done(self.session.editor.drag(held.side, held.point, shift), quick=True)

    def nudge(self, way: str, factor: float) -> None:
        """Move the picked point a step with an arrow key."""
        held = self.mouse.held
        if held is not None:
            shift = NUDGE_MM * factor * nudge_direction(self.mouse.eye(), way)
            place = self.session.editor.place(held.side, held.point) + shift
            self.done(self.session.editor.set_point(held.side, held.point, place))

    def type_coordinate(self, point: str, number: int, value: float) -> None:
        """A coordinate typed into the table."""
        side = self.points.side
        place = self.session.editor.place(side, point).copy()
        if value != value:
            self.done(Step(self.session.view, f"{point}: a number in mm is expected"))
            return
        place[number] = value
        self.done(self.session.editor.set_point(side, point, place))

    def undo(self) -> None:
        """Take the last move back."""
        self.done(self.session.editor.undo())

    def redo(self) -> None:
        """Do again what was taken back."""
        self.done(self.session.editor.redo())

    def reset(self) -> None:
        """Back to the file's points."""
        self.done(self.session.editor.reset())

    # files and help

    def save(self) -> None:
        """Save as a new car file."""
        self.say(ask_car_file(self, self.session.editor.model))

    def screenshot(self) -> None:
        """Save a picture of the 3D view."""
        self.say(ask_picture(self, lambda: still(self.plotter, self.stage)))

    def help(self) -> None:
        """Show all keys."""
        show_help(self)

    def closeEvent(self, event: Any) -> None:  # noqa: N802 - Qt's name
        """Let go of the graphics memory before the window goes."""
        self._timer.stop()
        self.plotter.close()
        super().closeEvent(event)


TOOLS = {
    "view_front": "Front",
    "view_side": "Side",
    "view_plan": "Plan",
    "view_perspective": "Perspective",
    "undo": "Undo",
    "redo": "Redo",
    "reset": "Reset",
    "save": "Save as",
    "screenshot": "Picture",
    "help": "Keys",
}


def _scrolled(widget: QWidget) -> QScrollArea:
    area = QScrollArea()
    area.setWidget(widget)
    area.setWidgetResizable(True)
    return area


def application() -> QApplication:
    """The one application, in a look that is the same everywhere."""
    found = QApplication.instance()
    app = found if isinstance(found, QApplication) else QApplication(sys.argv[:1])
    app.setStyle(QStyleFactory.create("Fusion"))
    app.styleHints().setColorScheme(Qt.ColorScheme.Light)
    return app


def open_window(session: Session, request: Request) -> None:
    """Open the window and stay until it is closed; `need_window` has been asked before."""
    app = application()
    layers = tuple(n for n in LAYERS if (n in SHOWN or n in request.show) and n not in request.hide)
    window = Window(session, request.view or "perspective", layers)
    window.show()
    QTimer.singleShot(0, lambda: window.look(request.view or "perspective"))
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
