"""What is written over the picture: labels with leaders, the caption, the scale."""

from __future__ import annotations

from typing import Any

import numpy as np

from kin3d.writing.style import INK
from kin3d_viewer.labels import arrange, short_title
from kin3d_viewer.primitives import Array, Label
from kin3d_viewer.style import PAPER
from kin3d_viewer.views import VIEWS

FONT_PX = 13
CAPTION_PX = 16
SCALES_MM = (10, 20, 50, 100, 200, 500, 1000, 2000)
TOP_PX, BOTTOM_PX = 40, 34
EDGE_PX = 40.0
FAR_MM = 3990.0  # a line of this length has been cut off
MOST_SIZES = 500


class Overlay:
    """Texts on the picture plane of a plotter.

    Attributes
    ----------
    labels : list of Label
    caption : str
        First line, upper left.
    cars : tuple of (str, str)
        Where there are several: the colour and the title of each, below it; then what further colours mean.
    view : str
        Name of the view, for the scale; empty when the camera was moved by hand.
    pane : str
        Which of several pictures is drawn: labels keep their places in each.
    """

    def __init__(self, plotter: Any) -> None:
        self.plotter = plotter
        self.labels: list[Label] = []
        self.caption = ""
        self.cars: tuple[tuple[str, str], ...] = ()
        self.view = ""
        self.pane = ""
        self.scale = 1.0
        self._texts: dict[str, Any] = {}
        self._sizes: dict[str, Array] = {}
        self._kept: dict[tuple[str, str], Array] = {}
        self._leaders = _Strokes(plotter, "#4b565e", 1.0)
        self._bar = _Strokes(plotter, INK, 2.0)
        self._title = _text(plotter, CAPTION_PX, bold=True, boxed=True)
        self._cars: list[Any] = []
        self._measure = _text(plotter, FONT_PX, bold=False)

    def arrange(self) -> None:
        """Place everything for the camera as it stands."""
        width, height = self.plotter.window_size
        self._caption(height)
        self._scale(width)
        self._place_labels(width, height)

    def _caption(self, height: int) -> None:
        self._title.SetInput(self.caption)
        self._title.GetTextProperty().SetFontSize(round(CAPTION_PX * self.scale))
        self._title.SetPosition(12, height - (12 + CAPTION_PX) * self.scale)
        while len(self._cars) < len(self.cars):
            self._cars.append(_text(self.plotter, FONT_PX, bold=True, boxed=True))
        x = 12.0
        for number, actor in enumerate(self._cars):
            actor.SetVisibility(number < len(self.cars))
            if number >= len(self.cars):
                continue
            colour, title = self.cars[number]
            actor.SetInput(f"{'■' if number == 0 else '◆'} {short_title(title)}")
            actor.GetTextProperty().SetColor(*_rgb(colour))
            actor.GetTextProperty().SetFontSize(round(FONT_PX * self.scale))
            actor.SetPosition(x, height - (22 + CAPTION_PX + FONT_PX) * self.scale)
            box = [0.0, 0.0]
            actor.GetSize(self.plotter.renderer, box)
            x += box[0] + 14.0 * self.scale

    @property
    def top_px(self) -> float:
        """Height that the lines at the top take."""
        return (TOP_PX + (FONT_PX + 8 if self.cars else 0)) * self.scale

    def project(self, places: Array) -> Array:
        """Places on the picture plane, shape (n, 2), px from the lower left corner; NaN behind the camera."""
        return project(self.plotter, places)

    def _place_labels(self, width: int, height: int) -> None:
        texts = {p.name: p for p in sorted(self.labels, key=lambda p: p.rank)}
        for name, actor in self._texts.items():
            actor.SetVisibility(name in texts)
        if not texts:
            self._leaders.bring([])
            return
        names = list(texts)
        places, words = zip(*(self._anchor(texts[n], width, height) for n in names), strict=True)
        sizes = np.array([self._size(n, w) for n, w in zip(names, words, strict=True)])
        anchors = np.array(places)
        base = np.array([0.0, BOTTOM_PX * self.scale])
        there = ((k, self._kept.get((self.pane, n))) for k, n in enumerate(names))
        kept = {k: place for k, place in there if place is not None}
        canvas = (float(width), height - self.top_px - BOTTOM_PX * self.scale)
        corners = arrange(anchors - base, sizes, canvas, kept) + base
        lines = []
        for name, corner, size, anchor in zip(names, corners, sizes, anchors, strict=True):
            actor = self._texts[name]
            actor.SetVisibility(bool(np.isfinite(corner).all()))
            if not np.isfinite(corner).all():
                continue
            actor.SetPosition(*(corner + 0.5 * np.array([8.0, 4.0]) * self.scale))
            self._kept[self.pane, name] = corner - anchor
            nearest = np.clip(anchor, corner, corner + size)
            lines.append((anchor, nearest))
        self._leaders.bring(lines)

    def _anchor(self, label: Label, width: int, height: int) -> tuple[Array, str]:
        """Where a label's leader ends, px, and its words; on the way to its place where that is out of the picture."""
        if label.start is None:
            return self.project(label.place[None])[0], label.text
        share = np.linspace(1.0, 0.0, 61)[:, None]
        way = self.project(label.start + share * (label.place - label.start))
        inside = ((way > EDGE_PX) & (way < np.array([width, height]) - EDGE_PX)).all(axis=1)
        first = int(np.argmax(inside))
        away = np.linalg.norm(label.place - label.start) >= FAR_MM
        return way[first], label.text + (label.far if first > 0 or away else "")

    def _size(self, name: str, words: str) -> Array:
        """Size of a label's box, px; measured once for each text."""
        if name not in self._texts:
            self._texts[name] = _text(self.plotter, FONT_PX, bold=False, boxed=True)
        actor = self._texts[name]
        actor.GetTextProperty().SetFontSize(round(FONT_PX * self.scale))
        if actor.GetInput() != words:
            actor.SetInput(words)
        if words not in self._sizes:
            box = [0.0, 0.0]
            actor.GetSize(self.plotter.renderer, box)
            self._sizes[words] = np.array(box) + np.array([8.0, 4.0]) * self.scale
            if len(self._sizes) > MOST_SIZES:
                self._sizes.pop(next(iter(self._sizes)))
        return self._sizes[words]

    def _scale(self, width: int) -> None:
        """A bar of a round length, in parallel views."""
        camera = self.plotter.camera
        if not camera.parallel_projection:
            self._bar.bring([])
            self._measure.SetInput("")
            return
        px_per_mm = self.plotter.window_size[1] / (2.0 * camera.parallel_scale)
        length = max((s for s in SCALES_MM if s * px_per_mm <= 0.2 * width), default=SCALES_MM[0])
        x, y = 14.0 * self.scale, 16.0 * self.scale
        end = x + length * px_per_mm
        ticks = [((x, y - 5), (x, y + 5)), ((end, y - 5), (end, y + 5)), ((x, y), (end, y))]
        self._bar.bring([(np.array(a), np.array(b)) for a, b in ticks])
        about = f", {self.view} view, {VIEWS[self.view].about}" if self.view in VIEWS else ""
        self._measure.SetInput(f"{length} mm{about}")
        self._measure.GetTextProperty().SetFontSize(round(FONT_PX * self.scale))
        self._measure.SetPosition(end + 8.0, y - 5.0 * self.scale)


