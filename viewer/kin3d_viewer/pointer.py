"""From the mouse to places: which point is under it, and how far a drag moves it. Pure arithmetic, no Qt."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kin3d_viewer.primitives import Array, Ball, Scene
from kin3d_viewer.snapshot import SIDES

PICK_PX = 16.0  # a click this near to a joint picks it
ALIGNED = 0.9945  # cosine within which a drag stays in a plane of two axes: 6°, as the body leans in roll
STEEP_PX = 0.02  # px of movement per mm under which an axis points at the eye and cannot be dragged along
OBLIQUE = "a drag would change all three coordinates here: take front, side or plan view, or lock an axis (X, Y, Z)"
AXES = {"x": np.array([1.0, 0.0, 0.0]), "y": np.array([0.0, 1.0, 0.0]), "z": np.array([0.0, 0.0, 1.0])}


@dataclass(frozen=True, slots=True)
class Picked:
    """A point of one side; side 0 is the left."""

    side: int
    point: str

    @property
    def name(self) -> str:
        """Name of its ball in the scene."""
        return f"{SIDES[self.side]}/{self.point}"


@dataclass(frozen=True, slots=True, eq=False)
class Eye:
    """What a drag needs of a camera.

    Attributes
    ----------
    right, up, back : ndarray, shape (3,)
        Unit vectors of the picture, `back` towards the eye.
    parallel : bool
    px_per_mm : float
        In a parallel view.
    """

    right: Array
    up: Array
    back: Array
    parallel: bool
    px_per_mm: float

    @property
    def aligned(self) -> bool:
        """Whether it looks along an axis of the car, nearly, in parallel projection."""
        return self.parallel and float(np.abs(self.back).max()) >= ALIGNED


def pick(
    scene: Scene, project: object, at: Array, movable: tuple[str, ...], near: float = PICK_PX
) -> Picked | None:
    """The movable point nearest to a place of the picture, px from the lower left corner; None when none is near.

    Parameters
    ----------
    project : callable
        Places (n, 3) to px (n, 2).
    near : float
        Px within which a point is near.
    """
    balls = [p for p in scene.items if isinstance(p, Ball) and p.point in movable and p.name.startswith(SIDES)]
    if not balls:
        return None
    places = np.array([b.centre for b in balls])
    gaps = np.linalg.norm(project(places) - at, axis=1)  # type: ignore[operator]
    gaps = np.where(np.isfinite(gaps), gaps, np.inf)
    nearest = int(np.argmin(gaps))
    if gaps[nearest] > near:
        return None
    side, point = balls[nearest].name.split("/", 1)
    return Picked(SIDES.index(side), point)


def pick_ball(scene: Scene, project: object, at: Array, near: float = PICK_PX) -> str | None:
    """Name of the ball nearest to a place of the picture, constructed places too; None when none is near."""
    balls = [p for p in scene.items if isinstance(p, Ball)]
    gaps = np.linalg.norm(project(np.array([b.centre for b in balls])) - at, axis=1)  # type: ignore[operator]
    gaps = np.where(np.isfinite(gaps), gaps, np.inf)
    nearest = int(np.argmin(gaps))
    return balls[nearest].name if gaps[nearest] <= near else None


def drag_shift(eye: Eye, moved_px: Array, lock: str, px_along: Array | None) -> Array | str:
    """How far a drag moves a point, mm; or why it does not.

    Parameters
    ----------
    moved_px : ndarray, shape (2,)
        Movement of the mouse, px, right and up.
    lock : str
        ``x``, ``y``, ``z``, or empty for the picture plane.
    px_along : ndarray, shape (2,), or None
        Px that the picture of the point moves per mm along the locked axis.
    """
    if lock:
        assert px_along is not None
        steep = float(px_along @ px_along)
        if np.sqrt(steep) < STEEP_PX:
            return f"{lock} points at the eye in this view: turn it, or lock another axis"
        found: Array = AXES[lock] * float(moved_px @ px_along) / steep
        return found
    if not eye.aligned:
        return OBLIQUE
    # in the plane of the two axes that lie in the picture, so that the point stays under the mouse
    plane = np.delete(np.eye(3), int(np.argmax(np.abs(eye.back))), axis=0)
    steps = np.linalg.solve(np.stack([plane @ eye.right, plane @ eye.up]), moved_px / eye.px_per_mm)
    flat: Array = steps @ plane
    return flat


def nudge_direction(eye: Eye, key: str) -> Array:
    """The vehicle axis nearest to the direction of a key (left, right, up, down, nearer, farther) in the picture."""
    ways = {"right": eye.right, "up": eye.up, "nearer": eye.back}
    opposite = {"left": "right", "down": "up", "farther": "nearer"}
    way = ways[key] if key in ways else -ways[opposite[key]]
    taken = [int(np.argmax(np.abs(eye.right))), -1]
    if key not in ("left", "right"):
        rest = np.abs(eye.up).copy()
        rest[taken[0]] = -1.0
        taken[1] = int(np.argmax(rest))
    number = {"left": taken[0], "right": taken[0], "up": taken[1], "down": taken[1]}.get(key)
    if number is None:
        number = 3 - taken[0] - taken[1]
    out = np.zeros(3)
    out[number] = 1.0 if way[number] >= 0 else -1.0
    return out
