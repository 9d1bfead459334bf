"""One corner in motion: what every measure is computed from, each quantity made once when first asked for.

All lengths mm, angles rad, vehicle frame (x forward, y left, z up); velocities are per mm of travel. Components are
jets over lanes, so that a measure computed from them carries its own derivatives.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cached_property
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.layout import WHEEL_AXIS, WHEEL_CENTRE
from kin3d.linkage.record import placed
from kin3d.solve.kernel import Motion
from kin3d.solve.lanes import Lanes, Solved, Variants
from kin3d.solve.model import SIGNS, AxleModel
from kin3d.spatial.jets import Algebra, Jet, algebra_of, box, cos, sin, sqrt
from kin3d.spatial.screws import angular_velocity, axis_point
from kin3d.spatial.vectors import Number, Vec, add, cross, dot, scale, sub

Array = NDArray[np.float64]
Along = tuple[Algebra, dict[str, int]]  # which derivatives, and the number of each generator by name
UP: Vec = (0.0, 0.0, 1.0)
TRAVEL: Along = (box(1), {"travel": 0})  # one derivative along travel and no other


class Corner:
    """A corner of a car over lanes.

    Parameters
    ----------
    model : AxleModel
    motion : Motion
        With the generator ``"travel"`` to order 1 or higher; with ``"rack"`` too where the layout has no ball joints.
    sign : number
        +1 on the left, −1 on the right.
    normal : vector
        Unit normal of the ground, vehicle frame; z unless a study turns the ground. Numbers, or jets in the motion's
        algebra.
    variants, lanes, solved
        The positions themselves, for measures that need more of them than the motion (forces).
    figures : mapping of str to number, optional
        Figures of the car file that are others here than in the file, by the key that measures name
        (``"car.cg_height_mm"``, ``"axle.loaded_radius_mm"``): arrays over lanes, or jets in the motion's algebra.
    """

    def __init__(
        self,
        model: AxleModel,
        motion: Motion,
        sign: Any,
        normal: Vec,
        variants: Variants,
        lanes: Lanes,
        solved: Solved,
        figures: Mapping[str, Any] | None = None,
    ) -> None:
        self.model = model
        self.linkage, self.axle, self.car = model.linkage, model.axle, model.car
        self.figures = figures or {}
        for key, number in self.figures.items():
            head, *path = key.split(".")
            setattr(self, head, placed(getattr(self, head), path, number))
        self.motion = motion
        self.sign = sign
        self.normal = normal
        self.variants, self.lanes, self.solved = variants, lanes, solved
        self.travel = motion.generators.get("travel", 0)
        self.kept: dict[Any, Any] = {}  # what several measures ask, by whoever made it

    @classmethod
    def of(
        cls,
        model: AxleModel,
        lanes: Lanes,
        solved: Solved,
        order: int = 2,
        *,
        along: Along | None = None,
        normal: Vec = UP,
        variants: Variants | None = None,
        sign: Any = None,
        seeds: Array | None = None,
        driven: Mapping[str, Jet] | None = None,
        figures: Mapping[str, Any] | None = None,
    ) -> Self:
        """The corner in motion over solved lanes.

        Parameters
        ----------
        order : int
            Order of derivatives along travel; to that the rack comes where measures need it, and the seeds.
        along : tuple of Algebra and dict of str to int, optional
            Which derivatives instead, and the number of each generator by name.
        normal : vector, optional
            Unit normal of the ground, vehicle frame.
        variants, sign : optional
            Other variants than left and right of the file, and +1 or −1 for all of them, or for each lane.
        seeds, driven : optional
            Directions of change of design coordinates, to carry sensitivities, and drives as jets; see `Kernel.motion`.
        figures : optional
            As of the class.
        """
        chosen = model.variants if variants is None else variants
        algebra, generators = derivatives(model, order, seeds is not None) if along is None else along
        motion = model.kernel.motion(chosen, lanes, solved, algebra, generators, seeds, driven)
        signs = SIGNS[lanes.variant] if sign is None else np.broadcast_to(np.asarray(sign, float), lanes.count)
        return cls(model, motion, signs, normal, chosen, lanes, solved, figures)

    def cut(self, order: int) -> Corner:
        """The same corner with derivatives along travel up to a lower order: cheaper where no more is needed."""
        if not self.motion.algebra.degree:
            return self
        kept = (m for m in self.motion.algebra.monomials if m[self.travel] <= order)
        algebra = algebra_of(tuple(kept))
        x, y, z = (n.cut(algebra) if isinstance(n, Jet) else n for n in self.normal)
        figures = {k: n.cut(algebra) if isinstance(n, Jet) else n for k, n in self.figures.items()}
        motion = self.motion.cut(algebra)
        return Corner(self.model, motion, self.sign, (x, y, z), self.variants, self.lanes, self.solved, figures)

    def with_figures(self, figures: Mapping[str, Any]) -> Corner:
        """The same corner with other figures of the car file."""
        where = self.normal, self.variants, self.lanes, self.solved
        return Corner(self.model, self.motion, self.sign, *where, figures)

    def with_wheel(self, shift: Vec, spin: Vec) -> Corner:
        """The same corner with its wheel elsewhere on the body that carries it: shifted, about another axis.

        Parameters
        ----------
        shift : vector
            Of the wheel centre, mm.
        spin : vector
            What is added to the unit spin axis.
        """
        out = self.with_figures(self.figures)
        centre = add(self.centre, shift)
        # what is made once when first asked for is made already
        vars(out).update(centre=centre, spin=unit(add(self.spin, spin)), omega=self.omega)
        vars(out).update(centre_velocity=self.velocity_at(centre))
        if self.joined and "apart" in self.motion.generators:
            moving, turning = self.rolling
            vars(out).update(rolling=(add(moving, cross(turning, shift)), turning))
        return out

    @property
    def joined(self) -> bool:
        """Whether both sides are one system, so that the other wheel's travel moves this one too."""
        return self.linkage.system is not None

    @property
    def opposite(self) -> Corner:
        """The corner of the other side in the same positions, where both sides are one system."""
        motion = replace(self.motion, at=self.motion.opposite, opposite=self.motion.at)
        where = self.normal, self.variants, self.lanes, self.solved
        return Corner(self.model, motion, -self.sign, *where, self.figures)

    def place(self, point: str) -> Vec:
        """Present place of a point."""
        return self.motion.at[point]

    def joint(self, points: tuple[str, ...]) -> Vec:
        """Present place of a ball joint: the mean of its points."""
        first, *others = (self.place(p) for p in points)
        for other in others:
            first = add(first, other)
        return scale(1.0 / len(points), first) if others else first

    def rate(self, vector: Vec, generator: str = "travel") -> Vec:
        """Derivative of a vector along a drive."""
        k = self.motion.generators[generator]
        return vector[0].rate(k), vector[1].rate(k), vector[2].rate(k)

    @cached_property
    def centre(self) -> Vec:
        """Wheel centre c."""
        return self.place(WHEEL_CENTRE)

    @cached_property
    def spin(self) -> Vec:
        """Unit spin axis a, pointing outboard."""
        return unit(sub(self.place(WHEEL_AXIS), self.centre))

    @cached_property
    def centre_velocity(self) -> Vec:
        """Velocity of the wheel centre."""
        return self.rate(self.centre)

    @cached_property
    def omega(self) -> Vec:
        """Angular velocity of the upright, rad per mm of travel, rack held."""
        return self._turning("travel")

    def _turning(self, drive: str) -> Vec:
        a, b, c = (self.place(p) for p in self.model.kernel.wheel_base)
        return angular_velocity((a, b, c), (self.rate(a, drive), self.rate(b, drive), self.rate(c, drive)))

    @cached_property
    def radius(self) -> Number:
        """Loaded radius R; ask only after `lacks_radius` has said it is there."""
        if self.axle.loaded_radius_mm is None:
            raise ValueError("loaded radius is not given")
        return self.axle.loaded_radius_mm

    @cached_property
    def contact(self) -> Vec:
        """Contact point p: lowest point of the wheel's disc over the ground."""
        return lowest(self.centre, self.spin, self.radius, self.normal)

    def velocity_at(self, point: Vec) -> Vec:
        """Velocity of the upright's material point at a place."""
        return add(self.centre_velocity, cross(self.omega, sub(point, self.centre)))

    @cached_property
    def contact_velocity(self) -> Vec:
        """Velocity of the upright's material point at the contact point (wheel locked)."""
        return self.velocity_at(self.contact)

    @cached_property
    def rolling(self) -> tuple[Vec, Vec]:
        """Velocity of the wheel centre and angular velocity of the upright in roll, heave held, per mm of travel.

        The left wheel goes up as much as the right one goes down. Of wheels that are independent that is the motion
        along their own travel, which is given then, whichever the side.
        """
        if not self.joined:
            return self.centre_velocity, self.omega
        return self.rate(self.centre, "apart"), self._turning("apart")

    @cached_property
    def rolling_velocity(self) -> Vec:
        """Velocity of the upright's material point at the contact point in that motion."""
        if not self.joined:
            return self.contact_velocity
        moving, turning = self.rolling
        return add(moving, cross(turning, sub(self.contact, self.centre)))

    @cached_property
    def heading(self) -> Vec:
        """Unit direction in which the wheel rolls, along the ground, forward."""
        return unit(scale(self.sign, cross(self.spin, self.normal)))

    @cached_property
    def outboard(self) -> Vec:
        """Unit direction along the ground, square to the heading, pointing outboard."""
        return scale(self.sign, cross(self.normal, self.heading))

    @cached_property
    def ahead(self) -> Vec:
        """Unit vector along the ground, the projection of the vehicle's x."""
        nx = self.normal[0]
        return unit((1.0 - nx * nx, -(nx * self.normal[1]), -(nx * self.normal[2])))

    @cached_property
    def aside(self) -> Vec:
        """Unit vector along the ground to the left, square to `ahead`."""
        return cross(self.normal, self.ahead)

    def over_ground(self, v: Vec) -> Vec:
        """Components of a vector along the ground's x, its y and its normal."""
        return dot(v, self.ahead), dot(v, self.aside), dot(v, self.normal)

    @cached_property
    def steering_axis(self) -> tuple[Vec, Vec]:
        """A point of the steering axis and its direction, upwards.

        Through the two ball joints, from the lower to the upper; without ball joints the instant screw axis of the
        upright as the rack moves, or the only drive of the layout where it has no rack, and the height of the wheel
        centre is held, or the length of the spring.
        """
        if self.linkage.steering_axis is not None:
            bottom, top = (self.joint(points) for points in self.linkage.steering_axis)
            return bottom, sub(top, bottom)
        steers = self.linkage.steers or "rack"
        turning, moving = self._turning(steers), self.rate(self.centre, steers)
        if self.axle.steering_axis_holds == "spring":
            by_rack, by_travel = (self.spring_length.rate(self.motion.generators[d]) for d in (steers, "travel"))
            lift = -(by_rack / by_travel)  # travel per mm of rack that leaves the spring its length
            turning = add(turning, scale(lift, self.omega))
            moving = add(moving, scale(lift, self.centre_velocity))
        point = axis_point(self.centre, moving, turning)
        return point, scale(1.0 / turning[2], turning)

    @cached_property
    def axis_at_ground(self) -> Vec:
        """Where the steering axis meets the ground plane through the contact point."""
        point, direction = self.steering_axis
        depth = dot(self.normal, sub(self.contact, point)) / dot(self.normal, direction)
        return add(point, scale(depth, direction))

    @cached_property
    def spring_length(self) -> Number:
        """Length of the spring."""
        if self.linkage.spring is None:
            raise ValueError("layout has no spring")
        outer, inner = (self.place(p) for p in self.linkage.spring)
        return length(sub(outer, inner))


