"""Small pieces of a page: marks that tell the cars apart, verdicts, lists, sections."""

from __future__ import annotations

import re
from collections.abc import Iterable

from kin3d.writing.html import tag, text
from kin3d.writing.style import CARS, DARK

_COLOUR = re.compile(r"#[0-9a-fA-F]{6}\b")
_DASHES = ("", "7 3", "2 2", "9 3 2 3")


def mark(number: int) -> str:
    """The line by which a car is known in every picture."""
    colour, dash = CARS[number % len(CARS)], _DASHES[number % len(_DASHES)]
    line = f'<line x1="1" y1="5" x2="27" y2="5" style="stroke:{colour}" stroke-width="3" stroke-dasharray="{dash}"/>'
    line = in_page_colours(line)
    return f'<svg class="mark" viewBox="0 0 28 10" width="28" height="10" aria-hidden="true">{line}</svg>'


def named(number: int, label: str, title: str) -> str:
    """A car's mark, letter and title."""
    return f"{mark(number)} {tag('b', text(label))} {text(title)}"


def verdict(said: str) -> str:
    """Whether a difference can be said, with a sign that needs no colour: filled, open, or a dash."""
    words = {"–": "not judged"}.get(said, said)
    return tag("span", text(words), class_=f"verdict {said if said in ('yes', 'no') else 'none'}")


def verdict_sign(said: str) -> str:
    """The sign of a verdict alone, its words for those who cannot see it."""
    words = {"yes": "can be said", "no": "cannot be said", "same": "no difference", "exact": "set by exact figures"}
    return tag("span", words.get(said, "not judged"), class_="unseen")


def row_picture(parts: str, wide: float, high: float) -> str:
    """The picture in a row of a table; the row's words say the same."""
    box = f'viewBox="0 0 {wide:g} {high:g}" width="{wide:g}" height="{high:g}"'
    return f'<svg class="row" {box} aria-hidden="true">{parts}</svg>'


def listed(items: Iterable[str], class_: str = "") -> str:
    """A list of items that are markup already; nothing for none."""
    inner = "".join(tag("li", i) for i in items)
    return tag("ul", inner, class_=class_) if inner else ""


def folded(title: str, content: str) -> str:
    """What is read on demand: its title stands, the rest unfolds; nothing for nothing."""
    return tag("details", tag("summary", text(title)) + content) if content else ""


def colours_css() -> str:
    """The colours of `kin3d.writing.style` as properties of the page, for light and for dark."""
    light = "".join(f"{_property(c)}:{c};" for c in DARK)
    dark = "".join(f"{_property(c)}:{d};" for c, d in DARK.items())
    return f":root{{{light}}}@media screen and (prefers-color-scheme:dark){{:root{{{dark}}}}}"


def in_page_colours(markup: str) -> str:
    """Colours of a picture as the page's own, so that they follow light and dark."""

    def own(found: re.Match[str]) -> str:
        colour = found[0].lower()
        return f"var({_property(colour)})" if colour in DARK else found[0]

    return _COLOUR.sub(own, markup)


def _property(colour: str) -> str:
    return f"--c{colour[1:]}"


def section(key: str, title: str, content: str, level: int = 2) -> str:
    """A section with a heading to which the table of contents leads."""
    return tag("section", tag(f"h{level}", text(title)) + content, id=key)
