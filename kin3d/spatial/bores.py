"""Bores and spherical seats in a mesh near a guess: random sample consensus, least squares, a bootstrap.

Faces vote: two of them with their normals make an axis (the normals' cross product) and a radius. What most area agrees
with is fitted to the corners of its faces, which lie on the surface where the faces' middles do not. The deviation is
that of fits to corners drawn anew: corners of one ring err alike, so that the usual formula is too small.
(M. Fischler and R. Bolles, Random sample consensus, 1981; B. Efron, Bootstrap methods, 1979; from memory.)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
TRIED = 1500  # pairs of faces
REACH_MM = 12.0  # from the guess to the axis, at most
NEAR_MM = 5.0  # a bore this far off counts half
RADII_MM = (1.5, 60.0)
MISS_MM = 0.35  # of a corner on the surface, noise included
LEAST_SHARE = 0.3  # of the round that there must be
DRAWN = 300
KEPT = 6  # of the candidates are fitted
FLOOR_MM = 0.005  # what corners are written with, at least
FACING = 0.8  # least of a face's normal along the radius
SIDEWAYS = 0.5  # most of a face's normal along the axis


@dataclass(frozen=True, slots=True, eq=False)
class FoundBore:
    """A cylinder or sphere.

    Attributes
    ----------
    centre : ndarray, shape (3,)
        Of the sphere, or the middle of the cylinder's length, mm.
    axis : ndarray, shape (3,) or None
        Unit direction; None: a sphere.
    radius : float
    length : float
        Of the cylinder; 0 for a sphere.
    covariance : ndarray, shape (3, 3)
        Of the centre, mm²; along a cylinder's axis half its length squared: the bore does not tell the place there.
    residual : float
        Root mean square of the corners' distances from the surface, mm.
    corners : ndarray, shape (n, 3)
        That it was fitted to.
    share : float
        Part of the round that has corners.
    """

    centre: Array
    axis: Array | None
    radius: float
    length: float
    covariance: Array
    residual: float
    corners: Array
    share: float

    @property
    def sigma_across(self) -> float:
        """Standard deviation square to the axis, the larger one, mm."""
        if self.axis is None:
            return float(np.sqrt(np.linalg.eigvalsh(self.covariance)[-1]))
        flat = np.eye(3) - np.outer(self.axis, self.axis)
        return float(np.sqrt(np.linalg.eigvalsh(flat @ self.covariance @ flat)[-1]))

    @property
    def sigma_along(self) -> float:
        """Along the axis, mm."""
        return self.sigma_across if self.axis is None else 0.5 * self.length


def find_bore(
    points: Array, triangles: NDArray[np.int64], normals: Array, guess: Array, seed: int = 1
) -> FoundBore | None:
    """The bore or spherical seat nearest to a guess; None where there is none.

    A hole goes before a boss: what normals point out of comes only where nothing is found that they point into.

    Parameters
    ----------
    points : ndarray, shape (points, 3)
        mm.
    triangles : ndarray of int, shape (triangles, 3)
    normals : ndarray, shape (triangles, 3)
        Out of the material.
    guess : ndarray, shape (3,)
    """
    corners = points[triangles]
    close = np.linalg.norm(corners - guess, axis=2).min(axis=1) < REACH_MM + RADII_MM[1]
    near = np.flatnonzero(close)
    if len(near) < 6:
        return None
    faces = _Faces.of(corners[near], normals[near], triangles[near], points)
    rng = np.random.default_rng(seed)
    for sense in (-1.0, 1.0):
        best: FoundBore | None = None
        most = 0.0
        for votes in (_Cylinders(faces, guess, rng, sense), _Balls(faces, guess, rng, sense)):
            for row in votes.order[:KEPT]:
                found = votes.refined(int(row), guess, rng)
                if found is not None and found[1] > most:
                    best, most = found
        if best is not None:
            return best
    return None


@dataclass(frozen=True, slots=True, eq=False)
class _Faces:
    corners: Array  # (faces, 3, 3)
    middles: Array
    normals: Array
    areas: Array
    rows: NDArray[np.int64]
    points: Array

    @staticmethod
    def of(corners: Array, normals: Array, rows: NDArray[np.int64], points: Array) -> _Faces:
        areas = 0.5 * np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
        kept = areas > 1e-9
        c = corners[kept]
        return _Faces(c, c.mean(axis=1), normals[kept], areas[kept], rows[kept], points)

    def facing(self, apart: Array, sense: float) -> NDArray[np.bool_]:
        """Faces whose normal is along the radius; `apart` has their corners as seen from the middle or the axis."""
        middle = apart.mean(axis=1)
        radial = middle / np.maximum(np.linalg.norm(middle, axis=1), 1e-9)[:, None]
        return np.asarray(sense * (self.normals * radial).sum(axis=1) > FACING)

    def score(self, on: NDArray[np.intp], off: float, radius: float) -> float:
        """How much area agrees, the less the farther off the guess and the larger."""
        return float(self.areas[on].sum() / (1.0 + (off / NEAR_MM) ** 2) / np.sqrt(max(radius, 1.0)))

    def corners_of(self, on: NDArray[np.intp]) -> Array:
        """Places of the corners of some faces, each once."""
        return np.asarray(self.points[np.unique(self.rows[on])])


def _pairs(faces: _Faces, guess: Array, rng: np.random.Generator) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Pairs of faces, those near to the guess more often."""
    far = np.linalg.norm(faces.middles - guess, axis=1)
    weight = faces.areas**0.5 / (1.0 + (far / 15.0) ** 2)
    chance = weight / weight.sum()
    drawn = rng.choice(len(far), size=(2, TRIED), p=chance)
    return drawn[0], drawn[1]


