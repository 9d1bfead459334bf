"""A pen for one plane view: lines, marks, texts and dimensions on the view's own layers, moved to the view's place."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from kin3d.writing.dxf.document import CONSTRUCTION, DIMENSIONS, FAINT, INK, STYLE, layer

if TYPE_CHECKING:
    from ezdxf.document import Drawing
    from ezdxf.enums import TextEntityAlignment
    from ezdxf.layouts.layout import Modelspace

Array = NDArray[np.float64]
Place = Array | tuple[float, float]
# what is drawn, its colour and line type
KINDS = {
    "links": (INK, "CONTINUOUS"),
    "lines": (CONSTRUCTION, "CONTINUOUS"),
    "arms": (30, "DASHED"),
    "base": (FAINT, "CENTER"),
    "dims": (DIMENSIONS, "CONTINUOUS"),
    "text": (INK, "CONTINUOUS"),
}


@dataclass(slots=True)
class Pen:
    """Draws in the view's own coordinates, mm of the car.

    Attributes
    ----------
    words : tuple of str
        First words of the layers' names: state and view.
    height_mm : float
        Of texts.
    shift : ndarray, shape (2,)
        What is added to the view's coordinates on the sheet.
    low, high : ndarray, shape (2,)
        Extent of what was drawn, in the view's own coordinates.
    """

    doc: Drawing
    words: tuple[str, str]
    height_mm: float
    shift: Array = field(default_factory=lambda: np.zeros(2))

    @property
    def space(self) -> Modelspace:
        """Model space."""
        return self.doc.modelspace()

    def _at(self, place: Place) -> tuple[float, float, float]:
        u, v = np.asarray(place, dtype=float) + self.shift
        return float(u), float(v), 0.0

    def on(self, kind: str, colour: int | None = None) -> dict[str, Any]:
        """Attributes of an entity of one of `KINDS`."""
        own, line = KINDS[kind]
        out: dict[str, Any] = {"layer": layer(self.doc, *self.words, kind, colour=own, linetype=line)}
        return out if colour is None else out | {"color": colour}

    def line(self, kind: str, start: Place, end: Place, colour: int | None = None) -> None:
        """A straight line."""
        self.space.add_line(self._at(start), self._at(end), dxfattribs=self.on(kind, colour))

    def path(self, kind: str, corners: Array, colour: int | None = None) -> None:
        """An open polyline, shape (corners, 2)."""
        self.space.add_polyline2d([self._at(c) for c in corners], dxfattribs=self.on(kind, colour))

    def cross(self, kind: str, place: Place, size: float = 0.7) -> None:
        """A mark: a cross in a diamond, `size` text heights to each side."""
        reach = size * self.height_mm
        tips = [np.asarray(place) + reach * np.array(d) for d in ((1, 0), (0, 1), (-1, 0), (0, -1))]
        self.line(kind, tips[0], tips[2])
        self.line(kind, tips[1], tips[3])
        for a, b in zip(tips, [*tips[1:], tips[0]], strict=True):
            self.line(kind, a + 0.4 * (np.asarray(place) - a), b + 0.4 * (np.asarray(place) - b))

    def arrow(self, kind: str, tip: Place, along: Array) -> None:
        """The head of an arrow that points along a unit vector."""
        square = np.array([-along[1], along[0]])
        for sign in (1.0, -1.0):
            back = np.asarray(tip) - self.height_mm * (0.9 * along + sign * 0.25 * square)
            self.line(kind, back, tip)

    def text(self, words: str, place: Place, align: str = "LEFT", size: float = 1.0) -> None:
        """Write on one line; `align` is one of the library's names, e.g. ``MIDDLE_LEFT``."""
        from ezdxf.enums import TextEntityAlignment

        chosen: TextEntityAlignment = TextEntityAlignment[align]
        entity = self.space.add_text(words, height=size * self.height_mm, dxfattribs=self.on("text") | {"style": STYLE})
        entity.set_placement(self._at(place), align=chosen)

    def note(self, lines: list[str], place: Place) -> None:
        """Write lines below each other, the first one's base line at `place`."""
        for k, words in enumerate(lines):
            self.text(words, np.asarray(place) - np.array([0.0, 1.7 * k * self.height_mm]))

    def measure(self, start: Place, end: Place, base: Place, *, upright: bool = False, says: str = "<>") -> None:
        """A dimension across (or upright) of two places, its line through `base`; `says` may add words to ``<>``."""
        made = self.space.add_linear_dim(
            base=self._at(base)[:2],
            p1=self._at(start)[:2],
            p2=self._at(end)[:2],
            angle=90.0 if upright else 0.0,
            text=says,
            dimstyle=STYLE,
            dxfattribs=self.on("dims"),
        )
        made.render()
