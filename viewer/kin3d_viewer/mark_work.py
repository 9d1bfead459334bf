"""The adjustment of the marks, beside the window's own thread."""

from __future__ import annotations

from PySide6.QtCore import QObject, QRunnable, Signal

from kin3d.reading.photo_records import CarPhotos
from kin3d_viewer.marking import Solution, solve


class Told(QObject):
    """Hands what was found back to the window: the solution or a sentence, and the number of the work."""

    done = Signal(object, int)


class Work(QRunnable):
    """An adjustment beside the window's own thread."""

    def __init__(self, photographs: CarPhotos, before: Solution | None, number: int) -> None:
        super().__init__()
        self.told = Told()
        self._given = photographs, before, number

    def run(self) -> None:
        """Adjust and hand back."""
        photographs, before, number = self._given
        try:
            found: Solution | str = solve(photographs, before)
        except Exception as error:  # noqa: BLE001 - a window goes on; what happened is said in it
            found = f"no solution: {error}"
        self.told.done.emit(found, number)
