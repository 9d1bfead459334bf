"""Renders drawings as one DXF file, 1 unit = 1 mm: lines and dimensions by layers, named points as blocks."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError
from kin3d.writing.drawing import LINE_STEP, Dimension, Drawing, Polyline, Symbol, Words, mark_paths
from kin3d.writing.files import MARK, check_place, whole_file
from kin3d.writing.style import COLOURS

if TYPE_CHECKING:
    from ezdxf.document import Drawing as Document
    from ezdxf.layouts.layout import Modelspace

Array = NDArray[np.float64]
VERSIONS = ("R12", "R2000", "R2010", "R2018")
POINT_BLOCK = "PICKUP_POINT"
STYLE = "KIN3D"
SYMBOL_MM = 6.0  # radius of a point's circle
LONGEST_NAME = 31  # characters that R12 allows
LINE_TYPES = {"solid": "CONTINUOUS", "dashed": "DASHED", "short": "DASHED2", "chain": "CENTER", "dotted": "DOT"}
DIMENSIONS, INK = 3, 7


def write_dxf(drawings: Iterable[Drawing], path: Path | str, version: str = "R2010", option: str = "save") -> None:
    """Write drawings into the model space of one file.

    Every layer's name is that of the drawing and that of the layer in it (``BUMP_30_L_LOWER_ARM``). Marks with words
    are references of the block ``PICKUP_POINT`` with attributes that are not shown. Circles are drawn as two open
    halves, because a closed ring passes for a point's circle.

    Parameters
    ----------
    path : path-like
        ``.dxf``.
    version : {"R12", "R2000", "R2010", "R2018"}
        R12 cannot say its unit; whoever reads it must be told mm.
    option : str
        Name of the command's option, for messages.

    Raises
    ------
    RequestError
        For another ending or version, a folder that is not there, a file that cannot be written.
    """
    target = Path(path)
    check_place(target, (".dxf",), option)
    if version not in VERSIONS:
        text = f'version "{version}" is not known; expected one of {", ".join(VERSIONS)}'
        raise RequestError(Finding("version-unknown", text, str(target)))
    chosen = list(drawings)
    with _without_date():
        doc = _document(version, max(d.height for d in chosen))
        for each in chosen:
            _Pen(doc, each).draw()
        encoding = "utf-8" if doc.dxfversion >= "AC1021" else doc.encoding
        with whole_file(target) as beside, beside.open("w", encoding=encoding, errors="dxfreplace") as file:
            file.write(f"999\n{MARK}\n")  # a comment
            doc.write(file)


@contextlib.contextmanager
def _without_date() -> Iterator[None]:
    """Within it a drawing gets fixed dates and identifiers, so that the same car makes the same file."""
    from ezdxf._options import options

    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        options.write_fixed_meta_data_for_testing = before


def layer_name(*words: str) -> str:
    """Name of a layer that every version allows: capitals, digits, underscores."""
    return re.sub(r"[^A-Z0-9]+", "_", "_".join(words).upper()).strip("_")[:LONGEST_NAME]


class _Pen:
    """Draws one drawing into a document."""

    def __init__(self, doc: Document, drawing: Drawing) -> None:
        self.doc, self.drawing = doc, drawing
        self.space: Modelspace = doc.modelspace()
        for key, look in drawing.layers.items():
            name = layer_name(drawing.name, key)
            if name not in doc.layers:
                made = doc.layers.add(name, color=COLOURS[look.colour][1], linetype=LINE_TYPES[look.dash])
                if look.frozen:
                    made.freeze()

    def draw(self) -> None:
        """All items in order."""
        for item in self.drawing.items:
            if isinstance(item, Polyline):
                self.path(item)
            elif isinstance(item, Words):
                self.words(item)
            elif isinstance(item, Dimension):
                self.dimension(item)
            elif item.words:
                self.point(item)
            else:
                for part in mark_paths(item, self.drawing.height):
                    self.path(part)

    def on(self, layer: str, colour: str | None = None, dash: str | None = None) -> dict[str, Any]:
        """Attributes of an entity on a layer."""
        look = self.drawing.layers[layer]
        out: dict[str, Any] = {"layer": layer_name(self.drawing.name, layer)}
        if colour is not None and colour != look.colour:
            out["color"] = COLOURS[colour][1]
        if dash is not None and dash != look.dash:
            out["linetype"] = LINE_TYPES[dash]
        return out

    def path(self, item: Polyline) -> None:
        """A line, or an open polyline; a ring in two halves. Areas are not filled."""
        corners = np.zeros((len(item.places), 3))
        corners[:, : item.places.shape[1]] = item.places
        on, half = self.on(item.layer, item.colour, item.dash), len(corners) // 2
        if item.width == 0.0:
            return
        runs = [corners]
        if item.closed:
            runs = [corners[: half + 1], np.concatenate([corners[half:], corners[:1]])]
        for run in runs:
            if len(run) == 2:
                self.space.add_line(run[0], run[1], dxfattribs=on)
            elif item.places.shape[1] == 2:
                self.space.add_polyline2d([tuple(c) for c in run], dxfattribs=on)
            else:
                self.space.add_polyline3d([tuple(c) for c in run], dxfattribs=on)
        if item.arrows:
            self.head(item, corners[-1], corners[-1] - corners[-2])
        if item.arrows == "both":
            self.head(item, corners[0], corners[0] - corners[1])

    def head(self, item: Polyline, tip: Array, way: Array) -> None:
        """The head of an arrow."""
        along = way / np.linalg.norm(way)
        square = np.array([-along[1], along[0], 0.0])
        back = [tip - self.drawing.height * (0.9 * along + s * 0.25 * square) for s in (1.0, -1.0)]
        self.space.add_polyline2d([tuple(back[0]), tuple(tip), tuple(back[1])], dxfattribs=self.on(item.layer))

    def words(self, item: Words) -> None:
        """Each line of words as a text of its own."""
        from ezdxf.enums import TextEntityAlignment

        height, name = item.size * self.drawing.height, f"{item.level}_{item.align}".upper()
        name = name.removeprefix("BOTTOM_")
        rest = len(item.lines) - 1
        first = {"bottom": rest, "middle": rest / 2.0, "top": 0.0}[item.level] * LINE_STEP * height
        turn = np.radians(item.turn_deg)
        up = np.array([-np.sin(turn), np.cos(turn), 0.0])
        place = np.zeros(3)
        place[: len(item.at)] = item.at
        attributes = self.on(item.layer, item.colour) | {"style": STYLE, "rotation": item.turn_deg}
        for k, line in enumerate(item.lines):
            text = self.space.add_text(line.replace("−", "-"), height=height, dxfattribs=attributes)
            at = place + up * (first - k * LINE_STEP * height)
            text.set_placement(tuple(at), align=TextEntityAlignment[name])

    def dimension(self, item: Dimension) -> None:
        """A dimension that measures by itself; from left to right or upward, so that its words stand above its line."""
        first, last = sorted((item.start, item.end), key=lambda p: float(p[1 if item.upright else 0]))
        self.space.add_linear_dim(
            base=tuple(item.base), p1=tuple(first), p2=tuple(last), angle=90.0 if item.upright else 0.0,
            text=item.text.strip() or "<>", dimstyle=STYLE, dxfattribs=self.on(item.layer),
        ).render()  # fmt: skip

    def point(self, item: Symbol) -> None:
        """A named point: a block reference with its words as attributes that are not shown."""
        on, place = self.on(item.layer), tuple(float(c) for c in item.at)
        block = self.space.add_blockref(POINT_BLOCK, place, dxfattribs=on)
        for tag, words in item.words.items():
            attribute = block.add_attrib(tag, words, place, on | {"style": STYLE, "height": SYMBOL_MM})
            attribute.is_invisible = True


def _document(version: str, height: float) -> Document:
    """An empty drawing in mm with styles and the block of a point."""
    from ezdxf import units
    from ezdxf.document import Drawing as Empty
    from ezdxf.tools.standards import setup_drawing

    doc = Empty.new(version)
    setup_drawing(doc, topics=["linetypes"])
    if version != "R12":  # it has no variables for units
        doc.units = units.MM
        doc.header["$MEASUREMENT"] = 1
    doc.header["$LUNITS"], doc.header["$LUPREC"] = 2, 3
    doc.header["$LTSCALE"] = 2.5
    doc.styles.add(STYLE, font="arial.ttf")
    doc.dimstyles.duplicate_entry("Standard", STYLE)
    _point_block(doc)
    _dimension_style(doc, height)
    return doc


def _dimension_style(doc: Document, height: float) -> None:
    """Texts of dimensions are as high as the drawing's, everything else of them is in proportion."""
    style = doc.dimstyles.get(STYLE)
    style.update_dxf_attribs(
        {
            "dimtxt": height, "dimasz": 0.6 * height, "dimexo": 0.4 * height, "dimexe": 0.5 * height,
            "dimgap": 0.35 * height, "dimtad": 1, "dimdec": 2, "dimzin": 0, "dimlfac": 1.0,
            "dimrnd": 0.01,  # the last decimal: 0 stands for no rounding, and is taken for whole numbers by some
            "dimscale": 1.0, "dimclrd": DIMENSIONS, "dimclre": DIMENSIONS, "dimclrt": INK,
        }
    )  # fmt: skip
    for name in ("TXT", "ASZ", "EXO", "EXE", "GAP", "TAD", "DEC", "ZIN", "RND"):  # some programs read the header alone
        key = f"$DIM{name}"
        if key in doc.header or doc.dxfversion > "AC1009":
            doc.header[key] = style.get_dxf_attrib(f"dim{name.lower()}")
    if doc.dxfversion > "AC1009":  # R12 has neither
        style.update_dxf_attribs({"dimdsep": ord("."), "dimtxsty": STYLE})


def _point_block(doc: Document) -> None:
    """A cross in space with a circle; lines on layer 0 take the layer of the reference."""
    block = doc.blocks.new(POINT_BLOCK)
    block.add_point((0, 0, 0))
    block.add_circle((0, 0, 0), SYMBOL_MM)
    arm = 1.5 * SYMBOL_MM
    for k in range(3):
        end = [0.0, 0.0, 0.0]
        end[k] = arm
        block.add_line([-c for c in end], end)
    for tag in ("POINT", "STATE"):  # not shown: points lie behind each other, names stand beside the linkage as texts
        block.add_attdef(tag, (0, 0), height=SYMBOL_MM, dxfattribs={"style": STYLE, "flags": 1})
