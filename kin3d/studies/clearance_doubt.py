"""How sure a least gap is: what each coordinate does to it, in the chassis frame or on the ground, meshes among them.

Gaps that are formulas are measures, with exact derivatives. A mesh's gap changes as the nearest places of both solids
part along the line between them (the envelope theorem): each place is carried by its body, whose motion follows from
the exact derivatives of three of its points. In the design position a mesh stays where it was drawn, whatever its
body's points are.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.car import Car
from kin3d.linkage.layout import CHASSIS, WHEEL_AXIS, WHEEL_CENTRE
from kin3d.measures.corner import Corner
from kin3d.measures.entry import Measure
from kin3d.measures.gaps import MeshSolid, SolidShape, TubeSolid, TurnedSolid, is_simple
from kin3d.measures.named_gaps import gap_measure, gap_name
from kin3d.solve.model import AxleModel
from kin3d.spatial.vectors import Number
from kin3d.studies.case import case_of
from kin3d.studies.clearance_gaps import AxleClearance, GapDoubt
from kin3d.studies.corner_case import model_of
from kin3d.studies.corner_model import AXES, by_rows, points_of_tables
from kin3d.studies.derived import AskedMeasures
from kin3d.studies.mesh_gaps import base_of
from kin3d.studies.uncertainty import doubt_of

Array = NDArray[np.float64]


def gap_doubts(car: Car, model: AxleModel, found: AxleClearance, sigma: float | None) -> dict[int, GapDoubt]:
    """Deviation of every least gap of a corner, and what each coordinate does to it, by row.

    Parameters
    ----------
    sigma : float, mm, optional
        Standard deviation of every coordinate to which the file gives none.
    """
    of_lane: dict[int, list[int]] = {}
    for row in found.rows():
        of_lane.setdefault(found.worst(row), []).append(row)
    groups: dict[tuple[float, ...], dict[float, list[int]]] = {}  # lanes with the same held drives, by the first one
    first, *others = found.drives
    for lane, rows in of_lane.items():
        held = tuple(float(found.drives[n][lane]) for n in others)
        groups.setdefault(held, {}).setdefault(float(found.drives[first][lane]), []).extend(rows)
    out: dict[int, GapDoubt] = {}
    for values, places in groups.items():
        out |= _Group(car, model, found, sigma, first, dict(zip(others, values, strict=True)), places).doubts()
    return out


@dataclass(slots=True)
class _Group:
    """Positions that differ in one drive alone."""

    car: Car
    model: AxleModel
    found: AxleClearance
    sigma: float | None
    drive: str
    held: Mapping[str, float]
    places: Mapping[float, list[int]]

    def doubts(self) -> dict[int, GapDoubt]:
        at = np.array(list(self.places))
        side = self.found.side
        if self.drive == "travel":
            case = case_of(self.found.axle, at, (), None, side, rack=self.held["rack"])
        else:
            ground: dict[str, Any] = {n: v for n, v in self.held.items() if n != "rack"} | {self.drive: at}
            case = case_of(self.found.axle, None, (), None, side, rack=self.held["rack"], **ground)
        subject = model_of(case, self.car)
        parts = subject.parts
        uncertainty = doubt_of(subject, self.sigma)
        effects = uncertainty.seeds.reshape(len(uncertainty.sources), -1)
        points = [p for p in points_of_tables(parts) if parts[p.corner].model.axle.name == self.model.axle.name]
        ways = np.concatenate([p.directions.reshape(3, -1) for p in points])
        names = tuple(f"{p.told} {a}" for p in points for a in AXES)
        rows = [r for some in self.places.values() for r in some]
        measures = self._measures(rows)
        seeds = np.concatenate([effects, ways]).reshape(-1, len(subject.design), 3)
        asked = AskedMeasures(list(measures.values()), seeds=seeds)
        slopes = subject.derive(subject.design[None], at, asked).slope
        number = {name: k for k, name in enumerate(measures)}
        told = self.model.axle.name, subject.corner.side
        own = seeds[:, next(rows for rows, p in by_rows(parts) if (p.model.axle.name, p.side) == told)]
        out = {}
        for lane, some in enumerate(self.places.values()):
            for row in some:
                pair = self.found.pairs[row]
                if is_simple(pair):
                    slope = slopes[number[gap_name(pair)], :, lane]
                else:
                    moved = {name: slopes[k, :, lane] for name, k in number.items()}
                    slope = self._of_meshes(row, moved, own)
                doubt = float(np.linalg.norm(slope[: len(effects)])) if len(effects) else float("nan")
                out[row] = GapDoubt(doubt, names, slope[len(effects) :])
        return out

    def _measures(self, rows: Sequence[int]) -> dict[str, Measure]:
        """Gaps that are formulas, and places of points that carry solids of the others, by name."""
        pairs = [self.found.pairs[r] for r in rows]
        names = dict.fromkeys(gap_name(p) for p in pairs if is_simple(p))
        out = {n: gap_measure(n) for n in names}
        for shape in (s for p in pairs if not is_simple(p) for s in p):
            for point in self._carried_by(shape):
                out |= {f"{point} {a}": _place(point, k) for k, a in enumerate(AXES)}
        return out

    def _carried_by(self, shape: SolidShape) -> tuple[str, ...]:
        if isinstance(shape, TubeSolid):
            return shape.points
        if isinstance(shape, TurnedSolid):
            return WHEEL_CENTRE, WHEEL_AXIS
        return () if shape.rides == CHASSIS else base_of(self.model, shape.rides)

    def _of_meshes(self, row: int, moved: Mapping[str, Array], seeds: Array) -> Array:
        """Change of a pair's gap along every direction; NaN where its surfaces cross."""
        lane = self.found.worst(row)
        near = self.found.first[row, :, lane], self.found.second[row, :, lane]
        apart = near[1] - near[0]
        size = float(np.linalg.norm(apart))
        if not size > 0.0:
            return np.full(len(seeds), np.nan)
        pair = self.found.pairs[row]
        first, second = (self._flow(s, p, lane, moved, seeds) for s, p in zip(pair, near, strict=True))
        return np.asarray((second - first) @ (apart / size))

    def _flow(self, shape: SolidShape, place: Array, lane: int, moved: Mapping[str, Array], seeds: Array) -> Array:
        """How a place of a solid moves along every direction, shape (directions, 3)."""
        points = self._carried_by(shape)
        if not points:
            return np.zeros((len(seeds), 3))
        rows = [self.model.linkage.index(p) for p in points]
        now = self.found.at[lane, rows]
        # points, directions, 3
        moves = np.stack([np.stack([moved[f"{p} {a}"] for a in AXES], axis=-1) for p in points])
        if isinstance(shape, TubeSolid):
            part = float((place - now[0]) @ (now[1] - now[0])) / float((now[1] - now[0]) @ (now[1] - now[0]))
            part = min(max(part, 0.0), 1.0)
            return np.asarray((1.0 - part) * moves[0] + part * moves[1])
        if isinstance(shape, TurnedSolid):
            arm = now[1] - now[0]
            turn = np.cross(arm, moves[1] - moves[0]) / float(arm @ arm)
            return np.asarray(moves[0] + np.cross(turn, place - now[0]))
        assert isinstance(shape, MeshSolid)
        design = self.model.variants.design[0 if self.found.side == "left" else 1][rows]
        turn = _frame(now) @ _frame(design).T
        before = design[0] + turn.T @ (place - now[0])
        return _carried(now, moves, place) - _carried(design, np.moveaxis(seeds[:, rows], 1, 0), before) @ turn.T


