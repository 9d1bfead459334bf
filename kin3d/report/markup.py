"""Small pieces of HTML: escaped text, tables, marks that tell the cars apart, verdicts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from html import escape

from kin3d.writing.style import LINES

_DASHES = ("", "7 3", "2 2", "9 3 2 3")


def text(value: object) -> str:
    """A value as text that cannot be taken for markup."""
    return escape(str(value))


def tag(name: str, content: str, **attributes: str) -> str:
    """An element; `class_` stands for ``class``; the content is markup already, the attributes are escaped."""
    given = "".join(f' {k.rstrip("_").replace("_", "-")}="{escape(v)}"' for k, v in attributes.items() if v)
    return f"<{name}{given}>{content}</{name}>"


def table(
    head: Sequence[str],
    rows: Iterable[Sequence[str]],
    numbers: Sequence[int] = (),
    caption: str = "",
    long: Sequence[int] = (),
) -> str:
    """A table that scrolls sideways on a narrow screen.

    Heads, cells and caption are markup already. `numbers` are columns that are set to the right, `long` those whose
    text runs over several lines.
    """
    kinds = {**dict.fromkeys(numbers, "n"), **dict.fromkeys(long, "long")}
    heads = "".join(tag("th", h, class_=kinds.get(k, ""), scope="col") for k, h in enumerate(head))
    body = "".join(_row(r, kinds) for r in rows)
    whole = tag("table", f"<thead><tr>{heads}</tr></thead><tbody>{body}</tbody>")
    # the caption stands outside of what scrolls, so that it is always read in full
    shown = tag("p", caption, class_="caption") if caption else ""
    region = tag("div", whole, class_="scroll", tabindex="0", role="region", aria_label=_plain(caption) or "table")
    return shown + region


def _row(cells: Sequence[str], kinds: Mapping[int, str]) -> str:
    first, *rest = cells
    head = tag("th", first, scope="row")
    inner = "".join(tag("td", c, class_=kinds.get(k, "")) for k, c in enumerate(rest, 1))
    return f"<tr>{head}{inner}</tr>"


def _plain(markup: str) -> str:
    return "" if "<" in markup else markup


def mark(number: int) -> str:
    """The line by which a car is known in every picture."""
    colour, dash = LINES[number % len(LINES)], _DASHES[number % len(_DASHES)]
    line = f'<line x1="1" y1="5" x2="27" y2="5" stroke="{colour}" stroke-width="3" stroke-dasharray="{dash}"/>'
    return f'<svg class="mark" viewBox="0 0 28 10" width="28" height="10" aria-hidden="true">{line}</svg>'


def named(number: int, label: str, title: str) -> str:
    """A car's mark, letter and title."""
    return f"{mark(number)} {tag('b', text(label))} {text(title)}"


def verdict(words: str) -> str:
    """A verdict with a sign that needs no colour: filled, open, or a dash."""
    kind = {"can be said": "yes", "no difference": "none"}.get(words, "no" if words.startswith("cannot") else "none")
    return tag("span", text(words), class_=f"verdict {kind}")


def listed(items: Iterable[str], class_: str = "") -> str:
    """A list of items that are markup already; nothing for none."""
    inner = "".join(tag("li", i) for i in items)
    return tag("ul", inner, class_=class_) if inner else ""


def section(key: str, title: str, content: str, level: int = 2) -> str:
    """A section with a heading to which the table of contents leads."""
    return tag("section", tag(f"h{level}", text(title)) + content, id=key)
