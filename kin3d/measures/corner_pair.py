"""Both corners of an axle, as one corner over stacked lanes with what belongs to the axle as a whole.

Every measure of a corner works on it unchanged; measures of the axle ask for pairs, left and right in the first axis.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from kin3d.measures.corner import TRAVEL, Corner, ground_normal
from kin3d.solve.kernel import Motion, Solved
from kin3d.solve.lanes import Lanes
from kin3d.solve.model import AxleModel
from kin3d.solve.status import Status
from kin3d.spatial.jets import Jet, algebra_of, atan2, box, total_degree, value
from kin3d.spatial.vectors import Number, Vec, dot

Array = NDArray[np.float64]
Made = TypeVar("Made")
LEFT, RIGHT = 0, 1
# travel, rack, roll: the position, one derivative along each, and travel twice for rates of springs
DRIVES = {"travel": 0, "rack": 1, "roll": 2}
ALGEBRA = algebra_of(((0, 0, 0), (1, 0, 0), (0, 1, 0), (0, 0, 1), (2, 0, 0)))


class CornerPair(Corner):
    """Left and right corner of an axle; lanes are all left ones, then all right ones.

    Attributes
    ----------
    roll_rad : ndarray, shape (n,)
        Roll of the body; 0 unless the pair was stood on the ground.
    straight : ndarray, shape (2, n), or None
        Steer of each wheel to the ground, rad, with the rack in the middle, at the same travels.

    The others are those of `Corner`.
    """

    roll_rad: Array
    straight: Array | None = None

    @staticmethod
    def at(model: AxleModel, left: Any, right: Any, rack: Any = 0.0, degree: int = 2) -> CornerPair:
        """Solve both corners of an axle, each wheel at a travel of its own, in the chassis frame.

        Parameters
        ----------
        left, right, rack : float or ndarray, mm
            Broadcast with one another and flattened to n positions.
        degree : int
            Order of derivatives along travel.
        """
        t0, t1, r = (np.asarray(x, float).ravel() for x in np.broadcast_arrays(left, right, rack))
        lanes = model.pair(np.stack([t0, t1]), r)
        solved = model.kernel.solve(model.variants, lanes)
        found = CornerPair.of(model, lanes, solved, along=(box(degree), {"travel": 0}))
        found.roll_rad = np.zeros(len(r))
        return found

    @staticmethod
    def on_ground(
        model: AxleModel, lanes: Lanes, solved: Solved, roll_rad: Array, pitch_rad: Array, straight: Array | None = None
    ) -> CornerPair:
        """Both corners on one plane, with derivatives along travel, rack and roll.

        Parameters
        ----------
        lanes, solved : Lanes, Solved
            All left corners, then all right ones, 2n lanes.
        roll_rad, pitch_rad : ndarray, shape (n,)
            Of the body over the ground.
        straight : ndarray, shape (2, n), optional
        """
        roll = ALGEBRA.variable(np.tile(roll_rad, 2), DRIVES["roll"])
        x, y, z = ground_normal(roll, np.tile(pitch_rad, 2))
        normal: Vec = (ALGEBRA.constant(x), y, z)
        known = {"travel": DRIVES["travel"], model.linkage.steers or "rack": DRIVES["rack"]}
        found = CornerPair.of(model, lanes, solved, along=(ALGEBRA, known), normal=normal)
        found.roll_rad, found.straight = roll_rad, straight
        return found

    @cached_property
    def _made(self) -> dict[object, Any]:
        return {}

    def once(self, key: object, make: Callable[[], Made]) -> Made:
        """What `make` returns, made when it is first asked for under that key: what several measures share."""
        if key not in self._made:
            self._made[key] = make()
        found: Made = self._made[key]
        return found

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
        mine = [m[self.travel] if sum(m) == m[self.travel] else None for m in self.motion.algebra.monomials]
        algebra = total_degree(2, max(n for n in mine if n is not None))
        slots = [None if n is None else algebra.index[(n, 0) if side == LEFT else (0, n)] for n in mine]
        count = len(self.roll_rad)
        part = slice(side * count, (side + 1) * count)

        def own(x: Number) -> Number:
            if not isinstance(x, Jet):
                return _taken(x, part)
            out = algebra.constant(None)
            for slot, c in zip(slots, x.coefficients, strict=True):
                if slot is not None:
                    out.coefficients[slot] = _taken(c, part)
            return out

        def place(v: Vec) -> Vec:
            return own(v[0]), own(v[1]), own(v[2])

        motion = Motion(
            {p: place(v) for p, v in self.motion.at.items()},
            {p: place(v) for p, v in self.motion.design.items()},
            algebra,
            {"travel": side},
        )
        lanes, solved = self.lanes.take(part), self.solved.take(part)
        return Corner(self.model, motion, _taken(self.sign, part), place(self.normal), self.variants, lanes, solved)

    @cached_property
    def design_contact(self) -> Array:
        """Contact points in the design position, left and right, shape (2, 3), mm."""
        return design_contact(self.model)

    def pair(self, x: Number) -> Array:
        """Values of a quantity, shape (2, n)."""
        return np.broadcast_to(np.asarray(value(x), dtype=float), 2 * len(self.roll_rad)).reshape(2, -1)

    @staticmethod
    def twice(x: Array) -> Array:
        """A figure of the axle, shape (n,), for both of its wheels, shape (2n,)."""
        return np.tile(x, 2)

    @cached_property
    def stand(self) -> tuple[Array, Array, Array]:
        """Contact points along the ground's x, y and normal, each (2, n), mm."""
        x, y, z = (self.pair(c) for c in self.over_ground(self.contact))
        return x, y, z

    @cached_property
    def drift(self) -> tuple[Array, Array, Array]:
        """Velocities of the material points there in the same directions, each (2, n), mm per mm of travel."""
        x, y, z = (self.pair(c) for c in self.over_ground(self.contact_velocity))
        return x, y, z

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

    def gain(self, drive: str) -> Array:
        """Rate of each wheel's travel along ``"heave"``, ``"roll"`` or ``"rack"``, shape (2, n).

        Along each the others are held and the wheels stay on the ground.
        """
        b = self.pair(self._height[1, 0, 0])
        moved = np.zeros_like(b) if drive == "heave" else self.pair(self._height[_monomial(drive)])
        give = 1.0 / b
        level = (float(drive == "heave") + (moved * give).mean(axis=0)) / give.mean(axis=0)
        return np.asarray((level - moved) * give)

    def along(self, x: Jet, drive: str) -> Array:
        """Derivative of a wheel's quantity along heave (per mm), roll (per rad) or rack (per mm), shape (2, n)."""
        own = 0.0 if drive == "heave" else self.pair(x[_monomial(drive)])
        return np.asarray(self.pair(x[1, 0, 0]) * self.gain(drive) + own)

    @cached_property
    def track(self) -> Array:
        """Distance of the contact points across the ground, shape (n,), mm."""
        left, right = self.stand[1]
        return np.asarray(left - right)

    @property
    def design_track(self) -> float:
        """The same in the design position."""
        return float(self.design_contact[LEFT, 1] - self.design_contact[RIGHT, 1])


def design_contact(model: AxleModel) -> Array:
    """Contact points of left and right in the design position, shape (2, 3), mm."""
    lanes = model.pair(np.zeros((2, 1)), np.zeros(1))
    corner = Corner.of(model, lanes, model.kernel.solve(model.variants, lanes), along=TRAVEL)
    return np.stack([np.broadcast_to(value(c), 2) for c in corner.contact], axis=-1)


def _taken(x: Any, part: slice) -> Any:
    """The lanes of a part; what is the same for all lanes stays as it is."""
    return x[part] if np.ndim(x) and np.shape(x)[-1] > 1 else x


def _monomial(drive: str) -> tuple[int, ...]:
    return tuple(int(n == drive) for n in DRIVES)


def of_axle(function: Callable[[CornerPair], Array]) -> Callable[[Corner], Any]:
    """A function of the axle with values of shape (n,) or (2, n), as the function of a corner over stacked lanes."""

    def spread(corner: Corner) -> Array:
        if not isinstance(corner, CornerPair):
            raise TypeError("a measure of an axle needs both corners")
        found = function(corner)
        return corner.twice(found) if found.ndim == 1 else found.reshape(-1)

    return spread
