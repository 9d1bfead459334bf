"""The coordinates that a targets file lets go: what each moves, its box, and what is kept.

A *move* is one number in mm: a coordinate, a group that moves as one, or coordinates that are kept together.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding
from kin3d.linkage.names import did_you_mean, normalise
from kin3d.reading.targets import TargetsFile
from kin3d.studies.corner_model import AXES, CornerModel
from kin3d.studies.groups import GROUPS, groups_of

Array = NDArray[np.float64]
ON_LINE = 1e-6  # mm per mm: a move that does less does not leave a line
Coordinate = tuple[int, int]  # row of the table's points, axis


@dataclass(frozen=True, slots=True, eq=False)
class MoveSpace:
    """All moves of a targets file.

    Attributes
    ----------
    names : tuple of str
        As the file writes them; moves that are kept together have one name.
    low, high : ndarray, shape (moves,)
        How far each may go from its present place, mm.
    weight : ndarray, shape (moves,)
        What a mm of each counts: root of the sum of squares of one over half boxes of what goes together.
    ways : ndarray, shape (moves, points, 3)
        Change of the table's coordinates per mm of each.
    points : tuple of str
        Points of the table.
    places_mm : ndarray, shape (points, 3)
        Their present places.
    lengths : tuple of (int, int)
        Pairs of points whose distance is kept.
    lines : tuple of (int, int, int)
        A point that slides, and the ends of its line: it stays on it.
    """

    names: tuple[str, ...]
    low: Array
    high: Array
    weight: Array
    ways: Array
    points: tuple[str, ...]
    places_mm: Array
    lengths: tuple[tuple[int, int], ...] = ()
    lines: tuple[tuple[int, int, int], ...] = ()

    @property
    def kept(self) -> int:
        """Number of equations that moves must hold: one a length, two a line."""
        return len(self.lengths) + 2 * len(self.lines)

    @property
    def count(self) -> int:
        """Number of moves."""
        return len(self.names)

    def change(self, moves: Array) -> float:
        """How large a change is: root of the sum of squares of moves over half boxes."""
        return float(np.linalg.norm(moves * self.weight))

    def shifts(self, moves: Array) -> Array:
        """Change of the table's coordinates, shape (…, points, 3)."""
        return np.asarray(np.tensordot(moves, self.ways, axes=1))

    def places(self, moves: Array) -> dict[str, Array]:
        """New places of the points that move, vehicle frame, mm, on the side of the table."""
        shift = self.shifts(moves)
        moved = np.flatnonzero(self.ways.any(axis=(0, 2)))
        return {self.points[k]: self.places_mm[k] + shift[k] for k in moved}

    def kept_errors(self, moves: Array) -> tuple[Array, Array]:
        """How much longer each kept length is than now and how much farther off its line each sliding point, mm.

        Returns
        -------
        error : ndarray, shape (kept,)
        slope : ndarray, shape (kept, moves)
            Per mm of each move.
        """
        shift = self.shifts(moves)
        error, slope = np.zeros(self.kept), np.zeros((self.kept, self.count))
        for k, (a, b) in enumerate(self.lengths):
            before = self.places_mm[a] - self.places_mm[b]
            now = before + shift[a] - shift[b]
            size = float(np.linalg.norm(now))
            error[k] = size - float(np.linalg.norm(before))
            slope[k] = (self.ways[:, a] - self.ways[:, b]) @ now / max(size, 1e-12)
        for k, line in enumerate(self.lines):
            rows = slice(len(self.lengths) + 2 * k, len(self.lengths) + 2 * k + 2)
            error[rows], slope[rows] = self._off_line(line, shift)
        return error, slope

    def _off_line(self, line: tuple[int, int, int], shift: Array) -> tuple[Array, Array]:
        """How much farther off its line than now a point stands, in two directions across it, and per mm of moves."""
        point, start, end = line
        along = self.places_mm[end] - self.places_mm[start]
        across = np.linalg.svd(along[None])[2][1:]

        def off(places: Array) -> Array:
            way, unit = places[point] - places[start], places[end] - places[start]
            unit = unit / np.linalg.norm(unit)
            return np.asarray(way - unit * (unit @ way))

        now = self.places_mm + shift
        way, whole = now[point] - now[start], now[end] - now[start]
        size = float(np.linalg.norm(whole))
        unit = whole / size
        of_way, of_whole = self.ways[:, point] - self.ways[:, start], self.ways[:, end] - self.ways[:, start]
        of_unit = (of_whole - np.outer(of_whole @ unit, unit)) / size
        turned = of_unit * (unit @ way) + np.outer(of_unit @ way + of_way @ unit, unit)
        return across @ (off(now) - off(self.places_mm)), across @ (of_way - turned).T


