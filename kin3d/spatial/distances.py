"""Least distances of round bars and of surfaces of revolution, over lanes, with derivatives where places are jets.

Which places are nearest is found with numbers; the distance is then one formula a case (end or inside, edge or ring),
so that jets give its exact derivatives. Where surfaces cross the distance is 0 and has no derivative (NaN).
(Two segments: C. Ericson, *Real-Time Collision Detection*, 2005, 5.1.9, from memory. A segment and a surface of
revolution: both are seen in the half plane of width and radius, where the segment is a branch of a hyperbola.)
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.spatial.jets import Jet, choose, sqrt, value
from kin3d.spatial.vectors import Number, Vec, add, cross, dot, scale, sub, vector

Array = NDArray[np.float64]
CROSSED = 1e-9  # mm: nearer than this two surfaces cross
PARALLEL = 1e-12
NEWTON = 60  # halvings find a place along a bar to the last bit


@dataclass(frozen=True, slots=True)
class Nearest:
    """Where two things are nearest.

    Attributes
    ----------
    distance : number
        From axis to axis or to the surface, mm, without the bars' radii; a jet where the places are jets.
    first, second : ndarray, shape (3, lanes)
        The nearest places on the first thing's axis, and on the second's axis or surface.
    """

    distance: Number
    first: Array
    second: Array


@dataclass(frozen=True, slots=True)
class Profile:
    """Half of a section through a solid of revolution: corners as width along the axis and radius, mm.

    Attributes
    ----------
    corners : ndarray, shape (corners, 2)
        At least two; a solid where the last is the first, else a thin shell.
    """

    corners: Array

    @property
    def closed(self) -> bool:
        """Whether it bounds a solid."""
        return bool(len(self.corners) > 3 and np.array_equal(self.corners[0], self.corners[-1]))

    @property
    def edges(self) -> tuple[Array, Array]:
        """Start and direction (not of length 1) of each edge, shapes (edges, 2)."""
        return self.corners[:-1], np.diff(self.corners, axis=0)

    def inside(self, width: Array, radius: Array) -> NDArray[np.bool_]:
        """Whether places lie inside, by counting edges that a ray crosses."""
        out = np.zeros(np.shape(width), dtype=bool)
        if not self.closed:
            return out
        for (w0, r0), (w1, r1) in zip(self.corners[:-1], self.corners[1:], strict=True):
            beside = (r0 > radius) != (r1 > radius)
            at = w0 + (radius - r0) * (w1 - w0) / ((r1 - r0) or 1.0)
            out ^= beside & (width < at)
        return out


def bar_to_bar(a: Vec, b: Vec, c: Vec, d: Vec) -> Nearest:
    """Least distance of the segments from a to b and from c to d.

    Parameters
    ----------
    a, b, c, d : vectors
        Numbers, arrays over lanes, or jets; one frame, mm.
    """
    places = [np.stack(np.broadcast_arrays(*(np.asarray(value(x), float) for x in v))) for v in (a, b, c, d)]
    s, t = _on_segments(*places)
    a0, b0, c0, d0 = places
    first, second = a0 + s * (b0 - a0), c0 + t * (d0 - c0)
    gap = np.linalg.norm(first - second, axis=0)
    if not any(isinstance(x, Jet) for v in (a, b, c, d) for x in v):
        return Nearest(gap, first, second)
    s_in, t_in = (s > 0.0) & (s < 1.0), (t > 0.0) & (t < 1.0)
    p, q = _either(s >= 1.0, b, a), _either(t >= 1.0, d, c)
    u, v = sub(b, a), sub(d, c)
    normal = cross(u, v)
    lines = dot(sub(c, a), normal) * dot(sub(c, a), normal) / dot(normal, normal)
    on_second, on_first = _off_line(p, c, v), _off_line(q, a, u)
    ends = sub(p, q)
    square = choose(s_in & t_in, lines, choose(t_in, on_second, choose(s_in, on_first, dot(ends, ends))))
    return Nearest(_root(square, gap), first, second)


def bar_to_revolution(a: Vec, b: Vec, centre: Vec, axis: Vec, profile: Profile) -> Nearest:
    """Least distance of the segment from a to b to the surface that a profile describes about an axis.

    Parameters
    ----------
    a, b, centre, axis : vectors
        Numbers, arrays over lanes, or jets; the axis of length 1, the profile's width is along it from the centre.
    """
    along = _Along(a, b, centre, axis)
    numbers = _Along(*(_plain(v) for v in (a, b, centre, axis)))
    found = _least(numbers, profile)
    first = numbers.place(found.t)
    width, radius = numbers.width(found.t), numbers.radius(found.t)
    foot = found.foot(profile, width, radius)
    ax, mid = np.stack(np.broadcast_arrays(*numbers.axis)), np.stack(np.broadcast_arrays(*numbers.centre))
    radial = first - mid - width * ax
    size = np.linalg.norm(radial, axis=0)
    other = np.where(np.abs(ax[0]) < 0.9, 1.0, 0.0)  # any direction square to the axis, for a place on it
    spare = np.cross(ax, np.stack([other, 1.0 - other, np.zeros_like(other)]), axis=0)
    spare /= np.linalg.norm(spare, axis=0)
    radial = np.where(size > PARALLEL, radial / np.where(size > PARALLEL, size, 1.0), spare)
    second = mid + foot[0] * ax + foot[1] * radial
    within = profile.inside(width, radius)
    gap = np.where(within, -found.distance, found.distance)
    if not any(isinstance(x, Jet) for v in (a, b, centre, axis) for x in v):
        return Nearest(gap, first, second)
    return Nearest(_signed(_with_derivatives(along, found, profile), gap), first, second)


def ball_to_plane(centre: Vec, point: Vec, normal: Vec, radius: Number) -> Number:
    """Gap between a ball and the plane through a point, on the side to which its unit normal points, mm."""
    return dot(sub(centre, point), normal) - radius


def _on_segments(a: Array, b: Array, c: Array, d: Array) -> tuple[Array, Array]:
    """Where two segments are nearest, as parts of their lengths, shapes (lanes,)."""
    u, v, w = b - a, d - c, a - c
    uu, vv, uv, uw, vw = ((x * y).sum(axis=0) for x, y in ((u, u), (v, v), (u, v), (u, w), (v, w)))
    uu, vv = np.maximum(uu, 1e-300), np.maximum(vv, 1e-300)
    denominator = uu * vv - uv * uv
    crossing = denominator > PARALLEL * uu * vv
    s = np.where(crossing, np.clip((uv * vw - uw * vv) / np.where(crossing, denominator, 1.0), 0.0, 1.0), 0.0)
    t = (uv * s + vw) / vv
    s = np.where(t < 0.0, np.clip(-uw / uu, 0.0, 1.0), np.where(t > 1.0, np.clip((uv - uw) / uu, 0.0, 1.0), s))
    return s, np.clip(t, 0.0, 1.0)


def _either(condition: Any, x: Vec, y: Vec) -> Vec:
    return choose(condition, x[0], y[0]), choose(condition, x[1], y[1]), choose(condition, x[2], y[2])


def _off_line(p: Vec, start: Vec, direction: Vec) -> Number:
    """Square of the distance of a point from a line."""
    moment = cross(sub(p, start), direction)
    return dot(moment, moment) / dot(direction, direction)


def _root(square: Number, distance: Array) -> Number:
    """The distance of its square; without derivatives where that is 0."""
    safe = choose(distance > CROSSED, square, 1.0)
    return _signed(sqrt(safe), distance)


def _signed(jet: Jet, gap: Array) -> Jet:
    """A distance with the sign of the gap, whose value is kept; without derivatives where it is 0."""
    sign = np.where(np.abs(gap) > CROSSED, np.sign(gap), np.nan)
    rest = [None if c is None else c * sign for c in jet.coefficients[1:]]
    return Jet(jet.algebra, [gap, *rest])


def _plain(v: Vec) -> Vec:
    return vector(np.broadcast_arrays(*(np.atleast_1d(np.asarray(value(x), float)) for x in v)))


class _Along:
    """A bar seen from an axis: width, radius and their derivatives over the part t of its length.

    radius² = least² + across·(t − t*)²
    """

    def __init__(self, a: Vec, b: Vec, centre: Vec, axis: Vec) -> None:
        self.a, self.u, self.centre, self.axis = a, sub(b, a), centre, axis
        self.from_centre = sub(a, centre)
        self.lift = dot(self.u, axis)  # width per t
        self.start = dot(self.from_centre, axis)

    @cached_property
    def across(self) -> Number:
        """Square of the bar's length square to the axis."""
        v = sub(self.u, scale(self.lift, self.axis))
        return dot(v, v)

    @cached_property
    def inward(self) -> Number:
        """Half the derivative of radius² at t = 0."""
        v, q = sub(self.u, scale(self.lift, self.axis)), sub(self.from_centre, scale(self.start, self.axis))
        return dot(v, q)

    def place(self, t: Array) -> Array:
        p = add(self.a, scale(t, self.u))
        return np.stack(np.broadcast_arrays(*p))

    def width(self, t: Number) -> Number:
        return self.start + t * self.lift

    def radius(self, t: Number) -> Number:
        q = sub(add(self.from_centre, scale(t, self.u)), scale(self.width(t), self.axis))
        return sqrt(dot(q, q))

    def slope(self, t: Number) -> Number:
        """Half the derivative of radius² over t."""
        return self.inward + self.across * t


