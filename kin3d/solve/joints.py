"""What bodies share: hinges of two moving bodies, distances that several bodies hold, and what is one body or too much.

Bodies are taken in one order. A distance of two points that an earlier body has too is held by that body already: it is
written once. Where a body carries a point whose place is given elsewhere, every point that it shares with an earlier
body which has that point too takes the component along the line of both from the tie.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding
from kin3d.linkage.layout import CHASSIS, Linkage

Array = NDArray[np.float64]
IN_LINE = 1e-6  # sine of the angle under which three shared points are one line


def rigid_groups(linkage: Linkage, at: Mapping[str, Array]) -> list[tuple[str, ...]]:
    """Points whose places are given together: those of the chassis, and those that a drive moves as one.

    What stands on the axis of a body that a drive turns does not move, and goes with the chassis.
    """
    turns = [d for d in linkage.drives if d.kind == "turns"]
    still = [p for d in turns for p in d.points if in_line(*(at[n] for n in (*d.line, p)))]
    rack = [tuple(p for p in linkage.rack if (p in linkage.rack_turned) == turned) for turned in (False, True)]
    lines: dict[str, tuple[str, ...]] = {}
    for d in linkage.drives:
        if d.kind == "along":
            lines[d.key] = (*lines.get(d.key, ()), *d.points)
    return [(*linkage.fixed, *still), *rack, *lines.values(), *(linkage.bodies[d.body] for d in turns)]


def sharing_faults(linkage: Linkage, at: Mapping[str, Array]) -> list[Finding]:
    """Two bodies that are one, because they share three points off one line; links between two points of one body."""
    every = {CHASSIS: linkage.fixed} | linkage.bodies
    found = []
    for (a, one), (b, two) in itertools.combinations(every.items(), 2):
        shared = [p for p in two if p in one]
        small, large = (a, b) if len(one) <= len(two) else (b, a)
        link = b if a == CHASSIS else small
        if len(shared) >= 2 and link != CHASSIS and len(every[link]) == 2:
            owner = "the chassis" if a == CHASSIS else f'body "{large}"'
            text = (
                f'link "{link}" is superfluous: {owner} has both of its points, {shared[0]} and {shared[1]}, and holds '
                "them apart by itself; take the link out, or take one of the points off the other body"
            )
            found.append(Finding("link-superfluous", text, linkage.layout))
        elif off := next((t for t in itertools.combinations(shared, 3) if not in_line(*(at[p] for p in t))), None):
            names = f"{', '.join(off)}, three points off one line"
            text = f'body "{b}" cannot move: it shares {names}, with the chassis; a hinge has its points in one line'
            if a != CHASSIS:
                cure = "make them one, or let them share two points"
                text = f'bodies "{a}" and "{b}" are one body: they share {names}; {cure}'
            found.append(Finding("bodies-one", text, linkage.layout))
    return found


def in_line(a: Array, b: Array, c: Array) -> bool:
    """Whether three points stand in one line; points in one place do."""
    u, v = b - a, c - a
    return float(np.linalg.norm(np.cross(u, v))) <= IN_LINE * float(np.linalg.norm(u) * np.linalg.norm(v))


def held_apart(linkage: Linkage, earlier: Sequence[str], at: Mapping[str, Array], p: str, q: str) -> bool:
    """Whether the chassis, a drive or one of the earlier bodies has both points, so that their distance is held."""
    groups = (*rigid_groups(linkage, at), *(linkage.bodies[b] for b in earlier))
    return any(p in points and q in points for points in groups)


def implied(
    linkage: Linkage, earlier: Sequence[str], at: Mapping[str, Array], point: str, own: Sequence[str]
) -> tuple[str, ...] | None:
    """Points towards which a tie says nothing new; None where it says nothing at all.

    Parameters
    ----------
    earlier : sequence of str
        Bodies that are rigid already.
    at : mapping of str to (3,)
        Design coordinates.
    point : str
        The tied point.
    own : sequence of str
        Points of its body that are in the body's frame already.

    Returns
    -------
    tuple of str, or None
        No, one or two points, the lines to which are not one.
    """
    towards: list[str] = []
    groups = (*rigid_groups(linkage, at), *(linkage.bodies[b] for b in earlier))
    for points in groups:
        if point not in points:
            continue
        shared = [p for p in own if p in points]
        if len(shared) > 1:
            return None  # two more of the same body, in one line with it: a hinge with three points
        towards += [p for p in shared if not _along(at, point, p, towards)]
    return tuple(towards) if len(towards) < 3 else None


def _along(at: Mapping[str, Array], point: str, new: str, known: Sequence[str]) -> bool:
    """Whether the line to a point is one of the lines, or in the plane of two of them."""
    d = [(at[p] - at[point]) / np.linalg.norm(at[p] - at[point]) for p in (*known, new)]
    return int(np.linalg.matrix_rank(np.array(d), tol=IN_LINE)) < len(d)
