"""The mouse over the 3D view: picking and dragging of points, before the camera gets to see it."""

from __future__ import annotations

from typing import Any

import numpy as np
from PySide6.QtCore import QEvent, QObject, Qt, QTimer, Signal

from kin3d_viewer.overlay import project
from kin3d_viewer.pointer import AXES, PICK_PX, Eye, Picked, drag_shift, pick, pick_ball
from kin3d_viewer.primitives import Array, Ball
from kin3d_viewer.stage import Stage

NUDGES = {
    Qt.Key.Key_Left: "left",
    Qt.Key.Key_Right: "right",
    Qt.Key.Key_Up: "up",
    Qt.Key.Key_Down: "down",
    Qt.Key.Key_PageUp: "nearer",
    Qt.Key.Key_PageDown: "farther",
}


class Mouse(QObject):
    """Watches the events of the 3D view.

    Signals
    -------
    picked : Picked, and whether it is to join those that are picked already
    touched : name of a ball of the scene, while `measuring`
    began, ended : a drag of the picked point
    dragged : shift since it began, mm, shape (3,)
    refused : why a point cannot be dragged here
    nudged : direction, factor
    turned : the camera was moved by hand
    resized : the picture has another size
    """

    picked = Signal(object, bool)
    touched = Signal(str)
    began = Signal()
    dragged = Signal(object)
    ended = Signal()
    refused = Signal(str)
    nudged = Signal(str, float)
    turned = Signal()
    resized = Signal()

    def __init__(self, stage: Stage, widget: Any, movable: tuple[str, ...]) -> None:
        super().__init__()
        self.stage, self.widget, self.movable = stage, widget, movable
        self.lock = ""
        self.measuring = False
        self.held: Picked | None = None
        self._start: Array | None = None
        self._pressed: Array | None = None
        self._moving = False
        self._wanted: Array | None = None
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.timeout.connect(self._send)
        widget.installEventFilter(self)

    def eventFilter(self, _: QObject, event: QEvent) -> bool:  # noqa: N802 - Qt's name
        """Take what is ours; the rest goes on to the camera."""
        kind = event.type()
        if kind == QEvent.Type.MouseButtonPress and event.button() == Qt.MouseButton.LeftButton:  # type: ignore[attr-defined]
            return self._press(event)
        if kind == QEvent.Type.MouseMove and self._pressed is not None:
            return self._move(event)
        if kind == QEvent.Type.MouseButtonRelease and self._pressed is not None:
            return self._release()
        if kind == QEvent.Type.KeyPress:
            return self._key(event)
        if kind in (QEvent.Type.MouseButtonRelease, QEvent.Type.Wheel):
            QTimer.singleShot(0, self.turned.emit)
        if kind == QEvent.Type.Resize:
            QTimer.singleShot(0, self.resized.emit)
        # the other keys of the graphics library must not act: some of them end the program
        return kind in (QEvent.Type.KeyRelease, QEvent.Type.MouseButtonDblClick)

    def _at(self, event: Any) -> Array:
        ratio = self.widget.devicePixelRatioF()
        place = event.position()
        return np.array([place.x() * ratio, self.stage.plotter.window_size[1] - place.y() * ratio])

    def _press(self, event: Any) -> bool:
        self.widget.setFocus()
        joins = event.modifiers() == Qt.KeyboardModifier.ControlModifier
        if self.stage.scene is None or not (joins or event.modifiers() == Qt.KeyboardModifier.NoModifier):
            return False
        at, near = self._at(event), PICK_PX * self.widget.devicePixelRatioF()
        if self.measuring:
            name = pick_ball(self.stage.scene, self._project, at, near)
            if name is not None:
                self.touched.emit(name)
            return name is not None
        found = pick(self.stage.scene, self._project, at, self.movable, near)
        if found is None:
            return False
        self.held = found
        self.picked.emit(found, joins)
        self._pressed, self._start, self._moving = at, self.place(found), False
        return True

    def place(self, point: Picked) -> Array:
        """Where a point is seen now."""
        assert self.stage.scene is not None
        ball = self.stage.scene[point.name]
        assert isinstance(ball, Ball)
        return ball.centre

    def _project(self, places: Array) -> Array:
        return project(self.stage.plotter, places)

    def eye(self) -> Eye:
        """The camera as it stands."""
        camera = self.stage.plotter.camera
        back = np.array(camera.position) - np.array(camera.focal_point)
        back /= np.linalg.norm(back)
        right = np.cross(np.array(camera.up), back)
        right /= np.linalg.norm(right)
        scale = self.stage.plotter.window_size[1] / (2.0 * camera.parallel_scale)
        return Eye(right, np.cross(back, right), back, bool(camera.parallel_projection), scale)

    def _move(self, event: Any) -> bool:
        assert self._pressed is not None
        assert self._start is not None
        moved = self._at(event) - self._pressed
        if not self._moving and float(np.linalg.norm(moved)) < 3.0:
            return True
        along = None
        if self.lock:
            ends = self._project(np.array([self._start, self._start + AXES[self.lock]]))
            along = ends[1] - ends[0]
        shift = drag_shift(self.eye(), moved, self.lock, along)
        if isinstance(shift, str):
            self.refused.emit(shift)
            return True
        if not self._moving:
            self._moving = True
            self.began.emit()
        self._wanted = shift
        if not self._timer.isActive():
            self._timer.start(0)  # movements that come while a step is computed are merged into the next
        return True

    def _send(self) -> None:
        if self._wanted is not None:
            wanted, self._wanted = self._wanted, None
            self.dragged.emit(wanted)

    def _release(self) -> bool:
        moving, self._pressed, self._moving = self._moving, None, False
        if moving:
            self._timer.stop()
            self._send()
            self.ended.emit()
        return True

    def _key(self, event: Any) -> bool:
        way = NUDGES.get(Qt.Key(event.key()))
        if way is not None and self.held is not None:
            held = event.modifiers()
            factor = 10.0 if held & Qt.KeyboardModifier.ShiftModifier else 1.0
            self.nudged.emit(way, 0.1 if held & Qt.KeyboardModifier.ControlModifier else factor)
        return True
