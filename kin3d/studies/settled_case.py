"""Forces of a settled car, asked as a case: every change of points and figures settles the car anew.

Derivatives are differences over a small change, of two steps extrapolated to none (L. F. Richardson, 1911, from
memory). All cars that this takes are settled together, from the balance of the car as it is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError, Severity
from kin3d.linkage.car import Car
from kin3d.linkage.design import SIDES
from kin3d.loads.force_measures import case_of_force, named_forces
from kin3d.loads.listed import listed_forces
from kin3d.measures.entry import Measure, figure
from kin3d.solve.lanes import Status
from kin3d.studies.car import CarModel
from kin3d.studies.car_variants import CarVariants
from kin3d.studies.case import Case
from kin3d.studies.derived import AskedMeasures, Derived
from kin3d.studies.ground_bodies import CaseOnGround, GroundBodies
from kin3d.studies.load_steps import CHANGES, LoadSteps, balance_near, contacts_after, is_small, on_two_wheels
from kin3d.studies.resting_car import attitude_of
from kin3d.studies.settle import in_case, load_steps
from kin3d.studies.settled_forces import loaded_axle
from kin3d.studies.steady_loads import Loads

Array = NDArray[np.float64]
TOGETHER = 512  # cars that are settled at once
STEP_MM, STEP_PART = 0.5, 1e-3  # of a difference: of the point that moves most; of the figure that changes most
NOT_CARRIED = ("springs", "stops", "damper")  # tables of an axle whose figures no measure names
STEPS = (1.0, -1.0, 2.0, -2.0)
WEIGHTS = np.array([8.0, -8.0, -1.0, 1.0]) / 12.0


@dataclass(frozen=True, slots=True)
class Balance:
    """A car in balance: its loads, its state of shape (13,), which wheels are in the air."""

    loads: Loads
    state: Array
    lifted: tuple[bool, ...]


@dataclass(frozen=True, slots=True)
class SettledCase(CaseOnGround):
    """Forces under cases of the settled car; see `CaseModel`. The drive is the share of each case's loads."""

    balances: Mapping[tuple[str, float], Balance]  # by the load case's name and the share of its loads

    @staticmethod
    def of(case: Case, car: Car) -> SettledCase:
        """Settle a car under the load cases that are asked.

        Raises
        ------
        RequestError
            When the car lacks what it takes, or no attitude carries the loads.
        """
        whole = CarModel.of(car)
        balances: dict[tuple[str, float], Balance] = {}
        wanted = {c.name: c for n in case.forces if (c := case_of_force(n, car.cases)) is not None}
        for name, load_case in wanted.items():
            place = f'{car.source}, [[cases]] "{name}"'
            loads = Loads.of(load_case, float(case.held.get("rack", 0.0)))
            try:
                steps, _ = load_steps(car, loads)
                before = None
                for share in sorted({*case.at.tolist(), case.origin}, key=abs):
                    balances[name, share] = _balance(steps, loads.part(share), before)
                    before = loads.part(share)
            except RequestError as error:
                raise RequestError([in_case(f, place, car) for f in error.findings]) from None
        return SettledCase(case, GroundBodies(whole.axles, whole), balances)

    def between(self, other: SettledCase, share: Array, at: Array, first: int, directions: int) -> None:
        """See `CaseModel`: how a car stands follows from what it is."""

    def available(self, wanted: Sequence[Measure]) -> tuple[tuple[Measure, ...], dict[str, str]]:
        """See `CaseModel`."""
        found, _ = self._forces(self.design[None], {}, None, self.case.origin)
        side = self.corner.side
        left_out = {
            m.name: f"there is no such force on the {side} of the {self.case.axle} axle"
            for m in wanted
            if m.name not in found
        }
        return tuple(m for m in wanted if m.name in found), left_out

    def names(self) -> tuple[str, ...]:
        """Names of all forces of the corner under the cases that are asked."""
        return tuple(self._forces(self.design[None], {}, None, self.case.origin)[0])

    def derive(self, designs: Array, at: Array, asked: AskedMeasures) -> Derived:
        """See `CaseModel`. There is no derivative along the share of the loads: it is NaN."""
        cars, (moving, seeds, figure_seeds) = len(designs), _moving(asked)
        every, numbers, steps = self._varied(designs, seeds, dict(asked.figures), figure_seeds)
        out = Derived.unfilled(asked, np.full(cars * len(at), Status.UNSOLVED, dtype=np.int8))
        out.rate[:] = out.rate_slope[:] = np.nan
        out.slope[:] = 0.0
        lanes = np.arange(cars * len(at)).reshape(cars, len(at))
        for share, lane in zip(at, lanes.T, strict=True):
            found, ok = self._forces(every, numbers, asked.rack_axes, float(share))
            out.status[lane[ok[:cars]]] = Status.OK
            for row, m in enumerate(asked.measures):
                force = np.asarray(m.compute(found), dtype=float)
                out.value[row, lane] = force[:cars]
                if len(out.slope):
                    moved = force[cars:].reshape(len(moving), len(STEPS), cars)
                    out.slope[row][np.ix_(moving, lane)] = np.einsum("s,dsc->dc", WEIGHTS, moved) / steps[:, None]
        return out

    def _varied(
        self, designs: Array, seeds: Array, figures: dict[str, Array], figure_seeds: Mapping[str, Array]
    ) -> tuple[Array, dict[str, Array], Array]:
        """The cars, then those that each direction takes in four steps: designs, figures, and the directions' steps."""
        if not len(seeds):
            return designs, figures, np.zeros(0)
        cars = len(designs)
        now = {k: np.asarray(figures.get(k, np.full(cars, figure(self.subject, k))), dtype=float) for k in figure_seeds}
        fastest = np.abs(seeds).max(axis=(1, 2)) / STEP_MM
        for key, rate in figure_seeds.items():
            size = STEP_PART * max(float(np.abs(now[key]).max()), 1e-9)
            fastest = np.maximum(fastest, np.abs(rate) / size)
        steps = np.where(fastest > 0.0, 1.0 / np.where(fastest > 0.0, fastest, 1.0), 1.0)
        ways = steps[:, None] * np.array(STEPS)  # directions, steps
        moved = designs + (ways[..., None, None] * seeds[:, None])[:, :, None]
        every = np.concatenate([designs, moved.reshape(-1, *designs.shape[1:])])
        numbers = {k: np.concatenate([v, np.tile(v, ways.size)]) for k, v in figures.items()}
        for key, rate in figure_seeds.items():
            more = now[key] + (ways * rate[:, None])[..., None]
            numbers[key] = np.concatenate([now[key], more.ravel()])
        return every, numbers, steps

    # --- many cars, settled together ----------------------------------------------------------------------------------

    def _forces(
        self, designs: Array, figures: Mapping[str, Array], rack_axes: Array | None, share: float
    ) -> tuple[dict[str, Array], NDArray[np.bool_]]:
        """Every force of every case by its measure's name, over the cars, and which of these are in balance in all."""
        out: dict[str, Array] = {}
        good = np.ones(len(designs), dtype=bool)
        for (name, at), balance in self.balances.items():
            if at != share:
                continue
            for first in range(0, len(designs), TOGETHER):
                part = np.arange(first, min(first + TOGETHER, len(designs)))
                start = np.repeat(balance.state[:, None], len(part), axis=1)
                settler = _Settler(self, designs, figures, rack_axes, name, balance.loads, out, good)
                settler.settle(part, start, balance.lifted)
        return out, good

    def told(self, cars: CarVariants, found: Any, case: str) -> dict[str, Array]:
        """Forces of the asked corner in an axle that is loaded, by name, over its cars."""
        first = 0 if found.pair.joined else SIDES.index(self.corner.side) * cars.count
        lanes = slice(first, first + cars.count)
        acting = [one.lane(lanes) for one in found.acting if np.any(one.force[:, lanes])]
        return named_forces(case, listed_forces(found.seen.linkage, found.joints.lane(lanes), acting))


