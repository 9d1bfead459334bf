"""Checks for every kind of drawing: flatness, order of the joints, absolute place, coordinates that labels state."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import combinations

import numpy as np

from kin3d.reading.dxf.content import Vector
from kin3d.reading.dxf.matching import extent_of
from kin3d.reading.dxf.result import Job
from kin3d.reading.dxf.wording import coordinates

# Limits, mm of the car (common practice, no source).
HALF_TRACK_MM = (150.0, 1500.0)  # of a wheel centre from the middle plane; kerb cars to lorries
HEIGHT_MM = (-1000.0, 2000.0)  # of it over the origin, wherever on the car the origin is
LENGTH_MM = 8000.0  # of it before or behind the origin
AROUND_MM = 3000.0  # of a joint from the wheel centre of its corner
FLAT = 0.01  # smallest to largest singular value of places that lie in a plane
SHARED = 0.8  # share of the places with one coordinate in common from which on a drawing is no drawing in space
ONE_JOINT_MM = 0.01  # points nearer to each other are one
SAME = 1e-3  # share of the extent within which coordinates are the same
_ORDER = (
    ("lower_front", "lower_rear", 0, "behind"),
    ("upper_front", "upper_rear", 0, "behind"),
    ("upper_outer", "lower_outer", 2, "below"),
    ("lower_outer", "lower_front", 1, "inboard of"),
    ("upper_outer", "upper_front", 1, "inboard of"),
    ("tie_outer", "tie_inner", 1, "inboard of"),
)


def is_flat(places: Sequence[Vector]) -> bool:
    """Whether places lie in one plane, or nearly all of them share a coordinate: then they are no drawing in space.

    Three places always lie in a plane; of so few, one coordinate of all must be the same.
    """
    xyz = np.array(places).reshape(-1, 3)
    xyz = np.unique(np.round(xyz, 9), axis=0)
    extent = float(np.linalg.norm(np.ptp(xyz, axis=0))) if len(xyz) else 0.0
    if len(xyz) < 2 or extent == 0.0:
        return False
    alike = max(int((np.abs(column[:, None] - column) <= SAME * extent).sum(axis=1).max()) for column in xyz.T)
    if len(xyz) < 4:
        return alike == len(xyz) and bool(np.ptp(xyz[:, 2]) <= SAME * extent)
    size = np.linalg.svd(xyz - xyz.mean(axis=0), compute_uv=False)
    return bool(size[2] <= FLAT * size[0]) or alike >= SHARED * len(xyz)


def is_level(places: Sequence[Vector]) -> bool:
    """Whether places are flat and nearly all have one z."""
    z = np.array(places).reshape(-1, 3)[:, 2]
    return is_flat(places) and bool((np.abs(z - np.median(z)) <= SAME * extent_of(places)).mean() >= SHARED)


def check_points(job: Job) -> None:
    """Refuse what cannot be: two names on one joint, labels that say otherwise, a plane, a place or an order."""
    _check_shared(job)
    _check_written(job)
    points = job.reading.points
    if len(points) >= 4 and is_flat([p.xyz_mm for p in points.values()]):
        text = "the points lie in one plane, or nearly all share a coordinate: this is one view, not a drawing in space"
        more = "Take the 3D original, or declare it as a view in views.toml together with others"
        job.log.error("drawing-flat", f"{text}. {more}")
        job.refuse_all()
    _check_place(job)
    _check_sense(job)


def _check_place(job: Job) -> None:
    """Refuse points whose place on the car cannot be: the datum of the drawing is not the car's origin."""
    points = {n: p.xyz_mm - job.datum_mm for n, p in job.reading.points.items()}
    wrong = out_of_place(points, job.side)
    if not wrong or "place" in job.declared.override:
        return
    text = f"{'; '.join(wrong)}: the drawing's zero is not the car's. Say where the car's origin stands in the drawing"
    more = '(origin, of each view or of the drawing; or the place of a [known] point), or put override = ["place"]'
    job.log.error("place-odd", f"{text} {more} in views.toml")
    job.refuse_all()


