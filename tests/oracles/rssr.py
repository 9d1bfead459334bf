"""The RSSR loop of the published example (mm, rad): crank turned about a skew axis, rod, rocker about x."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tests.oracles.rocker import turn_about

Array = NDArray[np.float64]
AXIS = np.array([0.009243, -0.951003, 0.309043])
AXIS = AXIS / np.linalg.norm(AXIS)  # printed to six digits
ARM = 201.6318
CRANK = ARM * np.array([-0.379646, 0.400777, 0.833815])
ROD = 350.0
PIVOT = 403.1627 * np.array([0.524328, 0.835662, -0.163552])
TILT = np.radians(7.294)


def crank_end(angle_rad: Array) -> Array:
    """End of the input arm, shape (n, 3)."""
    return turn_about(np.zeros(3), AXIS, np.atleast_1d(angle_rad), CRANK)


def rocker_end(g: Array) -> Array:
    """End of the output arm, shape (n, 3)."""
    g = np.atleast_1d(g)
    arm = [-np.sin(TILT) * np.ones_like(g), np.cos(TILT) * np.cos(g), np.cos(TILT) * np.sin(g)]
    return PIVOT + ARM * np.stack(arm, axis=-1)


def output(angle_rad: Array) -> Array:
    """Output angle g, rad, shape (n,), on the published circuit."""
    gap = crank_end(angle_rad) - PIVOT
    across = np.cos(TILT) * ARM
    p, q = 2.0 * across * gap[:, 1], 2.0 * across * gap[:, 2]
    k = np.sum(gap * gap, axis=1) + ARM**2 - ROD**2 + 2.0 * ARM * np.sin(TILT) * gap[:, 0]
    return np.mod(np.arctan2(q, p) - np.arccos(k / np.hypot(p, q)), 2.0 * np.pi)
