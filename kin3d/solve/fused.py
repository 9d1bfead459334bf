"""The same tapes as machine code, through LLVM: everything that a lane needs in one pass over eight lanes at a time.

Steps are written as LLVM text, one line a node, in the order and with the rounding that numpy has: no operation is
fused with another, so that both ways give the same bits. What calls a function of the processor's library (sine, arc
tangent) stays with numpy. llvmlite is asked for where it is used: without it numpy does all.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from itertools import count
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.solve.tape import ABS, ADD, CONST, DIV, MIN, MUL, SENSE, SQRT, SUB, Node

Array = NDArray[np.float64]
WIDTH = 8
V = f"<{WIDTH} x double>"
_INSTRUCTION = {ADD: "fadd", SUB: "fsub", MUL: "fmul", DIV: "fdiv"}
_numbers = count()  # of functions: each has a name of its own
_ONES = f"<{', '.join(['i1 1'] * WIDTH)}>"
_DECLARED = f"""
declare {V} @llvm.fabs.v{WIDTH}f64({V})
declare {V} @llvm.fmuladd.v{WIDTH}f64({V}, {V}, {V})
declare {V} @llvm.sqrt.v{WIDTH}f64({V})
declare {V} @llvm.masked.gather.v{WIDTH}f64.v{WIDTH}p0(<{WIDTH} x ptr>, i32, <{WIDTH} x i1>, {V})
"""


class Listing:
    """Lines of LLVM text of one function; names are given as they are asked for."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self._count = 0

    def name(self) -> str:
        """A name that nothing has yet."""
        self._count += 1
        return f"%t{self._count}"

    def put(self, text: str) -> str:
        """A line whose result has a new name, which is returned."""
        name = self.name()
        self.lines.append(f"  {name} = {text}")
        return name

    def add(self, text: str) -> None:
        """A line without a result, or a label."""
        self.lines.append(text if text.endswith(":") else f"  {text}")

    def splat(self, scalar: str) -> str:
        """A number in every lane."""
        one = self.put(f"insertelement {V} undef, double {scalar}, i64 0")
        return self.put(f"shufflevector {V} {one}, {V} undef, <{WIDTH} x i32> zeroinitializer")

    def number(self, base: str, offset: str) -> str:
        """One number of an array, in every lane."""
        place = self.put(f"getelementptr double, ptr {base}, i64 {offset}")
        return self.splat(self.put(f"load double, ptr {place}"))

    def two(self, instruction: str, a: str, b: str) -> str:
        """An operation on two vectors."""
        return self.put(f"{instruction} {V} {a}, {b}")

    def size(self, a: str) -> str:
        """Numbers without their sign."""
        return self.put(f"call {V} @llvm.fabs.v{WIDTH}f64({V} {a})")

    def choose(self, mask: str, a: str, b: str) -> str:
        """The first of two vectors where a mask is set."""
        return self.put(f"select <{WIDTH} x i1> {mask}, {V} {a}, {V} {b}")

    def compare(self, how: str, a: str, b: str) -> str:
        """A mask."""
        return self.put(f"fcmp {how} {V} {a}, {b}")

    def both(self, a: str, b: str) -> str:
        """Where two masks are set."""
        return self.put(f"and <{WIDTH} x i1> {a}, {b}")

    def larger(self, a: str, b: str) -> str:
        """The larger of two numbers."""
        return self.choose(self.compare("ogt", a, b), a, b)

    def steps(self, nodes: Iterable[Node], known: dict[int, str]) -> None:
        """Lines of the nodes; `known` has the names of all that they need, by serial, and receives theirs."""
        for n in nodes:
            known[n.serial] = self._step(n, known[n.a], known[n.b])

    def _step(self, node: Node, a: str, b: str) -> str:
        if node.op in _INSTRUCTION:
            return self.two(_INSTRUCTION[node.op], a, b)
        if node.op == SQRT:
            return self.put(f"call {V} @llvm.sqrt.v{WIDTH}f64({V} {a})")
        if node.op == ABS:
            return self.size(a)
        if node.op == SENSE:
            return self.choose(self.compare("olt", a, "zeroinitializer"), vector(-1.0), vector(1.0))
        if node.op == MIN:  # a number that is none is kept, as numpy does
            less = self.choose(self.compare("olt", b, a), b, a)
            return self.choose(self.compare("uno", b, b), b, less)
        raise ValueError("this step stays with numpy")

    def table(self, base: str, width: int, entry: int, index: str | None) -> str:
        """An entry of a table (variants, width) for each lane's variant, or of its only row."""
        if index is None:
            return self.number(base, str(entry))
        return self.gather(base, width, str(entry), index)

    def gather(self, base: str, width: int | str, entry: str, index: str) -> str:
        """The same of a table of several rows; `width` and `entry` may be names of whole numbers."""
        start = self.put(f"getelementptr double, ptr {base}, i64 {entry}")
        wide = str(width)
        if wide.startswith("%"):
            one = self.put(f"insertelement <{WIDTH} x i64> undef, i64 {wide}, i64 0")
            wide = self.put(
                f"shufflevector <{WIDTH} x i64> {one}, <{WIDTH} x i64> undef, <{WIDTH} x i32> zeroinitializer"
            )
        else:
            wide = f"<{', '.join([f'i64 {wide}'] * WIDTH)}>"
        offset = self.put(f"mul <{WIDTH} x i64> {index}, {wide}")
        places = self.put(f"getelementptr double, ptr {start}, <{WIDTH} x i64> {offset}")
        return self.put(
            f"call {V} @llvm.masked.gather.v{WIDTH}f64.v{WIDTH}p0(<{WIDTH} x ptr> {places}, i32 8, "
            f"<{WIDTH} x i1> {_ONES}, {V} undef)"
        )

    def load(self, base: str, offset: str) -> str:
        """Eight lanes of a row."""
        place = self.put(f"getelementptr double, ptr {base}, i64 {offset}")
        return self.put(f"load {V}, ptr {place}, align 8")

    def store(self, value: str, base: str, offset: str) -> None:
        """Write eight lanes of a row."""
        place = self.put(f"getelementptr double, ptr {base}, i64 {offset}")
        self.add(f"store {V} {value}, ptr {place}, align 8")


