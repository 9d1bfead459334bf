"""Stepping lanes along their branch of assembly: for those that one step from the design position did not reach.

Each lane goes from its design position in a straight line towards its travel and rack, with a predictor of second
order and a step of its own that halves when the corrector has to pull too far. Where the steps shrink to nothing the
lane is followed along its curve, to its target or to its limit (`arclength.py`). Jacobians are dense here and solved
by LAPACK with row pivoting, so that a lane whose planned pivots have shrunk goes on as well.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from kin3d.solve.implicit import stack_solve
from kin3d.solve.lanes import Lanes, Status, Variants
from kin3d.solve.newton import CLOSURE_MM, CORRECTION_SHARE, STEP_MM
from kin3d.solve.own_way import OwnWay
from kin3d.solve.system import System, bodies_in_line
from kin3d.solve.tape import by_axis
from kin3d.spatial.vectors import Vec, vector

if TYPE_CHECKING:
    from kin3d.solve.arclength import CurveSlopes

Array = NDArray[np.float64]
FIRST_STEP = 0.5
SMALLEST_STEP_MM = 0.05  # of travel or rack; a lane that takes no such step is followed along its curve
BEND = 0.15  # second order over first of a step: towards a limit as far off as a step is long it would be a quarter
ITERATIONS = 6
MOST_STEPS = 400


@dataclass(frozen=True, slots=True)
class Continuation:
    """Where the lanes came to.

    Unknowns, errors and status are as in `Solved`; `reached` is the share of the way, `in_line` names for each lane
    that ran into a limit the bodies that have come into line.
    """

    q: Array
    error_mm: Array
    status: NDArray[np.int8]
    reached: Array
    in_line: dict[int, str]


def continue_along_branch(system: System, variants: Variants, lanes: Lanes) -> Continuation:
    """Step every lane from its design position towards its drives."""
    q = np.array(np.broadcast_to(variants.per_lane(variants.start, lanes), (len(variants.start), lanes.count)))
    reached, step = np.zeros(lanes.count), np.full(lanes.count, FIRST_STEP)
    error: Array = np.zeros(lanes.count)
    shortest = SMALLEST_STEP_MM / np.maximum(lanes.way(system.turning), SMALLEST_STEP_MM)
    taylor = np.empty((3, *q.shape))  # where each lane stands: the expansion of its unknowns along its way
    moved = np.ones(lanes.count, dtype=bool)
    for _ in range(MOST_STEPS):
        active = np.flatnonzero((reached < 1.0) & (step > shortest))
        if not active.size:
            break
        fresh = active[moved[active]]
        if fresh.size:
            taylor[:, :, fresh] = along_the_way(system, variants, lanes.take(fresh), q[:, fresh], reached[fresh], 2)
            moved[fresh] = False
        ahead = np.minimum(step[active], 1.0 - reached[active])
        here = lanes.take(active)
        tried, size, good = _try(system, variants, here, q[:, active], reached[active], ahead, taylor[:, :, active])
        done = active[good]
        q[:, done], error[done] = tried[:, good], size[good]
        # the last step lands on the target exactly, so that rounding does not leave a lane just short of it
        reached[done] = np.where(ahead[good] >= 1.0 - reached[done], 1.0, reached[done] + ahead[good])
        moved[done] = True
        step[active] = np.where(good, 2.0 * step[active], 0.5 * step[active])
    status, in_line = _outcome(system, variants, lanes, q, error, reached)
    q[:, status != Status.OK], error[status != Status.OK] = np.nan, np.nan
    return Continuation(q, error, status, reached, in_line)


def _try(
    system: System, variants: Variants, lanes: Lanes, q: Array, reached: Array, ahead: Array, taylor: Array
) -> tuple[Array, Array, NDArray[np.bool_]]:
    """One step of every lane: predict, correct; returns unknowns, errors and which lanes may keep them.

    Lanes whose way bends too much for their step are not corrected: their unknowns are NaN.
    """
    guess, good = _predict(taylor, ahead)
    new, error = np.full_like(guess, np.nan), np.full(lanes.count, np.nan)
    if good.any():
        go = np.flatnonzero(good)
        target = lanes.take(go).part(reached[go] + ahead[go])
        new[:, go], error[go], good[go] = _corrected(system, variants, target, q[:, go], guess[:, go])
    return new, error, good


def _corrected(
    system: System, variants: Variants, target: Lanes, q: Array, guess: Array
) -> tuple[Array, Array, NDArray[np.bool_]]:
    """Newton's iteration from a guess; unknowns, errors and which lanes closed near it on the branch of `q`."""
    with np.errstate(all="ignore"):
        new, step = guess.copy(), np.full(target.count, np.inf)
        numbers = Numbers(system, variants)
        for _ in range(ITERATIONS):
            dense, residual = system.linear(numbers(target, new), target.count)
            change = stack_solve(_finite(dense), residual.T).T
            change[:, step <= STEP_MM] = 0.0  # closed lanes stay, whatever their neighbours do
            new = new - change
            step = np.abs(change).max(axis=0)
            if not (step > STEP_MM).any():
                break
        dense, residual = system.linear(numbers(target, new), target.count)
        error = np.abs(residual * variants.per_lane(variants.inverse_lengths, target)).max(axis=0)
        same = _same_branch(system, variants, target, _finite(dense))
        pulled = np.abs(new - guess).max(axis=0) <= CORRECTION_SHARE * np.abs(guess - q).max(axis=0) + 10 * STEP_MM
    return new, error, (step < STEP_MM) & (error < CLOSURE_MM) & same & pulled


