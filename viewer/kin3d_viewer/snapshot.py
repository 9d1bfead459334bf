"""One position of an axle: places of all points and the measures there; all that a scene is made from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from kin3d.linkage.car import MeshFile
from kin3d.linkage.layout import WHEEL_AXIS, WHEEL_CENTRE, Linkage
from kin3d.linkage.names import AxleName
from kin3d_viewer.level import Level
from kin3d_viewer.primitives import Array

SIDES = ("left", "right")
SIGNS = (1.0, -1.0)


@dataclass(frozen=True, slots=True, eq=False)
class Snapshot:
    """A position of both corners.

    Attributes
    ----------
    title : str
    axle : {"front", "rear"}
    linkage : Linkage
    points : ndarray, shape (2, points, 3)
        Places of ``linkage.points`` on the left and the right, mm, vehicle frame.
    design : ndarray, shape (2, points, 3)
        The same in the design position.
    values : mapping of str to ndarray, shape (2,)
        Measures by name, left and right.
    drives : mapping of str to float
        ``travel_mm``, ``rack_mm``, ``roll_deg``: where this is.
    radius_mm : float or None
        Loaded radius of the tyres.
    normal : ndarray, shape (3,)
        Unit normal of the ground in the vehicle frame.
    forces_n : mapping of str to ndarray, shape (2,)
        Forces in two-point bodies, tension positive; empty when not known.
    loads_n : mapping of str to ndarray, shape (2,)
        Forces of a load case along links and springs, tension positive; NaN on a side that is not loaded.
    springs : mapping of str to (str, str)
        Further springs of a corner: their two points.
    cross : mapping of str to (str, str)
        Springs across the car: point on the left, point on the right.
    meshes : mapping of str to MeshFile
        Mesh files by ``upright``, ``wheel``, ``tyre`` or ``chassis``.
    mesh_side : float
        +1 when the meshes are of the left side, −1 of the right.
    trails : mapping of str to ndarray, shape (k, 3)
        Where the centres go over the sweep, in the picture's frame (`kin3d_viewer.level`), mm; NaN where there is none.
    """

    title: str
    axle: AxleName
    linkage: Linkage
    points: Array
    design: Array
    values: Mapping[str, Array]
    drives: Mapping[str, float]
    radius_mm: float | None = None
    normal: Array = field(default_factory=lambda: np.array([0.0, 0.0, 1.0]))
    forces_n: Mapping[str, Array] = field(default_factory=dict)
    loads_n: Mapping[str, Array] = field(default_factory=dict)
    springs: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    cross: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    meshes: Mapping[str, MeshFile] = field(default_factory=dict)
    mesh_side: float = 1.0
    trails: Mapping[str, Array] = field(default_factory=dict)

    def at(self, side: int, point: str) -> Array:
        """Place of a point, shape (3,); side 0 is the left."""
        found: Array = self.points[side, self.linkage.index(point)]
        return found

    def spin(self, side: int) -> Array:
        """Unit spin axis, outboard."""
        axis = self.at(side, WHEEL_AXIS) - self.at(side, WHEEL_CENTRE)
        found: Array = axis / np.linalg.norm(axis)
        return found

    def vector(self, side: int, stem: str, unit: str = "_mm") -> Array | None:
        """Three measures ``stem x unit`` as a place; None where one is missing or has no value."""
        names = [f"{stem}{axis}{unit}" for axis in "xyz"]
        if any(n not in self.values for n in names):
            return None
        found = np.array([self.values[n][side] for n in names])
        return found if np.isfinite(found).all() else None

    def loaded(self, side: int, name: str) -> bool:
        """Whether a link or spring has a force of a load case on that side."""
        return name in self.loads_n and bool(np.isfinite(self.loads_n[name][side]))

    @property
    def level(self) -> Level:
        """How the ground lies; level in the vehicle frame where no tyre says where it is."""
        contacts = [self.vector(side, "contact_") for side in (0, 1)]
        there = [c for c in contacts if c is not None]
        return Level(self.normal, np.mean(there, axis=0)) if len(there) == 2 else Level(self.normal)

    def value(self, side: int, name: str) -> float | None:
        """A measure on one side; None where it is missing or has no value."""
        found = float(self.values[name][side]) if name in self.values else np.nan
        return found if np.isfinite(found) else None
