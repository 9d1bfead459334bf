"""Pictures without a window, with the curves' cursor. OpenGL in software is enough."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from kin3d.writing.files import check_place
from kin3d_viewer.charts import Charts
from kin3d_viewer.images import STILLS, Image, save_still
from kin3d_viewer.primitives import Array
from kin3d_viewer.probe import need_pictures
from kin3d_viewer.session import Session
from kin3d_viewer.stage import Stage
from kin3d_viewer.style import SHOWN

CHART_SHARE = 0.36  # of the width, for the column of curves
CHART_DPI = 100


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
    """

    view: str = "perspective"
    focus: str = "axle"
    layers: tuple[str, ...] = SHOWN
    curves: tuple[str, ...] = ()
    size: tuple[int, int] = (1280, 800)


class Camera:
    """An off-screen stage with its column of curves."""

    def __init__(self, session: Session, options: PictureOptions) -> None:
        need_pictures()
        import pyvista

        self.session, self.options = session, options
        width, height = options.size
        beside = round(width * CHART_SHARE) if options.curves else 0
        self.plotter = pyvista.Plotter(off_screen=True, window_size=[width - beside, height], lighting="light kit")
        self.stage = Stage(self.plotter, options.layers)
        self.charts = self._charts(beside, height) if options.curves else None
        self.stage.overlay.scale = max(1.0, height / 800.0)
        self._started = False

    def _charts(self, width: int, height: int) -> Charts:
        from matplotlib.figure import Figure

        figure = Figure(figsize=(width / CHART_DPI, height / CHART_DPI), dpi=CHART_DPI)
        return Charts(figure, self.session.editor.model.every_measure, self.options.curves)

    def aim(self, places: Array | None = None) -> None:
        """Put the camera to the asked view, for the scene as it stands or for places in the picture's frame."""
        self.stage.look(self.options.view, self.options.focus, places)

    def places(self) -> Array:
        """What a camera must hold of the present state, picture's frame, shape (n, 3)."""
        self.stage.show(self.session.scene(self.options.layers))
        return self.stage.places(self.options.focus)

    def shoot(self, *, aim: bool = True, holding: Array | None = None) -> Image:
        """The present state as an array, shape (height, width, 3); the camera holds all of it, or the places given."""
        self.stage.overlay.caption = self.session.caption()
        self.stage.overlay.cars = self.session.cars()
        self.stage.show(self.session.scene(self.options.layers))
        if aim:
            self.aim(holding)
        if not self._started:
            self.plotter.enable_anti_aliasing("ssaa")
            self.plotter.show(auto_close=False)
            self._started = True
        self.stage.frame()
        image: Image = np.asarray(self.plotter.screenshot(return_img=True))[:, :, :3]
        return image if self.charts is None else np.hstack([image, self._curves(image.shape[0])])

    def _curves(self, height: int) -> Image:
        charts, view = self.charts, self.session.view
        assert charts is not None
        ghost = self.session.ghost()
        file = self.session.file_curves()
        charts.show(view.curves, file, None if ghost is None else ghost.curves)
        other = self.session.other
        charts.legend(file=file is not None, ghost="" if other is None else other.car.title)
        charts.cursor(view.now.drives[self.session.over], view.now.values)
        image: Image = charts.image()
        return image[:height] if image.shape[0] >= height else np.pad(image, ((0, height - len(image)), (0, 0), (0, 0)))

    def close(self) -> None:
        """Let go of the graphics memory."""
        self.plotter.close()

    def __enter__(self) -> Camera:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def screenshot(session: Session, file: Path, options: PictureOptions) -> None:
    """Write one picture of the present state.

    Raises
    ------
    RequestError
        No OpenGL library, an ending that is not one of `STILLS`, a place that cannot be written.
    """
    check_place(file, STILLS, "--screenshot")
    with Camera(session, options) as camera:
        image = camera.shoot()
    save_still(file, image)
