"""The ground lies level in every picture: in roll the body leans, and the ground does not tilt."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Level:
    """From the vehicle frame to the picture's, in which the ground's normal is z.

    Without roll both are the same, so that travel moves the wheels and not the body. In roll the picture's frame is
    turned about the middle of the contact points.

    Attributes
    ----------
    normal : ndarray, shape (3,)
        Unit normal of the ground, vehicle frame; it has no part along x.
    foot : ndarray, shape (3,)
        Middle of the contact points, vehicle frame, mm.
    """

    normal: Array = field(default_factory=lambda: np.array([0.0, 0.0, 1.0]))
    foot: Array = field(default_factory=lambda: np.zeros(3))

    @property
    def turn(self) -> Array:
        """Rotation whose columns are the picture's axes in the vehicle frame, shape (3, 3)."""
        x, y, z = self.normal.tolist()
        return np.array([(1.0, 0.0, x), (0.0, z, y), (0.0, 0.0 - y, z)])  # ahead, square to it and the normal, normal

    def seen(self, places: Array) -> Array:
        """Places of the vehicle frame as they lie in the picture, shape (…, 3)."""
        found: Array = (places - self.foot) @ self.turn + self.foot
        return found

    def back(self, places: Array) -> Array:
        """Places of the picture's frame in the vehicle frame, shape (…, 3)."""
        found: Array = (places - self.foot) @ self.turn.T + self.foot
        return found
