"""The empty drawing: version, units, text and dimension styles, the block of a point, layers by their names."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

from kin3d.errors import Finding, RequestError
from kin3d.studies.poses import Pose

if TYPE_CHECKING:
    from ezdxf.document import Drawing

VERSIONS = ("R12", "R2000", "R2010", "R2018")
POINT_BLOCK = "PICKUP_POINT"
STYLE = "KIN3D"
SYMBOL_MM = 6.0  # radius of a point's circle
LONGEST_NAME = 31  # characters that R12 allows
COLOURS = (
    5,
    30,
    94,
    200,
    140,
    24,
    54,
    134,
)  # of the parts, by the library's colour numbers: readable on black and white
INK, FAINT, CONSTRUCTION, DIMENSIONS = 7, 8, 1, 3


def new_document(version: str) -> Drawing:
    """Return an empty drawing in mm with styles and the block of a point."""
    from ezdxf import units
    from ezdxf.document import Drawing as Document
    from ezdxf.tools.standards import setup_drawing

    doc = Document.new(version)
    setup_drawing(doc, topics=["linetypes"])
    if version != "R12":  # it has no variables for units
        doc.units = units.MM
        doc.header["$MEASUREMENT"] = 1
    doc.header["$LUNITS"], doc.header["$LUPREC"] = 2, 3
    doc.header["$LTSCALE"] = 2.5
    doc.styles.add(STYLE, font="arial.ttf")
    doc.dimstyles.duplicate_entry("Standard", STYLE)
    _point_block(doc)
    return doc


def set_dimensions(doc: Drawing, height_mm: float) -> None:
    """Make the dimension style's text `height_mm` high and everything else of it in proportion."""
    style = doc.dimstyles.get(STYLE)
    style.update_dxf_attribs(
        {
            "dimtxt": height_mm, "dimasz": 0.6 * height_mm, "dimexo": 0.4 * height_mm, "dimexe": 0.5 * height_mm,
            "dimgap": 0.35 * height_mm, "dimtad": 1, "dimdec": 2, "dimrnd": 0.0, "dimzin": 0, "dimlfac": 1.0,
            "dimscale": 1.0, "dimclrd": DIMENSIONS, "dimclre": DIMENSIONS, "dimclrt": INK,
        }
    )  # fmt: skip
    for name in ("TXT", "ASZ", "EXO", "EXE", "GAP", "TAD", "DEC", "ZIN"):  # some programs read the header alone
        key = f"$DIM{name}"
        if key in doc.header or doc.dxfversion > "AC1009":
            doc.header[key] = style.get_dxf_attrib(f"dim{name.lower()}")
    if doc.dxfversion > "AC1009":  # R12 has neither
        style.update_dxf_attribs({"dimdsep": ord("."), "dimtxsty": STYLE})


def _point_block(doc: Drawing) -> None:
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


def state_name(pose: Pose) -> str:
    """Name of a position for layers: ``DESIGN``, ``BUMP_30``, ``DROOP_12_5``; ``TRAVEL_0`` with the rack moved."""
    if not pose.travel_mm:
        return "TRAVEL_0" if pose.rack_mm else "DESIGN"
    figure = re.sub(r"[^0-9]", "_", f"{abs(pose.travel_mm):.9g}")
    return f"{'BUMP' if pose.travel_mm > 0 else 'DROOP'}_{figure}"


def state_words(pose: Pose) -> str:
    """The same in words, for titles: ``travel +30 mm, rack 0 mm``."""
    design = " (design)" if not pose.travel_mm and not pose.rack_mm else ""
    return f"travel {_signed(pose.travel_mm)} mm, rack {_signed(pose.rack_mm)} mm{design}"


def _signed(x: float) -> str:
    return f"{x:+g}" if x else "0"


def layer(doc: Drawing, *words: str, colour: int = INK, linetype: str = "CONTINUOUS", frozen: bool = False) -> str:
    """Return the name of the layer of these words, made if it is not there: capitals, digits, underscores."""
    name = re.sub(r"[^A-Z0-9]+", "_", "_".join(words).upper()).strip("_")[:LONGEST_NAME]
    if name not in doc.layers:
        made = doc.layers.add(name, color=colour, linetype=linetype)
        if frozen:
            made.freeze()
    return name


def save(doc: Drawing, path: Path) -> None:
    """Write the file.

    Raises
    ------
    RequestError
        Where it cannot be written.
    """
    try:
        doc.saveas(path)
    except OSError as error:
        raise RequestError(Finding("not-written", f"cannot be written: {error.strerror or error}", str(path))) from None
