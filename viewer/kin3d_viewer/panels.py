"""The panels beside the 3D view: sliders, table of figures, table of points, toggles."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
from PySide6.QtCore import QSignalBlocker, Qt, Signal
from PySide6.QtGui import QColor, QFont
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QDoubleSpinBox,
    QGridLayout,
    QHBoxLayout,
    QHeaderView,
    QLabel,
    QPushButton,
    QSlider,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from kin3d.measures.entry import Measure
from kin3d_viewer.model import LiveModel
from kin3d_viewer.primitives import Array
from kin3d_viewer.session import Session
from kin3d_viewer.snapshot import SIDES

TICKS = {"travel_mm": 4, "rack_mm": 4, "roll_deg": 20}  # slider steps a unit
NAMES = {"travel_mm": "Travel, mm", "rack_mm": "Rack, mm", "roll_deg": "Roll, deg"}
TIPS = {
    "travel_mm": "height of the wheel centre over its design height, bump positive; in roll the mean of both wheels",
    "rack_mm": "displacement of the rack, to the left positive",
    "roll_deg": "of the body over the ground, left side up positive",
}


class DrivesPanel(QWidget):
    """A slider and a box for each drive; play; what the curves run over."""

    moved = Signal(str, float)
    run_over = Signal(str)
    play = Signal()

    def __init__(self, session: Session) -> None:
        super().__init__()
        self.sliders: dict[str, QSlider] = {}
        self.boxes: dict[str, QDoubleSpinBox] = {}
        grid = QGridLayout(self)
        grid.setContentsMargins(8, 6, 8, 6)
        ranges = session.editor.model.ranges
        for row, name in enumerate(NAMES):
            self._row(grid, row, name, min(ranges[name]), max(ranges[name]))
        for widget in (self.sliders["roll_deg"], self.boxes["roll_deg"]):
            widget.setEnabled(session.editor.model.rolls)
        self.over = QComboBox()
        for name, text in NAMES.items():
            self.over.addItem(f"curves over {text}", name)
        self.over.setCurrentIndex(list(NAMES).index(session.over))
        self.over.currentIndexChanged.connect(lambda _: self.run_over.emit(self.over.currentData()))
        self.button = QPushButton("Play")
        self.button.setToolTip("Space")
        self.button.clicked.connect(self.play.emit)
        grid.addWidget(self.over, len(NAMES), 0, 1, 2)
        grid.addWidget(self.button, len(NAMES), 2)

    def _row(self, grid: QGridLayout, row: int, name: str, low: float, high: float) -> None:
        slider, box = QSlider(Qt.Orientation.Horizontal), QDoubleSpinBox()
        slider.setObjectName(name)
        slider.setRange(round(low * TICKS[name]), round(high * TICKS[name]))
        slider.valueChanged.connect(lambda v, n=name: self.moved.emit(n, v / TICKS[n]))
        box.setRange(-200.0, 200.0)
        box.setDecimals(2)
        box.setSingleStep(1.0 / TICKS[name] * 4)
        box.setKeyboardTracking(False)
        box.valueChanged.connect(lambda v, n=name: self.moved.emit(n, v))
        for widget in (slider, box):
            widget.setToolTip(TIPS[name])
        label = QLabel(NAMES[name])
        grid.addWidget(label, row, 0)
        grid.addWidget(slider, row, 1)
        grid.addWidget(box, row, 2)
        self.sliders[name], self.boxes[name] = slider, box

    def follow(self, drives: Mapping[str, float]) -> None:
        """Put sliders and boxes where the model is."""
        for name, value in drives.items():
            slider, box = self.sliders[name], self.boxes[name]
            with QSignalBlocker(slider), QSignalBlocker(box):
                slider.setValue(round(value * TICKS[name]))
                box.setValue(value)


class FiguresTable(QTableWidget):
    """Measures: as the file has them in the design position, as they are now there, and where the sliders stand."""

    HEADS = ("measure", "file", "design", "now")

    def __init__(self, measures: Mapping[str, Measure]) -> None:
        super().__init__(0, len(self.HEADS))
        self.measures = measures
        self.side = 0
        self.setHorizontalHeaderLabels(list(self.HEADS))
        tips = (
            "name; the tip says what it means",
            "design position, points of the file",
            "design position, points as changed",
            "at the sliders",
        )
        for column, tip in enumerate(tips):
            head = self.horizontalHeaderItem(column)
            if head is not None:
                head.setToolTip(tip)
        self.verticalHeader().hide()
        self.verticalHeader().setDefaultSectionSize(20)
        self.setEditTriggers(QTableWidget.EditTrigger.NoEditTriggers)
        self.horizontalHeader().setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        self._rows: dict[str, int] = {}
        self._late: Any = None

    def follow(self, file: Mapping[str, Array], design: Mapping[str, Array], now: Mapping[str, Array]) -> None:
        """Take new figures; each mapping has (2,) a name."""
        if not self.isVisible():
            self._late = (file, design, now)
            return
        if list(self._rows) != list(now):
            self._lay_out(list(now))
        for name, row in self._rows.items():
            for column, source in ((1, file), (2, design), (3, now)):
                value = figure(float(source[name][self.side]) if name in source else np.nan)
                item = self.item(row, column)
                if item is not None and item.text() != value:
                    item.setText(value)

    def showEvent(self, event: Any) -> None:  # noqa: N802 - Qt's name
        """Take the figures that came while the table was hidden."""
        super().showEvent(event)
        if self._late is not None:
            late, self._late = self._late, None
            self.follow(*late)

    def _lay_out(self, names: list[str]) -> None:
        self.setRowCount(len(names))
        self._rows = {n: k for k, n in enumerate(names)}
        for name, row in self._rows.items():
            measure = self.measures[name]
            for column, text in enumerate((name, "", "", "")):
                item = QTableWidgetItem(text)
                if column:
                    item.setTextAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
                item.setToolTip(f"{measure.label}: {measure.definition}\n{measure.sign} positive")
                self.setItem(row, column, item)


def figure(value: float) -> str:
    """A figure with the digits that an engineer reads."""
    if not np.isfinite(value):
        return "–"
    digits = 3 if abs(value) < 10.0 else (2 if abs(value) < 1000.0 else 1)
    digits = 5 if 5e-6 < abs(value) < 0.01 else digits
    return f"{value:.{digits}f}".replace("-", "−")


class PointsTable(QTableWidget):
    """Design coordinates of one side, to type into."""

    typed = Signal(str, int, float)
    chosen = Signal(str)

    def __init__(self, model: LiveModel) -> None:
        super().__init__(len(model.points()), 4)
        self.live = model
        self.side = model.own_side
        self.names = model.points()
        self.setHorizontalHeaderLabels(["point", "x, mm", "y, mm", "z, mm"])
        self.verticalHeader().hide()
        self.verticalHeader().setDefaultSectionSize(22)
        self.horizontalHeader().setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        with QSignalBlocker(self):
            for row, name in enumerate(self.names):
                item = QTableWidgetItem(name)
                item.setFlags(Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable)
                self.setItem(row, 0, item)
                for k in range(3):
                    cell = QTableWidgetItem("")
                    cell.setTextAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
                    self.setItem(row, k + 1, cell)
        self.itemChanged.connect(self._edited)
        self.currentCellChanged.connect(lambda row, *_: self.chosen.emit(self.names[row]) if row >= 0 else None)

    def _edited(self, item: QTableWidgetItem) -> None:
        text = item.text().strip().replace(",", ".").replace("−", "-")
        try:
            value = float(text)
        except ValueError:
            value = float("nan")
        self.typed.emit(self.names[item.row()], item.column() - 1, value)

    def follow(self) -> None:
        """Show the coordinates as they stand; moved points are bold."""
        with QSignalBlocker(self):
            for row, name in enumerate(self.names):
                number = self.live.base.linkage.index(name)
                now = self.live.design[self.side, number]
                moved = now != self.live.base.variants.design[self.side, number]
                for k in range(3):
                    cell = self.item(row, k + 1)
                    if cell is None:
                        continue
                    cell.setText(f"{now[k]:.3f}")
                    font = QFont(cell.font())
                    font.setBold(bool(moved[k]))
                    cell.setFont(font)
                    cell.setBackground(QColor("#fbf0c4" if moved[k] else "#ffffff"))

    def select(self, point: str) -> None:
        """Choose a row without saying so."""
        with QSignalBlocker(self):
            self.setCurrentCell(self.names.index(point), 0)


class Toggles(QWidget):
    """A box to tick for each of some names."""

    def __init__(self, names: Mapping[str, str], shown: set[str], call: Callable[[str, bool], None]) -> None:
        super().__init__()
        self.boxes: dict[str, QCheckBox] = {}
        column = QVBoxLayout(self)
        column.setContentsMargins(6, 4, 6, 4)
        column.setSpacing(2)
        for name, tip in names.items():
            box = QCheckBox(name)
            box.setToolTip(tip)
            box.setChecked(name in shown)
            box.toggled.connect(lambda on, n=name: call(n, on))
            column.addWidget(box)
            self.boxes[name] = box
        column.addStretch(1)


def side_choice(sides: tuple[str, ...] = SIDES) -> QComboBox:
    """A box to choose left or right with."""
    box = QComboBox()
    box.addItems(list(sides))
    return box


def beside(*widgets: QWidget) -> QWidget:
    """Widgets in a row."""
    whole = QWidget()
    row = QHBoxLayout(whole)
    row.setContentsMargins(4, 2, 4, 2)
    for widget in widgets:
        row.addWidget(widget)
    row.addStretch(1)
    return whole
