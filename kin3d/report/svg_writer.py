"""A figure as SVG without a page behind it, quickly where there are many: a text is measured once for all of them.

Imports matplotlib: to be imported where pictures are made.
"""

from __future__ import annotations

import io
from functools import lru_cache
from typing import Any

from matplotlib.backends.backend_svg import RendererSVG
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import text_to_path

DOTS_PER_INCH = 72  # of SVG's own unit
KEPT = 8192  # sizes of texts


class PageRenderer(RendererSVG):
    """Writes SVG, with the sizes of texts kept."""

    def get_text_width_height_descent(self, s: str, prop: FontProperties, ismath: Any) -> tuple[float, float, float]:
        """Size of a text, points."""
        return _size(s, prop.copy(), ismath)


@lru_cache(maxsize=KEPT)
def _size(words: str, prop: FontProperties, ismath: Any) -> tuple[float, float, float]:
    wide, high, descent = text_to_path.get_text_width_height_descent(words, prop, ismath)
    return wide, high, descent


def svg_of(figure: Figure) -> str:
    """The text of the SVG file; nothing is drawn behind figure and panels."""
    file = io.StringIO()
    figure.set_dpi(DOTS_PER_INCH)
    for patch in (figure.patch, *(ax.patch for ax in figure.axes)):
        patch.set(facecolor="none", edgecolor="none")
    wide, high = DOTS_PER_INCH * figure.get_size_inches()
    about = {"Date": None, "Creator": None}
    renderer = PageRenderer(wide, high, file, image_dpi=DOTS_PER_INCH, metadata=about)  # type: ignore[no-untyped-call]
    figure.draw(renderer)
    renderer.finalize()  # type: ignore[no-untyped-call]
    return file.getvalue()