class _Cylinders:
    """Cylinders that pairs of faces make, with the area that agrees."""

    def __init__(self, faces: _Faces, guess: Array, rng: np.random.Generator, sense: float) -> None:
        self.faces, self.sense = faces, sense
        i, j = _pairs(faces, guess, rng)
        axis = np.cross(faces.normals[i], faces.normals[j])
        size = np.linalg.norm(axis, axis=1)
        good = size > 0.2
        i, j, axis = i[good], j[good], axis[good] / size[good, None]
        p, q, n, m = faces.middles[i], faces.middles[j], faces.normals[i], faces.normals[j]
        # in the plane square to the axis the normals' lines meet in the middle
        n, m = (v - (v * axis).sum(axis=1)[:, None] * axis for v in (n, m))
        between = q - p
        between = between - (between * axis).sum(axis=1)[:, None] * axis
        cross = (np.cross(n, m) * axis).sum(axis=1)
        along = (np.cross(between, m) * axis).sum(axis=1) / np.where(np.abs(cross) > 1e-9, cross, 1.0)
        centre = p + along[:, None] * n
        radius = np.abs(along) * np.linalg.norm(n, axis=1)
        off = np.linalg.norm(np.cross(centre - guess, axis), axis=1)
        sound = (radius > RADII_MM[0]) & (radius < RADII_MM[1]) & (off < REACH_MM)
        self.axis, self.centre, self.radius = axis[sound], centre[sound], radius[sound]
        scores = [self._score(*x, guess) for x in zip(self.axis, self.centre, self.radius, strict=True)]
        self.order = np.argsort(-np.array(scores))

    def agreeing(self, axis: Array, centre: Array, radius: float) -> NDArray[np.intp]:
        """Faces on a cylinder: all corners on its surface, the normal square to the axis and along the radius."""
        f = self.faces
        apart = f.corners - centre
        apart = apart - (apart @ axis)[..., None] * axis
        r = np.linalg.norm(apart, axis=2)
        flat = np.abs(f.normals @ axis) < SIDEWAYS
        near = np.abs(r - radius).max(axis=1) < MISS_MM + 0.01 * radius
        return np.flatnonzero(near & flat & f.facing(apart, self.sense))

    def _score(self, axis: Array, centre: Array, radius: float, guess: Array) -> float:
        off = float(np.linalg.norm(np.cross(centre - guess, axis)))
        return self.faces.score(self.agreeing(axis, centre, radius), off, radius)

    def refined(self, row: int, guess: Array, rng: np.random.Generator) -> tuple[FoundBore, float] | None:
        axis, centre, radius = self.axis[row], self.centre[row], float(self.radius[row])
        corners = np.empty((0, 3))
        for _ in range(4):
            corners = self.faces.corners_of(self.agreeing(axis, centre, radius))
            if len(corners) < 8:
                return None
            axis, centre, radius = _fit_cylinder(corners, axis, centre, radius)
        jacobian, miss, frame = _cylinder_rows(corners, axis, centre, radius)
        kept = np.abs(miss) < max(3.5 * 1.4826 * float(np.median(np.abs(miss))), 0.02)
        corners = corners[kept]
        if len(corners) < 8:
            return None
        axis, centre, radius = _fit_cylinder(corners, axis, centre, radius)
        jacobian, miss, frame = _cylinder_rows(corners, axis, centre, radius)
        along = (corners - centre) @ axis
        middle, length = 0.5 * (along.max() + along.min()), float(np.ptp(along))
        share = _share((corners - centre) @ frame.T)
        off = float(np.linalg.norm(np.cross(centre - guess, axis)))
        if share < LEAST_SHARE or length < 1.0 or off > REACH_MM:
            return None
        # columns: centre across (2), tilt (2), radius; at the middle of the bore a tilt moves the centre too
        shift = _drawn_anew(jacobian, miss, rng)
        across = shift[:, :2] + middle * shift[:, 2:4]
        own = np.cov(across.T) + FLOOR_MM**2 * np.eye(2)
        covariance = frame[:2].T @ own @ frame[:2] + (0.5 * length) ** 2 * np.outer(axis, axis)
        residual = float(np.sqrt((miss**2).mean()))
        found = FoundBore(centre + middle * axis, axis, radius, length, covariance, residual, corners, share)
        return found, self._score(axis, centre, radius, guess)


