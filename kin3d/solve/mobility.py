"""Mobility: how many ways a linkage can still move, which constraints are too many, told by name."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding
from kin3d.linkage.layout import WHEEL_CENTRE, Linkage
from kin3d.solve.equations import Equations, Row

RANK_TOLERANCE = 1e-9  # singular values under this part of the largest count as zero
RODS = 1e-6  # a rod takes part in holding an axle too much when it has this part of the largest entry
ARM_MM = 300.0  # a turn counts as what it moves at the end of such an arm
MIDDLE_MM = 1e-6  # a point nearer to y = 0 stands in the middle
WEIGHT = 0.2  # a row or coordinate speaks in a null vector when it has this part of the largest entry


@dataclass(frozen=True, slots=True)
class Mobility:
    """Counts and sentences about the Jacobian in one position, drives held.

    Attributes
    ----------
    unknowns, equations, rank : int
        Columns, rows and rank of the Jacobian. All three are equal for a linkage whose every position is
        determined by travel and rack.
    free : tuple of str
        A sentence for each motion that nothing holds; equal ones once.
    redundant : tuple of str
        One sentence a group of constraints that say the same or contradict each other.
    drives : str
        What determines the positions.
    """

    unknowns: int
    equations: int
    rank: int
    free: tuple[str, ...] = ()
    redundant: tuple[str, ...] = ()
    drives: str = "travel and rack"

    @property
    def determined(self) -> bool:
        """Whether travel and rack determine every position, with no constraint too many."""
        return self.unknowns == self.equations == self.rank

    def __str__(self) -> str:
        head = f"{self.unknowns} unknown coordinates, {self.equations} equations, rank {self.rank}"
        if self.determined:
            return f"{head}: {self.drives} determine every position"
        return "; ".join((head, *self.free, *self.redundant))


def examine(jacobian: NDArray[np.float64], equations: Equations) -> Mobility:
    """Rank and null spaces of a Jacobian in the design position, in words.

    Parameters
    ----------
    jacobian : ndarray, shape (rows, unknowns)
        Rows scaled to lengths (mm per mm).
    equations : Equations
    """
    u, s, vt = np.linalg.svd(jacobian)
    rank = int((s > RANK_TOLERANCE * s[0]).sum()) if s.size else 0
    words = _Words(equations, short=jacobian.shape[1] > jacobian.shape[0])
    free = dict.fromkeys(words.free(v) for v in _sparse_basis(vt[rank:]))
    many = [*_sparse_basis(u.T[rank:])]
    redundant = dict.fromkeys(words.axle_held(many) if words.rigid_axle and many else map(words.redundant, many))
    return Mobility(jacobian.shape[1], jacobian.shape[0], rank, tuple(free), tuple(redundant), words.drives)


def _sparse_basis(vectors: NDArray[np.float64]) -> NDArray[np.float64]:
    """The same space spanned by vectors with zeros where they can be, so that each names few things."""
    basis = vectors.copy()
    for k in range(len(basis)):
        pivot = int(np.argmax(np.abs(basis[k])))
        basis[k] /= basis[k, pivot]
        for j in range(len(basis)):
            if j != k:
                basis[j] -= basis[j, pivot] * basis[k]
    return basis


def loud(vector: NDArray[np.float64]) -> NDArray[np.intp]:
    """Indices of the entries that matter in a null vector, largest first; what differs by rounding alone in order."""
    size = np.round(np.abs(vector) / np.abs(vector).max(), 6)
    picked = np.flatnonzero(size >= WEIGHT * size.max())
    return picked[np.argsort(-size[picked], kind="stable")]


class _Words:
    """Names motions and constraints of one linkage."""

    def __init__(self, equations: Equations, *, short: bool) -> None:
        self.equations, self.linkage = equations, equations.linkage
        self.short = short

    @property
    def rigid_axle(self) -> bool:
        """Whether one body carries both wheels."""
        return self.linkage.both_sides and len(self.linkage.wheel_bodies) == 1

    @property
    def drives(self) -> str:
        """What determines the positions."""
        names = ["the travels of both wheels" if self.linkage.both_sides else "travel"]
        names += ["rack"] if self.linkage.rack or not self.linkage.both_sides else []
        names += [f"drive {name}" for name in self.linkage.driven]
        return " and ".join((", ".join(names[:-1]), names[-1])) if len(names) > 1 else names[0]

    def free(self, vector: NDArray[np.float64]) -> str:
        """A motion that nothing holds, and what may be the matter."""
        points = self.equations.unknowns.points
        moving = dict.fromkeys(points[k // 3] for k in loud(vector))
        bodies = [b for b, ps in self.linkage.bodies.items() if any(p in moving for p in ps)]
        named = " and ".join(f'"{b}"' for b in bodies)
        cause = "a link, a chassis point or a drive is missing, or points are in line"
        if not self.short:
            cause = "no link is missing; one that holds what is held already belongs here, or points are in line"
        way = [f'"{b}" can {how}' for b in self.linkage.wheel_bodies if (how := self._way(b, vector))]
        told = f" ({', '.join(way)})" if way else ""
        return f"nothing holds {', '.join(moving)} of {named}{told}: {cause}"

    def _way(self, body: str, vector: NDArray[np.float64]) -> str:
        """In which way a wheel's body can move, as one sees it; empty where it stands still."""
        unknowns, at = self.equations.unknowns, self.equations.design
        base = unknowns.bases[body].points
        column = {p: 3 * k for k, p in enumerate(unknowns.points)}
        moved = np.array([vector[column[p] : column[p] + 3] if p in column else np.zeros(3) for p in base])
        if np.abs(moved).max() < WEIGHT * np.abs(vector).max():
            return ""
        centre = np.mean([at[p] for p in self.linkage.wheel_centres if p in self.linkage.bodies[body]], axis=0)
        arms = np.array([at[p] for p in base]) - centre
        # v = v_c + ω × r for every point of the base: six numbers
        rows = np.concatenate([np.hstack([np.eye(3), -_skew(r) / ARM_MM]) for r in arms])
        x, y, _, _, tilt, steer = np.abs(np.linalg.lstsq(rows, moved.reshape(-1), rcond=None)[0])
        lean = abs(float(np.linalg.lstsq(rows, moved.reshape(-1), rcond=None)[0][3]))
        ways = {
            "move sideways": y,
            "move forward and back": x,
            "steer": steer,
            "turn about the line of its wheels" if self.rigid_axle else "turn about the wheel's axis": tilt,
            "lean": lean,
        }
        return max(ways, key=lambda w: float(ways[w]))

    def redundant(self, vector: NDArray[np.float64]) -> str:
        """Constraints that hold one motion twice."""
        rows = [self.equations.rows[k] for k in loud(vector)]
        named = "; ".join(map(self._row, rows))
        points = {p for r in rows for p in r.points}
        drives = dict.fromkeys(d.name for d in self.linkage.drives if points & {*d.points, *d.line})
        told = "".join(f'; drive "{name}" takes part' for name in drives)
        return f"these constraints hold the same motion, one of them is too many: {named}{told}"

    def _row(self, row: Row) -> str:
        if row.kind != "drive":
            return str(row)
        return f'drive "{self.linkage.drives[row.component].name}" {", ".join(row.points)}'

    def axle_held(self, vectors: Sequence[NDArray[np.float64]]) -> list[str]:
        """What holds an axle too much: its rods by name, and the cure."""
        strong = {k for v in vectors for k in np.flatnonzero(np.abs(v) > RODS * np.abs(v).max())}
        rods = dict.fromkeys(b for k in sorted(strong) for b in self.equations.rows[k].bodies if self._is_rod(b))
        named = " and ".join(f'"{b}"' for b in rods) or self.redundant(vectors[0])
        left = max(2 - len(vectors), 0)
        has = ("none", "one", "two")[left]
        return [
            f"an axle needs two freedoms, this one has {has}: {named} hold it {'once' if left else 'twice'} too much; "
            "take one upper link in the middle, or leave one rod out"
        ]

    def _is_rod(self, body: str) -> bool:
        return len(self.linkage.bodies[body]) == 2


