"""The compiled system of one linkage: tape, Jacobian, blocks, elimination plans, programs for lanes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import AssemblyError, Finding, LayoutError
from kin3d.linkage.layout import Linkage
from kin3d.solve.blocks import Block, split
from kin3d.solve.drives import axes_of, drive_names, turning, value_of
from kin3d.solve.elimination import Elimination, Entries
from kin3d.solve.equations import Equations
from kin3d.solve.lanes import Lanes, Variants
from kin3d.solve.mobility import Mobility, examine, loud
from kin3d.solve.program import FEW_LANES, Evaluation, Program, evaluate, lane_nodes
from kin3d.solve.tape import Node, Tape
from kin3d.solve.unknowns import choose_unknowns
from kin3d.spatial.vectors import Vec, vector

Array = NDArray[np.float64]
InputKey = tuple[str, str, int]
SINGULAR = 1e-6  # smallest over largest singular value under which the design position counts as a dead centre


class BlockPlan:
    """One block: its slice of rows and unknowns, its elimination and its Newton program (steps, then det J)."""

    def __init__(self, jacobian: Entries, residuals: Sequence[Node], start: int, size: int) -> None:
        self.slice = slice(start, start + size)
        self.entries: dict[tuple[int, int], Node] = {
            (i - start, j - start): n
            for (i, j), n in jacobian.items()
            if start <= i < start + size and start <= j < start + size
        }
        self.elimination = Elimination({k: n.reference for k, n in self.entries.items()}, size)
        self.evaluation = Evaluation(list(self.entries.values()))
        factors = self.elimination.factor(self.entries)
        self.reference_pivots = [p.reference for p in factors.pivots]
        steps = self.elimination.solve(factors, residuals[self.slice])
        determinant = factors.pivots[0]
        for pivot in factors.pivots[1:]:
            determinant = determinant * pivot
        self.newton_outputs: list[Node] = [*steps, determinant]


class System:
    """Everything about a linkage that does not depend on the position or on the variant.

    Attributes
    ----------
    linkage : Linkage
    equations : Equations
    mobility : Mobility
        In the reference position.
    unknown_keys : tuple of tuple
        ("q", point, axis) of every unknown, in block order.
    row_order : tuple of int
        Row of `equations.rows` for each row of the system, in block order.
    blocks : tuple of BlockPlan
    uniforms : tuple of Node
        Nodes computed once a geometry.
    """

    def __init__(self, linkage: Linkage, design: NDArray[np.float64]) -> None:
        self.linkage = linkage
        self.drives = drive_names(linkage)
        self.turning = turning(linkage)
        unknowns = choose_unknowns(linkage, design)
        self.equations = Equations(linkage, unknowns, design)
        self.tape = Tape()
        keys = [("q", p, k) for p in unknowns.points for k in range(3)]
        rows = self._record(design, keys)
        slopes = {
            (i, j): s
            for i, row in enumerate(rows)
            for j, key in enumerate(keys)
            if not (s := self.tape.slope(row, self.tape.inputs[key])).is_constant(0.0)
        }
        self.mobility = self._examine(slopes, len(keys), design)
        parts = split(slopes, len(keys))
        self.unknown_keys: tuple[InputKey, ...] = tuple(keys[c] for b in parts for c in b.columns)
        self.row_order = tuple(r for b in parts for r in b.rows)
        self.jacobian = self._reorder(slopes, parts)
        self.residuals = [rows[r] for r in self.row_order]
        self.blocks = self._plans(parts)
        self._both = Evaluation([*self.jacobian.values(), *self.residuals])
        self._places = tuple(np.array(list(self.jacobian), dtype=np.intp).T)  # rows and columns of its entries
        self.drive_keys: tuple[InputKey, ...] = tuple(
            ("drive", name, k) for name in self.drives for k in range(1 + (name in self.turning))
        )
        self._along = self._drive_slopes()
        self._drives = Evaluation(list(self._along.values()))
        self._compile()
        self.expansions: dict[tuple[str, ...], tuple[int, Any]] = {}  # see `expansion`: how often asked for, and a tape
        self.ways: dict[int, Any] = {}  # see `own_way`, by degree

    def _record(self, design: NDArray[np.float64], keys: Sequence[InputKey]) -> list[Node]:
        """Write the equations on the tape; returns the node of each row."""
        at = dict(zip(self.linkage.points, design, strict=True))
        fixed = {p: self.tape.place("P", p, at[p]) for p in self.linkage.points}
        q = {p: self.tape.place("q", p, at[p]) for _, p, k in keys if k == 0}
        numbers = axes_of(self.linkage, {p: vector(v) for p, v in at.items()}, (0.0, 1.0, 0.0))
        axes = {key: self.tape.place("axis", key, v) for key, v in numbers.items()}
        values = {name: self._drive(name) for name in self.drives}
        places = self.equations.places(q, fixed, values, axes)
        rows = self.equations.residuals(places, fixed, values, axes)
        return [r if isinstance(r, Node) else self.tape.constant(float(r)) for r in rows]

    def _drive(self, name: str) -> Any:
        """The input of a drive; of an angle its cosine and its sine."""
        if name in self.turning:
            return self.tape.input(("drive", name, 0), 1.0), self.tape.input(("drive", name, 1), 0.0)
        return self.tape.input(("drive", name, 0), 0.0)

    def values(self, lanes: Lanes) -> dict[str, Any]:
        """Where every drive stands in the lanes, as the equations take it; a drive that is not named stands at 0."""
        return {name: value_of(self.linkage, name, lanes.drive(name)) for name in self.drives}

    def drive_rows(self, lanes: Lanes) -> list[Array]:
        """The same as a list, as the programs take them."""
        return [row for v in self.values(lanes).values() for row in (v if isinstance(v, tuple) else (v,))]

    def axes(self, design: Mapping[str, Vec], rack_axis: Vec) -> dict[str, Vec]:
        """Axes of rack and drives from design coordinates: numbers, arrays or jets."""
        return axes_of(self.linkage, design, rack_axis)

    def _examine(self, slopes: Mapping[tuple[int, int], Node], size: int, design: NDArray[np.float64]) -> Mobility:
        rows = self.equations.rows
        dense = np.zeros((len(rows), size))
        for (i, j), node in slopes.items():
            dense[i, j] = node.reference
        dense /= self.equations.lengths(dict(zip(self.linkage.points, design, strict=True)))[:, None]
        mobility = examine(dense, self.equations)
        u, s, _ = np.linalg.svd(dense)
        square = mobility.equations == mobility.unknowns
        if square and s[-1] < SINGULAR * s[0] and self._generic_rank(slopes, size) == size:
            named = bodies_in_line(u[:, -1], rows)
            text = f"the design position is a dead centre: {named} are in line; move a point of one of them"
            raise AssemblyError(Finding("dead-centre", text, self.linkage.layout))
        if not mobility.determined:
            raise LayoutError(Finding("mobility", str(mobility), self.linkage.layout))
        return mobility

    def _generic_rank(self, slopes: Mapping[tuple[int, int], Node], size: int) -> int:
        """Rank of J with every point moved a little: tells a dead centre from a linkage that never works."""
        shaken = np.random.default_rng(1)
        at = {p: v + shaken.normal(0.0, 3.0, 3) for p, v in self.equations.design.items()}
        inputs: dict[Any, Any] = {(kind, p, k): v[k] for p, v in at.items() for k in range(3) for kind in ("P", "q")}
        axes = self.axes({p: vector(v) for p, v in at.items()}, (0.0, 1.0, 0.0))
        inputs |= {("axis", key, k): v[k] for key, v in axes.items() for k in range(3)}
        inputs |= {key: self.tape.inputs[key].reference for key in self.tape.inputs if key[0] == "drive"}
        dense = np.zeros((len(self.equations.rows), size))
        for (i, j), value in zip(slopes, evaluate(list(slopes.values()), inputs), strict=True):
            dense[i, j] = value
        dense /= np.linalg.norm(dense, axis=1, keepdims=True)
        return int(np.linalg.matrix_rank(dense, tol=1e-8))

    def _reorder(self, slopes: Mapping[tuple[int, int], Node], parts: Sequence[Block]) -> dict[tuple[int, int], Node]:
        row = {r: k for k, r in enumerate(self.row_order)}
        columns = {c: k for k, c in enumerate(c for b in parts for c in b.columns)}
        return {(row[i], columns[j]): n for (i, j), n in slopes.items()}

    def _plans(self, parts: Sequence[Block]) -> tuple[BlockPlan, ...]:
        starts = np.cumsum([0, *(len(b.columns) for b in parts)])
        sizes = [len(b.columns) for b in parts]
        return tuple(
            BlockPlan(self.jacobian, self.residuals, int(s), n) for s, n in zip(starts[:-1], sizes, strict=True)
        )

    def _drive_slopes(self) -> dict[tuple[InputKey, int], Node]:
        """Slope of each row along each drive, where there is one."""
        found: dict[tuple[InputKey, int], Node] = {}
        for drive in self.drive_keys:
            for i, row in enumerate(self.residuals):
                slope = self.tape.slope(row, self.tape.inputs[drive])
                if not slope.is_constant(0.0):
                    found[drive, i] = slope
        return found

    def _compile(self) -> None:
        """Make the programs once all nodes are on the tape."""
        self.lane_keys: tuple[InputKey, ...] = (*self.unknown_keys, *self.drive_keys)
        varies = lane_nodes(self.tape, frozenset(self.lane_keys))
        self.newton = tuple(Program(b.newton_outputs, self.lane_keys, varies) for b in self.blocks)
        self.closure = Program(self.residuals, self.lane_keys, varies)
        nodes = {n.serial: n for p in (*self.newton, self.closure) for n in p.uniforms}
        self.uniforms = tuple(nodes.values())
        position = {s: k for k, s in enumerate(nodes)}
        self.uniform_rows = {p: [position[n.serial] for n in p.uniforms] for p in (*self.newton, self.closure)}

    def dense(self, inputs: Mapping[Any, Any], lanes: int) -> Array:
        """Jacobian in block order for each lane, shape (lanes, m, m), rows as recorded (not scaled)."""
        return self.linear(inputs, lanes)[0]

    def linear(self, inputs: Mapping[Any, Any], lanes: int) -> tuple[Array, Array]:
        """Jacobian, shape (lanes, m, m), and residuals, shape (m, lanes), in block order."""
        size, entries = len(self.unknown_keys), len(self.jacobian)
        if lanes <= FEW_LANES:
            every = self._both.one_by_one(inputs, lanes)
        else:
            every = np.stack([np.broadcast_to(v, lanes) for v in self._both(inputs)])
        out = np.zeros((lanes, size, size))
        out[:, self._places[0], self._places[1]] = every[:entries].T
        return out, every[entries:]

    def along(self, inputs: Mapping[Any, Any], ways: Lanes) -> Array:
        """Slopes of the residuals along the ways of the lanes from no drive to all of each, shape (m, lanes)."""
        way: dict[InputKey, Array] = {}
        for name in self.drives:
            first, second = ("drive", name, 0), ("drive", name, 1)
            way[first] = ways.drive(name)
            if name in self.turning:
                way[first], way[second] = -inputs[second] * way[first], inputs[first] * way[first]
        out = np.zeros((len(self.unknown_keys), ways.count))
        for (drive, i), slope in zip(self._along, self._drives(inputs), strict=True):
            out[i] += slope * way[drive]
        return out

    def orientation(self, variants: Variants) -> list[Array]:
        """Sign of det J of each block in the design position of each variant, by rows and columns as they stand."""
        out: list[Array] = []
        for plan, planned in zip(self.blocks, variants.determinants, strict=True):
            order = np.zeros((plan.elimination.size, plan.elimination.size))
            for row, column in plan.elimination.pivots:
                order[row, column] = 1.0
            out.append(np.sign(planned) * np.linalg.slogdet(order)[0])
        return out


def bodies_in_line(left_null: Array, rows: Sequence[Any]) -> str:
    """Names of the bodies whose lengths hold a singular position, loudest first.

    The left null vector of a singular Jacobian is a set of member forces in balance without a load: the members that
    carry it are those that have come into line.
    """
    told = [rows[k].bodies for k in loud(left_null) if rows[k].kind != "travel"]
    bodies = dict.fromkeys(b for named in told for b in named)
    if len(bodies) == 1:  # one body alone balances nothing: what meets it is only less loud
        quieter = (rows[k].bodies for k in np.argsort(-np.abs(left_null)) if rows[k].kind != "travel")
        bodies |= dict.fromkeys(next((named for named in quieter if not set(named) <= set(bodies)), ()))
    return " and ".join(f'"{b}"' for b in bodies) or "the bodies of the wheel"
