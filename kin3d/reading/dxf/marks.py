"""What is taken out of a drawing before any meaning is sought: marks, texts, strokes and dimensions.

All coordinates are world coordinates of the drawing, in drawing units. An object coordinate system
(extrusion) and every block reference around an entity are already applied.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding

Vector = NDArray[np.float64]


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
class Mark:
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

    def local(self, xyz: Vector) -> Vector:
        """Return points given in the world, shape (…, 3), relative to the anchor in the text's own frame."""
        turned: Vector = (np.asarray(xyz) - self.anchor) @ self.frame.T
        return turned


@dataclass(frozen=True, slots=True, eq=False)
class Stroke:
    """A straight line or a leader, by its two ends.

    `leader` is True where the file itself calls it one; then `start` is the end with the arrow.
    `text` is the handle of the text that the file ties to it, if any.
    """

    start: Vector
    end: Vector
    leader: bool
    origin: Origin
    text: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Dimension:
    """A linear dimension: length as drawn (drawing units) and the figure that it shows."""

    drawn: float
    shown: float
    typed: bool
    origin: Origin


@dataclass(slots=True)
class Content:
    """Everything taken out of one layout (model space or a paper sheet)."""

    layout: str
    marks: list[Mark] = field(default_factory=list)
    texts: list[Text] = field(default_factory=list)
    strokes: list[Stroke] = field(default_factory=list)
    dimensions: list[Dimension] = field(default_factory=list)
    hidden: dict[str, int] = field(default_factory=dict)
    entities: int = 0
    references: list[str] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
