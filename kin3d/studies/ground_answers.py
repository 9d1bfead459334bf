"""Several cases of one axle on the ground answered in one run: each is a position with a drive of its own.

What costs time is the arithmetic of jets call by call, not how many positions a call has.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Kin3dError
from kin3d.linkage.car import Car
from kin3d.measures.entry import Measure
from kin3d.studies.car_stands import STANDS, CarStands
from kin3d.studies.case import Case
from kin3d.studies.derived import AskedMeasures, Derived
from kin3d.studies.ground_case import GroundCase

Array = NDArray[np.float64]


def models_together(cases: Sequence[Case], car: Car, measures: Sequence[Measure]) -> list[GroundCase | Kin3dError]:
    """A model of a car for each case, which answer together; or why there is none.

    Parameters
    ----------
    cases : sequence of Case
        Of the same axle and rack, wheels on the ground, each at one position; none of the whole car.
    measures : sequence of Measure
        All that any of the cases is going to be asked.
    """
    found: list[GroundCase | Kin3dError] = []
    for case in cases:
        try:
            found.append(GroundCase.of(case, car))
        except Kin3dError as error:
            found.append(error)
    good = [m for m in found if isinstance(m, GroundCase)]
    if not good:
        return found
    answers = GroundAnswers(good, measures)
    numbers = iter(range(len(good)))
    return [m if isinstance(m, Kin3dError) else AnsweredCase.of(m, answers, next(numbers)) for m in found]


class GroundAnswers:
    """What several cases of one car come to; found once for the same directions of change."""

    def __init__(self, cases: Sequence[GroundCase], measures: Sequence[Measure]) -> None:
        each = [_standing(c) for c in cases]
        stands, rates = (np.stack(x)[None] for x in zip(*each, strict=True))
        self.stands = CarStands(stands, rates)
        at = np.arange(len(cases), dtype=float)
        self.model = replace(cases[0], case=replace(cases[0].case, at=at), leaning=None)
        self.asked = frozenset(measures)
        self.measures, self.left_out = self.model.available(measures)
        self._status: NDArray[np.int8] | None = None
        self._along: AskedMeasures | None = None
        self._found: Derived | None = None

    @property
    def status(self) -> NDArray[np.int8]:
        """Outcome of every position."""
        if self._status is None:
            own = self.model.design[None]
            self._status = self.model.derive(own, self.model.case.at, AskedMeasures(stands=self.stands)).status
        return self._status

    def available(self, wanted: Sequence[Measure]) -> tuple[tuple[Measure, ...], dict[str, str]]:
        """As of `CaseModel`; the same in every position."""
        if not self.asked.issuperset(wanted):
            return self.model.available(wanted)
        names = {m.name for m in wanted}
        left_out = {name: why for name, why in self.left_out.items() if name in names}
        return tuple(m for m in wanted if m in self.measures), left_out

    def along(self, asked: AskedMeasures) -> Derived:
        """All measures at all positions, with rates, along the directions asked."""
        if self._found is None or self._along is None or not _same_directions(self._along, asked):
            self._along = replace(asked, measures=self.measures, rates=True, stands=self.stands)
            self._found = self.model.derive(self.model.design[None], self.model.case.at, self._along)
        return self._found


def _standing(model: GroundCase) -> tuple[Array, Array]:
    """How an axle stands in a case's one position, and the rates of that along the case's drive; shapes (3,)."""
    case = model.case
    if model.leaning is not None:
        stands, rates = model.leaning.of(case.at)
        return stands[0], rates[0]
    given = {**case.held, case.drive.name: float(case.at[0])}
    stand = np.array([given.get(name, 0.0) for name in STANDS])
    return stand, np.array([float(name == case.drive.name) for name in STANDS])


def _same_directions(a: AskedMeasures, b: AskedMeasures) -> bool:
    ours, theirs = a.figure_seeds, b.figure_seeds
    if a.seeds is None or b.seeds is None or ours.keys() != theirs.keys():
        return a.seeds is b.seeds and not ours and not theirs
    return np.array_equal(a.seeds, b.seeds) and all(np.array_equal(ours[key], theirs[key]) for key in ours)


@dataclass(frozen=True, slots=True)
class AnsweredCase(GroundCase):
    """A ground case at one position that has its answers from `answers`, number `number` there."""

    answers: GroundAnswers | None = None
    number: int = 0

    @staticmethod
    def of(case: GroundCase, answers: GroundAnswers, number: int) -> AnsweredCase:  # type: ignore[override]
        """The case with its answers."""
        return AnsweredCase(**{f.name: getattr(case, f.name) for f in fields(case)}, answers=answers, number=number)

    def available(self, wanted: Sequence[Measure]) -> tuple[tuple[Measure, ...], dict[str, str]]:
        """See `CaseModel`."""
        assert self.answers is not None
        return self.answers.available(wanted)

    def derive(self, designs: Array, at: Array, asked: AskedMeasures) -> Derived:
        """See `CaseModel`: of the car itself in its position from what all cases have found, else alone."""
        assert self.answers is not None
        own = len(designs) == 1 and np.array_equal(designs[0], self.design) and np.array_equal(at, self.case.at)
        rows = [self.answers.measures.index(m) for m in asked.measures if m in self.answers.measures]
        own &= not asked.figures and asked.rack_axes is None and asked.stands is None
        if not own or len(rows) < len(asked.measures):
            return GroundCase.derive(self, designs, at, asked)
        here = slice(self.number, self.number + 1)
        out = Derived.unfilled(asked, self.answers.status[here])
        if rows:
            found = self.answers.along(asked)
            for name in ("value", "rate", "slope", "rate_slope"):
                if len(wanted := getattr(out, name)):
                    wanted[:] = getattr(found, name)[rows, ..., here]
        return out