def _place(point: str, axis: int) -> Measure:
    """One coordinate of a point as a measure."""
    name = f"{point} {AXES[axis]}"
    return Measure(
        name, name, "mm", "as the axis", "place of a point", "geometry", partial(_coordinate, point=point, axis=axis),
        group="solids", by_lanes=True,
    )  # fmt: skip


def _coordinate(corner: Corner, *, point: str, axis: int) -> Number:
    return corner.motion.at[point][axis]


def _frame(points: Array) -> Array:
    """Directions of three points as columns, each of length 1."""
    e1 = points[1] - points[0]
    e3 = np.cross(e1, points[2] - points[0])
    e1, e3 = e1 / np.linalg.norm(e1), e3 / np.linalg.norm(e3)
    return np.column_stack([e1, np.cross(e3, e1), e3])


def _carried(points: Array, moves: Array, place: Array) -> Array:
    """How a place moves that keeps its parts of two sides of a triangle and its height over it.

    Parameters
    ----------
    points : ndarray, shape (3, 3)
    moves : ndarray, shape (3, directions, 3)
    """
    u, v = points[1] - points[0], points[2] - points[0]
    du, dv = moves[1] - moves[0], moves[2] - moves[0]
    square = np.cross(u, v)
    size = float(np.linalg.norm(square))
    normal = square / size
    a, b, height = np.linalg.solve(np.column_stack([u, v, normal]), place - points[0])
    turned = np.cross(du, v) + np.cross(u, dv)
    tilt = (turned - (turned @ normal)[:, None] * normal) / size
    return np.asarray(moves[0] + a * du + b * dv + height * tilt)