def out_of_place(xyz_mm: Mapping[str, Vector], side: str | None) -> list[str]:
    """Return what cannot be of points of a corner in the vehicle frame, as it is said to a person; NaN is unknown."""
    centre, (near, far), (low, high) = xyz_mm.get("wheel_centre"), HALF_TRACK_MM, HEIGHT_MM
    x, y, z = np.full(3, np.nan) if centre is None else centre
    said = [
        (abs(y) < near or abs(y) > far, f"{abs(y):.0f} mm off the middle plane ({near:.0f} to {far:.0f} mm can be)"),
        (z < low or z > high, f"at a height of {z:.0f} mm ({low:.0f} to {high:.0f} mm can be)"),
        (abs(x) > LENGTH_MM, f"at x = {x:.0f} mm (at most {LENGTH_MM:.0f} mm either way can be)"),
        (side is not None and near <= abs(y) <= far and (y > 0.0) != (side == "left"),
         f"at y = {y:.0f} mm, which is not on the {side}"),
    ]  # fmt: skip
    wrong = [f"wheel_centre would be {text}" for is_wrong, text in said if is_wrong]
    limits = np.array([LENGTH_MM, far, high])
    for name, xyz in xyz_mm.items():
        astray = (np.abs(np.nan_to_num(xyz)) > limits).any()
        if centre is not None:
            astray = np.linalg.norm(np.nan_to_num(xyz - centre)) > AROUND_MM
        if astray and len(wrong) < 4:
            wrong.append(f"{name} would be at ({', '.join(f'{c:.0f}' for c in xyz)}) mm")
    return wrong


def _check_shared(job: Job) -> None:
    """Refuse two names on one joint that labels of their own give it: one of the two hangs on the wrong mark.

    One text with both names, attributes, layers and places named by a person say that the two are one.
    """
    points = dict(job.reading.points)
    loose = [n for n, p in points.items() if {s.how for s in p.sources} <= {"leader", "near", "agreement"}]
    texts = {n: {id(t.text) for t in job.ties if t.name.point == n} for n in loose}
    for a, b in combinations(loose, 2):
        if np.linalg.norm(points[a].xyz_mm - points[b].xyz_mm) > ONE_JOINT_MM or texts[a] & texts[b]:
            continue
        at = ", ".join(f"{c:g}" for c in np.round(points[a].xyz_mm, 3))
        text = f"{a} and {b} are both tied to the joint at ({at}) mm: if they are one, write both names in one label"
        for name in (a, b):
            where = str(points[name].sources[0].origin)
            job.refuse(name, "place-shared", f"{text}; else draw leaders, or name the places", where)
            job.blank(name)


def _check_written(job: Job) -> None:
    """Compare points with the coordinates that their own labels state."""
    for tie in job.ties:
        point = job.reading.points.get(tie.name.point)
        if point is None or tie.text is None:
            continue
        stated = next((c for line in tie.text.lines if (c := coordinates(line)) is not None), None)
        if stated is None:
            continue
        drawn = np.asarray(point.sources[0].place)
        near = np.abs(point.xyz_mm - stated).max() <= max(0.51, job.tolerance_mm)
        same = len(drawn) == 3 and np.abs(drawn - stated).max() <= 0.51
        if not near and not same:
            a, b = (", ".join(f"{c:g}" for c in np.round(v, 3)) for v in (stated, point.xyz_mm))
            text = f"{tie.name.point} is drawn at ({b}) mm, but its label says ({a})"
            job.refuse(tie.name.point, "written-contradiction", text, str(tie.text.origin))
            job.blank(tie.name.point)


def _check_sense(job: Job) -> None:
    """Refuse axes in which a front joint lies behind its rear one, an upper below its lower, an inner outside."""
    points = job.reading.points
    wrong = out_of_order({n: p.xyz_mm for n, p in points.items()})
    if not wrong:
        return
    text = f"in the axes as taken {'; '.join(wrong)}: axes, origin or names are wrong"
    if "sense" in job.declared.override:
        job.log.warn("sense", text)
        return
    job.log.error("sense", f'{text}; correct them, or put override = ["sense"] in views.toml')
    job.refuse_all()


def out_of_order(xyz_mm: Mapping[str, Vector]) -> list[str]:
    """Return what is the wrong way round among points of a corner, as it is said to a person."""
    wrong = []
    for a, b, axis, word in _ORDER:
        if a in xyz_mm and b in xyz_mm:
            p, q = xyz_mm[a], xyz_mm[b]
            gap = abs(p[1]) - abs(q[1]) if axis == 1 else p[axis] - q[axis]
            if gap < -1.0:
                wrong.append(f"{a} lies {word} {b} by {-gap:.1f} mm")
    return wrong
