"""A linkage in motion written down on a tape: the arithmetic of its jets and of all places, with nodes for numbers.

The jets are those of `Kernel.motion`, their coefficients nodes. What is computed from them (measures, the expansion
that Newton starts from) is recorded once, and then runs over any number of lanes without an object for each number.
"""

from __future__ import annotations

from collections.abc import Collection, Hashable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.solve.kernel import Kernel, Motion, Position
from kin3d.solve.lanes import Lanes
from kin3d.solve.planned import LeastPivot
from kin3d.solve.system import System
from kin3d.solve.tape import Node, Tape
from kin3d.spatial.jets import Algebra
from kin3d.spatial.vectors import Vec, vector

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class RecordedMotion:
    """A motion whose coefficients are nodes.

    Attributes
    ----------
    tape : Tape
        Its inputs: ``("q", point, axis)`` and ``("drive", name)`` of a lane, ``("P", point, axis)`` and
        ``("rack", axis)`` of a variant, ``("dP", point, axis)`` of a direction.
    motion : Motion
    least_pivot : Node or None
        Over lanes the least pivot over that of the reference position: what `implicit.WEAK_PIVOT` bounds.
    """

    tape: Tape
    motion: Motion
    least_pivot: Node | None


def lane_keys(system: System) -> tuple[Hashable, ...]:
    """Keys of the inputs that a lane has."""
    return (*system.unknown_keys, *(("drive", name) for name in system.drives))


def lane_numbers(system: System, lanes: Lanes, q: Array) -> dict[Hashable, Array]:
    """The inputs that a lane has, from solved unknowns of shape (unknowns, lanes)."""
    out: dict[Hashable, Array] = dict(zip(system.unknown_keys, q, strict=True))
    return out | {("drive", name): lanes.drive(name) for name in system.drives}


def record(
    kernel: Kernel,
    algebra: Algebra,
    generators: Mapping[str, int],
    moving: Collection[tuple[str, int]] = (),
    *,
    drives: Mapping[str, Any] | None = None,
) -> RecordedMotion:
    """Write the motion of a linkage on a new tape.

    Parameters
    ----------
    kernel : Kernel
    algebra, generators
        As of `Kernel.motion`.
    moving : collection of (point, axis)
        Design coordinates that some direction of change moves, along the generator ``"points"``.
    drives : mapping of str to number, optional
        Where drives stand, in place of inputs.
    """
    system, tape = kernel.system, Tape()
    there = system.equations.design

    def varied(point: str) -> Vec:
        place = tape.place("P", point, there[point])
        ways = [tape.input(("dP", point, k), 1.0) if (point, k) in moving else None for k in range(3)]
        if not any(ways):
            return place
        return vector(algebra.variable(c, generators["points"], way) for c, way in zip(place, ways, strict=True))

    q = {p: tape.place("q", p, there[p]) for p in system.equations.unknowns.points}
    stands = {name: tape.input(("drive", name), 0.0) for name in system.drives} | dict(drives or {})
    pivots = LeastPivot()
    position = Position(q, {p: varied(p) for p in system.linkage.points}, tape.rack(), stands)
    motion = kernel.motion_of(position, algebra, generators, solver_of=pivots)
    return RecordedMotion(tape, motion, pivots.node)
