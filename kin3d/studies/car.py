"""The model of the whole car: both axles on their wheelbase, all four wheels on one flat ground."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError, Severity
from kin3d.linkage.car import Car
from kin3d.linkage.layout import WHEEL_CENTRE
from kin3d.measures.corner import ground_normal
from kin3d.measures.corner_pair import design_contact
from kin3d.solve.model import AxleModel
from kin3d.spatial.vectors import dot
from kin3d.studies.ground_contact import Stance, Standing, need_radius, put_on_ground

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
    return float(np.mean([side.design[model.linkage.index(WHEEL_CENTRE), 0] for side in model.sides]))


def _design_pitch(models: tuple[AxleModel, AxleModel], shift: float, wheelbase: float) -> float:
    """Pitch at which the ground meets both axles in the design position, rad (lowest points depend on it)."""
    pitch = 0.0
    for _ in range(6):
        n = ground_normal(np.zeros(2), np.full(2, pitch))
        heights = []
        for model, x in zip(models, (0.0, shift), strict=True):
            feet = design_contact(model, n)
            heights.append(float(np.mean(dot((feet[:, 0] + x, feet[:, 1], feet[:, 2]), n))))
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