def move_space(file: TargetsFile, corner: CornerModel) -> tuple[MoveSpace, list[Finding]]:
    """Moves of a file for a corner's table, and everything that is wrong with their names."""
    names = _Names(file, corner)
    entries = [(m, names.coordinates(m.name, f'[move] "{m.name}"')) for m in file.moves]
    taken: dict[Coordinate, str] = {}
    for move, found in entries:
        for c in found:
            if c in taken:
                text = f'moves {names.said(c)}, which "{taken[c]}" moves already; a coordinate goes in a group or alone'
                names.wrong("move-twice", text, f'[move] "{move.name}"')
                break
            taken[c] = move.name
    sets = [
        [c for n in together for c in names.coordinates(n, "[keep] together", whole=True)]
        for together in file.keep.together
    ]
    lengths = names.lengths()
    merged = _merged([(i, set(found)) for i, (_, found) in enumerate(entries) if found], sets, names)
    space = _space(merged, entries, corner, lengths)
    return space, [*names.findings, *_stuck(space, file)]


def _lines(ways: Array, corner: CornerModel) -> tuple[tuple[int, int, int], ...]:
    """Points that slide on a line of which something moves; what stands across the car goes by its bare name."""
    linkage = corner.model.linkage
    found = []
    for slider in linkage.sliders:
        bare = [linkage.across.bare(p) for p in (slider.point, *slider.line)]
        if len(set(bare)) == len(bare) and all(p in corner.names for p in bare):
            found.append(tuple(corner.names.index(p) for p in bare))
    moved = (ways != 0.0).any(axis=(0, 2)).tolist()
    return tuple((p, a, b) for p, a, b in dict.fromkeys(found) if moved[p] or moved[a] or moved[b])


def _stuck(space: MoveSpace, file: TargetsFile) -> list[Finding]:
    """Moves that would take a point off the line on which it slides, whatever else moves."""
    if not space.lines:
        return []
    slope = space.kept_errors(np.zeros(space.count))[1][len(space.lengths) :]
    size, right = np.linalg.svd(slope)[1:]
    free = right[int((size > ON_LINE).sum()) :]
    out = []
    for k in np.flatnonzero(np.abs(slope).max(axis=0) > ON_LINE):
        if np.abs(free[:, k]).max(initial=0.0) > ON_LINE:
            continue
        line = next(on for on in space.lines if space.ways[k][list(on)].any())
        point, start, end = (space.points[p] for p in line)
        text = (
            f'"{point}" slides on the line {start}-{end} and would leave it; let {point}, {start} and {end} go along '
            "with each other, in [move] or as [keep] together"
        )
        out.append(Finding("move-off-line", text, f'{file.source}, [move] "{space.names[k]}"'))
    return out


def _merged(
    moves: list[tuple[int, set[Coordinate]]], sets: Sequence[Sequence[Coordinate]], names: _Names
) -> list[tuple[list[int], set[Coordinate]]]:
    """Entries of the file by what goes together: their numbers, and all coordinates that go along."""
    out: list[tuple[list[int], set[Coordinate]]] = [([i], set(found)) for i, found in moves]
    for together in sets:
        for axis in sorted({axis for _, axis in together}):  # coordinates of one axis go by the same amount
            one = {c for c in together if c[1] == axis}
            hit = [k for k, (_, found) in enumerate(out) if found & one]
            if not hit:
                if len(together) > 1 and all(not found & set(together) for _, found in out):
                    text = f"none of {', '.join(names.said(c) for c in sorted(one))} is in [move]; name one there"
                    names.wrong("together-still", text, "[keep] together")
                continue
            joined = (sorted(i for k in hit for i in out[k][0]), one.union(*(out[k][1] for k in hit)))
            out = [joined if k == hit[0] else o for k, o in enumerate(out) if k == hit[0] or k not in hit]
    return out