@dataclass(frozen=True, slots=True)
class _NearestPlace:
    """The nearest place: part of the bar's length, edge of the profile, part of the edge's length, distance."""

    t: Array
    edge: NDArray[np.intp]
    part: Array
    distance: Array

    def foot(self, profile: Profile, _width: Array, _radius: Array) -> tuple[Array, Array]:
        starts, ways = profile.edges
        at = starts[self.edge] + self.part[:, None] * ways[self.edge]
        return at[:, 0], at[:, 1]


def _to_edge(width: Array, radius: Array, start: Array, way: Array) -> tuple[Array, Array]:
    """Distance of places of the half plane from an edge, and the part of its length that is nearest."""
    length = np.maximum(way[0] ** 2 + way[1] ** 2, 1e-300)
    part = np.clip(((width - start[0]) * way[0] + (radius - start[1]) * way[1]) / length, 0.0, 1.0)
    return np.hypot(width - start[0] - part * way[0], radius - start[1] - part * way[1]), part


@dataclass(frozen=True, slots=True)
class _Branch:
    """A bar in the half plane, by x = t − t*: radius² = least² + across·x², width = level + lift·x."""

    middle: Array
    least: Array
    across: Array
    level: Array
    lift: Array

    def at(self, x: Array) -> tuple[Array, Array]:
        """Width and radius."""
        return self.level + self.lift * x, np.sqrt(self.least**2 + self.across * x * x)

    def take(self, which: NDArray[np.intp]) -> _Branch:
        return _Branch(*(v[which] for v in (self.middle, self.least, self.across, self.level, self.lift)))


