"""Pictures without a window: a still, a film of the sweep with the curves' cursor. OpenGL in software is enough."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError
from kin3d.writing.files import MARK, check_place, whole_file
from kin3d_viewer.charts import Charts
from kin3d_viewer.probe import need_pictures
from kin3d_viewer.session import Session
from kin3d_viewer.stage import Stage
from kin3d_viewer.style import SHOWN

Image = NDArray[np.uint8]
STILLS = (".png", ".jpg", ".jpeg")
FILMS = (".gif", ".mp4")
CHART_SHARE = 0.36  # of the width, for the column of curves
FRAMES = 31
FRAMES_PER_SECOND = 20
GIF_COLOURS = 96
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

    def aim(self) -> None:
        """Put the camera to the asked view, for the scene as it stands."""
        self.stage.look(self.options.view, self.options.focus, self.session.view.now.normal)

    def shoot(self, *, aim: bool = True) -> Image:
        """The present state as an array, shape (height, width, 3)."""
        self.stage.overlay.caption = self.session.caption()
        self.stage.show(self.session.scene(self.options.layers))
        if aim:
            self.aim()
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
    _save(file, [image], 1)


def animation(session: Session, file: Path, options: PictureOptions, at: Sequence[float] = ()) -> int:
    """Write the sweep there and back as a film; returns the number of frames.

    Parameters
    ----------
    at : sequence of float
        Values of the drive that the curves run over; default the range of the curves in `FRAMES` steps. Positions out
        of reach are left out.
    """
    check_place(file, FILMS, "--animation")
    reached = np.asarray(at if len(at) else _usual(session), dtype=float)
    with Camera(session, options) as camera:
        images = list(_frames(session, camera, reached))
    if not images:
        text = "no position of the sweep can be reached, so that there is nothing to show"
        raise RequestError(Finding("nothing-to-show", text))
    _save(file, images + images[-2:0:-1], FRAMES_PER_SECOND)
    return 2 * len(images) - 2


def _usual(session: Session) -> NDArray[np.float64]:
    values = np.asarray(session.editor.model.ranges[session.over])
    return np.linspace(values[0], values[-1], FRAMES)


def _frames(session: Session, camera: Camera, at: NDArray[np.float64]) -> Iterator[Image]:
    first = True
    for value in at:
        if not session.editor.drive(**{session.over: float(value)}).reason:
            yield camera.shoot(aim=first)
            first = False


def _save(file: Path, images: list[Image], rate: int) -> None:
    if file.suffix.lower() == ".mp4":
        _film(file, images, rate)
    elif file.suffix.lower() == ".gif":
        _gif(file, images, rate)
    else:
        save_still(file, images[0])


def save_still(file: Path, image: Image) -> None:
    """Write one picture (.png, .jpg) with the mark of the program in it."""
    from PIL.PngImagePlugin import PngInfo

    about = PngInfo()
    about.add_text("Software", MARK)
    with whole_file(file) as beside:
        _image(image).save(beside, **({"pnginfo": about} if file.suffix.lower() == ".png" else {"comment": MARK}))


def _image(array: Image) -> Any:
    from PIL import Image as Pillow

    return Pillow.fromarray(np.ascontiguousarray(array))


def _gif(file: Path, images: list[Image], rate: int) -> None:
    from PIL import Image as Pillow

    middle = _image(images[len(images) // 3]).quantize(GIF_COLOURS, method=Pillow.Quantize.MEDIANCUT)
    frames = [_image(i).quantize(palette=middle, dither=Pillow.Dither.NONE) for i in images]
    with whole_file(file) as beside:
        frames[0].save(
            beside,
            save_all=True,
            append_images=frames[1:],
            duration=round(1000 / rate),
            loop=0,
            optimize=True,
            comment=MARK,
        )


def _film(file: Path, images: list[Image], rate: int) -> None:
    try:
        import imageio_ffmpeg
    except ImportError:
        text = "a film needs imageio-ffmpeg: pip install 'kin3d[viewer]', or write a .gif, which needs nothing more"
        raise RequestError(Finding("no-ffmpeg", text, str(file))) from None
    height, width = (n - n % 2 for n in images[0].shape[:2])
    about = ["-metadata", f"comment={MARK}", "-fflags", "+bitexact", "-flags:v", "+bitexact"]
    with whole_file(file) as beside:
        writer = imageio_ffmpeg.write_frames(
            str(beside), (width, height), fps=rate, codec="libx264", quality=7, output_params=about
        )
        writer.send(None)
        for image in images:
            writer.send(np.ascontiguousarray(image[:height, :width]))
        writer.close()
