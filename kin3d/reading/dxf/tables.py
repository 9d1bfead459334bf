"""Tables of coordinates written as text, and keys with a legend.

Terms
-----
row : texts whose anchors lie on one line across the reading direction.
coordinate row : a row that begins with words and goes on with exactly three numbers.

What it cannot know: whether the table is up to date with the drawing. It is read only when the user says that it is
the source; and a number such as "1,500" is refused where no other number of the table shows the decimal mark.
"""

from __future__ import annotations

import re
import string
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from kin3d.frames import parse_axes
from kin3d.reading.dxf.content import DrawnMark, Text
from kin3d.reading.dxf.in_space import take_points
from kin3d.reading.dxf.matching import Tie, extent_of
from kin3d.reading.dxf.result import Job
from kin3d.reading.dxf.scale import LARGEST_MM, unit_factor
from kin3d.reading.dxf.wording import KEY, LETTERED, NUMBER, Names, decimal_mark, fold, is_number, key_entry, value
from kin3d.reading.text import FindingLog

BLANKS = string.whitespace + "\xa0\u2007\u2009\u202f"
MOST_TOLD = 100  # names of no known point that are told one by one
ROW_SHARE = 0.4  # text heights by which anchors of one row may differ
_WORD = re.compile(r"[^\d\s.,;+−-]")
_COLUMN = re.compile(r"([xyz]) ?(?:[/\[(,]? ?(mm|cm|m|in|inch)\.? ?[\])]?)?", re.IGNORECASE)


@dataclass(frozen=True, slots=True, eq=False)
class CoordinateRow:
    """Words and three numbers as they are written."""

    label: str
    figures: tuple[str, str, str]
    text: Text


def rows_of(texts: Sequence[Text]) -> list[list[Text]]:
    """Part texts into rows, top to bottom, each left to right."""
    if not texts:
        return []
    up = np.array([t.anchor @ t.frame[1] for t in texts])
    order = np.argsort(-up, kind="stable")
    rows: list[list[int]] = [[int(order[0])]]
    for i in order[1:]:
        first = rows[-1][0]
        if up[first] - up[i] <= ROW_SHARE * texts[first].height:
            rows[-1].append(int(i))
        else:
            rows.append([int(i)])
    return [sorted((texts[i] for i in row), key=lambda t: float(t.anchor @ t.frame[0])) for row in rows]


def coordinate_rows(texts: Sequence[Text], lettered: bool = False) -> list[CoordinateRow]:
    """Return all coordinate rows among the texts; one text may also hold a whole row, or a row a line.

    `lettered` takes lines such as "name X182 Y231 Z148" too, which beside a mark are its label.
    """
    found = []
    columns: list[float] = []
    for row in rows_of(texts):
        if heads := _heads(row):
            columns = [_along(h) for h in heads]
            continue
        words = [t.whole for t in row]
        if len(row) == 5 and re.fullmatch(r"\d{1,3}\.?", words[0]):  # the rows are numbered
            row, words = row[1:], words[1:]
        if len(row) == 4 and not is_number(words[0]) and all(is_number(w) for w in words[1:]):
            found.append(CoordinateRow(words[0], (words[1], words[2], words[3]), row[0]))
        elif len(row) > 4 and (under := _under(row, columns)) is not None:
            found.append(under)
        else:
            found += [r for t in row for line in t.lines if (r := _line(line, t, lettered)) is not None]
    return found


def _heads(row: Sequence[Text]) -> list[Text]:
    """Return the heads of the columns x, y and z in a row, left to right; none where it is no such row."""
    heads = [t for t in row if _COLUMN.fullmatch(" ".join(t.whole.split()))]
    return heads if sorted(t.whole.strip()[0].lower() for t in heads) == ["x", "y", "z"] else []


def _along(text: Text) -> float:
    return float(text.middle @ text.frame[0])


def _under(row: Sequence[Text], columns: Sequence[float]) -> CoordinateRow | None:
    """Return the row of a table with further columns: the three numbers that stand under the heads, one under each."""
    numbers = [t for t in row if is_number(t.whole)]
    label = next((t for t in row if not is_number(t.whole)), None)
    if len(columns) != 3 or label is None or len(numbers) < 3:
        return None
    far = np.abs(np.subtract.outer(columns, [_along(t) for t in numbers]))
    chosen = far.argmin(axis=1)
    limit = 0.5 * min(b - a for a, b in pairwise(sorted(columns)))
    if len(set(chosen)) < 3 or far.min(axis=1).max() >= limit:
        return None
    x, y, z = (numbers[k].whole for k in chosen)
    return CoordinateRow(label.whole, (x, y, z), label)


def _line(line: str, text: Text, lettered: bool = False) -> CoordinateRow | None:
    """Return the row that a line holds: words, then exactly three numbers; it is read from its end."""
    whole = line.strip()
    marked = LETTERED.search(whole) if lettered else None
    if marked is not None and _WORD.search(whole[: marked.start()]):
        return CoordinateRow(whole[: marked.start()].strip(" :;=("), (marked[1], marked[2], marked[3]), text)
    start = len(whole)
    for _ in range(3):
        end = len(whole[:start].rstrip(BLANKS + ";|/)"))
        start = len(whole[:end].rstrip("0123456789.,"))
        if start == end or not whole[start].isdigit():
            return None
        start -= whole[start - 1 : start] in ("-", "+", "−")
    label = whole[:start].rstrip(BLANKS + ":;=(")
    figures = NUMBER.findall(whole[start:])
    if len(label) == start or not _WORD.search(label) or len(figures) != 3 or not all(map(is_number, figures)):
        return None
    return CoordinateRow(label, (figures[0], figures[1], figures[2]), text)


