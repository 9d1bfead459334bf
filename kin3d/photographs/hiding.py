"""What the wheels hide: whether a tyre stands between the camera and a place of the car."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
TYRE_WIDTH_MM = 180.0  # of a tyre whose width nobody stated
OUTBOARD_MM = 70.0  # how much of it stands outboard of the wheel centre
FACE_IN_MM, FACE_MM = 5.0, 20.0  # how far its face stands within the tyre, and how thick it is
STEPS = 97  # places looked at along each ray, over a length of 2.4 radii: a tyre's edge is found to some 10 mm
FACE = 0.2  # cosine to the wheel's axis below which a rim is too narrow to be marked


def hidden(
    eye: Array, places: Array, centre: Array, axis: Array, radius: float, rim: float
) -> NDArray[np.bool_]:
    """Whether a wheel stands before each place: the tyre, a ring with a width, and the face of the rim within it.

    From inboard one sees into the rim.

    Parameters
    ----------
    eye : ndarray, shape (3,)
        The camera, car frame, mm.
    places : ndarray, shape (n, 3)
    centre, axis : ndarray, shape (3,)
        Wheel centre, and unit spin axis outboard.
    radius, rim : float
        Of the tyre and of the rim's edge, mm.
    """
    ray = places - eye
    reach = np.linalg.norm(ray, axis=1)[:, None]
    nearest = (ray @ (centre - eye))[:, None] / reach**2
    part = nearest + np.linspace(-1.2, 1.2, STEPS) * radius / reach
    off = eye + part[..., None] * ray[:, None] - centre
    along = off @ axis
    square = (off**2).sum(axis=-1) - along**2
    tyre = (along < OUTBOARD_MM) & (along > OUTBOARD_MM - TYRE_WIDTH_MM) & (square > rim**2)
    face = (along < OUTBOARD_MM - FACE_IN_MM) & (along > OUTBOARD_MM - FACE_IN_MM - FACE_MM)
    inside = (tyre | face) & (square < radius**2)
    out: NDArray[np.bool_] = (inside & (part > 0.0) & (part < 1.0 - 5.0 / reach)).any(axis=1)
    return out
