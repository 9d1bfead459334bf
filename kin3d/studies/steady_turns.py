"""A car in steady turns: how it stands under one lateral acceleration after the other, and how that goes on.

Every state is found from the nearest one that is known already, which is what makes a series of turns cheap.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, Kin3dError, RequestError
from kin3d.linkage.car import Car
from kin3d.linkage.names import AxleName
from kin3d.studies.attitude import PITCH, ROLL
from kin3d.studies.car_stands import STANDS
from kin3d.studies.load_steps import DOWN, LoadSteps
from kin3d.studies.settle import load_steps
from kin3d.studies.steady_loads import Loads

Array = NDArray[np.float64]
_kept: deque[tuple[tuple[Any, ...], SteadyTurns]] = deque(maxlen=8)  # as both axles and several turns are asked


@dataclass(frozen=True, slots=True)
class Leaning:
    """How an axle stands in turns.

    Attributes
    ----------
    at : ndarray, shape (turns,)
        Lateral accelerations, g.
    stands : ndarray, shape (turns, 3)
        Heave (mm), roll and pitch (deg) of the points' frame; NaN where the car does not stand on all wheels.
    rates : ndarray, shape (turns, 3)
        Their derivatives along the acceleration, per g.
    reasons : dict of float to Kin3dError
        Why there is no attitude, by acceleration.
    """

    at: Array
    stands: Array
    rates: Array
    reasons: dict[float, Kin3dError]

    def of(self, at: Array) -> tuple[Array, Array]:
        """`stands` and `rates` of some of the accelerations."""
        rows = [int(np.flatnonzero(self.at == g)[0]) for g in at]
        return self.stands[rows], self.rates[rows]


def leaning(car: Car, axle: AxleName | None, at: Array) -> Leaning:
    """How an axle stands in turns.

    Parameters
    ----------
    axle : {"front", "rear"} or None
        None: the whole car, whose pitch counts from the design position.

    Raises
    ------
    RequestError
        When data of the car are missing, or none of the accelerations is carried on four wheels.
    """
    turns = _turns_of(car)
    stands, rates = np.full((2, len(at), len(STANDS)), np.nan)
    reasons: dict[float, Kin3dError] = {}
    for k in np.argsort(np.abs(at), kind="stable"):
        try:
            stands[k], rates[k] = turns.stand(float(at[k]), axle)
        except Kin3dError as error:
            reasons[float(at[k])] = error
    if len(reasons) == len(at):
        raise next(iter(reasons.values()))
    return Leaning(at, stands, rates, reasons)


def _turns_of(car: Car) -> SteadyTurns:
    own = (car.data, car.front, car.rear)
    for there, turns in _kept:
        if all(a is b for a, b in zip(own, there, strict=True)):
            return turns
    _kept.append((own, SteadyTurns(car)))
    return _kept[-1][1]


class SteadyTurns:
    """The turns of one car."""

    def __init__(self, car: Car) -> None:
        self.car = car
        self.steps: LoadSteps = load_steps(car, Loads())[0]
        self.steps.run(Loads())
        self._states = {0.0: (self.steps.y, self.steps.lifted)}
        self._rates: dict[float, Array] = {}

    def stand(self, lateral_g: float, axle: AxleName | None) -> tuple[Array, Array]:
        """How an axle, or the car, stands under an acceleration, and the derivative along it; raises where not."""
        y, lifted = self._state(lateral_g)
        if lifted != DOWN:
            text = f"a wheel lifts off under {lateral_g:g} g, so that the axle has no roll centre on the ground"
            raise RequestError(Finding("wheel-lifted", text, str(self.car.source)))
        if lateral_g not in self._rates:
            self._rates[lateral_g] = self.steps.attitude.along_lateral(y[:, None], Loads(lateral_g=lateral_g), lifted)[
                :, 0
            ]
        wheels = {"front": slice(0, 2), "rear": slice(2, 4), None: slice(0, 4)}[axle]
        each = [np.array([v[wheels].mean(), *np.degrees([v[ROLL], v[PITCH]])]) for v in (y, self._rates[lateral_g])]
        if axle is None:
            each[0][2] -= np.degrees(self.steps.attitude.cars.model.pitch_rad)
        return each[0], each[1]

    def _state(self, lateral_g: float) -> tuple[Array, tuple[bool, ...]]:
        if lateral_g not in self._states:
            before = max((g for g in self._states if 0.0 <= g / lateral_g < 1.0), key=abs)
            self.steps.y, self.steps.lifted = self._states[before]
            self._states[lateral_g] = self.steps.run(Loads(lateral_g=lateral_g), Loads(lateral_g=before))
        return self._states[lateral_g]
