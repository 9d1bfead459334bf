"""What is taken out of a drawing before any meaning is sought: marks, texts, strokes and dimensions.

All coordinates are world coordinates of the drawing, in drawing units. An object coordinate system
(extrusion) and every block reference around an entity are already applied.

Fonts are not at hand when a drawing is read, so how wide words are is an estimate. Two kinds are tried against the ends
of the pointers (see `leaders`): *even* letters, each as wide as the next, as with most fonts of drawing programs, and
*printed* ones, with widths of their own, as with the sans-serif fonts that printers use.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

Vector = NDArray[np.float64]


def tree_of(places: Iterable[Vector]) -> Any:
    """Return a search tree over places, which may be none; SciPy is imported where it is first wanted."""
    from scipy.spatial import cKDTree

    found = np.array(places if isinstance(places, np.ndarray) else list(places), dtype=float)
    return cKDTree(found if found.ndim == 2 else np.zeros((0, 3)))


@dataclass(frozen=True, slots=True)
class Origin:
    """Where in the file something came from.

    Attributes
    ----------
    entity : str
        DXF type, e.g. ``"CIRCLE"``.
    handle : str
        The entity's handle; that of the outermost block reference for what stands inside a block.
    layer : str
        Layer on which it is drawn.
    blocks : tuple of str
        Names of the blocks around it, outermost first.
    moved : tuple of float or None
        Shift of the outermost block reference that holds other block references, drawing units.
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
    """A place that may be a pickup point.

    Attributes
    ----------
    xyz : ndarray, shape (3,)
        Centre of the symbol, drawing units.
    reach : float
        Radius of the symbol, drawing units; 0 for a bare point or a line's end.
    kind : str
        ``"point"``, ``"circle"``, ``"block"`` or ``"end"`` (of a line).
    names : tuple of str
        What the file itself ties to the mark: attribute values, the block's name.
    hung : tuple of float or None
        Where the first attribute stands, in the block's own frame.
    """

    xyz: Vector
    reach: float
    kind: str
    origin: Origin
    names: tuple[str, ...] = ()
    hung: tuple[float, float, float] | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Text:
    """A text and where it stands.

    Attributes
    ----------
    lines : tuple of str
        Without formatting codes.
    anchor : ndarray, shape (3,)
        The point that the drawing program hangs the text on.
    frame : ndarray, shape (3, 3)
        Rows: reading direction, upward direction, normal; unit vectors.
    box : tuple of float
        Left, bottom, right, top of the text relative to `anchor` in `frame`; the width is an estimate.
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
    """A straight line or a leader, by its two ends.

    `leader` is True where the file itself calls it one; then `start` is the end with the arrow.
    `text` is the text that the file ties to it, or its handle, if any.
    """

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
    hidden: dict[str, int] = field(default_factory=dict)
    entities: int = 0
    references: list[str] = field(default_factory=list)


# --- texts and the boxes in which their words stand ------------------------------------------------------------------

# Fonts are not at hand when a drawing is read: a letter is taken to be this many heights wide.
LETTER = 0.8


def read_text(entity: Any, origin: Origin) -> Text | None:
    """Return the text of a TEXT, ATTRIB or MTEXT entity; None where nothing is written."""
    if entity.dxftype() == "MTEXT":
        return _mtext(entity, origin)
    return _text(entity, origin)


def _text(entity: Any, origin: Origin) -> Text | None:
    words = entity.plain_text().strip()
    if not words:
        return None
    ocs = entity.ocs()
    height = float(entity.dxf.get("height", 1.0)) or 1.0
    halign, valign = int(entity.dxf.get("halign", 0)), int(entity.dxf.get("valign", 0))
    inserted = entity.dxf.get("align_point") if (halign or valign) else None
    anchor = entity.dxf.get("insert") if inserted is None else inserted
    angle = np.radians(float(entity.dxf.get("rotation", 0.0)))
    frame = _frame(ocs, angle)
    across = {1: 0.5, 2: 1.0, 4: 0.5}.get(halign, 0.0)
    upward = 0.5 if halign == 4 else {2: 0.5, 3: 1.0}.get(valign, 0.0)
    box = _box(words, 1, height * float(entity.dxf.get("width", 1.0) or 1.0), height, across, upward)
    return Text((words,), _vector(ocs.to_wcs(anchor)), frame, height, box, origin)


def _mtext(entity: Any, origin: Origin) -> Text | None:
    lines = tuple(line.strip() for line in entity.plain_text(split=True) if line.strip())
    if not lines:
        return None
    height = float(entity.dxf.get("char_height", 1.0)) or 1.0
    normal = _vector(entity.dxf.get("extrusion", (0.0, 0.0, 1.0)))
    if entity.dxf.hasattr("text_direction"):
        along = _vector(entity.dxf.text_direction)
        frame = _orthonormal(along, normal)
    else:
        frame = _frame(entity.ocs(), np.radians(float(entity.dxf.get("rotation", 0.0))))
    place = max(int(entity.dxf.get("attachment_point", 1)) - 1, 0) % 9
    across, upward = (place % 3) / 2.0, 1.0 - (place // 3) / 2.0
    longest = max(lines, key=len)
    box = _box(longest, len(lines), height, height, across, upward)
    return Text(lines, _vector(entity.dxf.insert), frame, height, box, origin)


def leader_text(entity: Any, origin: Origin) -> Text:
    """Return the text that a MULTILEADER carries."""
    from ezdxf.tools.text import plain_mtext

    written = entity.context.mtext
    lines = tuple(t.strip() for t in plain_mtext(written.default_content, split=True) if t.strip())
    height = float(entity.context.char_height) or 1.0
    width = LETTER * height * max(map(len, lines), default=1)
    box = (0.0, -height * 1.67 * len(lines), width, height)
    return Text(lines, _vector(written.insert), np.eye(3), height, box, origin)


def _box(
    words: str, rows: int, letter: float, height: float, across: float, upward: float
) -> tuple[float, float, float, float]:
    width, tall = LETTER * letter * len(words), height * (1.0 + 1.67 * (rows - 1))
    return (-across * width, -upward * tall, (1.0 - across) * width, (1.0 - upward) * tall)


def _vector(value: Any) -> Vector:
    xyz = np.zeros(3)
    given = np.array([float(c) for c in value])
    xyz[: len(given)] = given
    return xyz


def _frame(ocs: Any, angle: float) -> Vector:
    to_wcs = ocs.to_wcs
    cos, sin = float(np.cos(angle)), float(np.sin(angle))
    return np.array([tuple(to_wcs(v)) for v in ((cos, sin, 0.0), (-sin, cos, 0.0), (0.0, 0.0, 1.0))])


def _orthonormal(along: Vector, normal: Vector) -> Vector:
    along = along / (np.linalg.norm(along) or 1.0)
    up = np.cross(normal / (np.linalg.norm(normal) or 1.0), along)
    return np.array([along, up, np.cross(along, up)])


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
