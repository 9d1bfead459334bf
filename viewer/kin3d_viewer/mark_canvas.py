"""One photograph in the marking window: zoom at the mouse, marks, overlay; and a magnifier of what is at the mouse."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QPointF, QRectF, Qt, Signal
from PySide6.QtGui import (
    QColor,
    QImage,
    QImageReader,
    QMouseEvent,
    QPainter,
    QPainterPath,
    QPen,
    QPixmap,
    QPolygonF,
    QResizeEvent,
    QWheelEvent,
)
from PySide6.QtWidgets import QGraphicsScene, QGraphicsView, QWidget

from kin3d.reading.photo_records import Mark
from kin3d.writing.style import INK
from kin3d_viewer.marking import PhotoOverlay
from kin3d_viewer.style import BLUE, GREEN, ORANGE, SKY, VERMILION

Array = NDArray[np.float64]
GLASS = 9  # screen pixels for one of the picture in the magnifier
GLASS_PX = 171  # its side
KIND_COLOUR = {"point": ORANGE, "leg": SKY, "rim": GREEN, "contact": VERMILION}
MOST_ZOOM = 40.0
WORTH = 1.5  # misses longer than so many px get an arrow
NAMED_FROM = 0.45  # screen pixels for one of the picture from which marks carry their names
ARROWS = 5.0  # and are drawn so many times longer


def read_image(path: Path | None, size: tuple[float, float]) -> QImage:
    """The photograph as shown after its orientation; a grey field where it is not at hand."""
    if path is not None and path.is_file():
        reader = QImageReader(str(path))
        reader.setAutoTransform(True)
        QImageReader.setAllocationLimit(1024)
        image = reader.read()
        if not image.isNull():
            return image
    image = QImage(int(size[0]), int(size[1]), QImage.Format.Format_RGB32)
    image.fill(QColor("#7b8288"))
    return image


class Canvas(QGraphicsView):
    """A photograph with its marks.

    Signals give places in px of the picture, u to the right and v down from the first pixel's corner.
    """

    clicked = Signal(float, float)
    hovered = Signal(float, float)

    def __init__(self) -> None:
        super().__init__()
        self.setScene(QGraphicsScene(self))
        self.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
        self.setTransformationAnchor(QGraphicsView.ViewportAnchor.AnchorUnderMouse)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setMouseTracking(True)
        self.setBackgroundBrush(QColor("#343c43"))
        self.setFrameShape(QGraphicsView.Shape.NoFrame)
        self.viewport().setCursor(Qt.CursorShape.CrossCursor)
        self.image = QImage()
        self.size_px = (1.0, 1.0)
        self.marks: Sequence[tuple[int, Mark]] = ()
        self.current: int | None = None
        self.overlay: PhotoOverlay | None = None
        self._held: QPointF | None = None
        self._is_whole = True

    def show_photo(self, path: Path | None, size: tuple[float, float]) -> None:
        """Show another photograph, whole."""
        self.image, self.size_px = read_image(path, size), size
        self.scene().clear()
        item = self.scene().addPixmap(QPixmap.fromImage(self.image))
        # the table's pixels are those of the size that the file says
        item.setScale(size[0] / max(1, self.image.width()))
        self.scene().setSceneRect(QRectF(0.0, 0.0, *size))
        self.whole()

    def whole(self) -> None:
        """Zoom so that the whole photograph is seen."""
        self.fitInView(self.sceneRect(), Qt.AspectRatioMode.KeepAspectRatio)
        self._is_whole = True

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802 - Qt's name
        """A photograph that is seen whole stays so."""
        super().resizeEvent(event)
        if self._is_whole:
            self.whole()

    def look_at(self, u: float, v: float) -> None:
        """Bring a place to the middle."""
        self.centerOn(u, v)

    def at(self, u: float, v: float) -> QPointF:
        """A place of the picture in the view's own pixels."""
        return QPointF(self.mapFromScene(QPointF(u, v)))

    def wheelEvent(self, event: QWheelEvent) -> None:  # noqa: N802 - Qt's name
        """Zoom at the mouse."""
        factor = 1.25 ** (event.angleDelta().y() / 120.0)
        now = self.transform().m11()
        least = 0.5 * min(self.width() / self.size_px[0], self.height() / self.size_px[1])
        if least < now * factor < MOST_ZOOM:
            self.scale(factor, factor)
            self._is_whole = False

    def mousePressEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        """Left: a mark; middle or right: take hold of the picture."""
        if event.button() == Qt.MouseButton.LeftButton:
            place = self.mapToScene(event.position().toPoint())
            if self.sceneRect().contains(place):
                self.clicked.emit(place.x(), place.y())
        else:
            self._held = event.position()
            self._is_whole = False

    def mouseReleaseEvent(self, _event: QMouseEvent) -> None:  # noqa: N802
        """Let go of the picture."""
        self._held = None

    def mouseMoveEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        """Pull the picture, and tell where the mouse is."""
        if self._held is not None:
            moved = event.position() - self._held
            self._held = event.position()
            across, up = self.horizontalScrollBar(), self.verticalScrollBar()
            across.setValue(int(across.value() - moved.x()))
            up.setValue(int(up.value() - moved.y()))
        place = self.mapToScene(event.position().toPoint())
        self.hovered.emit(place.x(), place.y())

    def drawForeground(self, painter: QPainter, _rect: QRectF | object) -> None:  # noqa: N802
        """Overlay and marks, in screen pixels so that lines stay thin at every zoom."""
        painter.resetTransform()
        painter.scale(1.0, 1.0)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        if self.overlay is not None:
            self._draw_overlay(painter, self.overlay)
        for number, mark in self.marks:
            self._draw_mark(painter, mark, number == self.current)

    def _line(self, painter: QPainter, places: Array, colour: str, width: float, dash: bool = False) -> None:
        """A line with a light rim, so that it is seen on dark and on bright ground."""
        if not np.isfinite(places).all() or np.abs(places).max() > 50.0 * max(self.size_px):
            return
        shape = QPolygonF([self.at(float(u), float(v)) for u, v in places])
        halo = () if dash and width < 1.0 else (("#ffffff90", width + 1.6),)
        for pen_colour, wide in (*halo, (colour, width)):
            pen = QPen(_colour(pen_colour), wide)
            if dash:
                pen.setDashPattern([5.0, 4.0])
            painter.setPen(pen)
            painter.drawPolyline(shape)

    def _draw_overlay(self, painter: QPainter, overlay: PhotoOverlay) -> None:
        for line in overlay.grid:
            self._line(painter, line, "#ffffff80", 0.8, dash=True)
        for rim in overlay.rims:
            self._line(painter, rim, GREEN, 1.0)
        for link in overlay.links:
            self._line(painter, link, BLUE, 1.2)
        marked = {(m.name, m.side) for _, m in self.marks if m.kind == "point"}
        for point in overlay.points:
            if (point.name, point.side) not in marked:
                turn = np.linspace(0.0, 2.0 * np.pi, 49)
                edge = point.place + (point.ellipse @ np.stack([np.cos(turn), np.sin(turn)])).T
                self._line(painter, edge, ORANGE, 1.0, dash=True)
        for number, mark in self.marks:
            there = overlay.misses.get(number)
            if there is not None and float(np.hypot(*(there - [mark.u, mark.v]))) > WORTH:
                start = np.array([mark.u, mark.v])
                self._line(painter, np.stack([start, start + ARROWS * (there - start)]), VERMILION, 1.4)

    def _draw_mark(self, painter: QPainter, mark: Mark, current: bool) -> None:
        place, reach = self.at(mark.u, mark.v), 9.0 if current else 5.0
        path = QPainterPath()
        for dx, dy in ((reach, 0.0), (0.0, reach)):
            for sign in (-1.0, 1.0):
                path.moveTo(place + QPointF(sign * dx, sign * dy))
                path.lineTo(place + QPointF(0.25 * sign * dx, 0.25 * sign * dy))
        if current:
            path.addEllipse(place, reach, reach)
        for colour, width in ((INK, 3.0), (KIND_COLOUR[mark.kind], 1.4)):
            painter.setPen(QPen(QColor(colour), width))
            painter.drawPath(path)
        # names where there is room for them: when the picture is near, or for the mark that keys move
        if mark.kind == "point" and (current or self.transform().m11() > NAMED_FROM):
            self._write(painter, place + QPointF(9.0, -6.0), mark.name)

    @staticmethod
    def _write(painter: QPainter, place: QPointF, words: str) -> None:
        outline = QPainterPath()
        outline.addText(place, painter.font(), words)
        painter.strokePath(outline, QPen(QColor("white"), 3.0))
        painter.fillPath(outline, QColor(INK))


