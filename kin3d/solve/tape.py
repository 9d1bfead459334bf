"""A tape: the arithmetic of the equations written down once, as a list of steps without branches.

The equations, and the measures that are computed from a solved position, are evaluated with tape nodes in place of
numbers; what is recorded is run later over arrays of lanes, differentiated exactly, and extended by the steps of the
elimination. Equal steps are recorded once, and steps on
constants are folded away. Every node also knows its value in the reference position, by which pivots are chosen.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from kin3d.spatial.vectors import Vec, vector

# steps of two numbers, then those of one, of which both operands are the same node; then what is no step
ADD, SUB, MUL, DIV, MIN, ATAN2, SQRT, SIN, COS, ABS, SENSE, INPUT, CONST = range(13)
ONE_OPERAND = frozenset((SQRT, SIN, COS, ABS, SENSE))


def sense_of(x: Any, out: Any = None) -> Any:
    """−1 where a number is under zero, else 1."""
    return np.subtract(1.0, 2.0 * np.less(x, 0.0), out=out)


def least_of(x: Any, y: Any, out: Any = None) -> Any:
    """The smaller of two numbers."""
    return np.minimum(x, y, out=out)


# what a step does to numbers and arrays; and by which function of numpy a node is asked for it
DOES: dict[int, Callable[..., Any]] = {
    ADD: np.add,
    SUB: np.subtract,
    MUL: np.multiply,
    DIV: np.divide,
    MIN: least_of,
    ATAN2: np.arctan2,
    SQRT: np.sqrt,
    SIN: np.sin,
    COS: np.cos,
    ABS: np.absolute,
    SENSE: sense_of,
}
_STEP = {function: op for op, function in DOES.items()} | {np.minimum: MIN}


class Node:
    """One number on a tape: the result of a step, an input or a constant.

    Operators and the functions of numpy in `DOES` record a step, so that formulas written for numbers take nodes too.
    """

    __slots__ = ("a", "b", "depends", "op", "reference", "serial", "tape")

    def __array_ufunc__(self, function: Any, method: str, *operands: Any, **options: Any) -> Any:
        """Record a function of numpy; anything that is no step is refused by numpy."""
        if function not in _STEP or method != "__call__" or options:
            return NotImplemented
        return self.tape.step(_STEP[function], operands[0], operands[-1])

    def __init__(self, tape: Tape, serial: int, op: int, a: int, b: int, reference: float) -> None:
        self.depends = 0  # a bit for every input that the node depends on
        self.tape = tape
        self.serial = serial
        self.op = op
        self.a = a
        self.b = b
        self.reference = reference

    def __add__(self, other: Any) -> Node:
        return self.tape.step(ADD, self, other) if isinstance(other, NUMBERS) else NotImplemented

    __radd__ = __add__

    def __sub__(self, other: Any) -> Node:
        return self.tape.step(SUB, self, other) if isinstance(other, NUMBERS) else NotImplemented

    def __rsub__(self, other: Any) -> Node:
        return self.tape.step(SUB, other, self) if isinstance(other, NUMBERS) else NotImplemented

    def __mul__(self, other: Any) -> Node:
        return self.tape.step(MUL, self, other) if isinstance(other, NUMBERS) else NotImplemented

    __rmul__ = __mul__

    def __truediv__(self, other: Any) -> Node:
        return self.tape.step(DIV, self, other) if isinstance(other, NUMBERS) else NotImplemented

    def __rtruediv__(self, other: Any) -> Node:
        return self.tape.step(DIV, other, self) if isinstance(other, NUMBERS) else NotImplemented

    def __neg__(self) -> Node:
        return self.tape.step(SUB, 0.0, self)

    def __pow__(self, exponent: int) -> Node:
        """A whole power of 0 or more, by products."""
        out = self.tape.constant(1.0)
        for _ in range(exponent):
            out = out * self
        return out

    def sense(self) -> Node:
        """−1 where the number is under zero, else 1."""
        return self.tape.step(SENSE, self, self)

    def is_constant(self, value: float) -> bool:
        """Whether this node is the given constant, known when recording."""
        return self.op == CONST and self.reference == value


NUMBERS = (Node, float, int, np.ndarray)  # what an operator of a node takes; jets take nodes


class Tape:
    """Nodes in the order in which they can be computed.

    Attributes
    ----------
    nodes : list of Node
    inputs : dict
        Key of each input and its node.
    """

    def __init__(self) -> None:
        self.nodes: list[Node] = []
        self.inputs: dict[Any, Node] = {}
        self._known: dict[tuple[int, Any, Any], Node] = {}
        self._slopes: dict[tuple[int, int], Node] = {}

    def input(self, key: Any, reference: float) -> Node:
        """The input of that key, made when it is first asked for."""
        if key not in self.inputs:
            self.inputs[key] = self._record(INPUT, 0, 0, reference, key)
        return self.inputs[key]

    def place(self, kind: str, point: str, reference: ArrayLike) -> Vec:
        """The inputs of a point's coordinates, ``(kind, point, axis)``."""
        numbers = np.asarray(reference, dtype=float)
        return vector(self.input((kind, point, k), float(numbers[k])) for k in range(3))

    def rack(self) -> Vec:
        """The inputs of the rack's direction, ``("rack", axis)``; to the left in the reference position."""
        return vector(self.input(("rack", k), float(k == 1)) for k in range(3))

    def constant(self, value: float) -> Node:
        """The node of a constant."""
        known = self._known.get((CONST, value, 0))
        return known or self._record(CONST, 0, 0, value, value)

    def step(self, op: int, left: Any, right: Any) -> Node:
        """Record left op right, unless it is known already or can be folded."""
        a = left if isinstance(left, Node) else self.constant(float(left))
        b = right if isinstance(right, Node) else self.constant(float(right))
        if a.op == CONST or b.op == CONST or a is b:  # nothing else can be folded
            folded = self._fold(op, a, b)
            if folded is not None:
                return folded
        if op in (ADD, MUL) and b.serial < a.serial:
            a, b = b, a
        known = self._known.get((op, a.serial, b.serial))
        return known or self._record(op, a.serial, b.serial, _apply(op, a.reference, b.reference), None)

    def _fold(self, op: int, a: Node, b: Node) -> Node | None:
        if a.op == CONST and b.op == CONST:
            return self.constant(_apply(op, a.reference, b.reference))
        if op > DIV:
            return None
        if op == MUL and (a.is_constant(0.0) or b.is_constant(0.0)):
            return self.constant(0.0)
        if op == MUL and a.is_constant(1.0):
            return b
        if (op in (MUL, DIV) and b.is_constant(1.0)) or (op in (ADD, SUB) and b.is_constant(0.0)):
            return a
        if op == ADD and a.is_constant(0.0):
            return b
        if op == SUB and a is b:
            return self.constant(0.0)
        return self.constant(0.0) if op == DIV and a.is_constant(0.0) else None

    def _record(self, op: int, a: int, b: int, reference: float, key: Any) -> Node:
        node = Node(self, len(self.nodes), op, a, b, reference)
        if op == INPUT:
            node.depends = 1 << len(self.inputs)
        elif op != CONST:
            node.depends = self.nodes[a].depends | self.nodes[b].depends
        self.nodes.append(node)
        self._known[(op, key, 0) if op in (INPUT, CONST) else (op, a, b)] = node
        return node

    def slope(self, node: Node, variable: Node) -> Node:
        """Exact derivative of a node with respect to an input, recorded on the same tape."""
        if not node.depends & variable.depends:
            return self.constant(0.0)
        key = (node.serial, variable.serial)
        if key not in self._slopes:
            self._slopes[key] = self._slope(node, variable)
        return self._slopes[key]

    def _slope(self, node: Node, variable: Node) -> Node:
        if node.op == INPUT:
            return self.constant(1.0)
        a, b = self.nodes[node.a], self.nodes[node.b]
        da, db = self.slope(a, variable), self.slope(b, variable)
        if node.op == ADD:
            return da + db
        if node.op == SUB:
            return da - db
        if node.op > DIV:
            raise ValueError("slopes are recorded of sums, products and quotients alone")
        return da * b + a * db if node.op == MUL else (da - node * db) / b


def _apply(op: int, a: float, b: float) -> float:
    if op == ADD:
        return a + b
    if op == SUB:
        return a - b
    if op == MUL:
        return a * b
    if op == DIV:
        return a / b if b else float("nan")
    with np.errstate(all="ignore"):
        return float(DOES[op](a) if op in ONE_OPERAND else DOES[op](a, b))


def by_axis(kind: str, places: Mapping[str, Vec]) -> dict[Any, Any]:
    """Coordinates of places by the keys that `Tape.place` gives them."""
    return {(kind, name, k): c for name, place in places.items() for k, c in enumerate(place)}
