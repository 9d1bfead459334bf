"""The look of every picture: colours that colour-blind people tell apart, type, and how a figure is saved."""

from __future__ import annotations

import base64
import io
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kin3d.writing.files import MARK, whole_file

if TYPE_CHECKING:
    from matplotlib.figure import Figure

INK = "#1f2a33"
GRID = "#d9dee2"
# from the set of M. Okabe and K. Ito, Color Universal Design (2008), in an order of our own;
# dashes tell the second round of them apart
LINES = ("#0072b2", "#d55e00", "#009e73", "#cc79a7", "#6b4c9a", "#7f7f7f", "#1f2a33")
# colours of drawings by name, with the number that stands for each in a DXF file: readable on black and on white
COLOURS = {
    "ink": (INK, 7), "mid": ("#8b969e", 8), "pale": ("#eceff1", 254), "tyre": ("#f7f8f9", 255), "paper": ("#ffffff", 7),
    "grey": ("#46535c", 8), "blue": (LINES[0], 5), "orange": (LINES[1], 30), "green": (LINES[2], 94),
    "pink": (LINES[3], 6), "violet": (LINES[4], 200), "brown": ("#8c5a2b", 34), "teal": ("#2a8fa3", 134),
}  # fmt: skip
DOTS_PER_INCH = 150
_PICTURE = re.compile(r'"data:image/png;base64,([^"]+)"')


def figure_style() -> Any:
    """Settings for `matplotlib.rc_context`."""
    return {
        "font.family": "DejaVu Sans",
        "font.size": 9,
        "text.color": INK,
        "text.parse_math": False,  # a dollar sign in a title is a dollar sign
        "axes.labelcolor": INK,
        "axes.edgecolor": "#8b969e",
        "axes.titlesize": 10,
        "axes.titleweight": "bold",
        "axes.spines.top": False,
        "axes.spines.right": False,
        "axes.grid": True,
        "grid.color": GRID,
        "grid.linewidth": 0.7,
        "xtick.color": INK,
        "ytick.color": INK,
        "svg.fonttype": "none",  # text stays text
        "svg.hashsalt": "kin3d",  # names of parts are the same in every run
        "pdf.fonttype": 42,
    }


def save_figure(figure: Figure, path: Path, *, photographs: bool = False) -> None:
    """Save a figure in the format of the path's ending and let go of it.

    With `photographs` the pictures within an SVG file are JPEG, a tenth of what they are else.
    """
    import warnings

    import matplotlib.pyplot as plt

    # no date, so that the same figures make the same file
    about = {
        ".png": {"Software": MARK},
        ".svg": {"Creator": MARK, "Date": None},
        ".pdf": {"Creator": MARK, "CreationDate": None},
    }
    try:
        with warnings.catch_warnings(), whole_file(path) as beside:
            # a letter that the font does not have is drawn as a box, for all to see
            warnings.filterwarnings("ignore", "Glyph .* missing from font")
            figure.savefig(beside, dpi=DOTS_PER_INCH, metadata=about.get(path.suffix.lower()))
            if photographs and path.suffix.lower() == ".svg":
                beside.write_text(_PICTURE.sub(_as_jpeg, beside.read_text("utf-8")), "utf-8")
    finally:
        plt.close(figure)


def _as_jpeg(found: re.Match[str]) -> str:
    from PIL import Image

    out = io.BytesIO()
    with Image.open(io.BytesIO(base64.b64decode(found.group(1)))) as picture:
        picture.convert("RGB").save(out, "JPEG", quality=86, optimize=True)
    return f'"data:image/jpeg;base64,{base64.b64encode(out.getvalue()).decode()}"'
