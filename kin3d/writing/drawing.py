"""A drawing as a list of what is drawn: paths, marks, words and dimensions on layers, in a plane or in space.

It is made once and rendered by `kin3d.writing.drawing_picture` (SVG, PDF, PNG) or `kin3d.writing.drawing_dxf`. All
lengths are mm of the thing that is drawn; how large letters, marks and arrows are on paper follows from the drawing's
scale. Nothing here knows what is drawn.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Place = Array | Sequence[float]
TextAlign = Literal["left", "center", "right"]
TextLevel = Literal["bottom", "middle", "top"]
Dash = Literal["solid", "dashed", "short", "chain", "dotted"]
Shape = Literal["dot", "joint", "square", "diamond", "target", "quartered"]
# strokes and gaps of dashed lines, in widths of the line
DASH_LENGTHS: Mapping[Dash, tuple[float, ...]] = {
    "solid": (),
    "dashed": (6.0, 3.0),
    "short": (3.0, 2.0),
    "chain": (10.0, 3.0, 2.0, 3.0),
    "dotted": (1.0, 2.2),
}
LETTER_MM = 2.06  # height of capitals on paper: type of 8 pt
LINE_STEP = 1.65  # from one line of words to the next, in heights of capitals
_ROUND = 48  # corners of a circle


@dataclass(frozen=True, slots=True)
class Layer:
    """How what stands on a layer is drawn: colour (a name of `kin3d.writing.style.COLOURS`), dashes, width in pt."""

    colour: str = "ink"
    dash: Dash = "solid"
    width: float = 1.0
    frozen: bool = False


@dataclass(frozen=True, slots=True)
class Polyline:
    """A line through places, shape (n, 2) or (n, 3); a ring if `closed`.

    `fill` is the colour of the area in it, `tint` how strong; `colour`, `dash` and `width` stand in place of the
    layer's own; a width of 0 draws the area alone. `arrows` has a head at the ``"end"`` or at ``"both"`` ends.
    """

    layer: str
    places: Array
    closed: bool = False
    colour: str | None = None
    dash: Dash | None = None
    width: float | None = None
    fill: str | None = None
    tint: float = 1.0
    arrows: Literal["", "end", "both"] = ""


@dataclass(frozen=True, slots=True)
class Symbol:
    """A sign at a place, `size` heights of capitals from its middle to its edge.

    A mark in space with a name is a named point: DXF files hold it as a block with the attributes of `words`.
    """

    layer: str
    at: Array
    shape: Shape = "dot"
    size: float = 0.5
    colour: str | None = None
    filled: bool = False
    words: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Words:
    """Lines of text beside a place, `size` heights of the drawing's capitals, turned by `turn_deg`.

    With `ground` they stand on a pale ground, so that they can be read over lines.
    """

    layer: str
    at: Array
    lines: tuple[str, ...]
    align: TextAlign = "left"
    level: TextLevel = "bottom"
    size: float = 1.0
    turn_deg: float = 0.0
    colour: str | None = None
    bold: bool = False
    ground: bool = True


@dataclass(frozen=True, slots=True)
class Dimension:
    """The distance of two places across or upright, its line through `base`; ``<>`` in `text` stands for the figure."""

    layer: str
    start: Array
    end: Array
    base: Array
    upright: bool = False
    text: str = "<>"
    colour: str | None = None

    @property
    def measured(self) -> float:
        """The distance, mm."""
        return abs(float((self.end - self.start)[1 if self.upright else 0]))

    @property
    def feet(self) -> tuple[Array, Array]:
        """Ends of the dimension line."""
        keep = np.array([1.0, 0.0]) if self.upright else np.array([0.0, 1.0])
        return self.base * keep + self.start * (1.0 - keep), self.base * keep + self.end * (1.0 - keep)


DrawnItem = Polyline | Symbol | Words | Dimension


@dataclass(slots=True)
class Drawing:
    """What is drawn, in the order of drawing, and the layers that it stands on.

    Attributes
    ----------
    scale : float
        mm of the thing on one mm of paper.
    layers : mapping of str to Layer
    name : str
        First words of the layers' names in a file that has many drawings.
    """

    scale: float
    layers: Mapping[str, Layer]
    name: str = ""
    items: list[DrawnItem] = field(default_factory=list)

    @property
    def height(self) -> float:
        """Height of capitals, mm of the thing."""
        return LETTER_MM * self.scale

    def path(self, layer: str, places: Array, **look: object) -> None:
        """Add a line through places; see `Polyline`."""
        self.items.append(Polyline(layer, np.asarray(places, dtype=float), **look))  # type: ignore[arg-type]

    def line(self, layer: str, start: Place, end: Place, **look: object) -> None:
        """Add a straight line."""
        self.path(layer, np.array([start, end], dtype=float), **look)

    def mark(self, layer: str, at: Place, shape: Shape = "dot", size: float = 0.5, **look: object) -> None:
        """Add a mark; see `Symbol`."""
        self.items.append(Symbol(layer, np.asarray(at, dtype=float), shape, size, **look))  # type: ignore[arg-type]

    def words(self, layer: str, at: Place, text: str, offset: Place = (0.0, 0.0), **look: object) -> None:
        """Add words beside a place, `offset` in mm of paper; see `Words`."""
        place = np.array(at, dtype=float)
        place[: len(offset)] += np.asarray(offset) * self.scale
        self.items.append(Words(layer, place, tuple(text.split("\n")), **look))  # type: ignore[arg-type]

    def dimension(self, layer: str, start: Place, end: Place, base: Place, **look: object) -> None:
        """Add a dimension; see `Dimension`."""
        three = (np.asarray(p, dtype=float) for p in (start, end, base))
        self.items.append(Dimension(layer, *three, **look))  # type: ignore[arg-type]

    def moved(self, shift: Place) -> Drawing:
        """The same drawing in another place."""
        by = np.asarray(shift, dtype=float)
        return replace(self, items=[_moved(i, by) for i in self.items])


def _moved(item: DrawnItem, by: Array) -> DrawnItem:
    if isinstance(item, Polyline):
        return replace(item, places=item.places + by)
    if isinstance(item, Dimension):
        return replace(item, start=item.start + by, end=item.end + by, base=item.base + by)
    return replace(item, at=item.at + by)


@dataclass(frozen=True, slots=True)
class Frame:
    """The part of a plane that is drawn: lower left and upper right corner, mm."""

    low: Array
    high: Array

    @property
    def size(self) -> Array:
        """Width and height."""
        return self.high - self.low

    def holds(self, place: Array) -> bool:
        """Whether a place stands in it."""
        return bool(np.isfinite(place).all() and (place >= self.low).all() and (place <= self.high).all())

    def cut(self, start: Array, end: Array) -> Array:
        """The end of a line, or where the line leaves the frame; `end` may be as far away as can be."""
        if self.holds(end):
            return end
        way = end - start
        if not np.isfinite(way).all():
            far = np.where(np.isinf(way), np.sign(way), 0.0)
            way = far if far.any() else np.array([1.0, 0.0])
            way = way * 1e9
        shares = [1.0]
        for k in (0, 1):
            if way[k]:
                both = ((self.low[k] - start[k]) / way[k], (self.high[k] - start[k]) / way[k])
                shares += [s for s in both if s > 0.0]
        return np.asarray(start + min(shares) * way)


@dataclass(frozen=True, slots=True)
class Plane:
    """A plane on which things in space are seen.

    Attributes
    ----------
    origin : ndarray, shape (3,)
    axes : ndarray, shape (3, 3)
        Unit vectors of the frame in which places are told, as rows.
    across : int
        Which of them runs to the right (or to the left, see `sign`); the last one runs up.
    sign : float
        +1: that axis runs to the right, −1: to the left.
    """

    origin: Array
    axes: Array
    across: int
    sign: float = 1.0

    def coordinates(self, places: Array) -> Array:
        """Places (…, 3) in the plane's own frame."""
        with np.errstate(invalid="ignore"):  # a centre at infinity has no place
            return np.asarray((places - self.origin) @ self.axes.T)

    def flat(self, places: Array) -> Array:
        """Places (…, 3) on the plane, (…, 2)."""
        return np.asarray(self.coordinates(places)[..., [self.across, 2]] * np.array([self.sign, 1.0]))

    def turned(self, vectors: Array) -> Array:
        """Directions (…, 3) on the plane, (…, 2)."""
        return np.asarray((vectors @ self.axes.T)[..., [self.across, 2]] * np.array([self.sign, 1.0]))


