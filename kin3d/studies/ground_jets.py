"""Positions on the ground with everything as jets, along the drive of a study and along directions of change.

The wheels' travels follow from the ground: as jets they are found by the same iteration as the travels themselves. The
slope of a contact point's height over travel is kept as it is in the position, so that each step gets one degree of the
derivatives right; there is nothing to converge.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.measures.corner import Corner, ground_normal
from kin3d.measures.corner_pair import CornerPair, raised, signs_of, twice, with_outer
from kin3d.measures.entry import figure
from kin3d.solve.lanes import Lanes, Solved
from kin3d.solve.model import AxleModel
from kin3d.spatial.jets import Algebra, Jet, in_lanes, stacked, value
from kin3d.spatial.vectors import Number, dot
from kin3d.studies.derived import AskedMeasures
from kin3d.studies.ground_bodies import GroundBodies
from kin3d.studies.ground_contact import Stance, Standing, travels_for

Array = NDArray[np.float64]
_HEIGHT = ((0,), (1,))  # travel alone: a height and its slope
_HEIGHTS = ((0, 0), (1, 0), (0, 1))  # both travels alike, and apart


@dataclass(frozen=True, slots=True)
class Placed:
    """How the wheels stand in some positions; numbers are arrays of shape (n,), or jets of the outer generators.

    Attributes
    ----------
    travel : tuple of number
        Left and right of each axle in turn, mm.
    roll, pitch : number
        Of the points' frame over the ground, rad.
    shift : tuple of number
        What is added to each axle's x, mm.
    """

    travel: tuple[Number, ...]
    roll: Number
    pitch: Number
    shift: tuple[Number, ...]


@dataclass(frozen=True, slots=True)
class Wheels:
    """Solved positions of all cars: `stance` and `standing` have a position of the first car, then of the next."""

    models: tuple[AxleModel, ...]
    stance: Stance
    standing: Standing
    shifts: tuple[Array, ...]


class GroundLanes:
    """Some positions of a ground case, with everything as jets of the outer generators (drive, directions)."""

    def __init__(
        self,
        bodies: GroundBodies,
        subject: object,
        drive: str,
        wheels: Wheels,
        part: slice,
        outer: Algebra,
        asked: AskedMeasures,
    ) -> None:
        self.stands = asked.stands
        self.bodies, self.subject, self.drive, self.wheels = bodies, subject, drive, wheels
        self.outer, self.seeds = outer, asked.seeds
        self.stance = wheels.stance.take(part)
        count = wheels.stance.count
        self.which = np.concatenate([np.arange(part.start, part.stop) + s * count for s in (0, 1)])
        self.part = part
        self.figures = self._figures(asked)

    def _figures(self, asked: AskedMeasures) -> dict[str, Number]:
        """Figures of the car file in these positions, those that differ from the file or vary."""
        cars = self.stance.variant
        out: dict[str, Number] = {key: v[cars] for key, v in asked.figures.items()}
        for key, rate in asked.figure_seeds.items():
            now = out.get(key, figure(self.subject, key))
            out[key] = self.outer.variable(now, 1, rate[:, None])
        return out

    def _driven(self, name: str, now: Array, per_unit: float) -> Number:
        if self.drive != name or self.outer.degree == 0 or (1, 0) not in self.outer.index:
            return now
        return self.outer.variable(now, 0, per_unit)

    def placed(self) -> Placed:
        """How the wheels stand, with derivatives."""
        degree = np.pi / 180.0
        heave = self._driven("heave", self.stance.heave_mm, 1.0)
        roll = self._driven("roll", self.stance.roll_rad, degree)
        pitch = self._driven("pitch", self.stance.pitch_rad, degree)
        if self.stands is not None:
            flat = self.stance.pitch_rad
            heave, roll, pitch = self.stands.numbers(self.outer, self.part)
            pitch = pitch + (flat - value(pitch))
        shifts: tuple[Number, ...] = tuple(s[self.part] for s in self.wheels.shifts)
        if self.bodies.whole is not None and self.seeds is not None:
            shifts, flat = self.bodies.stands(self._design_place, self.figures)
            pitch = pitch + (flat - value(flat))
        travel: list[Number] = [t[self.part] for t in self._travels()]
        for _ in range(self.outer.degree):
            heights, slopes = self._heights(travel, roll, pitch, shifts)
            give, rest = travels_for(slopes, [np.ones(self.stance.count)] * len(travel)), travels_for(slopes, heights)
            level = sum(rest, heave * len(travel) - sum(travel)) / sum(give)
            travel = [_kept(t + level * g - r, t) for t, g, r in zip(travel, give, rest, strict=True)]
        return Placed(tuple(travel), roll, pitch, shifts)

    def _travels(self) -> list[Array]:
        """Travels as they were found, those beyond reach too: the lanes say where there is no position."""
        return [t for lanes, _ in self.wheels.standing.axles for t in lanes.travels]

    def _design_place(self, row: int) -> tuple[Number, ...]:
        at = 0
        for model in self.wheels.models:
            size, cars = len(model.linkage.points), model.variants.count // 2
            for side in (0, 1):
                if row < at + size:
                    car = 0 if self.stance.variant is None else self.stance.variant
                    places = np.atleast_2d(model.variants.design[np.add(car, side * cars), row - at])
                    seeds = self.seeds if self.seeds is not None else np.zeros((0, row + 1, 3))
                    return tuple(self.outer.variable(places[:, k], 1, seeds[:, row, k, None]) for k in range(3))
                at += size
        raise IndexError(row)

    def _own_seeds(self, number: int) -> Array | None:
        """Directions of one axle over its lanes, shape (directions, points, 3, 2n)."""
        if self.seeds is None:
            return None
        row = sum(2 * len(m.linkage.points) for m in self.bodies.axles[:number])
        size = len(self.bodies.axles[number].linkage.points)
        left, right = (self.seeds[:, row + s * size : row + (s + 1) * size, :, None] for s in (0, 1))
        return np.concatenate([np.broadcast_to(x, (*x.shape[:3], self.stance.count)) for x in (left, right)], axis=-1)

    def _own_figures(self, number: int) -> dict[str, Number]:
        """Figures of one axle over its lanes."""
        return {k: twice(v) for k, v in self.bodies.by_axle(self.figures)[number].items()}

    def _lanes(self, number: int) -> tuple[Lanes, Solved]:
        lanes, solved = self.wheels.standing.axles[number]
        return lanes.take(self.which), solved.take(self.which)

    def _heights(
        self, travel: Sequence[Number], roll: Number, pitch: Number, shifts: Sequence[Number]
    ) -> tuple[list[Number], list[Array]]:
        """Heights of all contact points along the ground's normal, and their slopes as they are in the position."""
        heights: list[Number] = []
        slopes: list[Array] = []
        for k, model in enumerate(self.wheels.models):
            inner = _HEIGHTS if model.joined else _HEIGHT
            algebra, size = with_outer(inner, self.outer), len(inner[0])
            nx, ny, nz = (raised(c, algebra, size) for c in ground_normal(twice(roll), twice(pitch)))
            known = {"travel": 0} | ({"apart": 1} if model.joined else {})
            if self.seeds is not None:
                known["points"] = size + 1
            figures = {key: raised(v, algebra, size) for key, v in self._own_figures(k).items()}
            lanes, solved = self._lanes(k)
            moved = raised(self._stacked(travel[2 * k : 2 * k + 2]), algebra, size) + algebra.variable(0.0, 0)
            if model.joined:
                moved = moved + algebra.variable(0.0, 1, signs_of(lanes))
            corner = Corner.of(
                model, lanes, solved, along=(algebra, known), normal=(nx, ny, nz), sign=signs_of(lanes),
                seeds=self._own_seeds(k), driven={"travel": moved}, figures=figures,
            )  # fmt: skip
            height: Jet = dot(corner.contact, corner.normal) + raised(twice(shifts[k]), algebra, size) * nx
            still = [height.coefficients[algebra.index[(*inner[0], *m)]] for m in self.outer.monomials]
            own = [np.asarray(height[(*m, *self.outer.monomials[0])]) for m in inner[1:]]
            n = self.stance.count
            each = np.stack([np.broadcast_to(x, lanes.count).reshape(2, n) for x in own])
            slopes.append(each if model.joined else each[0])
            for s in (0, 1):
                half = slice(s * n, (s + 1) * n)
                heights.append(in_lanes(Jet(self.outer, still), half))
        return heights, slopes

    def _stacked(self, two: Sequence[Number]) -> Number:
        """Left and right over the lanes of an axle."""
        left, right = (t if isinstance(t, Jet) else self.outer.constant(t) for t in two)
        return stacked(left, right, self.stance.count)

    def pair(self, number: int, placed: Placed, steered: bool) -> CornerPair:
        """One axle's corners on the ground."""
        model = self.wheels.models[number]
        lanes, solved = self._lanes(number)
        driven = {"travel": self._stacked(placed.travel[2 * number : 2 * number + 2])} if self.outer.degree else None
        more: dict[str, Any] = {
            "outer": self.outer,
            "driven": driven,
            "seeds": self._own_seeds(number),
            "figures": self._own_figures(number),
        }
        straight = None
        if steered:
            middle = replace(lanes, rack=np.zeros(lanes.count))
            ahead = model.kernel.solve(model.variants, middle)
            there = CornerPair.on_ground(model, middle, ahead, placed.roll, placed.pitch, **more)
            straight = there.both(there.steer)
        return CornerPair.on_ground(model, lanes, solved, placed.roll, placed.pitch, straight, **more)


def _kept(new: Number, old: Number) -> Number:
    """A jet with the value that was found before: the iteration is for the derivatives."""
    if isinstance(new, Jet):
        new.coefficients[0] = value(old)
    return new
