"""Newton's iteration over a chunk of lanes by the elimination plan.

Every step begins at coordinates rounded to `GRID_MM`. A lane has closed when the step is so short that the rounded
place where it began is the nearest one to where it ends: so the last step, and with it every bit of the result, is
the same from whatever start the lane came.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.solve.lanes import Lanes, Solved, Variants
from kin3d.solve.program import Program
from kin3d.solve.system import System

Array = NDArray[np.float64]
GRID_MM = 2.0**-19  # a closed lane's last step is at most half of it; the error after it is its square over a length
TO_GRID = 1.5 * 2.0**52 * GRID_MM  # a sum with so large a number keeps multiples of the grid
STEP_MM = 1e-5  # an accepted lane's last step is smaller: one that stands between two places of the grid may not close
ITERATIONS = 7
CORRECTION_SHARE = 0.05  # the corrector may move a lane by this part of what the predictor moved it, and no more
CORRECTION_MM = 1e-2
CLOSURE_MM = 1e-9


def correct(
    system: System, variants: Variants, lanes: Lanes, guess: Array
) -> tuple[Array, Array, NDArray[np.bool_]]:
    """Close the lanes from a guess.

    Parameters
    ----------
    guess : ndarray, shape (unknowns, lanes)

    Returns
    -------
    q : ndarray, shape (unknowns, lanes)
    error_mm : ndarray, shape (lanes,)
        Largest error of a length.
    good : ndarray of bool, shape (lanes,)
        Closed, last step small, not far from the guess, det J of every block with the sign that it has in the
        design position: on the same branch of assembly.
    """
    q = guess.copy()
    shared = variants.count == 1
    uniforms = [u[0] for u in variants.uniforms] if shared else list(variants.uniforms[:, lanes.variant])
    determinants = variants.per_lane(variants.determinants, lanes)
    good = np.ones(lanes.count, dtype=bool)
    drives = system.drive_rows(lanes)
    with np.errstate(all="ignore"):
        for block, program in enumerate(system.newton):
            chosen = [uniforms[k] for k in system.uniform_rows[program]]
            part = system.blocks[block].slice
            step, determinant = _iterate(program, chosen, q, part, drives)
            good &= (step < STEP_MM) & (determinant * determinants[block] > 0.0)
        residuals = np.empty((len(q), lanes.count))
        closing = [uniforms[k] for k in system.uniform_rows[system.closure]]
        system.closure.run(closing, [*q, *drives], residuals)
        residuals *= variants.per_lane(variants.inverse_lengths, lanes)
        error = np.abs(residuals, out=residuals).max(axis=0)
        moved = np.abs(guess - variants.per_lane(variants.start, lanes)).max(axis=0)
        corrected = np.abs(q - guess).max(axis=0)
        good &= (error < CLOSURE_MM) & (corrected < CORRECTION_SHARE * moved + CORRECTION_MM)
    return q, error, good


def follow(
    system: System, variants: Variants, lanes: Lanes, before: Variants, q: Array
) -> Solved | None:
    """Close the same positions of cars whose points stood elsewhere before; None where one of them does not close.

    What a closed lane comes out as does not depend on where it started, and the expansion about the design is saved.

    Parameters
    ----------
    before : Variants
        As many, with the points of the system.
    q : ndarray, shape (unknowns, lanes)
        Where they closed before.
    """
    guess = q + (variants.start - before.start)[:, lanes.variant]
    found, error, good = correct(system, variants, lanes, guess)
    return Solved(found, np.zeros(lanes.count, dtype=np.int8), error, 0, {}, {}) if good.all() else None


def _iterate(
    program: Program, chosen: Sequence[Any], q: Array, part: slice, drives: Sequence[Array]
) -> tuple[Array, Array]:
    """Newton steps of one block, in place; returns the last step's size and det J, both (lanes,).

    A lane that has closed stays where it is while others of its chunk go on: no result depends on its neighbours.
    """
    half = 0.5 * GRID_MM
    count = q.shape[1]
    out = np.empty((part.stop - part.start + 1, count))
    steps, unknowns = out[:-1], q[part]
    closed = np.zeros(count, dtype=bool)
    determinant = np.empty(count)
    for _ in range(ITERATIONS):
        if closed.any():
            np.copyto(unknowns, (unknowns + TO_GRID) - TO_GRID, where=~closed)
        else:
            unknowns += TO_GRID
            unknowns -= TO_GRID
        program.run(chosen, [*q, *drives], out)
        if closed.any():
            np.copyto(steps, 0.0, where=closed)
        np.copyto(determinant, out[-1], where=~closed)
        unknowns -= steps
        size = np.abs(steps, out=steps).max(axis=0)
        closed = size <= half
        if closed.all():
            break
    return size, determinant