def _space(
    merged: Sequence[tuple[list[int], set[Coordinate]]],
    entries: Sequence[tuple[object, Sequence[Coordinate]]],
    corner: CornerModel,
    lengths: tuple[tuple[int, int], ...],
) -> MoveSpace:
    moves = [m for m, _ in entries]
    ways = np.zeros((len(merged), len(corner.names), 3))
    for k, (_, found) in enumerate(merged):
        for row, axis in found:
            ways[k, row, axis] = 1.0
    each = [[moves[i] for i in numbers] for numbers, _ in merged]
    return MoveSpace(
        names=tuple(" = ".join(m.name for m in ms) for ms in each),  # type: ignore[attr-defined]
        low=np.array([max(m.low for m in ms) for ms in each]),  # type: ignore[attr-defined]
        high=np.array([min(m.high for m in ms) for ms in each]),  # type: ignore[attr-defined]
        weight=np.array([np.sqrt(sum(4.0 / (m.high - m.low) ** 2 for m in ms)) for ms in each]),  # type: ignore[attr-defined]
        ways=ways,
        points=corner.names,
        places_mm=corner.places_mm,
        lengths=lengths,
        lines=_lines(ways, corner),
    )


class _Names:
    """What names of the file stand for; what is wrong with them is collected."""

    def __init__(self, file: TargetsFile, corner: CornerModel) -> None:
        self.file, self.corner = file, corner
        found = groups_of(corner.model.linkage, corner.design)
        self.groups = {g: [k for k, p in enumerate(corner.names) if found[p] == g] for g in GROUPS}
        self.groups = {g: rows for g, rows in self.groups.items() if rows}
        self.findings: list[Finding] = []

    def wrong(self, code: str, text: str, place: str) -> None:
        self.findings.append(Finding(code, text, f"{self.file.source}, {place}"))

    def said(self, coordinate: Coordinate) -> str:
        return f"{self.corner.names[coordinate[0]]}.{AXES[coordinate[1]]}"

    def coordinates(self, name: str, place: str, *, whole: bool = False) -> list[Coordinate]:
        """Coordinates of ``point.axis`` or ``group.axis``; of all axes where none is named and `whole` allows it."""
        head, dot, tail = name.rpartition(".")
        axes = [AXES.index(tail.strip().lower())] if dot and tail.strip().lower() in AXES else []
        if not axes:
            if not whole or dot:
                text = f'"{name}" names no axis; a point or a group with .x, .y or .z is expected, "lower_front.z"'
                self.wrong("coordinate-form", text, place)
                return []
            head, axes = name, [0, 1, 2]
        rows = self.groups.get(" ".join(head.lower().split()))
        if rows is None and normalise(head) in self.corner.names:
            rows = [self.corner.names.index(normalise(head))]
        if rows is None:
            known = [*self.corner.names, *self.groups]
            hint = did_you_mean(normalise(head) if " " not in head else head, known)
            text = f'there is no point or group "{head}" on the {self.corner.model.axle.name} axle; {hint}'
            self.wrong("point-unknown", text, place)
            return []
        return [(row, axis) for row in rows for axis in axes]

    def lengths(self) -> tuple[tuple[int, int], ...]:
        """Pairs of points whose distance is kept."""
        out = []
        for pair in self.file.keep.lengths:
            known = [normalise(p) for p in pair]
            missing = [p for p in known if p not in self.corner.names]
            if len(pair) != 2 or len(set(known)) < 2:
                text = f"is {list(pair)}; two different points are expected"
                self.wrong("length-form", text, "[keep] lengths")
            elif missing:
                for p in missing:
                    text = f'there is no point "{p}"; {did_you_mean(p, self.corner.names)}'
                    self.wrong("point-unknown", text, "[keep] lengths")
            else:
                out.append((self.corner.names.index(known[0]), self.corner.names.index(known[1])))
        return tuple(out)


def with_moves(places: Mapping[str, Array], space: MoveSpace) -> Array:
    """Moves that lead to places, shape (moves,): the mean over what goes together."""
    shift = np.zeros_like(space.places_mm)
    for name, place in places.items():
        row = space.points.index(name)
        shift[row] = place - space.places_mm[row]
    flat = space.ways.reshape(space.count, -1)
    return np.asarray((flat @ shift.ravel()) / (flat**2).sum(axis=1))
