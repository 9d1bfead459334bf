"""The live model: a point is moved, the sweep is solved again, every measure follows. Knows neither VTK nor Qt.

The linkage is compiled once; a moved point makes new variants of the same kernel, so that a step costs one solve of all
positions of both sides and the measures there.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from kin3d.linkage.car import Car
from kin3d.linkage.design import moved_point
from kin3d.linkage.names import AxleName
from kin3d.measures.corner import Corner
from kin3d.measures.entry import Measure, available, values
from kin3d.solve.lanes import Lanes, Solved, Status, Variants
from kin3d.solve.limits import limit_sentence
from kin3d.solve.model import AxleModel
from kin3d.solve.newton import follow
from kin3d.studies.ground_contact import Stance, put_on_ground
from kin3d.studies.registry import axle_measures, corner_measures, unnamed
from kin3d.studies.sweep import measure_on_ground
from kin3d_viewer.curves import Curves
from kin3d_viewer.primitives import Array
from kin3d_viewer.snapshot import SIDES, Snapshot
from kin3d_viewer.trails import trails

ORDER = 2  # order of derivatives along travel that the measures need
# values of each drive that curves run over, unless something else is asked for
RANGES: dict[str, tuple[float, ...]] = {
    "travel_mm": tuple(float(v) for v in range(-40, 41)),
    "rack_mm": tuple(float(v) for v in np.linspace(-30.0, 30.0, 61)),
    "roll_deg": tuple(float(v) for v in np.linspace(-3.0, 3.0, 61).round(9)),
}


@dataclass(frozen=True, slots=True)
class Drives:
    """Where the sliders stand; in roll the travel is the mean of the two wheels'."""

    travel_mm: float = 0.0
    rack_mm: float = 0.0
    roll_deg: float = 0.0

    def as_dict(self) -> dict[str, float]:
        """By name."""
        return {"travel_mm": self.travel_mm, "rack_mm": self.rack_mm, "roll_deg": self.roll_deg}


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """A solved state of the model.

    Attributes
    ----------
    design : ndarray, shape (2, points, 3)
    curves : Curves
    now : Snapshot
        The present position.
    q : ndarray, shape (unknowns, 2)
        Its unknowns, left and right.
    travel_mm : ndarray, shape (2,)
        Travel of each wheel there.
    """

    design: Array
    curves: Curves
    now: Snapshot
    q: Array
    travel_mm: Array


@dataclass(frozen=True, slots=True, eq=False)
class _Place:
    """One position: every point, the measures, unknowns and travels of both sides."""

    points: Array
    values: Mapping[str, Array]
    q: Array
    travel_mm: Array


@dataclass(frozen=True)
class _Swept:
    """A sweep that was solved: what it was of, its curves, and positions of it that were solved ahead."""

    design: Array
    variants: Variants
    curves: Curves
    drives: Drives
    ahead: dict[Drives, _Place] = field(default_factory=dict)

    def holds(self, design: Array, over: str, at: Array, drives: Drives) -> bool:
        """Whether it is the sweep of that design, and the position differs in what it runs over alone."""
        others = (d.as_dict() | {over: 0.0} for d in (drives, self.drives))
        same = self.curves.drive == over and np.array_equal(self.curves.at, at) and not drives.roll_deg
        return bool(same and next(others) == next(others) and np.array_equal(design, self.design))


