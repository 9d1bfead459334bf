"""The hand on the points: picking, several at once, dragging, nudging, typing, taking back, measuring."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from PySide6.QtCore import QObject, Qt
from PySide6.QtWidgets import QApplication

from kin3d_viewer.editing import Step
from kin3d_viewer.host import Host
from kin3d_viewer.pointer import Picked, nudge_direction
from kin3d_viewer.primitives import Array, Ball
from kin3d_viewer.scene_marks import distance_words

NUDGE_MM = 1.0


class Hand(QObject):
    """Picks and moves points of a window's car.

    Attributes
    ----------
    held : tuple of Picked
        The points that are picked, all of one side; the last is the one that was picked last.
    """

    def __init__(self, host: Host) -> None:
        super().__init__()
        self.window = host
        self.held: tuple[Picked, ...] = ()
        self._from = ""
        window = host
        mouse = window.mouse
        mouse.picked.connect(self.pick)
        mouse.touched.connect(self.touch)
        mouse.began.connect(self.begin)
        mouse.dragged.connect(self.drag)
        mouse.ended.connect(lambda: window.done(window.session.editor.end_drag()))
        mouse.refused.connect(window.say)
        mouse.nudged.connect(self.nudge)

    # picking

    def pick(self, point: Picked, joins: bool = False) -> None:
        """Choose a point, or with `joins` add it to those that are picked or take it away from them."""
        there = [p for p in self.held if p.side == point.side]
        if joins:
            held = [p for p in there if p != point]
            self._hold(held if point in there else [*held, point])
        elif point in there:  # one of several is taken hold of: they go together
            self._hold([*(p for p in there if p != point), point])
        else:
            self._hold([point])

    def choose(self, points: Sequence[str]) -> None:
        """Choose points of the table's side by their names; while measuring, the end of the ruler."""
        if self.window.mouse.measuring and len(points) == 1:
            self.touch(Picked(self.window.desk.points.side, points[0]).name)
            return
        self._hold([Picked(self.window.desk.points.side, p) for p in points])

    def arm(self) -> None:
        """Take the joints on the chassis along of every body that the picked point is of."""
        if not self.held:
            self.window.say("pick a point of the arm first")
            return
        linkage, lead = self.window.session.editor.model.base.linkage, self.held[-1]
        movable = self.window.session.editor.model.points()
        bodies = [points for points in linkage.bodies.values() if lead.point in points]
        pivots = [p for points in bodies for p in points if p in linkage.fixed and p in movable and p != lead.point]
        self._hold([*(Picked(lead.side, p) for p in dict.fromkeys(pivots)), lead])

    def let_go(self) -> None:
        """Pick nothing, measure nothing."""
        self._from, self.window.mouse.measuring = "", False
        self.window.session.ruler = None
        self._hold([])

    def _hold(self, points: Sequence[Picked]) -> None:
        window = self.window
        self.held = tuple(points)
        window.mouse.held = self.held[-1] if self.held else None
        window.session.marked = window.stage.highlights = tuple(p.name for p in self.held)
        if not self.held or self.held[0].side == window.desk.points.side:
            window.desk.points.select([p.point for p in self.held])
        if self.held:
            window.say(self._about())
        window.refresh(quick=True)

    def _about(self) -> str:
        """What is picked, in a sentence."""
        editor, lead = self.window.session.editor, self.held[-1]
        if len(self.held) > 1:
            return f"{len(self.held)} points move together: {', '.join(p.point for p in self.held)}"
        linkage = editor.model.base.linkage
        bodies = [b for b, points in linkage.bodies.items() if lead.point in points]
        bodies += ["chassis"] if lead.point in linkage.fixed else []
        bodies += ["rack"] if lead.point in linkage.rack else []
        x, y, z = editor.place(lead.side, lead.point)
        return f"{lead.name}: {x:.2f}, {y:.2f}, {z:.2f} mm in design; joins {' and '.join(bodies)}"

    # moving

    def lock(self, axis: str) -> None:
        """Drag along one axis, or freely again."""
        mouse = self.window.mouse
        mouse.lock = "" if mouse.lock == axis else axis
        self.window.say(f"drag along {axis} only" if mouse.lock else "drag in the picture plane")

    def begin(self) -> None:
        """A drag begins: what nobody sees is worked out when it ends."""
        window, editor = self.window, self.window.session.editor
        force = bool({"rod force", "forces"} & window.stage.layers)
        editor.model.followed = None if force else window.desk.followed(window.stage.layers)
        editor.begin_drag()

    def drag(self, shift: Array) -> None:
        """A step of a drag."""
        if self.held:
            names = [p.point for p in self.held]
            self.window.done(self.window.session.editor.drag(self.held[0].side, names, shift), quick=True)

    def nudge(self, way: str, factor: float) -> None:
        """Move the picked points a step with an arrow key."""
        editor = self.window.session.editor
        shift = NUDGE_MM * factor * nudge_direction(self.window.mouse.eye(), way)
        places = {p.point: editor.place(p.side, p.point) + shift for p in self.held}
        if places:
            self.window.done(editor.set_points(self.held[0].side, places))

    def type_coordinate(self, point: str, number: int, value: float) -> None:
        """A coordinate typed into the table."""
        editor, side = self.window.session.editor, self.window.desk.points.side
        place = editor.place(side, point).copy()
        if value != value:
            self.window.done(Step(editor.view, f"{point}: a number in mm is expected"))
            return
        place[number] = value
        self.window.done(editor.set_point(side, point, place))

    def undo(self) -> None:
        """Take the last move back."""
        self.window.done(self.window.session.editor.undo())

    def redo(self) -> None:
        """Do again what was taken back."""
        self.window.done(self.window.session.editor.redo())

    def reset(self) -> None:
        """Back to the file's points."""
        self.window.done(self.window.session.editor.reset())

    # measuring

    def tune(self) -> None:
        """Move the points to where all is had that the targets want."""
        QApplication.setOverrideCursor(Qt.CursorShape.WaitCursor)
        try:
            step, said = self.window.session.tune()
        finally:
            QApplication.restoreOverrideCursor()
        self.window.done(step)
        if said and not step.reason:
            self.window.say(said)

    def measure(self) -> None:
        """Measure from the picked point to the next that is clicked; or put the ruler away."""
        window = self.window
        if window.session.ruler is not None or window.mouse.measuring:
            window.session.ruler, window.mouse.measuring, self._from = None, False, ""
            window.say("the ruler is put away")
        else:
            self._from = self.held[-1].name if self.held else ""
            window.mouse.measuring = True
            window.say(f"measure from {self._from} to: click a point" if self._from else "measure from: click a point")
        window.refresh(quick=True)

    def touch(self, name: str) -> None:
        """An end of the ruler was clicked."""
        window = self.window
        if not self._from:
            self._from = name
            window.say(f"measure from {name} to: click a point")
            return
        window.session.ruler, window.mouse.measuring = (self._from, name), False
        self._from = ""
        window.refresh(quick=True)
        window.say(self.distance())

    def distance(self) -> str:
        """What the ruler says; empty without one."""
        ruler, scene = self.window.session.ruler, self.window.stage.scene
        balls = {p.name: p.centre for p in scene.of(Ball) if isinstance(p, Ball)} if scene else {}
        if ruler is None or not all(n in balls for n in ruler):
            return ""
        return f"{ruler[0]} to {ruler[1]}: {distance_words(np.array([balls[n] for n in ruler]))}"
