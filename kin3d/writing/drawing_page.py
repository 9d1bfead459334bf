"""Drawings below each other on one page, each with its title, what is seen, and a caption: SVG, PDF or PNG."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from kin3d.writing.drawing import Drawing, Frame
from kin3d.writing.drawing_picture import render
from kin3d.writing.files import PICTURES, check_place
from kin3d.writing.lettering import LINE_STEP, POINTS, line_width, wrapped
from kin3d.writing.style import INK, SOFT, figure_style, save_figure

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MARGIN_MM, GAP_MM = 7.0, 9.0
KEY_STROKE, KEY_GAP = 7.5, 5.0  # of a key: where words begin beside their stroke, and what is between entries, mm
TITLE, SUBTITLE, CAPTION = 12.5, 8.5, 8.0  # sizes of type, points


@dataclass(frozen=True, slots=True)
class Exhibit:
    """One drawing with its words; the drawing's scale makes its frame as wide as the page.

    Attributes
    ----------
    key : sequence of (str, str)
        Colours with what they stand for, in a line over the drawing.
    """

    title: str
    subtitle: str
    key: Sequence[tuple[str, str]]
    drawing: Drawing
    frame: Frame
    caption: Sequence[str] = ()


def write_exhibits(plates: Sequence[Exhibit], path: Path, option: str = "plot") -> None:
    """Draw plates below each other and save the picture.

    Raises
    ------
    RequestError
        For another ending or a place that cannot be written to.
    """
    check_place(path, PICTURES, option)
    import matplotlib as mpl

    with mpl.rc_context(figure_style()):
        save_figure(page_figure(plates), path)


def page_figure(plates: Sequence[Exhibit]) -> Figure:
    """The figure, each plate over its whole width; use it in a style."""
    from matplotlib.figure import Figure

    wide = max(float(p.frame.size[0]) / p.drawing.scale for p in plates)
    blocks = [_block(p, wide) for p in plates]
    high = sum(b.height for b in blocks) + GAP_MM * (len(blocks) - 1) + 2.0 * MARGIN_MM
    paper = (wide + 2.0 * MARGIN_MM, high)
    figure = Figure(figsize=(paper[0] / 25.4, paper[1] / 25.4))
    y = high - MARGIN_MM
    for block in blocks:
        _draw(figure, block, MARGIN_MM, y, paper)
        y -= block.height + GAP_MM
    return figure


@dataclass(frozen=True, slots=True)
class _Block:
    """A plate with its words in lines."""

    plate: Exhibit
    title: list[str]
    subtitle: list[str]
    caption: list[str]
    key: list[list[tuple[str, str]]]  # in lines

    @property
    def head(self) -> float:
        """Height of what stands over the drawing, mm."""
        keyed = (0.4 + 1.3 * len(self.key)) * _line(SUBTITLE) if self.key else 0.0
        return len(self.title) * _line(TITLE) + len(self.subtitle) * _line(SUBTITLE) + keyed + bool(self.title) * 3.0

    @property
    def body(self) -> float:
        """Height of the drawing, mm."""
        return float(self.plate.frame.size[1]) / self.plate.drawing.scale

    @property
    def height(self) -> float:
        """Height of all, mm."""
        return self.head + self.body + (2.0 + len(self.caption) * _line(CAPTION) if self.caption else 0.0)


def _line(points: float) -> float:
    return LINE_STEP * points / POINTS


def _block(plate: Exhibit, wide: float) -> _Block:
    caption = [line for text in plate.caption for line in wrapped(text, wide, CAPTION)]
    title, subtitle = wrapped(plate.title, wide, TITLE, bold=True), wrapped(plate.subtitle, wide, SUBTITLE)
    return _Block(plate, title, subtitle, caption, _key_lines(plate.key, wide))


def _key_lines(key: Sequence[tuple[str, str]], wide: float) -> list[list[tuple[str, str]]]:
    """Entries of a key in as many lines as the width asks for."""
    lines: list[list[tuple[str, str]]] = []
    room = 0.0
    for entry in key:
        takes = KEY_STROKE + line_width(entry[1], SUBTITLE)
        if not lines or room < takes:
            lines, room = [*lines, []], wide
        lines[-1].append(entry)
        room -= takes + KEY_GAP
    return lines


def _draw(figure: Figure, block: _Block, left: float, top: float, paper: tuple[float, float]) -> None:
    def write(lines: Sequence[str], y: float, points: float, **look: object) -> None:
        for k, line in enumerate(lines):
            at = (left / paper[0], (y - k * _line(points)) / paper[1])
            figure.text(*at, line, fontsize=points, va="top", **look)  # type: ignore[arg-type]

    plate, y = block.plate, top
    write(block.title, y, TITLE, fontweight="bold", color=INK)
    y -= len(block.title) * _line(TITLE) + 1.0 * bool(block.title)
    write(block.subtitle, y, SUBTITLE, color=SOFT)
    y -= len(block.subtitle) * _line(SUBTITLE)
    for k, entries in enumerate(block.key):
        _key(figure, entries, left, y - (0.85 + 1.3 * k) * _line(SUBTITLE), paper)
    low = top - block.head - block.body
    wide = float(plate.frame.size[0]) / plate.drawing.scale
    axes = figure.add_axes((left / paper[0], low / paper[1], wide / paper[0], block.body / paper[1]))
    low_corner, high_corner = plate.frame.low, plate.frame.high
    axes.set(xlim=(low_corner[0], high_corner[0]), ylim=(low_corner[1], high_corner[1]))
    axes.set_axis_off()
    render(axes, plate.drawing)
    write(block.caption, low - 2.0, CAPTION, color=INK)


def _key(figure: Figure, key: Sequence[tuple[str, str]], left: float, y: float, paper: tuple[float, float]) -> None:
    """A stroke of each colour with its words."""
    from matplotlib.lines import Line2D

    from kin3d.writing.style import COLOURS

    x = left
    for colour, words in key:
        ends = [x / paper[0], (x + 6.0) / paper[0]]
        figure.add_artist(Line2D(ends, [y / paper[1]] * 2, color=COLOURS[colour][0], lw=3.0, solid_capstyle="butt"))
        figure.text((x + KEY_STROKE) / paper[0], y / paper[1], words, fontsize=SUBTITLE, va="center", color=INK)
        x += KEY_STROKE + KEY_GAP + line_width(words, SUBTITLE)
