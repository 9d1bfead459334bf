"""Measures of one corner written down once and run over many lanes: values, gradients and derivatives along changes.

The measures' own functions are called with a corner in motion whose numbers are nodes of a tape. Jets over arrays stay
the reference (`corner_model.derive`), and take the lanes whose planned pivots have shrunk.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from threading import local
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.design import SIDES, side_sign
from kin3d.linkage.names import Side
from kin3d.measures.corner import UP, Along, Corner, derivatives
from kin3d.measures.entry import Measure, figure
from kin3d.solve.implicit import WEAK_PIVOT
from kin3d.solve.lanes import Lanes, Solved, Variants
from kin3d.solve.model import AxleModel
from kin3d.solve.recording import RecordedMotion, lane_keys, lane_numbers, record
from kin3d.solve.stages import Stages
from kin3d.solve.tape import Node
from kin3d.spatial.jets import Jet

Array = NDArray[np.float64]
KEPT = 8  # tapes at hand
_made = local()  # a tape works in a space of its own, which two threads must not share


@dataclass(frozen=True, slots=True)
class Asked:
    """What is wanted of a corner.

    Attributes
    ----------
    measures : tuple of Measure
    rates : bool
        Whether derivatives along travel are wanted too.
    figures : tuple of str
        Figures of the car file that differ from variant to variant, by the key that measures name.
    moving : tuple of (str, int)
        Design coordinates, of all that the kernel solves, that some direction moves.
    figures_moving : tuple of str
        Figures that some direction moves.
    directions : bool
        Whether derivatives along directions are wanted.
    """

    measures: tuple[Measure, ...]
    rates: bool = False
    figures: tuple[str, ...] = ()
    moving: tuple[tuple[str, int], ...] = ()
    figures_moving: tuple[str, ...] = ()
    directions: bool = False

    @property
    def key(self) -> tuple[Any, ...]:
        """What tells one tape from another."""
        functions = tuple((m.function, m.order, m.unit) for m in self.measures)
        return functions, self.rates, self.figures, self.moving, self.figures_moving, self.directions


class CornerTape:
    """The tape of what is asked of one side of an axle."""

    def __init__(self, model: AxleModel, side: Side, asked: Asked) -> None:
        self.asked = asked
        self.kernel = model.kernel
        order = max((m.order for m in asked.measures), default=0) + asked.rates
        self.along: Along = derivatives(model, max(order, 1), asked.directions)
        made = record(self.kernel.whole, *self.along, asked.moving)
        self.tape = made.tape
        corner = self._corner(model, side, made)
        self.rows: dict[str, list[int]] = {}
        outputs = self._outputs(corner)
        self.pivot = len(outputs)
        outputs.append(made.least_pivot or self.tape.constant(1.0))
        changed = [("dP", *where) for where in asked.moving] + [("dfigure", key) for key in asked.figures_moving]
        self.stages = Stages(outputs, lane_keys(self.kernel.system), changed)

    def _corner(self, model: AxleModel, side: Side, made: RecordedMotion) -> Corner:
        motion, tape = self.kernel.seen_from(made.motion, SIDES.index(side)), made.tape
        numbers: dict[str, Any] = {key: tape.input(("figure", key), 1.0) for key in self.asked.figures}
        for key in self.asked.figures_moving:
            now = numbers.get(key, figure(model, key))
            rate = tape.input(("dfigure", key), 1.0)
            numbers[key] = motion.algebra.variable(now, motion.generators["points"], rate)
        nowhere = Lanes(np.zeros(0, dtype=np.intp), np.zeros(0), np.zeros(0))
        unsolved = Solved(np.zeros((0, 0)), np.zeros(0, dtype=np.int8), np.zeros(0), 0, {}, {})
        return Corner(model, motion, side_sign(side), UP, model.variants, nowhere, unsolved, numbers)

    def _outputs(self, corner: Corner) -> list[Node]:
        """Nodes of values, gradients and slopes, measure by measure."""
        extra = int(self.asked.rates)
        cut = {n: corner.cut(n) for n in {m.order + extra for m in self.asked.measures}}
        jets = [m.compute(cut[m.order + extra]) for m in self.asked.measures]
        wanted = {"value": {}, "rate": {"travel": 1}, "slope": {"points": 1}, "rate_slope": {"travel": 1, "points": 1}}
        outputs: list[Node] = []
        for name, orders in wanted.items():
            if ("travel" in orders and not extra) or ("points" in orders and not self.asked.directions):
                continue
            self.rows[name] = list(range(len(outputs), len(outputs) + len(jets)))
            outputs += [self._node(j, orders) for j in jets]
        return outputs

    def _node(self, jet: Any, orders: Mapping[str, int]) -> Node:
        found = coefficient(self.along, jet, orders)
        return found if isinstance(found, Node) else self.tape.constant(float(found))

    def run(
        self,
        variants: Variants,
        lanes: Lanes,
        solved: Solved,
        figures: Mapping[str, Array],
        directions: Mapping[Hashable, Array],
        out: Mapping[str, Sequence[Array]],
    ) -> NDArray[np.bool_]:
        """Fill the arrays of `Derived`; returns the lanes that need full pivoting, of which they say nothing.

        Parameters
        ----------
        figures : mapping of str to ndarray, shape (variants,)
        out : mapping of str to sequence of ndarray
            By the names of `Derived`'s arrays: where each measure's go, shape (lanes,) or (directions, lanes).
        directions : mapping of key to ndarray, shape (directions,)
            ``("dP", point, axis)`` and ``("dfigure", key)``.
        """
        system = self.kernel.system
        numbers = self.kernel.of_system(variants).numbers(system.linkage.points)
        numbers |= {("figure", key): v for key, v in figures.items()}
        fixed = self.stages.of_variants(numbers, variants.count)
        pivot = np.empty(lanes.count)
        rows = [out[name][k] for name in self.rows for k in range(len(self.asked.measures))]
        self.stages(fixed, lanes.variant, lane_numbers(system, lanes, solved.q), directions, [*rows, pivot])
        weak: NDArray[np.bool_] = np.isfinite(solved.q).all(axis=0) & ~(pivot > WEAK_PIVOT)
        return weak


def coefficient(along: Along, number: Any, orders: Mapping[str, int]) -> Any:
    """Coefficient of a monomial given by the orders of its generators by name; first orders need no factor."""
    if not isinstance(number, Jet):
        return 0.0 if orders else number
    generators = along[1]
    exponents = [0] * len(generators)
    for name, order in orders.items():
        exponents[generators[name]] = order
    return number[tuple(exponents)]


def tape_of(model: AxleModel, side: Side, asked: Asked) -> CornerTape:
    """The tape of what is asked; the last ones are kept."""
    made: deque[tuple[Any, str, Any, CornerTape]] = _made.__dict__.setdefault("tapes", deque(maxlen=KEPT))
    key = asked.key
    for whose, which, what, tape in made:
        if whose is model and which == side and what == key:
            return tape
    made.append((model, side, key, CornerTape(model, side, asked)))
    return made[-1][-1]


def direction_numbers(
    model: AxleModel, side: Side, seeds: Array, figure_seeds: Mapping[str, Array]
) -> tuple[dict[Hashable, Array], tuple[tuple[str, int], ...]]:
    """Inputs that directions have, and which design coordinates some of them move.

    Parameters
    ----------
    seeds : ndarray, shape (directions, linkage points, 3)
    figure_seeds : mapping of str to ndarray, shape (directions,)
    """
    seeds, points = model.kernel.changes(seeds, SIDES.index(side)), model.kernel.system.linkage.points
    moving = tuple((points[i], int(k)) for i, k in zip(*np.nonzero(seeds.any(axis=0)), strict=True))
    out: dict[Hashable, Array] = {("dP", p, k): seeds[:, points.index(p), k].copy() for p, k in moving}
    return out | {("dfigure", key): np.asarray(rate, dtype=float) for key, rate in figure_seeds.items()}, moving
