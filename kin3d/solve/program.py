"""Running a tape over lanes: numpy operations into a workspace, nothing allocated, no branch.

What does not depend on a lane (lengths, offsets of carried points) is computed once for each geometry beforehand;
what is left is a short list of steps, each one numpy call over all lanes of a chunk.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.solve.tape import ADD, CONST, DIV, DOES, INPUT, MUL, ONE_OPERAND, SUB, Node, Tape

Array = NDArray[np.float64]
FEW_LANES = 4  # up to which nodes are computed lane by lane
_ZERO = np.zeros(())


def _of_one(function: Callable[..., Any]) -> Callable[..., Any]:
    """A function of one number that is called like one of two."""
    return lambda x, _again, out=None: function(x, out=out)


def _float_of(function: Callable[..., Any], *, of_one: bool) -> Callable[[float, float], float]:
    """A function of numbers, for floats, called like one of two."""
    return lambda x, y: float(function(x) if of_one else function(x, y))


_SIGN = {ADD: "+", SUB: "-", MUL: "*", DIV: "/"}
_CALLED = {op: _float_of(f, of_one=op in ONE_OPERAND) for op, f in DOES.items()}

_UFUNC: dict[int, Callable[..., Any]] = {op: _of_one(f) if op in ONE_OPERAND else f for op, f in DOES.items()}


def needed(outputs: Iterable[Node]) -> list[Node]:
    """Every node that the outputs depend on, in computing order."""
    outputs = list(outputs)
    if not outputs:
        return []
    nodes = outputs[0].tape.nodes
    marked: set[int] = set()
    stack = [n.serial for n in outputs]
    while stack:
        serial = stack.pop()
        if serial not in marked:
            marked.add(serial)
            node = nodes[serial]
            if node.op < INPUT:
                stack += (node.a, node.b)
    return [nodes[s] for s in sorted(marked)]


def lane_nodes(tape: Tape, lane_keys: frozenset[Any]) -> list[bool]:
    """For every node of the tape whether it varies from lane to lane of one geometry."""
    lane_serials = {n.serial for k, n in tape.inputs.items() if k in lane_keys}
    varies: list[bool] = []
    for node in tape.nodes:
        own = node.serial in lane_serials
        varies.append(own or (node.op < INPUT and (varies[node.a] or varies[node.b])))
    return varies


class Evaluation:
    """Values of nodes for given inputs, by plain broadcasting: for work outside Newton's inner loop."""

    def __init__(self, outputs: Sequence[Node]) -> None:
        self.outputs = [n.serial for n in outputs]
        order = needed(outputs)
        keys = {node.serial: key for key, node in outputs[0].tape.inputs.items()} if outputs else {}
        self.constants = {n.serial: n.reference for n in order if n.op == CONST}
        self.inputs = [(n.serial, keys[n.serial]) for n in order if n.op == INPUT]
        self.steps = [(_UFUNC[n.op], n.a, n.b, n.serial) for n in order if n.op < INPUT]
        self._order = [n for n in order if n.op < INPUT]

    def __call__(self, inputs: Mapping[Any, Any]) -> list[Any]:
        """Values of the outputs; `inputs` gives a number or array for each input's key."""
        values: dict[int, Any] = dict(self.constants)
        for serial, key in self.inputs:
            values[serial] = inputs[key]
        for ufunc, a, b, target in self.steps:
            values[target] = ufunc(values[a], values[b])
        return [values[s] for s in self.outputs]

    @cached_property
    def _straight(self) -> Callable[[Sequence[float]], list[float]]:
        """The same for floats as a function of Python without a loop: a third of the time that one over steps takes."""
        names = [f"x{serial}" for serial, _ in self.inputs]
        lines = [f"{', '.join(names)}, = given"] if names else []
        for n in self._order:
            sign = _SIGN.get(n.op)
            did = f"x{n.a} {sign} x{n.b}" if sign else f"call{n.op}(x{n.a}, x{n.b})"
            lines.append(f"x{n.serial} = {did}")
        lines.append(f"return [{', '.join(f'x{s}' for s in self.outputs)}]")
        known: dict[str, Any] = {f"call{op}": function for op, function in _CALLED.items()}
        known |= {f"x{serial}": float(value) for serial, value in self.constants.items()}
        body = "".join(f"    {line}\n" for line in lines)
        exec(f"def straight(given):\n{body}", known)  # of our own steps alone
        made: Callable[[Sequence[float]], list[float]] = known["straight"]
        return made

    def quickly(self, inputs: Mapping[Any, Any]) -> Sequence[Any]:
        """The same of floats and arrays over lanes, by whichever way is quicker for so many lanes."""
        lanes = max((np.size(inputs[key]) for _, key in self.inputs), default=1)
        return list(self.one_by_one(inputs, lanes)) if lanes <= FEW_LANES else self(inputs)

    def one_by_one(self, inputs: Mapping[Any, Any], lanes: int) -> Array:
        """Values of the outputs, shape (outputs, lanes): the same bits lane by lane, which is quicker for a few.

        A call of numpy takes as long for one number as ten sums of plain floats.
        """
        given = [np.asarray(inputs[key], dtype=float).ravel().tolist() for _, key in self.inputs]
        try:
            rows = [self._straight([v[k] if len(v) > 1 else v[0] for v in given]) for k in range(lanes)]
        except ZeroDivisionError:  # of numbers that numpy takes to infinity
            with np.errstate(all="ignore"):
                return np.stack([np.broadcast_to(v, lanes) for v in self(inputs)])
        return np.array(rows).reshape(lanes, -1).T


