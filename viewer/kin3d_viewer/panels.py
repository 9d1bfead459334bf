"""The panels beside the 3D view: sliders, table of figures, table of points, toggles."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from PySide6.QtCore import QSignalBlocker, Qt, Signal
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QDoubleSpinBox,
    QGridLayout,
    QLabel,
    QPushButton,
    QSlider,
    QVBoxLayout,
    QWidget,
)

from kin3d_viewer.session import Session

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
            if name != "roll_deg" or session.editor.model.rolls:
                self.over.addItem(f"curves over {text}", name)
        self.over.setCurrentIndex(self.over.findData(session.over))
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

    def follow(self, drives: Mapping[str, float], over: str) -> None:
        """Put sliders, boxes and the choice of the curves' drive where the model is."""
        with QSignalBlocker(self.over):
            self.over.setCurrentIndex(self.over.findData(over))
        for name, value in drives.items():
            slider, box = self.sliders[name], self.boxes[name]
            with QSignalBlocker(slider), QSignalBlocker(box):
                slider.setValue(round(value * TICKS[name]))
                box.setValue(value)


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