def derivatives(model: AxleModel, order: int, seeded: bool) -> Along:
    """Which derivatives a corner needs, by names of generators.

    Travel to an order; what steers where it has to tell the steering axis; changed points; the wheels apart.
    """
    generators = {"travel": 0}
    orders = [order]
    steers = model.linkage.steers or "rack"
    wanted = ((steers, model.linkage.steering_axis is None), ("points", seeded), ("apart", model.joined))
    for name, there in wanted:
        if there:
            generators[name] = len(orders)
            orders.append(1)
    return box(*orders), generators


def ground_normal(roll: Number, pitch: Number) -> Vec:
    """Unit normal of a flat ground in the frame of a body that has pitched, then rolled; rad, signs of ISO 8855."""
    return -sin(pitch), cos(pitch) * sin(roll), cos(pitch) * cos(roll)


def lowest(centre: Vec, spin: Vec, radius: Number, normal: Vec) -> Vec:
    """Lowest point of a wheel's disc over a ground of that unit normal; `spin` is the wheel's unit axis."""
    down = sub(normal, scale(dot(normal, spin), spin))
    return sub(centre, scale(radius, unit(down)))


def length(v: Vec) -> Number:
    """Length of a vector of jets."""
    return sqrt(dot(v, v))


def unit(v: Vec) -> Vec:
    """A vector over its length."""
    return scale(1.0 / length(v), v)


def rate_of(x: Jet, corner: Corner) -> Jet:
    """Derivative of a jet along travel."""
    return x.rate(corner.travel)
