"""The equations of a car that stands on its tyres under steady loads: thirteen unknowns, exact derivatives by jets.

Unknown are four travels, four tyre loads, the height of the ground's plane in the chassis frame, roll and pitch of the
body, and for each axle the side force a newton of tyre load. Equations: each wheel's balance along its travel (virtual
work on the linkage: what is left for springs and bars), each wheel on the ground or lifted, and the balance of the
whole car: vertical and side force, roll, pitch and yaw moment. All is taken in the chassis frame along the ground's
directions; mm, N, N·mm.

Assumed: within an axle every tyre works at the same fraction of its load; braking and driving force is shared between
the axles as the car file says.

A tyre touches the ground as long as its load would be positive: up to its free radius, which is the loaded radius and
what the static load presses it in by. A tyre's give counts along the ground's normal.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.design import SIDES
from kin3d.loads.elastic import bent
from kin3d.loads.elements import Element
from kin3d.loads.load_transfer import GRAVITY_M_PER_S2
from kin3d.measures.corner import Corner, ground_normal
from kin3d.measures.corner_pair import CornerPair
from kin3d.solve.lanes import Status
from kin3d.spatial.jets import Jet, algebra_of, total_degree
from kin3d.spatial.vectors import Vec, add, cross, dot, scale, sub
from kin3d.studies.car import CarModel
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
FULL = total_degree(SIZE, 1)
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
class Bodywork:
    """Masses and where they are.

    Attributes
    ----------
    mass_kg : float
        Of the car.
    unsprung_kg : tuple of float
        Of each wheel with what moves with it; 0 where not given.
    sprung_centre : ndarray, shape (3,)
        Centre of the rest, chassis frame (x of the front points), mm.
    aero : ndarray, shape (2, 3)
        Where front and rear downforce act.
    static_n : ndarray, shape (4,)
        Tyre loads in the design position.
    tyre_mm_per_n : ndarray, shape (4,)
        Compliance of each tyre; 0 for a rigid one.
    front_share : float
        Of the longitudinal force: braking share, or driving share when driven.
    turns : (bool, bool)
        Whether the wheel turns freely on the body that carries it, front and rear: what the road's force has about the
        spin axis then goes nowhere, or into the chassis (inboard brakes, drive shafts).
    """

    mass_kg: float
    unsprung_kg: tuple[float, float, float, float]
    sprung_centre: Array
    aero: Array
    static_n: Array
    tyre_mm_per_n: Array
    front_share: float
    turns: tuple[bool, bool]

    @property
    def static_give_mm(self) -> Array:
        """How far the static load presses each tyre in, (4,): so much longer is its free radius than the loaded one."""
        return self.static_n * self.tyre_mm_per_n


@dataclass(frozen=True, slots=True)
class Evaluated:
    """Residuals (13,) in N, mm, N and N·mm, their Jacobian (13, 13), gaps of the wheels over the ground (4,), mm."""

    residual: Array
    jacobian: Array
    gap: Array


class Attitude:
    """The equations of one car; `bends`, shape (4, displacements): how far its wheels have given way, deg and mm."""

    def __init__(
        self, model: CarModel, elements: Sequence[Sequence[Element]], body: Bodywork, bends: Array | None = None
    ) -> None:
        self.model, self.elements, self.body, self.bends = model, elements, body, bends
        self._last: tuple[object, tuple[list[_Wheel], list[Jet]] | None] = (None, None)

    def standing(self, corner: Corner, axle: int) -> Corner:
        """Both corners of an axle (lanes: left, right) as their wheels stand."""
        return corner if self.bends is None else bent(corner, self.bends[2 * axle : 2 * axle + 2].T)

    def along_lateral(self, y: Array, loads: Loads, lifted: tuple[bool, ...]) -> Array:
        """Change of a state in balance with the lateral acceleration, shape (13,), per g.

        By the implicit function theorem. The acceleration stands in the residuals as a factor of masses, so that their
        difference over a whole g is their derivative.
        """
        here = self.evaluate(y, loads, lifted)
        there = self.evaluate(y, replace(loads, lateral_g=loads.lateral_g + 1.0), lifted)
        assert here is not None  # the state is in balance, so that its linkages are closed
        assert there is not None
        return np.asarray(np.linalg.solve(here.jacobian, here.residual - there.residual))

    def _moved(self, y: Array, loads: Loads, lifted: tuple[bool, ...]) -> tuple[list[_Wheel], list[Jet]] | None:
        """Wheels and springs of a state; those of the last state are kept, whatever the accelerations."""
        key = (y.tobytes(), loads.rack_mm, lifted)
        if self._last[0] != key:
            wheels = self._wheels(y, loads)
            springs = None if wheels is None else self._springs(y, loads, lifted)
            self._last = key, None if wheels is None or springs is None else (wheels, springs)
        return self._last[1]

    def evaluate(self, y: Array, loads: Loads, lifted: tuple[bool, ...]) -> Evaluated | None:
        """Residuals and Jacobian at a state; None where a linkage does not reach it.

        Parameters
        ----------
        y : ndarray, shape (13,)
            Travels (mm), tyre loads (N), level (mm), roll, pitch (rad), side force factors of front and rear.
        """
        unknown = [FULL.variable(v, k) for k, v in enumerate(y)]
        moved = self._moved(y, loads, lifted)
        if moved is None:
            return None
        wheels, springs = moved
        forces = self._tyre_forces(unknown, loads, lifted)
        _, aside, down = (self.body.mass_kg * GRAVITY_M_PER_S2 * g for g in loads.field_g)
        rows = [-s for s in springs]
        contacts: list[Jet] = []
        force = [self._aero(loads)[0], aside, down + self._aero(loads)[2]]
        moment = self._body_moment(unknown, wheels, loads)
        gaps = np.zeros(4)
        for k, wheel in enumerate(wheels):
            lever = unknown[LEVEL] - wheel.height
            gaps[k] = -float(lever.value)
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
        jacobian = np.array([[_one(r.coefficients[k] or 0.0) for k in _ORDER] for r in every])
        return Evaluated(np.array([float(r.value) for r in every]), jacobian, gaps)

    def stable(self, here: Evaluated, lifted: tuple[bool, ...]) -> bool:
        """Whether the car comes back to a state in balance when it is pushed off it a little.

        The forces that follow from how the car stands (tyre loads, side forces) are taken out of the Jacobian; what
        stays is the stiffness of the whole over four travels, height, roll and pitch. Side forces go with the load,
        so that it is not symmetric: none of its eigenvalues may have a negative real part.
        """
        j = here.jacobian.copy()
        for k in range(4):
            if not lifted[k]:
                j[4 + k, 4 + k] = -max(float(self.body.tyre_mm_per_n[k]), _RIGID_MM_PER_N)
        try:
            followed = np.linalg.solve(j[np.ix_(_BY_ROWS, _FOLLOWS)], j[np.ix_(_BY_ROWS, _MOVES)])
        except np.linalg.LinAlgError:
            return False
        stiffness = _ALONG[:, None] * (j[np.ix_(_BALANCED, _MOVES)] - j[np.ix_(_BALANCED, _FOLLOWS)] @ followed)
        size = np.array([1.0] * 5 + [1.0 / _ARM_MM] * 2)
        return bool(np.linalg.eigvals(size[:, None] * stiffness * size).real.min() > 0.0)

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
                along = n * on_ground * (-share * total) / load if share * total else n * 0.0
                out.append((along, n * on_ground * unknown[SIDE][axle], n * on_ground))
        return out

    def _aero(self, loads: Loads) -> tuple[float, float, float]:
        return 0.0, 0.0, -(loads.aero_front_n + loads.aero_rear_n)

    def _body_moment(self, unknown: Sequence[Jet], wheels: Sequence[_Wheel], loads: Loads) -> Vec:
        """Moment of gravity, inertia and downforce about the chassis frame's origin, along the ground's directions."""
        directions = _directions(unknown[ROLL], unknown[PITCH])

        def seen(p: Array) -> Vec:
            x, y, z = (dot((p[0], p[1], p[2]), d) for d in directions)
            return x, y, z

        unsprung = self.body.unsprung_kg
        weight = scale(GRAVITY_M_PER_S2, loads.field_g)
        total = cross(seen(self.body.sprung_centre), scale(self.body.mass_kg - sum(unsprung), weight))
        for mass, wheel in zip(unsprung, wheels, strict=True):
            total = add(total, cross(wheel.hub, scale(mass, weight)))
        for place, down in zip(self.body.aero, (loads.aero_front_n, loads.aero_rear_n), strict=True):
            total = add(total, cross(seen(place), (0.0, 0.0, -down)))
        return total

    def _wheels(self, y: Array, loads: Loads) -> list[_Wheel] | None:
        out: list[_Wheel] = []
        for axle, (model, shift) in enumerate(zip(self.model.axles, self.model.shifts, strict=True)):
            lanes = model.pair(y[2 * axle : 2 * axle + 2, None], np.full(1, loads.rack_mm * (axle == 0)))
            solved = model.kernel.solve(model.variants, lanes)
            if (solved.status != Status.OK).any():
                return None
            algebra, known = (JOINED, {"travel": 0, "apart": APART}) if model.joined else (LOCAL, {"travel": 0})
            roll, pitch = (algebra.variable(np.full(2, y[n]), k) for n, k in ((ROLL, 1), (PITCH, 2)))
            corner = Corner.of(model, lanes, solved, along=(algebra, known), normal=ground_normal(roll, pitch))
            corner = self.standing(corner, axle)
            out += [_Wheel.of(corner, shift, axle, k) for k in (0, 1)]
        return out

    def _springs(self, y: Array, loads: Loads, lifted: tuple[bool, ...]) -> list[Jet] | None:
        """Force of springs and bars against each wheel's travel, N, with derivatives."""
        out: list[Jet] = []
        for axle, elements in enumerate(self.elements):
            pair = CornerPair.at(self.model.axles[axle], y[2 * axle], y[2 * axle + 1], loads.rack_mm * (axle == 0))
            if not pair.ok.all():
                return None
            deflections = [e.deflection(pair.left, pair.right) for e in elements]
            in_air: dict[str, bool] = {s: lifted[2 * axle + k] for k, s in enumerate(SIDES)}
            out += [_generalised(elements, deflections, side, axle, in_air) for side in (0, 1)]
        return out


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
    def of(corner: Corner, shift: float, axle: int, side: int) -> _Wheel:
        def seen(v: Vec) -> Vec:
            x, y, z = (_lift(c, axle, side, corner.joined) for c in corner.over_ground(v))
            return x, y, z

        def way(velocity: Vec, omega: Vec, hub: Vec) -> _Way:
            return _Way(seen(velocity), seen(cross(omega, corner.normal)), seen(hub), seen(omega))

        moved: Vec = (shift, 0.0, 0.0)
        place = seen(add(corner.contact, moved))
        alike = (corner.contact_velocity, corner.omega, corner.centre_velocity)
        ways = {2 * axle + side: way(*alike)}
        if corner.joined:
            apart = (corner.rolling_velocity, *corner.rolling[::-1])
            for k, sign in ((0, 0.5), (1, -0.5)):
                pairs = zip(alike, apart, strict=True)
                ways[2 * axle + k] = way(*(add(scale(0.5, a), scale(sign, b)) for a, b in pairs))
        return _Wheel(place, place[2], seen(add(corner.centre, moved)), seen(corner.spin), ways)


