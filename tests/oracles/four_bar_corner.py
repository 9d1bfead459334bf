"""A plane four-bar as a double wishbone: pivots get a second point along x, the tie copies the lower arm.

The plane of the mechanism is the front view, turned so that the crank's end always rises: then the height
of the wheel centre, which stands beside the lower ball joint, is a drive for the crank's angle. The tie link
holds the upright straight as long as crank and coupler are not in line.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.oracles.planar import four_bar_output

Array = NDArray[np.float64]
SHIFT = 60.0
OUTBOARD = np.array([0.0, 500.0, 0.0])  # so that no point comes to the other side of the car


@dataclass(frozen=True)
class FourBarCorner:
    """Crank about the origin, output arm about `ground`, coupler between (mm); `down_deg` turns the plane."""

    ground: tuple[float, float]
    crank: float
    coupler: float
    output: float
    down_deg: float

    def in_plane(self, vector: Array) -> Array:
        """From the mechanism's plane to (y, z) of the car."""
        c, s = np.cos(np.radians(self.down_deg)), np.sin(np.radians(self.down_deg))
        return np.array([c * vector[0] + s * vector[1], -s * vector[0] + c * vector[1]])

    def points(self, crank_deg: float, circuit: int) -> dict[str, Array]:
        """Points of the corner in the position of a crank angle, on a circuit of the closed form."""
        a = np.radians(crank_deg)
        b = four_bar_output(self.ground, self.crank, self.coupler, self.output, a, circuit)
        low = self.crank * np.array([np.cos(a), np.sin(a)])
        pivot = np.asarray(self.ground, float)
        plane = {"lower": np.zeros(2), "upper": pivot}
        outer = {"lower": low, "upper": pivot + self.output * np.array([np.cos(b), np.sin(b)])}
        made: dict[str, Array] = {}
        for arm in ("lower", "upper"):
            base = self.in_plane(plane[arm])
            made |= {f"{arm}_front": np.array([SHIFT, *base]), f"{arm}_rear": np.array([-SHIFT, *base])}
            made[f"{arm}_outer"] = np.array([0.0, *self.in_plane(outer[arm])])
        shift = np.array([SHIFT, 0.0, 0.0])
        made["tie_inner"] = np.array([0.0, 0.0, 0.0]) + shift
        made["tie_outer"] = made["lower_outer"] + shift
        made["wheel_centre"] = made["lower_outer"] - shift
        return {name: place + OUTBOARD for name, place in made.items()}

    def travel(self, crank_deg: Array, design_deg: float) -> Array:
        """Travel of the wheel centre from a design angle of the crank to others, mm."""
        rise = np.radians(np.append(crank_deg, design_deg) - self.down_deg)
        heights = self.crank * np.sin(rise)
        return heights[:-1] - heights[-1]

    def angles(self, wheel_yz: Array, kingpin_deg: Array) -> tuple[Array, Array, Array]:
        """Angles (deg) of crank, coupler (upwards) and output arm, from wheel centre and kingpin.

        Parameters
        ----------
        wheel_yz : ndarray, shape (n, 2)
        kingpin_deg : ndarray, shape (n,)
            Inclination of the line from lower to upper joint, inboard positive, full circle.
        """
        k = np.radians(kingpin_deg)
        wheel_yz = wheel_yz - OUTBOARD[1:]
        line = np.stack([-np.sin(k), np.cos(k)], axis=-1)
        arm = wheel_yz + self.coupler * line - self.in_plane(np.asarray(self.ground, float))
        return self._angle(wheel_yz), self._angle(line), self._angle(arm)

    def _angle(self, vector: Array) -> Array:
        return np.degrees(np.arctan2(vector[:, 1], vector[:, 0])) + self.down_deg
