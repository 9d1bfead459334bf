"""The look of every picture: colours that colour-blind people tell apart, type, and how a figure is saved."""

from __future__ import annotations

import base64
import io
import re
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kin3d.writing.files import MARK, whole_file

if TYPE_CHECKING:
    from matplotlib.figure import Figure

# --- one meaning a colour, wherever it stands: page, pictures, drawings, DXF files, window ------------------------
# Text has at least 4.5 : 1 against the paper in all of them; a test measures it (Web Content Accessibility
# Guidelines 2.2, 2023, criterion 1.4.3). Nothing is told by colour alone: dashes, shapes and words differ too.

INK, SOFT, MID, GRID, PAPER = "#1f2a33", "#5b6670", "#8b969e", "#d9dee2", "#ffffff"
# the cars: two colours for the two that are compared, greys for any others; these stand for cars and nothing else
CARS = ("#0072b2", "#bf5000", "#1f2a33", "#5b6670", "#8b969e")
# parts of a linkage, by the names of `kin3d.linkage.parts`
PART_COLOURS = {
    "lower arm": "#2f7d32",
    "upper arm": "#8a3a76",
    "steering link": "#14757d",
    "rod": "#46535c",
    "rocker": "#7a5636",
    "spring": "#75695c",
    "bar": "#8d5a50",
    "upright": "#5b6770",
    "other part": "#5b6670",
}
ROLL_CENTRE = "#c2185b"  # the roll centre, its path and its figures
CONSTRUCTION = INK  # instant centres, and lines through them
RAISES, LOWERS = "#8a6a00", "#5b4ba0"  # what makes a figure larger, what makes it smaller: neither is better
TENSION, COMPRESSION = RAISES, LOWERS  # the same pair for the sign of a force: positive, negative; neither is better
NEAR = "#c0392b"  # a gap between solids, and what is near
# curves of one car that belong together, as those over several racks: from the first to the last
FAMILY = ("#35245c", "#7a3b7d", "#b0607a", "#b8862f")
# colours of drawings by name, with the number that stands for each in a DXF file: 3 : 1 on black and on white
COLOURS = {
    "ink": (INK, 7), "soft": (SOFT, 251), "mid": (MID, 8), "pale": ("#eceff1", 254), "tyre": ("#f7f8f9", 255),
    "paper": (PAPER, 7), "car a": (CARS[0], 142), "car b": (CARS[1], 32), "car c": (CARS[2], 7),
    "car d": (CARS[3], 251), "car e": (CARS[4], 252), "lower arm": (PART_COLOURS["lower arm"], 95),
    "upper arm": (PART_COLOURS["upper arm"], 223), "steering link": (PART_COLOURS["steering link"], 134),
    "rod": (PART_COLOURS["rod"], 251), "rocker": (PART_COLOURS["rocker"], 35),
    "spring": (PART_COLOURS["spring"], 252), "bar": (PART_COLOURS["bar"], 25),
    "upright": (PART_COLOURS["upright"], 251), "other part": (PART_COLOURS["other part"], 252),
    "roll centre": (ROLL_CENTRE, 230), "construction": (CONSTRUCTION, 7), "raises": (RAISES, 44),
    "lowers": (LOWERS, 173), "near": (NEAR, 12),
}  # fmt: skip
# the same on a dark page
DARK = {
    INK: "#e6eaed", SOFT: "#a6b1ba", MID: "#76828b", GRID: "#333d45", PAPER: "#14191e", "#eceff1": "#29323a",
    "#f7f8f9": "#1b2127", CARS[0]: "#5bb0ee", CARS[1]: "#ff9a52", PART_COLOURS["lower arm"]: "#6fc573",
    PART_COLOURS["upper arm"]: "#d98bc4", PART_COLOURS["steering link"]: "#4fc0c9", PART_COLOURS["rod"]: "#a9b4bd",
    PART_COLOURS["rocker"]: "#c99f74", PART_COLOURS["spring"]: "#b5a693", PART_COLOURS["bar"]: "#d39a8d",
    PART_COLOURS["upright"]: "#a6b1ba", ROLL_CENTRE: "#ff7fa8", RAISES: "#d9b13b", LOWERS: "#a99cf0", NEAR: "#ff8a7a",
}  # fmt: skip
# what Matplotlib says of a letter that the font does not have: it is drawn as a box, for all to see
MISSING_LETTER = "Glyph .* missing from font"
CAR_NAMES = ("car a", "car b", "car c", "car d", "car e")
DOTS_PER_INCH = 150
_PICTURE = re.compile(r'"data:image/png;base64,([^"]+)"')


def tones(count: int) -> list[str]:
    """Colours of so many curves of one car, in the order of what they run over."""
    last = len(FAMILY) - 1
    return [_between(last * k / max(1, count - 1)) for k in range(count)]


def _between(place: float) -> str:
    low = min(int(place), len(FAMILY) - 2)
    ends = ([int(FAMILY[k][i : i + 2], 16) for i in (1, 3, 5)] for k in (low, low + 1))
    return "#" + "".join(f"{round(a + (place - low) * (b - a)):02x}" for a, b in zip(*ends, strict=True))


def figure_style() -> Any:
    """Settings for `matplotlib.rc_context`."""
    return {
        "font.family": "DejaVu Sans",
        "font.size": 9,
        "text.color": INK,
        "text.parse_math": False,  # a dollar sign in a title is a dollar sign
        "axes.labelcolor": INK,
        "axes.edgecolor": MID,
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


_narrow: ContextVar[bool] = ContextVar("narrow", default=False)


@contextmanager
def narrow_pictures(narrow: bool = True) -> Iterator[None]:
    """Within it, if narrow, pictures are drawn for a phone: panels below one another, letters large in the width."""
    token = _narrow.set(narrow)
    try:
        yield
    finally:
        _narrow.reset(token)


def are_narrow() -> bool:
    """Whether pictures are to be drawn for a phone."""
    return _narrow.get()


def lay_out(figure: Figure) -> None:
    """Find every place of a figure, as saving it would."""
    import warnings

    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", MISSING_LETTER)
        figure.draw_without_rendering()


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
            warnings.filterwarnings("ignore", MISSING_LETTER)
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
