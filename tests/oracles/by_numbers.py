"""Every measure once more from coordinates, with plain numpy: positions are the kernel's, all else is done here.

Derivatives are differences of positions (five points, error of the fourth order). Nothing of `kin3d.measures`,
`kin3d.loads` or `kin3d.spatial` is used. Formulas are those of the project's conventions; forces follow from virtual
work, rates from differences of energy.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property
from itertools import pairwise

import numpy as np

from kin3d.solve.lanes import Lanes
from kin3d.solve.model import AxleModel

X, Z = np.array([1.0, 0.0, 0.0]), np.array([0.0, 0.0, 1.0])
STEP_MM, STEP_DEG = 0.4, 0.1


def slope(f: Callable, at: float, step: float = STEP_MM):
    return (8.0 * (f(at + step) - f(at - step)) - (f(at + 2 * step) - f(at - 2 * step))) / (12.0 * step)


def bend(f: Callable, at: float, step: float = 1.0):
    near, far = f(at + step) + f(at - step), f(at + 2 * step) + f(at - 2 * step)
    return (16.0 * near - far - 30.0 * f(at)) / (12.0 * step**2)


def unit(v):
    return v / np.linalg.norm(v)


def places(model: AxleModel, side: int, travel: float, rack: float) -> dict[str, np.ndarray]:
    lanes = Lanes(np.array([side]), np.array([travel]), np.array([rack]))
    at = model.kernel.points(model.variants, lanes, model.kernel.solve(model.variants, lanes))[0]
    return dict(zip(model.linkage.points, at, strict=True))


class One:
    """One corner in one position on a ground with normal n; side 0 is left, 1 right."""

    def __init__(self, model: AxleModel, side: int, travel: float, rack: float, n=Z) -> None:
        self.model, self.side, self.travel, self.rack, self.n = model, side, travel, rack, n
        self.axle, self.car, self.linkage = model.axle, model.car, model.linkage
        self.s = 1.0 - 2.0 * side
        self.at = places(model, side, travel, rack)
        self.design = dict(zip(model.linkage.points, model.variants.design[side], strict=True))
        self.c = self.at["wheel_centre"]
        self.a = unit(self.at["wheel_axis"] - self.c)
        self.p = self.c - self.axle.loaded_radius_mm * unit(n - (n @ self.a) * self.a)
        self.ahead = unit(X - (X @ n) * n)
        self.aside = np.cross(n, self.ahead)
        self.heading = unit(self.s * np.cross(self.a, n))
        self.outboard = self.s * np.cross(n, self.heading)

    def moved(self, travel: float) -> One:
        return One(self.model, self.side, travel, self.rack, self.n)

    @cached_property
    def twist(self):
        """Velocity of the wheel centre and angular velocity of the upright, fitted to those of all its points."""
        names = self.linkage.bodies[self.linkage.wheel_body]
        v = {p: slope(lambda t, p=p: places(self.model, self.side, t, self.rack)[p], self.travel) for p in names}
        rows, right = [], []
        for p in names:
            x, y, z = self.at[p] - self.c
            rows.append(np.hstack([np.eye(3), np.array([[0, z, -y], [-z, 0, x], [y, -x, 0]])]))
            right.append(v[p])
        found = np.linalg.lstsq(np.vstack(rows), np.hstack(right), rcond=None)[0]
        return found[:3], found[3:]

    def velocity(self, point):
        v, w = self.twist
        return v + np.cross(w, point - self.c)

    def ground(self, v):
        return np.array([v @ self.ahead, v @ self.aside, v @ self.n])

    @cached_property
    def k(self):
        (low,), (high,) = self.linkage.steering_axis
        return self.at[high] - self.at[low]

    @cached_property
    def axis_at_ground(self):
        low = self.at[self.linkage.steering_axis[0][0]]
        return low + self.k * ((self.p - low) @ self.n) / (self.k @ self.n)

    def resting(self, plane: int, free: tuple[int, int]):
        """Where two components of velocity vanish in the plane through p square to an axis."""
        here = self.p.copy()
        here[list(free)] = 0.0
        base = self.velocity(here)[list(free)]
        columns = [self.velocity(here + np.eye(3)[f])[list(free)] - base for f in free]
        assert plane not in free
        return np.linalg.solve(np.column_stack(columns), -base)

    def toe(self):
        return np.arctan2(self.a @ self.ahead, self.s * (self.a @ self.aside))

    def lean(self):
        return -np.arcsin(self.a @ self.n)

    def drive_slope(self):
        return self.twist[0] @ self.ahead / (self.twist[0] @ self.n)

    def brake_slope(self):
        v = self.velocity(self.p)
        return v @ self.ahead / (v @ self.n)

    def spring(self):
        outer, inner = self.linkage.spring
        return np.linalg.norm(self.at[outer] - self.at[inner])

    def pressed(self):
        outer, inner = self.linkage.spring
        return np.linalg.norm(self.design[outer] - self.design[inner]) - self.spring()

    def energy(self):
        spring, u = self.axle.spring, self.pressed()
        assert self.axle.torsion is None
        return spring.design_force_n * u + 0.5 * spring.rate_n_per_mm * u * u

    def turn_about(self, axis: tuple[str, str], point: str):
        first, second = (self.at[p] for p in axis)
        e = unit(second - first)
        then, now = (v - (v @ e) * e for v in (self.design[point] - first, self.at[point] - first))
        return np.arctan2(np.cross(then, now) @ e, then @ now)

    def rocker(self):
        return self.turn_about(self.linkage.rocker.axis, self.linkage.rocker.rod[1])

    def rod(self):
        outer, inner = self.linkage.rocker.rod
        return unit(self.at[inner] - self.at[outer])

    def carrier(self):
        outer, inner = self.linkage.rocker.rod
        return next(n for n, ps in self.linkage.bodies.items() if outer in ps and inner not in ps)

    def hinge(self):
        first, second = [p for p in self.linkage.bodies[self.carrier()] if p in self.linkage.fixed][:2]
        return self.at[first], self.at[second]

    def rod_end(self, body: str, bolt, given):
        if given is not None:
            mirrored = (self.axle.side == "left") != (self.s > 0.0)
            bolt = np.array(given) * ([1, -1, 1] if mirrored else [1, 1, 1])
        names = list(self.linkage.bodies[body])
        then, now = (np.array([d[p] for p in names]) for d in (self.design, self.at))
        u, _, vt = np.linalg.svd((then - then.mean(0)).T @ (now - now.mean(0)))
        turn = vt.T @ np.diag([1, 1, np.sign(np.linalg.det(vt.T @ u.T))]) @ u.T
        return np.arcsin(abs(unit(turn @ bolt) @ self.rod()))

    def rod_end_outer(self):
        first, second = self.hinge()
        return self.rod_end(self.carrier(), second - first, self.axle.rod_part.bolt_outer)

    def rod_end_inner(self):
        role = self.linkage.rocker
        first, second = (self.design[p] for p in role.axis)
        return self.rod_end(role.body, second - first, self.axle.rod_part.bolt_inner)

    def rod_force(self):
        """Of the rocker: it turns as the wheel rises, and rod_inner draws the rod along."""
        inner = self.linkage.rocker.rod[1]
        drawn = slope(lambda t: places(self.model, self.side, t, self.rack)[inner], self.travel)
        return -self.velocity(self.p)[2] / (self.rod() @ drawn)

    def rod_to_arm(self):
        first, second = self.hinge()
        normal = unit(np.cross(second - first, self.at[self.linkage.rocker.rod[0]] - first))
        return np.arcsin(abs(normal @ self.rod()))

    def rod_to_rocker(self):
        role = self.linkage.rocker
        first, second = (self.at[p] for p in role.axis)
        e, arm = unit(second - first), self.at[role.rod[1]] - first
        return np.arcsin(abs(np.cross(arm, self.rod()) @ e) / np.linalg.norm(arm - (arm @ e) * e))


def share(c: One, front: float) -> float:
    return front if c.axle.name == "front" else 1.0 - front


def anti(c: One, at: float, part: float, sense: float) -> float:
    return sense * 100.0 * share(c, part) * at * c.car.wheelbase_mm / c.car.cg_height_mm


def isa(c: One):
    v, w = c.twist
    return unit(w), c.c + np.cross(w, v) / (w @ w), (w @ v) / (w @ w)


def _lift(c: One) -> float:
    if c.axle.name == "front":
        return anti(c, c.drive_slope(), c.car.front_drive_share, 1.0)
    return anti(c, c.brake_slope(), c.car.front_brake_share, -1.0)


deg = np.degrees


def shaft(c: One):
    """From the inner to the outer joint of the drive shaft."""
    inner, outer = c.axle.driveshaft.points
    return c.at[outer] - c.at[inner]


def plunge(c: One):
    inner, outer = c.axle.driveshaft.points
    return np.linalg.norm(shaft(c)) - np.linalg.norm(c.design[outer] - c.design[inner])


def inner_axis(c: One):
    """As the file gives it on the side of its points, mirrored on the other one."""
    x, y, z = c.axle.driveshaft.inner_axis
    return np.array([x, y if c.side == ("left", "right").index(c.axle.side) else -y, z])


def between(a, b):
    """Angle between two lines by its cosine."""
    return np.arccos(abs(unit(a) @ unit(b)))


def least_gap(c: One) -> float:
    """Least of all bars among each other and against the wheel's sections, by a search over places along the bars."""
    bars, sections = [], [np.array(s.profile) for s in c.axle.solids if s.profile]
    for link in c.axle.links:
        bars.append((*c.linkage.bodies[link.name], link.diameter_mm / 2, link.name))
    bars.append((*c.linkage.rocker.rod, c.axle.rod_part.diameter_mm / 2, "rod"))
    bars += [(*s.points, s.diameter_mm / 2, s.name.split(",")[0]) for s in c.axle.solids if s.points]
    found = []
    for k, (p, q, radius, body) in enumerate(bars):
        for section in sections:
            gaps = [bar_to_section(at[p], at[q], at, section) - radius for at in (c.design, c.at)]
            found += [gaps[1]] if gaps[0] > 0.0 else []
        for r, s, other, more in bars[:k]:
            gaps = [bar_to_other(at[p], at[q], at[r], at[s]) - radius - other for at in (c.design, c.at)]
            found += [gaps[1]] if gaps[0] > 0.0 and more != body else []
    return min(found)


