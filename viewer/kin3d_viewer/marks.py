"""The marks of one car's photographs while a person sets them: what is to be marked, undo, saved as one goes. No Qt."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import inf
from typing import Literal

from kin3d.reading.photo_records import CarPhotos, Mark, MarkKind
from kin3d.writing.files import write_file
from kin3d.writing.numbers import cell

MarkState = Literal["to do", "seen", "hidden", "doubtful"]
SIDES: tuple[Literal["left", "right"], ...] = ("left", "right")
WANTED = {"point": 1, "leg": 3, "rim": 7, "contact": 1}  # marks of each kind that make it seen
WIDER = 3.0  # a doubtful mark counts with so many times its deviation
DOUBTFUL = "doubtful"
_HIDDEN = "# hidden in "
HEADER = "photo,kind,name,side,u,v,sigma_px,note"


@dataclass(frozen=True, slots=True)
class ListedMark:
    """Something to mark in a photograph."""

    kind: MarkKind
    name: str
    side: Literal["left", "right"]

    def __str__(self) -> str:
        what = {"point": "", "leg": " leg", "rim": " rim", "contact": " contact"}[self.kind]
        return f"{self.side} {self.name}{what}"


@dataclass(frozen=True, slots=True)
class _Kept:
    """What undo goes back to."""

    marks: tuple[Mark, ...]
    hidden: frozenset[tuple[str, ListedMark]]


class Marks:
    """The marks of one car.

    Every change is written to the table of marks at once; `undo` and `redo` go over all of them.

    Parameters
    ----------
    photographs : CarPhotos
    points, legs : tuple of str
        Names of points, and of the inboard ends of links, that the layout has.
    """

    def __init__(self, photographs: CarPhotos, points: tuple[str, ...], legs: tuple[str, ...]) -> None:
        self.file = photographs
        self.points, self.legs = points, legs
        self._now = _Kept(photographs.marks, _hidden_of(photographs))
        self._past: list[_Kept] = []
        self._ahead: list[_Kept] = []

    @property
    def photographs(self) -> CarPhotos:
        """The file with the marks as they are now."""
        return replace(self.file, marks=self._now.marks)

    @property
    def marks(self) -> tuple[Mark, ...]:
        """The marks as they are now."""
        return self._now.marks

    def items(self) -> Iterator[ListedMark]:
        """Everything that may be marked in a photograph, in the order of the list."""
        for side in SIDES:
            yield from (ListedMark("point", n, side) for n in self.points)
            yield from (ListedMark("leg", n, side) for n in self.legs)
            for wheel in ("front", "rear"):
                yield ListedMark("rim", wheel, side)
                yield ListedMark("contact", wheel, side)

    def of(self, photo: str, item: ListedMark) -> list[int]:
        """Numbers of the marks of an item in a photograph."""
        return [
            k for k, m in enumerate(self._now.marks)
            if m.photo == photo and (m.kind, m.name, m.side) == (item.kind, item.name, item.side)
        ]  # fmt: skip

    def state(self, photo: str, item: ListedMark) -> MarkState:
        """How far an item is."""
        there = self.of(photo, item)
        if any(self._now.marks[k].note == DOUBTFUL for k in there):
            return "doubtful"
        if len(there) >= WANTED[item.kind]:
            return "seen"
        return "hidden" if (photo, item) in self._now.hidden else "to do"

    def following(self, photo: str, item: ListedMark) -> ListedMark:
        """The item that a click marks next: the same while it lacks marks, else the next that is to do."""
        if self.state(photo, item) == "to do" and self.of(photo, item):
            return item
        every = list(self.items())
        at = every.index(item)
        return next((i for i in (*every[at + 1 :], *every[:at]) if self.state(photo, i) == "to do"), item)

    def add(self, photo: str, item: ListedMark, u: float, v: float) -> int:
        """Set a mark; one of a point or a contact takes the place of an earlier one. Returns its number."""
        old = self.of(photo, item) if WANTED[item.kind] == 1 else []
        kept = [m for k, m in enumerate(self._now.marks) if k not in old]
        mark = Mark(photo, item.kind, item.name, item.side, u, v, self._sigma(photo, item.kind), len(kept) + 2)
        self._change((*kept, mark), self._now.hidden - {(photo, item)})
        return len(kept)

    def move(self, number: int, u: float, v: float) -> None:
        """Put a mark elsewhere."""
        marks = list(self._now.marks)
        marks[number] = replace(marks[number], u=u, v=v)
        self._change(tuple(marks), self._now.hidden)

    def remove(self, number: int) -> None:
        """Take a mark away."""
        self._change(tuple(m for k, m in enumerate(self._now.marks) if k != number), self._now.hidden)

    def doubt(self, photo: str, item: ListedMark) -> None:
        """Call the marks of an item doubtful, or take that back: they count with three times their deviation."""
        new = list(self._now.marks)
        for k in self.of(photo, item):
            plain = self._sigma(photo, item.kind)
            doubtful = new[k].note != DOUBTFUL
            new[k] = replace(new[k], note=DOUBTFUL if doubtful else "", sigma_px=plain * (WIDER if doubtful else 1.0))
        self._change(tuple(new), self._now.hidden)

    def hide(self, photo: str, item: ListedMark) -> None:
        """Say that an item cannot be seen in a photograph, or take that back; its marks go."""
        gone = self.of(photo, item)
        hidden = self._now.hidden ^ {(photo, item)}
        self._change(tuple(m for k, m in enumerate(self._now.marks) if k not in gone), hidden)

    def undo(self) -> bool:
        """Take the last change back."""
        return self._step(self._past, self._ahead)

    def redo(self) -> bool:
        """Make it again."""
        return self._step(self._ahead, self._past)

    def _step(self, source: list[_Kept], target: list[_Kept]) -> bool:
        if not source:
            return False
        target.append(self._now)
        self._now = source.pop()
        self.save()
        return True

    def _change(self, marks: tuple[Mark, ...], hidden: frozenset[tuple[str, ListedMark]]) -> None:
        self._past.append(self._now)
        self._ahead.clear()
        self._now = _Kept(marks, hidden)
        self.save()

    def _sigma(self, photo: str, kind: MarkKind) -> float:
        """Deviation of a mark of a kind: the photograph's own."""
        return next(p.sigma_px[kind] for p in self.file.photos if p.name == photo)

    def save(self) -> None:
        """Write the table of marks; what is hidden stands in comments that the window reads again.

        Raises
        ------
        RequestError
            When the place cannot be written to; the older table is then as it was.
        """
        lines = [f"{_HIDDEN}{photo}: {i.kind} {i.name} {i.side}" for photo, i in sorted(self._now.hidden, key=str)]
        lines.append(HEADER)
        for m in self._now.marks:
            plain = self._sigma(m.photo, m.kind)
            own = "" if m.sigma_px == plain else cell(m.sigma_px)
            lines.append(f"{m.photo},{m.kind},{m.name},{m.side},{m.u:.2f},{m.v:.2f},{own},{_quoted(m.note)}")
        write_file(self.file.marks_file, "\n".join(lines) + "\n", edited=True)


def _quoted(note: str) -> str:
    return '"' + note.replace('"', '""') + '"' if any(c in note for c in ',"\n;') else note


def _hidden_of(photographs: CarPhotos) -> frozenset[tuple[str, ListedMark]]:
    """What the table's comments call hidden."""
    out = set()
    try:
        text = photographs.marks_file.read_text("utf-8-sig")
    except OSError:
        return frozenset()
    for line in text.splitlines():
        photo, _, words = line.removeprefix(_HIDDEN).partition(": ")
        if line.startswith(_HIDDEN) and len(words.split()) == 3:
            kind, name, side = words.split()
            out.add((photo, ListedMark(kind, name, side)))  # type: ignore[arg-type]
    return frozenset(out)


def nearest(marks: Marks, photo: str, u: float, v: float, reach_px: float) -> int | None:
    """Number of the mark nearest to a place in a photograph, none beyond the reach."""
    best, found = inf, None
    for k, m in enumerate(marks.marks):
        away = ((m.u - u) ** 2 + (m.v - v) ** 2) ** 0.5
        if m.photo == photo and away < min(best, reach_px):
            best, found = away, k
    return found