class Glass(QWidget):
    """A magnifier: the place at the mouse, nine times as large, with a hair cross."""

    def __init__(self) -> None:
        super().__init__()
        self.setFixedSize(GLASS_PX, GLASS_PX)
        self._image, self._place, self._scale = QImage(), QPointF(), 1.0

    def look(self, canvas: Canvas, u: float, v: float) -> None:
        """Show a place of a photograph."""
        self._image = canvas.image
        self._scale = canvas.image.width() / canvas.size_px[0]
        self._place = QPointF(u * self._scale, v * self._scale)
        self.update()

    def paintEvent(self, _event: object) -> None:  # noqa: N802
        """Draw the part and the cross."""
        painter = QPainter(self)
        painter.fillRect(self.rect(), QColor("#30373d"))
        side = GLASS_PX / (GLASS / max(self._scale, 1e-6)) if not self._image.isNull() else 0.0
        if side:
            part = QRectF(self._place.x() - 0.5 * side, self._place.y() - 0.5 * side, side, side)
            painter.drawImage(QRectF(self.rect()), self._image, part)
        middle = 0.5 * GLASS_PX
        for colour, width in (("#ffffffc0", 3.0), (INK, 1.0)):
            painter.setPen(QPen(_colour(colour), width))
            painter.drawLine(QPointF(middle, 0.0), QPointF(middle, middle - 6.0))
            painter.drawLine(QPointF(middle, middle + 6.0), QPointF(middle, GLASS_PX))
            painter.drawLine(QPointF(0.0, middle), QPointF(middle - 6.0, middle))
            painter.drawLine(QPointF(middle + 6.0, middle), QPointF(GLASS_PX, middle))
        painter.end()


def _colour(words: str) -> QColor:
    """A colour with its opacity last: ``#rrggbbaa``; Qt has it first."""
    return QColor(f"#{words[7:]}{words[1:7]}") if len(words) == 9 else QColor(words)
