"""Forces in the linkage: Jᵀλ = −load with the Jacobian of the very equations that gave the positions.

Terms: the *generalised load* of a force is its work per unit of each unknown coordinate; λ is one number a row of the
equations. For the length row of a link λ times the link's length is its axial force; for the travel row λ is the upward
force that the chassis frame would have to add at the wheel centre to hold the position. A set of loads is in balance
where that last one vanishes. Links weigh nothing.

Units: N, mm, N·mm. Frame: vehicle (x forward, y left, z up).
(Multipliers as joint forces: J. García de Jalón and E. Bayo, *Kinematic and Dynamic Simulation of Multibody Systems*,
1994.)
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError
from kin3d.measures.corner import Corner
from kin3d.solve.equations import Row, carry, frame_of, weights_of
from kin3d.solve.implicit import stack_inverse
from kin3d.spatial.jets import Algebra, Jet, value
from kin3d.spatial.vectors import Number, Vec, dot, sub, vector

Array = NDArray[np.float64]


class Statics:
    """Statics of the positions of one corner.

    Parameters
    ----------
    corner : Corner
        Its places and design coordinates are taken as they stand; lanes without a solution give NaN.

    Attributes
    ----------
    places : dict of point to vector of Jet
        Present places with their derivatives along every unknown coordinate.
    design : dict of point to vector
        Places in the design position.
    """

    def __init__(self, corner: Corner) -> None:
        kernel, lanes, variants = corner.model.kernel_of_a_corner, corner.lanes, corner.variants
        self.linkage = kernel.linkage
        self.equations = kernel.system.equations
        self.count = lanes.count
        keys = kernel.system.unknown_keys
        zero = (0,) * len(keys)
        units = [tuple(int(i == k) for i in range(len(keys))) for k in range(len(keys))]
        self.algebra = Algebra([zero, *units])
        self.design: dict[str, Vec] = {p: self._constant(v) for p, v in corner.motion.design.items()}
        x, y, z = variants.per_lane(variants.rack_axis.T, lanes)
        jets: dict[str, list[Any]] = {p: list(self._constant(corner.place(p))) for p in self.equations.unknowns.points}
        for number, (_, point, k) in enumerate(keys):
            jets[point][k] = self.algebra.variable(jets[point][k], number)
        self._slots = [self.algebra.index[u] for u in units]
        q: dict[str, Vec] = {p: (v[0], v[1], v[2]) for p, v in jets.items()}
        values, axes = kernel.system.values(lanes), kernel.system.axes(self.design, (x, y, z))
        self._drives = values, axes
        self.places = self.equations.places(q, self.design, values, axes)
        rows = self.equations.residuals(self.places, self.design, values, axes)
        self._jacobian = np.stack([self._gradient(r) for r in rows], axis=0)
        self._inverted: tuple[Array, Array, NDArray[np.bool_]] | None = None

    @staticmethod
    def of(corner: Corner) -> Statics:
        """The statics of a corner, made once: several load cases and measures ask for them."""
        found = corner.kept.get("statics")
        if not isinstance(found, Statics):
            found = corner.kept["statics"] = Statics(corner)
        return found

    def _gradient(self, x: Any) -> Array:
        """Derivatives of a number along the unknowns, shape (unknowns, lanes)."""
        out = np.zeros((len(self._slots), self.count))
        if isinstance(x, Jet):
            for row, slot in enumerate(self._slots):
                c = x.coefficients[slot]
                if c is not None:
                    out[row] = c
        return out

    def residual(self, row: Row, at: Mapping[str, Vec]) -> Number:
        """Value of a row with points at given places."""
        return self.equations.residual(row, at, self.design, *self._drives)

    def on_body(self, body: str, place: Vec) -> Vec:
        """A place, seen as a material point of a moving body: jets that carry how it moves with the body."""
        base = self.equations.unknowns.bases[body]
        now = frame_of(base, {p: self._constant(self.places[p]) for p in base.points})
        return carry(weights_of(self._constant(place), now), frame_of(base, self.places))

    def _constant(self, v: Vec) -> Vec:
        return vector(value(c) for c in v)

    def load(self, place: Vec, force: Vec) -> Array:
        """Generalised load of a force at a place (of `places` or `on_body`), shape (unknowns, lanes); force in N."""
        return self._gradient(dot(place, self._constant(force)))

    def pair(self, first: str, second: str, compression: Any) -> Array:
        """Generalised load of an element between two points that pushes them apart with `compression`, N."""
        gap = sub(self.places[first], self.places[second])
        across = self._constant(gap)
        along = np.sqrt(sum(c * c for c in across))
        direction: Vec = (across[0] / along, across[1] / along, across[2] / along)
        return np.asarray(self._gradient(dot(gap, direction)) * compression)

    def multipliers(self, load: Array) -> Array:
        """λ of every row of the equations under a generalised load, shape (rows, lanes).

        Parameters
        ----------
        load : ndarray, shape (unknowns, lanes)
        """
        matrices, inverse, bad = self._inverse()
        right = np.where(bad, 0.0, -load).T[..., None]
        right = np.where(np.isfinite(right), right, 0.0)
        found = inverse @ right
        found = found + inverse @ (right - matrices @ found)  # once more, as an inverse alone rounds more than a solve
        lost = bad | ~np.isfinite(load).all(axis=0)
        return np.asarray(np.where(lost, np.nan, found[..., 0].T))

    def _inverse(self) -> tuple[Array, Array, NDArray[np.bool_]]:
        """Jᵀ of every lane, its inverse, and which lanes have none because they were not reached; made once."""
        if self._inverted is None:
            matrices = np.ascontiguousarray(np.moveaxis(self._jacobian, (0, 1, 2), (2, 1, 0)))
            bad = np.asarray(~np.isfinite(matrices).all(axis=(1, 2)))
            matrices[bad] = np.eye(matrices.shape[1])
            self._inverted = matrices, stack_inverse(matrices), bad
        return self._inverted

    @property
    def _travel(self) -> list[int]:
        """Rows of the heights of the wheel centres."""
        return [k for k, r in enumerate(self.equations.rows) if r.kind == "travel"]

    def at_wheels(self, load: Array) -> Array:
        """What a generalised load asks of the height of each wheel, N, shape (wheels, lanes)."""
        return self.multipliers(load)[self._travel]

    def balanced(self, load: Array, *reactions: Array) -> tuple[Array, tuple[Array, ...]]:
        """Multipliers under a load and that much of each reaction as leaves nothing for the rows of travel.

        Parameters
        ----------
        load, *reactions : ndarray, shape (unknowns, lanes)
            The load, and the generalised load of one unit of what holds each wheel up (a spring's compression, say).

        Returns
        -------
        multipliers : ndarray, shape (rows, lanes)
        units : tuple of ndarray, shape (lanes,)
            How many units of each reaction it takes.
        """
        under, held = self.multipliers(load), [self.multipliers(r) for r in reactions]
        travel = self._travel
        if len(travel) != len(held):
            raise ValueError(f"{len(travel)} wheels and {len(held)} reactions")
        if len(held) == 1:
            with np.errstate(all="ignore"):
                units = (-under[travel[0]] / held[0][travel[0]],)
        else:
            matrices = np.moveaxis(np.stack([h[travel] for h in held], axis=1), -1, 0)
            units = tuple(np.linalg.solve(matrices, -under[travel].T[..., None])[..., 0].T)
        return sum((u * h for u, h in zip(units, held, strict=True)), under), units

    def axial(self, link: str, multipliers: Array) -> Array:
        """Axial force of a link (a body of two points), N, tension positive, shape (lanes,).

        Raises
        ------
        RequestError
            When the body is no link of this linkage.
        """
        for k, row in enumerate(self.equations.rows):
            if row.kind == "length" and row.bodies == (link,) and link in self.equations.unknowns.links:
                gap = self._constant(sub(self.places[row.points[0]], self.places[row.points[1]]))
                return np.asarray(-multipliers[k] * np.sqrt(sum(c * c for c in gap)))
        links = ", ".join(f'"{b}"' for b in self.equations.unknowns.links)
        raise RequestError(Finding("link-unknown", f'"{link}" is no link of this linkage; its links are {links}'))
