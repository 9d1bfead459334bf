"""Tables and text as HTML: every text is escaped, nothing is fetched."""

from __future__ import annotations

from html import escape

from kin3d.writing.tables import Table


def text(value: object) -> str:
    """A value as text that cannot be taken for markup."""
    return escape(str(value))


def html_table(table: Table, most: int | None = None) -> str:
    """A table as an HTML element; with `most` no more rows than that, and a line that says how many are left out."""
    heads = "".join(f'<th scope="col">{text(h)}</th>' for h in table.heads())
    rows = table.shown()
    cut = rows if most is None else rows[:most]
    body = "".join("<tr>" + "".join(f"<td>{text(c)}</td>" for c in row) + "</tr>" for row in cut)
    more = f"<p>{len(rows) - len(cut)} more rows.</p>" if len(cut) < len(rows) else ""
    title = f"<caption>{text(table.title)}</caption>" if table.title else ""
    return f"<table>{title}<thead><tr>{heads}</tr></thead><tbody>{body}</tbody></table>{more}"
