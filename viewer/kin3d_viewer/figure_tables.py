"""The tables of the window: figures, and points to type into."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from textwrap import shorten
from typing import Any

import numpy as np
from PySide6.QtCore import QSignalBlocker, Qt, Signal
from PySide6.QtGui import QColor, QFont
from PySide6.QtWidgets import QHeaderView, QTableWidget, QTableWidgetItem

from kin3d.measures.entry import Measure
from kin3d_viewer.model import LiveModel
from kin3d_viewer.primitives import Array
from kin3d_viewer.style import CARS

SMALL_PT = 8.0


class FiguresTable(QTableWidget):
    """Measures: as the file has them in the design position, as they are now there, and where the sliders stand."""

    HEADS = ("measure", "file", "design", "now")

    def __init__(self, measures: Mapping[str, Measure], other: str = "", colour: str = CARS["B"]) -> None:
        heads = (*self.HEADS, shorten(other, 10, placeholder="…")) if other else self.HEADS
        super().__init__(0, len(heads))
        self.measures, self.colour = measures, colour
        self.side = 0
        self.setHorizontalHeaderLabels(list(heads))
        tips = (
            "name; the tip says what it means",
            "design position, points of the file",
            "design position, points as changed",
            "at the sliders",
            f"{other}, at the sliders",
        )
        for column, tip in enumerate(tips):
            head = self.horizontalHeaderItem(column)
            if head is not None:
                head.setToolTip(tip)
        self.verticalHeader().hide()
        self.verticalHeader().setDefaultSectionSize(20)
        self.setEditTriggers(QTableWidget.EditTrigger.NoEditTriggers)
        self.horizontalHeader().setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        font = self.font()
        font.setPointSizeF(SMALL_PT)
        self.setFont(font)
        self.horizontalHeader().setFont(font)
        self.horizontalHeader().setSectionResizeMode(0, QHeaderView.ResizeMode.Stretch)
        self.horizontalHeader().setMinimumSectionSize(40)
        self.setTextElideMode(Qt.TextElideMode.ElideMiddle)
        self._rows: dict[str, int] = {}
        self._late: Any = None

    def follow(self, *sources: Mapping[str, Array], quick: bool = False) -> None:
        """Take new figures of file, design, now and the other car; each mapping has (2,) a name.

        While a point is dragged (`quick`) figures that are not among the present ones stay as they are.
        """
        if not self.isVisible():
            self._late = None if quick else sources
            return
        file, design, now = sources[:3]
        # a column that says what the next one says too only takes room
        for column, pair in ((1, (file, design)), (2, (design, now))):
            if self.isColumnHidden(column) != _same(*pair):
                self.setColumnHidden(column, _same(*pair))
                self.viewport().update()
        if not quick and list(self._rows) != list(now):
            self._lay_out(list(now))
        for name, row in self._rows.items():
            if quick and name not in now:
                continue
            for column, source in enumerate(sources[: self.columnCount() - 1], 1):
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

    def seen(self) -> list[str]:
        """Measures whose rows can be seen now."""
        if not self.isVisible():
            return []
        first, last = self.rowAt(0), self.rowAt(self.viewport().height() - 1)
        return [n for n, row in self._rows.items() if first <= row <= (last if last >= 0 else self.rowCount())]

    def _lay_out(self, names: list[str]) -> None:
        self.setRowCount(len(names))
        self._rows = {n: k for k, n in enumerate(names)}
        for name, row in self._rows.items():
            measure = self.measures[name]
            for column in range(self.columnCount()):
                item = QTableWidgetItem("" if column else name)
                if column > len(self.HEADS) - 1:
                    item.setForeground(QColor(self.colour))
                if column:
                    item.setTextAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
                item.setToolTip(f"{measure.label}: {measure.definition}\n{measure.sign} positive")
                self.setItem(row, column, item)


def _same(first: Mapping[str, Array], second: Mapping[str, Array]) -> bool:
    return all(np.array_equal(first[n], second[n], equal_nan=True) for n in first if n in second)


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
    chosen = Signal(list)

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
        self.setSelectionMode(QTableWidget.SelectionMode.ExtendedSelection)
        self.itemSelectionChanged.connect(lambda: self.chosen.emit(self.rows_chosen()))

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

    def rows_chosen(self) -> list[str]:
        """Points of the rows that are chosen, in order."""
        return [self.names[k] for k in sorted({i.row() for i in self.selectedIndexes()})]

    def select(self, points: Collection[str]) -> None:
        """Choose rows without saying so."""
        if set(self.rows_chosen()) == set(points):
            return
        with QSignalBlocker(self):
            self.clearSelection()
            for point in points:
                item = self.item(self.names.index(point), 0)
                if item is not None:
                    item.setSelected(True)
                    self.scrollToItem(item)
