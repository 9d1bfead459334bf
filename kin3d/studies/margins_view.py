"""Margins of links and joints as tables: every position for files, the least over all of them for a person."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from kin3d.loads.joint_frames import JointFrame
from kin3d.loads.margins import LinkMargin
from kin3d.studies.case_forces import CaseForces
from kin3d.writing.tables import Cell, Column, Table

Array = NDArray[np.float64]
NOTHING = 1e-9  # N, degrees: what rounding leaves
WHERE = ("case", "axle", "side", "travel_mm", "rack_mm")
LINK = ("axial_n", "stress_n_per_mm2", "buckling_n", "yield_factor", "buckling_factor")
JOINT = ("radial_n", "axial_n", "misalignment_deg", "radial_factor", "axial_factor", "angle_factor")


def margin_records(parts: Sequence[CaseForces]) -> tuple[Table, ...]:
    """Links as tubes and joints in their own frames at every position; factors are what is borne over what acts."""
    links = [row for p in parts for m in p.margins for row in _at_each(p, (m.link,), _of_link(m))]
    joints = [row for p in parts for f in p.frames for row in _at_each(p, (f.point, f.on), _of_joint(f))]
    return (
        Table.of("link_margins", _columns((*WHERE, "link", *LINK)), links),
        Table.of("joint_frames", _columns((*WHERE, "name", "on", *JOINT)), joints),
    )


def shown_margins(axle: str, parts: Sequence[CaseForces]) -> list[Table]:
    """The least factor of each link and joint over cases and positions, with where it is."""
    links: dict[str, list[_Least]] = {}
    joints: dict[str, list[_Least]] = {}
    for part in parts:
        for margin in part.margins:
            links.setdefault(margin.link, []).append(_Least(part, _of_link(margin)))
        for frame in part.frames:
            joints.setdefault(f"{frame.point} ({frame.on})", []).append(_Least(part, _of_joint(frame)))
    link_rows: list[tuple[Cell, ...]] = []
    for name, found in links.items():
        stress, euler = _greatest(found, 1), _value(found, 2)
        link_rows.append((name, stress, euler, *_least(found, (3, 4))))
    joint_rows: list[tuple[Cell, ...]] = []
    for name, found in joints.items():
        if all(v is None for one in found for v in one.values[3:]):
            continue
        joint_rows.append((name, *(_greatest(found, k) for k in range(3)), *_least(found, (3, 4, 5))))
    links_title = f"{axle} axle: links as tubes; factors are what is borne over what acts"
    joints_title = f"{axle} axle: joints along and square to their axes; factors are the rating over what acts"
    of_links = (
        Column("link", text=True, key=True),
        Column("stress", "N/mm²", places=1, head="stress N/mm²"),
        Column("buckling", "N", places=0, head="Euler N"),
        Column("yield", head="against yield", places=2),
        Column("euler", head="against buckling", places=2),
        Column("where", head="least in", text=True),
    )
    of_joints = (
        Column("joint", text=True, key=True),
        Column("radial", "N", places=0, head="radial N"),
        Column("axial", "N", places=0, head="axial N"),
        Column("angle", "deg", places=2, head="tilt °"),
        Column("of_radial", head="against radial", places=2),
        Column("of_axial", head="against axial", places=2),
        Column("of_angle", head="against tilt", places=2),
        Column("where", head="least in", text=True),
    )
    return [
        _filled(f"{axle}_link_margins", of_links, link_rows, links_title),
        _filled(f"{axle}_joint_margins", of_joints, joint_rows, joints_title),
    ]


def _filled(key: str, columns: Sequence[Column], rows: Sequence[tuple[Cell, ...]], title: str) -> Table:
    """A table without the columns in which nothing stands."""
    kept = [k for k in range(len(columns)) if any(row[k] is not None for row in rows)]
    return Table.of(key, (columns[k] for k in kept), ([row[k] for k in kept] for row in rows), title)


class _Least:
    """Figures of one part and one case, at the positions that are reached."""

    def __init__(self, part: CaseForces, values: Sequence[Array | None]) -> None:
        self.case = part.case
        self.values = tuple(None if v is None else v[part.ok] for v in values)


def _greatest(found: Iterable[_Least], k: int) -> float | None:
    """The figure that is largest without its sign, with its sign."""
    every = [v for one in found for v in _list(one.values[k])]
    return max(every, key=abs) if every else None


def _value(found: Iterable[_Least], k: int) -> float | None:
    every = [v for one in found for v in _list(one.values[k])]
    return min(every) if every else None


def _least(found: Sequence[_Least], which: Iterable[int]) -> tuple[Cell, ...]:
    """The least of each factor, and the case of the least of all."""
    cells: list[Cell] = []
    worst: tuple[float, str] | None = None
    for k in which:
        every = [(v, one.case) for one in found for v in _list(one.values[k]) if np.isfinite(v)]
        least = min(every) if every else None
        cells.append(least[0] if least else None)
        worst = min(x for x in (worst, least) if x is not None) if worst or least else None
    return (*cells, worst[1] if worst else None)


def _list(values: Array | None) -> list[float]:
    return [] if values is None else values.tolist()


def _of_link(m: LinkMargin) -> tuple[Array | None, ...]:
    return m.axial, m.stress, m.buckling, m.yield_factor, m.buckling_factor


def _of_joint(f: JointFrame) -> tuple[Array | None, ...]:
    tilt = np.degrees(f.tilt)
    acting = (f.radial, f.axial, tilt)
    rated = (f.part.radial_n, f.part.axial_n, f.part.limit_deg)
    with np.errstate(divide="ignore"):
        sizes = [np.where(np.abs(v) > NOTHING, np.abs(v), 0.0) for v in acting]
        factors = [None if r is None else r / v for v, r in zip(sizes, rated, strict=True)]
    return (*acting, *factors)


def _at_each(part: CaseForces, name: Sequence[str], values: Sequence[Array | None]) -> Iterator[tuple[Cell, ...]]:
    for k in np.flatnonzero(part.ok).tolist():
        where = (part.case, part.axle, part.side, float(part.travel_mm[k]), float(part.rack_mm[k]))
        cells = (None if v is None or not np.isfinite(v[k]) else float(v[k]) for v in values)
        yield (*where, *name, *cells)


def _columns(names: Iterable[str]) -> list[Column]:
    units = {"_n": "N", "_mm": "mm", "_deg": "deg", "_n_per_mm2": "N/mm²"}
    return [Column(n, next((u for end, u in units.items() if n.endswith(end)), "")) for n in names]