def vector(value: float) -> str:
    """A constant in every lane, to the last bit."""
    bits = int(np.float64(value).view(np.uint64))
    return f"<{', '.join([f'double 0x{bits:016X}'] * WIDTH)}>"


def padded(row: NDArray[Any], stride: int) -> NDArray[Any]:
    """A row of lanes, its last lane repeated so that groups are whole; as it is where they are."""
    if len(row) == stride and row.flags.c_contiguous:
        return row
    out = np.empty(stride, dtype=row.dtype)
    out[: len(row)] = row
    out[len(row) :] = row[-1]
    return out


def constants(nodes: Iterable[Node]) -> dict[int, str]:
    """Names of those nodes that are constants."""
    return {n.serial: vector(n.reference) for n in nodes if n.op == CONST}


@cache
def _machine(level: int) -> tuple[Any, Any]:
    """LLVM's machine of this computer, and an engine that holds what is compiled."""
    from llvmlite import binding

    binding.initialize_native_target()
    binding.initialize_native_asmprinter()
    features = binding.get_host_cpu_features().flatten()
    target = binding.Target.from_default_triple()
    machine = target.create_target_machine(cpu=binding.get_host_cpu_name(), features=features, opt=level, jit=True)
    return machine, binding.create_mcjit_compiler(binding.parse_assembly(""), machine)


def compiled(signature: str, listing: Listing, level: int) -> int:
    """Address of a function made of the listing, optimised to a level, 0 or 1; kept as long as the process lives.

    Linkages of one layout often have the same text: it is made once.
    """
    return _address(signature, "\n".join(listing.lines), level)


@cache
def _address(signature: str, body: str, level: int) -> int:
    from llvmlite import binding

    _, engine = _machine(level)
    name = f"lanes_{next(_numbers)}"
    module = binding.parse_assembly(f"{_DECLARED}\ndefine void @{name}({signature}) {{\nentry:\n{body}\n}}\n")
    engine.add_module(module)
    engine.finalize_object()
    return int(engine.get_function_address(name))