def evaluate(outputs: Sequence[Node], inputs: Mapping[Any, Any]) -> list[Any]:
    """Values of nodes for the given inputs, once."""
    return Evaluation(outputs)(inputs)


class Program:
    """Steps that compute `outputs` over a chunk of lanes.

    Attributes
    ----------
    uniforms : tuple of Node
        Nodes that must be given as they are the same for all lanes of a geometry; computed by `evaluate`.
    lane_keys : tuple
        Keys of the lane inputs, in the order in which `run` takes them.
    order, results : tuple of Node
        The steps as nodes in computing order, and the outputs.
    steps : list of tuple
        (ufunc, slot, slot, slot): two operands and the result.
    """

    def __init__(self, outputs: Sequence[Node], lane_keys: Sequence[Any], varies: Sequence[bool]) -> None:
        tape = outputs[0].tape
        self.lane_keys = tuple(k for k in lane_keys if k in tape.inputs)
        inputs = [tape.inputs[k].serial for k in self.lane_keys]
        order = [n for n in needed(outputs) if varies[n.serial] and n.op < INPUT]
        self.order, self.results = tuple(order), tuple(outputs)
        wanted = {s for n in order for s in (n.a, n.b)} | {n.serial for n in outputs}
        self.uniforms = tuple(tape.nodes[s] for s in sorted(wanted) if not varies[s])
        slots = {n.serial: k for k, n in enumerate(self.uniforms)}
        slots |= {s: len(slots) + k for k, s in enumerate(inputs)}
        self.outputs = len(outputs)
        self.steps: list[tuple[Callable[..., Any], int, int, int]] = []
        self.registers = self._allocate(order, outputs, slots)
        self._bound: dict[tuple[int, ...], list[Array]] = {}

    def _allocate(self, order: Sequence[Node], outputs: Sequence[Node], slots: dict[int, int]) -> int:
        """Give every step a place for its result, reusing places whose last reader has run."""
        first = len(slots)
        place: dict[int, int] = {}
        for k, node in enumerate(outputs):
            place.setdefault(node.serial, first + k)
        last = {s: k for k, n in enumerate(order) for s in (n.a, n.b)}
        free: list[int] = []
        fresh = first + len(outputs)
        for k, node in enumerate(order):
            a, b = slots[node.a], slots[node.b]
            for serial in {node.a, node.b}:
                if last[serial] == k and slots[serial] >= first + len(outputs):
                    free.append(slots[serial])
            if node.serial in place:
                slots[node.serial] = place[node.serial]
            elif free:
                slots[node.serial] = free.pop()
            else:
                slots[node.serial], fresh = fresh, fresh + 1
            self.steps.append((_UFUNC[node.op], a, b, slots[node.serial]))
        self._zero_slot = fresh
        for k, node in enumerate(outputs):  # an output that is an input, a constant or twice there is copied
            if slots[node.serial] != first + k:
                self.steps.append((np.add, slots[node.serial], fresh, first + k))
        return fresh - first - len(outputs)

    def run(self, uniforms: Sequence[Any], inputs: Sequence[Array], out: Array) -> None:
        """Compute the outputs of all lanes.

        Parameters
        ----------
        uniforms : sequence
            Values of `self.uniforms`: numbers, or arrays with one value a lane.
        inputs : sequence of ndarray, shape (lanes,)
            Values of the lane inputs in the order of `lane_keys`.
        out : ndarray, shape (outputs, lanes)
            Receives the results. With a shape (outputs, directions, lanes) uniforms and inputs are broadcast.
        """
        values: list[Any] = [*uniforms, *inputs, *out, *self._workspace(out.shape[1:]), _ZERO]
        for ufunc, a, b, target in self.steps:
            ufunc(values[a], values[b], values[target])

    def _workspace(self, shape: tuple[int, ...]) -> list[Array]:
        if shape not in self._bound:
            if len(self._bound) > 3:
                self._bound.clear()
            self._bound[shape] = list(np.empty((self.registers, *shape)))
        return self._bound[shape]
