"""Links as tubes: stress, Euler's load, and how many times the load they would bear.

Strength is for qualified people: these are figures of straight tubes under forces along them, hinged at both ends,
without weight, bending, notches or fatigue.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.car import Axle
from kin3d.linkage.layout import Linkage
from kin3d.linkage.part_keys import Tube
from kin3d.loads.joint_forces import JointForces
from kin3d.loads.rod import buckling_load, rod_body
from kin3d.loads.whole_axle import names_of
from kin3d.measures.corner import Corner

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class LinkMargin:
    """A link as a tube over lanes; what the file does not give is None.

    Attributes
    ----------
    link : str
    axial : ndarray, shape (lanes,)
        Force along it, tension positive, N.
    stress : ndarray or None
        Force over the tube's section, tension positive, N/mm².
    buckling : ndarray or None
        Euler's load, N.
    yield_factor, buckling_factor : ndarray or None
        Yield over stress, without sign; Euler's load over the compression, infinite in tension.
    """

    link: str
    axial: Array
    stress: Array | None
    buckling: Array | None
    yield_factor: Array | None
    buckling_factor: Array | None


def section(tube: Tube) -> float | None:
    """Area of a tube's section, mm²: π·w·(D − w); None without diameter or wall."""
    if tube.diameter_mm is None or tube.wall_mm is None:
        return None
    return pi * tube.wall_mm * (tube.diameter_mm - tube.wall_mm)


def tubes_of(axle: Axle, linkage: Linkage) -> dict[str, Tube]:
    """The links whose tubes the car file gives, the rod among them."""
    out: dict[str, Tube] = {name: link for link in axle.links for name in names_of(axle, linkage, link.name)}
    if axle.rod_part is not None and linkage.rocker is not None:
        out[rod_body(linkage)] = axle.rod_part
    return {name: tube for name, tube in out.items() if name in linkage.links and section(tube) is not None}


def link_margins(corner: Corner, joints: JointForces) -> tuple[LinkMargin, ...]:
    """Every link of a corner whose tube the car file gives."""
    tubes = tubes_of(corner.axle, corner.linkage)
    return tuple(link_margin(link, tube, corner.linkage, joints) for link, tube in tubes.items())


def link_margin(link: str, tube: Tube, linkage: Linkage, forces: JointForces) -> LinkMargin:
    """Stress and factors of one link."""
    axial = forces.axial[link]
    first, second = (forces.at[p] for p in linkage.bodies[link])
    area = section(tube)
    stress = None if area is None else axial / area
    buckling = buckling_load(tube, np.linalg.norm(second - first, axis=0))
    with np.errstate(divide="ignore", invalid="ignore"):
        yields = None if stress is None or tube.yield_n_per_mm2 is None else tube.yield_n_per_mm2 / np.abs(stress)
        buckles = None if buckling is None else np.where(axial < 0.0, buckling / -axial, np.inf)
    return LinkMargin(link, axial, stress, buckling, yields, buckles)