def header_of(texts: Sequence[Text]) -> tuple[tuple[int, int, int], str | None]:
    """Return the order of the columns x, y, z and the unit in the head; (0, 1, 2) and None without a head."""
    for row in rows_of(texts):
        if heads := [h for t in _heads(row) if (h := _COLUMN.fullmatch(" ".join(t.whole.split())))]:
            letters = [h[1].lower() for h in heads]
            units = {h[2].lower() for h in heads if h[2]}
            order = (letters.index("x"), letters.index("y"), letters.index("z"))
            return order, units.pop() if len(units) == 1 else None
    return (0, 1, 2), None


def values_of(rows: Sequence[CoordinateRow], log: FindingLog) -> list[tuple[float, float, float]] | None:
    """Return the coordinates of all rows; None with an error where the decimal mark cannot be told."""
    figures = [f for row in rows for f in row.figures]
    mark = decimal_mark(figures) or _by_size(rows)
    if mark is None:
        odd = next(f for f in figures if re.search("[.,]", f))
        text = f'the table of coordinates has numbers such as "{odd}" whose decimal mark, comma or dot, cannot be told'
        log.error("table-decimal", text)
        return None
    return [(value(a, mark), value(b, mark), value(c, mark)) for a, b, c in (r.figures for r in rows)]


def _by_size(rows: Sequence[CoordinateRow]) -> str | None:
    """Return the mark that all numbers share where, taken for thousands, they would be too large for any car in mm."""
    marks = {m for row in rows for f in row.figures for m in re.findall(r"[.,]", f)}
    if len(marks) != 1:
        return None
    mark = marks.pop()
    large = np.array([[value(f, "," if mark == "." else ".") for f in row.figures] for row in rows])
    return mark if float(np.ptp(large, axis=0).max()) > LARGEST_MM else None


def read_legend(texts: Sequence[Text], names: Names) -> list[Text]:
    """Enter the drawing's own legend ("1  lower front") into `names`; return the texts that belong to it.

    A legend is at least three entries with different keys, each key and its meaning in one text or side by side.
    """
    entries: dict[str, list[tuple[str, Text, Text]]] = {}
    for text in texts:
        for line in text.lines:
            entry = key_entry(line)
            if entry is not None and names.find(entry[1]) is not None:
                entries.setdefault(entry[0], []).append((entry[1], text, text))
    for row in rows_of(texts):
        for key, meaning in pairwise(row):
            gap = float((meaning.anchor - key.anchor) @ key.frame[0])
            near = 0.0 < gap < 12.0 * key.height + key.box[2]
            if near and re.fullmatch(rf"\(?({KEY})\)?[.:)]?", key.whole) and names.find(meaning.whole) is not None:
                entries.setdefault(key.whole.strip("().:"), []).append((meaning.whole, key, meaning))
    sure = {key: found for key, found in entries.items() if len({str(names.find(m)) for m, _, _ in found}) == 1}
    if len(sure) < 3:
        return []
    for mark, found in sure.items():
        if (name := names.find(found[0][0])) is not None:
            names.keys[fold(mark)] = name.point
    return [t for found in sure.values() for _, a, b in found for t in (a, b)]


def tell_unknown(odd: Sequence[tuple[str, str]], names: Names, log: FindingLog, one: str, many: str) -> None:
    """Warn of names of no known point, with their places; `one` has a gap for the name, `many` follows a number."""
    for name, where in odd[:MOST_TOLD]:
        log.warn("label-unknown", f"{one.format(name)}; {names.hint(name)}", where)
    if len(odd) > MOST_TOLD:
        log.warn("label-unknown", f"{len(odd) - MOST_TOLD} more {many}")


# --- a table that is the source of the points ------------------------------------------------------------------------


def read_table(job: Job) -> None:
    """Read the table of coordinates that the user has confirmed to be the source."""
    rows = coordinate_rows(job.content.texts, lettered=True)
    order, unit = header_of(job.content.texts)
    values = values_of(rows, job.log) if rows else None
    if not rows:
        text = "no table of coordinates was found: rows of words and three numbers are expected"
        job.log.error("table-missing", text)
    if values is None:
        return
    job.reading.form = "table"
    codes = {"mm": 4, "cm": 5, "m": 6, "in": 1, "inch": 1}
    factor = unit_factor(job, extent_of(np.array(values)), codes[unit] if unit else None)
    if factor is None:
        return
    found = [(row, job.names.find(row.label), xyz) for row, xyz in zip(rows, values, strict=True)]
    odd = [(row.label, f"handle {row.text.origin.handle}") for row, name, _ in found if name is None]
    tell_unknown(odd, job.names, job.log, 'the row "{}" is no known point', "rows are no known points")
    ties = [
        Tie(name, DrawnMark(np.array(xyz)[list(order)], 0.0, "row", row.text.origin), "table")
        for row, name, xyz in found
        if name is not None and (job.side is None or name.side in (None, job.side))
    ]
    take_points(job, ties, factor * (parse_axes(job.axes) if job.axes else np.eye(3)), np.zeros(3))
    rounded = factor * _last_digit(rows) / np.sqrt(12.0)  # an even spread over one step of the last digit
    for point in job.reading.points.values():
        np.maximum(point.sigma_mm, rounded, out=point.sigma_mm)


def _last_digit(rows: Sequence[CoordinateRow]) -> float:
    """Return the step of the last digit in which all numbers are written, in the table's unit."""
    return float(
        10.0 ** -max(len(re.split("[.,]", f)[-1]) if re.search("[.,]", f) else 0 for r in rows for f in r.figures)
    )
