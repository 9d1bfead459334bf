"""The whole car on flat ground: both axles on their wheelbase, driven by heave, pitch, roll and rack together."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError, Severity
from kin3d.linkage.car import Car
from kin3d.linkage.layout import WHEEL_CENTRE
from kin3d.linkage.names import AxleName
from kin3d.measures.car import MEASURES, WholeCar
from kin3d.measures.corner import TRAVEL, Corner, ground_normal
from kin3d.measures.corner_pair import CornerPair, design_contact
from kin3d.measures.entry import Measure, available, values
from kin3d.solve.lanes import pair_lanes
from kin3d.solve.model import AxleModel
from kin3d.solve.status import Status
from kin3d.spatial.vectors import dot
from kin3d.studies.axle import (
    Given,
    axle_result,
    drive_values,
    roll_values,
)
from kin3d.studies.ground_contact import Stance, Standing, need_radius, put_on_ground
from kin3d.studies.registry import asked, axle_measures, pick
from kin3d.studies.result import SweepResult

Array = NDArray[np.float64]
OWN_ORIGIN_MM = 1.0  # axles whose wheels stand nearer than this in x have each an origin of its own
WHEELBASE_MM = 1.0  # wheelbases from the points and from the car file that differ by less are the same
STEERED = (True, False)  # the rack that is driven is the front one


@dataclass(frozen=True, slots=True)
class CarModel:
    """Both axles of a car.

    Attributes
    ----------
    front, rear : AxleModel
    shift_mm : float
        What has to be added to the rear points' x to place them in the frame of the front ones.
    wheelbase_mm : float
        Between the contact points in the design position.
    pitch_rad : float
        Pitch of the points' frame over the ground in the design position: where both axles' tyres stand on it.
    findings : tuple of Finding
        What was assumed.
    """

    car: Car
    front: AxleModel
    rear: AxleModel
    shift_mm: float
    wheelbase_mm: float
    pitch_rad: float
    findings: tuple[Finding, ...]

    @staticmethod
    def of(car: Car) -> CarModel:
        """Build the model of a car.

        Raises
        ------
        RequestError
            When an axle, a loaded radius or the wheelbase is missing.
        """
        lacking = [n for n in ("front", "rear") if getattr(car, n) is None]
        if lacking:
            text = f"has no [{lacking[0]}] axle; pitch and the attitude of the whole car need both axles"
            raise RequestError(Finding("axle-missing", text, str(car.source)))
        front, rear = AxleModel.of(car, "front"), AxleModel.of(car, "rear")
        need_radius([front, rear])
        feet = [float(design_contact(m)[:, 0].mean()) for m in (front, rear)]
        shift, findings = _place_rear(car, _wheel_x(front) - _wheel_x(rear))
        wheelbase = feet[0] - feet[1] - shift
        pitch = _design_pitch((front, rear), shift, wheelbase)
        return CarModel(car, front, rear, shift, wheelbase, pitch, findings)

    @property
    def axles(self) -> tuple[AxleModel, AxleModel]:
        """Front and rear."""
        return self.front, self.rear

    @property
    def shifts(self) -> tuple[float, float]:
        """Shift of each axle in x, mm."""
        return 0.0, self.shift_mm

    def stance(self, heave_mm: Array, pitch_rad: Array, roll_rad: Array, rack_mm: Array) -> Stance:
        """Positions whose pitch counts from the design position."""
        return Stance(heave_mm, roll_rad, rack_mm, pitch_rad + self.pitch_rad)

    def stand(self, stance: Stance) -> Standing:
        """All four wheels on the ground."""
        return put_on_ground(self.axles, stance, self.shifts, STEERED)


def _wheel_x(model: AxleModel) -> float:
    """Mean x of an axle's wheel centres in the design position, mm."""
    return float(model.variants.design[:, model.linkage.index(WHEEL_CENTRE), 0].mean())


def _design_pitch(models: tuple[AxleModel, AxleModel], shift: float, wheelbase: float) -> float:
    """Pitch at which the ground meets both axles in the design position, rad (lowest points depend on it)."""
    pitch = 0.0
    lanes = pair_lanes(np.zeros((2, 1)), np.zeros(1))
    for _ in range(6):
        n = ground_normal(np.zeros(2), np.full(2, pitch))
        heights = []
        for model, x in zip(models, (0.0, shift), strict=True):
            solved = model.kernel.solve(model.variants, lanes)
            corner = Corner.of(model, lanes, solved, along=TRAVEL, normal=n)
            heights.append(float(np.mean(dot(corner.contact, n).value + x * n[0])))
        pitch += (heights[0] - heights[1]) / wheelbase
    return pitch


