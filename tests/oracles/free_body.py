"""Free bodies of a double wishbone with rod and rocker: six equations a body, all joint forces unknown, one solve."""

from __future__ import annotations

from dataclasses import dataclass

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


@dataclass(frozen=True)
class Found:
    """Forces of a corner: on the first of the bodies that meet at a joint (``("lower_outer", "lower arm")``), on an arm
    or the rocker at a pickup (``("lower_front", "lower arm")``), and along links and spring, tension positive."""

    joints: dict[tuple[str, str], Array]
    tension: dict[str, float]


def corner_forces(at: dict[str, Array], rod_on: str, loads: list[tuple[Array, Array]], couple: Array) -> Found:
    """Forces of a double wishbone with rod, rocker and spring when loads act on the upright and the spring holds it.

    Of all splits along a hinge line the least squares take the one with the smallest sum of squares: the halved one.

    Parameters
    ----------
    at : dict of str to (3,)
        Places of all points.
    loads : list of (place, force)
        On the upright.
    couple : (3,)
        On the upright.
    """
    system = _Forces(("upright", "lower arm", "upper arm", "rocker"))
    joints: dict[tuple[str, str], int] = {}
    for arm, (front, rear, outer) in _ARMS.items():
        for pickup in (front, rear):
            joints[pickup, arm] = len(system.columns)
            system.joint(at[pickup], arm)
        joints[outer, arm] = len(system.columns)
        system.joint(at[outer], arm, "upright")
    for axis_point in ("rocker_axis_1", "rocker_axis_2"):
        joints[axis_point, "rocker"] = len(system.columns)
        system.joint(at[axis_point], "rocker")
    links: dict[str, int] = {}
    for name, inner, outer, body in (
        ("tie link", "tie_inner", "tie_outer", "upright"),
        ("spring", "spring_inner", "spring_outer", "rocker"),
    ):
        along = at[inner] - at[outer]
        links[name] = system.unknown(at[outer], along / np.linalg.norm(along), body)
    rod = at["rod_inner"] - at["rod_outer"]
    links["rod"] = system.unknown(at["rod_outer"], rod / np.linalg.norm(rod), rod_on, ("rocker", at["rod_inner"]))
    for place, force in loads:
        system.given("upright", place, force)
    k = 6 * system.bodies.index("upright")
    system.load[k + 3 : k + 6] += couple / 100.0
    found = system.solve()
    return Found(
        {key: found[n : n + 3] for key, n in joints.items()}, {key: float(found[n]) for key, n in links.items()}
    )


def rod_tension(at: dict[str, Array], rod_on: str, contact: Array, load: Array) -> float:
    """Tension of the rod when `load` acts on the wheel at `contact` and the spring holds it."""
    return corner_forces(at, rod_on, [(contact, load)], np.zeros(3)).tension["rod"]
