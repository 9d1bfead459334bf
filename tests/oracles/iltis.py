"""The Iltis corner as a plane chain plus a steering loop, with its archive's own angles; lengths in mm.

The points are those of the IAVSD road vehicle benchmark "Iltis", mirrored to the left corner: x forward,
y left, z up from the benchmark's chassis origin.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

Array = NDArray[np.float64]
LOWER_PIVOT, LOWER_OUTER = np.array([970.0, 259.0, -268.0]), np.array([970.0, 572.0, -341.0])
UPPER_PIVOT, UPPER_OUTER = np.array([970.0, 158.5, 30.0]), np.array([970.0, 488.0, -39.0])
TIE_INNER, TIE_OUTER = np.array([830.0, 70.0, 30.0]), np.array([830.0, 448.0, -39.0])
WHEEL = np.array([970.0, 615.0, -214.0])
DAMPER_ARM, DAMPER_BODY = np.array([1045.0, 500.0, -329.0]), np.array([1045.0, 297.0, 62.0])
TYRE = 356.0


@dataclass(frozen=True)
class State:
    """One position: the archive's four angles (rad) and the points that the checks need (mm)."""

    upper: float
    carrier: float
    arm: float
    steer: float
    upper_outer: Array
    lower_outer: Array
    tie_outer: Array
    wheel: Array
    spin: Array
    damper: float

    @property
    def angles(self) -> Array:
        """The archive's q_upper, q_carrier, q_arm and q_steer; its side has the other sign of steer."""
        return np.array([self.upper, self.carrier, self.arm, -self.steer])


def about(axis: Array, angle: float, vector: Array) -> Array:
    """Turn a vector about a unit axis (Rodrigues)."""
    along = axis * (axis @ vector)
    return along + np.cos(angle) * (vector - along) + np.sin(angle) * np.cross(axis, vector)


def in_front_view(pivot: Array, length: float, elevation: float) -> Array:
    return pivot + length * np.array([0.0, np.cos(elevation), np.sin(elevation)])


def solve(upper: float, rack: float = 0.0, lower_arm: float | None = None) -> State:
    """Position for the upper link's angle (positive: outer end down) and a rack displacement (to the left).

    `lower_arm` replaces the lower arm's length (a published model file has a wrong one).
    """
    arm_length = np.linalg.norm(LOWER_OUTER - LOWER_PIVOT) if lower_arm is None else lower_arm
    kingpin = float(np.linalg.norm(UPPER_OUTER - LOWER_OUTER))
    top = in_front_view(UPPER_PIVOT, float(np.linalg.norm(UPPER_OUTER - UPPER_PIVOT)), -upper)
    gap = top - LOWER_PIVOT
    reach = float(np.hypot(gap[1], gap[2]))
    inner = np.arccos((arm_length**2 + reach**2 - kingpin**2) / (2.0 * arm_length * reach))
    elevation = float(np.arctan2(gap[2], gap[1]) - inner)
    bottom = in_front_view(LOWER_PIVOT, float(arm_length), elevation)
    axis = (top - bottom) / kingpin
    tilt = float(np.arctan2(axis[1], axis[2]))  # top outboard positive: minus the kingpin inclination
    return _steer(upper, tilt, elevation, top, bottom, axis, rack)


def _steer(
    upper: float, tilt: float, elevation: float, top: Array, bottom: Array, axis: Array, rack: float
) -> State:
    design_axis = (UPPER_OUTER - LOWER_OUTER) / np.linalg.norm(UPPER_OUTER - LOWER_OUTER)
    design_tilt = float(np.arctan2(design_axis[1], design_axis[2]))
    roll = np.array([1.0, 0.0, 0.0])
    length = float(np.linalg.norm(TIE_OUTER - TIE_INNER))
    rack_end = TIE_INNER + np.array([0.0, rack, 0.0])

    def carried(vector: Array, steer: float) -> Array:
        return about(axis, steer, about(roll, design_tilt - tilt, vector))

    def tie_error(steer: float) -> float:
        return float(np.linalg.norm(top + carried(TIE_OUTER - UPPER_OUTER, steer) - rack_end)) - length

    steer = float(brentq(tie_error, -0.5, 0.5, xtol=1e-15, rtol=1e-14))
    lean = elevation - float(np.arctan2(*(LOWER_OUTER - LOWER_PIVOT)[[2, 1]]))
    damper_arm = LOWER_PIVOT + about(roll, lean, DAMPER_ARM - LOWER_PIVOT)
    return State(
        upper=upper,
        carrier=tilt - upper,
        arm=-elevation - tilt,
        steer=steer,
        upper_outer=top,
        lower_outer=bottom,
        tie_outer=top + carried(TIE_OUTER - UPPER_OUTER, steer),
        wheel=top + carried(WHEEL - UPPER_OUTER, steer),
        spin=carried(np.array([0.0, 1.0, 0.0]), steer),
        damper=float(np.linalg.norm(damper_arm - DAMPER_BODY)),
    )


def at_height(height: float, rack: float = 0.0) -> State:
    """Position whose wheel centre is `height` mm over its design height."""

    def error(upper: float) -> float:
        return float(solve(upper, rack).wheel[2] - WHEEL[2] - height)

    design = float(-np.arctan2(*(UPPER_OUTER - UPPER_PIVOT)[[2, 1]]))
    return solve(float(brentq(error, design - 0.35, design + 0.35, xtol=1e-15, rtol=1e-14)), rack)
