"""Dialogs of the window: saving a car, saving a picture, the keys."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QDialog, QFileDialog, QGridLayout, QLabel, QWidget

from kin3d.errors import Kin3dError
from kin3d.writing.files import check_place, replacing
from kin3d_viewer.images import STILLS, save_still
from kin3d_viewer.keys import help_rows
from kin3d_viewer.model import LiveModel
from kin3d_viewer.saving import save_car
from kin3d_viewer.stage import Stage

STILL_SCALE = 2


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
    """A sheet over the middle of its parent."""

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent, Qt.WindowType.FramelessWindowHint | Qt.WindowType.Dialog)
        self.setObjectName("help")
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.setWindowOpacity(0.96)
        grid = QGridLayout(self)
        grid.setContentsMargins(28, 22, 28, 22)
        grid.setHorizontalSpacing(18)
        column, row = 0, 0
        for title, rows in help_rows():
            if row > 15:
                column, row = column + 2, 0
            grid.addWidget(QLabel(f"<b>{title}</b>"), row, column, 1, 2)
            for k, (keys, about) in enumerate(rows, 1):
                grid.addWidget(QLabel(keys), row + k, column)
                grid.addWidget(QLabel(about), row + k, column + 1)
            row += len(rows) + 1
        self.adjustSize()
        self.move(parent.geometry().center() - self.rect().center())

    def keyPressEvent(self, _event: Any) -> None:  # noqa: N802 - Qt's name
        """Close."""
        self.close()

    def mousePressEvent(self, _event: Any) -> None:  # noqa: N802 - Qt's name
        """Close."""
        self.close()
