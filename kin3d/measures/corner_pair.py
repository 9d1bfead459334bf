"""Both corners of an axle, as one corner over stacked lanes with what belongs to the axle as a whole.

Every measure of a corner works on it unchanged; measures of the axle ask for pairs: a quantity of the left wheel and of
the right one. What a study derives along beside the drives (its own drive, errors of points) are *outer* generators:
pairs carry them on, so that a measure of the axle has its exact derivatives too.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.layout import WHEEL_AXIS, WHEEL_CENTRE
from kin3d.measures.corner import UP, Along, Corner, ground_normal, lowest, unit
from kin3d.measures.entry import figure
from kin3d.measures.two_travels import LEFT, RIGHT, Pair, apply_inverse, each_wheels, rows_by_wheel, weighted
from kin3d.solve.kernel import Motion
from kin3d.solve.lanes import Lanes, Solved, Status
from kin3d.solve.model import AxleModel
from kin3d.spatial.jets import Algebra, Jet, algebra_of, atan2, box, in_lanes, stacked, total_degree
from kin3d.spatial.vectors import Number, SeenPlaces, Vec, dot, sub, vector

Array = NDArray[np.float64]
# travel, rack, roll: the position, one derivative along each, and travel twice for rates of springs
DRIVES = {"travel": 0, "rack": 1, "roll": 2}
INNER = ((0, 0, 0), (1, 0, 0), (0, 1, 0), (0, 0, 1), (2, 0, 0))
# with both sides one system travel is both wheels alike, and there is the motion in which they go apart
APART = "apart"
JOINED_INNER = (*((*m, 0) for m in INNER), (0, 0, 0, 1))
NO_OUTER = Algebra([()])


def with_outer(inner: tuple[tuple[int, ...], ...], outer: Algebra) -> Algebra:
    """Algebra of inner monomials times outer ones; the inner generators come first."""
    return algebra_of(tuple((*i, *o) for i in inner for o in outer.monomials))


def raised(x: Number, algebra: Algebra, inner: int) -> Number:
    """A jet of the outer generators as one of the whole algebra, which has so many inner ones."""
    if not isinstance(x, Jet):
        return x
    out = algebra.constant(None)
    for m, c in zip(x.algebra.monomials, x.coefficients, strict=True):
        out.coefficients[algebra.index[(*(0,) * inner, *m)]] = c
    return out


class CornerPair(Corner):
    """Left and right corner of an axle; lanes are all left ones, then all right ones.

    Attributes
    ----------
    roll : number, shape (n,)
        Roll of the body, rad; 0 unless the pair was stood on the ground.
    straight : Pair or None
        Steer of each wheel to the ground, rad, with the rack in the middle, at the same travels.
    outer : Algebra
        Of the outer generators; they are the last ones of the motion's algebra.

    The others are those of `Corner`.
    """

    roll: Number
    straight: Pair | None = None
    outer: Algebra = NO_OUTER

    @staticmethod
    def at(
        model: AxleModel,
        left: Any,
        right: Any,
        rack: Any = 0.0,
        degree: int = 2,
        variant: NDArray[np.intp] | None = None,
    ) -> CornerPair:
        """Solve both corners of an axle, each wheel at a travel of its own, in the chassis frame.

        Parameters
        ----------
        left, right, rack : float or ndarray, mm
            Broadcast with one another and flattened to n positions.
        degree : int
            Order of derivatives along travel.
        variant : ndarray of int, shape (n,), optional
            Which car each position is of, where the model's variants are those of several.
        """
        t0, t1, r = (np.asarray(x, float).ravel() for x in np.broadcast_arrays(left, right, rack))
        lanes = model.pair(np.stack([t0, t1]), r, variant=variant)
        solved = model.kernel.solve(model.variants, lanes)
        alone: Along = (box(degree), {"travel": 0})
        along = (total_degree(2, degree), {"travel": 0, APART: 1}) if model.joined else alone
        found = CornerPair.of(model, lanes, solved, along=along, sign=signs_of(lanes))
        found.roll = np.zeros(len(r))
        return found

    @staticmethod
    def on_ground(
        model: AxleModel,
        lanes: Lanes,
        solved: Solved,
        roll: Number,
        pitch: Number,
        straight: Pair | None = None,
        *,
        outer: Algebra = NO_OUTER,
        driven: Mapping[str, Jet] | None = None,
        seeds: Array | None = None,
        figures: Mapping[str, Number] | None = None,
    ) -> CornerPair:
        """Both corners on one plane, with derivatives along travel, rack and roll.

        Parameters
        ----------
        lanes, solved : Lanes, Solved
            All left corners, then all right ones, 2n lanes.
        roll, pitch : number, shape (n,)
            Of the body over the ground, rad; arrays, or jets of the outer generators.
        straight : Pair, optional
        outer : Algebra
            Outer generators of the study.
        driven : mapping of str to Jet, optional
            Travel and rack of every lane as jets of the outer generators.
        seeds, figures : optional
            As of `Corner.of`; figures are numbers over the lanes, or jets of the outer generators. The directions are
            those of the last outer generator.
        """
        inner = JOINED_INNER if model.joined else INNER
        algebra = with_outer(inner, outer)

        def lift(x: Number, drive: str | None = None) -> Number:
            out = raised(x, algebra, len(inner[0]))
            return out if drive is None else out + algebra.variable(0.0, DRIVES[drive])

        both = (twice(roll), twice(pitch))
        x, y, z = ground_normal(lift(both[0], "roll"), lift(both[1]))
        normal: Vec = (x if isinstance(x, Jet) else algebra.constant(x), y, z)
        known = {"travel": DRIVES["travel"], model.linkage.steers or "rack": DRIVES["rack"]}
        if model.joined:
            known[APART] = len(DRIVES)
        if seeds is not None:
            known["points"] = len(algebra.monomials[0]) - 1
        moved = {k: lift(v, k) for k, v in (driven or {}).items()}
        if model.joined and "travel" in moved:
            moved["travel"] = moved["travel"] + algebra.variable(0.0, len(DRIVES), signs_of(lanes))
        held = {k: lift(v) for k, v in (figures or {}).items()}
        found = CornerPair.of(
            model, lanes, solved, along=(algebra, known), normal=normal, sign=signs_of(lanes), seeds=seeds,
            driven=moved, figures=held,
        )  # fmt: skip
        found.roll, found.straight, found.outer = roll, straight, outer
        return found

    @property
    def count(self) -> int:
        """Number of positions n."""
        return self.lanes.count // 2

    @cached_property
    def ok(self) -> NDArray[np.bool_]:
        """Where both corners were solved, shape (n,)."""
        return np.asarray((self.solved.status == Status.OK).reshape(2, -1).all(axis=0))

    @cached_property
    def left(self) -> Corner:
        """The left corner over n lanes; its travel is generator 0 of two."""
        return self._one(LEFT)

    @cached_property
    def right(self) -> Corner:
        """The right corner over n lanes; its travel is generator 1 of two."""
        return self._one(RIGHT)

    def _one(self, side: int) -> Corner:
        """One corner, in an algebra in which each wheel's travel is a generator of its own."""
        generators = self.motion.generators
        rows = rows_by_wheel(self.motion.algebra.monomials, self._inner, self.travel, generators.get(APART), side)
        algebra = algebra_of(tuple(rows))
        part = slice(side * self.count, (side + 1) * self.count)

        def own(x: Number) -> Number:
            if not isinstance(x, Jet):
                return in_lanes(x, part)
            mine = [in_lanes(c, part) for c in x.coefficients]
            return Jet(algebra, [weighted(mine, rows[m]) for m in algebra.monomials])

        def place(v: Vec) -> Vec:
            return own(v[0]), own(v[1]), own(v[2])

        every = (self.motion.at, self.motion.design, self.motion.opposite)
        at, design, there = (SeenPlaces(places, place) for places in every)
        motion = Motion(at, design, algebra, {"travel": side}, there)
        lanes, solved = self.lanes.take(part), self.solved.take(part)
        figures = {k: own(v) for k, v in self.figures.items()}
        sign = in_lanes(self.sign, part)
        return Corner(self.model, motion, sign, place(self.normal), self.variants, lanes, solved, figures)

    @property
    def _inner(self) -> int:
        """Number of inner generators."""
        return len(self.motion.algebra.monomials[0]) - len(self.outer.monomials[0])

    def part(self, x: Number, along: str = "") -> Number:
        """A quantity over all lanes, or its derivative along a drive, without the inner generators.

        Returns
        -------
        number, shape (2n,)
            A jet of the outer generators where there are any.
        """
        if not isinstance(x, Jet):
            return x if not along else 0.0
        if x.algebra is self.outer:
            return x if not along else 0.0
        number = (DRIVES | self.motion.generators).get(along, -1)
        head = tuple(int(k == number) for k in range(self._inner))
        found = [x.coefficients[x.algebra.index[(*head, *m)]] for m in self.outer.monomials]
        if len(found) > 1:
            return Jet(self.outer, found)
        return 0.0 if found[0] is None else found[0]

    def both(self, x: Number, along: str = "") -> Pair:
        """The same of the left wheels and of the right ones, each over n positions."""
        found, n = self.part(x, along), self.count
        return in_lanes(found, slice(0, n)), in_lanes(found, slice(n, 2 * n))

    def of_file(self, key: str) -> Number:
        """A figure of the car file by the key that measures name, shape (n,); ask only where it is given."""
        return self.both(figure(self, key))[LEFT]

    @cached_property
    def design_contact(self) -> tuple[Vec, Vec]:
        """Contact points of the left and the right wheels in the design position, chassis frame, mm."""
        centre = self.motion.design[WHEEL_CENTRE]
        spin = unit(sub(self.motion.design[WHEEL_AXIS], centre))
        (x0, x1), (y0, y1), (z0, z1) = (self.both(c) for c in lowest(centre, spin, self.radius, UP))
        return (x0, y0, z0), (x1, y1, z1)

    @cached_property
    def stand(self) -> tuple[Pair, Pair, Pair]:
        """Contact points along the ground's x, y and normal, mm."""
        return vector(self.both(c) for c in self.over_ground(self.contact))

    @cached_property
    def drift(self) -> tuple[Pair, Pair, Pair]:
        """Velocities of the material points there in the same directions in roll, mm per mm of travel."""
        return vector(self.both(c) for c in self.over_ground(self.rolling_velocity))

    @cached_property
    def steer(self) -> Jet:
        """Steer of the wheels to the ground, to the left positive, rad."""
        aside = dot(self.spin, self.aside)
        found: Jet = -(self.sign * atan2(dot(self.spin, self.ahead), self.sign * aside))
        return found

    @cached_property
    def _height(self) -> Jet:
        height: Jet = dot(self.contact, self.normal)
        return height

    def gain(self, drive: str) -> Pair:
        """Rate of each wheel's travel along ``"heave"``, ``"roll"`` or ``"rack"``.

        Along each the others are held and the wheels stay on the ground.
        """
        if self.joined:
            return self._joined_gain(drive)
        give = tuple(1.0 / b for b in self.both(self._height, "travel"))
        moved = (0.0, 0.0) if drive == "heave" else self.both(self._height, drive)
        level = (float(drive == "heave") + mean((moved[0] * give[0], moved[1] * give[1]))) / mean((give[0], give[1]))
        return (level - moved[0]) * give[0], (level - moved[1]) * give[1]

    def along(self, x: Jet, drive: str) -> Pair:
        """Derivative of a wheel's quantity along heave (per mm), roll (per rad) or rack (per mm)."""
        own = (0.0, 0.0) if drive == "heave" else self.both(x, drive)
        by_travel, gain = self.both(x, "travel"), self.gain(drive)
        if self.joined:
            alike, apart, by_apart = mean(gain), 0.5 * (gain[0] - gain[1]), self.both(x, APART)
            left, right = (by_travel[k] * alike + by_apart[k] * apart + own[k] for k in (LEFT, RIGHT))
            return left, right
        return by_travel[0] * gain[0] + own[0], by_travel[1] * gain[1] + own[1]

    def _joined_gain(self, drive: str) -> Pair:
        """The same where each wheel's travel moves both contact points: two equations for both wheels."""
        alike, apart = self.both(self._height, "travel"), self.both(self._height, APART)
        moved = (0.0, 0.0) if drive == "heave" else self.both(self._height, drive)
        give, rest = apply_inverse(alike, apart, (1.0, 1.0)), apply_inverse(alike, apart, moved)
        level = (float(drive == "heave") + mean(rest)) / mean(give)
        return level * give[0] - rest[0], level * give[1] - rest[1]

    def by_wheel(self, alike: Pair, apart: Pair) -> Pair:
        """What both wheels do together along the travel of the left one alone, and of the right one alone.

        Parameters
        ----------
        alike, apart : Pair
            What each wheel does as both go up, and as the left one goes up and the right one down. An independent
            wheel does along its own travel what it does alike.
        """
        if not self.joined:
            return alike
        left, right = each_wheels(alike, apart)
        return left[LEFT] + left[RIGHT], right[LEFT] + right[RIGHT]

    @cached_property
    def track(self) -> Number:
        """Distance of the contact points across the ground, shape (n,), mm."""
        left, right = self.stand[1]
        return left - right

    @property
    def design_track(self) -> Number:
        """The same in the design position."""
        left, right = self.design_contact
        return left[1] - right[1]

    def stacked(self, left: Number, right: Number) -> Number:
        """Quantities of left and right, n positions each, as one over all 2n lanes."""
        return stacked(left, right, self.count)


