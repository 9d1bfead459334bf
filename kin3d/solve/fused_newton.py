"""Newton's iteration as machine code: guess, steps of every block, sign of det J, closure and correction in one pass.

The same tests with the same bounds as `newton.correct`, lane by lane; see there for what they are for.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from ctypes import CFUNCTYPE, c_double, c_int64, c_void_p

import numpy as np
from numpy.typing import NDArray

from kin3d.solve.fused import WIDTH, Listing, V, compiled, constants, padded, vector
from kin3d.solve.initial_guess import Polynomial
from kin3d.solve.lanes import Lanes, Variants
from kin3d.solve.newton import CLOSURE_MM, CORRECTION_MM, CORRECTION_SHARE, GRID_MM, ITERATIONS, STEP_MM, TO_GRID
from kin3d.solve.program import Program
from kin3d.solve.system import System

Array = NDArray[np.float64]
_MASK = f"<{WIDTH} x i1>"
_SIGNATURE = (
    "i64 %groups, i64 %stride, ptr %drives, ptr %index, ptr %table, ptr %coefficients, i64 %degree, double %middle, "
    "double %scale, ptr %q, ptr %error, ptr %good"
)
_CALL = CFUNCTYPE(
    None, c_int64, c_int64, c_void_p, c_void_p, c_void_p, c_void_p, c_int64, c_double, c_double, c_void_p, c_void_p,
    c_void_p,
)  # fmt: skip


class FusedNewton:
    """The compiled iteration of one system."""

    def __init__(self, system: System) -> None:
        self.system = system
        self._made: dict[tuple[bool, int, int], Callable[..., None]] = {}

    def correct(
        self, variants: Variants, lanes: Lanes, guess: Array | Polynomial, level: int
    ) -> tuple[Array, Array, NDArray[np.bool_]]:
        """As `newton.correct`; the guess may be a polynomial, of which each lane takes its value on the way.

        `level` is how much LLVM thinks about the code, as of `compiled`.
        """
        system, count = self.system, lanes.count
        size = len(system.unknown_keys)
        groups = -(-count // WIDTH)
        stride = groups * WIDTH
        drives = [padded(x, stride) for x in system.drive_rows(lanes)]
        q = np.empty((size, stride))
        degree, middle, scale, drive = -1, 0.0, 1.0, 0
        coefficients: Array = np.zeros(1)
        if isinstance(guess, Polynomial):
            coefficients = np.ascontiguousarray(guess.coefficients)
            degree, middle, scale = guess.coefficients.shape[1] - 1, guess.middle, guess.scale
            drive = [key[1] for key in system.drive_keys].index(guess.drive)
        else:
            q[:, :count] = guess
            q[:, count:] = guess[:, -1:]
        shared = variants.count == 1
        index = np.zeros(1, dtype=np.int64) if shared else padded(lanes.variant.astype(np.int64), stride)
        table = np.ascontiguousarray(
            np.concatenate([variants.uniforms, variants.determinants, variants.inverse_lengths, variants.start]).T
        )
        error, good = np.empty(stride), np.empty(stride, dtype=np.int8)
        pointers = np.array([x.ctypes.data for x in drives], dtype=np.int64)
        self._function(shared, drive, level)(
            groups, stride, pointers.ctypes.data, index.ctypes.data, table.ctypes.data, coefficients.ctypes.data,
            degree, middle, scale, q.ctypes.data, error.ctypes.data, good.ctypes.data,
        )  # fmt: skip
        return q[:, :count], error[:count], good[:count].view(np.bool_)

    def _function(self, shared: bool, drive: int, level: int) -> Callable[..., None]:
        key = (shared, drive, level)
        if key not in self._made:
            self._made[key] = _CALL(compiled(_SIGNATURE, _Writer(self.system, shared, drive).listing, level))
        return self._made[key]


class _Writer:
    """Writes the function of one system."""

    def __init__(self, system: System, shared: bool, drive: int) -> None:
        self.system, self.shared, self.drive = system, shared, drive
        self.listing = Listing()
        self.size = len(system.unknown_keys)
        self.uniforms = len(system.uniforms)
        self.width = self.uniforms + len(system.blocks) + 2 * self.size
        self._write()

    def _write(self) -> None:
        put, add, listing = self.listing.put, self.listing.add, self.listing
        rows = [
            put(f"load ptr, ptr {put(f'getelementptr ptr, ptr %drives, i64 {k}')}")
            for k in range(len(self.system.drive_keys))
        ]
        middle, scale = listing.splat("%middle"), listing.splat("%scale")
        given = put("icmp slt i64 %degree, 0")
        entries = self._entries(None) if self.shared else []
        add("br label %group")
        add("group:")
        add("%g = phi i64 [0, %entry], [%g.next, %done]")
        first = put(f"mul i64 %g, {WIDTH}")
        index = None
        if not self.shared:
            place = put(f"getelementptr i64, ptr %index, i64 {first}")
            index = put(f"load <{WIDTH} x i64>, ptr {place}, align 8")
            entries = self._entries(index)
        drives = [listing.load(row, first) for row in rows]
        start = self._guess(given, first, drives, middle, scale, index)
        unknowns = list(start)
        good = ""
        for k, program in enumerate(self.system.newton):
            good = self._block(k, program, unknowns, drives, entries, good)
        good, error = self._closure(unknowns, drives, entries, start, good)
        for k, value in enumerate(unknowns):
            row = put(f"mul i64 %stride, {k}")
            listing.store(value, "%q", put(f"add i64 {row}, {first}"))
        listing.store(error, "%error", first)
        place = put(f"getelementptr i8, ptr %good, i64 {first}")
        add(f"store <{WIDTH} x i8> {put(f'zext {_MASK} {good} to <{WIDTH} x i8>')}, ptr {place}, align 1")
        add("br label %done")
        add("done:")
        add("%g.next = add i64 %g, 1")
        add(f"br i1 {put('icmp slt i64 %g.next, %groups')}, label %group, label %end")
        add("end:")
        add("ret void")

    def _entries(self, index: str | None) -> list[str]:
        """Everything of a variant: uniforms, det J, inverse lengths, design position."""
        inline = constants(self.system.uniforms)
        out = []
        for k in range(self.width):
            serial = self.system.uniforms[k].serial if k < self.uniforms else -1
            out.append(inline.get(serial) or self.listing.table("%table", self.width, k, index))
        return out

    def _guess(
        self, given: str, first: str, drives: Sequence[str], middle: str, scale: str, index: str | None
    ) -> list[str]:
        """Unknowns to start from: those that are given, or the polynomial by Horner's rule."""
        listing, put, add = self.listing, self.listing.put, self.listing.add
        x = listing.two("fmul", listing.two("fsub", drives[self.drive], middle), scale)
        add(f"br i1 {given}, label %given, label %highest")
        add("given:")
        loaded = []
        for k in range(self.size):
            row = put(f"mul i64 %stride, {k}")
            loaded.append(listing.load("%q", put(f"add i64 {row}, {first}")))
        add("br label %started")
        add("highest:")
        wide = put(f"mul i64 %degree, {self.size}")
        across = put(f"add i64 {wide}, {self.size}")
        highest = [self._coefficient("%degree", k, across, index) for k in range(self.size)]
        add(f"br i1 {put('icmp eq i64 %degree, 0')}, label %horner.end, label %horner")
        add("horner:")
        add("%d = phi i64 [%degree, %highest], [%d.next, %horner]")
        sums = [f"%sum{k}" for k in range(self.size)]
        for k, name in enumerate(sums):
            add(f"{name} = phi {V} [{highest[k]}, %highest], [{name}.next, %horner]")
        add("%d.next = sub i64 %d, 1")
        for k, name in enumerate(sums):
            c = self._coefficient("%d.next", k, across, index)
            add(f"{name}.next = call {V} @llvm.fmuladd.v{WIDTH}f64({V} {name}, {V} {x}, {V} {c})")
        add(f"br i1 {put('icmp eq i64 %d.next, 0')}, label %horner.end, label %horner")
        add("horner.end:")
        last = []
        for k, name in enumerate(sums):
            last.append(put(f"phi {V} [{highest[k]}, %highest], [{name}.next, %horner]"))
        add("br label %started")
        add("started:")
        return [put(f"phi {V} [{a}, %given], [{b}, %horner.end]") for a, b in zip(loaded, last, strict=True)]

    def _coefficient(self, degree: str, unknown: int, across: str, index: str | None) -> str:
        put = self.listing.put
        entry = put(f"add i64 {put(f'mul i64 {degree}, {self.size}')}, {unknown}")
        if index is None:
            return self.listing.number("%coefficients", entry)
        return self.listing.gather("%coefficients", across, entry, index)

    def _known(
        self, program: Program, unknowns: Sequence[str], drives: Sequence[str], entries: Sequence[str]
    ) -> dict[int, str]:
        """Names of what a program is given, by serial."""
        system = self.system
        known = constants(program.uniforms)
        for n, k in zip(program.uniforms, system.uniform_rows[program], strict=True):
            known.setdefault(n.serial, entries[k])
        names = dict(zip(system.lane_keys, (*unknowns, *drives), strict=True))
        inputs = system.tape.inputs
        return known | {inputs[key].serial: names[key] for key in program.lane_keys}

    def _block(
        self,
        number: int,
        program: Program,
        unknowns: list[str],
        drives: Sequence[str],
        entries: Sequence[str],
        good: str,
    ) -> str:
        """The loop of one block; puts the names of its unknowns in place and returns the lanes that are good so far."""
        listing, put, add = self.listing, self.listing.put, self.listing.add
        part = self.system.blocks[number].slice
        label, before = f"block{number}", f"before{number}"
        add(f"br label %{before}")
        add(f"{before}:")
        add(f"br label %{label}")
        add(f"{label}:")
        now = [f"%{label}.q{k}" for k in range(part.start, part.stop)]
        for name, then in zip(now, unknowns[part], strict=True):
            add(f"{name} = phi {V} [{then}, %{before}], [{name}.next, %{label}]")
        add(f"%{label}.det = phi {V} [zeroinitializer, %{before}], [%{label}.det.next, %{label}]")
        add(f"%{label}.closed = phi {_MASK} [zeroinitializer, %{before}], [%{label}.closed.next, %{label}]")
        add(f"%{label}.k = phi i64 [1, %{before}], [%{label}.k.next, %{label}]")
        closed, grid = f"%{label}.closed", vector(TO_GRID)
        begun = []
        for name in now:
            rounded = listing.two("fsub", listing.two("fadd", name, grid), grid)
            begun.append(listing.choose(closed, name, rounded))
        known = self._known(program, [*unknowns[: part.start], *begun, *unknowns[part.stop :]], drives, entries)
        listing.steps(program.order, known)
        *steps, determinant = (known[n.serial] for n in program.results)
        all_closed = small = ""
        for name, begin, step in zip(now, begun, steps, strict=True):
            held = listing.choose(closed, "zeroinitializer", step)
            add(f"{name}.next = fsub {V} {begin}, {held}")
            size = listing.size(held)
            half = listing.compare("ole", size, vector(0.5 * GRID_MM))
            less = listing.compare("olt", size, vector(STEP_MM))
            all_closed = listing.both(all_closed, half) if all_closed else half
            small = listing.both(small, less) if small else less
        add(f"%{label}.det.next = select {_MASK} {closed}, {V} %{label}.det, {V} {determinant}")
        add(f"%{label}.closed.next = and {_MASK} {all_closed}, {all_closed}")
        add(f"%{label}.k.next = add i64 %{label}.k, 1")
        every = put(f"icmp eq i{WIDTH} {put(f'bitcast {_MASK} {all_closed} to i{WIDTH}')}, -1")
        ended = put(f"icmp sgt i64 %{label}.k.next, {ITERATIONS}")
        add(f"br i1 {put(f'or i1 {every}, {ended}')}, label %after{number}, label %{label}")
        add(f"after{number}:")
        unknowns[part] = [f"{name}.next" for name in now]
        same = listing.two("fmul", f"%{label}.det.next", entries[self.uniforms + number])
        kept = listing.both(small, listing.compare("ogt", same, "zeroinitializer"))
        return listing.both(good, kept) if good else kept

    def _closure(
        self,
        unknowns: Sequence[str],
        drives: Sequence[str],
        entries: Sequence[str],
        start: Sequence[str],
        good: str,
    ) -> tuple[str, str]:
        """Which lanes are good in the end, and their largest error of a length."""
        listing = self.listing
        program = self.system.closure
        known = self._known(program, unknowns, drives, entries)
        listing.steps(program.order, known)
        first = self.uniforms + len(self.system.blocks)
        inverse, design = entries[first : first + self.size], entries[first + self.size :]
        error = moved = corrected = "zeroinitializer"
        for k, node in enumerate(program.results):
            size = listing.size(listing.two("fmul", known[node.serial], inverse[k]))
            error = listing.larger(size, error)
            good = listing.both(good, listing.compare("olt", size, vector(CLOSURE_MM)))
            moved = listing.larger(listing.size(listing.two("fsub", start[k], design[k])), moved)
            corrected = listing.larger(listing.size(listing.two("fsub", unknowns[k], start[k])), corrected)
        allowed = listing.two("fadd", listing.two("fmul", moved, vector(CORRECTION_SHARE)), vector(CORRECTION_MM))
        return listing.both(good, listing.compare("olt", corrected, allowed)), error
