"""From points and bodies to unknowns: which points are solved for, and how every other point is carried.

A moving body is known by its *base*: three of its points (two if all its points lie in one line). Unknown are the
coordinates of base points that neither the chassis nor the rack holds. Every further point of a body is *carried*:
constant combinations of the base give it. (Natural coordinates: J. García de Jalón and E. Bayo, *Kinematic and
Dynamic Simulation of Multibody Systems*, 1994, ch. 2.)
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, LayoutError, raise_errors
from kin3d.linkage.layout import Linkage
from kin3d.solve.drives import placed_points
from kin3d.solve.joints import sharing_faults

COINCIDENT_MM = 1e-6  # two points of one body nearer than this are one point
LINE_RATIO = 1e-6  # height of a triangle over its longest side under which three points are in line
GOOD_SHARE = 0.25  # a triangle of joints is taken when it has this part of the largest triangle's area


@dataclass(frozen=True, slots=True)
class Base:
    """Base of a moving body: two or three point names; `hinge` when the first two do not move apart."""

    body: str
    points: tuple[str, ...]
    hinge: bool


@dataclass(frozen=True, slots=True)
class Unknowns:
    """What is solved for.

    Attributes
    ----------
    points : tuple of str
        Points whose three coordinates are unknown.
    bases : dict of str to Base
        Base of every body with three or more points.
    links : tuple of str
        Bodies of two points.
    carried : dict of str to str
        Every other moving point and the body that carries it.
    ties : tuple of (str, str)
        (point, body): the body carries the point, but its place is given elsewhere too.
    """

    points: tuple[str, ...]
    bases: dict[str, Base]
    links: tuple[str, ...]
    carried: dict[str, str]
    ties: tuple[tuple[str, str], ...]


def choose_unknowns(linkage: Linkage, design: NDArray[np.float64]) -> Unknowns:
    """Choose bases and unknowns from the design position.

    Parameters
    ----------
    linkage : Linkage
    design : ndarray, shape (n, 3)
        Design coordinates of ``linkage.points``, mm.

    Raises
    ------
    LayoutError
        When points of one body or of the spring coincide (ends of links at the upright may), or those of a body lie in
        one line where it must not turn freely about it.
    """
    at = dict(zip(linkage.points, design, strict=True))
    known = set(linkage.fixed) | set(linkage.rack) | set(placed_points(linkage.drives))
    turned = {d.body for d in linkage.drives}
    raise_errors([*_coincident(linkage, at), *sharing_faults(linkage, at)], LayoutError)
    findings: list[Finding] = []
    bases: dict[str, Base] = {}
    unknown: dict[str, None] = {}
    for body, points in sorted(linkage.bodies.items(), key=lambda item: -sum(p in known for p in item[1])):
        if len(points) >= 3 and body not in turned:
            base = _base(linkage, body, at, known | set(unknown), findings)
            bases[body] = base
            unknown |= dict.fromkeys(p for p in base.points if p not in known)
    links = linkage.links
    for body, points in linkage.bodies.items():
        if len(points) < 2:
            text = f'body "{body}" has {len(points)} point(s); a body needs two or more'
            findings.append(Finding("body-too-small", text, linkage.layout))
    raise_errors(findings, LayoutError)
    carried, ties = _carried(linkage, bases, known | set(unknown))
    held = known | set(unknown) | set(carried)
    loose = [p for b in links for p in linkage.bodies[b] if p not in held]
    return Unknowns((*unknown, *dict.fromkeys(loose)), bases, links, carried, ties)


def _coincident(linkage: Linkage, at: dict[str, NDArray[np.float64]]) -> list[Finding]:
    found: list[Finding] = []
    links = [points for points in linkage.bodies.values() if len(points) == 2 and set(points) & set(linkage.fixed)]
    ends = {p for points in links for p in points}
    for body, points in linkage.bodies.items():
        for p, q in itertools.combinations(points, 2):
            meet = body in linkage.wheel_bodies and {p, q} <= ends  # links from the chassis may meet in a joint
            if not meet and np.linalg.norm(at[p] - at[q]) < COINCIDENT_MM:
                found.append(_same_place(p, q, f'body "{body}"', linkage))
    if linkage.spring and np.linalg.norm(at[linkage.spring[0]] - at[linkage.spring[1]]) < COINCIDENT_MM:
        found.append(_same_place(*linkage.spring, "the spring", linkage))
    return found


def _same_place(p: str, q: str, owner: str, linkage: Linkage) -> Finding:
    text = f'points "{p}" and "{q}" of {owner} are at the same place; two places are expected'
    return Finding("points-coincident", text, linkage.layout)


def _base(
    linkage: Linkage, body: str, at: dict[str, NDArray[np.float64]], settled: set[str], findings: list[Finding]
) -> Base:
    points = linkage.bodies[body]
    anchors = [p for p in points if p in linkage.fixed]
    size = {t: _height_and_area(at, t) for t in itertools.combinations(points, 3)}
    best = max(size, key=lambda t: size[t][1])
    if size[best][0] < LINE_RATIO:
        if len(anchors) >= 2 or body in linkage.wheel_bodies:
            text = (
                f'the points {", ".join(points)} of body "{body}" lie in one line, so that nothing holds it against '
                "turning about that line; move one of them off it"
            )
            findings.append(Finding("points-collinear", text, linkage.layout))
        ends = max(itertools.combinations(points, 2), key=lambda e: float(np.linalg.norm(at[e[0]] - at[e[1]])))
        return Base(body, ends, hinge=False)
    others = {p for b, ps in linkage.bodies.items() if b != body for p in ps}
    joints = settled | others

    def worth(t: tuple[str, str, str]) -> tuple[int, int, int, float]:
        good = size[t][1] >= GOOD_SHARE * size[best][1] or sum(p in anchors for p in t) == 2
        held = min(sum(p in anchors for p in t), 2)
        return (held if size[t][0] > LINE_RATIO else -1, int(good), sum(p in joints for p in t), size[t][1])

    chosen = max(size, key=worth)
    ordered = sorted(chosen, key=lambda p: (p not in anchors, points.index(p)))
    return Base(body, tuple(ordered), hinge=len(anchors) >= 2)


def _height_and_area(at: dict[str, NDArray[np.float64]], names: tuple[str, ...]) -> tuple[float, float]:
    a, b, c = (at[n] for n in names)
    area = float(np.linalg.norm(np.cross(b - a, c - a)))
    longest = max(float(np.linalg.norm(x)) for x in (b - a, c - a, c - b))
    return (area / longest**2 if longest else 0.0), area


def _carried(
    linkage: Linkage, bases: dict[str, Base], settled: set[str]
) -> tuple[dict[str, str], tuple[tuple[str, str], ...]]:
    carried: dict[str, str] = {}
    ties: list[tuple[str, str]] = []
    for body, base in bases.items():
        for p in linkage.bodies[body]:
            if p in base.points:
                continue
            if p in settled or p in carried:
                ties.append((p, body))
            else:
                carried[p] = body
    return carried, tuple(ties)
