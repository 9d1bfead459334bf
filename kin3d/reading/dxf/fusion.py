"""Three-view fusion: places on a sheet of views become points of the car, by one weighted least-squares fit.

Model
-----
A view v shows car axis k along one direction of the sheet with sign s: its reading u (drawing units) of point i is

    p_ik = s·m_v·(u − o_v) + r,

with m_v in mm per drawing unit, o_v the place of the car's origin on the sheet, r the residual in mm of the car.
With c = −s·m_v·o_v the model is linear in p, c and m at once. Each p_ik stands in its own readings only, so all p
are eliminated exactly and a system of at most three unknowns a view is left (block elimination of the normal
equations); its null space tells what no datum reaches. Standard deviations come from the covariance of the whole
fit, scaled by the scatter of the redundant readings.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from kin3d.reading.dxf.content import Vector
from kin3d.reading.dxf.declared import Axis

KNOWN_WEIGHT = 1e8  # a datum point against a reading of 1 mm
SCALE_SIGMA = 0.05  # how far a scale that is to be fitted may be off, as a share, before the fit resists


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


Sighting = tuple[int, int, tuple[float, float]]  # a point, a view, where the one stands in the other, drawing units


@dataclass(slots=True)
class Fusion:
    """Result of a fusion.

    Attributes
    ----------
    xyz_mm : ndarray, shape (points, 3)
        NaN where a coordinate is in no view or no datum reaches it.
    sigma_mm : ndarray, shape (points, 3)
        One standard deviation.
    values : dict of (point, axis) to list of (view, mm)
        What each view says of a coordinate.
    spread_mm : ndarray, shape (points, 3)
        Largest less smallest of those values; 0 with one value only.
    loose : ndarray of bool, shape (points, 3)
        The coordinate is drawn, but no datum reaches it.
    views : list of SheetView
        The views with the origins (and scales) that were found.
    scatter_mm : float
        Root of the mean square of the redundant readings' residuals; 0 where nothing is redundant.
    """

    xyz_mm: Vector
    sigma_mm: Vector
    values: dict[tuple[int, int], list[tuple[int, float]]]
    spread_mm: Vector
    loose: NDArray[np.bool_]
    views: list[SheetView]
    scatter_mm: float
    dropped: set[tuple[int, int]] = field(default_factory=set)


class _SheetEquations:
    """The normal equations of one fit with the points eliminated."""

    def __init__(self, count: int, views: Sequence[SheetView], fit_scales: bool, anchored: bool) -> None:
        self.views = views
        self.count = count
        self.columns: dict[tuple[str, int, int], int] = {}
        for v, view in enumerate(views):
            if view.origin is None:
                self.columns["offset", v, 0] = len(self.columns)
                self.columns["offset", v, 1] = len(self.columns)
            if fit_scales and (v > 0 or anchored):
                self.columns["scale", v, 0] = len(self.columns)
        n = len(self.columns)
        self.weight = np.zeros((count, 3))
        self.right = np.zeros((count, 3))
        self.cross = np.zeros((count, 3, n))
        self.normal = np.zeros((n, n))
        self.beta_right = np.zeros(n)
        for (kind, _, _), column in self.columns.items():
            if kind == "scale":
                self.normal[column, column] += 1.0 / SCALE_SIGMA**2

    def row(self, view: int, direction: int, u: float) -> tuple[int, Vector, float]:
        """Return axis, coefficients of the view's unknowns and the constant: p = constant + coefficients·beta."""
        axis, base = self.views[view].says((u, u))[direction]
        coefficients = np.zeros(len(self.columns))
        if ("offset", view, direction) in self.columns:
            coefficients[self.columns["offset", view, direction]] = 1.0
        if ("scale", view, 0) in self.columns:
            coefficients[self.columns["scale", view, 0]] = base
        return axis, coefficients, base

    def add(self, point: int, view: int, direction: int, u: float) -> None:
        axis, a, base = self.row(view, direction, u)
        w = 1.0 / self.views[view].sigma_mm ** 2
        self.weight[point, axis] += w
        self.right[point, axis] += w * base
        self.cross[point, axis] += w * a
        self.normal += w * np.outer(a, a)
        self.beta_right -= w * base * a

    def know(self, point: int, xyz: Sequence[float]) -> None:
        self.weight[point] += KNOWN_WEIGHT
        self.right[point] += KNOWN_WEIGHT * np.asarray(xyz)

    def solve(self) -> tuple[Vector, Vector, Vector, NDArray[np.bool_]]:
        """Return beta, p, the variance factors of p, and which p no datum reaches."""
        there = self.weight > 0.0
        safe = np.where(there, self.weight, 1.0)
        gain = self.cross / safe[..., None]
        reduced = self.normal - np.einsum("ikb,ikc->bc", self.cross, gain)
        right = self.beta_right + np.einsum("ikb,ik->b", self.cross, self.right / safe)
        diagonal = np.diag(self.normal)
        size = np.sqrt(np.where(diagonal > 0.0, diagonal, 1.0))
        values, vectors = np.linalg.eigh(reduced / np.outer(size, size)) if len(size) else (np.zeros(0), reduced)
        loose = values < 1e-9
        keep = vectors[:, ~loose] / size[:, None]
        inverse = keep @ np.diag(1.0 / values[~loose]) @ keep.T
        beta = inverse @ right
        p = (self.right + self.cross @ beta) / safe
        variance = 1.0 / safe + np.einsum("ikb,bc,ikc->ik", gain, inverse, gain)
        free = vectors[:, loose] / size[:, None]
        free = free / np.abs(free).max(axis=0, initial=1e-300)
        reached = np.abs(gain @ free).max(axis=-1, initial=0.0) if free.size else np.zeros_like(p)
        floating = there & (reached > 1e-6)
        return beta, np.where(there, p, np.nan), variance, floating