def mean(pair: Pair) -> Number:
    """Mean of left and right."""
    return 0.5 * (pair[0] + pair[1])


def twice(x: Number) -> Number:
    """What is one for both wheels, shape (n,), over all lanes, shape (2n,)."""
    if isinstance(x, Jet):
        return Jet(x.algebra, [None if c is None else _twice(c) for c in x.coefficients])
    return _twice(x)


def _twice(c: Any) -> Any:
    shape = np.shape(c)
    return np.concatenate([c, c], axis=-1) if shape and shape[-1] > 1 else c


def signs_of(lanes: Lanes) -> Array:
    """+1 for the left lanes, which come first, −1 for the right ones."""
    return np.repeat([1.0, -1.0], lanes.count // 2)


def design_contact(model: AxleModel, normal: Vec = UP) -> Array:
    """Contact points in the design position, shape (variants, 3), mm: all left ones, then all right ones.

    Parameters
    ----------
    normal : vector, optional
        Unit normal of the ground, chassis frame.
    """
    design, linkage = model.variants.design, model.linkage
    centre = vector(design[:, linkage.index(WHEEL_CENTRE)].T)
    spin = unit(sub(vector(design[:, linkage.index(WHEEL_AXIS)].T), centre))
    foot = lowest(centre, spin, model.axle.loaded_radius_mm, normal)
    return np.stack(np.broadcast_arrays(*foot), axis=-1)


def of_axle(function: Callable[[CornerPair], Any]) -> Callable[[Corner], Any]:
    """A function of the axle, of one figure or of a pair, as the function of a corner over stacked lanes."""

    def spread(corner: Corner) -> Number:
        if not isinstance(corner, CornerPair):
            raise TypeError("a measure of an axle needs both corners")
        found = function(corner)
        return corner.stacked(*found) if isinstance(found, tuple) else corner.stacked(found, found)

    return spread