def _place_rear(car: Car, apart: float) -> tuple[float, tuple[Finding, ...]]:
    """What to add to the rear points' x, and what was assumed for it."""
    given, place = car.data.wheelbase_mm, f"{car.source}, [car] wheelbase_mm"
    if given is None and apart <= OWN_ORIGIN_MM:
        text = f"is missing, and the points place the rear wheels {-apart:g} mm ahead of the front ones; give it"
        raise RequestError(Finding("wheelbase-missing", text, place))
    if given is None or abs(apart - given) < WHEELBASE_MM:
        return 0.0, ()
    if abs(apart) < OWN_ORIGIN_MM:
        text = "both axles' points have an origin of their own in x"
        note = Finding("rear-placed", text, place, Severity.NOTE, f"the rear axle {given:g} mm behind the front one")
        return apart - given, (note,)
    text = f"is {given:g}, but the points place the rear wheels {apart:g} mm behind the front ones"
    assumed = f"{given:g} mm; the rear axle is moved there"
    return apart - given, (Finding("wheelbase-differs", text, place, Severity.WARNING, assumed),)


@dataclass(frozen=True, slots=True)
class CarResult:
    """A sweep of the car: one result an axle, with the measures of the whole car in each."""

    front: SweepResult
    rear: SweepResult

    def of(self, axle: AxleName) -> SweepResult:
        """Result of one axle."""
        return self.front if axle == "front" else self.rear


def sweep_car(
    car: Car,
    heave_mm: Given = 0.0,
    pitch_deg: Given = 0.0,
    roll_deg: Given = 0.0,
    rack_mm: Given = 0.0,
    measures: Sequence[str] | None = None,
) -> CarResult:
    """Solve every combination of heave, pitch, roll and rack with all four wheels on flat ground.

    Parameters
    ----------
    car : Car
        With both axles.
    heave_mm : float or array-like, mm
        Mean travel of the four wheels; bump positive.
    pitch_deg, roll_deg : float or array-like, deg
        Of the body from its design position; nose down and left side up positive.
    rack_mm : float or array-like, mm
        Of the front axle; to the left positive.
    measures : sequence of str, optional
        Names; default all of each axle and of the car.

    Returns
    -------
    CarResult
        Drives heave_mm, pitch_deg, roll_deg, rack_mm.

    Raises
    ------
    RequestError
        A missing axle, radius or wheelbase, an unknown measure, an empty or non-finite drive.
    """
    drives = {
        "heave_mm": drive_values("heave", heave_mm, "mm"),
        "pitch_deg": roll_values("pitch", pitch_deg),
        "roll_deg": roll_values("roll", roll_deg),
        "rack_mm": drive_values("rack", rack_mm, "mm"),
    }
    model = CarModel.of(car)
    names = None if measures is None else asked(measures)
    grid = [g.ravel() for g in np.meshgrid(*drives.values(), indexing="ij")]
    stance = model.stance(grid[0], np.radians(grid[1]), np.radians(grid[2]), grid[3])
    standing = model.stand(stance)
    add = _of_the_car(model, stance, standing, [m for m in MEASURES if names is None or m.name in names])
    found = []
    for k, axle in enumerate(model.axles):
        wanted = _of_the_axle(axle.axle.name, names)
        found.append(add(axle_result(car, axle, drives, stance, standing, k, wanted)))
    return CarResult(*found)


def _of_the_axle(axle: AxleName, names: Sequence[str] | None) -> tuple[Measure, ...]:
    """An axle's measures of the given names; those that only the other axle or the car has are left out here."""
    if names is None:
        return axle_measures(axle)
    every = (*axle_measures("front"), *axle_measures("rear"), *MEASURES)
    pick(tuple({m.name: m for m in every}.values()), axle, names)
    return tuple(m for m in axle_measures(axle) if m.name in names)


def _of_the_car(
    model: CarModel, stance: Stance, standing: Standing, wanted: Sequence[Measure]
) -> Callable[[SweepResult], SweepResult]:
    """Compute the car's measures; what is returned adds them to the result of an axle."""
    front, rear = (
        CornerPair.on_ground(m, *s, stance.roll_rad, stance.pitch_rad)
        for m, s in zip(model.axles, standing.axles, strict=True)
    )
    car = WholeCar(front, rear, model.shift_mm, model.car.data)
    there, left_out = available(car, wanted)
    ok = standing.status == Status.OK
    found = {n: np.where(ok, v, np.nan) for n, v in values(car, there, (2, stance.count)).items()}

    def add(result: SweepResult) -> SweepResult:
        shape = (2, *(len(v) for v in result.drives.values()))
        return replace(
            result,
            values=result.values | {n: np.moveaxis(v.reshape(shape), 0, -1) for n, v in found.items()},
            left_out=result.left_out | left_out,
            measures=(*result.measures, *there),
            findings=(*model.findings, *result.findings),
        )

    return add
