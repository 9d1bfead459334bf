"""Three-view fusion: places on a sheet of views become points of the car, by one weighted least-squares fit.

A view v shows car axis k along one direction of the sheet with sign s: its reading u (drawing units) of point i is

    p_ik = s·m_v·(u − o_v) + r,

with m_v in mm per drawing unit, o_v the place of the car's origin on the sheet, r the residual in mm of the car.
With c = −s·m_v·o_v the model is linear in p, c and m at once. Each p_ik stands in its own readings only, so their
weighted mean is taken out of them, and a system of at most three unknowns a view is left; its null space tells what no
datum reaches. Standard deviations come from the covariance of the whole fit, scaled by the scatter of the redundant
readings.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from kin3d.reading.dxf.content import Vector, grouped
from kin3d.reading.dxf.declared import Axis

KNOWN_WEIGHT = 1e8  # a datum point against a reading of 1 mm
SCALE_SIGMA = 0.05  # how far a scale that is to be fitted may be off, as a share, before the fit resists
Sighting = tuple[int, int, tuple[float, float]]  # a point, a view, where the one stands in the other, drawing units
Datum = Mapping[int, Sequence[float]]  # points whose place in the car is known, mm


@dataclass(frozen=True, slots=True)
class SheetView:
    """A view that is understood: axes to the right and up, mm per unit, origin on the sheet (None: to be found)."""

    name: str
    axes: tuple[Axis, Axis]
    mm_per_unit: float
    origin: tuple[float, float] | None = None
    sigma_mm: float = 1.0

    def says(self, place: Sequence[float] | Vector) -> list[tuple[int, float]]:
        """Return axis and coordinate, mm, of a place on the sheet, right and up; of a view without origin, from 0."""
        origin = self.origin or (0.0, 0.0)
        return [
            (axis, sign * self.mm_per_unit * float(place[d] - origin[d])) for d, (axis, sign) in enumerate(self.axes)
        ]


@dataclass(slots=True)
class Fusion:
    """Result of a fusion; arrays have shape (points, 3), mm.

    `xyz_mm` and its standard deviation are NaN where a coordinate is in no view or, `loose`, no datum reaches it.
    `values` are what each view says of a coordinate, by point and axis; `spread_mm` their largest less their smallest.
    `views` have the origins (and scales) that were found; `scatter_mm` is the root of the mean square of the redundant
    readings' residuals; `dropped`, by point and axis, took no part, because their views contradict each other.
    """

    xyz_mm: Vector
    sigma_mm: Vector
    values: dict[tuple[int, int], list[tuple[int, float]]]
    spread_mm: Vector
    loose: NDArray[np.bool_]
    views: list[SheetView]
    scatter_mm: float
    dropped: set[tuple[int, int]] = field(default_factory=set)

    @property
    def kept_mm(self) -> Vector:
        """The spread of what was not dropped, 0 for the rest."""
        out = self.spread_mm.copy()
        for key in self.dropped:
            out[key] = 0.0
        return out


def fuse(
    count: int,
    views: Sequence[SheetView],
    places: Sequence[Sighting],
    known: Datum,
    tolerance_mm: float,
    fit_scales: bool = False,
) -> Fusion:
    """Fuse all points, view offsets and, if asked, scales at once.

    Readings of a coordinate whose views disagree by `tolerance_mm` or more do not take part in finding the
    offsets and scales, so that one contradiction does not pull on every other point.
    """
    fit = _once(count, views, places, known, fit_scales, set())
    moves = fit_scales or any(v.origin is None for v in views)  # else what contradicts is known at once
    for _ in range(40):
        limit = max(tolerance_mm * (1.0 - 1e-9), 0.6 * moves * float(fit.kept_mm.max(initial=0.0)))
        new = {(int(i), int(k)) for i, k in np.argwhere(fit.spread_mm >= limit)} - fit.dropped
        if not new:
            break
        fit = _once(count, views, places, known, fit_scales, fit.dropped | new)
    return fit


def _once(
    count: int, views: Sequence[SheetView], places: Sequence[Sighting], known: Datum, fit_scales: bool,
    dropped: set[tuple[int, int]],
) -> Fusion:  # fmt: skip
    # Without two known points nothing tells the common scale: that of the first view stands.
    scaled = [v for v in range(len(views)) if fit_scales and (v > 0 or len(known) >= 2)]
    offsets = [(v, d) for v, view in enumerate(views) if view.origin is None for d in (0, 1)]
    column = {unknown: n for n, unknown in enumerate([*offsets, *((v, 2) for v in scaled)])}
    key: list[tuple[int, int]] = []
    view, base, slope = [], [], np.zeros((2 * len(places), len(column)))
    for point, v, uv in places:
        for d, (axis, value) in enumerate(views[v].says(uv)):
            for which, share in ((d, 1.0), (2, value)):
                if (v, which) in column:
                    slope[len(key), column[v, which]] = share
            key.append((point, axis))
            view.append(v)
            base.append(value)
    weight = np.array([0.0 if k in dropped else views[v].sigma_mm ** -2 for k, v in zip(key, view, strict=True)])
    beta, p, variance, loose = _solve(count, key, weight, np.array(base), slope, len(offsets), known)
    said = (np.array(base) + slope @ beta).tolist()
    values = grouped(zip(key, zip(view, said, strict=True), strict=True))
    spread = np.zeros((count, 3))
    for (i, k), seen in values.items():
        told = [v for _, v in seen]
        spread[i, k] = max(abs(v - known[i][k]) for v in told) if i in known else max(told) - min(told)
    for i, k in dropped & set(values):
        p[i, k] = np.mean([v for _, v in values[i, k]])
    counted = {key: v for key, v in values.items() if key not in dropped}
    residuals = [v - p[key] for key, group in counted.items() for _, v in group]
    free = len(residuals) - len(counted) - len(beta) + 3 * len(known)
    scatter = float(np.sqrt(np.nansum(np.square(residuals)) / free)) if free > 0 else 0.0
    # Standard deviations given by the user hold as they are; else the scatter of the fit scales the weights.
    sigma = np.sqrt(variance) * (scatter if all(v.sigma_mm == 1.0 for v in views) else 1.0)
    found = [_found(v, w, column, beta) for v, w in enumerate(views)]
    sigma, p = np.where(np.isnan(p), np.nan, sigma), np.where(loose, np.nan, p)
    return Fusion(p, sigma, values, spread, loose, found, scatter, dropped)


def _solve(
    count: int, key: Sequence[tuple[int, int]], weight: Vector, base: Vector, slope: Vector, offsets: int, known: Datum
) -> tuple[Vector, Vector, Vector, NDArray[np.bool_]]:
    """Return the views' unknowns, p, the variance factors of p, and which p no datum reaches."""
    datum = np.array([[i, k, known[i][k]] for i in known for k in range(3)], dtype=float).reshape(-1, 3)
    at = np.concatenate([np.array(key, dtype=int).reshape(-1, 2), datum[:, :2].astype(int)]) @ (3, 1)
    weight = np.concatenate([weight, np.full(len(datum), KNOWN_WEIGHT)])
    base = np.concatenate([base, datum[:, 2]])
    slope = np.vstack([slope, np.zeros((len(datum), slope.shape[1]))])
    total = np.bincount(at, weight, 3 * count)
    there = total > 0.0
    safe = np.where(there, total, 1.0)

    def mean(values: Vector) -> Vector:
        return np.bincount(at, weight * values, 3 * count) / safe

    middle, gain = mean(base), np.array([mean(s) for s in slope.T]).reshape(-1, 3 * count).T
    prior = np.where(np.arange(slope.shape[1]) < offsets, 0.0, SCALE_SIGMA**-2)
    size = np.sqrt(weight @ slope**2 + prior)
    size[size == 0.0] = 1.0
    left = (slope - gain[at]) / size
    values, vectors = np.linalg.eigh(left.T @ (weight[:, None] * left) + np.diag(prior / size**2))
    keep = vectors[:, values >= 1e-9] / size[:, None]
    inverse = keep @ np.diag(1.0 / values[values >= 1e-9]) @ keep.T
    beta = -inverse @ (size * (left.T @ (weight * (base - middle[at]))))
    free = vectors[:, values < 1e-9] / size[:, None]
    free = free / np.abs(free).max(axis=0, initial=1e-300)
    floating = there & (np.abs(gain @ free).max(axis=1, initial=0.0) > 1e-6)
    variance = 1.0 / safe + np.einsum("pb,bc,pc->p", gain, inverse, gain)
    p = np.where(there, middle + gain @ beta, np.nan)
    return beta, p.reshape(-1, 3), variance.reshape(-1, 3), floating.reshape(-1, 3)


def _found(v: int, view: SheetView, column: Mapping[tuple[int, int], int], beta: Vector) -> SheetView:
    """Return a view with its origin and scale as found."""
    m = view.mm_per_unit * (1.0 + (float(beta[column[v, 2]]) if (v, 2) in column else 0.0))
    right, up = view.origin or (float(-beta[column[v, d]] / (view.axes[d][1] * m)) for d in (0, 1))
    return SheetView(view.name, view.axes, m, (right, up), view.sigma_mm)
