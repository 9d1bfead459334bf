"""Freedom that is left, and what two wants cost each other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError
from kin3d.linkage.record import changed
from kin3d.studies.tune_problem import Problem
from kin3d.studies.tune_solve import nearest, solve_whole
from kin3d.studies.tune_wants import Aim, look
from kin3d.writing.tables import Cell, Column, Table

Array = NDArray[np.float64]
FREE = 0.01  # of what a want allows, per mm: a direction that does less changes nothing wanted
LENGTH_MM = 1e-3  # per mm, of a kept length
LEAST = 5e-4  # mm per mm: what is shown of a direction
POINTS = 9
EXACT = 1e-6  # of what a want allows: nearer than this it is had exactly
ROOM = 1e-3  # of what a want allows: less than this is no trade
HARD = 1e3  # weight of what must hold while two wants are traded


def free_directions(problem: Problem, x: Array) -> Array:
    """Directions along which nothing wanted changes, to first order, shape (directions, moves), mm.

    Each has one move that goes 1 mm and no other direction has; the others are what makes up for it.
    """
    here = problem.at(x)
    rows = problem.rest_slope(here.slope / problem.slack[:, None] / problem.unit)
    kept = problem.kept(x)[1] / problem.unit / (LENGTH_MM / FREE)
    size, right = np.linalg.svd(np.vstack([rows, kept]), full_matrices=True)[1:]
    rank = int((size > FREE).sum())
    return _told_apart(right[rank:])


def _told_apart(basis: Array) -> Array:
    """The same directions, each with a leading move of its own (Gauss–Jordan with the largest pivots)."""
    out = basis.copy()
    free = list(range(out.shape[1]))
    for row in range(len(out)):
        lead = max(free, key=lambda k: abs(out[row, k]))
        if abs(out[row, lead]) < 1e-9:
            continue
        free.remove(lead)
        out[row] /= out[row, lead]
        for other in range(len(out)):
            if other != row:
                out[other] -= out[other, lead] * out[row]
    return np.where(np.abs(out) < LEAST, 0.0, out)


def freedom_table(problem: Problem, x: Array) -> tuple[Table, str]:
    """Free directions as a table, and what they mean."""
    found = free_directions(problem, x)
    names = problem.space.names
    columns = (Column("move", text=True, key=True),
               *(Column(f"way_{k}", "mm", f"way {k}", places=3) for k in range(1, len(found) + 1)))  # fmt: skip
    rows: list[tuple[Cell, ...]] = [(n, *map(float, way)) for n, way in zip(names, found.T, strict=True)]
    if not len(found):
        return Table.of("freedom", columns, rows, "Freedom that is left: none"), (
            "No freedom is left: every direction of the moves changes something that is wanted."
        )
    said = f"{len(found)} directions are free: along each, 1 mm changes every want by less than {100 * FREE:g} % of "
    return Table.of("freedom", columns, rows, "Freedom that is left, mm"), f"{said}what it allows, to first order."


@dataclass(frozen=True, slots=True, eq=False)
class TradeOff:
    """What two wants cost each other: how far off each is, the others held.

    Attributes
    ----------
    first, second : Aim
    off : ndarray, shape (points, 2)
        Distance from what is wanted, in each want's unit.
    change : ndarray, shape (points,)
    moves : ndarray, shape (points, moves)
    """

    first: Aim
    second: Aim
    off: Array
    change: Array
    moves: Array

    @property
    def free(self) -> bool:
        """Whether both are had together, so that there is nothing to trade."""
        return len(self.off) == 1

    def table(self) -> Table:
        """A row a point of the curve; one row where nothing is traded."""
        a, b = self.first, self.second
        columns = [Column("first_off", a.unit, f"want {a.number} off {a.unit}"),
                   Column("second_off", b.unit, f"want {b.number} off {b.unit}"), Column("change")]  # fmt: skip
        rows = [(f"{x:.5g}", f"{y:.5g}", f"{c:.4f}") for (x, y), c in zip(self.off, self.change, strict=True)]
        title = f"Trade-off: {a.number}. {a.name} against {b.number}. {b.name}"
        return Table.of("trade", columns, rows, title)

    def note(self) -> str:
        """Whether there is anything to trade."""
        if self.free:
            allowed = np.array([self.first.within, self.second.within])
            had = "both are had" if (self.off < 0.01 * allowed).all() else "each is as near as it comes alone"
            return f"Wants {self.first.number} and {self.second.number} cost each other nothing: {had}."
        return "The trade-off has every other want within what it allows; off is the distance from what is wanted."


def trade_off(problem: Problem, numbers: Sequence[float], start: Array) -> TradeOff:
    """The curve of how near two wants can be had together.

    Parameters
    ----------
    numbers : sequence of int
        Two wants, by their number in the file.

    Raises
    ------
    RequestError
        For others than two different wants of the file.
    """
    known = [a.number for a in problem.aims]
    if len(set(numbers)) != 2 or len(numbers) != 2 or not set(numbers) <= set(known):
        said = ", ".join(map(str, known))
        given = ", ".join(f"{n:g}" for n in numbers)
        text = f"the trade-off of {given}: two different wants are expected, of numbers {said}"
        raise RequestError(Finding("trade-wants", text))
    first, second = (problem.aims[known.index(int(n))] for n in numbers)
    rest = [_weighing(a, HARD) for a in problem.aims if a not in (first, second)]

    def solved(most: float | None, of: Aim, x: Array) -> tuple[Array, Array]:
        """Least distance of one want, the other no farther off than so much; places and both distances."""
        other = second if of is first else first
        aims = [*rest, _weighing(of, 1.0, 0.0)]
        aims += [] if most is None else [_weighing(other, HARD, most)]
        found = solve_whole(Problem(problem.model, aims), nearest, x)
        got = look([first, second], problem.model, found.x * problem.unit)
        return found.x, np.array([_beyond_rounding(g.off, a) for g, a in zip(got, (first, second), strict=True)])

    x, at_first = solved(None, first, start)
    _, at_second = solved(None, second, start)
    # Many places have the second want at its least: the one of them counts that is nearest to the first.
    end, at_end = solved(at_second[1] + ROOM * second.within, first, x)
    places, offs = [end], [at_end]
    if at_end[0] > at_first[0] + ROOM * first.within:
        places, offs = [], []
        for level in np.linspace(at_first[0], at_end[0], POINTS):
            x, off = solved(float(level), second, places[-1] if places else x)
            places.append(x)
            offs.append(off)
    moves = np.array(places) * problem.unit
    change = np.array([problem.space.change(m) for m in moves])
    return TradeOff(first, second, np.array(offs), change, moves)


def _beyond_rounding(off: float, aim: Aim) -> float:
    """A distance from what is wanted; what the solve leaves over is none."""
    return off if off > EXACT * aim.within else 0.0


def _weighing(aim: Aim, weight: float, room: float | None = None) -> Aim:
    """The aim with another weight, and perhaps another room about what is wanted."""
    return replace(aim, want=changed(aim.want, weight=weight), at=list(aim.at), room=room)
