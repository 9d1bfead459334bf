"""Both corners of an axle on one ground, as one corner over stacked lanes with what belongs to the axle as a whole.

Every measure of a corner works on it unchanged; measures of the axle ask for pairs, left and right in the first axis.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.car import Axle, CarData
from kin3d.linkage.layout import Linkage
from kin3d.measures.corner import Corner
from kin3d.solve.kernel import Motion
from kin3d.solve.unknowns import Base
from kin3d.spatial.jets import Jet, algebra_of, atan2, value
from kin3d.spatial.vectors import Number, Vec, dot, sub

Array = NDArray[np.float64]
LEFT, RIGHT = 0, 1
# travel, rack, roll: the position, one derivative along each, and travel twice for rates of springs
DRIVES = {"travel": 0, "rack": 1, "roll": 2}
ALGEBRA = algebra_of(((0, 0, 0), (1, 0, 0), (0, 1, 0), (0, 0, 1), (2, 0, 0)))


class CornerPair(Corner):
    """Left and right corner of an axle that stand on one plane; lanes are all left ones, then all right ones.

    Parameters
    ----------
    normal : vector of Jet
        The ground's normal with its derivative along roll, in `ALGEBRA`.
    roll_rad : ndarray, shape (n,)
    design_contact : ndarray, shape (2, 3)
        Contact points in the design position, left and right, mm.
    straight : ndarray, shape (2, n), optional
        Steer of each wheel to the ground, rad, with the rack in the middle, at the same travels.

    The other parameters are those of `Corner`.
    """

    def __init__(
        self,
        linkage: Linkage,
        base: Base,
        motion: Motion,
        sign: Any,
        axle: Axle,
        car: CarData,
        normal: Vec,
        roll_rad: Array,
        design_contact: Array,
        straight: Array | None = None,
    ) -> None:
        super().__init__(linkage, base, motion, sign, axle, car, normal)
        self.roll_rad = roll_rad
        self.design_contact = design_contact
        self.straight = straight

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
        return float(sub(tuple(self.design_contact[LEFT]), tuple(self.design_contact[RIGHT]))[1])


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
