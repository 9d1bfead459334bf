"""A start for the adjustment without any help: where each camera stood, then rack and travel, then everything softly.

Each photograph for itself: a fan of directions (and focal lengths, where they are not known), each brought to its own
best pose by damped Gauss-Newton on the template's points, all candidates at once. Then everything is adjusted with
losses that start wide and narrow down, so that a template that is 40 mm off does not count as wrong marks.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.photographs.adjust import Fit, adjust, cauchy, huber, known_of
from kin3d.photographs.camera import Cameras, straight_on
from kin3d.photographs.lanes import Seen
from kin3d.photographs.marked import CONTACT, LEG, RIM, CarMarks
from kin3d.photographs.model import Model, State
from kin3d.solve.upright import rotations

Array = NDArray[np.float64]
Index = NDArray[np.intp]
AZIMUTHS = np.arange(0.0, 360.0, 22.5)
ELEVATIONS = np.array([2.0, 18.0, 40.0])
FOCAL_FACTORS = np.array([0.5, 1.0, 2.0, 4.0])  # of the focal length that is assumed where none is known
POSE_STEPS, KEPT = 12, 3
APART_DEG = 4.0  # candidates nearer than this are one
NARROWING = (30.0, 8.0, 3.0)  # sigmas at which the losses leave the square, one adjustment each


@dataclass(frozen=True, slots=True)
class Candidate:
    """One camera that may have taken a photograph.

    Attributes
    ----------
    turn : ndarray, shape (3, 3)
    numbers : ndarray, shape (10,)
        In the order of `CAMERA`.
    cost : float
    """

    turn: Array
    numbers: Array
    cost: float


@dataclass(frozen=True, slots=True)
class _Features:
    """What is marked in one photograph, at the template: places (both ends of a leg), pixels, deviations in mm."""

    near: Array
    far: Array
    pixels: Array
    leg: NDArray[np.bool_]


def start(model: Model) -> Fit:
    """A robust fit near the optimum, found without any help."""
    pictures = model.parameters.pictures
    numbers = model.parameters.value.copy()
    turns = np.tile(np.eye(3), (len(pictures), 1, 1))
    for photo, index in enumerate(pictures):
        best = candidates(model, photo)[0]
        numbers[index[:10]] = best.numbers
        told = model.parameters.photos[photo][1].axes
        turns[photo] = best.turn if told is None else straight_on(told)
    return settle(model, model.state(numbers, turns))


def settle(model: Model, state: State) -> Fit:
    """From poses that are about right to a robust fit of everything, by losses that narrow down."""
    for edge in NARROWING:
        state = adjust(model, state, loss=cauchy(edge), most=12, settled=0.3).state
    ends = [adjust(model, state, loss=loss, most=25, settled=0.02) for loss in (huber(1.5), cauchy(2.0))]
    judge = cauchy(2.0)
    finals = [adjust(model, end.state, loss=judge, most=25, settled=0.02) for end in ends]
    return min(finals, key=lambda fit: fit.cost)


def _features(model: Model, photo: int) -> _Features:
    owner = model.parameters.photos[photo][0]
    car = model.cars[owner]
    known = model.parameters.value
    seen = model.seen(model.state(known, np.tile(np.eye(3), (len(model.parameters.photos), 1, 1))), owner)
    mine = np.flatnonzero(car.photo == photo)
    rows = [_feature(car, seen, int(k)) for k in mine if car.kind[k] != RIM]
    rims = {(int(car.lane[k]), int(car.which[k])) for k in mine if car.kind[k] == RIM}
    for lane, which in rims:
        edge = mine[(car.kind[mine] == RIM) & (car.lane[mine] == lane) & (car.which[mine] == which)]
        hub = seen.wheels[which].centre[lane] * (1.0, car.mirror[lane], 1.0)
        middle = 0.5 * (car.pixels[edge].min(axis=0) + car.pixels[edge].max(axis=0))
        rows.append((hub, hub, middle, False))
    near, far, pixels, leg = (np.array(v) for v in zip(*rows, strict=True))
    return _Features(near, far, pixels, leg)


def _feature(car: CarMarks, seen: Seen, k: int) -> tuple[Array, Array, Array, bool]:
    lane = car.lane[k]
    mirror = np.array([1.0, car.mirror[lane], 1.0])
    if car.kind[k] == CONTACT:
        place = seen.wheels[car.which[k]].contact()[0][lane] * mirror
        return place, place, car.pixels[k], False
    near = seen.points[lane, car.which[k]] * mirror
    far = seen.points[lane, car.outer[k]] * mirror if car.kind[k] == LEG else near
    return near, far, car.pixels[k], bool(car.kind[k] == LEG)


def candidates(model: Model, photo: int) -> list[Candidate]:
    """Cameras that may have taken a photograph, the likeliest first."""
    features = _features(model, photo)
    known = known_of(model)
    index = model.parameters.pictures[photo, :10]
    focal, focal_sigma = known.value[index[6]], known.sigma[index[6]]
    factors = np.log(FOCAL_FACTORS) if focal_sigma > 0.3 else np.zeros(1)
    turn, log_f = _fan(factors + focal)
    count = len(turn)
    numbers = np.zeros((count, 10))
    numbers[:, 6] = log_f
    numbers[:, 7:9] = known.value[index[7:9]]
    reference, half = np.tile(model.reference[photo], (count, 1)), np.full(count, model.half_px[photo])
    _place(features, turn, numbers, reference)
    cameras = Cameras(turn, numbers, reference, half)
    cost = np.full(count, np.inf)
    damping = np.full(count, 1e-2)
    off_mm = 25.0  # how far a template's points are off, about
    for step in range(POSE_STEPS):
        cameras, cost, damping = _improve(cameras, features, focal, focal_sigma, off_mm, damping)
        if step in (3, 7) and len(cost) > 24:
            keep = np.argsort(cost)[: max(24, len(cost) // 3)]
            cameras = Cameras(cameras.turn[keep], cameras.numbers[keep], cameras.reference[keep], cameras.half_px[keep])
            cost, damping = cost[keep], damping[keep]
    return _best(cameras, cost)


def _fan(log_focals: Array) -> tuple[Array, Array]:
    """Directions to look from, all round and from low to high, for each focal length."""
    turns = []
    for azimuth in np.radians(AZIMUTHS):
        for up in np.radians(ELEVATIONS):
            forward = -np.array([np.cos(up) * np.cos(azimuth), np.cos(up) * np.sin(azimuth), np.sin(up)])
            right = np.cross(forward, [0.0, 0.0, 1.0])
            right /= np.linalg.norm(right)
            turns.append(np.stack([right, np.cross(forward, right), forward]))
    every = np.tile(np.array(turns), (len(log_focals), 1, 1))
    return every, np.repeat(log_focals, len(turns))


def _place(features: _Features, turn: Array, numbers: Array, reference: Array) -> None:
    """Fill in place and scale of each camera as if it were far away: least squares on the middles of all features."""
    middle = 0.5 * (features.near + features.far)
    flat = ((middle - reference[0]) @ turn.transpose(0, 2, 1))[..., :2]
    centred, pixels = flat - flat.mean(axis=1, keepdims=True), features.pixels - features.pixels.mean(axis=0)
    per_mm = (centred * pixels).sum(axis=(1, 2)) / (centred**2).sum(axis=(1, 2))
    # a camera that looks from the wrong side sees no positive scale; spreads then give its size
    spread = np.sqrt((pixels**2).sum() / (centred**2).sum(axis=(1, 2)))
    per_mm = np.maximum(per_mm, 0.3 * spread)
    numbers[:, 5] = -np.log(per_mm)
    numbers[:, 3:5] = features.pixels.mean(axis=0) - per_mm[:, None] * flat.mean(axis=1)


def _improve(
    cameras: Cameras,
    features: _Features,
    focal: float,
    focal_sigma: float,
    off_mm: float,
    damping: Array,
) -> tuple[Cameras, Array, Array]:
    """One damped step of every candidate's pose; steps that make things worse are taken back."""
    misses, slopes = _misses(cameras, features, off_mm)
    weight = 1.0 / (1.0 + (misses**2).sum(axis=-1) / 9.0)
    normal = np.einsum("nm,nmik,nmil->nkl", weight, slopes, slopes)
    right = np.einsum("nm,nmik,nmi->nk", weight, slopes, misses)
    normal[:, 6, 6] += 1.0 / focal_sigma**2 if focal_sigma > 0.0 else 1e12
    right[:, 6] += (cameras.numbers[:, 6] - focal) / focal_sigma**2 if focal_sigma > 0.0 else 0.0
    diagonal = normal[:, range(7), range(7)]
    normal[:, range(7), range(7)] += damping[:, None] * diagonal + 1e-9 * diagonal.max(axis=1, keepdims=True)
    step = -np.linalg.solve(normal, right[..., None])[..., 0]
    step[:, :3] *= np.minimum(1.0, 0.35 / np.maximum(np.linalg.norm(step[:, :3], axis=1), 1e-12))[:, None]
    step[:, 5:7] = np.clip(step[:, 5:7], -0.5, 0.5)
    numbers = cameras.numbers.copy()
    numbers[:, 3:7] += step[:, 3:]
    tried = Cameras(rotations(step[:, :3]) @ cameras.turn, numbers, cameras.reference, cameras.half_px)
    old = _pose_cost(misses, cameras, focal, focal_sigma)
    new = _pose_cost(_misses(tried, features, off_mm, slopes=False)[0], tried, focal, focal_sigma)
    better = new < old
    taken = Cameras(
        np.where(better[:, None, None], tried.turn, cameras.turn),
        np.where(better[:, None], tried.numbers, cameras.numbers), cameras.reference, cameras.half_px,
    )  # fmt: skip
    return taken, np.where(better, new, old), np.where(better, 0.2 * damping, 10.0 * damping)


