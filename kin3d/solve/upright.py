"""The upright's linkage solved as one rigid body on five links: positions and exact first derivatives at once.

Rod and rocker, where they are wanted, follow the upright and do not move it (`kin3d.solve.hinged`). An upright on
links has six equations in six numbers, so that one small dense solve over all lanes gives its motion along travel,
rack and every coordinate of every point together. The kernel solves any layout and any order; this path solves the
usual layouts to first order, and much sooner.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, LayoutError
from kin3d.linkage.layout import WHEEL_AXIS, WHEEL_CENTRE, Linkage
from kin3d.solve.hinged import Hinged, follow, hinged_of, place

Array = NDArray[np.float64]
Index = NDArray[np.intp]
CLOSED_MM = 1e-10  # Newton's last step
MOST_STEPS = 30
LONGEST_STEP = 0.3  # rad that one step may turn the upright


@dataclass(frozen=True, slots=True)
class Upright:
    """An upright held by five links, and what follows it.

    Attributes
    ----------
    points : tuple of str
        Order of the points in every coordinate array.
    inner, outer : ndarray of int, shape (5,)
        Points at the ends of each link; `outer` is on the upright.
    on_rack : ndarray of bool, shape (points,)
        Points that the rack moves.
    on_upright : ndarray of bool, shape (points,)
        Points that the upright carries.
    centre : int
        The wheel's centre.
    steering_axis : (int, int) or None
        Lower and upper joint of the steering axis.
    hinged : tuple of Hinged
        Bodies that follow, in the order in which they are placed.
    rod : (int, int) or None
        Outer and inner end of push- or pull-rod.
    """

    points: tuple[str, ...]
    inner: Index
    outer: Index
    on_rack: NDArray[np.bool_]
    on_upright: NDArray[np.bool_]
    centre: int
    steering_axis: tuple[int, int] | None = None
    hinged: tuple[Hinged, ...] = ()
    rod: tuple[int, int] | None = None

    @property
    def tubes(self) -> tuple[tuple[int, int], ...]:
        """Ends of the links, inner first, and of the rod, outer first: the first end names the tube."""
        links = tuple((int(i), int(o)) for i, o in zip(self.inner, self.outer, strict=True))
        return links if self.rod is None else (*links, self.rod)

    @property
    def links_points(self) -> tuple[str, ...]:
        """Points of the links."""
        return tuple(self.points[k] for k in sorted({*self.inner.tolist(), *self.outer.tolist()}))

    def index(self, name: str) -> int:
        """Row of a point."""
        return self.points.index(name)

    def far_end(self, name: str) -> str:
        """The point to which the tube of this name leads: a link's outer end, or the rod's inner one."""
        return self.points[dict(self.tubes)[self.index(name)]]


def upright_of(linkage: Linkage) -> Upright:
    """The upright of a linkage with its links, and rod and rocker where the linkage has them.

    Raises
    ------
    LayoutError
        Where the upright is not held by five links (a slider, a body between arm and upright, too few links), or
        another body does not follow it.
    """
    if linkage.system is not None or linkage.drives or linkage.guides:
        text = f'layout "{linkage.layout}" has drives, guides, or sides that are one system; links alone are expected'
        raise LayoutError(Finding("upright-links", text, linkage.layout))
    carried = tuple(p for p in linkage.bodies[linkage.wheel_body] if p != WHEEL_AXIS)
    held = (*linkage.fixed, *linkage.rack)
    links = []
    for body, points in linkage.bodies.items():
        ends = [p for p in points if p in carried]
        starts = [p for p in points if p in held]
        if body != linkage.wheel_body and len(ends) == 1 and (len(starts) == 2 or len(points) == 2):
            links += [(start, ends[0]) for start in starts]
    if len(links) != 5 or linkage.sliders:
        what = "a slider" if linkage.sliders else f"{len(links)} links from chassis and rack"
        text = f'layout "{linkage.layout}" holds the upright by {what}; five links are expected'
        raise LayoutError(Finding("upright-links", text))
    first = [p for p in linkage.points if p in carried or any(p in link for link in links)]
    rest = [p for p in linkage.points if p not in first and p != WHEEL_AXIS]
    order = (*(p for p in (*first, *rest) if p != WHEEL_CENTRE), WHEEL_CENTRE)
    hinged, loose = hinged_of(linkage.bodies, linkage.fixed, (*held, *carried), order)
    if loose:
        text = f'layout "{linkage.layout}" leaves {", ".join(loose)} to bodies that do not turn about the chassis'
        raise LayoutError(Finding("upright-loose", text))
    axis, rocker = linkage.steering_axis, linkage.rocker
    return Upright(
        points=order,
        inner=np.array([order.index(i) for i, _ in links]),
        outer=np.array([order.index(o) for _, o in links]),
        on_rack=np.array([n in linkage.rack for n in order]),
        on_upright=np.array([n in carried for n in order]),
        centre=order.index(WHEEL_CENTRE),
        steering_axis=(order.index(axis[0][0]), order.index(axis[1][0])) if axis else None,
        hinged=hinged,
        rod=(order.index(rocker.rod[0]), order.index(rocker.rod[1])) if rocker else None,
    )


@dataclass(frozen=True, slots=True)
class Pose:
    """Where uprights stand, over lanes.

    Attributes
    ----------
    turn : ndarray, shape (lanes, 3, 3)
        Rotation from the design position.
    centre : ndarray, shape (lanes, 3)
        Wheel centre, mm.
    closed : ndarray of bool, shape (lanes,)
        Whether every link and the rod have their lengths; where not, the rest of that lane means nothing.
    """

    turn: Array
    centre: Array
    closed: NDArray[np.bool_]

    def points(self, upright: Upright, design: Array, rack: Array) -> Array:
        """Places of all points, shape (lanes, points, 3), mm."""
        return self._followed(upright, design, rack)[0]

    def _followed(self, upright: Upright, design: Array, rack: Array) -> tuple[Array, NDArray[np.bool_]]:
        """Places of all points, and whether the rod reaches."""
        out = design.copy()
        out[:, upright.on_rack, 1] += rack[:, None]
        own = design[:, upright.on_upright] - design[:, None, upright.centre]
        out[:, upright.on_upright] = self.centre[:, None] + own @ self.turn.transpose(0, 2, 1)
        reached = np.ones(len(design), dtype=bool)
        for body in upright.hinged:
            reached &= place(body, design, out)
        return out, reached

    def checked(self, upright: Upright, design: Array, rack: Array) -> Pose:
        """The pose, closed only where the rod reaches too."""
        if not upright.hinged:
            return self
        return Pose(self.turn, self.centre, self.closed & self._followed(upright, design, rack)[1])


def pose(upright: Upright, design: Array, travel: Array, rack: Array, start: Pose | None = None) -> Pose:
    """Close the linkage over lanes by Newton's method, from the design position or from `start`.

    Parameters
    ----------
    upright : Upright
    design : ndarray, shape (lanes, points, 3)
        Design coordinates, mm, one corner a lane (left, or right as its mirror image with the rack's sign turned).
    travel, rack : ndarray, shape (lanes,)
        Height of the wheel centre over its design height, displacement of the rack's points along +y, mm.
    start : Pose, optional
        A pose near by, of an earlier call with like coordinates.
    """
    count = len(design)
    centre0 = design[:, upright.centre]
    own = design[:, upright.on_upright] - centre0[:, None]
    turn = np.tile(np.eye(3), (count, 1, 1)) if start is None else start.turn.copy()
    # one lift by the travel at the start makes the row of the travel exact all through
    centre = centre0.copy() if start is None else start.centre.copy()
    inner = design[:, upright.inner].copy()
    lengths = ((design[:, upright.outer] - inner) ** 2).sum(axis=-1)
    inner[..., 1] += rack[:, None] * upright.on_rack[upright.inner]
    place = {int(p): k for k, p in enumerate(np.flatnonzero(upright.on_upright))}
    ends = [place[int(o)] for o in upright.outer]
    residual = np.empty((count, 6))
    closed = np.zeros(count, dtype=bool)
    with np.errstate(all="ignore"):
        for _ in range(MOST_STEPS):
            arm = (own @ turn.transpose(0, 2, 1))[:, ends]
            d = centre[:, None] + arm - inner
            residual[:, :5] = 0.5 * ((d**2).sum(axis=-1) - lengths)
            residual[:, 5] = centre[:, 2] - centre0[:, 2] - travel
            step = -_solve(_jacobian(d, arm), residual[..., None])[..., 0]
            angle = np.linalg.norm(step[:, 3:], axis=-1)
            step *= np.minimum(1.0, LONGEST_STEP / np.maximum(angle, LONGEST_STEP))[:, None]
            centre = centre + step[:, :3]
            turn = rotations(step[:, 3:]) @ turn
            closed = np.abs(step).max(axis=-1) < CLOSED_MM
            if closed.all():
                break
    return Pose(turn, centre, closed).checked(upright, design, rack)


def _jacobian(d: Array, arm: Array) -> Array:
    """Derivative of the six equations along centre and turn, shape (lanes, 6, 6)."""
    out = np.zeros((len(d), 6, 6))
    out[:, :5, :3] = d
    out[:, :5, 3:] = crossed(arm, d)
    out[:, 5, 2] = 1.0
    return out


def _solve(matrices: Array, right: Array) -> Array:
    """Solve a stack; lanes whose matrix is singular give NaN and do not stop the others."""
    try:
        return np.asarray(np.linalg.solve(matrices, right))
    except np.linalg.LinAlgError:
        singular = np.abs(np.linalg.det(matrices)) == 0.0
        out = np.full(right.shape, np.nan)
        if not singular.all():
            out[~singular] = np.linalg.solve(matrices[~singular], right[~singular])
        return out


def crossed(a: Array, b: Array) -> Array:
    """Vector products over the last axis, without the checks that take numpy's as long as the rest."""
    out = np.empty(np.broadcast_shapes(a.shape, b.shape))
    for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        out[..., i] = a[..., j] * b[..., k] - a[..., k] * b[..., j]
    return out


def rotations(vectors: Array) -> Array:
    """Rotation matrices of rotation vectors (Rodrigues), shapes (…, 3) and (…, 3, 3), rad."""
    angle = np.linalg.norm(vectors, axis=-1)[..., None, None]
    k = skew(vectors)
    half = np.sinc(angle / (2.0 * np.pi))  # sin(a/2) / (a/2), exact at 0
    out: Array = np.eye(3) + np.sinc(angle / np.pi) * k + 0.5 * half**2 * (k @ k)
    return out


def skew(v: Array) -> Array:
    """Matrix of the vector product v ×, shapes (…, 3) and (…, 3, 3)."""
    out = np.zeros((*v.shape, 3))
    out[..., 0, 1], out[..., 0, 2], out[..., 1, 2] = -v[..., 2], v[..., 1], -v[..., 0]
    out[..., 1, 0], out[..., 2, 0], out[..., 2, 1] = v[..., 2], -v[..., 1], v[..., 0]
    return out


@dataclass(frozen=True, slots=True)
class Slopes:
    """First derivatives of uprights over lanes.

    The directions run over all design coordinates (point by point, x, y, z), then travel, then rack.

    Attributes
    ----------
    centre, turn : ndarray, shape (lanes, 3, directions)
        Change of the wheel centre, and rotation vector of the upright's turn in the chassis frame, per mm.
    points : ndarray, shape (lanes, points, 3, directions)
        Change of the places of all points.
    """

    centre: Array
    turn: Array
    points: Array


def slopes(upright: Upright, design: Array, rack: Array, at: Pose) -> Slopes:
    """Exact derivatives along all design coordinates, travel and rack, by one linear solve a lane.

    The equations f_i = ½(|x_b − a|² − |X_b − A|²) of the links and the height of the wheel centre hold to first
    order along every direction at once: M·(δc, δω) = −∂f. Parameters as in `pose`, `at` being its result.
    """
    count, many = design.shape[:2]
    columns = 3 * many + 2
    places = at.points(upright, design, rack)
    inner, outer = upright.inner, upright.outer
    d = places[:, outer] - places[:, inner]
    then = design[:, outer] - design[:, inner]
    arm = places[:, outer] - at.centre[:, None]
    back = d @ at.turn  # each link as the upright saw it in the design position: turnᵀ · d
    right = np.zeros((count, 6, columns))
    for i in range(5):
        a, b, c = 3 * inner[i], 3 * outer[i], 3 * upright.centre
        right[:, i, b : b + 3] += back[:, i] - then[:, i]
        right[:, i, c : c + 3] -= back[:, i]
        right[:, i, a : a + 3] += then[:, i] - d[:, i]
        if upright.on_rack[inner[i]]:
            right[:, i, -1] -= d[:, i, 1]
    right[:, 5, 3 * upright.centre + 2] = -1.0
    right[:, 5, -2] = -1.0
    found = -_solve(_jacobian(d, arm), right)
    centre, turn = found[:, :3], found[:, 3:]
    out = np.zeros((count, many, 3, columns))
    followers = {k for body in upright.hinged for k in body.carried}
    for p in range(many):
        if p in followers:
            continue
        if upright.on_upright[p]:
            out[:, p] = centre - skew(places[:, p] - at.centre) @ turn
            out[:, p, :, 3 * p : 3 * p + 3] += at.turn
            out[:, p, :, 3 * upright.centre : 3 * upright.centre + 3] -= at.turn
        else:
            out[:, p, range(3), range(3 * p, 3 * p + 3)] = 1.0
            if upright.on_rack[p]:
                out[:, p, 1, -1] = 1.0
    for body in upright.hinged:
        follow(body, design, places, out)
    return Slopes(centre, turn, out)
