"""Derivatives of figures that are computed from places: differences along the motion, which is known exactly.

A corner carries its places as jets along travel, along changed points, or along what a study on the ground varies.
Moved a little along them, with everything that goes along, it is a corner of plain numbers, of which any figure can be
computed. No position is solved for it: what the jets leave out is of an order that a central difference does not see.
Two steps, one twice as long, are extrapolated to none (L. F. Richardson, 1911, from memory): of forces 1e-8 is left.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Mapping
from math import prod
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.measures.corner import Corner
from kin3d.measures.corner_pair import CornerPair
from kin3d.solve.kernel import Motion
from kin3d.spatial.jets import Jet, box
from kin3d.spatial.vectors import Number, Vec

Array = NDArray[np.float64]
NamedArrays = dict[str, Array]
STEP_MM, MIXED_STEP_MM = 0.1, 0.5  # how far the point goes that moves most; of a mixed second derivative
PLAIN = box(0)


def with_derivatives(corner: Corner, compute: Callable[[Corner], NamedArrays]) -> dict[str, Number]:
    """Figures of a corner, with the derivatives that its motion carries.

    Parameters
    ----------
    compute : callable
        A corner to figures by name, each an array over its lanes; of the places alone, not of velocities.

    Returns
    -------
    dict of str to Jet or ndarray
        Jets in the corner's algebra, arrays where it carries no derivatives. First derivatives along travel and changed
        points (on the ground along the study's own generators) and the mixed one of both.
    """
    here = compute(corner)
    along = _generators(corner)
    if not along:
        return dict(here)
    out: dict[str, Jet] = {name: corner.motion.algebra.constant(v) for name, v in here.items()}
    small, large = ({g: _step(corner, g, mm) for g in along} for mm in (STEP_MM, MIXED_STEP_MM))
    for g in along:
        _add(out, corner, compute, {g: small[g]})
    for pair in itertools.combinations(along, 2):
        _add(out, corner, compute, {g: large[g] for g in pair})
    return dict(out)


def _generators(corner: Corner) -> tuple[int, ...]:
    """Generators along which derivatives are wanted."""
    monomials = corner.motion.algebra.monomials
    if isinstance(corner, CornerPair):
        whole, outer = len(monomials[0]), len(corner.outer.monomials[0])
        wanted: Iterable[int] = range(whole - outer, whole)
    else:
        known = corner.motion.generators
        wanted = [known[name] for name in ("travel", "points") if name in known]
    return tuple(g for g in wanted if any(m[g] for m in monomials))


def _step(corner: Corner, generator: int, reach_mm: float) -> Array:
    """Step of a generator that moves the fastest point so far, shape (lanes,) or (directions, lanes)."""
    slot = corner.motion.algebra.generator(generator)
    fastest: Any = 0.0
    for number in _numbers(corner):
        rate = number.coefficients[slot] if isinstance(number, Jet) else None
        if rate is not None:
            fastest = np.fmax(fastest, np.abs(rate))
    return np.where(fastest > 0.0, reach_mm / np.where(fastest > 0.0, fastest, 1.0), 1.0)


def _numbers(corner: Corner) -> Iterable[Any]:
    """Everything that a figure may be computed from and that may carry derivatives."""
    for places in (corner.motion.at, corner.motion.design):
        for place in places.values():
            yield from place
    yield from corner.figures.values()


def _add(
    out: Mapping[str, Jet], corner: Corner, compute: Callable[[Corner], NamedArrays], steps: Mapping[int, Array]
) -> None:
    """The derivative along one generator, or the mixed one along two, where the algebra keeps it."""
    algebra = corner.motion.algebra
    monomial = tuple(int(g in steps) for g in range(len(algebra.monomials[0])))
    slot = algebra.index.get(monomial)
    if slot is None:
        return
    shape = np.broadcast_shapes((corner.lanes.count,), *(h.shape for h in steps.values()))
    near, far = (_difference(out, corner, compute, {g: n * h for g, h in steps.items()}, shape) for n in (1.0, 2.0))
    for name, jet in out.items():
        jet.coefficients[slot] = (4.0 * near[name] - far[name]) / 3.0


def _difference(
    names: Iterable[str],
    corner: Corner,
    compute: Callable[[Corner], NamedArrays],
    steps: Mapping[int, Array],
    shape: tuple[int, ...],
) -> NamedArrays:
    """Central difference over the steps, of one generator or of two."""
    total: dict[str, Any] = dict.fromkeys(names, 0.0)
    for signs in itertools.product((1.0, -1.0), repeat=len(steps)):
        found = compute(_moved(corner, {g: s * h for s, (g, h) in zip(signs, steps.items(), strict=True)}, shape))
        for name in total:
            total[name] = total[name] + prod(signs) * found[name]
    size = prod(2.0 * h for h in steps.values())
    return {name: v.reshape(shape) / size for name, v in total.items()}


def _moved(corner: Corner, way: Mapping[int, Array], shape: tuple[int, ...]) -> Corner:
    """The corner of plain numbers a little along some generators; of several directions one after the other."""
    count = int(np.prod(shape))
    monomials = corner.motion.algebra.monomials
    powers: dict[int, Any] = {}
    for k, m in enumerate(monomials):
        if all(n == 0 for g, n in enumerate(m) if g not in way):
            powers[k] = prod(way[g] ** m[g] for g in way if m[g])

    def number(x: Any) -> Any:
        if isinstance(x, Jet):
            terms = ((x.coefficients[k], p) for k, p in powers.items())
            x = sum(c * p for c, p in terms if c is not None)
        return np.broadcast_to(np.asarray(x, dtype=float), shape).reshape(count)

    def place(v: Vec) -> Vec:
        return number(v[0]), number(v[1]), number(v[2])

    lanes = np.tile(np.arange(corner.lanes.count), count // max(corner.lanes.count, 1))
    motion = Motion(
        {p: place(v) for p, v in corner.motion.at.items()},
        {p: place(v) for p, v in corner.motion.design.items()},
        PLAIN,
        {"travel": 0},
        {p: place(v) for p, v in corner.motion.opposite.items()},
    )
    figures = {key: number(x) for key, x in corner.figures.items()}
    where = corner.variants, corner.lanes.take(lanes), corner.solved.take(lanes)
    return Corner(corner.model, motion, number(corner.sign), place(corner.normal), *where, figures)
