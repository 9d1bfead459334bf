"""Reading sweeps in tests."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

import kin3d

Array = NDArray[np.float64]


class Swept:
    """One side of a sweep of the front axle; ``swept["camber_deg"]`` has the shape (travel, rack)."""

    def __init__(
        self, path: Path, travel: ArrayLike, rack: ArrayLike = 0.0, side: str = "left", axle: str = "front"
    ) -> None:
        t, r = np.atleast_1d(np.asarray(travel, float)), np.atleast_1d(np.asarray(rack, float))
        self.data: Any = kin3d.sweep(kin3d.load(path), axle=axle, travel=t, rack=r).dataset().sel(side=side)
        assert (self.data["status"] == 0).all(), self.data["status"].values

    def __getitem__(self, name: str) -> Array:
        values: Array = self.data[name].transpose("travel_mm", "rack_mm").values
        return values

    def one(self, name: str) -> float:
        """The value of a sweep over one position."""
        return float(self[name].item())

    def line(self, name: str) -> Array:
        """Values over travel of a sweep with one rack displacement."""
        (values,) = self[name].T
        return values

    def wheel_centre(self) -> Array:
        """Shape (travel, rack, 3), mm."""
        return np.stack([self[f"wheel_{axis}_mm"] for axis in "xyz"], axis=-1)

    def spin(self, side: int = 1) -> Array:
        """Spin axis that camber and toe describe, outboard, shape (travel, rack, 3)."""
        camber, toe = np.radians(self["camber_deg"]), np.radians(self["toe_deg"])
        flat = np.cos(camber)
        return np.stack([flat * np.sin(toe), side * flat * np.cos(toe), -np.sin(camber)], axis=-1)

    def steering_axis(self, side: int = 1) -> Array:
        """Unit steering axis, upwards, that caster and kingpin inclination describe, shape (travel, rack, 3).

        They are its two projections, so its direction is (−tan caster, −s tan kingpin, 1) while it points up.
        """
        caster, kingpin = np.radians(self["caster_deg"]), np.radians(self["kingpin_deg"])
        axis = np.stack([-np.tan(caster), -side * np.tan(kingpin), np.ones_like(caster)], axis=-1)
        return axis / np.linalg.norm(axis, axis=-1, keepdims=True)
