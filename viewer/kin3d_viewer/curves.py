"""What a sweep shows: measures over one drive, and where it ends."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d_viewer.primitives import Array


@dataclass(frozen=True, slots=True, eq=False)
class Curves:
    """What a sweep shows: measures over one drive, the others held.

    Attributes
    ----------
    drive : str
        What the curves run over: ``travel_mm``, ``rack_mm`` or ``roll_deg``.
    at : ndarray, shape (k,)
    values : dict of str to ndarray, shape (2, k)
        Left and right.
    status : ndarray of int8, shape (2, k)
    points : ndarray, shape (2, k, points, 3)
    notes : tuple of str
        Where the sweep ends, and why.
    """

    drive: str
    at: Array
    values: dict[str, Array]
    status: NDArray[np.int8]
    points: Array
    notes: tuple[str, ...] = ()
