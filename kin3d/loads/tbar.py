"""The T-bar: one T on a hinge across the car; alike travel swings it, unlike travel twists its stem.

Two unknowns, swing a and twist b, are held by the two links' lengths: a corner alone cannot know them. Solved by Newton
over lanes, then to every order of the travels as the implicit equations of `solve` are.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from kin3d.errors import AssemblyError, Finding
from kin3d.linkage.layout import BarRole
from kin3d.measures.corner import Corner, unit
from kin3d.measures.corner_pair import CornerPair
from kin3d.spatial.jets import Jet, cos, sin, total_degree, value
from kin3d.spatial.vectors import Number, Vec, add, cross, dot, scale, sub, vector

ITERATIONS = 30
STEP_RAD = 1e-13


def t_bar(role: BarRole, design: CornerPair) -> TBar:
    """The T of an axle, from the design position."""
    made = TBar(role, *([_numbers(v) for v in _places(role, c)] for c in (design.left, design.right)))
    if float(np.ravel(made.solve(design.left, design.right)[1][(1, 0)])[0]) < 0.0:
        made.sense = -1.0
    return made


class TBar:
    """Design geometry of the T: hinge line, stem, ends of its head, lengths of the links.

    Of the car that the design is of in all lanes, or of one in each lane; numbers, or jets where the design varies.

    Parameters
    ----------
    role : BarRole
    left, right : sequence of vector
        Design places seen from either side: driven point, end of the head, both points of the hinge line.
    """

    def __init__(self, role: BarRole, left: Sequence[Vec], right: Sequence[Vec]) -> None:
        self.role, self.driven, self.sense = role, role.link[0], 1.0
        self.still = self  # the same in numbers, of which Newton's steps are made
        ends, (first, second) = (left[1], right[1]), left[2:]
        self.hinge = unit(sub(second, first))
        middle = scale(0.5, add(*ends))
        self.pivot = add(first, scale(dot(sub(middle, first), self.hinge), self.hinge))
        stem = sub(middle, self.pivot)
        if not (value(dot(stem, stem)) >= 1.0).all():
            text = "the T-bar's ends stand on its hinge line: no stem is left to twist; move tbar_axis_1 and _2"
            raise AssemblyError(Finding("t-bar-shape", text))
        self.stem = unit(stem)
        self.ends = [sub(p, self.pivot) for p in ends]
        links = [sub(side[0], end) for side, end in zip((left, right), ends, strict=True)]
        self.squares = [dot(v, v) for v in links]

    def of_design(self, left: Corner, right: Corner) -> TBar:
        """The same T with the design of two corners, and with what that changes by along a study's directions."""
        out = TBar(self.role, _places(self.role, left), _places(self.role, right))
        out.still = TBar(self.role, *([_numbers(v) for v in _places(self.role, c)] for c in (left, right)))
        out.sense = self.sense
        return out

    def twist(self, left: Corner, right: Corner) -> Jet:
        """Twist of the stem from design, rad; positive when the left wheel's bump winds it."""
        return self.sense * self.solve(left, right)[1]

    def heads(self, left: Corner, right: Corner) -> tuple[Vec, Vec]:
        """Where the ends of the T's head are, to which the links go: left, right; mm."""
        swing, twist = self.solve(left, right)
        return self._head(0, swing, twist), self._head(1, swing, twist)

    def pulls(self, left: Corner, right: Corner) -> tuple[Vec, Vec]:
        """What each link pulls its driven point with, left and right, under a unit moment against a positive twist.

        Links push along themselves, and the T swings freely: the force is what does the twist's work, −∂twist/∂place.
        """
        driven = [left.place(self.driven), right.place(self.driven)]
        now: list[Vec] = [(p[0].value, p[1].value, p[2].value) for p in driven]
        swing, twist, inverse = self.still.angles(now)
        one, other = (
            scale(self.sense * inverse[1][side], sub(now[side], self._head(side, swing, twist))) for side in (0, 1)
        )
        return one, other

    def _head(self, side: int, swing: Number, twist: Number) -> Vec:
        return add(self.pivot, _turn(self.hinge, swing, _turn(self.stem, twist, self.ends[side])))

    def _rows(self, driven: list[Vec], swing: Number, twist: Number) -> list[Number]:
        """Half the error of each link's squared length."""
        out = []
        for side, (place, square) in enumerate(zip(driven, self.squares, strict=True)):
            gap = sub(place, self._head(side, swing, twist))
            out.append(0.5 * (dot(gap, gap) - square))
        return out

    def solve(self, left: Corner, right: Corner) -> tuple[Jet, Jet]:
        """Swing and twist, rad, to every order of the corners' algebra."""
        driven = [left.place(self.driven), right.place(self.driven)]
        algebra = left.motion.algebra
        constants: list[Vec] = [(p[0].value, p[1].value, p[2].value) for p in driven]
        swing, twist, inverse = self.still.angles(constants)
        unknown = [algebra.constant(swing), algebra.constant(twist)]
        for degree in range(1, algebra.degree + 1):
            rows = self._rows(driven, unknown[0], unknown[1])
            for k, monomial in enumerate(algebra.monomials):
                if sum(monomial) == degree:
                    right_side = [-row[monomial] for row in rows]
                    for i in (0, 1):
                        unknown[i].coefficients[k] = sum(inverse[i][j] * right_side[j] for j in (0, 1))
        return unknown[0], unknown[1]

    def angles(self, driven: list[Vec]) -> tuple[Any, Any, list[list[Any]]]:
        """Swing and twist over lanes, and the inverse of the 2 by 2 Jacobian there."""
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


def _turn(k: Vec, angle: Number, v: Vec) -> Vec:
    """A vector turned about a unit axis (Rodrigues)."""
    c, s = cos(angle), sin(angle)
    return add(add(scale(c, v), scale(s, cross(k, v))), scale((1.0 - c) * dot(k, v), k))


def _places(role: BarRole, corner: Corner) -> list[Vec]:
    """Design places that make the T, as one side sees them."""
    return [corner.motion.design[p] for p in (*role.link, *role.axis)]


def _numbers(v: Vec) -> Vec:
    return vector(np.broadcast_arrays(*(np.atleast_1d(np.asarray(value(c), dtype=float)) for c in v)))
