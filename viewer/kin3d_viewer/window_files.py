"""Dialogs of the window: saving a car, saving a picture, the keys."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from PySide6.QtCore import QSize, Qt
from PySide6.QtWidgets import QDialog, QFileDialog, QFrame, QGridLayout, QLabel, QScrollArea, QVBoxLayout, QWidget

from kin3d.errors import Kin3dError
from kin3d.writing.files import check_place, replacing
from kin3d_viewer.curve_files import save_curves
from kin3d_viewer.images import STILLS, save_still
from kin3d_viewer.keys import help_rows
from kin3d_viewer.model import LiveModel
from kin3d_viewer.saving import save_car
from kin3d_viewer.session import Session
from kin3d_viewer.stage import Stage

HELP_PX = 1000  # width of the sheet of keys, where the window has room for it


def ask_car_file(parent: QWidget, model: LiveModel) -> str:
    """Ask for a file and save the car there; returns what to say."""
    usual = model.car.source.with_name(f"{model.car.source.stem}_changed.toml")
    name = _ask(parent, "Save as a new car file", usual, "Car file (*.toml)")
    if not name:
        return "not saved"
    try:
        with replacing():  # the dialog has asked whether an older file is to be replaced
            written = save_car(model, Path(name))
    except Kin3dError as error:
        return f"not saved: {error}"
    return f"saved: {', '.join(str(p) for p in written)}"


def ask_picture(parent: QWidget, take: Callable[[], Any]) -> str:
    """Ask for a file and save a picture there; returns what to say."""
    name = _ask(parent, "Save a picture", Path("picture.png"), "Picture (*.png *.jpg)")
    if not name:
        return "no picture saved"
    try:
        file = Path(name if Path(name).suffix else f"{name}.png")
        check_place(file, STILLS, "picture")
        with replacing():  # the dialog has asked whether an older file is to be replaced
            save_still(file, take())
    except Kin3dError as error:
        return f"no picture saved: {error}"
    return f"picture saved: {name}"


def ask_curves(parent: QWidget, session: Session, names: Sequence[str]) -> str:
    """Ask for a file and save the curves there; returns what to say."""
    if not names:
        return "no curves saved: none is chosen in the tab Curves"
    kinds = "Table (*.csv);;Picture (*.svg *.pdf *.png)"
    name = _ask(parent, "Save the curves", Path("curves.csv"), kinds)
    if not name:
        return "no curves saved"
    try:
        with replacing():  # the dialog has asked whether an older file is to be replaced
            return save_curves(session, names, Path(name if Path(name).suffix else f"{name}.csv"))
    except Kin3dError as error:
        return f"no curves saved: {error}"


def ask_open(parent: QWidget, title: str, folder: Path) -> Path | None:
    """Ask for a car file; None when none was chosen."""
    options = QFileDialog.Option.DontUseNativeDialog
    name = QFileDialog.getOpenFileName(parent, title, str(folder), "Car file (*.toml)", options=options)[0]
    return Path(name) if name else None


def _ask(parent: QWidget, title: str, usual: Path, kinds: str) -> str:
    # the dialog of Qt itself looks and works the same on every desktop
    options = QFileDialog.Option.DontUseNativeDialog
    return QFileDialog.getSaveFileName(parent, title, str(usual), kinds, options=options)[0]


def still(plotter: Any, stage: Stage) -> Any:
    """The 3D view as an array with smooth edges, shape (height, width, 3)."""
    plotter.enable_anti_aliasing("ssaa")
    stage.frame()
    image = plotter.screenshot(return_img=True)
    plotter.disable_anti_aliasing()
    stage.frame()
    return image


def show_help(parent: QWidget) -> QDialog:
    """All keys, over the window; any key or a click closes it."""
    overlay = _Help(parent)
    overlay.show()
    return overlay


class _Help(QDialog):
    """A sheet over the middle of its parent, which scrolls where it is larger than it."""

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent, Qt.WindowType.FramelessWindowHint | Qt.WindowType.Dialog)
        self.setObjectName("help")
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        sheet = QWidget()
        grid = QGridLayout(sheet)
        grid.setHorizontalSpacing(18)
        half = sum(len(rows) + 1 for _, rows in help_rows()) / 2
        column, row = 0, 0
        for title, rows in help_rows():
            if row + len(rows) / 2 > half and column == 0:
                column, row = 2, 0
            grid.addWidget(QLabel(f"<b>{title}</b>"), row, column, 1, 2)
            for k, (keys, about) in enumerate(rows, 1):
                grid.addWidget(QLabel(keys), row + k, column)
                words = QLabel(about)
                words.setWordWrap(True)
                words.setMinimumWidth(160)
                grid.addWidget(words, row + k, column + 1)
            row += len(rows) + 1
        area = QScrollArea()
        area.setWidget(sheet)
        area.setWidgetResizable(True)  # lines break in a narrow window
        grid.setColumnStretch(1, 1)
        grid.setColumnStretch(3, 1)
        area.setFrameShape(QFrame.Shape.NoFrame)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(22, 18, 12, 18)
        layout.addWidget(area)
        wanted = QSize(HELP_PX, sheet.heightForWidth(HELP_PX - 60) + 60)
        self.resize(wanted.boundedTo(parent.size() - QSize(30, 30)))
        self.move(parent.geometry().center() - self.rect().center())

    def keyPressEvent(self, _event: Any) -> None:  # noqa: N802 - Qt's name
        """Close."""
        self.close()

    def mousePressEvent(self, _event: Any) -> None:  # noqa: N802 - Qt's name
        """Close."""
        self.close()
