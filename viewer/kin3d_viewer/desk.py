"""The panels about the 3D view for one session: sliders, curves, tables, toggles. Another session gets a new desk."""

from __future__ import annotations

from collections.abc import Collection

from PySide6.QtCore import QObject, Qt, Signal
from PySide6.QtWidgets import QDockWidget, QMainWindow, QScrollArea, QTabWidget, QWidget

from kin3d_viewer.canvas import CurvesCanvas
from kin3d_viewer.charts import default_measures
from kin3d_viewer.figure_tables import FiguresTable, PointsTable
from kin3d_viewer.model import Drives
from kin3d_viewer.panels import DrivesPanel, Toggles
from kin3d_viewer.scene_axes import SCREW, SEEN
from kin3d_viewer.session import Session
from kin3d_viewer.style import LAYERS

WIDE_PX = 1200  # a window that is narrower has its curves in the column of the tables
COLUMN_PX = {True: (395, 335), False: (372, 372)}  # widths at the left and at the right: wide, narrow
LEFT, RIGHT = Qt.DockWidgetArea.LeftDockWidgetArea, Qt.DockWidgetArea.RightDockWidgetArea


class Desk(QObject):
    """The panels.

    Parameters
    ----------
    session : Session
    layers : set of str
        Layers that are shown.

    Signals
    -------
    layer_shown : a layer's name, whether it is shown
    """

    layer_shown = Signal(str, bool)

    def __init__(self, session: Session, layers: set[str]) -> None:
        super().__init__()
        self.session = session
        model, now = session.editor.model, session.view.now.values
        self.drives = DrivesPanel(session)
        names = default_measures(list(now))
        self.curves = CurvesCanvas(model.every_measure, names)
        self.figures = FiguresTable(
            model.every_measure, session.other.car.title if session.other else "", session.colours[1]
        )
        self.points = PointsTable(model)
        self.layers = Toggles(LAYERS, layers, self.layer_shown.emit)
        about = {n: model.every_measure[n].label for n in now}
        self.charts = Toggles(about, set(names), lambda *_: self.curves.choose(self.measures(), session))
        self.tabs = QTabWidget()
        for title, widget in (
            ("Figures", self.figures),
            ("Points", self.points),
            ("Show", _scrolled(self.layers)),
            ("Curves", _scrolled(self.charts)),
        ):
            self.tabs.addTab(widget, title)
        self._file_values = model.solve(model.base.variants.design, Drives()).now.values
        self._design_values = self._file_values

    def measures(self) -> list[str]:
        """Measures whose curves are shown."""
        return [n for n, box in self.charts.boxes.items() if box.isChecked()]

    def show_wanted(self) -> None:
        """Show the curves of which something is wanted, and no others."""
        targets = self.session.targets
        wanted = () if targets is None else targets.measures
        if any(n in self.charts.boxes for n in wanted):
            for name, box in self.charts.boxes.items():
                box.setChecked(name in wanted)

    def put(self, window: QMainWindow) -> None:
        """Put the panels into the window, in place of those of another session."""
        for title, widget in (("Drives", self.drives), ("Tables", self.tabs), ("Curves", self.curves)):
            dock = window.findChild(QDockWidget, title)
            if dock is None:
                dock = QDockWidget(title, window)
                dock.setObjectName(title)
                dock.setFeatures(QDockWidget.DockWidgetFeature.DockWidgetMovable)
                window.addDockWidget(RIGHT if title == "Curves" else LEFT, dock)
            before = dock.widget()
            dock.setWidget(widget)
            if before is not None:
                before.deleteLater()

    def follow(self, *, quick: bool = False) -> None:
        """Bring curves and tables to the session's state; while dragging the table of points follows afterwards."""
        session = self.session
        model, view, ghost = session.editor.model, session.view, session.ghost()
        self.drives.follow(session.editor.drives.as_dict(), session.over)
        self.curves.follow(session)
        if not quick:
            changed = session.editor.changed
            self._design_values = model.solve(model.design, Drives()).now.values if changed else self._file_values
            self.points.follow()
        other = {} if ghost is None else ghost.now.values
        self.figures.follow(self._file_values, self._design_values, view.now.values, other, quick=quick)

    def followed(self, layers: Collection[str]) -> set[str]:
        """Measures that are seen somewhere while a point is dragged."""
        screw = SCREW if "screw axis" in layers else ()
        return {*self.measures(), *self.figures.seen(), *SEEN, *screw}


def arrange(window: QMainWindow, wide: bool) -> None:
    """Give every panel its place: curves at the right in a wide window, behind the tables in a narrow one."""
    drives, tables, curves = (window.findChild(QDockWidget, n) for n in ("Drives", "Tables", "Curves"))
    assert drives is not None
    assert tables is not None
    assert curves is not None
    if wide:
        window.addDockWidget(RIGHT, curves)
    else:
        window.tabifyDockWidget(tables, curves)
        tables.raise_()
    left, right = COLUMN_PX[wide]
    window.resizeDocks([drives, tables, curves], [left, left, right], Qt.Orientation.Horizontal)


def _scrolled(widget: QWidget) -> QScrollArea:
    area = QScrollArea()
    area.setWidget(widget)
    area.setWidgetResizable(True)
    return area
