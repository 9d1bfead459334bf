"""Bring a car next to another: scaled to its track or wheelbase, wheel centre on wheel centre, the linkage they share.

Points can only be laid over each other one by one where both cars have them in the same bodies.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError
from kin3d.linkage.car import Axle, Car, PointTable
from kin3d.linkage.keys import SharedError
from kin3d.linkage.layout import WHEEL_AXIS, WHEEL_CENTRE, Layout, Linkage
from kin3d.linkage.names import AxleName
from kin3d.linkage.record import R, changed
from kin3d.studies.case import Case, CaseModel
from kin3d.studies.corner_case import model_of

Array = NDArray[np.float64]
Scale = Literal["none", "track", "wheelbase"]


@dataclass(frozen=True, slots=True)
class FittedCar:
    """A car as it is compared.

    Attributes
    ----------
    car : Car
        The changed car; its file is untouched.
    factor : float
        By which all lengths were multiplied.
    shift_mm : ndarray, shape (3,)
        By which all points were then moved.
    sentences : tuple of str
        What was done, for whoever reads the result.
    """

    car: Car
    factor: float
    shift_mm: Array
    sentences: tuple[str, ...]


def fit(
    car: Car, axle: AxleName, reference: Car, scale: Scale = "none", align: bool = False, whole: bool = False
) -> FittedCar:
    """Scale and move the points of one axle, or of the whole car, to go with those of a reference car.

    Parameters
    ----------
    scale : {"none", "track", "wheelbase"}
        Which length becomes that of the reference. The points of the axle and their deviations, the loaded radius, the
        wheelbase and the height of the mass centre are multiplied alike; rates and forces are left as they are.
    align : bool
        Move all points along x and z so that the wheel centres stand at the same place in the side view. Across the car
        nothing is moved: y is measured from the car's own centre plane.
    whole : bool
        Whether the other axle goes along.

    Raises
    ------
    RequestError
        When the axle or the length to scale by is not there.
    """
    own, other = _axle(car, axle), _axle(reference, axle)
    factor = _factor(car, own, reference, other, scale)
    if factor == 1.0 and not align:
        return FittedCar(car, 1.0, np.zeros(3), ())  # the same car, of which models are at hand
    sentences = []
    if factor != 1.0:
        sentences.append(
            f"{car.title}: all lengths are multiplied by {factor:.5f}, so that its {scale} is that of "
            f"{reference.title}; rates and forces are not"
        )
    fitted = _scaled(own, factor)
    shift = np.zeros(3)
    if align:
        shift = (other.points[WHEEL_CENTRE] - fitted.points[WHEEL_CENTRE]) * np.array([1.0, 0.0, 1.0])
        fitted = _shifted(fitted, shift)
        sentences.append(
            f"{car.title}: all points are moved by x {shift[0]:+.2f}, z {shift[2]:+.2f} mm, so that the wheel centre "
            f"stands on that of {reference.title} in the side view; y stays, measured from the car's own centre plane"
        )
    data = _lengths(car.data, ("wheelbase_mm", "cg_height_mm"), factor)
    other_axle = car.rear if axle == "front" else car.front
    if whole and other_axle is not None:
        other_axle = _shifted(_scaled(other_axle, factor), shift)
    front, rear = (fitted, other_axle) if axle == "front" else (other_axle, fitted)
    return FittedCar(changed(car, data=data, front=front, rear=rear), factor, shift, tuple(sentences))


def _axle(car: Car, name: AxleName) -> Axle:
    found = car.front if name == "front" else car.rear
    if found is None:
        raise RequestError(Finding("axle-missing", f"the car file has no [{name}] axle", str(car.source)))
    return found


def _factor(car: Car, own: Axle, reference: Car, other: Axle, scale: Scale) -> float:
    if scale == "none":
        return 1.0
    if scale == "track":
        return abs(float(other.points[WHEEL_CENTRE][1])) / abs(float(own.points[WHEEL_CENTRE][1]))
    missing = [c for c in (car, reference) if c.data.wheelbase_mm is None]
    if missing:
        text = "is not given, and the cars are to be scaled to the same wheelbase"
        raise RequestError([Finding("wheelbase-missing", text, f"{c.source}, [car] wheelbase_mm") for c in missing])
    return float(reference.data.wheelbase_mm or 1.0) / float(car.data.wheelbase_mm or 1.0)


def _lengths(record: R, keys: Sequence[str], factor: float) -> R:
    """A record with some lengths times a factor, and their deviations with them."""
    sigmas = {key: s * (factor if key in keys else 1.0) for key, s in record.own_sigmas.items()}
    there = {key: getattr(record, key) for key in keys}
    return changed(record, sigmas, **{key: v * factor for key, v in there.items() if v is not None})


def _scaled(axle: Axle, factor: float) -> Axle:
    def error(e: SharedError) -> SharedError:
        x, y, z = (factor * s for s in e.sigma_mm)
        return changed(e, sigma_mm=(x, y, z))

    return changed(
        _lengths(axle, ("loaded_radius_mm",), factor),
        points=axle.points.scaled(factor),
        other_points=None if axle.other_points is None else axle.other_points.scaled(factor),
        shared_error=tuple(error(e) for e in axle.shared_error),
    )


def _shifted(axle: Axle, shift: Array) -> Axle:
    def table(points: PointTable) -> PointTable:
        return replace(points, xyz_mm=points.xyz_mm + shift)

    other = None if axle.other_points is None else table(axle.other_points)
    return changed(axle, points=table(axle.points), other_points=other)


@dataclass(frozen=True, slots=True)
class CommonCases:
    """A case of two cars with the same linkage, or the reason why there is none.

    Attributes
    ----------
    a, b : CaseModel or None
        Whole linkages where they agree, else the upright's linkage alone (no rod, rocker, spring, bar).
    reason : str
        Why the whole linkages, or (with a and b None) any part, cannot be laid over each other; empty when they can.
    """

    a: CaseModel | None
    b: CaseModel | None
    reason: str


def common_cases(a: Car, b: Car, case: Case) -> CommonCases:
    """A case of two cars, their linkages reduced as far as needed to have the same points and bodies."""
    whole = model_of(case, a), model_of(case, b)
    apart = _apart(*whole)
    if not apart:
        return CommonCases(*whole, reason="")
    if case.drive.name == "loads":
        reason = f"the linkages differ on the {' and the '.join(apart)} axle, and without rod and spring no car settles"
        return CommonCases(None, None, reason)
    less = [a, b]
    for axle in apart:
        less = [bare_car(c, axle) for c in less]
    bare = model_of(case, less[0], whole[0]), model_of(case, less[1], whole[1])
    still = _apart(*bare)
    pairs = list(zip(whole[0].parts, whole[1].parts, strict=True))
    if not still:
        rods = [(p.model.axle, q.model.axle) for p, q in pairs if p.model.axle.name in apart]
        return CommonCases(*bare, reason=_rods(*rods[0]))
    layouts = next([p.model.linkage.layout, q.model.linkage.layout] for p, q in pairs if p.model.axle.name in still)
    kinds = " and ".join(f'"{name}"' for name in layouts)
    reason = f"the linkages are of different kinds ({kinds}): their points do not answer to each other"
    return CommonCases(None, None, reason)


def _apart(a: CaseModel, b: CaseModel) -> tuple[AxleName, ...]:
    """Axles whose linkages differ."""
    pairs = zip(a.parts, b.parts, strict=True)
    names = [p.model.axle.name for p, q in pairs if not _same_linkage(p.model.linkage, q.model.linkage)]
    return tuple(dict.fromkeys(names))


def _same_linkage(a: Linkage, b: Linkage) -> bool:
    def shape(linkage: Linkage) -> tuple[object, ...]:
        bodies = {name: frozenset(points) for name, points in linkage.bodies.items()}
        return bodies, frozenset(linkage.fixed), frozenset(linkage.rack), linkage.spring, linkage.rocker

    return shape(a) == shape(b)


def _rods(a: Axle, b: Axle) -> str:
    said = [f'on "{x.rod_on}"' if x.rod_on else "absent" for x in (a, b)]
    if said[0] == said[1]:
        return "rod, rocker, spring or bar are joined differently in the two cars"
    return f"the rod is {said[0]} in the one car and {said[1]} in the other"


def bare_car(car: Car, name: AxleName) -> Car:
    """The car with the upright's linkage alone on one axle: no rod, rocker, spring, bar."""
    axle = car.front if name == "front" else car.rear
    if axle is None:
        return car
    kept = _base_points(axle.layout)
    bare = changed(
        axle,
        points=axle.points.only(kept),
        other_points=None if axle.other_points is None else axle.other_points.only(kept),
        layout_keys={},
        spring=None,
        torsion=None,
        bar=None,
        springs=(),
        third=None,
        roll_spring=None,
        stops=(),
        damper=None,
        rod_part=None,
        masses=None,
        driveshaft=None,
        shared_error=tuple(_of_kept(e, kept) for e in axle.shared_error if _touches(e.points, kept)),
    )
    return changed(car, **{name: bare})


def _of_kept(error: SharedError, kept: frozenset[str]) -> SharedError:
    return changed(error, points=tuple(p for p in error.points if p in kept))


def _touches(points: tuple[str, ...], kept: frozenset[str]) -> bool:
    return not points or any(p in kept for p in points)


def _base_points(layout: Layout) -> frozenset[str]:
    names = {p for points in layout.bodies.values() for p in points}
    names |= {WHEEL_CENTRE, WHEEL_AXIS, *layout.rack}
    return frozenset(names | {p for s in layout.sliders for p in (s.point, *s.line)})
