"""An axle or a car that stands on the ground, asked with exact derivatives along its drive and along every change."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.car import Car
from kin3d.linkage.design import SIDES
from kin3d.measures.car import WholeCar
from kin3d.measures.corner_pair import CornerPair
from kin3d.measures.entry import Measure, available
from kin3d.solve.lanes import Status
from kin3d.solve.model import AxleModel
from kin3d.spatial.jets import Algebra, Jet, box, value
from kin3d.spatial.vectors import Number
from kin3d.studies.car import STEERED, CarModel
from kin3d.studies.car_stands import STANDS, CarStands
from kin3d.studies.case import Case, CaseModel
from kin3d.studies.derived import AskedMeasures, Derived
from kin3d.studies.ground_bodies import CaseOnGround, GroundBodies
from kin3d.studies.ground_contact import Stance, need_radius, put_on_ground
from kin3d.studies.ground_jets import GroundLanes, Wheels
from kin3d.studies.steady_turns import Leaning, leaning

Array = NDArray[np.float64]
LANES = 4096  # lanes times directions whose derivatives are held at once


@dataclass(frozen=True, slots=True)
class GroundCase(CaseOnGround):
    """An axle, or a car, over heave, roll or pitch; see `CaseModel`."""

    leaning: Leaning | None = None  # how the axle stands in turns, where the drive is an acceleration

    @staticmethod
    def of(case: Case, car: Car, stands: CaseModel | None = None) -> GroundCase:
        """Build the models of a car, which stands in turns as another case of it where that is given.

        Raises
        ------
        RequestError
            When an axle, a loaded radius or the wheelbase is missing.
        """
        whole = CarModel.of(car) if case.whole else None
        axles = (AxleModel.of(car, case.axle),) if whole is None else whole.axles
        need_radius(axles)
        turns = stands.leaning if isinstance(stands, GroundCase) else None
        if case.drive.name == "lateral" and turns is None:
            turns = leaning(car, None if case.whole else case.axle, np.unique([*case.at, case.origin]))
        return GroundCase(case, GroundBodies(axles, whole), turns)

    def between(self, other: GroundCase, share: Array, at: Array, first: int, directions: int) -> CarStands | None:
        """How cars on the way from this one to another one stand in turns.

        Parameters
        ----------
        share : ndarray, shape (cars,)
            Of the way.
        first : int
            Direction along which the heave goes over; roll and pitch have the next two.
        directions : int
            How many there are in all.
        """
        if self.leaning is None or other.leaning is None:
            return None
        ours, theirs = (np.stack(x.of(at)) for x in (self.leaning, other.leaning))  # stands and rates
        stands, rates = (a + share[:, None, None] * (b - a) for a, b in zip(ours, theirs, strict=True))
        seeds = np.zeros((2, directions, *ours.shape[1:]))
        for k in range(len(STANDS)):
            seeds[:, first + k, :, k] = (theirs - ours)[..., k]
        return CarStands(stands, rates, *seeds)

    def available(self, wanted: Sequence[Measure]) -> tuple[tuple[Measure, ...], dict[str, str]]:
        """See `CaseModel`."""
        stands = self._leans(1, np.full(1, self.case.origin))
        at = np.full(1, self.case.origin if stands is not None else 0.0)
        asked = AskedMeasures(wanted, stands=stands)
        wheels = self._solved(self.design[None], at, asked)
        subjects = self._subjects(wheels, slice(0, 1), box(0, 0), asked)
        kept: list[Measure] = []
        left_out: dict[str, str] = {}
        for m in wanted:
            there, reasons = available(subjects[m.scope == "car"], [m])
            left_out |= reasons
            kept += there
        return tuple(kept), left_out

    def derive(self, designs: Array, at: Array, asked: AskedMeasures) -> Derived:
        """See `CaseModel`."""
        stands = asked.stands or self._leans(len(designs), at)
        asked = replace(asked, stands=stands)
        wheels = self._solved(designs, at, asked)
        out = Derived.unfilled(asked, self._status(wheels, stands))
        lanes, ok = len(out.status), out.status == Status.OK
        outer = box(int(asked.rates), int(bool(asked.directions)))
        step = max(16, LANES // max(1, asked.directions))
        for first in range(0, lanes if len(asked.measures) else 0, step):
            part = slice(first, min(first + step, lanes))
            good = ok[part]
            for k, jet in enumerate(self._jets(wheels, part, outer, asked)):
                out.value[k, part] = np.where(good, value(jet), np.nan)
                if len(out.rate):
                    out.rate[k, part] = np.where(good, _coefficient(jet, (1, 0)), np.nan)
                if len(out.slope):
                    out.slope[k, :, part] = np.where(good, _coefficient(jet, (0, 1)), np.nan)
                if len(out.rate_slope):
                    out.rate_slope[k, :, part] = np.where(good, _coefficient(jet, (1, 1)), np.nan)
        return out

    def _leans(self, cars: int, at: Array) -> CarStands | None:
        """How the axle stands in turns, the same for every car: as this one does."""
        if self.leaning is None:
            return None
        stands, rates = (np.broadcast_to(x, (cars, *x.shape)) for x in self.leaning.of(at))
        return CarStands(stands, rates)

    @staticmethod
    def _status(wheels: Wheels, stands: CarStands | None) -> NDArray[np.int8]:
        """Status of every position; those in which no car stands are not solved."""
        status = wheels.standing.status
        if stands is None:
            return status
        lost = ~np.isfinite(stands.stands).all(axis=-1).ravel()
        return np.where(lost & (status == Status.OK), Status.UNSOLVED, status).astype(np.int8)

    # --- positions ---------------------------------------------------------------------------------------------------

    def _solved(self, designs: Array, at: Array, asked: AskedMeasures) -> Wheels:
        """All positions of all cars; where a car does not stand, the design position is in its place."""
        cars = len(designs)
        models = self.bodies.models(designs, asked.rack_axes)
        variant = np.repeat(np.arange(cars), len(at))
        held = {name: np.full(cars * len(at), float(v)) for name, v in self.case.held.items()}
        drives: dict[str, Any] = {"heave": 0.0, "roll": 0.0, "pitch": 0.0, "rack": 0.0, **held}
        drives[self.case.drive.name] = np.tile(at, cars)
        if asked.stands is not None:
            lanes = np.nan_to_num(asked.stands.stands.reshape(-1, len(STANDS)))
            drives |= dict(zip(STANDS, lanes.T, strict=True))
        heave, roll, pitch, rack = (
            np.broadcast_to(drives[n], cars * len(at)) for n in ("heave", "roll", "pitch", "rack")
        )
        each = [{key: v[variant] for key, v in mine.items()} for mine in self.bodies.by_axle(asked.figures)]
        shifts, flat = self.bodies.as_designed(designs, asked.figures)
        stance = Stance(heave, np.radians(roll), rack, np.radians(pitch) + flat[variant], variant=variant)
        moved = tuple(s[variant] for s in shifts)
        steered = STEERED if len(models) > 1 else (True,)
        return Wheels(models, stance, put_on_ground(models, stance, moved, steered, each), moved)

    # --- derivatives -------------------------------------------------------------------------------------------------

    def _jets(self, wheels: Wheels, part: slice, outer: Algebra, asked: AskedMeasures) -> Iterator[Number]:
        """Each measure of the asked wheel in some positions, as a jet along the drive and the directions."""
        pair, whole = self._subjects(wheels, part, outer, asked)
        side = SIDES.index(self.corner.side)
        with np.errstate(all="ignore"):
            for m in asked.measures:
                yield pair.both(m.compute(whole if m.scope == "car" else pair))[side]

    def _subjects(self, wheels: Wheels, part: slice, outer: Algebra, asked: AskedMeasures) -> tuple[CornerPair, Any]:
        """What measures of the asked axle, and of the car, are computed from."""
        look = GroundLanes(self.bodies, self.subject, self.case.drive.name, wheels, part, outer, asked)
        placed = look.placed()
        steered = any(m.name == "ackermann_pct" for m in asked.measures) and bool(look.stance.rack_mm.any())
        pairs = [look.pair(k, placed, steered) for k in range(len(self.bodies.axles))]
        pair = pairs[self.axle_number]
        if self.bodies.whole is None:
            return pair, None
        front, rear = pairs
        return pair, WholeCar(front, rear, placed.shift[1], self.bodies.whole.car.data)


def _coefficient(x: Number, monomial: tuple[int, int]) -> Any:
    return x[monomial] if isinstance(x, Jet) else 0.0
