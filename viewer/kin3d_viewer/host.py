"""What the parts of the window may ask of it."""

from __future__ import annotations

from typing import Any, Protocol

from kin3d_viewer.desk import Desk
from kin3d_viewer.editing import Step
from kin3d_viewer.mouse import Mouse
from kin3d_viewer.session import Session
from kin3d_viewer.stage import Stage


class Host(Protocol):
    """The window, as its parts know it; it is a QMainWindow too, and the parent of what they make.

    Attributes
    ----------
    session : Session
    stage : Stage
    desk : Desk
    mouse : Mouse
    plotter : pyvistaqt.QtInteractor
    """

    session: Session
    stage: Stage
    desk: Desk
    mouse: Mouse
    plotter: Any

    def done(self, step: Step, *, quick: bool = False) -> None:
        """Show what came of a move, and why it is not all that was asked for."""

    def refresh(self, *, quick: bool = False) -> None:
        """Bring picture, curves and tables to the session's state."""

    def say(self, text: str) -> None:
        """A sentence in the status line."""

    def take(self, session: Session) -> None:
        """Show a session, in place of the one before."""

    def retitle(self) -> None:
        """Say in the title what is shown, and whether there are changes that no file has."""
