"""Free bodies: six equations a body, all joint forces unknown, one solve; a double wishbone, a five-link, a strut."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
_ARMS = {
    "lower arm": ("lower_front", "lower_rear", "lower_outer"),
    "upper arm": ("upper_front", "upper_rear", "upper_outer"),
}


class FreeBodies:
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

    def turn(self, body: str, couple: Array) -> None:
        k = 6 * self.bodies.index(body)
        self.load[k + 3 : k + 6] += couple / 100.0

    def along(self, at: dict[str, Array], inner: str, outer: str, body: str) -> int:
        """A link or spring between a body's point and the chassis: its tension pulls the body inward."""
        line = at[inner] - at[outer]
        return self.unknown(at[outer], line / np.linalg.norm(line), body)

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
    system = FreeBodies(("upright", "lower arm", "upper arm", "rocker"))
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
    system.turn("upright", couple)
    found = system.solve()
    return Found(
        {key: found[n : n + 3] for key, n in joints.items()}, {key: float(found[n]) for key, n in links.items()}
    )


def five_link_tensions(at: dict[str, Array], contact: Array, force: Array, couple: Array) -> dict[str, float]:
    """Tension of five links and a spring that hold an upright: six equations for six."""
    system = FreeBodies(("upright",))
    names = [f"{level} {end} link" for level in ("upper", "lower") for end in ("front", "rear")]
    stems = [n.removesuffix(" link").replace(" ", "_") for n in names] + ["tie", "spring"]
    for stem in stems:
        system.along(at, f"{stem}_inner", f"{stem}_outer", "upright")
    system.given("upright", contact, force)
    system.turn("upright", couple)
    return dict(zip([*names, "tie link", "spring"], system.solve().tolist(), strict=True))


def strut_forces(at: dict[str, Array], contact: Array, force: Array, couple: Array) -> Found:
    """Forces of a strut on an A-arm: its top holds the strut square to the strut's line."""
    system = FreeBodies(("upright", "lower arm"))
    joints: dict[tuple[str, str], int] = {}
    for pickup in ("lower_front", "lower_rear"):
        joints[pickup, "lower arm"] = len(system.columns)
        system.joint(at[pickup], "lower arm")
    joints["lower_outer", "lower arm"] = len(system.columns)
    system.joint(at["lower_outer"], "lower arm", "upright")
    line = at["strut_high"] - at["strut_low"]
    across = np.linalg.svd(line[None])[2][1:]
    top = [system.unknown(at["strut_top"], one, "upright") for one in across]
    links = {"tie link": system.along(at, "tie_inner", "tie_outer", "upright")}
    links["spring"] = system.along(at, "spring_inner", "spring_outer", "upright")
    system.given("upright", contact, force)
    system.turn("upright", couple)
    found = system.solve()
    forces = {key: found[n : n + 3] for key, n in joints.items()}
    forces["strut_top", "upright"] = np.sum([found[k] * one for k, one in zip(top, across, strict=True)], axis=0)
    return Found(forces, {key: float(found[n]) for key, n in links.items()})


def rod_tension(at: dict[str, Array], rod_on: str, contact: Array, load: Array) -> float:
    """Tension of the rod when `load` acts on the wheel at `contact` and the spring holds it."""
    return corner_forces(at, rod_on, [(contact, load)], np.zeros(3)).tension["rod"]
