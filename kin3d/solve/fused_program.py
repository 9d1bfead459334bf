"""One program of a tape as machine code, over lanes or over pairs of a direction and a lane."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from ctypes import CFUNCTYPE, c_int64, c_void_p
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.solve.fused import WIDTH, Listing, compiled, constants, padded
from kin3d.solve.program import Program

Array = NDArray[np.float64]
_SIGNATURE = "i64 %groups, i64 %stride, ptr %rows, ptr %index, ptr %table, i64 %ways, ptr %directions, ptr %out"
_CALL = CFUNCTYPE(None, c_int64, c_int64, c_void_p, c_void_p, c_void_p, c_int64, c_void_p, c_void_p)


class FusedProgram:
    """The compiled twin of a `Program`.

    Parameters
    ----------
    program : Program
    entries : mapping of int to int
        For every number of a variant, by its node's serial, its place in the table.
    shared : bool
        Whether there is one variant alone.
    across : bool
        Whether the program's inputs are those of directions; else they are rows of lanes.
    level : int
        As of `compiled`.
    """

    def __init__(
        self, program: Program, entries: Mapping[int, int], shared: bool, across: bool, level: int
    ) -> None:
        self.program, self.across = program, across
        inline = constants(program.uniforms)
        self.from_table = [n.serial for n in program.uniforms if n.serial in entries]
        self.rows = [n.serial for n in program.uniforms if n.serial not in entries and n.serial not in inline]
        listing = self._write(entries, inline, shared)
        self._call = _CALL(compiled(_SIGNATURE, listing, level))

    def _write(self, entries: Mapping[int, int], inline: dict[int, str], shared: bool) -> Listing:
        listing, program = Listing(), self.program
        put, add = listing.put, listing.add
        inputs = [program.results[0].tape.inputs[k].serial for k in program.lane_keys]
        streamed = self.rows if self.across else [*self.rows, *inputs]
        bases = [put(f"load ptr, ptr {put(f'getelementptr ptr, ptr %rows, i64 {k}')}") for k in range(len(streamed))]
        known = dict(inline)
        if shared:
            known |= {s: listing.table("%table", 0, entries[s], None) for s in self.from_table}
        size = put("mul i64 %stride, %ways")
        add("br label %way")
        add("way:")
        add("%w = phi i64 [0, %entry], [%w.next, %way.end]")
        for k, serial in enumerate(inputs if self.across else ()):
            place = put(f"add i64 {put(f'mul i64 %ways, {k}')}, %w")
            known[serial] = listing.number("%directions", place)
        before = put("mul i64 %w, %stride")
        add("br label %group")
        add("group:")
        add("%g = phi i64 [0, %way], [%g.next, %group]")
        first = put(f"mul i64 %g, {WIDTH}")
        if not shared and self.from_table:
            index = put(f"load <{WIDTH} x i64>, ptr {put(f'getelementptr i64, ptr %index, i64 {first}')}, align 8")
            known |= {s: listing.table("%table", len(entries), entries[s], index) for s in self.from_table}
        known |= {s: listing.load(base, first) for s, base in zip(streamed, bases, strict=True)}
        listing.steps(program.order, known)
        at = put(f"add i64 {before}, {first}")
        for k, node in enumerate(program.results):
            listing.store(known[node.serial], "%out", put(f"add i64 {at}, {put(f'mul i64 {size}, {k}')}"))
        add("%g.next = add i64 %g, 1")
        add(f"br i1 {put('icmp slt i64 %g.next, %groups')}, label %group, label %way.end")
        add("way.end:")
        add("%w.next = add i64 %w, 1")
        add(f"br i1 {put('icmp slt i64 %w.next, %ways')}, label %way, label %end")
        add("end:")
        add("ret void")
        return listing

    def __call__(
        self,
        values: Mapping[int, Any],
        inputs: Sequence[Array],
        table: Array,
        index: NDArray[np.int64],
        shape: tuple[int, ...],
    ) -> Array:
        """Run lanes.

        Parameters
        ----------
        values : mapping of int to ndarray, shape (lanes,)
            Rows of lanes that are given, by serial.
        inputs : sequence of ndarray
            Inputs of the program, shape (lanes,) or (directions,).
        table : ndarray, shape (variants, numbers)
        index : ndarray of int, shape (lanes,)
        shape : tuple of int
            (lanes,) or (directions, lanes).

        Returns
        -------
        ndarray, shape (outputs, …)
        """
        count = shape[-1]
        ways = shape[0] if self.across else 1
        groups = -(-count // WIDTH)
        stride = groups * WIDTH
        streamed = [values[s] for s in self.rows] + ([] if self.across else list(inputs))
        rows = [padded(np.broadcast_to(x, count), stride) for x in streamed]
        pointers = np.array([r.ctypes.data for r in rows], dtype=np.int64)
        where = padded(index, stride)
        directions = np.array(inputs, dtype=float) if self.across else np.zeros(1)
        out = np.empty((len(self.program.results), ways, stride))
        self._call(
            groups, stride, pointers.ctypes.data, where.ctypes.data, table.ctypes.data, ways,
            directions.ctypes.data, out.ctypes.data,
        )  # fmt: skip
        return out[..., :count].reshape(-1, *shape)
