"""Renders a drawing as the text of an SVG picture, straight from its lines and words: for pages with many of them.

The picture is the one of `kin3d.writing.drawing_picture`, which makes files: same places, colours, dashes and letters.
One unit is a point of paper.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from html import escape

import numpy as np
from numpy.typing import NDArray

from kin3d.writing.drawing import DASH_LENGTHS, Drawing, Frame, Polyline, Words
from kin3d.writing.drawing_parts import parts
from kin3d.writing.lettering import CAPITAL, FACE, LINE_STEP, POINTS, line_width, type_size
from kin3d.writing.style import COLOURS, PAPER

Array = NDArray[np.float64]
Onto = Callable[[Array], Array]
HEAD_LONG, HEAD_HALF = 3.2, 1.6  # length and half width of an arrow's head, points
BASE = (LINE_STEP + CAPITAL) / 2.0  # from the top of a line to its base line, sizes of the type: capitals in the middle
GROUND_PAD, GROUND_ROUND, GROUND_TINT = 0.05, 0.1, 0.55  # the pale ground of words, in sizes of the type


def svg_text(drawing: Drawing, frame: Frame) -> str:
    """The picture of what a frame shows.

    Parameters
    ----------
    drawing : Drawing
        In a plane.
    frame : Frame
        What is shown, in the drawing's coordinates; lines are cut off at its edge.
    """
    per_mm = POINTS / drawing.scale
    wide, high = (float(v) for v in frame.size * per_mm)

    def onto(places: Array) -> Array:
        """Places on the paper from its upper left corner, points."""
        return np.asarray((places[..., :2] - frame.low) * per_mm * (1.0, -1.0) + (0.0, high))

    box = Frame(np.zeros(2), np.array([wide, high]))
    lines: list[str] = []
    words: list[str] = []
    for _, item in parts(drawing):
        if isinstance(item, Words):
            words += _words(drawing, item, onto)  # words stand over lines
        else:
            lines += _path(drawing, item, onto, box)
    edge = f'<clipPath id="frame"><rect width="{_n(wide)}" height="{_n(high)}"/></clipPath>'
    look = f"font-family: '{FACE}'; stroke-linecap: round; stroke-linejoin: round"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_n(wide)} {_n(high)}" version="1.1">'
        f'<defs>{edge}</defs><g style="{look}">{"".join(lines)}{"".join(words)}</g></svg>'
    )


def _n(value: float) -> str:
    """A number with as many digits as can be seen."""
    return f"{round(float(value), 2):g}"


def _d(places: Array, closed: bool = False) -> str:
    """The commands of a line through places."""
    inner = " ".join(f"{x:g} {y:g}" for x, y in np.round(places, 2).tolist())
    return f"M{inner}{'z' if closed else ''}"


def _path(drawing: Drawing, item: Polyline, onto: Onto, box: Frame) -> Iterator[str]:
    layer = drawing.layers[item.layer]
    width = layer.width if item.width is None else item.width
    colour = COLOURS[item.colour or layer.colour][0]
    places = onto(item.places)
    within = bool(((places >= box.low) & (places <= box.high)).all())
    cut = "" if within else ' clip-path="url(#frame)"'
    if item.fill is not None:
        tint = "" if item.tint == 1.0 else f"; opacity: {item.tint:g}"
        yield f'<path d="{_d(places, True)}"{cut} style="fill: {COLOURS[item.fill][0]}{tint}"/>'
    if not width:
        return
    lengths = ",".join(_n(width * v) for v in DASH_LENGTHS[item.dash or layer.dash])
    dash = f"; stroke-linecap: butt; stroke-dasharray: {lengths}" if lengths else ""
    stroke = f"stroke: {colour}; stroke-width: {_n(width)}"
    if not item.arrows:
        yield f'<path d="{_d(places, item.closed)}"{cut} style="fill: none; {stroke}{dash}"/>'
    elif box.holds(places[-1]):
        heads = [_head(places[-1], places[0], width)]
        heads += [_head(places[0], places[-1], width)] if item.arrows == "both" else []
        shaft = np.stack([heads[-1][1] if item.arrows == "both" else places[0], heads[0][1]])
        yield f'<path d="{_d(shaft)}" style="fill: none; {stroke}; stroke-linecap: butt{dash}"/>'
        for head in heads:
            yield f'<path d="{_d(head, True)}" style="fill: {colour}; {stroke}; stroke-linejoin: miter"/>'


def _head(tip: Array, tail: Array, width: float) -> Array:
    """Corners of an arrow's head, the foremost one in the middle; its stroke, not its corner, ends at the tip."""
    way = tip - tail
    long = float(np.hypot(*way))
    along = way / long if long > 0.0 else np.array([1.0, 0.0])
    front = tip - along * 0.5 * width * float(np.hypot(HEAD_LONG, HEAD_HALF)) / HEAD_HALF
    back, aside = front - along * HEAD_LONG, np.array([-along[1], along[0]]) * HEAD_HALF
    return np.stack([back + aside, front, back - aside])


def _words(drawing: Drawing, item: Words, onto: Onto) -> Iterator[str]:
    """Lines of words, with their ground behind them."""
    size = type_size(item.size)
    at = onto(item.at)
    colour = COLOURS[item.colour or drawing.layers[item.layer].colour][0]
    turn = f" rotate({_n(-item.turn_deg)})" if item.turn_deg else ""
    angle = np.radians(item.turn_deg)
    down = np.array([np.sin(angle), np.cos(angle)])  # from a line of words to the next
    tall = len(item.lines) * LINE_STEP * size
    top = {"top": 0.0, "middle": -tall / 2.0, "bottom": -tall}[item.level]
    anchor = {"left": "", "center": "; text-anchor: middle", "right": "; text-anchor: end"}[item.align]
    if item.ground:
        wide = max(line_width(x, size, item.bold) for x in item.lines) * POINTS
        left = {"left": 0.0, "center": -wide / 2.0, "right": -wide}[item.align]
        yield _ground(at, turn, (left, top, wide, tall), size)
    bold = "font-weight: 700; " if item.bold else ""
    style = f"font-size: {_n(size)}px; {bold}fill: {colour}{anchor}"
    for k, line in enumerate(item.lines):
        y = top + (k * LINE_STEP + BASE) * size
        foot = at + y * down
        place = f'x="{_n(foot[0])}" y="{_n(foot[1])}"'
        if turn:
            place = f'transform="translate({_n(foot[0])} {_n(foot[1])}){turn}"'
        yield f'<text style="{style}" {place}>{escape(line)}</text>'


def _ground(at: Array, turn: str, box: tuple[float, float, float, float], size: float) -> str:
    left, top, wide, tall = box
    pad = GROUND_PAD * size
    turned = f' transform="translate({_n(at[0])} {_n(at[1])}){turn}"' if turn else ""
    x, y = (left, top) if turn else (left + at[0], top + at[1])
    corner = f'x="{_n(x - pad)}" y="{_n(y - pad)}" width="{_n(wide + 2 * pad)}" height="{_n(tall + 2 * pad)}"'
    look = f'rx="{_n(GROUND_ROUND * size)}" style="fill: {PAPER}; opacity: {GROUND_TINT}"'
    return f"<rect {corner} {look}{turned}/>"