class _Balls:
    """Spheres that pairs of faces make."""

    def __init__(self, faces: _Faces, guess: Array, rng: np.random.Generator, sense: float) -> None:
        self.faces, self.sense = faces, sense
        i, j = _pairs(faces, guess, rng)
        p, q, n, m = faces.middles[i], faces.middles[j], faces.normals[i], faces.normals[j]
        dot, w = (n * m).sum(axis=1), p - q
        a, b = (n * w).sum(axis=1), (m * w).sum(axis=1)
        full = 1.0 - dot**2
        good = full > 0.04
        s = (dot * b - a)[good] / full[good]
        t = (b - dot * a)[good] / full[good]
        first, second = p[good] + s[:, None] * n[good], q[good] + t[:, None] * m[good]
        centre, radius = 0.5 * (first + second), 0.5 * (np.abs(s) + np.abs(t))
        meet = np.linalg.norm(first - second, axis=1) < 1.0
        off = np.linalg.norm(centre - guess, axis=1)
        sound = meet & (radius > RADII_MM[0]) & (radius < RADII_MM[1]) & (off < REACH_MM)
        self.centre, self.radius = centre[sound], radius[sound]
        scores = [self._score(c, r, guess) for c, r in zip(self.centre, self.radius, strict=True)]
        self.order = np.argsort(-np.array(scores))

    def agreeing(self, centre: Array, radius: float) -> NDArray[np.intp]:
        """Faces on a sphere: all corners on it, the normal along the radius."""
        apart = self.faces.corners - centre
        miss = np.abs(np.linalg.norm(apart, axis=2) - radius).max(axis=1)
        return np.flatnonzero((miss < MISS_MM) & self.faces.facing(apart, self.sense))

    def _score(self, centre: Array, radius: float, guess: Array) -> float:
        off = float(np.linalg.norm(centre - guess))
        return self.faces.score(self.agreeing(centre, radius), off, radius)

    def refined(self, row: int, guess: Array, rng: np.random.Generator) -> tuple[FoundBore, float] | None:
        centre, radius = self.centre[row], float(self.radius[row])
        corners, jacobian, miss = np.empty((0, 3)), np.empty((0, 4)), np.empty(0)
        for _ in range(5):
            corners = self.faces.corners_of(self.agreeing(centre, radius))
            if len(corners) < 8:
                return None
            for _ in range(5):
                apart = corners - centre
                r = np.linalg.norm(apart, axis=1)
                jacobian, miss = np.column_stack([-apart / r[:, None], -np.ones(len(r))]), r - radius
                step = np.linalg.lstsq(jacobian, -miss, rcond=None)[0]
                centre, radius = centre + step[:3], radius + float(step[3])
        apart = corners - centre
        # a cylinder's ring lies on many spheres: corners must spread in all directions
        spread = np.linalg.eigvalsh(np.cov((apart / np.linalg.norm(apart, axis=1)[:, None]).T))
        if spread[0] < 0.04 or float(np.linalg.norm(centre - guess)) > REACH_MM:
            return None
        covariance = np.cov(_drawn_anew(jacobian, miss, rng)[:, :3].T) + FLOOR_MM**2 * np.eye(3)
        residual = float(np.sqrt((miss**2).mean()))
        found = FoundBore(centre, None, radius, 0.0, covariance, residual, corners, 1.0)
        return found, self._score(centre, radius, guess)


