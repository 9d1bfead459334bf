"""Running a tape whose numbers differ in kind: what is the same for a variant, what a lane has, what a direction adds.

Numbers of a variant are computed once for each. What varies from lane to lane runs in stages, between which numpy takes
sines and arc tangents. What depends on a direction of change runs last, over pairs of a direction and a lane.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from kin3d.solve.engine import Worth
from kin3d.solve.program import Evaluation, Program, lane_nodes, needed
from kin3d.solve.tape import ATAN2, CONST, COS, DOES, INPUT, ONE_OPERAND, SIN, Node

if TYPE_CHECKING:
    from kin3d.solve.fused_program import FusedProgram

Array = NDArray[np.float64]
SLOW = frozenset((ATAN2, SIN, COS))  # functions that stand between two stages
CHUNK_LANES, CHUNK_PAIRS = 1024, 4096  # at a time with numpy: the workspace stays in the processor's cache
FUSED_LANES, FUSED_PAIRS = 4096, 16384
PAIRS_A_LANE = 3  # pairs that numpy does in the time of a lane


@dataclass(frozen=True, slots=True)
class TapeStage:
    """A program, and the slow functions that take what it gives: nodes in computing order."""

    program: Program | None
    slow: tuple[Node, ...]


class Stages:
    """Outputs of a tape over lanes, and over pairs of directions and lanes.

    Parameters
    ----------
    outputs : sequence of Node
        All on one tape.
    lane_keys, direction_keys : collection
        Keys of the inputs that vary with lanes and with directions; all others are numbers of a variant.
    """

    def __init__(self, outputs: Sequence[Node], lane_keys: Sequence[Hashable], direction_keys: Sequence[Hashable] = ()):
        self.outputs = list(outputs)
        self.tape = tape = self.outputs[0].tape
        self.lane_keys = tuple(k for k in lane_keys if k in tape.inputs)
        self.direction_keys = tuple(k for k in direction_keys if k in tape.inputs)
        self._by_lane = lane_nodes(tape, frozenset(self.lane_keys))
        self.across = lane_nodes(tape, frozenset(self.direction_keys))
        order = needed(self.outputs)
        self._number(order)
        self._plan(order)
        self.worth = Worth()
        self._fused: dict[tuple[int, bool, int], FusedProgram] = {}

    def _number(self, order: Sequence[Node]) -> None:
        """The stage of every node that varies with lanes and not with directions."""
        self._stage: dict[int, int] = {}
        for n in order:
            if not self._by_lane[n.serial] or self.across[n.serial]:
                continue
            stage = 0
            if n.op < INPUT:
                for s in (n.a, n.b):
                    if s in self._stage:
                        stage = max(stage, self._stage[s] + (self.tape.nodes[s].op in SLOW))
            self._stage[n.serial] = stage
            if n.op in SLOW and self.across[n.serial]:
                raise ValueError("a direction changes no constant part")

    def _plan(self, order: Sequence[Node]) -> None:
        nodes = self.tape.nodes
        last = max(self._stage.values(), default=0)
        wanted: dict[int, None] = {n.serial: None for n in self.outputs if not self.across[n.serial]}
        for n in order:  # what another stage, a slow function or a direction takes
            if n.op < INPUT:
                for s in (n.a, n.b):
                    if s in self._stage and (n.op in SLOW or self._stage.get(n.serial) != self._stage[s]):
                        wanted[s] = None
        self.stages: list[TapeStage] = []
        for k in range(last + 1):
            mine = {s for s, stage in self._stage.items() if stage == k}
            steps = [nodes[s] for s in wanted if s in mine and nodes[s].op < INPUT and nodes[s].op not in SLOW]
            here = [s in mine and nodes[s].op not in SLOW for s in range(len(nodes))]
            for key in self.lane_keys:
                here[self.tape.inputs[key].serial] = True
            slow = tuple(nodes[s] for s in sorted(mine) if nodes[s].op in SLOW)
            self.stages.append(TapeStage(Program(steps, self.lane_keys, here) if steps else None, slow))
        pairs = [n for n in self.outputs if self.across[n.serial]]
        self.pairs = Program(pairs, self.direction_keys, self.across) if pairs else None
        programs = [s.program for s in self.stages if s.program] + ([self.pairs] if self.pairs else [])
        given = {n.serial: n for p in programs for n in p.uniforms} | {n.serial: n for n in self.outputs}
        given |= {s: nodes[s] for stage in self.stages for n in stage.slow for s in (n.a, n.b)}
        self.constants = {s: n.reference for s, n in given.items() if n.op == CONST}
        self.fixed = [n for s, n in given.items() if not self._by_lane[s] and not self.across[s] and n.op != CONST]
        taken = {n.serial for n in self.outputs} | {s for stage in self.stages for n in stage.slow for s in (n.a, n.b)}
        self.looked_up = [k for k, n in enumerate(self.fixed) if n.serial in taken]  # not by a program
        self._evaluation = Evaluation(self.fixed)

    def of_variants(self, inputs: Mapping[Hashable, Any], count: int) -> Array:
        """Numbers of the variants, shape (numbers, count), from the inputs that do not vary with lanes."""
        if not self.fixed:
            return np.empty((0, count))
        with np.errstate(all="ignore"):
            return np.stack([np.broadcast_to(v, count) for v in self._evaluation(inputs)])

    def __call__(
        self,
        fixed: Array,
        variant: NDArray[np.intp],
        lanes: Mapping[Hashable, Array],
        directions: Mapping[Hashable, Array],
        out: Sequence[Array],
    ) -> None:
        """Run all lanes.

        Parameters
        ----------
        fixed : ndarray, shape (numbers, variants)
            As `of_variants` gives them.
        variant : ndarray of int, shape (lanes,)
        lanes : mapping of key to ndarray, shape (lanes,)
        directions : mapping of key to ndarray, shape (directions,)
        out : sequence of ndarray
            For each output where it goes, shape (lanes,) or (directions, lanes).
        """
        count = len(variant)
        ways = len(next(iter(directions.values()))) if self.pairs else 1
        fused = self.worth(-(-count * ways // PAIRS_A_LANE) if self.pairs else count)
        step, pairs = (FUSED_LANES, FUSED_PAIRS) if fused else (CHUNK_LANES, CHUNK_PAIRS)
        if self.pairs:
            step = max(16, pairs // ways)
        run = _Run(self, fixed, directions, fused)
        with np.errstate(all="ignore"):
            for first in range(0, count, step):
                part = slice(first, min(first + step, count))
                values = run.chunk(variant[part], {k: lanes[k][part] for k in self.lane_keys})
                for node, whole in zip(self.outputs, out, strict=True):
                    whole[..., part] = values[node.serial]

    def machine(self, number: int, program: Program, shared: bool) -> FusedProgram:
        """A program as machine code; −1 is the number of that over pairs."""
        from kin3d.solve.fused_program import FusedProgram

        key = number, shared, self.worth.level
        if key not in self._fused:
            entries = {n.serial: k for k, n in enumerate(self.fixed)}
            self._fused[key] = FusedProgram(program, entries, shared, number < 0, key[-1])
        return self._fused[key]


class _Run:
    """One run over lanes, a chunk at a time."""

    def __init__(self, stages: Stages, fixed: Array, directions: Mapping[Hashable, Array], fused: bool) -> None:
        self.stages, self.fixed, self.directions, self.fused = stages, fixed, directions, fused
        self.shared = fixed.shape[1] == 1
        self.table = np.ascontiguousarray(fixed.T) if fused else fixed

    def chunk(self, variant: NDArray[np.intp], lanes: Mapping[Hashable, Array]) -> dict[int, Any]:
        """Values of all that is wanted over some lanes, by serial."""
        stages = self.stages
        values: dict[int, Any] = {**stages.constants, **self._of_variants(variant)}
        values |= {stages.tape.inputs[k].serial: row for k, row in lanes.items()}
        for number, stage in enumerate(stages.stages):
            if stage.program is not None:
                self._run(number, stage.program, values, [lanes[k] for k in stage.program.lane_keys], variant)
            for n in stage.slow:
                operands = (n.a,) if n.op in ONE_OPERAND else (n.a, n.b)
                values[n.serial] = DOES[n.op](*(values[s] for s in operands))
        if stages.pairs is not None:
            self._run(-1, stages.pairs, values, [self.directions[k] for k in stages.pairs.lane_keys], variant)
        return values

    def _of_variants(self, variant: NDArray[np.intp]) -> dict[int, Any]:
        """Numbers of each lane's variant; machine code looks up by itself what it needs of them."""
        stages = self.stages
        if self.shared:
            return {n.serial: row[0] for n, row in zip(stages.fixed, self.fixed, strict=True)}
        wanted = enumerate(stages.fixed) if not self.fused else ((k, stages.fixed[k]) for k in stages.looked_up)
        return {n.serial: self.fixed[k][variant] for k, n in wanted}

    def _run(
        self, number: int, program: Program, values: dict[int, Any], inputs: list[Array], variant: NDArray[np.intp]
    ) -> None:
        """Run a program and add what it gives to the values."""
        shape: tuple[int, ...] = (len(variant),) if number >= 0 else (len(inputs[0]), len(variant))
        if self.fused:
            out = self.stages.machine(number, program, self.shared)(values, inputs, self.table, variant, shape)
        else:
            out = np.empty((program.outputs, *shape))
            given = [x[:, None] for x in inputs] if number < 0 else inputs
            program.run([values[n.serial] for n in program.uniforms], given, out)
        values |= {n.serial: row for n, row in zip(program.results, out, strict=True)}