def _branch(bar: _Along) -> _Branch:
    """A bar along the axis counts as a point there: it is nearest at an end."""
    flat = bar.across < PARALLEL * (bar.across + bar.lift**2)
    middle = np.where(flat, 0.0, -bar.inward / np.where(flat, 1.0, bar.across))
    return _Branch(middle, bar.radius(middle), np.where(flat, 0.0, bar.across), bar.width(middle), bar.lift)


def _least(bar: _Along, profile: Profile) -> _NearestPlace:
    """The nearest of all candidates: ends, where an edge is crossed or nearest, where a corner's ring is nearest."""
    branch = _branch(bar)
    middle = branch.middle
    rings = _near_rings(branch, profile.corners)
    ends = (-middle, 1.0 - middle, np.clip(0.0, -middle, 1.0 - middle))
    best, edge = np.full(len(middle), np.inf), np.zeros(len(middle), dtype=np.intp)
    t = np.zeros(len(middle))
    starts, ways = profile.edges
    for k, (start, way) in enumerate(zip(starts, ways, strict=True)):
        normal = np.array([-way[1], way[0]]) / max(float(np.hypot(*way)), 1e-300)
        inner = [np.clip(x, -middle, 1.0 - middle) for x in _near_edge(normal, float(normal @ start), branch)]
        tried = np.stack([*ends, *inner, *rings[k], *rings[k + 1]])
        distance = _to_edge(*branch.at(tried), start, way)[0]
        row = distance.argmin(axis=0)
        own = np.take_along_axis(distance, row[None], axis=0)[0]
        nearer = own < best
        best, edge = np.where(nearer, own, best), np.where(nearer, k, edge)
        t = np.where(nearer, np.take_along_axis(tried, row[None], axis=0)[0] + middle, t)
    t = np.clip(np.where(np.abs(t) < 1e-15, 0.0, t), 0.0, 1.0)
    distance, part = _to_edge(bar.width(t), bar.radius(t), starts[edge].T, ways[edge].T)
    return _NearestPlace(t, edge, part, distance)


def _near_edge(n: Array, offset: float, bar: _Branch) -> list[Array]:
    """Where a bar comes nearest to the cone of an edge, and where it crosses it.

    With n the edge's normal the signed distance is n₀·width + n₁·radius − offset.
    """
    lift, across, least = bar.lift, bar.across, bar.least
    with np.errstate(all="ignore"):
        turning = np.abs(n[0] * lift) * least / np.sqrt(across * (across * n[1] ** 2 - (n[0] * lift) ** 2))
        rest = offset - n[0] * bar.level
        a = n[1] ** 2 * across - (n[0] * lift) ** 2
        b = n[0] * lift * rest
        c = (n[1] * least) ** 2 - rest**2
        far = -(b + np.where(b < 0.0, -1.0, 1.0) * np.sqrt(b * b - a * c))
        found = (turning, -turning, far / a, c / far)
    return [np.where(np.isfinite(x), x, 0.0) for x in found]


