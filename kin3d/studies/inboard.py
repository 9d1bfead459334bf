"""The rod, the rocker and what they do to one corner over the travel: curves for pictures and for comparing cars."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError
from kin3d.linkage.car import Axle, Car
from kin3d.linkage.layout import Linkage
from kin3d.linkage.names import AxleName
from kin3d.linkage.part_keys import Masses
from kin3d.loads.rod import buckling_load, rod_force_per_load
from kin3d.measures.corner import Corner
from kin3d.measures.rod import carrier, misalignment_inner, misalignment_outer, rod_slope, rod_to_rocker
from kin3d.measures.springs import lacks_rate, motion_ratio, wheel_rate
from kin3d.solve.lanes import Lanes, Status
from kin3d.solve.model import AxleModel
from kin3d.spatial.jets import value

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class InboardCurves:
    """Inboard side of the left corner over the travel; NaN where a position is not reached.

    Attributes
    ----------
    title, axle : str
    rod_on : str
        Body that carries the rod's outer end.
    travel_mm, motion_ratio : ndarray, shape (travels,)
    wheel_rate_n_per_mm : ndarray or None
        None where the car file lacks rate or force.
    rod_force_per_load : ndarray
        Axial force of the rod per newton of wheel load, tension positive.
    rod_to_rocker_deg, rod_end_outer_deg, rod_end_inner_deg, rod_slope_deg : ndarray
    rod_length_mm : float
    buckling_n : float or None
        Euler's load of the rod's tube; None where the car file has no tube.
    mass_centre_height_mm : float or None
        Of rod, rocker and spring together over the file's z = 0; None without masses.
    places : dict of str to ndarray, shape (travels, 3)
        Places of the inboard points, mm.
    linkage : Linkage
    """

    title: str
    axle: AxleName
    rod_on: str
    travel_mm: Array
    motion_ratio: Array
    wheel_rate_n_per_mm: Array | None
    rod_force_per_load: Array
    rod_to_rocker_deg: Array
    rod_end_outer_deg: Array
    rod_end_inner_deg: Array
    rod_slope_deg: Array
    rod_length_mm: float
    buckling_n: float | None
    mass_centre_height_mm: float | None
    places: dict[str, Array]
    linkage: Linkage

    @property
    def kind(self) -> str:
        """``"pull"`` where the rod is in tension under wheel load in the design position, else ``"push"``."""
        k = int(np.argmin(np.abs(self.travel_mm)))
        return "pull" if self.rod_force_per_load[k] > 0.0 else "push"


def inboard_curves(car: Car, axle: AxleName, travel_mm: Sequence[float] | Array) -> InboardCurves:
    """Curves of rod and rocker over a travel.

    Raises
    ------
    RequestError
        When the axle has no rod and rocker, or no spring on it.
    """
    model = AxleModel.of(car, axle)
    need_rocker(model.axle, str(car.source))
    travel = np.atleast_1d(np.asarray(travel_mm, dtype=float))
    count = len(travel)
    lanes = Lanes(np.zeros(count, dtype=np.intp), travel, np.zeros(count))
    solved = model.kernel.solve(model.variants, lanes)
    corner = Corner.of(model, lanes, solved, 2)
    bad = solved.status != Status.OK

    def spread(x: object) -> Array:
        out = np.array(np.broadcast_to(value(x), count), dtype=float)
        out[bad] = np.nan
        return out

    rated = not lacks_rate(corner)
    force = rod_force_per_load(corner)
    length = rod_length_mm(model)
    buckling = buckling_load(model.axle.rod_part, np.asarray(length))
    functions = (rod_to_rocker, misalignment_outer, misalignment_inner, rod_slope)
    angles = [np.degrees(spread(f(corner))) for f in functions]
    return InboardCurves(
        car.title,
        axle,
        carrier(corner),
        travel,
        spread(motion_ratio(corner)),
        spread(wheel_rate(corner)) if rated else None,
        spread(force),
        angles[0],
        angles[1],
        angles[2],
        angles[3],
        length,
        None if buckling is None else float(buckling),
        mass_centre_height(model.axle, model),
        {p: np.stack([spread(c) for c in corner.place(p)], axis=-1) for p in inboard_points(model.linkage)},
        model.linkage,
    )


def has_rocker(linkage: Linkage) -> bool:
    """Whether there is a rod with rocker and spring."""
    return linkage.rocker is not None and linkage.spring is not None


def need_rocker(axle: Axle, source: str) -> None:
    """Raise RequestError where there is no rod with rocker and spring, with the way to one that the layout has."""
    if has_rocker(axle.linkage):
        return
    text = f"the {axle.name} axle has no rod, rocker and spring"
    key = next((p.key for p in axle.layout.parts if p.rocker is not None), None)
    if key is not None:
        way = f"give {key} in [{axle.name}] and the points of the rocker"
    else:
        way = f'layout "{axle.layout.name}" has none: a layout of your own may have one ([parts.rocker])'
    raise RequestError(Finding("no-rocker", f"{text}; {way}", source))


def inboard_points(linkage: Linkage) -> tuple[str, ...]:
    """Points of rod, rocker, spring and bar: all that could move to another place without the wheel noticing."""
    rocker = linkage.rocker
    if rocker is None:
        return ()
    names = [*rocker.rod, *linkage.bodies[rocker.body], *(linkage.spring or ())]
    if linkage.bar is not None:
        names += [*linkage.bar.link, *linkage.bar.axis, *linkage.bodies[linkage.bar.body]]
    return tuple(dict.fromkeys(names))


def rod_length_mm(model: AxleModel) -> float:
    """Distance of the rod's ends in the design position of the left corner."""
    if model.linkage.rocker is None:
        return float("nan")
    outer, inner = (model.variants.design[0, model.linkage.index(p)] for p in model.linkage.rocker.rod)
    return float(np.linalg.norm(outer - inner))


def mass_centre_height(axle: Axle, model: AxleModel) -> float | None:
    """Height of the common mass centre of rod, rocker and spring in the design position, mm; None without masses.

    Rod and spring have theirs midway between their ends, the rocker at the mean of its points.
    """
    masses, linkage = axle.masses or Masses(), model.linkage
    if linkage.rocker is None or linkage.spring is None:
        return None
    groups = (
        (masses.rod_kg, linkage.rocker.rod),
        (masses.rocker_kg, linkage.bodies[linkage.rocker.body]),
        (masses.spring_kg, linkage.spring),
    )
    total = sum(m or 0.0 for m, _ in groups)
    if not total:
        return None
    z = {p: float(model.variants.design[0, linkage.index(p), 2]) for p in linkage.points}
    return sum((m or 0.0) * float(np.mean([z[p] for p in points])) for m, points in groups) / total


def worst_rod_end(curves: InboardCurves) -> tuple[float, float]:
    """Largest misalignment of the outer and of the inner rod end over the travel, deg."""
    outer, inner = (np.nanmax(a) for a in (curves.rod_end_outer_deg, curves.rod_end_inner_deg))
    return float(outer), float(inner)