def _skew(r: NDArray[np.float64]) -> NDArray[np.float64]:
    x, y, z = r
    return np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])


def spanning(linkage: Linkage, design: NDArray[np.float64], placed: Collection[str]) -> list[Finding]:
    """Points on the other side of the car than their wheel, and points of both sides that stand in the middle.

    Most often a sign has been lost. Else an axle in a layout of one side, which would be two axles. The place of a
    finding is the point's name.

    Parameters
    ----------
    design : ndarray, shape (points, 3)
    placed : collection of str
        Points that a drive places; like those of chassis and rack they are no sign of it.
    """
    y = dict(zip(linkage.points, design[:, 1], strict=True))
    side = 1.0 if y[WHEEL_CENTRE] > 0.0 else -1.0
    held = {*linkage.fixed, *linkage.rack, *placed, *linkage.across.points}
    beyond: dict[str, list[str]] = {}
    found = []
    for body, points in linkage.bodies.items():
        moving = [p for p in points if p in y and p not in held]
        near, far = ([p for p in moving if s * y[p] > MIDDLE_MM] for s in (side, -side))
        for point in far if near and body not in linkage.across.bodies else ():
            beyond.setdefault(point, []).append(f'"{body}"')
        middle = [p for p in points if p in y and p not in linkage.across.points and abs(y[p]) <= MIDDLE_MM]
        for point in middle if body in linkage.across.bodies else ():
            text = f'point "{point}" of body "{body}" stands on both sides and at y = 0, so that it is two points'
            found.append(Finding("point-middle", f"{text} in one place; put it in [across] points", point))
    for point, bodies in beyond.items():
        text = (
            f'point "{point}" of {" and ".join(bodies)} stands {abs(y[point]):g} mm from the middle of the car on the '
            "other side than the wheel: has its y the wrong sign? A body that stands once in the car, as an axle does, "
            "is named in [across] bodies of the layout, and its points that stand once in [across] points"
        )
        found.append(Finding("point-across", text, point))
    return found
