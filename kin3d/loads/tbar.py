"""The T-bar: one T on a hinge across the car; alike travel swings it, unlike travel twists its stem.

Two unknowns, swing a and twist b, are held by the two links' lengths: a corner alone cannot know them. Solved by Newton
over lanes, then to every order of the travels as the implicit equations of `solve` are.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from kin3d.errors import AssemblyError, Finding
from kin3d.linkage.layout import BarRole
from kin3d.measures.corner import Corner
from kin3d.measures.corner_pair import CornerPair
from kin3d.spatial.jets import Jet, cos, sin, value
from kin3d.spatial.vectors import Number, Vec, add, cross, dot, scale, sub

ITERATIONS = 30
STEP_RAD = 1e-13


def t_bar(role: BarRole, design: CornerPair) -> TBar:
    """The T of an axle, from the design position."""
    return TBar(role, design.left, design.right)


class TBar:
    """Design geometry of the T: hinge line, stem, ends of its head, lengths of the links.

    Of the car that the design is of in all lanes, or of one in each lane: vectors have the shape (3, 1) or (3, lanes).
    """

    def __init__(self, role: BarRole, left: Corner, right: Corner) -> None:
        self.driven, end = role.link
        at = [_numbers(c.motion.design[end]) for c in (left, right)]
        first, second = (_numbers(left.motion.design[p]) for p in role.axis)
        self.hinge = (second - first) / np.linalg.norm(second - first, axis=0)
        middle = 0.5 * (at[0] + at[1])
        self.pivot = first + self.hinge * ((middle - first) * self.hinge).sum(axis=0)
        stem = middle - self.pivot
        if np.linalg.norm(stem[:, 0]) < 1.0:
            text = "the T-bar's ends stand on its hinge line: no stem is left to twist; move tbar_axis_1 and _2"
            raise AssemblyError(Finding("t-bar-shape", text))
        self.stem = stem / np.linalg.norm(stem, axis=0)
        self.ends = [p - self.pivot for p in at]
        links = [_numbers(c.motion.design[self.driven]) - p for c, p in zip((left, right), at, strict=True)]
        self.squares = [(v * v).sum(axis=0) for v in links]
        self.sense = 1.0
        u = self._solve(left, right)[1]
        if float(np.ravel(u[(1, 0)])[0]) < 0.0:
            self.sense = -1.0

    def twist(self, left: Corner, right: Corner) -> Jet:
        """Twist of the stem from design, rad; positive when the left wheel's bump winds it."""
        return self.sense * self._solve(left, right)[1]

    def heads(self, left: Corner, right: Corner) -> tuple[Vec, Vec]:
        """Where the ends of the T's head are, to which the links go: left, right; mm."""
        swing, twist = self._solve(left, right)
        return self._head(0, swing, twist), self._head(1, swing, twist)

    def pulls(self, left: Corner, right: Corner) -> tuple[Vec, Vec]:
        """What each link pulls its driven point with, left and right, under a unit moment against a positive twist.

        Links push along themselves, and the T swings freely: the force is what does the twist's work, −∂twist/∂place.
        """
        driven = [left.place(self.driven), right.place(self.driven)]
        now: list[Vec] = [(p[0].value, p[1].value, p[2].value) for p in driven]
        swing, twist, inverse = self._newton(now)
        one, other = (
            scale(self.sense * inverse[1][side], sub(now[side], self._head(side, swing, twist))) for side in (0, 1)
        )
        return one, other

    def _head(self, side: int, swing: Number, twist: Number) -> Vec:
        return add(_vec(self.pivot), _turn(self.hinge, swing, _turn(self.stem, twist, _vec(self.ends[side]))))

    def _rows(self, driven: list[Vec], swing: Number, twist: Number) -> list[Number]:
        """Half the error of each link's squared length."""
        out = []
        for side, (place, square) in enumerate(zip(driven, self.squares, strict=True)):
            gap = sub(place, self._head(side, swing, twist))
            out.append(0.5 * (dot(gap, gap) - square))
        return out

    def _solve(self, left: Corner, right: Corner) -> tuple[Jet, Jet]:
        driven = [left.place(self.driven), right.place(self.driven)]
        algebra = left.motion.algebra
        constants: list[Vec] = [(p[0].value, p[1].value, p[2].value) for p in driven]
        swing, twist, inverse = self._newton(constants)
        unknown = [algebra.constant(swing), algebra.constant(twist)]
        for degree in range(1, algebra.degree + 1):
            rows = self._rows(driven, unknown[0], unknown[1])
            for k, monomial in enumerate(algebra.monomials):
                if sum(monomial) == degree:
                    right_side = [-row[monomial] for row in rows]
                    for i in (0, 1):
                        unknown[i].coefficients[k] = sum(inverse[i][j] * right_side[j] for j in (0, 1))
        return unknown[0], unknown[1]

    def _newton(self, driven: list[Vec]) -> tuple[Any, Any, list[list[Any]]]:
        """Swing and twist over lanes, and the inverse of the 2 by 2 Jacobian there."""
        from kin3d.spatial.jets import total_degree

        algebra = total_degree(2, 1)
        swing = twist = np.zeros(np.shape(driven[0][0]))
        with np.errstate(all="ignore"):
            for _ in range(ITERATIONS):
                rows = self._rows(driven, algebra.variable(swing, 0), algebra.variable(twist, 1))
                inverse = _inverse([[r[(1, 0)], r[(0, 1)]] for r in rows])
                steps = [sum(inverse[i][j] * rows[j].value for j in (0, 1)) for i in (0, 1)]
                swing, twist = swing - steps[0], twist - steps[1]
                if not (np.maximum(abs(steps[0]), abs(steps[1])) > STEP_RAD).any():
                    break
        return swing, twist, inverse


def _inverse(m: list[list[Any]]) -> list[list[Any]]:
    d = m[0][0] * m[1][1] - m[0][1] * m[1][0]
    return [[m[1][1] / d, -m[0][1] / d], [-m[1][0] / d, m[0][0] / d]]


def _turn(axis: Any, angle: Number, v: Vec) -> Vec:
    """A vector turned about a unit axis (Rodrigues)."""
    k = _vec(axis)
    c, s = cos(angle), sin(angle)
    return add(add(scale(c, v), scale(s, cross(k, v))), scale((1.0 - c) * dot(k, v), k))


def _vec(a: Any) -> Vec:
    return a[0], a[1], a[2]


def _numbers(v: Vec) -> Any:
    return np.stack(np.broadcast_arrays(*(np.atleast_1d(np.asarray(value(c), dtype=float)) for c in v)))
