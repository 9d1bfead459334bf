"""The equations of a car that stands on its tyres under steady loads: thirteen unknowns, exact derivatives by jets.

Unknown are four travels, four tyre loads, the height of the ground's plane in the chassis frame, roll and pitch of the
body, and for each axle the side force a newton of tyre load. Equations: each wheel's balance along its travel (virtual
work on the linkage: what is left for springs and bars), each wheel on the ground or lifted, and the balance of the
whole car: vertical and side force, roll, pitch and yaw moment. All is taken in the chassis frame along the ground's
directions; mm, N, N·mm.

Assumed: within an axle every tyre works at the same fraction of its load; braking and driving force is shared between
the axles as the car file says.

Many cars that differ a little are solved at once: every number is one over the cars then.

A tyre touches the ground as long as its load would be positive: up to its free radius, which is the loaded radius and
what the static load presses it in by. A tyre's give counts along the ground's normal.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.design import SIDES
from kin3d.loads.elastic import bent
from kin3d.loads.elements import Element
from kin3d.loads.load_transfer import GRAVITY_M_PER_S2
from kin3d.measures.corner import Corner, ground_normal
from kin3d.spatial.jets import Jet, algebra_of, box, over_lanes
from kin3d.spatial.vectors import Vec, add, cross, dot, scale, sub, vector
from kin3d.studies.car_variants import Bodywork, CarVariants
from kin3d.studies.steady_loads import Loads

Array = NDArray[np.float64]
WHEELS = ("front left", "front right", "rear left", "rear right")
TRAVEL, LOAD, LEVEL, ROLL, PITCH, SIDE = slice(0, 4), slice(4, 8), 8, 9, 10, slice(11, 13)
SIZE = 13
_MOVES = [0, 1, 2, 3, LEVEL, ROLL, PITCH]  # unknowns that say how the car stands
_FOLLOWS = [4, 5, 6, 7, 11, 12]  # and forces that follow from them, by the rows
_BY_ROWS = [4, 5, 6, 7, 9, 12]  # contacts, side force, yaw moment
_BALANCED = [0, 1, 2, 3, 8, 10, 11]  # rows of the travels, of height, roll and pitch
_ALONG = np.array([-1.0, -1.0, -1.0, -1.0, 1.0, -1.0, -1.0])  # a row's sign as a force against its own motion
_ARM_MM = 1000.0  # turns count as the way at this arm, so that every stiffness is in N/mm
_RIGID_MM_PER_N = 1e-9
FULL = box(1)  # its one derivative holds those along all unknowns, shape (unknowns, cars)
# one corner over travel, roll and pitch, with what its velocity needs
LOCAL = algebra_of(((0, 0, 0), (1, 0, 0), (0, 1, 0), (0, 0, 1), (2, 0, 0), (1, 1, 0), (1, 0, 1)))
_UNITS = ((1, 0, 0), (0, 1, 0), (0, 0, 1))
# of both sides as one system over travel (alike), roll, pitch and the wheels going apart
APART = 3
JOINED = algebra_of(
    (
        *((*m, 0) for m in LOCAL.monomials),
        *((0, 0, 0, 1), (0, 0, 0, 2), (1, 0, 0, 1), (0, 1, 0, 1), (0, 0, 1, 1)),
    )
)


@dataclass(frozen=True, slots=True)
class Evaluated:
    """Residuals (13, cars) in N, mm, N and N·mm, their Jacobian (cars, 13, 13), gaps under the wheels (4, cars), mm.

    NaN where a linkage does not reach the state.
    """

    residual: Array
    jacobian: Array
    gap: Array


class Attitude:
    """The equations of cars; `bends`, shape (4, displacements): how far wheels have given way, deg and mm."""

    def __init__(
        self, cars: CarVariants, elements: Sequence[Sequence[Element]], body: Bodywork, bends: Array | None = None
    ) -> None:
        self.cars, self.elements, self.body, self.bends = cars, elements, body, bends
        self._last: tuple[object, _Moved] | None = None

    def standing(self, corner: Corner, axle: int) -> Corner:
        """Both corners of an axle (lanes: left, right) as their wheels stand."""
        if self.bends is None:
            return corner
        return bent(corner, np.repeat(self.bends[2 * axle : 2 * axle + 2].T, self.cars.count, axis=1))

    def along_lateral(self, y: Array, loads: Loads, lifted: tuple[bool, ...]) -> Array:
        """Change of a state in balance with the lateral acceleration, shape (13, cars), per g.

        By the implicit function theorem. The acceleration stands in the residuals as a factor of masses, so that their
        difference over a whole g is their derivative.
        """
        here = self.evaluate(y, loads, lifted)
        there = self.evaluate(y, replace(loads, lateral_g=loads.lateral_g + 1.0), lifted)
        change = (here.residual - there.residual).T[..., None]
        return np.asarray(np.linalg.solve(here.jacobian, change)[..., 0].T)

    def _moved(self, y: Array, loads: Loads, lifted: tuple[bool, ...]) -> _Moved:
        """Wheels and springs of a state; those of the last state are kept, whatever the accelerations."""
        key = (y.tobytes(), loads.rack_mm, lifted)
        if self._last is None or self._last[0] != key:
            both = [self._axle(number, y, loads, hanging(lifted, number)) for number in (0, 1)]
            wheels, springs = ([one for axle in both for one in getattr(axle, name)] for name in ("wheels", "springs"))
            self._last = key, _Moved(wheels, springs, both[0].reached & both[1].reached)
        return self._last[1]

    def evaluate(self, y: Array, loads: Loads, lifted: tuple[bool, ...]) -> Evaluated:
        """Residuals and Jacobian at a state.

        Parameters
        ----------
        y : ndarray, shape (13, cars)
            Travels (mm), tyre loads (N), level (mm), roll, pitch (rad), side force factors of front and rear.
        """
        with np.errstate(all="ignore"):  # cars whose linkages do not reach it are none
            return self._evaluate(y, loads, lifted)

    def _evaluate(self, y: Array, loads: Loads, lifted: tuple[bool, ...]) -> Evaluated:
        unknown = _unknowns(y)
        moved = self._moved(y, loads, lifted)
        wheels = moved.wheels
        forces = self._tyre_forces(unknown, loads, lifted)
        _, aside, down = (self.body.mass_kg * GRAVITY_M_PER_S2 * g for g in loads.field_g)
        rows = [-s for s in moved.springs]
        contacts: list[Jet] = []
        force = [self._aero(loads)[0], aside, down + self._aero(loads)[2]]
        moment = self._body_moment(unknown, wheels, loads)
        gaps = np.zeros((4, self.cars.count))
        for k, wheel in enumerate(wheels):
            lever = unknown[LEVEL] - wheel.height
            gaps[k] = -lever.value
            f = forces[k]
            inertia = self.body.unsprung_kg[k] * GRAVITY_M_PER_S2
            arm = sub((wheel.place[0], wheel.place[1], unknown[LEVEL]), wheel.hub)
            about = dot(cross(arm, f), wheel.spin) if self.body.turns[k // 2] else None
            for travel, way in wheel.ways.items():
                velocity = add(way.velocity, scale(lever, way.turning))
                work = dot(f, velocity) + inertia * dot(loads.field_g, way.hub_velocity)
                if about is not None:
                    work = work - about * dot(way.omega, wheel.spin)
                rows[travel] = rows[travel] + work
            deflected = lever + (self.body.static_n[k] - unknown[LOAD][k]) * self.body.tyre_mm_per_n[k]
            contacts.append(unknown[LOAD][k] if lifted[k] else deflected)
            place: Vec = (wheel.place[0], wheel.place[1], unknown[LEVEL])
            moment = add(moment, cross(place, f))
            force = [a + b for a, b in zip(force, f, strict=True)]
        every = [*rows, *contacts, force[2], force[1], *moment]
        shape = SIZE, self.cars.count
        jacobian = np.stack([np.broadcast_to(np.asarray(r[(1,)], dtype=float), shape) for r in every])
        residual = np.where(moved.reached, np.stack([np.broadcast_to(r.value, shape[1]) for r in every]), np.nan)
        return Evaluated(residual, np.moveaxis(jacobian, 2, 0), gaps)

    def tyres(self, y: Array, loads: Loads, lifted: tuple[bool, ...]) -> Tyres:
        """What the road exerts on the tyres of a state in balance."""
        wheels = self._moved(y, loads, lifted).wheels
        forces = [over_lanes(f, self.cars.count) for f in self._tyre_forces(_unknowns(y), loads, lifted)]
        places = [over_lanes((w.place[0], w.place[1], y[LEVEL]), self.cars.count) for w in wheels]
        return Tyres(np.stack(forces), np.stack(places))

    def stable(self, here: Evaluated, lifted: tuple[bool, ...]) -> NDArray[np.bool_]:
        """Whether each car comes back to a state in balance when it is pushed off it a little.

        The forces that follow from how the car stands (tyre loads, side forces) are taken out of the Jacobian; what
        stays is the stiffness of the whole over four travels, height, roll and pitch. Side forces go with the load,
        so that it is not symmetric: none of its eigenvalues may have a negative real part.
        """
        j = here.jacobian.copy()
        for k in range(4):
            if not lifted[k]:
                j[:, 4 + k, 4 + k] = -np.maximum(self.body.tyre_mm_per_n[k], _RIGID_MM_PER_N)

        def block(rows: list[int], columns: list[int]) -> Array:
            return np.asarray(j[:, rows][:, :, columns])

        held, known = solved_each(block(_BY_ROWS, _FOLLOWS), block(_BY_ROWS, _MOVES))
        stiffness = _ALONG[:, None] * (block(_BALANCED, _MOVES) - block(_BALANCED, _FOLLOWS) @ held)
        size = np.array([1.0] * 5 + [1.0 / _ARM_MM] * 2)
        weighed = np.where(known[:, None, None], size[:, None] * stiffness * size, -np.eye(len(size)))
        return np.asarray(np.linalg.eigvals(weighed).real.min(axis=1) > 0.0)

    def _tyre_forces(self, unknown: Sequence[Jet], loads: Loads, lifted: tuple[bool, ...]) -> list[Vec]:
        """Forces of the ground on the tyres along the ground's x, y and normal, N."""
        out: list[Vec] = []
        total = self.body.mass_kg * GRAVITY_M_PER_S2 * loads.braking_g
        for axle, share in ((0, self.body.front_share), (1, 1.0 - self.body.front_share)):
            both = unknown[LOAD][2 * axle : 2 * axle + 2]
            standing = [n for k, n in enumerate(both) if not lifted[2 * axle + k]] or list(both)
            load = standing[0] + standing[1] if len(standing) > 1 else standing[0]
            for k, n in enumerate(both):
                on_ground = 0.0 if lifted[2 * axle + k] else 1.0
                along = n * on_ground * (-share * total) / load if np.any(share * total) else n * 0.0
                out.append((along, n * on_ground * unknown[SIDE][axle], n * on_ground))
        return out

    def _aero(self, loads: Loads) -> tuple[float, float, float]:
        return 0.0, 0.0, -(loads.aero_front_n + loads.aero_rear_n)

    def _body_moment(self, unknown: Sequence[Jet], wheels: Sequence[_Wheel], loads: Loads) -> Vec:
        """Moment of gravity, inertia and downforce about the chassis frame's origin, along the ground's directions."""
        directions = _directions(unknown[ROLL], unknown[PITCH])

        def seen(p: Array) -> Vec:
            return vector(dot((p[0], p[1], p[2]), d) for d in directions)

        unsprung = self.body.unsprung_kg
        weight = scale(GRAVITY_M_PER_S2, loads.field_g)
        total = cross(seen(self.body.sprung_centre), scale(self.body.mass_kg - unsprung.sum(axis=0), weight))
        for mass, wheel in zip(unsprung, wheels, strict=True):
            total = add(total, cross(wheel.hub, scale(mass, weight)))
        for place, down in zip(self.body.aero, (loads.aero_front_n, loads.aero_rear_n), strict=True):
            total = add(total, cross(seen(place), (0.0, 0.0, -down)))
        return total

    def _axle(self, number: int, y: Array, loads: Loads, in_air: Mapping[str, bool]) -> _Moved:
        """The wheels of one axle, and the force of its springs and bars against each wheel's travel, N.

        Parameters
        ----------
        in_air : mapping of str to bool
            Whether the wheel of each side hangs.
        """
        joined = self.cars.axles[number].joined
        algebra, known = (JOINED, {"travel": 0, "apart": APART}) if joined else (LOCAL, {"travel": 0})
        roll, pitch = (algebra.variable(np.tile(y[n], 2), k) for n, k in ((ROLL, 1), (PITCH, 2)))
        travel = y[2 * number : 2 * number + 2]
        pair = self.cars.corners(number, travel, loads.rack_mm, (algebra, known), ground_normal(roll, pitch))
        standing = self.standing(pair, number)
        elements = self.elements[number]
        deflections = [e.deflection(pair.left, pair.right) for e in elements]
        return _Moved(
            wheels=_Wheel.both(standing, self.cars.shifts[number], number),
            springs=[_generalised(elements, deflections, side, number, in_air, pair.count) for side in (0, 1)],
            reached=pair.ok,
        )


