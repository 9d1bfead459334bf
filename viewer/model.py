"""The live model: a point is moved, the sweep is solved again, every measure follows. Knows neither VTK nor Qt.

The linkage is compiled once; a moved point makes new variants of the same kernel, so that a step costs one solve of all
positions of both sides and the measures there.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.car import AxleName, Car
from kin3d.linkage.layout import WHEEL_AXIS, WHEEL_CENTRE
from kin3d.measures.compute import available, corner_measures, values
from kin3d.measures.table import Measure
from kin3d.solve.kernel import Solved
from kin3d.solve.lanes import Lanes, Variants
from kin3d.solve.limits import limit_sentence
from kin3d.solve.status import Status
from kin3d.studies.model import AxleModel
from kin3d_viewer.primitives import Array
from kin3d_viewer.scene_axes import roll_centre
from kin3d_viewer.snapshot import SIDES, Snapshot

MIRROR = np.array([1.0, -1.0, 1.0])
TRAVEL_MM = tuple(float(v) for v in range(-40, 41))
ORDER = 2  # order of derivatives along travel that the measures need


@dataclass(frozen=True, slots=True, eq=False)
class Curves:
    """What a sweep shows: measures over one drive, the others held.

    Attributes
    ----------
    drive : str
        ``travel_mm`` or ``rack_mm``: what the curves run over.
    at : ndarray, shape (k,)
    values : dict of str to ndarray, shape (2, k)
        Left and right.
    status : ndarray of int8, shape (2, k)
    points : ndarray, shape (2, k, points, 3)
    notes : tuple of str
        Where the sweep ends, and why.
    """

    drive: str
    at: Array
    values: dict[str, Array]
    status: NDArray[np.int8]
    points: Array
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """A solved state of the model: design, curves, present position and its unknowns (unknowns, 2)."""

    design: Array
    curves: Curves
    now: Snapshot
    q: Array
    roll_path: Array | None = None


@dataclass(frozen=True, slots=True)
class Drives:
    """Where the sliders stand."""

    travel_mm: float = 0.0
    rack_mm: float = 0.0

    def as_dict(self) -> dict[str, float]:
        """By name."""
        return {"travel_mm": self.travel_mm, "rack_mm": self.rack_mm}


@dataclass(eq=False)
class LiveModel:
    """One axle of a car that can be changed while it is looked at.

    Attributes
    ----------
    car : Car
        As read; never changed.
    base : AxleModel
        Linkage and kernel, compiled once, with the variants of the file.
    design : ndarray, shape (2, points, 3)
        Design coordinates as they stand, left and right, mm.
    sweep_at : tuple of float
        Values of the drive that the curves run over.
    over : {"travel_mm", "rack_mm"}
    measures : tuple of Measure
        Those that there is data for.
    """

    car: Car
    axle: AxleName = "front"
    sweep_at: Sequence[float] = TRAVEL_MM
    over: str = "travel_mm"
    base: AxleModel = field(init=False)
    design: Array = field(init=False)
    measures: tuple[Measure, ...] = field(init=False, default=())
    left_out: dict[str, str] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        self.base = AxleModel.of(self.car, self.axle)
        self.design = self.base.variants.design.copy()
        self.measures, self.left_out = available(self._corner_at_rest(), corner_measures(self.axle))

    def _corner_at_rest(self):  # type: ignore[no-untyped-def]
        model, kernel = self.base, self.base.kernel
        lanes = kernel.lanes(model.variants, 0.0)
        return model.corner(lanes, kernel.solve(model.variants, lanes), ORDER)

    @property
    def mirrored(self) -> bool:
        """Whether the two sides are mirror images and move together."""
        return self.base.axle.other_points is None

    @property
    def own_side(self) -> int:
        """0 when the file gives the left side, 1 when the right."""
        return SIDES.index(self.base.axle.side)

    def points(self) -> tuple[str, ...]:
        """Names of the points that can be moved."""
        given = self.base.axle.points
        return tuple(p for p in self.base.linkage.points if p in given)

    def with_point(self, design: Array, side: int, point: str, place: Array) -> Array:
        """Design coordinates with a point of one side moved; its mirror image moves too where the sides are one.

        A wheel axis that follows from static camber and toe moves with the wheel centre.
        """
        out = design.copy()
        row = self.base.linkage.index(point)
        shift = np.asarray(place, dtype=float) - out[side, row]
        rows = [row]
        if point == WHEEL_CENTRE and WHEEL_AXIS not in self.base.axle.points:
            rows.append(self.base.linkage.index(WHEEL_AXIS))
        out[side, rows] += shift
        if self.mirrored:
            out[1 - side, rows] = out[side, rows] * MIRROR
        return out

    def variants(self, design: Array) -> Variants:
        """Variants of the compiled kernel with other design coordinates."""
        with np.errstate(all="ignore"):
            return self.base.kernel.variants(design, self.base.variants.rack_axis)

    def solve(self, design: Array, drives: Drives, variants: Variants | None = None, q: Array | None = None) -> View:
        """Solve the sweep and the present position of a design in one call.

        Parameters
        ----------
        design : ndarray, shape (2, points, 3)
        drives : Drives
            The present position; what the curves do not run over is held at its value.
        variants : Variants, optional
            Those of the design, where they are there already.
        q : ndarray, shape (unknowns, 2), optional
            Unknowns of the present position, while dragging. Positions of the sweep near the ends of the travel, which
            take longer, then stay without value.
        """
        kernel = self.base.kernel
        chosen = self.variants(design) if variants is None else variants
        at = np.asarray(self.sweep_at, dtype=float)
        held = drives.as_dict() | {self.over: at}
        travel, rack = (np.broadcast_to(held[n], at.shape) for n in ("travel_mm", "rack_mm"))
        lanes = kernel.lanes(chosen, np.append(travel, drives.travel_mm), np.append(rack, drives.rack_mm))
        solved = kernel.solve(chosen, lanes, step=q is None)
        present = [len(at), 2 * len(at) + 1]
        if q is not None:
            solved.q[:, present], solved.status[present] = q, Status.OK
        shape = (2, len(at) + 1)
        places = kernel.points(chosen, lanes, solved).reshape(*shape, len(self.base.linkage.points), 3)
        found = {n: v.reshape(shape) for n, v in self._measures(lanes, solved, chosen).items()}
        status = solved.status.reshape(shape)
        notes = self._notes(chosen, lanes, solved) if q is None else ()
        curves = Curves(self.over, at, {n: v[:, :-1] for n, v in found.items()}, status[:, :-1], places[:, :-1], notes)
        now = self._snapshot(design, places[:, -1], {n: v[:, -1] for n, v in found.items()}, drives)
        return View(design, curves, now, solved.q[:, present], self._roll_path(curves, now))

    def _measures(self, lanes: Lanes, solved: Solved, variants: Variants) -> dict[str, Array]:
        with np.errstate(all="ignore"):
            corner = self.base.corner(lanes, solved, ORDER, variants=variants)
            return values(corner, self.measures, (lanes.count,))

    def _notes(self, variants: Variants, lanes: Lanes, solved: Solved) -> tuple[str, ...]:
        """A sentence for each side and end of the sweep that is not reached."""
        seen: dict[tuple[int, bool], str] = {}
        for lane in np.flatnonzero(solved.status != Status.OK):
            key = (int(lanes.variant[lane]), bool(lanes.travel[lane] > 0))
            if key not in seen and not (self.mirrored and (1 - key[0], key[1]) in seen):
                text = limit_sentence(self.base.kernel, variants, lanes, solved, int(lane)).text
                seen[key] = f"{SIDES[key[0]]} wheel: {text}"
        return tuple(seen.values())

    def _snapshot(self, design: Array, places: Array, found: Mapping[str, Array], drives: Drives) -> Snapshot:
        axle = self.base.axle
        return Snapshot(
            title=self.car.title,
            axle=self.axle,
            linkage=self.base.linkage,
            points=places,
            design=design,
            values=found,
            drives=drives.as_dict(),
            radius_mm=axle.loaded_radius_mm,
            meshes={k: str(v) for k, v in getattr(axle, "meshes", {}).items()},
            mesh_side=(1.0, -1.0)[self.own_side],
        )

    @staticmethod
    def _roll_path(curves: Curves, now: Snapshot) -> Array | None:
        """Places of the roll centre over the sweep, where it has one."""
        out = []
        for k in range(len(curves.at)):
            here = replace(now, points=curves.points[:, k], values={n: v[:, k] for n, v in curves.values.items()})
            place = roll_centre(here)
            if place is not None:
                out.append(place)
        return np.array(out) if len(out) > 1 else None