def zoomed(f: Callable) -> float:
    """Least value of a function of parts from 0 to 1, on grids that close in on it."""
    low, high = 0.0, 1.0
    for _ in range(12):
        t = np.linspace(low, high, 201)
        values = f(t[:, None])
        k = int(values.argmin())
        low, high = t[max(k - 2, 0)], t[min(k + 2, 200)]
    return float(values[k])


def to_line(p, a, b):
    t = np.clip((p - a) @ (b - a) / ((b - a) @ (b - a)), 0.0, 1.0)
    return np.linalg.norm(p - a - t[:, None] * (b - a), axis=1)


def bar_to_other(a, b, c, d) -> float:
    return zoomed(lambda t: to_line(a + t * (b - a), c, d))


def bar_to_section(a, b, at, section) -> float:
    axis = unit(at["wheel_axis"] - at["wheel_centre"])

    def distance(t):
        p = a + t * (b - a) - at["wheel_centre"]
        flat = np.column_stack([p @ axis, np.linalg.norm(np.cross(p, axis), axis=1)])
        return np.min([to_line(flat, s, e) for s, e in pairwise(section)], axis=0)

    return zoomed(distance)


CORNER: dict[str, Callable[[One], float]] = {
    "driveshaft_plunge_mm": plunge,
    "least_gap_mm": least_gap,
    "driveshaft_inner_deg": lambda c: deg(between(shaft(c), inner_axis(c))),
    "driveshaft_outer_deg": lambda c: deg(between(shaft(c), c.a)),
    "camber_deg": lambda c: deg(-np.arcsin(c.a[2])),
    "toe_deg": lambda c: deg(np.arctan2(c.a[0], c.s * c.a[1])),
    "steer_deg": lambda c: deg(-c.s * np.arctan2(c.a[0], c.s * c.a[1])),
    **{f"wheel_{e}_mm": lambda c, k=k: c.c[k] for k, e in enumerate("xyz")},
    **{f"contact_{e}_mm": lambda c, k=k: c.p[k] for k, e in enumerate("xyz")},
    "caster_deg": lambda c: deg(np.arctan(-c.k[0] / c.k[2])),
    "kingpin_deg": lambda c: deg(np.arctan(-c.s * c.k[1] / c.k[2])),
    "scrub_radius_mm": lambda c: (c.p - c.axis_at_ground) @ c.outboard,
    "caster_trail_mm": lambda c: (c.axis_at_ground - c.p) @ c.heading,
    **{f"isa_d{e}": lambda c, k=k: isa(c)[0][k] for k, e in enumerate("xyz")},
    **{f"isa_p{e}_mm": lambda c, k=k: isa(c)[1][k] for k, e in enumerate("xyz")},
    "isa_pitch_mm_per_rad": lambda c: isa(c)[2],
    "front_ic_y_mm": lambda c: c.resting(0, (1, 2))[0],
    "front_ic_z_mm": lambda c: c.resting(0, (1, 2))[1],
    "side_ic_x_mm": lambda c: c.resting(1, (0, 2))[0],
    "side_ic_z_mm": lambda c: c.resting(1, (0, 2))[1],
    "roll_centre_height_mm": lambda c: c.p[1] * c.velocity(c.p)[1] / c.velocity(c.p)[2],
    "anti_dive_pct": lambda c: anti(c, c.brake_slope(), c.car.front_brake_share, 1.0),
    "anti_lift_pct": _lift,
    "anti_squat_pct": lambda c: anti(c, c.drive_slope(), c.car.front_drive_share, -1.0),
    "spring_length_mm": One.spring,
    "motion_ratio": lambda c: -slope(lambda t: c.moved(t).spring(), c.travel),
    "motion_ratio_slope_per_mm": lambda c: -bend(lambda t: c.moved(t).spring(), c.travel),
    "rocker_deg": lambda c: deg(c.rocker()),
    "rocker_rate_deg_per_mm": lambda c: deg(slope(lambda t: c.moved(t).rocker(), c.travel)),
    "wheel_rate_n_per_mm": lambda c: bend(lambda t: c.moved(t).energy(), c.travel),
    "rod_to_arm_deg": lambda c: deg(c.rod_to_arm()),
    "rod_to_rocker_deg": lambda c: deg(c.rod_to_rocker()),
    "rod_slope_deg": lambda c: deg(np.arctan2(c.rod()[2], -c.s * c.rod()[1])),
    "rod_end_outer_deg": lambda c: deg(c.rod_end_outer()),
    "rod_end_inner_deg": lambda c: deg(c.rod_end_inner()),
    "rod_force_n_per_n": One.rod_force,
}