def _pose_cost(misses: Array, cameras: Cameras, focal: float, focal_sigma: float) -> Array:
    square = (misses**2).sum(axis=-1)
    out: Array = 4.5 * np.log1p(square / 9.0).sum(axis=-1)
    if focal_sigma > 0.0:
        out += 0.5 * ((cameras.numbers[:, 6] - focal) / focal_sigma) ** 2
    return np.where(np.isfinite(out), out, np.inf)


def _misses(cameras: Cameras, features: _Features, off_mm: float, *, slopes: bool = True) -> tuple[Array, Array]:
    """Misses in template deviations, shape (cameras, features, 2), and slopes along the first seven numbers."""
    count, many = len(cameras.turn), len(features.pixels)
    which = np.repeat(np.arange(count), many)

    def tiled(x: NDArray[Any]) -> NDArray[Any]:
        return np.tile(x, (count, *(1 for _ in x.shape[1:])))

    near, far, pixels, leg = (tiled(v) for v in (features.near, features.far, features.pixels, features.leg))
    ends = [cameras.seen(which, p) for p in (near, far)]
    a, b = (e.pixels for e in ends)
    along = b - a
    length = np.hypot(*along.T)
    with np.errstate(all="ignore"):
        part = np.clip(((pixels - a) * along).sum(axis=-1) / length**2, 0.0, 1.0)
        depth = [e.place[:, 2] for e in ends]
        part = np.where(leg, part * depth[0] / (depth[1] + part * (depth[0] - depth[1])), 0.0)
        normal = np.stack([-along[:, 1], along[:, 0]], axis=-1) / length[:, None]
    view = cameras.seen(which, near + part[:, None] * (far - near))
    allowed = np.hypot(off_mm, 4.0) * np.exp(-cameras.numbers[which, 5])  # px
    off = (view.pixels - pixels) / allowed[:, None]
    pull = np.where(leg[:, None, None], normal[:, :, None] * normal[:, None, :], np.eye(2))
    off = (pull @ off[..., None])[..., 0]
    off = np.where(view.behind[:, None], 30.0, off)
    if not slopes:
        return off.reshape(count, many, 2), np.empty(0)
    slope = pull @ view.by_camera()[:, :, :7] / allowed[:, None, None]
    slope[view.behind] = 0.0
    return np.nan_to_num(off).reshape(count, many, 2), np.nan_to_num(slope).reshape(count, many, 2, 7)


def _best(cameras: Cameras, cost: Array) -> list[Candidate]:
    """The best candidates that differ from each other."""
    out: list[Candidate] = []
    for k in np.argsort(cost):
        turn = cameras.turn[k]
        near = [np.degrees(np.arccos(np.clip((np.trace(turn @ c.turn.T) - 1.0) / 2.0, -1.0, 1.0))) for c in out]
        if np.isfinite(cost[k]) and all(angle > APART_DEG for angle in near):
            out.append(Candidate(turn, cameras.numbers[k], float(cost[k])))
        if len(out) == KEPT:
            break
    return out
