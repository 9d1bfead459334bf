"""Figures at positions, of many cars at once: what wants are made of, with exact derivatives along every move."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Kin3dError
from kin3d.linkage.car import Car
from kin3d.measures.entry import Measure
from kin3d.solve.lanes import Lanes, Solved, Variants
from kin3d.solve.newton import follow
from kin3d.studies.case import Case, CaseModel
from kin3d.studies.corner_case import CornerCase, model_of
from kin3d.studies.corner_model import CornerModel, derive
from kin3d.studies.derived import AskedMeasures
from kin3d.studies.ground_case import GroundCase
from kin3d.studies.tune_space import MoveSpace

Array = NDArray[np.float64]
INFINITE = 1e9
KEPT = 8  # sets of positions whose last solution is at hand


@dataclass(frozen=True, slots=True)
class SampleKey:
    """One figure at one position: of which case (by its number), where, which measure, or its rate along the drive."""

    case: int
    at: float
    measure: str
    rate: bool = False


class SampleModel:
    """A car of which figures at positions are asked.

    Parameters
    ----------
    car : Car
    space : MoveSpace
    cases : sequence of Case
        What the numbers of samples stand for.
    measures : mapping of str to Measure
    """

    def __init__(self, car: Car, space: MoveSpace, cases: Sequence[Case], measures: dict[str, Measure]) -> None:
        self.car, self.space, self.cases, self.measures = car, space, list(cases), measures
        self._models: dict[int, CaseModel] = {}
        self._variants: dict[str, tuple[bytes, Variants]] = {}  # of the cars asked for last, by side
        self._closed: dict[tuple[str, bytes, bytes], tuple[Variants, Array]] = {}  # of one car, by side and positions
        self.evaluations = 0

    def model(self, number: int) -> CaseModel:
        """The car as a case asks it."""
        if number not in self._models:
            case = self.cases[number]
            alike = [
                m for m in self._models.values()
                if (m.case.drive, m.case.side, m.case.whole) == (case.drive, case.side, case.whole)
                and case.drive.name != "lateral"
            ]  # fmt: skip
            made = replace(alike[0], case=case) if alike else model_of(case, self.car)  # type: ignore[type-var]
            self._models[number] = made
        return self._models[number]

    def of_another(self, car: Car) -> SampleModel:
        """The same figures of another car."""
        out = SampleModel(car, self.space, (), self.measures)
        out.cases = self.cases  # one list: a want may add positions of the rack
        return out

    def seeds(self, model: CaseModel) -> Array:
        """Change of a model's design coordinates per mm of each move, shape (moves, rows, 3)."""
        axle = model.case.axle
        parts = [
            np.tensordot(self.space.ways, p.seeds, axes=2)
            if p.model.axle.name == axle
            else np.zeros((self.space.count, *p.design.shape))
            for p in model.parts
        ]
        return np.concatenate(parts, axis=1)

    def evaluate(
        self, keys: Sequence[SampleKey], moves: Array, slopes: bool = True, *, exact: bool = False
    ) -> tuple[Array, Array]:
        """Values of samples for many cars.

        Parameters
        ----------
        moves : ndarray, shape (cars, moves)
        exact : bool
            Whether settled cars, of which there is one, are settled anew; else they stand as the one did that was asked
            exactly last. Derivatives take their attitude as fixed.

        Returns
        -------
        value : ndarray, shape (cars, samples)
            NaN where a car cannot be assembled.
        slope : ndarray, shape (cars, samples, moves)
            Per mm; empty without `slopes`.
        """
        self.evaluations += len(moves)
        value = np.full((len(moves), len(keys)), np.nan)
        slope = np.full((len(moves), len(keys), self.space.count if slopes else 0), np.nan)
        for group in self._groups(keys):
            first = keys[group[0]]
            model = self.model(first.case)
            if isinstance(model, CornerCase):
                self._corner(keys, group, moves, value, slope)
                continue
            if exact and self.cases[first.case].drive.name == "lateral":
                stood = self._stood(first.case, moves[0])
                if stood is None:
                    continue
                model = stood
            self._ground(model, keys, group, moves, value, slope)
        value[np.abs(value) > INFINITE] = np.nan
        return value, slope

    def _groups(self, keys: Sequence[SampleKey]) -> list[list[int]]:
        """Samples that are computed together: a corner's of one side, those of one case on the ground."""
        found: dict[object, list[int]] = {}
        for k, key in enumerate(keys):
            case = self.cases[key.case]
            where: object = key.case if case.on_ground else ("corner", case.side)
            found.setdefault((where, key.rate), []).append(k)
        return list(found.values())

    def _measures(self, keys: Sequence[SampleKey], group: Sequence[int]) -> list[Measure]:
        return [self.measures[n] for n in dict.fromkeys(keys[k].measure for k in group)]

    def _corner(
        self, keys: Sequence[SampleKey], group: Sequence[int], moves: Array, value: Array, slope: Array
    ) -> None:
        corner: CornerModel = self.model(keys[group[0]].case).corner
        places = [(keys[k].at, float(self.cases[keys[k].case].held.get("rack", 0.0))) for k in group]
        unique = sorted(set(places))
        travel, rack = (np.array(c) for c in zip(*unique, strict=True))
        wanted = self._measures(keys, group)
        seeds = np.tensordot(self.space.ways, corner.seeds, axes=2)
        variants = self._made(corner, moves, seeds)
        lanes = corner.model.kernel.lanes(variants, travel, rack)
        rate = keys[group[0]].rate
        # slopes of the same figures are asked again and again: their tape is recorded at once
        along = seeds if slope.shape[-1] else None
        asked = AskedMeasures(wanted, rate, along, recorded=along is not None)
        got = derive(corner, variants, lanes, asked, self._near(corner, variants, lanes) if len(moves) == 1 else None)
        rows = [wanted.index(self.measures[keys[k].measure]) for k in group]
        _spread(got.rate if rate else got.value, got.rate_slope if rate else got.slope, rows,
                [unique.index(p) for p in places], group, value, slope)  # fmt: skip

    def _made(self, corner: CornerModel, moves: Array, seeds: Array) -> Variants:
        """Variants of cars; those asked for last are kept, with the kernel's expansion about them."""
        asked, kept = moves.tobytes(), self._variants.get(corner.side)
        if kept is None or kept[0] != asked:
            kept = asked, corner.variants(corner.design + np.tensordot(moves, seeds, axes=1))
            self._variants[corner.side] = kept
        return kept[1]

    def _near(self, corner: CornerModel, variants: Variants, lanes: Lanes) -> Solved:
        """One car's lanes, closed from where the car before had them if that can be."""
        kernel = corner.model.kernel
        whole = kernel.of_system(variants)
        key = corner.side, lanes.travel.tobytes(), lanes.rack.tobytes()
        before = self._closed.get(key)
        found = before and follow(kernel.system, whole, lanes, *before)
        solved = found or kernel.solve(variants, lanes)
        if not solved.status.any():
            self._closed[key] = whole, solved.q
            while len(self._closed) > KEPT:
                del self._closed[next(iter(self._closed))]
        return solved

    def _ground(
        self, model: CaseModel, keys: Sequence[SampleKey], group: Sequence[int], moves: Array, value: Array,
        slope: Array,
    ) -> None:  # fmt: skip
        at = sorted({keys[k].at for k in group})
        wanted = self._measures(keys, group)
        seeds = self.seeds(model)
        designs = model.design + np.tensordot(moves, seeds, axes=1)
        rate = keys[group[0]].rate
        got = model.derive(designs, np.array(at), AskedMeasures(wanted, rate, seeds if slope.shape[-1] else None))
        rows = [wanted.index(self.measures[keys[k].measure]) for k in group]
        _spread(got.rate if rate else got.value, got.rate_slope if rate else got.slope, rows,
                [at.index(keys[k].at) for k in group], group, value, slope)  # fmt: skip

    def _stood(self, number: int, moves: Array) -> CaseModel | None:
        """A case of turns as the car that has these moves leans, which is kept for what is asked next.

        None where that car does not settle.
        """
        base = self.model(number)
        axle = base.case.axle
        here, shift = self.car.axle(axle).points, self.space.shifts(moves)
        moved = {p: here[p] + s for p, s in zip(self.space.points, shift, strict=True) if s.any()}
        try:
            found = GroundCase.of(base.case, self.car.with_points(moved, axle) if moved else self.car)
        except Kin3dError:
            return None
        assert isinstance(base, GroundCase)
        self._models[number] = replace(base, leaning=found.leaning)
        return self._models[number]


def _spread(
    found: Array, slopes: Array, rows: Sequence[int], places: Sequence[int], group: Sequence[int],
    value: Array, slope: Array,
) -> None:  # fmt: skip
    """Put figures of a group, by measure and lane, in the places of their samples."""
    cars = len(value)
    value[:, group] = found.reshape(len(found), cars, -1)[rows, :, places].T
    if slope.shape[-1]:
        each = slopes.reshape(*slopes.shape[:2], cars, -1)[rows, :, :, places]  # samples, moves, cars
        slope[:, group] = np.moveaxis(each, (0, 1, 2), (1, 2, 0))
