"""What two cars have in common: the linkage whose points may be laid over each other one by one."""

from __future__ import annotations

from dataclasses import dataclass, replace

from kin3d.linkage.car import Axle, AxleName, Car, PointTable, SharedError, Side
from kin3d.linkage.layout import WHEEL_AXIS, WHEEL_CENTRE, Layout, Linkage
from kin3d.studies.corner_model import CornerModel


@dataclass(frozen=True, slots=True)
class Common:
    """Two corners with the same linkage, or the reason why there are none.

    Attributes
    ----------
    a, b : CornerModel or None
        Whole corners where the linkages agree, else the upright's linkage alone (no rod, rocker, spring, bar).
    reason : str
        Why the whole linkages, or (with a and b None) any part, cannot be laid over each other; empty when they can.
    """

    a: CornerModel | None
    b: CornerModel | None
    reason: str


def common_corners(a: Car, b: Car, axle: AxleName, side: Side) -> Common:
    """The corners of two cars, reduced as far as needed to have the same points and bodies."""
    whole = CornerModel.of(a, axle, side), CornerModel.of(b, axle, side)
    if _same(whole[0].model.linkage, whole[1].model.linkage):
        return Common(*whole, reason="")
    bare = CornerModel.of(_bare_car(a, axle), axle, side), CornerModel.of(_bare_car(b, axle), axle, side)
    if _same(bare[0].model.linkage, bare[1].model.linkage):
        return Common(*bare, reason=_rods(whole[0].model.axle, whole[1].model.axle))
    layouts = " and ".join(f'"{s.model.linkage.layout}"' for s in whole)
    reason = f"the linkages are of different kinds ({layouts}): their points do not answer to each other"
    return Common(None, None, reason)


def _same(a: Linkage, b: Linkage) -> bool:
    def shape(linkage: Linkage) -> tuple[object, ...]:
        bodies = {name: frozenset(points) for name, points in linkage.bodies.items()}
        return bodies, frozenset(linkage.fixed), frozenset(linkage.rack), linkage.spring, linkage.rocker

    return shape(a) == shape(b)


def _rods(a: Axle, b: Axle) -> str:
    said = [f'on "{x.rod_on}"' if x.rod_on else "absent" for x in (a, b)]
    if said[0] == said[1]:
        return "rod, rocker, spring or bar are joined differently in the two cars"
    return f"the rod is {said[0]} in the one car and {said[1]} in the other"


def _bare_car(car: Car, name: AxleName) -> Car:
    axle = car.front if name == "front" else car.rear
    if axle is None:
        return car
    kept = _base_points(axle.layout)
    bare = replace(
        axle,
        points=_only(axle.points, kept),
        other_points=None if axle.other_points is None else _only(axle.other_points, kept),
        rod_on=None,
        layout_keys={},
        spring=None,
        torsion=None,
        bar=None,
        springs=(),
        third=None,
        roll_spring=None,
        stops=(),
        damper=None,
        rod=None,
        masses=None,
        attached={},
        shared_errors=tuple(_of_kept(e, kept) for e in axle.shared_errors if _touches(e.points, kept)),
    )
    return replace(car, front=bare) if name == "front" else replace(car, rear=bare)


def _of_kept(error: SharedError, kept: frozenset[str]) -> SharedError:
    return replace(error, points=tuple(p for p in error.points if p in kept))


def _touches(points: tuple[str, ...], kept: frozenset[str]) -> bool:
    return not points or any(p in kept for p in points)


def _base_points(layout: Layout) -> frozenset[str]:
    names = {p for points in layout.bodies.values() for p in points}
    names |= {WHEEL_CENTRE, WHEEL_AXIS, *layout.rack}
    return frozenset(names | {p for s in layout.sliders for p in (s.point, *s.line)})


def _only(table: PointTable, kept: frozenset[str]) -> PointTable:
    rows = [k for k, name in enumerate(table.names) if name in kept]
    return replace(
        table,
        names=tuple(table.names[k] for k in rows),
        xyz_mm=table.xyz_mm[rows],
        sigma_mm=table.sigma_mm[rows],
        places=tuple(table.places[k] for k in rows),
        notes=tuple(table.notes[k] for k in rows),
    )
