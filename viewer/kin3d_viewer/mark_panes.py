"""The parts of the marking window: a car's photographs, and the list of names with what is done of each."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtGui import QBrush, QColor
from PySide6.QtWidgets import QComboBox, QHBoxLayout, QLabel, QTreeWidget, QTreeWidgetItem, QVBoxLayout, QWidget

from kin3d_viewer.mark_canvas import Canvas
from kin3d_viewer.marks import WANTED, ListedMark, Marks
from kin3d_viewer.style import GREEN, VERMILION

SIGNS = {"to do": "○", "seen": "●", "hidden": "–", "doubtful": "?"}


class Pane(QWidget):
    """One car's photographs: a choice above, the picture below."""

    def __init__(self, car: int, marks: Marks) -> None:
        super().__init__()
        self.car, self.marks = car, marks
        self.choice, self.canvas = QComboBox(), Canvas()
        for photo in marks.file.photos:
            self.choice.addItem(photo.name)
        title = QLabel(marks.file.title)
        title.setStyleSheet("font-weight: bold")
        top = QHBoxLayout()
        top.addWidget(title, 1)
        top.addWidget(QLabel("photograph"))
        top.addWidget(self.choice)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(4, 4, 4, 4)
        layout.addLayout(top)
        layout.addWidget(self.canvas, 1)
        self.choice.currentIndexChanged.connect(self.show_photo)

    @property
    def photo(self) -> str:
        """Name of the photograph that is shown."""
        return self.choice.currentText()

    def show_photo(self) -> None:
        """Show the chosen photograph."""
        found = next(p for p in self.marks.file.photos if p.name == self.photo)
        self.canvas.show_photo(found.file, found.size_px)
        self.refresh()

    def refresh(self) -> None:
        """Draw the marks as they are now."""
        self.canvas.marks = [(k, m) for k, m in enumerate(self.marks.marks) if m.photo == self.photo]
        self.canvas.viewport().update()


class NameTree(QTreeWidget):
    """Every name that can be marked, by side and kind.

    Parameters
    ----------
    items : tuple of ListedMark
    """

    def __init__(self, items: tuple[ListedMark, ...]) -> None:
        super().__init__()
        self.setHeaderLabels(["name", "", "state"])
        self.setColumnWidth(0, 170)
        self.setColumnWidth(1, 34)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.rows: dict[ListedMark, QTreeWidgetItem] = {}
        groups: dict[str, QTreeWidgetItem] = {}
        for item in items:
            group = f"{item.side}: {item.kind}s"
            if group not in groups:
                groups[group] = QTreeWidgetItem(self, [group])
                groups[group].setFlags(Qt.ItemFlag.ItemIsEnabled)
                groups[group].setExpanded(True)
            self.rows[item] = QTreeWidgetItem(groups[group], [item.name])
            self.rows[item].setData(0, Qt.ItemDataRole.UserRole, item)

    @property
    def chosen(self) -> ListedMark:
        """The name that is chosen; the first where none is."""
        row = self.currentItem()
        found = None if row is None else row.data(0, Qt.ItemDataRole.UserRole)
        return found if isinstance(found, ListedMark) else next(iter(self.rows))

    def follow(self, marks: Marks, photo: str) -> None:
        """Show what is done of each name in a photograph."""
        for item, row in self.rows.items():
            state, wanted = marks.state(photo, item), WANTED[item.kind]
            row.setText(1, f"{len(marks.of(photo, item))}/{wanted}" if wanted > 1 else "")
            row.setText(2, f"{SIGNS[state]} {state}")
            colour = {"seen": GREEN, "doubtful": VERMILION}.get(state)
            row.setForeground(2, QBrush(QColor(colour)) if colour else QBrush())