@dataclass(eq=False)
class LiveModel:
    """One axle of a car that can be changed while it is looked at.

    Attributes
    ----------
    car : Car
        As read; never changed.
    over : {"travel_mm", "rack_mm", "roll_deg"}
        What the curves run over.
    ranges : dict of str to sequence of float
        Values of each drive for that.
    base : AxleModel
        Linkage and kernel, compiled once, with the variants of the file.
    design : ndarray, shape (2, points, 3)
        Design coordinates as they stand, left and right, mm.
    followed : collection of str or None
        Measures that are worked out while a point is dragged; None: all. The others come when it is let go.
    """

    car: Car
    axle: AxleName = "front"
    over: str = "travel_mm"
    ranges: dict[str, Sequence[float]] = field(default_factory=lambda: dict(RANGES))
    base: AxleModel = field(init=False)
    design: Array = field(init=False)
    followed: Collection[str] | None = field(init=False, default=None)
    _before: tuple[Variants, Lanes, Array] | None = field(init=False, default=None)
    _swept: _Swept | None = field(init=False, default=None)
    _made: Variants | None = field(init=False, default=None)

    def __post_init__(self) -> None:
        self.base = AxleModel.of(self.car, self.axle)
        self.design = self.base.variants.design.copy()

    @cached_property
    def measures(self) -> tuple[Measure, ...]:
        """Measures of the corner that there is data for."""
        model = self.base
        lanes = model.kernel.lanes(model.variants, 0.0)
        corner = Corner.of(model, lanes, model.kernel.solve(model.variants, lanes), ORDER)
        return available(corner, unnamed(corner_measures(self.axle)))[0]

    @cached_property
    def every_measure(self) -> dict[str, Measure]:
        """Measures of corner and axle by name."""
        return {m.name: m for m in unnamed((*corner_measures(self.axle), *axle_measures(self.axle)))}

    @property
    def mirrored(self) -> bool:
        """Whether the two sides are mirror images and move together."""
        return self.base.axle.other_points is None

    @property
    def own_side(self) -> int:
        """0 when the file gives the left side, 1 when the right."""
        return SIDES.index(self.base.axle.side)

    @property
    def rolls(self) -> bool:
        """Whether the axle can be rolled: its wheels have a radius to stand on."""
        return self.base.axle.loaded_radius_mm is not None

    def points(self) -> tuple[str, ...]:
        """Names of the points that can be moved."""
        given = self.base.axle.points
        return tuple(p for p in self.base.linkage.points if p in given)

    def with_point(self, design: Array, side: int, point: str, place: Array) -> Array:
        """Design coordinates with a point of one side moved; its mirror image moves too where the sides are one.

        A wheel axis that follows from static camber and toe moves with the wheel centre.
        """
        sides = self.base.sides[side], self.base.sides[1 - side]
        return moved_point(sides, design, self.base.linkage, point, place)

    def variants(self, design: Array) -> Variants:
        """Variants of the compiled kernel with other design coordinates; those asked for last are kept."""
        last = self._made
        if last is None or not np.array_equal(last.design, design):
            with np.errstate(all="ignore"):
                last = self._made = self.base.kernel.variants(design.copy(), self.base.variants.rack_axis)
        return last

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
        at = np.asarray(self.ranges[self.over], dtype=float)
        swept = self._swept
        if q is None and variants is None and swept is not None and swept.holds(design, self.over, at, drives):
            return self._present(swept, drives)
        chosen = self.variants(design) if variants is None else variants
        held = {n: np.append(np.full(len(at), v), v) for n, v in drives.as_dict().items()}
        held[self.over][:-1] = at
        if held["roll_deg"].any():
            return self._on_ground(design, chosen, at, held, drives)
        return self._corners(design, chosen, at, held, drives, q)

    def _corners(
        self,
        design: Array,
        chosen: Variants,
        at: Array,
        held: Mapping[str, Array],
        drives: Drives,
        q: Array | None,
    ) -> View:
        """Both corners at the same travel, measures of the corner."""
        kernel = self.base.kernel
        lanes = kernel.lanes(chosen, held["travel_mm"], held["rack_mm"])
        near = None if q is None else self._from_before(chosen, lanes)
        solved = near or kernel.solve(chosen, lanes, step=q is None)
        self._before = chosen, lanes, solved.q.copy()
        if q is not None:
            present = [len(at), 2 * len(at) + 1]
            solved.q[:, present], solved.status[present] = q, Status.OK
        wanted, order = self.measures, ORDER
        if q is not None and self.followed is not None:
            wanted = tuple(m for m in self.measures if m.name in self.followed)
            order = max(1, *(m.order for m in wanted))
        with np.errstate(all="ignore"):
            corner = Corner.of(self.base, lanes, solved, order, variants=chosen)
            found = values(corner, wanted, (lanes.count,))
        shape = (2, len(at) + 1)
        notes = self._notes(lanes, solved) if q is None else ()
        view = self._view(design, chosen, at, drives, (lanes, solved), _reshaped(found, shape), notes)
        self._swept = _Swept(design.copy(), chosen, view.curves, drives) if q is None else None
        return view

    def solve_ahead(self, drives: Sequence[Drives]) -> None:
        """Solve positions of the sweep that was solved last in one call; `solve` then has them at hand.

        Positions that are not of that sweep, or beyond reach, are left to `solve`.
        """
        swept, at = self._swept, np.asarray(self.ranges[self.over], dtype=float)
        wanted = [d for d in drives if swept is not None and swept.holds(self.design, self.over, at, d)]
        if swept is not None and wanted:
            found = self._places(swept.variants, wanted)
            swept.ahead.update({d: p for d, p in zip(wanted, found, strict=True) if np.isfinite(p.q).all()})

    def _places(self, chosen: Variants, drives: Sequence[Drives]) -> list[_Place]:
        """Positions of both sides at the same travel, with the measures of the corner."""
        kernel, count = self.base.kernel, len(drives)
        lanes = kernel.lanes(chosen, np.array([d.travel_mm for d in drives]), np.array([d.rack_mm for d in drives]))
        solved = kernel.solve(chosen, lanes)
        with np.errstate(all="ignore"):
            corner = Corner.of(self.base, lanes, solved, ORDER, variants=chosen)
            found = _reshaped(values(corner, self.measures, (2 * count,)), (2, count))
        points, travels = kernel.points(chosen, lanes, solved), lanes.travels
        return [
            _Place(points[k::count], {n: v[:, k] for n, v in found.items()}, solved.q[:, k::count], travels[:, k])
            for k in range(count)
        ]

    def _present(self, swept: _Swept, drives: Drives) -> View:
        """Another position of a sweep that is there: its curves stay as they are."""
        here = swept.ahead.get(drives) or self._places(swept.variants, [drives])[0]
        seen = trails(swept.curves, drives.roll_deg)
        now = self._snapshot(swept.design, here.points, here.values, drives, seen)
        return View(swept.design, swept.curves, now, here.q, here.travel_mm)

    def _from_before(self, chosen: Variants, lanes: Lanes) -> Solved | None:
        """While dragging: all positions closed from those of the step before; None where one of them does not close."""
        if self._before is None:
            return None
        variants, there, q = self._before
        if not (np.array_equal(there.travel, lanes.travel) and np.array_equal(there.rack, lanes.rack)):
            return None
        kernel = self.base.kernel
        return follow(kernel.system, kernel.of_system(chosen), lanes, kernel.of_system(variants), q)

    def _on_ground(self, design: Array, chosen: Variants, at: Array, held: Mapping[str, Array], drives: Drives) -> View:
        """Both wheels on one ground, measures of the axle."""
        count = len(at) + 1
        stance = Stance(held["travel_mm"], np.radians(held["roll_deg"]), held["rack_mm"], np.zeros(count))
        model = replace(self.base, variants=chosen)
        with np.errstate(all="ignore"):
            standing = put_on_ground([model], stance)
            wanted = tuple(self.every_measure[m.name] for m in unnamed(axle_measures(self.axle)))
            _, _, flat = measure_on_ground(model, stance, standing, 0, wanted)
        lanes, solved = standing.axles[0]
        bad = np.tile(standing.status != Status.OK, 2)
        solved.q[:, bad], solved.status[bad] = np.nan, np.tile(standing.status, 2)[bad]
        found = _reshaped(flat, (2, count))
        notes = tuple(f.text for f in standing.findings)
        return self._view(design, chosen, at, drives, (lanes, solved), found, notes)

    def _view(
        self,
        design: Array,
        chosen: Variants,
        at: Array,
        drives: Drives,
        done: tuple[Lanes, Solved],
        found: dict[str, Array],
        notes: tuple[str, ...],
    ) -> View:
        lanes, solved = done
        shape = (2, len(at) + 1)
        places = self.base.kernel.points(chosen, lanes, solved).reshape(*shape, len(self.base.linkage.points), 3)
        status = solved.status.reshape(shape)
        along = {n: v[:, :-1] for n, v in found.items()}
        curves = Curves(self.over, at, along, status[:, :-1], places[:, :-1], notes)
        here = {n: v[:, -1] for n, v in found.items()}
        now = self._snapshot(design, places[:, -1], here, drives, trails(curves, drives.roll_deg))
        present = [len(at), 2 * len(at) + 1]
        return View(design, curves, now, solved.q[:, present], lanes.travels[:, -1])

    def _notes(self, lanes: Lanes, solved: Solved) -> tuple[str, ...]:
        """A sentence for each side and end of the sweep that is not reached."""
        seen: dict[tuple[int, bool], str] = {}
        for lane in np.flatnonzero(solved.status != Status.OK):
            key = (int(lanes.variant[lane]), bool(lanes.travel[lane] > 0))
            if key not in seen and not (self.mirrored and (1 - key[0], key[1]) in seen):
                text = limit_sentence(lanes, solved, int(lane)).text
                seen[key] = f"{SIDES[key[0]]} wheel: {text}"
        return tuple(seen.values())

    def _snapshot(
        self,
        design: Array,
        places: Array,
        found: Mapping[str, Array],
        drives: Drives,
        paths: Mapping[str, Array],
    ) -> Snapshot:
        axle, roll = self.base.axle, np.radians(drives.roll_deg)
        cross = {"third spring": axle.third, "roll spring": axle.roll_spring}
        return Snapshot(
            title=self.car.title,
            axle=self.axle,
            linkage=self.base.linkage,
            points=places,
            design=design,
            values=found,
            drives=drives.as_dict(),
            radius_mm=axle.loaded_radius_mm,
            normal=np.array([0.0, np.sin(roll), np.cos(roll)]),
            springs={s.name: s.points for s in axle.springs},
            cross={n: s.points for n, s in cross.items() if s},
            meshes=axle.mesh_files(),
            mesh_side=(1.0, -1.0)[self.own_side],
            trails=paths,
        )


def _reshaped(found: Mapping[str, Array], shape: tuple[int, int]) -> dict[str, Array]:
    return {n: v.reshape(shape) for n, v in found.items()}
