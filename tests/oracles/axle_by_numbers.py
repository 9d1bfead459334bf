"""Measures of both wheels of an axle and of the whole car, once more from coordinates; see `by_numbers`."""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property

import numpy as np
from scipy.optimize import brentq

from kin3d.solve.model import AxleModel
from tests.oracles.by_numbers import STEP_DEG, STEP_MM, One, X, Z, deg, share, slope, unit


def normal(roll_deg: float, pitch_rad: float = 0.0):
    """The ground's normal in the frame of a body that has pitched (nose down +), then rolled (left side up +)."""
    r, p = np.radians(roll_deg), pitch_rad
    roll = np.array([[1, 0, 0], [0, np.cos(r), -np.sin(r)], [0, np.sin(r), np.cos(r)]])
    pitch = np.array([[np.cos(p), 0, np.sin(p)], [0, 1, 0], [-np.sin(p), 0, np.cos(p)]])
    return (pitch @ roll).T @ Z


class Both:
    """Both corners of an axle on a plane."""

    def __init__(self, model: AxleModel, travels, rack: float, n, drives=None) -> None:
        self.wheels = tuple(One(model, k, float(travels[k]), rack, n) for k in (0, 1))
        self.model, self.rack, self.n, self.drives = model, rack, n, drives
        self.axle, self.car = model.axle, model.car
        self.near: dict[tuple[float, float], Both] = {}

    @staticmethod
    def stood(model: AxleModel, heave: float, roll_deg: float, rack: float) -> Both:
        n = normal(roll_deg)

        def gap(d: float) -> float:
            left, right = (One(model, k, heave + (1 - 2 * k) * d, rack, n) for k in (0, 1))
            return float((left.p - right.p) @ n)

        d = brentq(gap, -60.0, 60.0, xtol=1e-12, rtol=1e-14)
        return Both(model, (heave + d, heave - d), rack, n, (heave, roll_deg))

    def along(self, f: Callable[[One], float], side: int, drive: str) -> float:
        heave, roll = self.drives

        def at(x: float) -> float:
            where = (x, roll) if drive == "heave" else (heave, x)
            if where not in self.near:
                self.near[where] = Both.stood(self.model, *where, self.rack)
            return f(self.near[where].wheels[side])

        return slope(at, *((heave, STEP_MM) if drive == "heave" else (roll, STEP_DEG)))

    @cached_property
    def feet(self):
        return np.array([w.ground(w.p) for w in self.wheels])

    @cached_property
    def drift(self):
        return np.array([w.ground(w.velocity(w.p)) for w in self.wheels])

    @property
    def track(self):
        return self.feet[0, 1] - self.feet[1, 1]

    def centre(self):
        """Offset and height of the crossing over the mid-point."""
        square = self.drift[:, 1:]
        middle = self.feet[:, 1:].mean(axis=0)
        return np.linalg.solve(square, np.sum(square * self.feet[:, 1:], axis=1)) - middle

    def force_height(self):
        y = self.feet[:, 1] - self.feet[:, 1].mean()
        return np.mean(y * self.drift[:, 1] / self.drift[:, 2])

    def design(self) -> Both:
        return Both(self.model, (0.0, 0.0), 0.0, Z)

    def steers(self, rack: float):
        return np.array([-w.s * One(self.model, w.side, w.travel, rack, self.n).toe() for w in self.wheels])

    def left_for_springs(self, side: int, case: str):
        """Work of the wheel's forces per mm of travel: with the horizontal force, and of the load transfer alone."""
        w, car = self.wheels[side], self.car
        middle = np.mean([d.p for d in self.design().wheels], axis=0) + car.cg_height_mm * Z
        height = middle @ self.n - self.feet[:, 2].mean()
        front = self.axle.name == "front"
        hub = case == "driving" or car.brakes == "inboard"
        if case == "cornering":
            force, up = 0.5 * w.aside, -w.s * height / self.track
        else:
            up = (1.0 if front else -1.0) * height / (2.0 * car.wheelbase_mm)
            if case == "braking":
                force = -0.5 * share(w, car.front_brake_share) * w.ahead
            else:
                force, up = 0.5 * share(w, car.front_drive_share) * w.ahead, -up
        alone = up * (self.n @ w.velocity(w.p))
        moved = w.twist[0] if hub and case != "cornering" else w.velocity(w.p)
        return force @ moved + alone, alone


def _share(case: str) -> Callable[[Both, int], float]:
    def percent(b: Both, k: int) -> float:
        whole, alone = b.left_for_springs(k, case)
        return 100.0 * whole / alone

    return percent


