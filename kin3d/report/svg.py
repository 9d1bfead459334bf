"""Matplotlib figures as SVG to stand in a page: text stays text, names of parts are unique, nothing is fetched."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from kin3d.report.markup import in_page_colours
from kin3d.writing.drawing import Drawing, Frame
from kin3d.writing.drawing_svg import svg_text
from kin3d.writing.html import tag, text

if TYPE_CHECKING:
    from matplotlib.figure import Figure

# faces as wide as the one that the figure was measured with, so that nothing overlaps where it is not installed
_FACES = "'DejaVu Sans', Verdana, 'Noto Sans', sans-serif"


def inline_svg(figure: Figure, key: str, described: str) -> str:
    """A figure as an ``<svg>`` element.

    Parameters
    ----------
    key : str
        Letters and digits, different for every figure of a page.
    described : str
        What it shows, for those who cannot see it.
    """
    import matplotlib as mpl

    from kin3d.report.svg_writer import svg_of

    with mpl.rc_context({"svg.hashsalt": key, "svg.fonttype": "none"}):
        return standing_svg(svg_of(figure), key, described)


def drawing_svg(drawing: Drawing, frame: Frame, key: str, described: str) -> str:
    """A drawing as an ``<svg>`` element; key and description as of `inline_svg`."""
    return standing_svg(svg_text(drawing, frame), key, described)


def standing_svg(drawing: str, key: str, described: str) -> str:
    """The text of an SVG file as an ``<svg>`` element of a page; parameters as of `inline_svg`."""
    drawing = drawing[drawing.index("<svg") :]
    drawing = re.sub(r"<metadata>.*?</metadata>", "", drawing, flags=re.S)
    drawing = re.sub(r"<!--.*?-->", "", drawing, flags=re.S)
    drawing = drawing.replace("'DejaVu Sans'", _FACES).replace(' xmlns:xlink="http://www.w3.org/1999/xlink"', "")
    drawing = drawing.replace("xlink:href", "href")
    return in_page_colours(_labelled(_own_names(drawing, key), described))


def _own_names(drawing: str, key: str) -> str:
    """Keep the names that are referred to, made unique to the figure, and drop the others."""
    used = set(re.findall(r'(?:url\(#|href="#)([^)"]+)', drawing))

    def named(match: re.Match[str]) -> str:
        return f' id="{key}-{match[1]}"' if match[1] in used else ""

    drawing = re.sub(r' id="([^"]+)"', named, drawing)
    return re.sub(r'(url\(#|href="#)', rf"\g<1>{key}-", drawing)


def _labelled(drawing: str, described: str) -> str:
    """Let the page give the size, and say what is shown."""
    head = re.sub(r' (?:width|height)="[^"]*"', "", drawing[: drawing.index(">")])
    return f'{head} role="img" aria-label="{text(described)}"{drawing[drawing.index(">") :]}'


def framed(svg: str, caption: str = "", class_: str = "") -> str:
    """A figure with its caption (markup)."""
    return tag("figure", svg + (tag("figcaption", caption) if caption else ""), class_=class_)
