"""A window as large as is usual, and within the screen."""

from __future__ import annotations

from PySide6.QtWidgets import QWidget

SCREEN_SHARE = (0.96, 0.90)  # of a small screen: the window's own frame must be on it too


def fit_screen(window: QWidget, wanted: tuple[int, int]) -> None:
    """Give a window its size and its place on its screen.

    Parameters
    ----------
    wanted : (int, int)
        Width and height where the screen has room for them, in the units of the screen's scale.
    """
    free = window.screen().availableGeometry()
    room = (free.width(), free.height())
    width, height = (min(a, round(s * b)) for a, s, b in zip(wanted, SCREEN_SHARE, room, strict=True))
    window.resize(width, height)
    window.move(free.x() + (free.width() - width) // 2, free.y() + (free.height() - height) // 3)