def fuse(
    count: int,
    views: Sequence[SheetView],
    places: Sequence[Sighting],
    known: dict[int, tuple[float, float, float]],
    tolerance_mm: float,
    fit_scales: bool = False,
) -> Fusion:
    """Fusion all points, view offsets and, if asked, scales at once.

    Readings of a coordinate whose views disagree by `tolerance_mm` or more do not take part in finding the
    offsets and scales, so that one contradiction does not pull on every other point.
    """
    dropped: set[tuple[int, int]] = set()
    for _ in range(40):
        fit = _once(count, views, places, known, fit_scales, dropped)
        worst = np.nanmax(np.where([[(i, k) in dropped for k in range(3)] for i in range(count)], 0.0, fit.spread_mm))
        limit = max(tolerance_mm * (1.0 - 1e-9), 0.6 * worst)
        new = {(int(i), int(k)) for i, k in np.argwhere(fit.spread_mm >= limit)} - dropped
        if not new:
            break
        dropped |= new
    fit.dropped = dropped
    return fit


def _once(
    count: int,
    views: Sequence[SheetView],
    places: Sequence[Sighting],
    known: dict[int, tuple[float, float, float]],
    fit_scales: bool,
    dropped: set[tuple[int, int]],
) -> Fusion:
    # Without two known points nothing tells the common scale: that of the first view stands.
    system = _SheetEquations(count, views, fit_scales, len(known) >= 2)
    lone = [(i, k) for i, k in dropped]
    for point, view, uv in places:
        for direction in (0, 1):
            if (point, views[view].axes[direction][0]) not in dropped:
                system.add(point, view, direction, uv[direction])
    for point, xyz in known.items():
        system.know(point, xyz)
    beta, p, variance, loose = system.solve()
    values = _values(system, places, beta)
    spread = np.zeros((count, 3))
    for (i, k), seen in values.items():
        spread[i, k] = max(v for _, v in seen) - min(v for _, v in seen)
        if i in known:
            spread[i, k] = max(abs(v - known[i][k]) for _, v in seen)
    for i, k in lone:
        p[i, k] = np.mean([v for _, v in values[i, k]]) if (i, k) in values else np.nan
    scatter = _scatter(values, p, len(beta), dropped, known)
    sigma = np.where(np.isnan(p), np.nan, np.sqrt(variance) * _factor(scatter, views))
    return Fusion(np.where(loose, np.nan, p), sigma, values, spread, loose, _found(system, views, beta), scatter)


def _factor(scatter: float, views: Sequence[SheetView]) -> float:
    """Standard deviations given by the user hold as they are; else the scatter of the fit scales the weights."""
    return scatter if all(v.sigma_mm == 1.0 for v in views) else 1.0


def _values(
    system: _SheetEquations, places: Sequence[Sighting], beta: Vector
) -> dict[tuple[int, int], list[tuple[int, float]]]:
    values: dict[tuple[int, int], list[tuple[int, float]]] = {}
    for point, view, uv in places:
        for direction in (0, 1):
            axis, a, base = system.row(view, direction, uv[direction])
            values.setdefault((point, axis), []).append((view, float(base + a @ beta)))
    return values


def _scatter(
    values: dict[tuple[int, int], list[tuple[int, float]]],
    p: Vector,
    unknowns: int,
    dropped: set[tuple[int, int]],
    known: dict[int, tuple[float, float, float]],
) -> float:
    seen = {key: v for key, v in values.items() if key not in dropped}
    residuals = [v - p[key] for key, group in seen.items() for _, v in group]
    free = len(residuals) - len(seen) - unknowns + 3 * len(known)
    if free <= 0:
        return 0.0
    return float(np.sqrt(np.nansum(np.square(residuals)) / free))


def _found(system: _SheetEquations, views: Sequence[SheetView], beta: Vector) -> list[SheetView]:
    out = []
    for v, view in enumerate(views):
        scale = 1.0 + (beta[system.columns["scale", v, 0]] if ("scale", v, 0) in system.columns else 0.0)
        m = view.mm_per_unit * scale
        if view.origin is None:
            c = [beta[system.columns["offset", v, d]] for d in (0, 1)]
            origin = tuple(float(-c[d] / (view.axes[d][1] * m)) for d in (0, 1))
        else:
            origin = view.origin
        out.append(SheetView(view.name, view.axes, float(m), (origin[0], origin[1]), view.sigma_mm))
    return out
