"""Changing a car while it is looked at: moves with undo, a drag that stops at the limit, the way back to the file."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from kin3d.solve.continuation import Numbers
from kin3d.solve.lanes import Lanes, Status, Variants
from kin3d.solve.limits import limit_sentence
from kin3d.solve.newton import correct
from kin3d.solve.system import bodies_in_line
from kin3d.studies.ground_contact import Stance, put_on_ground
from kin3d_viewer.model import Drives, LiveModel, View
from kin3d_viewer.primitives import Array
from kin3d_viewer.scene_road import body_motion
from kin3d_viewer.snapshot import SIDES, Snapshot

NEAR_MM = 1.0  # two points of one body come no nearer to each other than this
SINGULAR_SHARE = 0.02  # det J of a block, against that before the drag, under which a design counts as in line
LIMIT_MM = 0.01  # a drag is stopped within this of its limit
UNDO_DEPTH = 200
FLAT_SHARE = 1e-3  # the same for a typed point, which may lie beyond a singular place but not in one
OUT_OF_REACH = "out of reach"


@dataclass(frozen=True, slots=True, eq=False)
class _Held:
    """The design that a drag began from, and the position there."""

    design: Array
    variants: Variants
    now: Snapshot


@dataclass(frozen=True, slots=True, eq=False)
class _Tried:
    """A design that can be assembled, with its variants and the unknowns of the present position."""

    design: Array
    variants: Variants
    q: Array


@dataclass(frozen=True, slots=True, eq=False)
class Step:
    """What came of a move: the state that holds now, and why it is not all that was asked for; empty when it is."""

    view: View
    reason: str = ""


@dataclass(eq=False)
class Editor:
    """A live model with its sliders, its history, and the state that is shown."""

    model: LiveModel
    drives: Drives = field(default_factory=Drives)
    view: View = field(init=False)
    _undo: list[Array] = field(init=False, default_factory=list)
    _redo: list[Array] = field(init=False, default_factory=list)
    _held: _Held | None = field(init=False, default=None)
    _tried: _Tried | None = field(init=False, default=None)
    _saved: Array | None = field(init=False, default=None)

    def __post_init__(self) -> None:
        self.view = self.model.solve(self.model.design, self.drives)

    @property
    def design(self) -> Array:
        """Design coordinates as they stand, shape (2, points, 3), mm."""
        return self.model.design

    @property
    def changed(self) -> bool:
        """Whether the points differ from the file's."""
        return not np.array_equal(self.design, self.model.base.variants.design)

    @property
    def unsaved(self) -> bool:
        """Whether there are changes that no file has."""
        return self.changed and (self._saved is None or not np.array_equal(self.design, self._saved))

    def note_saved(self) -> None:
        """Remember that a file has the points as they stand."""
        self._saved = self.design.copy()

    @property
    def can_undo(self) -> bool:
        """Whether there is a move to take back."""
        return bool(self._undo)

    def drive(self, **to: float) -> Step:
        """Move sliders: ``travel_mm=…``, ``rack_mm=…``; a position out of reach leaves them where they are."""
        wanted = replace(self.drives, **to)
        reason = self._unreached(self.design, wanted)
        if reason:
            return Step(self.view, reason)
        self.drives = wanted
        return self._show(self.design)

    def place(self, side: int, point: str) -> Array:
        """Design coordinates of a point, shape (3,), mm."""
        found: Array = self.design[side, self.model.base.linkage.index(point)]
        return found

    def set_point(self, side: int, point: str, place: Array) -> Step:
        """Put a point to design coordinates, as typed; refused, with its reason, where they make no linkage."""
        return self.set_points(side, {point: place})

    def set_points(self, side: int, places: Mapping[str, Array]) -> Step:
        """The same for several points at once."""
        wanted = self._moved(self.design, side, places)
        reason = self.refusal(wanted)
        if reason:
            return Step(self.view, reason)
        self._remember()
        return self._show(wanted)

    def take(self, side: int, places: Mapping[str, Array]) -> Step:
        """Put points to places and all others to those of the file; refused where they make no linkage."""
        wanted = self._moved(self.model.base.variants.design.copy(), side, places)
        reason = self.refusal(wanted)
        if reason:
            return Step(self.view, reason)
        self._remember()
        return self._show(wanted)

    def _moved(self, design: Array, side: int, places: Mapping[str, Array]) -> Array:
        for point, place in places.items():
            design = self.model.with_point(design, side, point, place)
        return design

    def begin_drag(self) -> None:
        """Remember where a drag starts, so that it is undone as one move."""
        self._held = _Held(self.design.copy(), self.model.variants(self.design), self.view.now)

    def drag(self, side: int, points: str | Collection[str], shift: Array) -> Step:
        """Move points by one shift from where the drag began, mm, in the present position; stops at the limit.

        The shift is turned back to the design position with the body that carries each point. The way there is gone in
        steps that halve where the linkage does not follow, so that it stays on its branch of assembly.
        """
        if self._held is None:
            self.begin_drag()
        assert self._held is not None
        held, way, index = self._held, np.asarray(shift, dtype=float), self.model.base.linkage.index
        names = [points] if isinstance(points, str) else list(points)
        targets = {p: held.design[side, index(p)] + self._to_design(held.now, side, p, way) for p in names}
        reason = self._advance(side, targets, held)
        return Step(self.view, reason)

    def end_drag(self) -> Step:
        """Finish a drag: one step of history, and the ends of the curves that were left out while dragging."""
        if self._held is not None and not np.array_equal(self._held.design, self.design):
            self._remember(self._held.design)
        self._held = None
        return self._show(self.design)

    def undo(self) -> Step:
        """Take the last move back."""
        return self._swap(self._undo, self._redo)

    def redo(self) -> Step:
        """Do again what was taken back."""
        return self._swap(self._redo, self._undo)

    def reset(self) -> Step:
        """Back to the file's points; can be undone."""
        if self.changed:
            self._remember()
        return self._show(self.model.base.variants.design.copy())

    def _swap(self, source: list[Array], target: list[Array]) -> Step:
        if not source:
            return Step(self.view, "nothing to take back" if source is self._undo else "nothing to do again")
        target.append(self.design)
        wanted = source.pop()
        if self._unreached(wanted, self.drives):
            self.drives = Drives()
        return self._show(wanted)

    def _remember(self, design: Array | None = None) -> None:
        self._undo.append(self.design if design is None else design)
        del self._undo[:-UNDO_DEPTH]
        self._redo.clear()

    def _show(self, design: Array) -> Step:
        self.model.design = design
        self.view = self.model.solve(design, self.drives)
        return Step(self.view)

    def _to_design(self, now: Snapshot, side: int, point: str, shift: Array) -> Array:
        """A shift in a position, turned back with the first body of three points that carries the point."""
        linkage = self.model.base.linkage
        bodies = [list(ps) for ps in linkage.bodies.values() if point in ps and len(ps) > 2]
        if not bodies or point in linkage.fixed:
            return shift
        turn, _ = body_motion(now, side, bodies[0])
        back: Array = turn.T @ shift
        return back

    def _advance(self, side: int, targets: Mapping[str, Array], held: _Held) -> str:
        """Go towards targets as far as the linkage can be assembled; returns why it stopped, empty if there."""
        share, step, reason = 0.0, 1.0, ""
        ways = {p: (self.place(side, p), target - self.place(side, p)) for p, target in targets.items()}
        length = max(1e-12, *(float(np.linalg.norm(way)) for _, way in ways.values()))
        best = self._tried
        if best is None or best.design is not self.design:
            best = _Tried(self.design, self.model.variants(self.design), self.view.q)
        while share < 1.0 and step * length > LIMIT_MM:
            step = min(step, 1.0 - share)
            goal = {p: here + (share + step) * way for p, (here, way) in ways.items()}
            wanted = self._moved(self.design, side, goal)
            found = self._follow(wanted, best, held)
            if isinstance(found, str):
                reason, step = found, 0.5 * step
            else:
                best, share, reason = found, share + step, ""
        self.model.design, self._tried = best.design, best
        self.view = self.model.solve(best.design, self.drives, best.variants, best.q)
        return reason and self._why(reason, best)

    def _follow(self, design: Array, last: _Tried, held: _Held) -> _Tried | str:
        """Close the present position of a design from that of a design near it; a reason where that fails."""
        near = self._too_near(design)
        if near:
            return near
        kernel = self.model.base.kernel
        variants = self.model.variants(design)
        with np.errstate(all="ignore"):
            ratio = variants.determinants / held.variants.determinants
        if not (ratio > SINGULAR_SHARE).all():
            return self._in_line(variants, Drives(), variants.start)
        lanes = self._present()
        guess = last.q + variants.start - last.variants.start
        q, _, good = correct(kernel.system, kernel.of_system(variants), lanes, guess)
        return _Tried(design, variants, q) if good.all() else OUT_OF_REACH

    def _why(self, reason: str, last: _Tried) -> str:
        """The reason in words: what is in line in the last position that could be assembled."""
        return self._in_line(last.variants, self.drives, last.q) if reason == OUT_OF_REACH else reason

    def _in_line(self, variants: Variants, drives: Drives, q: Array) -> str:
        """Say which members come in line in a position."""
        kernel = self.model.base.kernel
        system = kernel.system
        lanes = kernel.lanes(variants, 0.0) if drives == Drives() else self._present()
        dense = system.dense(Numbers(system, kernel.of_system(variants))(lanes, q), lanes.count)
        if not np.isfinite(dense).all():
            return "the points do not make a linkage there"
        scaled = dense * variants.inverse_lengths.T[:, :, None]
        u, sizes, _ = np.linalg.svd(scaled)
        side = int(np.argmin(sizes[:, -1]))
        names = bodies_in_line(u[side, :, -1], [system.equations.rows[r] for r in system.row_order])
        still = drives == Drives()
        where = (
            "in the design position"
            if still
            else f"at travel {drives.travel_mm:+.1f} mm, rack {drives.rack_mm:+.1f} mm"
        )
        return f"limit: {names} come in line {where}"

    def refusal(self, design: Array) -> str:
        """Why a design cannot be assembled or does not reach the present position; empty when it does."""
        return self._too_near(design) or self._singular(design) or self._unreached(design, self.drives)

    def _too_near(self, design: Array) -> str:
        linkage = self.model.base.linkage
        groups = [*linkage.bodies.items(), *([("spring", linkage.spring)] if linkage.spring else [])]
        for body, points in groups:
            rows = [linkage.index(p) for p in points]
            for k, i in enumerate(rows):
                for j in rows[:k]:
                    if np.linalg.norm(design[0, i] - design[0, j]) < NEAR_MM:
                        a, b = linkage.points[j], linkage.points[i]
                        return f"{a} and {b} of the {body} would be less than {NEAR_MM:g} mm apart"
        return ""

    def _singular(self, design: Array) -> str:
        """Say which members are in line in the design position."""
        chosen = self.model.variants(design)
        with np.errstate(all="ignore"):
            ratio = np.abs(chosen.determinants / self.model.base.variants.determinants)
        return "" if (ratio > FLAT_SHARE).all() else self._in_line(chosen, Drives(), chosen.start)

    def _present(self) -> Lanes:
        """The present position of both wheels."""
        return self.model.base.pair(self.view.travel_mm[:, None], np.full(1, self.drives.rack_mm))

    def _unreached(self, design: Array, drives: Drives) -> str:
        """Why the linkage does not reach a position; empty when it does."""
        kernel = self.model.base.kernel
        variants = self.model.variants(design)
        if drives.roll_deg:
            wanted = (drives.travel_mm, np.radians(drives.roll_deg), drives.rack_mm, 0.0)
            heave, roll, rack, pitch = (np.array([v]) for v in wanted)
            stance = Stance(heave, roll, rack, pitch)
            standing = put_on_ground([replace(self.model.base, variants=variants)], stance)
            if standing.status[0] == Status.OK:
                return ""
            return "; ".join(f.text for f in standing.findings) or Status(int(standing.status[0])).sentence
        lanes = kernel.lanes(variants, drives.travel_mm, drives.rack_mm)
        if (kernel.solve(variants, lanes, step=False).status == Status.OK).all():
            return ""
        solved = kernel.solve(variants, lanes)
        for lane in np.flatnonzero(solved.status != Status.OK):
            side = SIDES[int(lanes.variant[lane])]
            return f"{side} wheel: {limit_sentence(lanes, solved, int(lane)).text}"
        return ""
