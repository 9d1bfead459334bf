"""Any linkage by rigid bodies: a rotation vector and a translation a body, joints as equations, SciPy.

Nothing of the program is used. Every body of three points or more has six numbers, places of its points follow from
them, and a joint says that a point has one place on all bodies that carry it. Too many equations that agree (a hinge is
two joints) do no harm in least squares: Newton by Gauss.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import lstsq
from scipy.spatial.transform import Rotation

Array = NDArray[np.float64]
Points = Mapping[str, Array]
STEPS = 2
ITERATIONS = 12


@dataclass
class Machine:
    """A linkage of both sides, or of one.

    Attributes
    ----------
    bodies : mapping of str to sequence of str
        All bodies with their points; ``chassis`` does not move. Links are bodies of two points.
    moved : mapping of str to vector
        Points that a drive places: displacement for one unit of the drive, by point, and the drive's name.
    sliders : (point, start, end); guides : (point, p, q, r)
    turns : mapping of drive to (point, start, end)
        Drives that turn a body about start→end, rad: told by one of its points.
    lengths : mapping of drive to (p, q)
    wheels : mapping of drive to point
        Heights of wheel centres.
    """

    bodies: Mapping[str, Sequence[str]]
    moved: Mapping[str, tuple[str, Array]] = field(default_factory=dict)
    sliders: Sequence[tuple[str, str, str]] = ()
    guides: Sequence[tuple[str, str, str, str]] = ()
    turns: Mapping[str, Sequence[tuple[str, str, str]]] = field(default_factory=dict)
    lengths: Mapping[str, Sequence[tuple[str, str]]] = field(default_factory=dict)
    wheels: Mapping[str, str] = field(default_factory=lambda: {"travel": "wheel_centre"})

    def solve(self, design: Points, drives: Mapping[str, float]) -> dict[str, Array]:
        """Places of all points with the drives at their values, stepped there from the design position."""
        solid = [b for b, p in self.bodies.items() if b != "chassis" and len(p) > 2]
        x = np.zeros(6 * len(solid))
        for step in range(1, STEPS + 1):
            now = {name: value * step / STEPS for name, value in drives.items()}
            for _ in range(ITERATIONS):
                off = self._off(x[None], design, now, solid)[0]
                change = lstsq(self._slope(x, design, now, solid), off, cond=1e-9)[0]
                x = x - change
                if np.abs(change).max() < 1e-9:
                    break
        assert np.abs(self._off(x[None], design, now, solid)).max() < 1e-10, "the reference does not close"
        return {p: v[0] for p, v in self._places(x[None], design, now, solid)[0].items()}

    def _slope(self, x: Array, design: Points, drives: Mapping[str, float], solid: Sequence[str]) -> Array:
        """Jacobian by central differences, all of them at once."""
        h = 1e-3 * np.eye(len(x))
        ahead, behind = (self._off(x + s * h, design, drives, solid) for s in (1.0, -1.0))
        return (ahead - behind).T / 2e-3

    def _places(
        self, x: Array, design: Points, drives: Mapping[str, float], solid: Sequence[str]
    ) -> tuple[dict[str, Array], list[Array]]:
        """Places of points (cases, 3), and how far each further body's idea of a point is off."""
        count = len(x)
        at = {p: np.tile(np.asarray(design[p], float), (count, 1)) for p in self.bodies["chassis"]}
        for p, (drive, way) in self.moved.items():
            at[p] = np.tile(design[p] + drives.get(drive, 0.0) * np.asarray(way), (count, 1))
        off = []
        for k, body in enumerate(solid):
            # the translation is in mm, the turn in hundredths of a radian: numbers of one size
            turn, move = Rotation.from_rotvec(x[:, 6 * k : 6 * k + 3] / 100.0), x[:, 6 * k + 3 : 6 * k + 6]
            pivot = design[self.bodies[body][0]]
            for p in self.bodies[body]:
                here = pivot + move + turn.apply(design[p] - pivot)
                if p in at:
                    off.append(here - at[p])
                else:
                    at[p] = here
        return at, off

    def _off(self, x: Array, design: Points, drives: Mapping[str, float], solid: Sequence[str]) -> Array:
        """Every equation of every case, shape (cases, equations)."""
        at, off = self._places(x, design, drives, solid)
        rest = []
        for body, points in self.bodies.items():
            if body != "chassis" and len(points) == 2:
                rest.append(_apart(at, *points) - _apart(design, *points))
        for point, start, end in self.sliders:
            assert np.linalg.norm(_off_line(design, point, start, end)) < 1e-9, "a slider stands on its line here"
            off.append(_off_line(at, point, start, end))
        for names in self.guides:
            rest.append(_height(at, *names) - _height(design, *names))
        for drive, all_of in self.turns.items():
            for point, start, end in all_of:
                axis = (design[end] - design[start]) / np.linalg.norm(design[end] - design[start])
                turn = Rotation.from_rotvec(axis * drives.get(drive, 0.0))
                off.append(design[start] + turn.apply(design[point] - design[start]) - at[point])
        for drive, pairs in self.lengths.items():
            for p, q in pairs:
                rest.append(_apart(at, p, q) - _apart(design, p, q) - drives.get(drive, 0.0))
        rest += [at[p][:, 2] - design[p][2] - drives.get(d, 0.0) for d, p in self.wheels.items()]
        return np.column_stack([*off, *rest])


def _apart(at: Points, p: str, q: str) -> Array:
    return np.linalg.norm(at[p] - at[q], axis=-1)


def _height(at: Points, point: str, p: str, q: str, r: str) -> Array:
    n = np.cross(at[q] - at[p], at[r] - at[p])
    return ((at[point] - at[p]) * n).sum(axis=-1) / np.linalg.norm(n, axis=-1)


def _off_line(at: Points, point: str, start: str, end: str) -> Array:
    along = (at[end] - at[start]) / np.linalg.norm(at[end] - at[start], axis=-1, keepdims=True)
    return np.cross(at[point] - at[start], along)