def _near_rings(one: _Branch, corners: Array) -> Array:
    """Where bars are nearest to the circles of corners (n, 2), on either side of their innermost place: (n, 2, bars).

    Half the square of the distance is convex outside |x| = δ, concave inside, so that each side has one minimum.
    """
    count = len(one.middle)
    bar = one.take(np.tile(np.arange(count), len(corners)))
    corner = np.repeat(corners.T, count, axis=1)
    length = bar.lift**2 + bar.across
    turn = np.cbrt(corner[1] * bar.across * bar.least**2 / np.maximum(length, 1e-300))
    delta = np.sqrt(np.maximum(turn**2 - bar.least**2, 0.0) / np.maximum(bar.across, 1e-300))
    first, last = -bar.middle, 1.0 - bar.middle
    low, high = np.stack([first, np.clip(delta, first, last)]), np.stack([np.clip(-delta, first, last), last])
    both = bar.take(np.tile(np.arange(len(first)), 2))
    found = _root_between(both, np.tile(corner, 2), low.ravel(), high.ravel())
    return found.reshape(2, len(corners), count).swapaxes(0, 1)


def _root_between(bar: _Branch, corner: Array, low: Array, high: Array) -> Array:
    """Where the distance from a circle is least between two places, between which it is convex."""
    out = np.where(_ring_pull(bar, low, corner)[0] >= 0.0, low, high)
    rest = np.flatnonzero((_ring_pull(bar, low, corner)[0] < 0.0) & (_ring_pull(bar, high, corner)[0] > 0.0))
    if not rest.size:
        return out
    own, a, b = bar.take(rest), low[rest], high[rest]
    corner = corner[:, rest]
    x = 0.5 * (a + b)
    for _ in range(NEWTON):
        g, slope = _ring_pull(own, x, corner)
        a, b = np.where(g < 0.0, x, a), np.where(g < 0.0, b, x)
        with np.errstate(all="ignore"):
            new = x - g / slope
        new = np.where((new >= a) & (new <= b), new, 0.5 * (a + b))
        moved = np.abs(new - x).max()
        x = new
        if moved < 1e-14:
            break
    out[rest] = x
    return out


def _ring_pull(bar: _Branch, x: Array, corner: Array) -> tuple[Array, Array]:
    """First and second derivative over x of half the square of the distance from a circle."""
    width, r = bar.at(x)
    r = np.maximum(r, PARALLEL)
    g = (width - corner[0]) * bar.lift + bar.across * x * (1.0 - corner[1] / r)
    return g, bar.lift**2 + bar.across - corner[1] * bar.across * bar.least**2 / r**3


def _ring_slope(bar: _Along, t: Number, width: Number, radius: Number) -> tuple[Number, Number]:
    """Derivative over t, and the second one, of half the square of the distance from a circle."""
    r, slope = bar.radius(t), bar.slope(t)
    r = choose(value(r) > PARALLEL, r, PARALLEL)
    g = (bar.width(t) - width) * bar.lift + slope - radius * slope / r
    return g, bar.lift * bar.lift + bar.across - radius * (bar.across / r - slope * slope / (r * r * r))


def _with_derivatives(bar: _Along, found: _NearestPlace, profile: Profile) -> Jet:
    """The distance as a jet; the place along the bar moves with it where it is no end."""
    starts, ways = profile.edges
    start, way = starts[found.edge], ways[found.edge]
    corner = start + np.where(found.part >= 1.0, 1.0, 0.0)[:, None] * way
    normal = np.stack([-way[:, 1], way[:, 0]]) / np.hypot(way[:, 0], way[:, 1])
    on_edge = (found.part > 0.0) & (found.part < 1.0)
    inside = (found.t > 0.0) & (found.t < 1.0)
    ring = _ring_slope(bar, found.t, corner[:, 0], corner[:, 1])
    r, slope = bar.radius(found.t), bar.slope(found.t)
    cone = (
        normal[0] * bar.lift + normal[1] * slope / r,
        normal[1] * (bar.across / r - slope * slope / (r * r * r)),
    )
    step = choose(on_edge, _step(*cone), _step(*ring))
    t = found.t - choose(inside, step, 0.0)
    t = Jet(t.algebra, [found.t, *t.coefficients[1:]])  # a Newton step in jets is exact to third order in the distance
    width, radius = bar.width(t), bar.radius(t)
    to_edge = normal[0] * (width - start[:, 0]) + normal[1] * (radius - start[:, 1])
    to_edge = to_edge * np.where(value(to_edge) < 0.0, -1.0, 1.0)
    dw, dr = width - corner[:, 0], radius - corner[:, 1]
    square = dw * dw + dr * dr
    to_ring = sqrt(choose(value(square) > CROSSED**2, square, 1.0))
    out = choose(on_edge, to_edge, to_ring)
    return out if isinstance(out, Jet) else bar.across.algebra.constant(out)


def _step(slope: Number, second: Number) -> Number:
    """Newton's step; none where the slope does not change."""
    return slope / choose(np.abs(value(second)) > PARALLEL, second, 1.0) * (np.abs(value(second)) > PARALLEL)
