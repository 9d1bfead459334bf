"""A corner as drawn on paper: its points in the design position, contact point, instant centres, roll centre."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.layout import WHEEL_AXIS, WHEEL_CENTRE
from kin3d.measures.entry import values
from kin3d.measures.instant_centres import MEASURES as CENTRES
from kin3d.measures.wheel import MEASURES as WHEEL
from kin3d.studies.corner_model import CornerModel

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Outline:
    """What the two views of a corner show, mm, chassis frame.

    Attributes
    ----------
    title : str
    at : dict of point to ndarray, shape (3,)
    members : tuple of tuple of str
        Points of each moving body, for a drawing to join.
    spin : ndarray, shape (3,)
        Unit spin axis, outboard.
    sign : float
        +1 on the left, −1 on the right.
    radius_mm : float or None
        Loaded radius; None: no contact point, no centres.
    contact : ndarray, shape (3,), or None
    front_centre : ndarray, shape (2,), or None
        (y, z) of the instant centre in the front view.
    side_centre : ndarray, shape (2,), or None
        (x, z) of the instant centre in the side view.
    roll_centre_mm : float or None
        Height over the ground.
    """

    title: str
    at: dict[str, Array]
    members: tuple[tuple[str, ...], ...]
    spin: Array
    sign: float
    radius_mm: float | None
    contact: Array | None
    front_centre: Array | None
    side_centre: Array | None
    roll_centre_mm: float | None


def outline(side: CornerModel, title: str) -> Outline:
    """Points and constructions of a corner in the design position."""
    linkage = side.model.linkage
    at = dict(zip(linkage.points, side.design, strict=True))
    spin = at[WHEEL_AXIS] - at[WHEEL_CENTRE]
    radius = side.model.axle.loaded_radius_mm
    members = tuple(tuple(p for p in points if p != WHEEL_AXIS) for points in linkage.bodies.values())
    found = {} if radius is None else _constructions(side)
    pick = [None if not found else np.array([found[n] for n in names]) for names in _PAIRS]
    height = found.get("roll_centre_height_mm")
    return Outline(
        title, at, members, spin / np.linalg.norm(spin), side.sign, radius, pick[0], pick[1], pick[2], height
    )


_PAIRS = (
    ("contact_x_mm", "contact_y_mm", "contact_z_mm"),
    ("front_ic_y_mm", "front_ic_z_mm"),
    ("side_ic_x_mm", "side_ic_z_mm"),
)


def _constructions(side: CornerModel) -> dict[str, float]:
    variants = side.variants(side.design)
    lanes = side.model.kernel.lanes(variants, np.zeros(1))
    corner = side.corner(lanes, side.model.kernel.solve(variants, lanes), 1, variants)
    return {n: float(v[0]) for n, v in values(corner, (*WHEEL, *CENTRES), (1,)).items()}
