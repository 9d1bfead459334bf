"""Small pieces of a page: marks that tell the cars apart, verdicts, lists, sections."""

from __future__ import annotations

from collections.abc import Iterable

from kin3d.writing.html import tag, text
from kin3d.writing.style import CARS

_DASHES = ("", "7 3", "2 2", "9 3 2 3")


def mark(number: int) -> str:
    """The line by which a car is known in every picture."""
    colour, dash = CARS[number % len(CARS)], _DASHES[number % len(_DASHES)]
    line = f'<line x1="1" y1="5" x2="27" y2="5" stroke="{colour}" stroke-width="3" stroke-dasharray="{dash}"/>'
    return f'<svg class="mark" viewBox="0 0 28 10" width="28" height="10" aria-hidden="true">{line}</svg>'


def named(number: int, label: str, title: str) -> str:
    """A car's mark, letter and title."""
    return f"{mark(number)} {tag('b', text(label))} {text(title)}"


def verdict(said: str) -> str:
    """Whether a difference can be said, with a sign that needs no colour: filled, open, or a dash."""
    words = {"–": "not judged"}.get(said, said)
    return tag("span", text(words), class_=f"verdict {said if said in ('yes', 'no') else 'none'}")


def listed(items: Iterable[str], class_: str = "") -> str:
    """A list of items that are markup already; nothing for none."""
    inner = "".join(tag("li", i) for i in items)
    return tag("ul", inner, class_=class_) if inner else ""


def section(key: str, title: str, content: str, level: int = 2) -> str:
    """A section with a heading to which the table of contents leads."""
    return tag("section", tag(f"h{level}", text(title)) + content, id=key)
