"""Tables and text as HTML: every text is escaped, nothing is fetched."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from html import escape

from kin3d.writing.numbers import together
from kin3d.writing.tables import Cell, Column, Quantity, Table

CellMarkup = Callable[[str], str]  # a cell's text to markup


def text(value: object) -> str:
    """A value as text that cannot be taken for markup."""
    return escape(str(value))


def prose(value: object) -> str:
    """The same of sentences: a figure stays on the line of its unit. Not for what is copied, as a command is."""
    return text(together(str(value)))


def tag(name: str, content: str, **attributes: str) -> str:
    """An element; `class_` stands for ``class``; the content is markup already, the attributes are escaped."""
    given = "".join(f' {k.rstrip("_").replace("_", "-")}="{escape(v)}"' for k, v in attributes.items() if v)
    return f"<{name}{given}>{content}</{name}>"


def html_table(
    table: Table,
    most: int | None = None,
    show: Mapping[str, CellMarkup] | None = None,
    marks: Mapping[str, str] | None = None,
) -> str:
    """A table as HTML that scrolls sideways where there is little room.

    Parameters
    ----------
    most : int, optional
        No more rows than that, and a line that says how many are left out.
    show : mapping of column name to callable, optional
        How cells of a column become markup; default escaped text.
    marks : mapping of column name to str, optional
        Markup that stands before a column's head.
    """
    kinds = [_kind(c) for c in table.columns]
    heads = "".join(
        tag("th", f"{(marks or {}).get(c.name, '')} {_lines(h)}".strip(), class_=k, scope="col")
        for c, h, k in zip(table.columns, table.heads(), kinds, strict=True)
    )
    shown = table.shown()[:most]
    body = "".join(_row(table, n, cells, show or {}) for n, cells in enumerate(shown))
    whole = tag("table", f"<thead><tr>{heads}</tr></thead><tbody>{body}</tbody>")
    left = len(table.rows) - len(shown)
    # title and notes stand outside of what scrolls, so that they are always read in full
    title = tag("p", text(table.title), class_="caption") if table.title else ""
    region = tag("div", whole, class_="scroll", tabindex="0", role="region", aria_label=table.title or "table")
    more = [f"{left} more rows."] if left else []
    return title + region + "".join(tag("p", text(n), class_="note") for n in (*more, *table.notes))


def _kind(column: Column) -> str:
    return "long" if column.long else ("" if column.text else "n")


def _lines(words: str) -> str:
    return text(words).replace("\n", "<br>")


def _row(table: Table, number: int, cells: list[str], show: Mapping[str, CellMarkup]) -> str:
    made: list[str] = []
    for column, cell, value in zip(table.columns, cells, table.rows[number], strict=True):
        markup = show[column.name](cell) if column.name in show else _cell(cell, value)
        made.append(tag("td", markup, class_=_kind(column)) if made else tag("th", markup, scope="row"))
    return tag("tr", "".join(made))


def _cell(shown: str, value: Cell) -> str:
    """Escaped text; a deviation behind its figure is set small."""
    if isinstance(value, Quantity) and math.isfinite(value.sigma):
        figure, _, sigma = shown.partition(" ± ")
        return text(figure) + tag("small", f" ± {text(sigma)}")
    return _lines(shown)