def _frame(axis: Array) -> Array:
    """Two directions square to an axis, and the axis, as rows."""
    other = np.eye(3)[int(np.abs(axis).argmin())]
    x = np.cross(axis, other)
    x /= np.linalg.norm(x)
    return np.stack([x, np.cross(axis, x), axis])


def _cylinder_rows(corners: Array, axis: Array, centre: Array, radius: float) -> tuple[Array, Array, Array]:
    """Derivatives of the corners' distances over place (2), tilt (2) and radius; the distances; the frame."""
    frame = _frame(axis)
    u, v, w = ((corners - centre) @ frame.T).T
    r = np.maximum(np.hypot(u, v), 1e-9)
    jacobian = np.column_stack([-u / r, -v / r, -w * u / r, -w * v / r, -np.ones(len(r))])
    return jacobian, r - radius, frame


def _fit_cylinder(corners: Array, axis: Array, centre: Array, radius: float) -> tuple[Array, Array, float]:
    """Least squares of the corners' distances from the surface, by Gauss and Newton."""
    centre = centre + ((corners - centre) @ axis).mean() * axis
    for _ in range(12):
        jacobian, miss, frame = _cylinder_rows(corners, axis, centre, radius)
        step = np.linalg.lstsq(jacobian, -miss, rcond=None)[0]
        centre = centre + step[0] * frame[0] + step[1] * frame[1]
        axis = axis + step[2] * frame[0] + step[3] * frame[1]
        axis /= np.linalg.norm(axis)
        radius += float(step[4])
        if np.abs(step).max() < 1e-10:
            break
    return axis, centre, radius


def _drawn_anew(jacobian: Array, miss: Array, rng: np.random.Generator) -> Array:
    """How a linear fit moves when its rows are drawn anew, with what the fit has used up of the misses given back."""
    n, k = jacobian.shape
    grown = miss * np.sqrt(n / max(n - k, 1))
    out = np.empty((DRAWN, k))
    for row in range(DRAWN):
        some = rng.integers(0, n, n)
        out[row] = np.linalg.lstsq(jacobian[some], -grown[some], rcond=None)[0]
    return out


def _share(flat: Array) -> float:
    """Part of the round that has corners: what is left of the largest gap between them."""
    angles = np.sort(np.arctan2(flat[:, 1], flat[:, 0]))
    gaps = np.diff(np.concatenate([angles, angles[:1] + 2.0 * np.pi]))
    return 1.0 - float(gaps.max()) / (2.0 * np.pi)