def circle(middle: Place, radius: float) -> Array:
    """Corners of a circle, shape (n, 2)."""
    turn = np.linspace(0.0, 2.0 * np.pi, _ROUND, endpoint=False)
    return np.asarray(middle) + radius * np.stack([np.cos(turn), np.sin(turn)], axis=-1)


def mark_paths(mark: Symbol, reach: float) -> Iterator[Polyline]:
    """What a mark in a plane is made of; `reach` is the height of capitals, mm."""
    r, at, colour = mark.size * reach, mark.at, mark.colour
    area = (colour or "ink") if mark.filled else "paper"
    tips = np.array([(1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0)]) * r

    def part(places: Array, fill: str | None = None, **look: object) -> Polyline:
        return Polyline(mark.layer, places, colour=colour, fill=fill, **({"dash": "solid"} | look))  # type: ignore[arg-type]

    if mark.shape == "dot":
        yield part(circle(at, r), colour or "ink", closed=True, width=0.4)
    elif mark.shape == "joint":
        yield part(circle(at, r), area, closed=True, width=1.0)
    elif mark.shape in ("square", "diamond"):
        corners = np.array([(1.0, 1.0), (-1.0, 1.0), (-1.0, -1.0), (1.0, -1.0)]) * r
        yield part(at + (corners if mark.shape == "square" else tips), area, closed=True, width=1.6)
    elif mark.shape == "target":
        yield part(circle(at, 0.72 * r), area if mark.filled else None, closed=True, width=2.0)
        yield part(at + tips[[0, 2]], width=1.4)
        yield part(at + tips[[1, 3]], width=1.4)
    else:
        ring = circle(np.zeros(2), r)
        yield part(at + ring, "paper", closed=True, width=0.9)
        quarter = _ROUND // 4
        for first in (0, 2 * quarter):
            piece = np.concatenate([ring[first : first + quarter + 1], np.zeros((1, 2))])
            yield part(at + piece, "ink", closed=True, width=0.4)