_ORDER = [FULL.generator(k) for k in range(SIZE)]


def _lift(x: Jet, axle: int, side: int, joined: bool) -> Jet:
    """A local jet of one side as a jet over all unknowns."""
    more = (0,) * joined
    out = FULL.constant(_item(x[0, 0, 0, *more], side))
    travel, roll, pitch = (_item(x[*m, *more], side) for m in _UNITS)
    rates = {2 * axle + side: travel, ROLL: roll, PITCH: pitch}
    if joined:
        apart = _item(x[0, 0, 0, 1], side)
        rates |= {2 * axle: 0.5 * (travel + apart), 2 * axle + 1: 0.5 * (travel - apart)}
    for unknown, rate in rates.items():
        out.coefficients[FULL.generator(unknown)] = rate
    return out


def _item(c: object, side: int) -> float:
    return float(np.broadcast_to(np.asarray(c, dtype=float), 2)[side])


def _generalised(
    elements: Sequence[Element], deflections: Sequence[Jet], side: int, axle: int, in_air: dict[str, bool]
) -> Jet:
    """Σ f·∂u/∂z of one side with its derivatives along both travels."""
    own = ((1, 0), (0, 1))
    value, slopes = 0.0, np.zeros(2)
    for element, u in zip(elements, deflections, strict=True):
        first = np.array([_one(u.derivative(m)) for m in own])
        mixed = [tuple(int(a + b) for a, b in zip(own[side], m, strict=True)) for m in own]
        second = np.array([_one(u.derivative(m)) for m in mixed])
        force, rate = (_one(v) for v in element.force(u.value, hangs=in_air.get(element.side, False)))
        value += force * first[side]
        slopes += rate * first[side] * first + force * second
    out = FULL.constant(value)
    for k in (0, 1):
        out.coefficients[FULL.generator(2 * axle + k)] = float(slopes[k])
    return out


def _one(x: object) -> float:
    return float(np.ravel(np.asarray(x, dtype=float))[0])


def _directions(roll: Jet, pitch: Jet) -> tuple[Vec, Vec, Vec]:
    """The ground's x, y and normal in the chassis frame."""
    n = ground_normal(roll, pitch)
    nx = n[0]
    size = (1.0 - nx * nx).compose(lambda v, k: (1.0, -0.5)[k] * v ** (-0.5 - k) if k < 2 else 0.0)
    ahead = scale(size, (1.0 - nx * nx, -(nx * n[1]), -(nx * n[2])))
    return ahead, cross(n, ahead), n
