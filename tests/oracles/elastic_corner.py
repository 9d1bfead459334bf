"""A double wishbone with elastic joints and links, exactly: poses of six bodies in which energy is stationary.

Each body has a translation and a rotation vector, each link a length of its own. A joint stores ½·k·d² along the axis
of its stud and square to it, d between the two bodies' points. The spring is a bar of constant length: a multiplier.
Forces on the upright keep their direction. Gradients are taken by complex steps, the stiffness once, and Newton's step
is repeated with it until nothing is left over.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from math import factorial
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Points = dict[str, Array]
_BODIES = ("lower arm", "upper arm", "upright", "tie link", "rod", "rocker")


@dataclass
class ElasticCorner:
    """The corner.

    Attributes
    ----------
    joints : list of (point, body, holder of the stud, axis, radial stiffness, axial stiffness)
        Holder ``"chassis"`` does not move. N/mm.
    links : dict of body to (first point, second point, stiffness along it)
    """

    points: Points
    joints: Sequence[tuple[str, str, str, Array, float, float]]
    links: dict[str, tuple[str, str, float]]
    _stiff: Array = field(init=False, repr=False)

    def __post_init__(self) -> None:
        self.size = 6 * len(_BODIES) + len(self.links)
        self.centres = {b: self.points["wheel_centre" if b == "upright" else "rod_inner"] for b in _BODIES}
        # turns count 100 mm a radian and the bar's tension 10 kN, so that all equations are of one size
        self.scale = np.r_[np.tile([1.0, 1.0, 1.0, 0.01, 0.01, 0.01], len(_BODIES)), np.ones(len(self.links))]
        zero, step = np.zeros(self.size), 1e-5
        rows = [
            (self._slope(self._energy, step * e) - self._slope(self._energy, -step * e)) / (2.0 * step)
            for e in np.diag(self.scale)
        ]
        square = self.scale * np.stack(rows)
        across = 1e4 * self.scale * self._slope(self._bar, zero)
        self._stiff = np.block([[square, across[:, None]], [across[None], np.zeros((1, 1))]])

    @staticmethod
    def _slope(function: Callable[[Any], Any], x: Array) -> Array:
        """Gradient by complex steps, all at once."""
        moved = x[:, None] + 1e-40j * np.eye(len(x))
        return np.asarray(function(moved).imag / 1e-40)

    def _pose(self, x: Any, body: str, place: Array) -> Any:
        """Where a point of a body is, shape (3, batch)."""
        if body == "chassis":
            return place[:, None] + 0.0 * x[:3]
        k = 6 * _BODIES.index(body)
        arm = place - self.centres[body]
        if body in self.links:
            first, second, _ = self.links[body]
            along = self.points[second] - self.points[first]
            along = along / np.linalg.norm(along)
            share = 0.5 if np.array_equal(place, self.points[second]) else -0.5
            arm = arm[:, None] + share * along[:, None] * x[6 * len(_BODIES) + list(self.links).index(body)]
        return self.centres[body][:, None] + x[k : k + 3] + self._turned(x, body, arm)

    def _turned(self, x: Any, body: str, v: Any) -> Any:
        v = v[:, None] if v.ndim == 1 else v
        if body == "chassis":
            return v + 0.0 * x[:3]
        k = 6 * _BODIES.index(body) + 3
        r = x[k : k + 3]
        square = (r * r).sum(axis=0)
        sine = sum((-square) ** n / factorial(2 * n + 1) for n in range(6))
        versine = sum((-square) ** n / factorial(2 * n + 2) for n in range(6))
        once = np.stack([r[1] * v[2] - r[2] * v[1], r[2] * v[0] - r[0] * v[2], r[0] * v[1] - r[1] * v[0]])
        twice = np.stack(
            [r[1] * once[2] - r[2] * once[1], r[2] * once[0] - r[0] * once[2], r[0] * once[1] - r[1] * once[0]]
        )
        return v + sine * once + versine * twice

    def _energy(self, x: Any) -> Any:
        total = 0.0
        for point, body, holder, axis, radial, axial in self.joints:
            place = self.points[point]
            gap = self._pose(x, body, place) - self._pose(x, holder, place)
            along = (gap * self._turned(x, holder, axis / np.linalg.norm(axis))).sum(axis=0)
            total = total + 0.5 * radial * ((gap * gap).sum(axis=0) - along**2) + 0.5 * axial * along**2
        for number, (_, _, stiffness) in enumerate(self.links.values()):
            total = total + 0.5 * stiffness * x[6 * len(_BODIES) + number] ** 2
        return total

    def _bar(self, x: Any) -> Any:
        """Length of the spring beyond its own."""
        inner = self.points["spring_inner"]
        gap = self._pose(x, "rocker", self.points["spring_outer"]) - inner[:, None]
        return np.sqrt((gap * gap).sum(axis=0)) - np.linalg.norm(self.points["spring_outer"] - inner)

    def under(self, forces: Sequence[tuple[Array, Array]]) -> tuple[Array, Callable[[Array], Array]]:
        """Way of the wheel centre under forces at places of the upright, and how the upright turns a direction."""
        x, tension = np.zeros(self.size), 0.0  # tension in 10 kN

        def work(y: Any) -> Any:
            return sum((force[:, None] * self._pose(y, "upright", place)).sum(axis=0) for place, force in forces)

        for _ in range(40):
            left = self._slope(self._energy, x) - self._slope(work, x) + 1e4 * tension * self._slope(self._bar, x)
            over = 1e4 * float(np.real(self._bar(x[:, None] + 0j))[0])
            # a link may spin about itself: the smallest step leaves that alone
            step = np.linalg.lstsq(self._stiff, -np.r_[self.scale * left, over], rcond=1e-8)[0]
            x, tension = x + self.scale * step[:-1], tension + step[-1]
            if np.abs(step).max() < 1e-11:
                break
        else:
            raise AssertionError(f"no balance: {np.abs(left).max():.1e} N left over")
        centre = self.points["wheel_centre"]
        moved = np.real(self._pose(x[:, None] + 0j, "upright", centre))[:, 0] - centre
        return moved, lambda v: np.real(self._turned(x[:, None] + 0j, "upright", v))[:, 0]
