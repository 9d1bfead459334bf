"""Free bodies of a double wishbone with rod and rocker: six equations a body, all joint forces unknown, one solve."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
_ARMS = {
    "lower arm": ("lower_front", "lower_rear", "lower_outer"),
    "upper arm": ("upper_front", "upper_rear", "upper_outer"),
}


class _Forces:
    """Collects unknowns and the equations of force and moment of each body."""

    def __init__(self, bodies: tuple[str, ...]) -> None:
        self.bodies = bodies
        self.columns: list[Array] = []
        self.load = np.zeros(6 * len(bodies))

    def _on(self, body: str, place: Array, force: Array) -> Array:
        out = np.zeros(6 * len(self.bodies))
        k = 6 * self.bodies.index(body)
        out[k : k + 3], out[k + 3 : k + 6] = force, np.cross(place, force) / 100.0
        return out

    def unknown(self, place: Array, along: Array, body: str, against: tuple[str, Array] | None = None) -> int:
        """A force along a direction on one body, and its reaction on another; returns its number."""
        column = self._on(body, place, along)
        if against is not None:
            column = column - self._on(against[0], against[1], along)
        self.columns.append(column)
        return len(self.columns) - 1

    def joint(self, place: Array, body: str, other: str | None = None) -> None:
        for axis in np.eye(3):
            self.unknown(place, axis, body, None if other is None else (other, place))

    def given(self, body: str, place: Array, force: Array) -> None:
        self.load += self._on(body, place, force)

    def solve(self) -> Array:
        matrix = np.stack(self.columns, axis=1)
        found = np.linalg.lstsq(matrix, -self.load, rcond=1e-12)[0]
        assert np.abs(matrix @ found + self.load).max() < 1e-9, "the loads are not in balance"
        return found


def rod_tension(at: dict[str, Array], rod_on: str, contact: Array, load: Array) -> float:
    """Tension of the rod when `load` acts on the wheel at `contact` and the spring holds it.

    Parameters
    ----------
    at : dict of str to (3,)
        Places of all points.
    """
    system = _Forces(("upright", "lower arm", "upper arm", "rocker"))
    for arm, (front, rear, outer) in _ARMS.items():
        system.joint(at[front], arm)
        system.joint(at[rear], arm)
        system.joint(at[outer], arm, "upright")
    for axis_point in ("rocker_axis_1", "rocker_axis_2"):
        system.joint(at[axis_point], "rocker")
    tie = at["tie_inner"] - at["tie_outer"]
    system.unknown(at["tie_outer"], tie / np.linalg.norm(tie), "upright")
    spring = at["spring_outer"] - at["spring_inner"]
    system.unknown(at["spring_outer"], spring / np.linalg.norm(spring), "rocker")
    rod = at["rod_inner"] - at["rod_outer"]
    number = system.unknown(at["rod_outer"], rod / np.linalg.norm(rod), rod_on, ("rocker", at["rod_inner"]))
    system.given("upright", contact, load)
    return float(system.solve()[number])
