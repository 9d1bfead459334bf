"""The upright's linkage alone, solved as one rigid body on five links: positions and exact first derivatives at once.

Where only the upright matters (photographs, sensitivities of the wheel's measures) rocker, rod and bar need not be
solved. An upright on links has six equations in six numbers, so that one small dense solve over all lanes gives its
motion along travel, rack and every coordinate of every point together. The kernel solves any layout and any order;
this path solves the usual layouts to first order, and much sooner.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, LayoutError
from kin3d.linkage.layout import CHASSIS, WHEEL_CENTRE, Layout

Array = NDArray[np.float64]
Index = NDArray[np.intp]
CLOSED_MM = 1e-10  # Newton's last step
MOST_STEPS = 30
LONGEST_STEP = 0.3  # rad that one step may turn the upright


@dataclass(frozen=True, slots=True)
class Upright:
    """An upright held by five links.

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
    """

    points: tuple[str, ...]
    inner: Index
    outer: Index
    on_rack: NDArray[np.bool_]
    on_upright: NDArray[np.bool_]
    centre: int
    steering_axis: tuple[int, int] | None = None

    def index(self, name: str) -> int:
        """Row of a point."""
        return self.points.index(name)

    def outer_of(self, name: str) -> str:
        """The point of the upright to which the link with this inner end leads."""
        return self.points[int(self.outer[list(self.inner).index(self.index(name))])]


def upright_of(layout: Layout) -> Upright:
    """The upright of a layout without its parts (rod, rocker, bar).

    Raises
    ------
    LayoutError
        Where the upright is not held by five links: a slider, a body between arm and upright, too few links.
    """
    held = {CHASSIS: set(layout.bodies.get(CHASSIS, ())) | set(layout.rack)}
    carried = layout.bodies[layout.wheel_body]
    links = []
    for body, points in layout.bodies.items():
        if body in (CHASSIS, layout.wheel_body):
            continue
        ends = [p for p in points if p in carried]
        starts = [p for p in points if p in held[CHASSIS]]
        if len(ends) == 1 and len(starts) + 1 == len(points):
            links += [(start, ends[0]) for start in starts]
    if len(links) != 5 or layout.sliders:
        what = "a slider" if layout.sliders else f"{len(links)} links from chassis and rack"
        text = f'layout "{layout.name}" holds the upright by {what}; five links are expected'
        raise LayoutError(Finding("upright-links", text, layout.source))
    names = tuple(dict.fromkeys([*(i for i, _ in links), *carried, WHEEL_CENTRE]))
    order = tuple(sorted(names, key=lambda n: (n == WHEEL_CENTRE, layout.known_points().index(n))))
    axis = layout.steering_axis
    return Upright(
        points=order,
        inner=np.array([order.index(i) for i, _ in links]),
        outer=np.array([order.index(o) for _, o in links]),
        on_rack=np.array([n in layout.rack for n in order]),
        on_upright=np.array([n in carried or n == WHEEL_CENTRE for n in order]),
        centre=order.index(WHEEL_CENTRE),
        steering_axis=(order.index(axis[0]), order.index(axis[1])) if axis else None,
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
        Whether every link has its length; where not, the rest of that lane means nothing.
    """

    turn: Array
    centre: Array
    closed: NDArray[np.bool_]

    def points(self, upright: Upright, design: Array, rack: Array) -> Array:
        """Places of all points, shape (lanes, points, 3), mm."""
        out = design.copy()
        out[:, upright.on_rack, 1] += rack[:, None]
        own = design[:, upright.on_upright] - design[:, None, upright.centre]
        out[:, upright.on_upright] = self.centre[:, None] + own @ self.turn.transpose(0, 2, 1)
        return out


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
    return Pose(turn, centre, closed)


def _jacobian(d: Array, arm: Array) -> Array:
    """Derivative of the six equations along centre and turn, shape (lanes, 6, 6)."""
    out = np.zeros((len(d), 6, 6))
    out[:, :5, :3] = d
    out[:, :5, 3:] = np.cross(arm, d)
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
    for p in range(many):
        if upright.on_upright[p]:
            out[:, p] = centre - skew(places[:, p] - at.centre) @ turn
            out[:, p, :, 3 * p : 3 * p + 3] += at.turn
            out[:, p, :, 3 * upright.centre : 3 * upright.centre + 3] -= at.turn
        else:
            out[:, p, range(3), range(3 * p, 3 * p + 3)] = 1.0
            if upright.on_rack[p]:
                out[:, p, 1, -1] = 1.0
    return Slopes(centre, turn, out)
