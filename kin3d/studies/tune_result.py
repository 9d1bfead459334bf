"""What tuning has found: moves, wanted against got, what is in the way, what presses, fewer points, rounding."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError
from kin3d.linkage.car import Car
from kin3d.linkage.names import AxleName, Side
from kin3d.studies.tune_freedom import TradeOff
from kin3d.studies.tune_lines import BoxPrice, Forecast, Rounding, WantedLine
from kin3d.studies.tune_plot import draw_trade, draw_wants
from kin3d.studies.tune_samples import SampleModel
from kin3d.studies.tune_space import MoveSpace
from kin3d.writing.numbers import fixed
from kin3d.writing.result import Result
from kin3d.writing.tables import Cell, Column, Table

if TYPE_CHECKING:
    from kin3d.studies.compare import Comparison

Array = NDArray[np.float64]
STILL_MM = 1e-6
CANNOT = "cannot be had"
NOT_FOUND = "none was found"


@dataclass(frozen=True, slots=True, repr=False, eq=False)
class TuneResult(Result):
    """What tuning has found.

    Attributes
    ----------
    title : str
    axle : {"front", "rear"}
    side : {"left", "right"}
        Of the table: coordinates are on it.
    before : Car
    car : Car
        With the points moved; of the nearest where not all wants can be had.
    space : MoveSpace
    moves : ndarray, shape (moves,)
        mm.
    lines : tuple of WantedLine
    forecast : Forecast
    established : bool
        Where not all is met: whether it cannot be had, else it is only that none was found.
    conflict : tuple of int
        Wants that stand in each other's way at the nearest, by number.
    prices : tuple of BoxPrice
    residual : float
        What is left of the first-order conditions, as a part of the gradient.
    few : ndarray, shape (moves,), or None
        An answer that moves fewer.
    rounding : Rounding or None
    answers : ndarray, shape (answers, moves)
        Distinct answers, the least change first.
    starts, starts_met : int
        Starts in step, and how many met all wants.
    models : tuple of SampleModel
        Before and after, for figures at positions.
    curve : TradeOff or None
        What two wants cost each other, if that was asked for.
    sections : tuple of Table
        Of what else was asked for.
    remarks : tuple of str
    """

    kind = "tune"

    title: str
    axle: AxleName
    side: Side
    before: Car
    car: Car
    space: MoveSpace
    moves: Array
    lines: tuple[WantedLine, ...]
    forecast: Forecast
    established: bool
    conflict: tuple[int, ...]
    prices: tuple[BoxPrice, ...]
    residual: float
    few: Array | None
    rounding: Rounding | None
    answers: Array
    starts: int
    starts_met: int
    models: tuple[SampleModel, SampleModel]
    curve: TradeOff | None = None
    sections: tuple[Table, ...] = ()
    remarks: tuple[str, ...] = ()

    @property
    def met(self) -> bool:
        """Whether the car has all that is wanted."""
        return all(line.met for line in self.lines)

    @property
    def change(self) -> float:
        """Root of the sum of squares of moves over half boxes."""
        return self.space.change(self.moves)

    @property
    def moved(self) -> int:
        """How many coordinates or groups move."""
        return int((np.abs(self.moves) > STILL_MM).sum())

    def summary(self) -> str:
        """Whether all is met, and by what."""
        head = f"{self.title}, {self.axle} axle, coordinates of the {self.side} side"
        count, words = len(self.lines), "want" if len(self.lines) == 1 else "wants"
        if self.met:
            how = f"{self.moved} of {self.space.count} coordinates move, change {self.change:.3f}"
            return f"{head}: all {count} {words} met; {how}"
        return f"{head}: {sum(line.met for line in self.lines)} of {count} {words} met; the nearest is shown"

    def verdict(self) -> tuple[str, ...]:
        """One line for every want that stands in the way; nothing where all are met."""
        if self.met:
            return ()
        said = CANNOT if self.established else NOT_FOUND
        out = []
        for line in self.lines:
            if not line.met:
                others = [o.aim.name for o in self.lines if o.aim.number in self.conflict and o is not line]
                against = f"; against: {'; '.join(others)}" if others and line.aim.number in self.conflict else ""
                out.append(line.sentence(said) + against)
        return tuple(out)

    def told(self) -> str:
        """What the linear model says, in a sentence."""
        if self.forecast.met:
            return "Forecast of the linear model: all can be had together."
        names = [line.aim.name for line in self.lines if line.aim.number in self.forecast.conflict]
        how = "in conflict with each other" if len(names) > 1 else "out of reach of the boxes"
        return f"Forecast of the linear model: {how}: {'; '.join(names)}."

    def notes(self) -> tuple[str, ...]:
        """The forecast, the verdict, fewer points, rounding, starts, and what was assumed."""
        return (self.told(), *self.verdict(), *self._few_note(), *self._rounding_note(), *self._starts_note(),
                *self.remarks)  # fmt: skip

    def _few_note(self) -> tuple[str, ...]:
        if self.few is None:
            return ()
        alone = [n for n, m in zip(self.space.names, self.few, strict=True) if abs(m) <= STILL_MM]
        kept = self.space.count - len(alone)
        change = self.space.change(self.few)
        return (f"{kept} coordinates are enough, with a change of {change:.3f}; left alone: {', '.join(alone)}.",)

    def _rounding_note(self) -> tuple[str, ...]:
        r = self.rounding
        if r is None:
            return ()
        if r.met:
            return (f"Rounded to {r.grid_mm:g} mm all wants are still met; change {r.change:.3f}.",)
        lost = [
            f"{line.aim.name}: {line.aim.show(got.value)}"
            for line, got in zip(self.lines, r.got, strict=True)
            if got.excess > 0.0
        ]
        return (f"Rounded to {r.grid_mm:g} mm some wants are lost: {'; '.join(lost)}.",)

    def _starts_note(self) -> tuple[str, ...]:
        if not self.starts:
            return ()
        if not len(self.answers):
            return (f"None of {self.starts} random starts in the boxes met all wants.",)
        found = f"{len(self.answers)} distinct answer{'' if len(self.answers) == 1 else 's'}"
        return (f"{self.starts_met} of {self.starts} starts met all wants; {found} of least change.",)

    def tables(self, measures: Sequence[str] | None = None) -> tuple[Table, ...]:  # noqa: ARG002 - none to choose
        """Moves, wanted against got, boxes that press, distinct answers, and what else was asked for."""
        out = [self._moves_table(), self._wants_table()]
        if self.prices:
            what = "change" if self.met else "excess"
            columns = (Column("box", text=True), Column("end", text=True), Column(what, head=f"{what} per further mm"))
            rows = [(p.name, p.end, fixed(-p.bought, 4)) for p in self.prices]
            out.append(Table.of("boxes", columns, rows, "Boxes that press"))
        if len(self.answers) > 1:
            out.append(self._answers_table())
        return (*out, *self.sections)

    def _moves_table(self) -> Table:
        columns = [Column("move", text=True), Column("moves_mm", "mm", "moves mm", places=3),
                   Column("from_mm", "mm", "box from", places=1), Column("to_mm", "mm", "box to", places=1),
                   Column("share", "%", "of half box", places=2)]  # fmt: skip
        low, high, weight = self.space.low, self.space.high, self.space.weight
        rows: list[tuple[Cell, ...]] = [
            (name, float(m), float(a), float(b), float(abs(m) * w))
            for name, m, a, b, w in zip(self.space.names, self.moves, low, high, weight, strict=True)
        ]
        if self.few is not None:
            columns.append(Column("few_mm", "mm", "fewest mm", places=3))
            rows = [(*r, float(f)) for r, f in zip(rows, self.few, strict=True)]
        title = "Moves with the least change" if self.met else "Moves to the nearest"
        return Table.of("moves", columns, rows, title)

    def _wants_table(self) -> Table:
        columns = (Column("want", text=True, long=True), Column("wanted"), Column("unit", text=True), Column("before"),
                   Column("after"), Column("met", text=True))  # fmt: skip
        rows = [
            (x.aim.name, x.wanted, x.aim.unit, x.aim.show(x.before.value), x.aim.show(x.after.value),
             "yes" if x.met else "no")
            for x in self.lines
        ]  # fmt: skip
        return Table.of("wants", columns, rows, "Wanted and got")

    def _answers_table(self) -> Table:
        numbers = range(1, len(self.answers) + 1)
        each = (Column(f"answer_{k}", "mm", f"answer {k}", places=2) for k in numbers)
        columns = (Column("move", text=True, key=True), *each)
        names = self.space.names
        rows: list[tuple[Cell, ...]] = [(n, *map(float, m)) for n, m in zip(names, self.answers.T, strict=True)]
        rows.append(("change", *(self.space.change(m) for m in self.answers)))
        return Table.of("answers", columns, rows, "Distinct answers, mm", breaks=[len(rows) - 1])

    def records(self) -> tuple[Table, ...]:
        """Moves, points, wants, boxes, answers, and what else was asked for."""
        few = np.full(self.space.count, np.nan) if self.few is None else self.few
        moves = [
            (n, float(m), float(a), float(b), float(abs(m) * w), float(f))
            for n, m, a, b, w, f in zip(
                self.space.names, self.moves, self.space.low, self.space.high, self.space.weight, few, strict=True
            )
        ]
        points: list[tuple[Cell, ...]] = []
        for name, place in self.space.places(self.moves).items():
            was = self.space.places_mm[self.space.points.index(name)]
            points.append((name, *map(float, (*was, *place))))
        wants = [
            (x.aim.number, x.aim.measure.name, x.aim.kind, x.aim.place, None if x.aim.most else x.aim.wanted,
             x.aim.within, x.aim.unit, x.before.value, x.after.value, x.short, x.met)
            for x in self.lines
        ]  # fmt: skip
        answers = [
            (k, n, float(m))
            for k, row in enumerate(self.answers, 1)
            for n, m in zip(self.space.names, row, strict=True)
        ]
        columns = ("number", "measure", "kind", "place", "wanted", "within", "unit", "before", "after", "off", "met")
        return (
            Table.of("moves", ("move", "moves_mm", "low_mm", "high_mm", "share", "few_mm"), moves),
            Table.of("points", ("point", "x_mm", "y_mm", "z_mm", "new_x_mm", "new_y_mm", "new_z_mm"), points),
            Table.of("wants", columns, wants),
            Table.of("boxes", ("box", "end", "bought_per_mm"), [(p.name, p.end, p.bought) for p in self.prices]),
            Table.of("answers", ("answer", "move", "moves_mm"), answers),
            *self.sections,
        )

    def comparison(self) -> Comparison:
        """`kin3d.compare` of the car before and after, over the wanted measures; points taken as exact."""
        from kin3d.studies.compare import compare

        names = list(dict.fromkeys(line.aim.measure.name for line in self.lines))
        return compare([self.before, self.car], self.axle, np.arange(-25.0, 26.0, 5.0), names, samples=0)

    def plot(
        self,
        path: str | PathLike[str],
        measures: Sequence[str] | None = None,
        figure: Literal["wants", "trade"] = "wants",
    ) -> None:
        """Draw wanted measures over their drives, before and after, with what is allowed as bands.

        Parameters
        ----------
        figure : {"wants", "trade"}
            ``"trade"``: what two wants cost each other.
        """
        if measures or (figure == "trade" and self.curve is None):
            Result.plot(self, path, measures or ["a trade-off that was not asked for"])
        if figure == "trade" and self.curve is not None:
            draw_trade(f"{self.title}, {self.axle} axle: what two wants cost each other", self.curve, Path(path))
            return
        state = "all wants met" if self.met else "the nearest"
        draw_wants(f"{self.title}, {self.axle} axle, tuned: {state}", self.lines, self.models, Path(path))

    def save(self, path: str | PathLike[str], table: str | None = None) -> int:
        """Write the figures as `Result.save` does, or with the ending ``.toml`` the new car with its point tables.

        Returns
        -------
        int
            Rows; of a car the number of coordinates that moved.
        """
        if Path(path).suffix.lower() != ".toml":
            return Result.save(self, path, table)
        self.save_car(path)
        return self.moved

    def save_car(self, path: str | PathLike[str], *, rounded: bool = False) -> tuple[Path, ...]:
        """Write the new car; returns every file written.

        Parameters
        ----------
        rounded : bool
            Whether the car on the grid is meant.

        Raises
        ------
        RequestError
            Where not all wants are met, or no longer are on the grid.
        """
        from kin3d.reading.car_writing import write_car

        refuse = partial(Finding, "tune-not-met", place=str(path))
        if not self.met:
            raise RequestError(refuse("not written: not all that is wanted is met"))
        car = self.car
        if rounded:
            if self.rounding is None or not self.rounding.met:
                raise RequestError(refuse("not written: rounded, not all that is wanted is met"))
            car = self.rounding.car
        return write_car(car, Path(path), f"{self.axle} axle tuned by kin3d tune from {self.before.source.name}")