def _finite(matrices: Array) -> Array:
    """Lanes that have gone astray get a harmless matrix; their residual refuses them."""
    bad = ~np.isfinite(matrices).all(axis=(1, 2))
    matrices[bad] = np.eye(matrices.shape[1])
    return matrices


def _same_branch(system: System, variants: Variants, lanes: Lanes, dense: Array) -> NDArray[np.bool_]:
    same = np.ones(lanes.count, dtype=bool)
    for plan, sign in zip(system.blocks, system.orientation(variants), strict=True):
        block = dense[:, plan.slice, plan.slice]
        same &= np.linalg.slogdet(block)[0] * np.broadcast_to(variants.per_lane(sign, lanes), lanes.count) > 0
    return same


def _predict(taylor: Array, ahead: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Unknowns after the step by the expansion of second order; which ways bend little."""
    start, slope, bend = taylor
    straight = ahead * np.abs(bend).max(axis=0) <= BEND * np.abs(slope).max(axis=0)
    return np.asarray(start + ahead * (slope + ahead * bend)), np.asarray(straight)


def along_the_way(
    system: System, variants: Variants, lanes: Lanes, q: Array, reached: Array, degree: int
) -> Array:
    """Unknowns along each lane's own straight way to its drives, from where it has come.

    Taylor coefficients by the share of the way, shape (degree + 1, unknowns, lanes).
    """
    if degree not in system.ways:
        system.ways[degree] = OwnWay(system, degree)
    with np.errstate(all="ignore"):
        found: Array = system.ways[degree].coefficients(*vectors(system, variants, lanes, q), lanes, reached)
    return found


def _outcome(
    system: System, variants: Variants, lanes: Lanes, q: Array, error: Array, reached: Array
) -> tuple[NDArray[np.int8], dict[int, str]]:
    """Follow the lanes that stopped along their curve, in place: OK at the target, LIMIT at the end, else UNSOLVED."""
    status = np.full(lanes.count, Status.OK, dtype=np.int8)
    stopped = np.flatnonzero(reached < 1.0)
    if not stopped.size:
        return status, {}
    from kin3d.solve.arclength import Curve, follow  # few sweeps need it, and it takes its time to load

    here, numbers = lanes.take(stopped), Numbers(system, variants)

    def evaluate(ways: Lanes, share: Array, x: Array) -> CurveSlopes:
        at = ways.part(share)
        inputs = numbers(at, x)
        dense, residual = system.linear(inputs, at.count)
        along = system.along(inputs, ways)
        scale = np.broadcast_to(variants.per_lane(variants.inverse_lengths, at), residual.shape)
        return _finite(np.asarray(dense * scale.T[:, :, None])), (along * scale).T, (residual * scale).T

    def same(at: Lanes, dense: Array) -> NDArray[np.bool_]:
        return _same_branch(system, variants, at, dense)

    with np.errstate(all="ignore"):
        found = follow(Curve(evaluate, same, here, system.turning), q[:, stopped], reached[stopped])
        q[:, stopped], reached[stopped] = found.q, found.reached
        there, _, residual = evaluate(here, found.reached, found.q)
        error[stopped] = np.abs(residual).max(axis=1)
    status[stopped] = np.where(found.arrived, Status.OK, np.where(found.ended, Status.LIMIT, Status.UNSOLVED))
    return status, {int(stopped[k]): _in_line(system, there[k]) for k in np.flatnonzero(found.ended)}


def _in_line(system: System, dense: Array) -> str:
    """Names of the bodies in line: the block that has become singular speaks, not those that are solved before it."""
    found = []
    for plan in system.blocks:
        u, s, _ = np.linalg.svd(dense[plan.slice, plan.slice])
        found.append((float(s[-1] / s[0]), u[:, -1], system.row_order[plan.slice]))
    _, null, rows = min(found, key=lambda f: f[0])
    return bodies_in_line(null, [system.equations.rows[r] for r in rows])


class Numbers:
    """Inputs of the tape for lanes, by key; what the variants have is put together once while lanes stay the same."""

    def __init__(self, system: System, variants: Variants) -> None:
        self.system, self.variants = system, variants
        self._of: tuple[bytes, dict[Any, Any]] = b"", {}

    def __call__(self, lanes: Lanes, q: Array) -> dict[Any, Any]:
        """Inputs at unknowns q, shape (unknowns, lanes)."""
        system, whose = self.system, lanes.variant.tobytes()
        if self._of[0] != whose or not self._of[1]:
            self._of = whose, self._of_variants(lanes, q)
        out = self._of[1] | dict(zip(system.unknown_keys, q, strict=True))
        return out | dict(zip(system.drive_keys, system.drive_rows(lanes), strict=True))

    def _of_variants(self, lanes: Lanes, q: Array) -> dict[Any, Any]:
        _, design, axis = vectors(self.system, self.variants, lanes, q)
        return by_axis("P", design) | by_axis("axis", self.system.axes(design, axis))


def vectors(
    system: System, variants: Variants, lanes: Lanes, q: Array
) -> tuple[dict[str, Vec], dict[str, Vec], Vec]:
    """Unknown points, design points and rack axis of the lanes, as vectors of arrays."""
    row = {key: k for k, key in enumerate(system.unknown_keys)}
    at = {p: vector(q[row["q", p, k]] for k in range(3)) for p in system.equations.unknowns.points}
    design = {p: vector(variants.per_lane(variants.design[:, i].T, lanes)) for i, p in enumerate(system.linkage.points)}
    return at, design, vector(variants.per_lane(variants.rack_axis.T, lanes))
