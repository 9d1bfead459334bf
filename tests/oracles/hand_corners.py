"""Corners drawn so that a hand calculation is exact: instant centres and lock angles are chosen (mm)."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import fsolve

Array = NDArray[np.float64]
Points = dict[str, Array]
X, HALF_TRACK, RADIUS, PIVOT_Y = 1000.0, 750.0, 265.0, 250.0
_BALLS = {"lower": np.array([X, 700.0, 130.0]), "upper": np.array([X, 690.0, 400.0])}
_TIE = np.array([X + 80.0, 700.0, 180.0])


def _corner(pivot: dict[str, Array], along: dict[str, Array], tie_inner: Array) -> Points:
    points = {"wheel_centre": np.array([X, HALF_TRACK, RADIUS]), "tie_outer": _TIE, "tie_inner": tie_inner}
    for arm, ball in _BALLS.items():
        points |= {
            f"{arm}_outer": ball,
            f"{arm}_front": pivot[arm] + along[arm],
            f"{arm}_rear": pivot[arm] - along[arm],
        }
    return points


def with_front_centre(y: float, z: float) -> Points:
    """Corner whose links all point, in the front view, at (y, z); z over the ground."""
    centre = np.array([y, z])

    def inboard(outer: Array) -> Array:
        share = (outer[1] - PIVOT_Y) / (outer[1] - y)
        return np.array([outer[0], *(outer[1:] + share * (centre - outer[1:]))])

    straight = np.array([120.0, 0.0, 0.0])
    pivots = {arm: inboard(ball) for arm, ball in _BALLS.items()}
    return _corner(pivots, dict.fromkeys(_BALLS, straight), inboard(_TIE))


def with_side_centre(x: float, z: float) -> Points:
    """Corner whose arms, level in the front view, all point at (x, z) in the side view."""
    pivots = {arm: np.array([X, PIVOT_Y, ball[2]]) for arm, ball in _BALLS.items()}
    along = {a: 120.0 * np.array([1.0, 0.0, (b[2] - z) / (X - x)]) for a, b in _BALLS.items()}
    return _corner(pivots, along, np.array([_TIE[0], PIVOT_Y, _TIE[2]]))


def with_locks(left_deg: float, right_deg: float, kingpin_y: float, rack: float) -> Points:
    """Corner with an upright kingpin whose wheels steer these angles to the left at that rack displacement.

    The tie link's outer end is searched in the plane so that its length fits at both locks; the right wheel
    at +rack is the mirror image of the left one at -rack.
    """
    pin, inner = np.array([X, kingpin_y]), np.array([X - 110.0, PIVOT_Y])

    def turned(arm: Array, angle_deg: float) -> Array:
        c, s = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
        return pin + np.array([c * arm[0] - s * arm[1], s * arm[0] + c * arm[1]])

    def errors(arm: Array) -> list[float]:
        length = np.linalg.norm(pin + arm - inner)
        ends = ((left_deg, rack), (-right_deg, -rack))
        return [float(np.linalg.norm(turned(arm, a) - inner - [0.0, r]) - length) for a, r in ends]

    arm, _, done, text = fsolve(errors, [-130.0, -20.0], xtol=1e-14, full_output=True)
    assert done == 1 or np.abs(errors(arm)).max() < 1e-11, text
    points = with_front_centre(-1e9, 0.0)
    for name in ("lower", "upper"):
        height = points[f"{name}_outer"][2]
        points[f"{name}_outer"] = np.array([*pin, height])
        for end in ("front", "rear"):
            points[f"{name}_{end}"] = np.array([points[f"{name}_{end}"][0], PIVOT_Y, height])
    points["tie_inner"], points["tie_outer"] = np.array([*inner, 180.0]), np.array([*(pin + arm), 180.0])
    points["wheel_centre"] = np.array([X, kingpin_y + 40.0, RADIUS])
    return points
