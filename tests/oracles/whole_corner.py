"""The whole corner by the five-rod reference and the closed-form rocker: what a sweep of it should say."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tests.oracles import five_rod, rocker

Array = NDArray[np.float64]
_ARMS = {
    "lower arm": ("lower_front", "lower_rear", "lower_outer"),
    "upper arm": ("upper_front", "upper_rear", "upper_outer"),
}


@dataclass(frozen=True)
class Corner:
    """Positions of one corner: places (n, 3) of its moving points, spin axis (n, 3), rocker turn (n,) rad."""

    at: dict[str, Array]
    spin: Array
    rocker: Array

    @property
    def spring(self) -> Array:
        """Spring length, mm."""
        return np.linalg.norm(self.at["spring_outer"] - self.at["spring_inner"], axis=1)


def solve(
    points: dict[str, Array], rod_on: str, spin: ArrayLike, travel: ArrayLike, rack: ArrayLike = 0.0
) -> Corner:
    """Solve a double wishbone with rod and rocker at the given travels and rack displacements, mm."""
    pose = five_rod.solve(points, travel, rack)
    at = {n: pose.carry(points[n]) for n in ("lower_outer", "upper_outer", "tie_outer", "wheel_centre")}
    if rod_on == "upright":
        at["rod_outer"] = pose.carry(points["rod_outer"])
    else:
        front, rear, outer = _ARMS[rod_on]
        design = (points[front], points[rear], points[outer])
        now = (points[front], points[rear], at[outer])
        at["rod_outer"] = rocker.carried(design, now, points["rod_outer"])
    base, end = points["rocker_axis_1"], points["rocker_axis_2"]
    turn = rocker.rocker_angle(base, end, points["rod_inner"], at["rod_outer"], points["rod_outer"])
    axis = (end - base) / np.linalg.norm(end - base)
    for name in ("rod_inner", "spring_outer"):
        at[name] = rocker.turn_about(base, axis, turn, points[name])
    at["spring_inner"] = np.broadcast_to(points["spring_inner"], at["spring_outer"].shape)
    return Corner(at, pose.rotate(spin), turn)
