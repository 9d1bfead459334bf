"""Cameras: the engineering views (parallel) and the perspective one, by name."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kin3d_viewer.geometry import strokes
from kin3d_viewer.primitives import Array, Ball, Line, Scene, Sheet, Wheel


@dataclass(frozen=True, slots=True)
class ViewPoint:
    """From where a scene is seen.

    Attributes
    ----------
    towards : tuple of float
        From the scene's centre to the camera, vehicle frame.
    up : tuple of float
    parallel : bool
    about : str
        For menus and help.
    """

    towards: tuple[float, float, float]
    up: tuple[float, float, float]
    parallel: bool
    about: str


VIEWS = {
    "front": ViewPoint((1.0, 0.0, 0.0), (0.0, 0.0, 1.0), True, "from ahead; the car's left is on the right"),
    "side": ViewPoint((0.0, 1.0, 0.0), (0.0, 0.0, 1.0), True, "from the left; forward is to the left"),
    "plan": ViewPoint((0.0, 0.0, 1.0), (1.0, 0.0, 0.0), True, "from above; forward is up"),
    "perspective": ViewPoint((0.86, 0.62, 0.50), (0.0, 0.0, 1.0), False, "from ahead, left and above"),
}
ANGLE_DEG = 22.0  # opening of the perspective camera


@dataclass(frozen=True, slots=True, eq=False)
class Framing:
    """A camera: its place, the place it looks at, up, and half the height that it sees (parallel views), mm."""

    place: Array
    target: Array
    up: Array
    parallel: bool
    half_height_mm: float


def framing(
    view: str, places: Array, aspect: float, margin: float = 1.08, free: float = 1.0
) -> Framing:
    """Camera of a view that sees all places.

    Parameters
    ----------
    places : ndarray, shape (n, 3)
        What must be in the picture, in its own frame (`kin3d_viewer.level`), mm.
    aspect : float
        Width over height of the picture.
    margin : float
        How much larger the picture is than what must be in it.
    free : float
        Part of the height, in its middle, that the places may fill; the rest is for captions.
    """
    chosen = VIEWS[view]
    back, up = np.array(chosen.towards), np.array(chosen.up)
    back = back / np.linalg.norm(back)
    right = np.cross(up, back)
    right /= np.linalg.norm(right)
    upright = np.cross(back, right)
    across, high, deep = places @ right, places @ upright, places @ back
    middle = 0.5 * (across.min() + across.max()) * right + 0.5 * (high.min() + high.max()) * upright
    middle = middle + 0.5 * (deep.min() + deep.max()) * back
    half = margin * 0.5 * max(np.ptp(high) / free, np.ptp(across) / aspect)
    if chosen.parallel:
        return Framing(middle + 6000.0 * back, middle, up, True, half)
    slope = np.tan(np.radians(0.5 * ANGLE_DEG))
    local = (places - middle) @ np.column_stack([right, upright / free, back])
    away = _distance(local, slope, aspect) * margin
    return Framing(middle + away * back, middle, up, False, half)


def _distance(local: Array, slope: float, aspect: float) -> float:
    """Distance at which a perspective camera sees every place, given in its own axes (right, up, back)."""
    needed = np.maximum(np.abs(local[:, 0]) / aspect, np.abs(local[:, 1])) / slope + local[:, 2]
    return float(needed.max())


def seen_places(scene: Scene, focus: str = "axle") -> Array:
    """Corners of what a picture must hold: the whole axle, or one side of it; shape (n, 3)."""
    out: list[Array] = []
    for item in scene.items:
        if focus != "axle" and not item.name.removeprefix("A/").removeprefix("B/").startswith(focus):
            continue
        if isinstance(item, Wheel):
            out += _wheel_corners(item)
        elif isinstance(item, Ball) and item.point:
            out.append(item.centre)
        elif isinstance(item, Line) and item.role == "steering axis":
            out += list(item.places)
        elif isinstance(item, Sheet):
            out += list(item.corners)
    return np.array(out) if out else scene.centre + scene.size_mm * np.vstack([np.eye(3), -np.eye(3)])


def _wheel_corners(wheel: Wheel) -> list[Array]:
    rings = np.concatenate(strokes(wheel))
    # the rings lie a little inside the tread
    return list(wheel.centre + (rings - wheel.centre) * 1.08)
