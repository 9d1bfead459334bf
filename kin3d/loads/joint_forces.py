"""Forces at every joint, from the multipliers of the equations: what each body exerts on the points that it has.

A row of the equations belongs to a body (a length, a hinge, a tie) or to two (a slider), and λ times its gradient is
the force of that body on the row's points. What acts on a body at another place (a wheel load, a link at a carried
point) is first brought to the body's base by the same constant combinations that carry the point: that is statically
the same force and moment. The force at a joint is then what a body exerts on the point in all.

Two points that a body shares with the same other body make a hinge. How its force along the hinge line is split between
the two is statically indeterminate; each gets half of the sum.

Units: N, mm. Frame: vehicle.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.layout import CHASSIS, Linkage
from kin3d.loads.members import Statics
from kin3d.solve.equations import Row, frame_of, weights_of
from kin3d.spatial.jets import Jet, over_lanes, total_degree
from kin3d.spatial.vectors import Vec, vector

Array = NDArray[np.float64]
GRADIENT = total_degree(3, 1)


@dataclass(frozen=True, slots=True)
class Push:
    """A force on a moving body: at a place that goes with the body; arrays of shape (3, lanes), mm and N."""

    body: str
    place: Array
    force: Array

    @staticmethod
    def couple(body: str, place: Array, moment: Array) -> tuple[Push, Push]:
        """A pure moment, N·mm, as two forces that are opposite to each other."""
        other = np.zeros_like(moment)
        np.put_along_axis(other, np.abs(moment).argmin(axis=0)[None], 1.0, axis=0)
        across = np.cross(moment, other, axis=0)
        size = np.linalg.norm(across, axis=0)
        arm = 100.0 * across / np.where(size > 0.0, size, 1.0)
        force = np.cross(moment, arm, axis=0) / 100.0**2
        return Push(body, place + arm, force), Push(body, place, -force)


@dataclass(frozen=True, slots=True)
class JointForces:
    """Forces between bodies of one linkage over lanes.

    Attributes
    ----------
    at : dict of str to ndarray, shape (3, lanes)
        Places of the points, mm.
    on_body : dict of (body, point) to ndarray, shape (3, lanes)
        Force on the body at the point by everything else that meets there, N. ``("chassis", point)`` is what the
        chassis, or the rack, takes at a pickup.
    axial : dict of str to ndarray, shape (lanes,)
        Force along each link, tension positive, N.
    error : ndarray, shape (lanes,)
        Largest component of force (N) or moment (N·m) that is left over on any body.
    hinges : tuple of (body, other body, point, point)
        Bodies that are hinged on each other or on the chassis, and the two points of the hinge line.
    """

    at: dict[str, Array]
    on_body: dict[tuple[str, str], Array]
    axial: dict[str, Array]
    error: Array
    hinges: tuple[tuple[str, str, str, str], ...] = ()

    def lane(self, which: slice) -> JointForces:
        """The same for some of the lanes."""
        return JointForces(
            {p: v[:, which] for p, v in self.at.items()},
            {key: v[:, which] for key, v in self.on_body.items()},
            {link: v[which] for link, v in self.axial.items()},
            self.error[which],
            self.hinges,
        )


def joint_forces(statics: Statics, multipliers: Array, pushes: Sequence[Push]) -> JointForces:
    """Forces at every joint and pickup.

    Parameters
    ----------
    statics : Statics
    multipliers : ndarray, shape (rows, lanes)
        Of the rows under all the loads.
    pushes : sequence of Push
        All loads, the same that the multipliers were solved for.
    """
    return _Nodes(statics, multipliers, pushes).forces()


class _Nodes:
    """Collects what every body exerts on points, and what acts on bodies at places."""

    def __init__(self, statics: Statics, multipliers: Array, pushes: Sequence[Push]) -> None:
        self.statics, self.linkage = statics, statics.linkage
        self.unknowns = statics.equations.unknowns
        self.count = statics.count
        unknown = {*self.unknowns.points, *self.unknowns.carried}
        self.held = [p for p in self.linkage.points if p not in unknown]  # by the chassis, the rack or a drive
        self.guided = {s.point: s.line for s in self.linkage.sliders} | {g.point: g.plane for g in self.linkage.guides}
        self.at = {p: over_lanes(v, self.count) for p, v in statics.places.items()}
        self.exerted: dict[tuple[str, str], Array] = {}  # by a body on a point
        self.on_carried: dict[str, Array] = {}  # on a point that a body carries, by the others
        self.given = tuple(pushes)
        self.pushes = list(pushes)
        for row, force in zip(statics.equations.rows, multipliers, strict=True):
            self._row(row, force)

    def _exert(self, body: str, point: str, force: Array) -> None:
        key = (body, point)
        self.exerted[key] = self.exerted.get(key, 0.0) + force
        if point in self.unknowns.carried and self.unknowns.carried[point] != body:
            self._carry(point, force)

    def _carry(self, point: str, force: Array) -> None:
        """A force on a point that another body carries acts on that body."""
        self.on_carried[point] = self.on_carried.get(point, 0.0) + force
        self.pushes.append(Push(self.unknowns.carried[point], self.at[point], force))

    def _row(self, row: Row, multiplier: Array) -> None:
        if row.kind == "travel":
            return  # what holds the wheel up is among the loads, so that nothing is left for this row
        if row.kind == "hinge":  # the difference of two lengths from the ends of the hinge line
            first, second, moving = row.points
            for end, sign in ((first, 1.0), (second, -1.0)):
                force = sign * multiplier * (self.at[moving] - self.at[end])
                self._exert(row.bodies[0], moving, force)
                self._exert(row.bodies[0], end, -force)
            return
        point = row.points[0]
        force = multiplier * self._gradient(row, point)
        if row.kind in ("length", "drive"):
            by = row.bodies[0] if row.kind == "length" else self.linkage.drives[row.component].name
            self._exert(by, point, force)
            self._exert(by, row.points[1], -force)
            return
        holder = row.bodies[0] if row.kind == "tie" else _holder(self.linkage, row.points[1:])
        self._exert(holder, point, force)
        if holder != CHASSIS:
            self.pushes.append(Push(holder, self.at[point], -force))

    def _gradient(self, row: Row, point: str) -> Array:
        """Derivative of a row along the place of one of its points, shape (3, lanes)."""
        at: dict[str, Vec] = {p: (v[0], v[1], v[2]) for p, v in self.at.items()}
        at[point] = vector(GRADIENT.variable(c, k) for k, c in enumerate(at[point]))
        found = self.statics.residual(row, at)
        if not isinstance(found, Jet):
            return np.zeros((3, self.count))
        parts = [found.coefficients[GRADIENT.generator(k)] for k in range(3)]
        return over_lanes((0.0 if c is None else c for c in parts), self.count)

    def forces(self) -> JointForces:
        for push in self.pushes:
            self._to_base(push)
        on_body = {
            (body, p): self._on(body, p)
            for body, points in self.linkage.bodies.items()
            for p in points
            if self._joint(p)
        }
        for point, on in self.guided.items():
            holder = _holder(self.linkage, on)
            if holder != CHASSIS:
                on_body[holder, point] = -self.exerted[holder, point]
        hinges = tuple(self._hinges())
        for pair in hinges:
            self._halve(on_body, *pair)
        known = {*self.held, *(p for b, p in self.exerted if b == CHASSIS)}
        for p in sorted(known, key=self.linkage.points.index):
            parts = [-force for (_, q), force in on_body.items() if q == p]
            if parts:
                on_body[CHASSIS, p] = np.sum(parts, axis=0)
        axial = {link: self._axial(link) for link in self.unknowns.links}
        return JointForces(self.at, on_body, axial, self._left_over(on_body), hinges)

    def _joint(self, point: str) -> bool:
        """Whether several bodies meet at a point, the chassis and the rack among them, or something slides there."""
        members = sum(point in points for points in self.linkage.bodies.values())
        return members + (point in self.held) > 1 or point in self.guided

    def _to_base(self, push: Push) -> None:
        """Bring a force on a body to the points of its base."""
        base = self.unknowns.bases.get(push.body)
        if base is None:
            raise ValueError(f'"{push.body}" has no base: a link carries forces at its ends alone')
        o = base.points[0]
        frame = frame_of(base, {p: (v[0], v[1], v[2]) for p, v in self.at.items()})
        weights = [np.asarray(w) for w in weights_of((push.place[0], push.place[1], push.place[2]), frame)]
        if len(weights) == 1:
            shares = [weights[0] * push.force]
        else:
            a, b, c = weights
            e1, e2 = (self.at[p] - self.at[o] for p in base.points[1:])
            shares = [
                a * push.force + c * np.cross(e2, push.force, axis=0),
                b * push.force + c * np.cross(push.force, e1, axis=0),
            ]
        for p, share in zip((o, *base.points[1:]), (push.force - sum(shares), *shares), strict=True):
            key = (push.body, p)
            self.exerted[key] = self.exerted.get(key, 0.0) + share

    def _on(self, body: str, point: str) -> Array:
        """Force on a body at one of its points by all others."""
        if self.unknowns.carried.get(point) == body:
            return np.asarray(self.on_carried.get(point, np.zeros((3, self.count))))
        return -np.asarray(self.exerted.get((body, point), np.zeros((3, self.count))))

    def _hinges(self) -> Iterable[tuple[str, str, str, str]]:
        """Pairs of bodies that share two points where no third body is: (body, other or chassis, point, point)."""
        bodies = {b: set(p) for b, p in self.linkage.bodies.items()}
        bodies[CHASSIS] = set(self.held)
        members = {p: sum(p in points for points in bodies.values()) for p in self.linkage.points}
        for one, other in combinations(bodies, 2):
            shared = [p for p in self.linkage.points if p in bodies[one] & bodies[other]]
            if len(shared) == 2 and all(members[p] == 2 for p in shared):
                yield one, other, shared[0], shared[1]

    def _halve(self, on_body: dict[tuple[str, str], Array], one: str, other: str, p: str, q: str) -> None:
        line = self.at[q] - self.at[p]
        line = line / np.linalg.norm(line, axis=0)
        excess = 0.5 * ((on_body[one, p] - on_body[one, q]) * line).sum(axis=0) * line
        for body, sign in ((one, 1.0), (other, -1.0)):
            if body != CHASSIS:
                on_body[body, p] = on_body[body, p] - sign * excess
                on_body[body, q] = on_body[body, q] + sign * excess

    def _axial(self, link: str) -> Array:
        first, second = self.linkage.bodies[link]
        line = self.at[second] - self.at[first]
        return np.asarray((self.exerted[link, first] * line).sum(axis=0) / np.linalg.norm(line, axis=0))

    def _left_over(self, on_body: dict[tuple[str, str], Array]) -> Array:
        """Balance of every body that has a base, taken anew from joint forces and loads."""
        worst = np.zeros(self.count)
        for body in self.unknowns.bases:
            force, moment = np.zeros((3, self.count)), np.zeros((3, self.count))
            acting = [(self.at[p], f) for (b, p), f in on_body.items() if b == body]
            acting += [(push.place, push.force) for push in self.given if push.body == body]
            for place, f in acting:
                force, moment = force + f, moment + np.cross(place, f, axis=0)
            worst = np.maximum(worst, np.maximum(np.abs(force), np.abs(moment) / 1000.0).max(axis=0))
        return worst


def _holder(linkage: Linkage, on: Sequence[str]) -> str:
    """Body that has the line or plane on which a point moves; the chassis where no moving body has it."""
    return next((b for b, points in linkage.bodies.items() if set(on) <= set(points)), CHASSIS)
