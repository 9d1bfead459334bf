"""Any linkage by rigid bodies: a rotation vector and a translation a body, joints as equations, SciPy.

Nothing of the program is used. Every body of three points or more has six numbers, places of its points follow from
them, and a joint says that a point has one place on all bodies that carry it. Too many equations that agree (a hinge is
two joints) do no harm in least squares.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

Array = NDArray[np.float64]
Points = Mapping[str, Array]
STEPS = 8


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
            found = least_squares(
                self._off, x, args=(design, now, solid), method="lm", xtol=1e-15, ftol=1e-15, gtol=1e-15
            )
            x = found.x
        # two more steps with a Jacobian of central differences: the last digits
        for _ in range(3):
            r = self._off(x, design, now, solid)
            x = x - np.linalg.lstsq(self._slope(x, design, now, solid), r, rcond=1e-10)[0]
        assert np.abs(self._off(x, design, now, solid)).max() < 1e-10, "the reference does not close"
        return self._places(x, design, now, solid)[0]

    def _slope(self, x: Array, design: Points, drives: Mapping[str, float], solid: Sequence[str]) -> Array:
        columns = []
        for k in range(len(x)):
            h = np.zeros_like(x)
            h[k] = 1e-4
            columns.append((self._off(x + h, design, drives, solid) - self._off(x - h, design, drives, solid)) / 2e-4)
        return np.array(columns).T

    def _places(
        self, x: Array, design: Points, drives: Mapping[str, float], solid: Sequence[str]
    ) -> tuple[dict[str, Array], list[Array]]:
        """Places of points, and how far each further body's idea of a point is off."""
        at = {p: np.asarray(design[p], float) for p in self.bodies["chassis"]}
        for p, (drive, way) in self.moved.items():
            at[p] = design[p] + drives.get(drive, 0.0) * np.asarray(way)
        off = []
        for k, body in enumerate(solid):
            # the translation is in mm, the turn in hundredths of a radian: numbers of one size
            turn, move = Rotation.from_rotvec(x[6 * k : 6 * k + 3] / 100.0), x[6 * k + 3 : 6 * k + 6]
            pivot = design[self.bodies[body][0]]
            for p in self.bodies[body]:
                here = pivot + move + turn.apply(design[p] - pivot)
                if p in at:
                    off.append(here - at[p])
                else:
                    at[p] = here
        return at, off

    def _off(self, x: Array, design: Points, drives: Mapping[str, float], solid: Sequence[str]) -> Array:
        at, off = self._places(x, design, drives, solid)
        rest = []
        for body, points in self.bodies.items():
            if body != "chassis" and len(points) == 2:
                p, q = points
                rest.append(np.linalg.norm(at[p] - at[q]) - np.linalg.norm(design[p] - design[q]))
        for point, start, end in self.sliders:
            off.append(_off_line(at, point, start, end) - _turned_off(design, at, point, start, end))
        for point, p, q, r in self.guides:
            rest.append(_height(at, point, p, q, r) - _height(design, point, p, q, r))
        for drive, all_of in self.turns.items():
            for point, start, end in all_of:
                axis = (design[end] - design[start]) / np.linalg.norm(design[end] - design[start])
                turn = Rotation.from_rotvec(axis * drives.get(drive, 0.0))
                off.append(design[start] + turn.apply(design[point] - design[start]) - at[point])
        for drive, pairs in self.lengths.items():
            for p, q in pairs:
                rest.append(_apart(at, p, q) - _apart(design, p, q) - drives.get(drive, 0.0))
        rest += [at[p][2] - design[p][2] - drives.get(d, 0.0) for d, p in self.wheels.items()]
        return np.concatenate([*off, rest])


def _apart(at: Points, p: str, q: str) -> float:
    return float(np.linalg.norm(at[p] - at[q]))


def _height(at: Points, point: str, p: str, q: str, r: str) -> float:
    n = np.cross(at[q] - at[p], at[r] - at[p])
    return float((at[point] - at[p]) @ n / np.linalg.norm(n))


def _off_line(at: Points, point: str, start: str, end: str) -> Array:
    along = (at[end] - at[start]) / np.linalg.norm(at[end] - at[start])
    return np.cross(at[point] - at[start], along)


def _turned_off(design: Points, at: Points, point: str, start: str, end: str) -> Array:
    """A slider in the design position stands on its line in every test."""
    assert np.linalg.norm(_off_line(design, point, start, end)) < 1e-9
    return np.zeros(3)