@dataclass(frozen=True, slots=True)
class Tyres:
    """Forces of the road on the tyres and where they act, each (4, 3, cars): along the ground's x, y and normal."""

    force: Array
    place: Array


@dataclass(frozen=True, slots=True)
class _Moved:
    """Wheels and spring forces of a state, and which cars reach it."""

    wheels: list[_Wheel]
    springs: list[Jet]
    reached: NDArray[np.bool_]


def hanging(lifted: Sequence[bool], axle: int) -> dict[str, bool]:
    """Whether the wheel of each side of an axle is in the air."""
    return {s: bool(lifted[2 * axle + k]) for k, s in enumerate(SIDES)}


def solved_each(matrices: Array, right: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Solutions of a stack of equations, and which of them have one; 0 for the others."""
    known = np.asarray(np.isfinite(matrices).all(axis=(1, 2)) & np.isfinite(right).all(axis=(1, 2)))
    known[known] = np.linalg.det(matrices[known]) != 0.0
    out = np.zeros_like(right)
    out[known] = np.linalg.solve(matrices[known], right[known])
    return out, known


@dataclass(frozen=True, slots=True)
class _Way:
    """How a wheel's body moves with a travel: at the contact point, more a mm lower down, at the hub, turning."""

    velocity: Vec
    turning: Vec
    hub_velocity: Vec
    omega: Vec


@dataclass(frozen=True, slots=True)
class _Wheel:
    """One wheel over all unknowns, components along the ground's x, y and normal.

    `ways` has what moves it: its own travel, and the other wheel's where both sides are one system.
    """

    place: Vec
    height: Jet
    hub: Vec
    spin: Vec
    ways: dict[int, _Way]

    @staticmethod
    def both(corner: Corner, shift: Array, axle: int) -> list[_Wheel]:
        """The left and the right wheel of an axle, from a corner over left, then right lanes."""
        sides = (0, 1)

        def seen(v: Vec) -> tuple[Vec, Vec]:
            """A vector along the ground's directions, of each wheel."""
            local = corner.over_ground(v)
            left, right = (vector(_lift(c, axle, side, corner.joined) for c in local) for side in sides)
            return left, right

        def way(velocity: Vec, omega: Vec, hub: Vec) -> list[_Way]:
            parts = (velocity, cross(omega, corner.normal), hub, omega)
            return [_Way(*each) for each in zip(*(seen(v) for v in parts), strict=True)]

        moved: Vec = (np.tile(shift, 2), 0.0, 0.0)
        alike = (corner.contact_velocity, corner.omega, corner.centre_velocity)
        own = way(*alike)
        ways = [{2 * axle + side: own[side]} for side in sides]
        if corner.joined:
            apart = (corner.rolling_velocity, *corner.rolling[::-1])
            for k, sign in ((0, 0.5), (1, -0.5)):
                pairs = zip(alike, apart, strict=True)
                found = way(*(add(scale(0.5, a), scale(sign, b)) for a, b in pairs))
                for side in sides:
                    ways[side][2 * axle + k] = found[side]
        parts = (add(corner.contact, moved), add(corner.centre, moved), corner.spin)
        places, hubs, spins = (seen(v) for v in parts)
        return [_Wheel(places[k], places[k][2], hubs[k], spins[k], ways[k]) for k in sides]


def _unknowns(y: Array) -> list[Jet]:
    return [FULL.variable(v, 0, along) for v, along in zip(y, np.eye(SIZE)[:, :, None], strict=True)]


def _lift(x: Jet, axle: int, side: int, joined: bool) -> Jet:
    """A local jet of one side as a jet over all unknowns."""
    more = (0,) * joined
    number = _of_side(x[0, 0, 0, *more], side)
    travel, roll, pitch = (_of_side(x[*m, *more], side) for m in _UNITS)
    rates = {2 * axle + side: travel, ROLL: roll, PITCH: pitch}
    if joined:
        apart = _of_side(x[0, 0, 0, 1], side)
        rates |= {2 * axle: 0.5 * (travel + apart), 2 * axle + 1: 0.5 * (travel - apart)}
    return _over_unknowns(number, rates)


def _of_side(c: object, side: int) -> Array:
    """One side of what is over all lanes."""
    found = np.asarray(c, dtype=float)
    if found.ndim == 0 or found.shape[-1] == 1:
        return found.reshape(1)
    count = found.shape[-1] // 2
    return found[side * count : (side + 1) * count]


def _over_unknowns(number: Any, rates: Mapping[int, Any]) -> Jet:
    """A jet over all unknowns, shape (cars,), from its derivatives along some of them."""
    count = max(np.size(c) for c in (number, *rates.values()))
    slopes = np.zeros((SIZE, count))
    for unknown, rate in rates.items():
        slopes[unknown] = rate
    return Jet(FULL, [number, slopes])


def _generalised(
    elements: Sequence[Element], deflections: Sequence[Jet], side: int, axle: int, in_air: Mapping[str, bool], n: int
) -> Jet:
    """Σ f·∂u/∂z of one side with its derivatives along both travels."""
    own = ((1, 0), (0, 1))
    total, slopes = np.zeros(n), np.zeros((2, n))
    for element, u in zip(elements, deflections, strict=True):
        first = np.stack([_over(u.derivative(m), n) for m in own])
        mixed = [tuple(int(a + b) for a, b in zip(own[side], m, strict=True)) for m in own]
        second = np.stack([_over(u.derivative(m), n) for m in mixed])
        found = element.force(u.value, hangs=in_air.get(element.side, False))
        force, rate = (_over(v, n) for v in found)
        total = total + force * first[side]
        slopes = slopes + rate * first[side] * first + force * second
    return _over_unknowns(total, {2 * axle + k: slopes[k] for k in (0, 1)})


def _over(x: object, count: int) -> Array:
    return np.broadcast_to(np.asarray(x, dtype=float), count)


def _directions(roll: Jet, pitch: Jet) -> tuple[Vec, Vec, Vec]:
    """The ground's x, y and normal in the chassis frame."""
    n = ground_normal(roll, pitch)
    nx = n[0]
    size = (1.0 - nx * nx).compose(lambda v, k: (1.0, -0.5)[k] * v ** (-0.5 - k) if k < 2 else 0.0)
    ahead = scale(size, (1.0 - nx * nx, -(nx * n[1]), -(nx * n[2])))
    return ahead, cross(n, ahead), n
