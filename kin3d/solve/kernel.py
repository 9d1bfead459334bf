"""The kernel: solve many positions of many variants of one linkage at once.

Terms: a *variant* is one set of design coordinates of the same linkage (the other side of the car is one too); a
*lane* is one position of one variant. Lanes are flat arrays; the caller gives each its variant, travel and rack, and
gets coordinates and a status. Every lane starts from its own design position, so that no result depends on which
other lanes are there.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.layout import Linkage
from kin3d.solve.continuation import Continuation, vectors
from kin3d.solve.drives import RIGHT, TRAVEL, value_of
from kin3d.solve.engine import Worth
from kin3d.solve.implicit import BlockSolver, Solver, implicit
from kin3d.solve.initial_guess import Guess, Taylor, nodes, through, worth_nodes
from kin3d.solve.lanes import Lanes, Solved, Status, Variants
from kin3d.solve.newton import correct
from kin3d.solve.program import Evaluation
from kin3d.solve.shared_limits import continue_sharing_limits
from kin3d.solve.system import BlockPlan, System
from kin3d.spatial.jets import Algebra, Jet
from kin3d.spatial.vectors import Vec, vector

if TYPE_CHECKING:
    from kin3d.solve.fused_newton import FusedNewton

Array = NDArray[np.float64]
EXPANSIONS = 3  # variants kept with their expansions: both sides, the one that is asked, those that are drawn of it
CHUNK = 3072  # lanes at a time: the workspace stays in the processor's cache


@dataclass(frozen=True, slots=True)
class Motion:
    """Jets of all points of some lanes.

    Attributes
    ----------
    at : mapping of point to vector of Jet
        Present places, vehicle frame.
    design : mapping of point to vector
        Design places: numbers, or jets of design coordinates that are varied.
    algebra : Algebra
    generators : dict of str to int
        As given to `Kernel.motion`.
    opposite : mapping of point to vector of Jet
        Present places of the other side's points, by the names that they have there, where both sides are one system.
    """

    at: Mapping[str, Vec]
    design: Mapping[str, Vec]
    algebra: Algebra
    generators: dict[str, int]
    opposite: Mapping[str, Vec] = field(default_factory=dict)

    def cut(self, algebra: Algebra) -> Motion:
        """The same motion with the derivatives of a smaller algebra of the same generators."""

        def less(place: Vec) -> Vec:
            return vector(c.cut(algebra) if isinstance(c, Jet) else c for c in place)

        at = {p: less(v) for p, v in self.at.items()}
        design, opposite = ({p: less(v) for p, v in of.items()} for of in (self.design, self.opposite))
        return Motion(at, design, algebra, self.generators, opposite)


@dataclass(frozen=True, slots=True)
class Position:
    """A solved position in numbers of any kind: floats, arrays over lanes, jets or tape nodes.

    Attributes
    ----------
    q : mapping of point to vector
        Places of the unknown points.
    design : mapping of point to vector
        Design places of all points; jets where they are varied.
    rack_axis : vector
    stands : mapping of str to number
        Where every drive stands, mm or rad.
    """

    q: Mapping[str, Vec]
    design: Mapping[str, Vec]
    rack_axis: Vec
    stands: Mapping[str, Any]


class Kernel:
    """Solver of one linkage, compiled once in a reference position.

    Parameters
    ----------
    linkage : Linkage
    design : ndarray, shape (points, 3)
        Reference design coordinates of ``linkage.points``, mm. Pivots and bases are chosen here.

    Raises
    ------
    LayoutError, AssemblyError
        When the linkage is not determined by travel and rack, by name of what is too few or too many.
    """

    def __init__(self, linkage: Linkage, design: Array) -> None:
        self.linkage = linkage
        self.system = System(linkage, np.asarray(design, dtype=float))
        # made once: a point that is dragged asks for other variants with every step
        self._uniforms = Evaluation(self.system.uniforms)
        self._determinants = [Evaluation(b.newton_outputs[-1:]) for b in self.system.blocks]
        self._expanded: deque[tuple[Variants, Guess]] = deque(maxlen=EXPANSIONS)
        self._known: deque[Variants] = deque(maxlen=EXPANSIONS)
        self._worth = Worth()

    @property
    def wheel_base(self) -> tuple[str, ...]:
        """Base points of the wheel's body."""
        return self.system.equations.unknowns.bases[self.linkage.wheel_body].points

    def variants(self, design: Array, rack_axis: Array | None = None) -> Variants:
        """Prepare variants.

        Parameters
        ----------
        design : ndarray, shape (variants, points, 3) or (points, 3)
        rack_axis : ndarray, shape (variants, 3) or (3,), optional
            Unit vectors; default y, to the left.
        """
        coordinates = np.asarray(design, dtype=float).reshape(-1, len(self.linkage.points), 3)
        axis = np.array([0.0, 1.0, 0.0]) if rack_axis is None else np.asarray(rack_axis, dtype=float)
        axes = np.array(np.broadcast_to(axis, (len(coordinates), 3)))
        for known in self._known:  # studies ask the same ones one after the other
            if np.array_equal(known.design, coordinates) and np.array_equal(known.rack_axis, axes):
                return known
        self._known.append(self._prepared(coordinates, axes))
        return self._known[-1]

    def _prepared(self, coordinates: Array, axes: Array) -> Variants:
        system = self.system
        start = np.stack([coordinates[:, self.linkage.index(p), k] for _, p, k in system.unknown_keys])
        inputs = self._inputs(coordinates, axes)
        uniforms = [np.broadcast_to(v, len(coordinates)) for v in self._uniforms(inputs)]
        at = {p: coordinates[:, k] for k, p in enumerate(self.linkage.points)}
        lengths = system.equations.lengths(at)[list(system.row_order)]
        zero = Lanes(np.zeros(1, dtype=np.intp), np.zeros(1), np.zeros(1))
        stand = [float(x[0]) for x in system.drive_rows(zero)]
        inputs |= dict(zip(system.unknown_keys, start, strict=True)) | dict(zip(system.drive_keys, stand, strict=True))
        with np.errstate(all="ignore"):
            determinants = [found(inputs)[0] for found in self._determinants]
        return Variants(
            design=coordinates.copy(),
            rack_axis=axes,
            uniforms=np.array(uniforms).reshape(len(uniforms), -1),
            inverse_lengths=1.0 / np.broadcast_to(lengths.reshape(len(lengths), -1), (len(lengths), len(coordinates))),
            start=start,
            determinants=np.stack([np.broadcast_to(d, len(coordinates)) for d in determinants]),
        )

    # --- what `JoinedKernel` does for a side of a system of both: a corner is its own system --------------------------

    @property
    def whole(self) -> Kernel:
        """The kernel of the system: this one."""
        return self

    def of_system(self, variants: Variants) -> Variants:
        """The variants with the points of `system`: these."""
        return variants

    def seen_from(self, motion: Motion, _side: int) -> Motion:
        """A motion of the system by the names of one side: as it is."""
        return motion

    def changes(self, seeds: Array, _side: int) -> Array:
        """Directions of change of the system from those of one side: these."""
        return seeds

    # ------------------------------------------------------------------------------------------------------------------

    def _inputs(self, design: Array, axes: Array) -> dict[Any, Any]:
        out: dict[Any, Any] = {
            ("P", p, k): design[:, i, k] for i, p in enumerate(self.linkage.points) for k in range(3)
        }
        at: dict[str, Vec] = {p: tuple(design[:, i].T) for i, p in enumerate(self.linkage.points)}
        found = self.system.axes(at, tuple(axes.T))
        return out | {("axis", key, k): v[k] for key, v in found.items() for k in range(3)}

    def lanes(self, variants: Variants, travel: Any, rack: Any = 0.0, more: Mapping[str, Any] | None = None) -> Lanes:
        """All positions (broadcast of all drives, flattened) of all variants, the variant varying slowest.

        Parameters
        ----------
        more : mapping of str to float or ndarray, optional
            Drives beside travel and rack, mm or rad.
        """
        given = more or {}
        every = np.broadcast_arrays(travel, rack, *given.values())
        t, r, *others = (np.tile(np.asarray(x, dtype=float).ravel(), variants.count) for x in every)
        which = np.repeat(np.arange(variants.count), len(t) // variants.count)
        return Lanes(which, t, r, dict(zip(given, others, strict=True)))

    def solve(self, variants: Variants, lanes: Lanes, *, step: bool = True) -> Solved:
        """Close the linkage in every lane, each on the branch of assembly of its own design position.

        Parameters
        ----------
        step : bool
            Step the lanes that one run from the design position does not reach. Without it they are left UNSOLVED:
            a view that follows the mouse wants the others at once.
        """
        return self._solve(variants, lanes, self._guess(variants, lanes), step=step)

    def _guess(self, variants: Variants, lanes: Lanes) -> Guess:
        """Taylor's start, or for a long sweep the polynomial through nodes that start from it."""
        start = self._taylor(variants)
        if worth_nodes(variants, lanes):
            at = nodes(variants, lanes)
            solved = self._solve(variants, at, start, step=False)
            if not solved.status.any():
                return through(variants, at, solved.q)
        return start

    def _taylor(self, variants: Variants) -> Guess:
        """The expansion about the design position; those of the variants asked for last are kept."""
        for whose, guess in self._expanded:
            if whose is variants:
                return guess
        self._expanded.append((variants, Taylor(self.system, variants)))
        return self._expanded[-1][1]

    def _solve(self, variants: Variants, lanes: Lanes, guess: Guess, *, step: bool) -> Solved:
        q, error, good = self._correct(variants, lanes, guess)
        status = np.full(lanes.count, Status.OK, dtype=np.int8)
        limits: dict[int, tuple[float, ...]] = {}
        in_line: dict[int, str] = {}
        behind = np.flatnonzero(~good)
        if behind.size and not step:
            q[:, behind], error[behind], status[behind] = np.nan, np.nan, Status.UNSOLVED
        elif behind.size:
            stepped = continue_sharing_limits(self.system, variants, lanes.take(behind))
            q[:, behind], error[behind], status[behind] = stepped.q, stepped.error_mm, stepped.status
            # closed once more by the same steps as the others: the way by which a lane came leaves no trace
            came = behind[stepped.status == Status.OK]
            closed, size, fine = correct(self.system, variants, lanes.take(came), q[:, came])
            q[:, came[fine]], error[came[fine]] = closed[:, fine], size[fine]
            limits = self._limits(behind, lanes, stepped)
            in_line = {int(behind[k]): names for k, names in stepped.in_line.items()}
        return Solved(q, status, error, int(behind.size), limits, in_line, self.linkage.driven)

    def _correct(self, variants: Variants, lanes: Lanes, guess: Guess) -> tuple[Array, Array, NDArray[np.bool_]]:
        """Close the lanes from where they start; see `newton.correct`."""
        if self._worth(lanes.count):
            start = guess.polynomial(lanes) or guess(lanes)
            return self._fused.correct(variants, lanes, start, self._worth.level)
        q = np.empty((len(self.system.unknown_keys), lanes.count))
        error = np.empty(lanes.count)
        good = np.empty(lanes.count, dtype=bool)
        for first in range(0, lanes.count, CHUNK):
            part = slice(first, min(first + CHUNK, lanes.count))
            here = lanes.take(part)
            q[:, part], error[part], good[part] = correct(self.system, variants, here, guess(here))
        return q, error, good

    @cached_property
    def _fused(self) -> FusedNewton:
        """The same as machine code."""
        from kin3d.solve.fused_newton import FusedNewton

        return FusedNewton(self.system)

    @staticmethod
    def _limits(behind: NDArray[np.intp], lanes: Lanes, stepped: Continuation) -> dict[int, tuple[float, ...]]:
        ended = np.flatnonzero(stepped.status == Status.LIMIT)
        part = stepped.reached[ended]
        where = behind[ended]
        every = (lanes.travel, lanes.rack, *lanes.more.values())
        reached = zip(*(x[where] * part for x in every), strict=True)
        return {int(k): tuple(float(x) for x in row) for k, row in zip(where, reached, strict=True)}

    def _rows(self) -> list[tuple[str, int]]:
        return [(p, i) for i, p in enumerate(self.linkage.points)]

    def points(self, variants: Variants, lanes: Lanes, solved: Solved) -> Array:
        """Coordinates of every point, shape (lanes, points, 3), mm; NaN where a lane is not solved."""
        q, design, axis = vectors(self.system, variants, lanes, solved.q)
        axes = self.system.axes(design, axis)
        places = self.system.equations.places(q, design, self.system.values(lanes), axes)
        rows = [np.stack(np.broadcast_arrays(*places[p], lanes.travel)[:3], axis=-1) for p in self.linkage.points]
        return np.stack(rows, axis=1)

    def motion(
        self,
        variants: Variants,
        lanes: Lanes,
        solved: Solved,
        algebra: Algebra,
        generators: Mapping[str, int],
        seeds: Array | None = None,
        driven: Mapping[str, Jet] | None = None,
    ) -> Motion:
        """Jets of every point: the position with its derivatives.

        Parameters
        ----------
        algebra : Algebra
            Which derivatives are wanted.
        generators : mapping of str to int
            Number of the generator that is a drive (``"travel"``, ``"rack"``, one of the layout's; mm or rad), or
            ``"points"``; any of them may be left out. Where both sides are one system ``"travel"`` is both wheels
            alike, ``"apart"`` the left one up as much as the right one goes down.
        seeds : ndarray, shape (directions, points, 3) or (directions, points, 3, lanes), optional
            With ``"points"``: directions in which design coordinates change, mm per unit. Coefficients with that
            generator then have the shape (directions, lanes).
        driven : mapping of str to Jet, optional
            ``"travel"`` or ``"rack"`` as jets of the algebra, their values those of the lanes: where a drive moves
            with something else.

        Returns
        -------
        Motion
            Taylor coefficients: mm, mm per mm of drive, half of mm per mm², …
        """
        q, design, axis = vectors(self.system, variants, lanes, solved.q)
        stands = {name: lanes.drive(name) for name in self.system.drives}
        if seeds is not None:
            number = generators["points"]
            design = {p: _seeded(algebra, number, design[p], seeds[:, i]) for p, i in self._rows()}
        return self.motion_of(Position(q, design, axis, stands), algebra, generators, driven)

    def motion_of(
        self,
        position: Position,
        algebra: Algebra,
        generators: Mapping[str, int],
        driven: Mapping[str, Jet] | None = None,
        solver_of: Callable[[BlockPlan, Mapping[Any, Any]], Solver] = BlockSolver,
    ) -> Motion:
        """As `motion`, of any kind of numbers; `solver_of` as of `implicit`."""
        values = self._varied(position.stands, algebra, generators, driven or {})
        axes = self.system.axes(position.design, position.rack_axis)
        found = implicit(self.system, algebra, position.q, position.design, values, axes, solver_of)
        places = self.system.equations.places(found, position.design, values, axes)
        at = {p: _lifted(algebra, v) for p, v in places.items()}
        return Motion(at, dict(position.design), algebra, dict(generators))

    def _varied(
        self, now: Mapping[str, Any], algebra: Algebra, generators: Mapping[str, int], driven: Mapping[str, Jet]
    ) -> dict[str, Any]:
        """Where the drives stand, as jets of their generators; those that are driven as they are given."""
        out: dict[str, Any] = {}
        for name in self.system.drives:
            stands: Any = driven.get(name, now[name])
            own = {TRAVEL: 1.0} if name == RIGHT else {name: 1.0}
            if self.linkage.both_sides and name in (TRAVEL, RIGHT):
                own["apart"] = 1.0 if name == TRAVEL else -1.0
            for generator, rate in own.items():
                if generator in generators and name not in driven:
                    stands = stands + algebra.variable(0.0, generators[generator], rate)
            out[name] = value_of(self.linkage, name, stands)
        return out


def _lifted(algebra: Algebra, place: Vec) -> Vec:
    return vector(c if isinstance(c, Jet) else algebra.constant(c) for c in place)


def _seeded(algebra: Algebra, number: int, place: Vec, directions: Array) -> Vec:
    """A design point that moves with a generator; directions have shape (directions, 3) or (directions, 3, lanes)."""
    if not directions.any():
        return place
    each = directions if directions.ndim > 2 else directions[..., None]
    jets: list[Jet] = []
    for k in range(3):
        rate = each[:, k] if each[:, k].any() else None
        jets.append(algebra.variable(place[k], number, rate))
    return jets[0], jets[1], jets[2]
