"""Which points to move, and how little, so that a car has what is wanted of it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from functools import partial
from os import PathLike
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, Kin3dError, RequestError, raise_errors
from kin3d.linkage.car import Car
from kin3d.linkage.names import AxleName
from kin3d.reading.targets import TargetsFile, read_targets
from kin3d.studies.corner_model import CornerModel
from kin3d.studies.pieces import by_workers
from kin3d.studies.tune_aims import AimMaker
from kin3d.studies.tune_consistent import consistent_cars, consistent_table
from kin3d.studies.tune_few import few_moves, rounded_ways
from kin3d.studies.tune_freedom import freedom_table, trade_off
from kin3d.studies.tune_lines import BoxPrice, Forecast, Rounding, WantedLine
from kin3d.studies.tune_problem import Problem
from kin3d.studies.tune_result import TuneResult
from kin3d.studies.tune_robust import SAMPLES, made_cars, robust_table
from kin3d.studies.tune_solve import (
    Answer,
    LinearAnswer,
    least_change,
    least_of_nearest,
    linear_nearest,
    nearest,
    pressing,
    solve_whole,
)
from kin3d.studies.tune_space import MoveSpace, move_space
from kin3d.studies.tune_starts import WORTH_PROCESSES, finished, led, starts_in_step
from kin3d.studies.tune_wants import Got, look

Array = NDArray[np.float64]
SEARCHED = 48  # starts where the way from the present place does not lead to the wants
BEST = 3  # of them from which the nearest is looked for
MOST_STARTS, FEWEST_STEPS = 100_000, 20
SAME = 1e-3  # totals of excesses that differ by a smaller part are the same
PRICE = 1e-6  # a multiplier that is smaller is rounding


def tune(
    car: Car,
    targets: str | PathLike[str],
    *,
    starts: int = 0,
    freedom: bool = False,
    trade: Sequence[float] = (),
    robust: bool = False,
    sigma: float | None = None,
    consistent: int = 0,
    seed: int = 1,
    workers: int = 1,
    executor: Executor | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> TuneResult:
    """Find the moves of least change with which a car has all that a targets file wants.

    Parameters
    ----------
    car : Car
    targets : path-like
        The targets file (TOML); ``kin3d guide tune`` has its keys.
    starts : int
        Random places in the boxes from which other answers are looked for. With 0 the answer is the one that is
        reached from the present places, and others are tried only where that does not meet all wants.
    freedom : bool
        Whether directions that change nothing wanted are told.
    trade : sequence of int, optional
        Two wants by their number in the file, from 1: how near both can be had together, as a curve.
    robust : bool
        Whether the chance is told that a made car holds all wants, and a car is looked for that raises it.
    sigma : float, mm, optional
        Standard deviation of manufacture of every coordinate to which the table gives none.
    consistent : int
        Steps of random walks over the cars that have every figure within its band: the inverse question. With 0 it
        is not asked.
    seed : int
        Of all that is drawn.
    workers : int
        Processes for many starts; a script that asks for more than one guards its main part.
    executor : concurrent.futures.Executor, optional
        Who leads the starts in place of processes of this computer.
    progress : callable, optional
        Called with starts done and in all.

    Returns
    -------
    TuneResult
        Moves, wanted against got, and the new car; where not all can be had the nearest, and what is in its way.

    Raises
    ------
    Kin3dError
        With everything that is wrong with the targets file, or does not fit the car, at once.
    """
    _refuse_numbers(starts, consistent, seed, trade)
    ready = made_ready(car, read_targets(Path(targets)))
    result = ready.solve(starts, seed, progress, workers, executor)
    sections, remarks = list(result.sections), list(result.remarks)
    x = result.moves / ready.problem.unit
    if freedom:
        table, told = freedom_table(ready.problem, x)
        sections, remarks = [*sections, table], [*remarks, told]
    curve = trade_off(ready.problem, trade, x) if trade else None
    if curve is not None:
        sections, remarks = [*sections, curve.table()], [*remarks, curve.note()]
    if robust:
        made = made_cars(ready.space, ready.corner, sigma)
        answer = Answer(x, np.zeros(len(ready.problem.aims)), converged=True)
        table, told = robust_table(ready.problem, made, answer, seed, SAMPLES)
        sections, remarks = [*sections, table], [*remarks, told]
    if consistent:
        table, said = consistent_table(ready.problem, consistent_cars(ready.problem, consistent, seed))
        sections, remarks = [*sections, table], [*remarks, *said]
    return replace(result, sections=tuple(sections), remarks=tuple(remarks), curve=curve)


def _refuse_numbers(starts: int, consistent: int, seed: int, trade: Sequence[float]) -> None:
    """Refuse numbers of starts, steps and wants that are none."""
    wrong = []
    if not 0 <= starts <= MOST_STARTS:
        wrong.append(Finding("starts", f"starts is {starts}; a whole number from 0 to {MOST_STARTS:,} is expected"))
    if consistent and not FEWEST_STEPS <= consistent <= MOST_STARTS:
        text = f"consistent is {consistent}; 0 or a whole number from {FEWEST_STEPS} to {MOST_STARTS:,} is expected"
        wrong.append(Finding("consistent", text))
    if seed < 0:
        wrong.append(Finding("seed", f"seed is {seed}; a whole number of 0 or more is expected"))
    if any(n != int(n) for n in trade):
        text = f"trade is {list(trade)}; numbers of two wants, 1 for the first, are expected"
        wrong.append(Finding("trade-wants", text))
    raise_errors(wrong, RequestError)


def _leader(study: tuple[Car, TargetsFile, list[list[float]]]) -> Callable[[Array], tuple[Array, Array]]:
    """What leads a piece of the starts, in another process; the wants are asked at the same positions there."""
    car, file, positions = study
    problem = made_ready(car, file).problem
    aims = [replace(a, at=at) for a, at in zip(problem.aims, positions, strict=True)]
    return partial(led, Problem(problem.model, aims))


def made_ready(car: Car, file: TargetsFile) -> Tuning:
    """Wants and moves of a file for a car.

    Raises
    ------
    RequestError
        With everything that does not fit the car, at once.
    """
    findings = list(file.findings)
    if file.axle is not None:
        try:
            corner = CornerModel.of(car, file.axle)
            independent_sides(car, file.axle)
        except RequestError as error:
            raise RequestError([*findings, *error.findings]) from None
        space, wrong = move_space(file, corner)
        maker = AimMaker(file, file.axle, car, space)
        aims = maker.aims()
        findings += [*wrong, *maker.findings]
    raise_errors(findings, RequestError)
    return Tuning(car, file, corner.model.axle.name, corner, space, Problem(maker.model, aims))


def independent_sides(car: Car, axle: AxleName) -> None:
    """Refuse an axle whose other side has points of its own: coordinates are those of one table.

    Raises
    ------
    RequestError
    """
    own = car.axle(axle)
    if own.other_points is not None:
        text = "the two sides have points of their own; tune moves an axle whose other side is the mirror image"
        raise RequestError(Finding("tune-two-sides", text, f"{car.source}, [{axle}] other_points"))


@dataclass(slots=True, eq=False)
class Tuning:
    """A targets file with a car, ready to be solved."""

    car: Car
    file: TargetsFile
    axle: AxleName
    corner: CornerModel
    space: MoveSpace
    problem: Problem

    def solve(
        self,
        starts: int = 0,
        seed: int = 1,
        progress: Callable[[int, int], None] | None = None,
        workers: int = 1,
        executor: Executor | None = None,
    ) -> TuneResult:
        """Forecast, solve, and everything that is told of the answer."""
        problem = self.problem
        here = np.zeros(self.space.count)
        before = self.got(here)
        forecast, linear = self.forecast()
        answer = solve_whole(problem, least_change, here)
        if not self._whole(answer):
            led_x, led_excess = led(problem, np.array([linear.x, here]))
            answer = self._from(answer, led_x, led_excess)
        answers, count, met = [answer], 0, 0
        if starts or not self._whole(answer):
            count = starts or SEARCHED
            study = self.car, self.file, [list(a.at) for a in problem.aims]
            processes = workers if count >= WORTH_PROCESSES else 1
            with by_workers(_leader, study, processes, executor, partial(led, problem)) as run:
                x, excess = starts_in_step(problem, count, seed, run, progress)
            met = int((excess.max(axis=1) <= 0.0).sum())
            answers = [a for a in finished(problem, x, excess, [a for a in (answer,) if self._whole(a)])
                       if self._whole(a)]  # fmt: skip
            if not answers:
                found = [solve_whole(problem, nearest, at) for at in (linear.x, *self._best(x, excess))]
                answers = self._ended(found)  # where starts come near alone, the nearest may have all
            if not answers:
                return self._nearest(before, forecast, found, count)
            answer = answers[0]
        return self._met(before, forecast, answer, answers, count, met)

    def _ended(self, near: Sequence[Answer]) -> list[Answer]:
        """The answer of least change from one that has all wants, or that itself; empty where none has."""
        ends = [a for a in near if self._whole(a)]
        if not ends:
            return []
        least = solve_whole(self.problem, least_change, ends[0].x)
        return [least if self._whole(least) else ends[0]]

    def _best(self, x: Array, excess: Array) -> Sequence[Array]:
        total = np.where(np.isfinite(excess), excess, 1e9) @ self.problem.weights
        return [x[k] for k in np.argsort(total)[:BEST]]

    def _from(self, answer: Answer, x: Array, excess: Array) -> Answer:
        """The answer from places that meet the wants, if there is one; else as it was."""
        found = finished(self.problem, x, excess, [])
        return next((a for a in found if self._whole(a)), answer)

    def _whole(self, answer: Answer) -> bool:
        """Whether an answer meets all wants over their whole intervals, and keeps lengths."""
        kept = np.abs(self.space.kept_errors(answer.x * self.problem.unit)[0]).max(initial=0.0) < 1e-6
        return bool(kept) and answer.met and all(g.excess <= 0.0 for g in self.got(answer.x))

    def got(self, x: Array) -> list[Got]:
        """What scaled moves give of each want."""
        return look(self.problem.aims, self.problem.model, x * self.problem.unit)

    def forecast(self) -> tuple[Forecast, LinearAnswer]:
        """What the linear model about the present places says."""
        here = np.zeros(self.space.count)
        found = linear_nearest(self.problem, here, self.problem.at(here))
        conflict = () if found.met else self._conflict(here, found)
        return Forecast(found.met, conflict, found.excess), found

    def _conflict(self, about: Array, found: LinearAnswer) -> tuple[int, ...]:
        """Wants that the linear model cannot have together, by number: without any one of them it could."""
        linear = self.problem.at(about)
        left = [k for k in range(len(self.problem.aims)) if found.wants[k] > PRICE or found.excess[k] > PRICE]
        for k in sorted(left, key=lambda k: found.excess[k]):
            rest = [j for j in left if j != k]
            if rest and not linear_nearest(self.problem, about, linear, rest).met:
                left = rest
        return tuple(self.problem.aims[k].number for k in left)

    # --- what is told -----------------------------------------------------------------------------------------------

    def _made(self, moves: Array, before: Sequence[Got]) -> tuple[Car, tuple[WantedLine, ...]]:
        """The new car, and wanted against got of it as it will be read, modelled anew.

        Raises
        ------
        RequestError
            When moves take points out of a line in which the layout needs them.
        """
        try:
            car, after = self._looked_at(moves)
        except Kin3dError as error:
            raise RequestError(self._not_made(moves, error)) from None
        return car, tuple(WantedLine(*one) for one in zip(self.problem.aims, before, after, strict=True))

    def _looked_at(self, moves: Array) -> tuple[Car, list[Got]]:
        car = self.car.with_points(self.space.places(moves), self.axle)
        return car, look(self.problem.aims, self.problem.model.of_another(car), np.zeros(self.space.count))

    def _not_made(self, moves: Array, error: Kin3dError) -> list[Finding]:
        """Why there is no such car, by the moves that each alone make one that is refused."""
        out = []
        for k in np.flatnonzero(moves):
            try:
                self._looked_at(np.where(np.arange(len(moves)) == k, moves, 0.0))
            except Kin3dError as alone:
                text = (
                    f"moved by {moves[k]:+.3g} mm there is no such car: {alone.findings[0].text}; take the move out, "
                    "or let the points that belong together go along, [keep] together"
                )
                out.append(Finding("move-no-car", text, f'[move] "{self.space.names[k]}"'))
        return out or list(error.findings)

    def _met(
        self, before: Sequence[Got], forecast: Forecast, answer: Answer, answers: Sequence[Answer], count: int, met: int
    ) -> TuneResult:
        problem, unit = self.problem, self.problem.unit
        moves = answer.x * unit
        press = pressing(problem, answer)
        size = float(np.linalg.norm(answer.x))
        prices = [
            BoxPrice(self.space.names[k], end, float(force[k] / (size * unit[k])))
            for end, force in (("lower", press.low), ("upper", press.high))
            for k in np.flatnonzero(force > PRICE)
        ]
        car, lines = self._made(moves, before)
        result = TuneResult(
            title=self.car.title, axle=self.axle, side=self.corner.side, before=self.car, car=car,
            space=self.space, moves=moves, lines=lines, forecast=forecast, established=False,
            conflict=(), prices=tuple(sorted(prices, key=lambda p: -p.bought)), residual=press.residual,
            few=None, rounding=self.rounding(answer), answers=np.array([a.x * unit for a in answers]),
            starts=count, starts_met=met, models=(problem.model, problem.model.of_another(car)),
        )  # fmt: skip
        few = few_moves(problem, answer) if size else None
        return replace(result, few=few.x * unit) if few is not None and self._whole(few) else result

    def rounding(self, answer: Answer) -> Rounding | None:
        """The first way to round with which all is met; else the nearest places; None where no such car is made."""
        tried = []
        for way in rounded_ways(self.problem, answer):
            try:
                car = self.car.with_points(way.places, self.axle)
                model = self.problem.model.of_another(car)
                got = tuple(look(self.problem.aims, model, np.zeros(self.space.count)))
            except Kin3dError:  # points that belong in a line are not on the grid together
                continue
            tried.append(Rounding(0.5, car, got, way.change))
            if tried[-1].met:
                return tried[-1]
        return tried[0] if tried else None

    def _nearest(
        self, before: Sequence[Got], forecast: Forecast, found: Sequence[Answer], count: int
    ) -> TuneResult:
        """The nearest of those from several places, and whether it is established that no car has all."""
        problem, unit = self.problem, self.problem.unit
        totals = np.array([self._total(a) for a in found])
        best = least_of_nearest(problem, found[int(np.argmin(totals))])
        least = float(totals.min())
        linear = linear_nearest(problem, best.x, problem.at(best.x))
        certified = float(linear.excess @ problem.weights) >= (1.0 - SAME) * least - PRICE
        again = int((totals <= least * (1.0 + SAME) + PRICE).sum()) > 1
        car, lines = self._made(best.x * unit, before)
        prices = [
            BoxPrice(self.space.names[k], end, float(force[k] / unit[k]))
            for end, force in (("lower", linear.low), ("upper", linear.high))
            for k in np.flatnonzero(force > PRICE)
        ]
        return TuneResult(
            title=self.car.title, axle=self.axle, side=self.corner.side, before=self.car, car=car,
            space=self.space, moves=best.x * unit, lines=lines, forecast=forecast,
            established=bool(np.isfinite(least) and certified and again),
            conflict=() if linear.met else self._conflict(best.x, linear),
            prices=tuple(sorted(prices, key=lambda p: -p.bought)), residual=float("nan"), few=None, rounding=None,
            answers=np.zeros((0, self.space.count)), starts=count, starts_met=0,
            models=(problem.model, problem.model.of_another(car)),
        )  # fmt: skip

    def _total(self, answer: Answer) -> float:
        return float(answer.excess @ self.problem.weights) if np.isfinite(answer.excess).all() else float("inf")