def project(plotter: Any, places: Array) -> Array:
    """Places on the picture plane of a plotter, shape (n, 2), px from the lower left corner; NaN behind the camera."""
    import pyvista

    width, height = plotter.window_size
    camera = plotter.renderer.GetActiveCamera()
    matrix = pyvista.array_from_vtkmatrix(
        camera.GetCompositeProjectionTransformMatrix(plotter.renderer.GetTiledAspectRatio(), -1, 1)
    )
    homogeneous = np.column_stack([places, np.ones(len(places))]) @ matrix.T
    depth = homogeneous[:, 3:]
    with np.errstate(all="ignore"):
        flat = np.where(depth > 0, homogeneous[:, :2] / depth, np.nan)
    found: Array = (flat + 1.0) * 0.5 * np.array([width, height])
    return found


def _text(plotter: Any, size: int, *, bold: bool, boxed: bool = False) -> Any:
    from vtkmodules.vtkRenderingCore import vtkTextActor

    actor = vtkTextActor()
    prop = actor.GetTextProperty()
    prop.SetFontFamilyToArial()
    prop.SetFontSize(size)
    prop.SetBold(bold)
    prop.SetColor(*_rgb(INK))
    if boxed:
        prop.SetBackgroundColor(*_rgb(PAPER))
        prop.SetBackgroundOpacity(0.82)
    plotter.renderer.AddViewProp(actor)
    return actor


def _rgb(colour: str) -> tuple[float, float, float]:
    r, g, b = (int(colour[k : k + 2], 16) / 255.0 for k in (1, 3, 5))
    return r, g, b


class _Strokes:
    """Straight lines on the picture plane."""

    def __init__(self, plotter: Any, colour: str, width: float) -> None:
        import pyvista
        from vtkmodules.vtkRenderingCore import vtkActor2D, vtkPolyDataMapper2D

        self.mesh = pyvista.PolyData()
        mapper = vtkPolyDataMapper2D()
        mapper.SetInputData(self.mesh)
        self.actor = vtkActor2D()
        self.actor.SetMapper(mapper)
        self.actor.GetProperty().SetColor(*_rgb(colour))
        self.actor.GetProperty().SetLineWidth(width)
        plotter.renderer.AddViewProp(self.actor)

    def bring(self, lines: list[tuple[Array, Array]]) -> None:
        """Take new lines, px."""
        self.actor.SetVisibility(bool(lines))
        if lines:
            flat = np.array(lines, dtype=np.float32).reshape(-1, 2)
            self.mesh.points = np.column_stack([flat, np.zeros(len(flat), dtype=np.float32)])
            numbers = np.arange(len(flat)).reshape(-1, 2)
            self.mesh.lines = np.column_stack([np.full(len(numbers), 2), numbers]).ravel()
            self.mesh.Modified()
