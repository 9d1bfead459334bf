"""The sliders, and the sweep that plays by itself."""

from __future__ import annotations

from PySide6.QtCore import QObject, QTimer

from kin3d_viewer.editing import Step
from kin3d_viewer.host import Host
from kin3d_viewer.model import Drives

FRAME_MS = 30


class Player(QObject):
    """Moves the linkage of a window."""

    def __init__(self, host: Host) -> None:
        super().__init__()
        self.window = host
        self._timer = QTimer(self)
        self._timer.setInterval(FRAME_MS)
        self._timer.timeout.connect(self._play_on)
        self._way = 1

    def drive(self, name: str, value: float) -> None:
        """Move a slider."""
        self.window.done(self.window.session.editor.drive(**{name: value}))

    def run_over(self, drive: str) -> None:
        """Let the curves run over another drive."""
        self.window.done(self.window.session.run_over(drive))

    def design_position(self) -> None:
        """All sliders to zero."""
        self.window.done(self.window.session.editor.drive(**Drives().as_dict()))

    def drive_on(self) -> None:
        """One step along the sweep."""
        self._step(1)

    def drive_back(self) -> None:
        """One step back along the sweep."""
        self._step(-1)

    def _step(self, way: int) -> Step:
        session = self.window.session
        at = session.editor.model.ranges[session.over]
        here = session.editor.drives.as_dict()[session.over]
        ahead = [v for v in at if (v - here) * way > 1e-9]
        if not ahead:
            return Step(session.view, "end of the sweep")
        step = session.editor.drive(**{session.over: min(ahead) if way > 0 else max(ahead)})
        self.window.done(step)
        return step

    def play(self) -> None:
        """Play the sweep to and fro, or stop."""
        running = self._timer.isActive()
        (self._timer.stop if running else self._timer.start)()
        self.window.desk.drives.button.setText("Play" if running else "Stop")

    def stop(self) -> None:
        """Stop."""
        if self._timer.isActive():
            self.play()

    def _play_on(self) -> None:
        if self._step(self._way).reason:
            self._way = -self._way