def _load(case: str) -> Callable[[Both, int], float]:
    def load(b: Both, k: int) -> float:
        mass = b.car.mass_kg * (share(b.wheels[k], b.car.front_mass_share) if case == "cornering" else 1.0)
        return b.left_for_springs(k, case)[0] * mass * 9.81

    return load


def _ackermann(b: Both, _k: int) -> float:
    left, right = 1.0 / np.tan(b.steers(b.rack) - b.steers(0.0))
    return 100.0 * (right - left) * b.car.wheelbase_mm / b.track


def _steer(w: One) -> float:
    return -w.s * w.toe()


def _lines(b: Both, _k: int) -> float:
    a, c = (unit(d[1:]) for d in b.drift)
    return deg(np.arccos(abs(a @ c)))


def _sense(b: Both) -> float:
    return 1.0 if b.axle.name == "front" else -1.0


AXLE: dict[str, Callable[[Both, int], float]] = {
    "camber_ground_deg": lambda b, k: deg(b.wheels[k].lean()),
    "toe_ground_deg": lambda b, k: deg(b.wheels[k].toe()),
    "steer_ground_deg": lambda b, k: deg(_steer(b.wheels[k])),
    "bump_steer_deg_per_mm": lambda b, k: deg(b.along(One.toe, k, "heave")),
    "bump_camber_deg_per_mm": lambda b, k: deg(b.along(One.lean, k, "heave")),
    "roll_steer_deg_per_deg": lambda b, k: deg(b.along(_steer, k, "roll")),
    "roll_camber_deg_per_deg": lambda b, k: deg(b.along(One.lean, k, "roll")),
    # the left side rises: the body leans to the right, whose wheel is the outer one
    "camber_outer_deg": lambda b, _: deg(b.wheels[1].lean()),
    "camber_recovery_pct": lambda b, _: 100.0 * (1.0 - deg(b.along(One.lean, 1, "roll"))),
    "track_mm": lambda b, _: b.track,
    "track_change_mm": lambda b, _: b.track - b.design().track,
    "roll_centre_height_mm": lambda b, _: b.centre()[1],
    "roll_centre_offset_mm": lambda b, _: b.centre()[0],
    "roll_centre_lines_deg": _lines,
    "roll_centre_height_force_mm": lambda b, _: b.force_height(),
    "jacking_coefficient": lambda b, k: b.wheels[k].s * b.drift[k, 1] / b.drift[k, 2],
    "support_angle_braking_deg": lambda b, k: deg(np.arctan(_sense(b) * b.wheels[k].brake_slope())),
    "support_angle_driving_deg": lambda b, k: deg(np.arctan(_sense(b) * b.wheels[k].drive_slope())),
    "ackermann_pct": _ackermann,
    "turning_radius_mm": lambda b, _: b.car.wheelbase_mm * np.mean(1.0 / np.tan(b.steers(b.rack))),
    **{f"spring_share_{case}_pct": _share(case) for case in ("braking", "driving", "cornering")},
    **{f"spring_load_{case}_n_per_g": _load(case) for case in ("braking", "driving", "cornering")},
}


class Whole:
    """Both axles on one ground; the rear one moved along x by `shift` mm."""

    def __init__(self, front: Both, rear: Both, shift: float) -> None:
        self.front, self.rear, self.shift = front, rear, shift

    def wheelbase(self, side: int) -> float:
        moved = self.rear.wheels[side].p + self.shift * X
        return (self.front.wheels[side].p - moved) @ self.front.wheels[side].ahead

    def inclination(self, front: float, rear: float) -> float:
        return deg(np.arctan2(rear - front, np.mean([self.wheelbase(k) for k in (0, 1)])))

    def design(self) -> Whole:
        return Whole(self.front.design(), self.rear.design(), self.shift)


CAR: dict[str, Callable[[Whole, int], float]] = {
    "roll_axis_deg": lambda w, _: w.inclination(w.front.centre()[1], w.rear.centre()[1]),
    "roll_axis_force_deg": lambda w, _: w.inclination(w.front.force_height(), w.rear.force_height()),
    "roll_axis_height_mm": lambda w, _: (
        w.front.car.front_mass_share * w.front.centre()[1] + (1.0 - w.front.car.front_mass_share) * w.rear.centre()[1]
    ),
    "wheelbase_change_mm": lambda w, k: w.wheelbase(k) - w.design().wheelbase(k),
}
