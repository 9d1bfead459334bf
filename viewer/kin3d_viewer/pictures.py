"""Pictures without a window, with the curves' cursor. OpenGL in software is enough."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import numpy as np

from kin3d.writing.files import check_place
from kin3d_viewer.charts import Charts
from kin3d_viewer.images import STILLS, Image, inches, save_still
from kin3d_viewer.primitives import Array, Ball, Scene
from kin3d_viewer.probe import need_pictures
from kin3d_viewer.session import Session
from kin3d_viewer.stage import Stage
from kin3d_viewer.style import SHOWN
from kin3d_viewer.views import Framing

CHART_SHARE = 0.36  # of the width, for the column of curves
CHART_DPI = 100
NEAR_MM = np.array([0.0, 40.0, 18.0])  # room about the roll centres in the picture below


@dataclass(frozen=True, slots=True)
class PictureOptions:
    """How a picture is taken.

    Attributes
    ----------
    view : str
        Key of `kin3d_viewer.views.VIEWS`.
    focus : {"axle", "left", "right"}
        What fills the picture.
    layers : tuple of str
    curves : tuple of str
        Measures drawn at the right; none: the picture is all 3D.
    size : (int, int)
        Width and height, px.
    near : bool
        With the surroundings of the roll centres below the picture, larger.
    """

    view: str = "perspective"
    focus: str = "axle"
    layers: tuple[str, ...] = SHOWN
    curves: tuple[str, ...] = ()
    size: tuple[int, int] = (1280, 800)
    near: bool = False


class Shown(Protocol):
    """What a picture is taken of: a session, or a car on its way to another one."""

    def scene(self, layers: Collection[str] = ()) -> Scene:
        """Everything that is seen now."""

    def caption(self) -> str:
        """The line at the top."""

    def cars(self) -> tuple[tuple[str, str], ...]:
        """Colour and title of the cars, where there are several."""

    def legend(self) -> tuple[tuple[str, str], ...]:
        """Colour and meaning of what is drawn beside the linkage."""


class Beside(Protocol):
    """What stands beside a picture."""

    def image(self) -> Image:
        """As it is now, shape (height, width, 3)."""


class CurveColumn:
    """The column of curves beside a picture of a session."""

    def __init__(self, session: Session, names: tuple[str, ...], size: tuple[int, int]) -> None:
        from matplotlib.figure import Figure

        self.session = session
        figure = Figure(figsize=inches(size, CHART_DPI), dpi=CHART_DPI)
        self.charts = Charts(figure, session.editor.model.every_measure, names)

    def image(self) -> Image:
        """As they are now, shape (height, width, 3)."""
        charts, view, ghost = self.charts, self.session.view, self.session.ghost()
        file = self.session.file_curves()
        charts.paint(*self.session.colours)
        charts.show(view.curves, file, None if ghost is None else ghost.curves, self.session.bands())
        other = self.session.other
        charts.legend(file=file is not None, ghost="" if other is None else other.car.title)
        charts.cursor(view.now.drives[self.session.over], view.now.values)
        image: Image = charts.image()
        return image


def beside_px(options: PictureOptions) -> tuple[int, int]:
    """Size of what stands beside a picture."""
    return round(options.size[0] * CHART_SHARE), options.size[1]


class Camera:
    """An off-screen stage, with what stands beside the picture.

    Parameters
    ----------
    shown : Shown
    options : PictureOptions
    beside : Beside, optional
    """

    def __init__(self, shown: Shown, options: PictureOptions, beside: Beside | None = None) -> None:
        need_pictures()
        import pyvista

        self.shown, self.options, self.beside = shown, options, beside
        width, height = options.size
        width -= beside_px(options)[0] if beside else 0
        self._height, height = height, height // 2 if options.near else height
        self.plotter = pyvista.Plotter(off_screen=True, window_size=[width, height], lighting="light kit")
        self.stage = Stage(self.plotter, options.layers)
        self.stage.overlay.scale = max(1.0, options.size[1] / 800.0)
        self._started = False
        self.whole: Framing | None = None
        self.close: Framing | None = None

    def aim(self, places: Array | None = None, near: Array | None = None) -> None:
        """Put the camera to the asked view.

        Parameters
        ----------
        places : ndarray, shape (n, 3), optional
            What it must hold, in the picture's frame; default: the scene as it stands.
        near : ndarray, shape (n, 3), optional
            What the picture below it must hold.
        """
        self.whole = self.stage.look(self.options.view, self.options.focus, places)
        if self.options.near:
            self.close = self.stage.look(self.options.view, "axle", self.near() if near is None else near)

    def places(self) -> Array:
        """What a camera must hold of the present state, picture's frame, shape (n, 3)."""
        self.stage.show(self.shown.scene(self.options.layers))
        return self.stage.places(self.options.focus)

    def near(self) -> Array:
        """What the picture of the roll centres must hold of the scene as it stands, picture's frame, shape (n, 3)."""
        assert self.stage.scene is not None
        scene = self.stage.scene
        balls = [p.centre for p in scene.of(Ball) if isinstance(p, Ball) and p.role.endswith("roll centre")]
        found = scene.level.seen(np.array([*balls, scene.level.foot]))
        return np.concatenate([found + NEAR_MM, found - NEAR_MM])

    def shoot(self, *, aim: bool = True, holding: Array | None = None, near: Array | None = None) -> Image:
        """The present state as an array, shape (height, width, 3); the camera holds all of it, or the places given."""
        overlay = self.stage.overlay
        self.stage.show(self.shown.scene(self.options.layers))
        if aim or self.whole is None:
            self.aim(holding, near)
        assert self.whole is not None
        overlay.caption, overlay.cars = self.shown.caption(), (*self.shown.cars(), *self.shown.legend())
        image = self._take(self.whole, "")
        if self.close is not None:
            overlay.caption, overlay.cars = "Near the roll centre", ()
            self._size_marks(self.close.half_height_mm / self.whole.half_height_mm)
            image = np.vstack([image, self._take(self.close, "near")])
            self._size_marks(1.0)
        if self.beside is not None:
            image = np.hstack([_filled(image, self._height), _filled(self.beside.image(), self._height)])
        return image

    def _size_marks(self, size: float) -> None:
        assert self.stage.scene is not None
        self.stage.marker = size
        self.stage.show(self.stage.scene)

    def _take(self, frame: Framing, pane: str) -> Image:
        self.stage.aim(frame)
        self.stage.overlay.pane = pane
        if not self._started:
            self.plotter.enable_anti_aliasing("ssaa")
            self.plotter.show(auto_close=False)
            self._started = True
        self.stage.frame()
        image: Image = np.asarray(self.plotter.screenshot(return_img=True))[:, :, :3]
        return image

    def close_down(self) -> None:
        """Let go of the graphics memory."""
        self.plotter.close()

    def __enter__(self) -> Camera:
        return self

    def __exit__(self, *_: object) -> None:
        self.close_down()


def _filled(image: Image, height: int) -> Image:
    """An image with exactly so many rows."""
    missing = max(0, height - len(image))
    return np.pad(image[:height], ((0, missing), (0, 0), (0, 0)), mode="edge")


def camera_of(session: Session, options: PictureOptions) -> Camera:
    """A camera for a session, with its curves beside where there are any."""
    curves = CurveColumn(session, options.curves, beside_px(options)) if options.curves else None
    return Camera(session, options, curves)


def screenshot(session: Session, file: Path, options: PictureOptions) -> None:
    """Write one picture of the present state.

    Raises
    ------
    RequestError
        No OpenGL library, an ending that is not one of `STILLS`, a place that cannot be written.
    """
    check_place(file, STILLS, "--screenshot")
    with camera_of(session, options) as camera:
        image = camera.shoot()
    save_still(file, image)