@dataclass(frozen=True, slots=True)
class _Settler:
    """Settles cars under one case and puts their forces in place."""

    asked: SettledCase
    designs: Array
    figures: Mapping[str, Array]
    rack_axes: Array | None
    name: str
    loads: Loads
    out: dict[str, Array]
    good: NDArray[np.bool_]

    def settle(self, which: NDArray[np.intp], start: Array, lifted: tuple[bool, ...], turn: int = 0) -> None:
        """Settle some of the cars, near states of shape (13, cars); those whose wheels lift or come down once more."""
        figures = {k: v[which] for k, v in self.figures.items()}
        cars = CarVariants.of(self.asked.bodies, self.designs[which], figures, self.rack_axes)
        attitude = attitude_of(cars, self.loads)[0]
        y, here = balance_near(attitude, start, self.loads, lifted)
        found = is_small(here)
        after = contacts_after(attitude, y, here, lifted)
        stay = found & (after == np.array(lifted)[:, None]).all(axis=0)
        held = stay & attitude.stable(here, lifted)
        if held.any():
            with np.errstate(all="ignore"):
                loaded = loaded_axle(attitude, y, self.loads, lifted, self.asked.axle_number)
                told = self.asked.told(cars, loaded, self.name)
            for force, values in told.items():
                row = self.out.setdefault(force, np.full(len(self.designs), np.nan))
                row[which[held]] = values[held]
        lost = ~held
        for pattern in {tuple(bool(up) for up in column) for column in after[:, found & ~stay].T}:
            if turn < CHANGES and not on_two_wheels(pattern):
                mine = found & ~stay & (after == np.array(pattern)[:, None]).all(axis=0)
                self.settle(which[mine], y[:, mine], pattern, turn + 1)
                lost &= ~mine
        self.good[which[lost]] = False


def not_carried(case: Case, car: Car) -> tuple[Finding, ...]:
    """Figures with a deviation that a settled car reads and that is not carried to its forces."""
    tables = tuple(f"{axle}.{table}." for axle in ("front", "rear") for table in NOT_CARRIED)
    names = [key for key, sigma in car.sigmas.items() if sigma and key.startswith(tables)]
    if case.drive.name != "loads" or not names:
        return ()
    text = f"the deviation of {', '.join(names)} is not carried to forces of the settled car (kin3d settle has it)"
    return (Finding("not-carried", text, str(car.source), Severity.WARNING),)


def _moving(asked: AskedMeasures) -> tuple[NDArray[np.intp], Array, dict[str, Array]]:
    """Directions along which anything changes, and what that is."""
    if asked.seeds is None:
        return np.zeros(0, dtype=int), np.zeros((0, 0, 3)), {}
    some = asked.seeds.reshape(asked.directions, -1).any(axis=1)
    for rate in asked.figure_seeds.values():
        some = some | (rate != 0.0)
    moving = np.flatnonzero(some)
    return moving, asked.seeds[moving], {key: rate[moving] for key, rate in asked.figure_seeds.items()}


def _balance(steps: LoadSteps, loads: Loads, before: Loads | None) -> Balance:
    y, lifted = steps.run(loads, before)
    return Balance(loads, y.copy(), lifted)

