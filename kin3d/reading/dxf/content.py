"""What is taken out of a drawing before any meaning is sought: marks, texts, strokes and dimensions.

All coordinates are world coordinates of the drawing, in drawing units. An object coordinate system
(extrusion) and every block reference around an entity are already applied.

Fonts are not at hand when a drawing is read, so how wide words are is an estimate. Two kinds are tried against the ends
of the pointers (see `leaders`): *even* letters, each as wide as the next, as with most fonts of drawing programs, and
*printed* ones, with widths of their own, as with the sans-serif fonts that printers use.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from math import isfinite
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

Vector = NDArray[np.float64]
_K = TypeVar("_K")
_V = TypeVar("_V")


def tree_of(places: Iterable[Vector]) -> Any:
    """Return a search tree over places, which may be none; SciPy is imported where it is first wanted."""
    from scipy.spatial import cKDTree

    found = np.array(places if isinstance(places, np.ndarray) else list(places), dtype=float)
    return cKDTree(found if found.ndim == 2 else np.zeros((0, 3)))


def grouped(pairs: Iterable[tuple[_K, _V]]) -> dict[_K, list[_V]]:
    """Return the values of every key; both in the order in which they came."""
    found: dict[_K, list[_V]] = {}
    for key, value in pairs:
        found.setdefault(key, []).append(value)
    return found


@dataclass(frozen=True, slots=True)
class Origin:
    """Where in the file something came from.

    `entity` is the DXF type; `handle` that of the outermost block reference for what stands inside a block; `blocks`
    the names of the blocks around it, outermost first; `moved` the shift of the outermost block reference that holds
    other block references, drawing units.
    """

    entity: str
    handle: str
    layer: str
    blocks: tuple[str, ...] = ()
    moved: tuple[float, float, float] | None = None

    def __str__(self) -> str:
        inside = f" in block {'/'.join(self.blocks)}" if self.blocks else ""
        return f"{self.entity}{inside}, handle {self.handle}, layer {self.layer}"


@dataclass(frozen=True, slots=True, eq=False)
class DrawnMark:
    """A place that may be a pickup point: centre, shape (3,), and radius of its symbol; 0 for a bare point or an end.

    `kind` is ``"point"``, ``"circle"``, ``"block"`` or ``"end"`` (of a line); `names` what the file itself ties to the
    mark (attribute values, the block's name); `hung` where the first attribute stands, in the block's own frame.
    """

    xyz: Vector
    reach: float
    kind: str
    origin: Origin
    names: tuple[str, ...] = ()
    hung: tuple[float, float, float] | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Text:
    """A text without formatting codes, and where it stands.

    `anchor`, shape (3,), is the point that the drawing program hangs it on; `frame`, shape (3, 3), has the reading
    direction, the upward direction and the normal as rows, unit vectors; `box` is left, bottom, right, top of the text
    relative to `anchor` in `frame`, its width an estimate.
    """

    lines: tuple[str, ...]
    anchor: Vector
    frame: Vector
    height: float
    box: tuple[float, float, float, float]
    origin: Origin

    @property
    def whole(self) -> str:
        """All lines in one, parted by blanks."""
        return " ".join(self.lines)

    @property
    def middle(self) -> Vector:
        """The middle of its box."""
        left, bottom, right, top = self.box
        place: Vector = self.anchor + (left + right) / 2.0 * self.frame[0] + (bottom + top) / 2.0 * self.frame[1]
        return place

    def local(self, xyz: Vector) -> Vector:
        """Return points given in the world, shape (…, 3), relative to the anchor in the text's own frame."""
        turned: Vector = (np.asarray(xyz) - self.anchor) @ self.frame.T
        return turned


@dataclass(frozen=True, slots=True, eq=False)
class Stroke:
    """A straight line, or what the file calls a leader: then `start` has the arrow; `text` (or its handle) is tied."""

    start: Vector
    end: Vector
    leader: bool
    origin: Origin
    text: Text | str = ""


@dataclass(frozen=True, slots=True, eq=False)
class DrawnDimension:
    """A linear dimension: length as drawn (drawing units) and the figure that it shows."""

    drawn: float
    shown: float
    typed: bool
    origin: Origin


@dataclass(slots=True)
class Content:
    """Everything taken out of one layout (model space or a paper sheet)."""

    layout: str
    marks: list[DrawnMark] = field(default_factory=list)
    texts: list[Text] = field(default_factory=list)
    strokes: list[Stroke] = field(default_factory=list)
    dimensions: list[DrawnDimension] = field(default_factory=list)
    hidden: Counter[str] = field(default_factory=Counter)
    entities: int = 0
    references: list[str] = field(default_factory=list)


# --- texts and the boxes in which their words stand ------------------------------------------------------------------

LETTER = 0.8  # a letter is taken to be this many heights wide


def vec(value: Any) -> Vector:
    """Return two or three coordinates of the library as three finite numbers."""
    given = [float(c) for c in value]
    if not all(map(isfinite, given)):
        raise ValueError("a coordinate is not a number")
    return np.array([*given, 0.0, 0.0][:3])


def read_text(entity: Any, origin: Origin) -> Text | None:
    """Return the text of a TEXT, ATTRIB, MTEXT or MULTILEADER; None where nothing is written."""
    kind, dxf = entity.dxftype(), entity.dxf
    if kind in ("MULTILEADER", "MLEADER"):
        from ezdxf.tools.text import plain_mtext

        written = entity.context.mtext
        lines = _lines(plain_mtext(written.default_content, split=True)) if written is not None else ()
        height = float(entity.context.char_height) or 1.0
        box = (0.0, -height * 1.67 * len(lines), LETTER * height * max(map(len, lines), default=1), height)
        return Text(lines, vec(written.insert), np.eye(3), height, box, origin) if lines else None
    if kind == "MTEXT":
        lines, ucs = _lines(entity.plain_text(split=True)), entity.ucs()
        height = letter = float(dxf.get("char_height", 1.0)) or 1.0
        anchor, frame = dxf.insert, (ucs.ux, ucs.uy, ucs.uz)
        place = max(int(dxf.get("attachment_point", 1)) - 1, 0) % 9
        across, upward = (place % 3) / 2.0, 1.0 - (place // 3) / 2.0
    else:
        lines, ocs = _lines([entity.plain_text()]), entity.ocs()
        height = float(dxf.get("height", 1.0)) or 1.0
        letter = height * float(dxf.get("width", 1.0) or 1.0)
        halign, valign = int(dxf.get("halign", 0)), int(dxf.get("valign", 0))
        aligned = dxf.get("align_point") if halign or valign else None
        anchor = ocs.to_wcs(dxf.get("insert") if aligned is None else aligned)
        angle = np.radians(float(dxf.get("rotation", 0.0)))
        cos, sin = float(np.cos(angle)), float(np.sin(angle))
        frame = tuple(ocs.to_wcs(v) for v in ((cos, sin, 0.0), (-sin, cos, 0.0), (0.0, 0.0, 1.0)))
        across = {1: 0.5, 2: 1.0, 4: 0.5}.get(halign, 0.0)
        upward = 0.5 if halign == 4 else {2: 0.5, 3: 1.0}.get(valign, 0.0)
    if not lines:
        return None
    width, tall = LETTER * letter * max(map(len, lines)), height * (1.0 + 1.67 * (len(lines) - 1))
    box = (-across * width, -upward * tall, (1.0 - across) * width, (1.0 - upward) * tall)
    return Text(lines, vec(anchor), np.array([vec(v) for v in frame]), height, box, origin)


def _lines(written: Iterable[str]) -> tuple[str, ...]:
    return tuple(line.strip() for line in written if line.strip())


_MEAN = 556  # thousandths of the font's size
_GROUPS = {
    222: "ijl", 278: "ft I./,:;!|", 333: "r-()", 500: "ckxsvyzJ", 611: "FTZ", 667: "ABEKPSVXY", 722: "wCDHNRU",
    778: "GOQ", 833: "mM", 944: "W",
}  # fmt: skip
_WIDTHS = {letter: width for width, group in _GROUPS.items() for letter in group}


def evenness(text: Text) -> float:
    """Return the width of a text in a printer's sans-serif font, as a multiple of that with even letters."""
    words = max(text.lines, key=len)
    return sum(_WIDTHS.get(c, _MEAN) for c in words) / (_MEAN * len(words))
