"""What a scene is made of: rods, balls, plates, coils, wheels, lines, markers and labels, as frozen data.

All places and lengths are in mm in the vehicle frame (x forward, y left, z up). A primitive has a `name` that no other
of its scene has and that stays the same from one position to the next, so that a picture can be moved in place.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.car import MeshFile
from kin3d_viewer.level import Level

Array = NDArray[np.float64]
MarkerShape = Literal["ball", "cube", "diamond", "cross"]


@dataclass(frozen=True, slots=True, eq=False)
class Primitive:
    """What every primitive has.

    Attributes
    ----------
    name : str
        ``side/part/piece``; unique in the scene.
    role : str
        Key of `kin3d_viewer.style.ROLES`: gives colour, dash and layer.
    """

    name: str
    role: str


@dataclass(frozen=True, slots=True, eq=False)
class Rod(Primitive):
    """A round bar between two places."""

    start: Array
    end: Array
    radius_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class Ball(Primitive):
    """A joint; its shape tells what it is joined to.

    Attributes
    ----------
    shape : {"ball", "cube", "diamond", "cross"}
        Cube: on the chassis; diamond: on the rack; ball: between moving bodies; cross: a constructed point.
    point : str
        Name of the pickup point, empty for a constructed one.
    """

    centre: Array
    radius_mm: float
    shape: MarkerShape
    point: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Plate(Primitive):
    """A flat or folded sheet of triangles that share their first corner; `corners` has the shape (k, 3)."""

    corners: Array


@dataclass(frozen=True, slots=True, eq=False)
class Coil(Primitive):
    """A coil spring between two places."""

    start: Array
    end: Array
    radius_mm: float
    turns: int = 7


@dataclass(frozen=True, slots=True, eq=False)
class Wheel(Primitive):
    """A tyre with its rim; `axis` is the unit spin axis, outboard."""

    centre: Array
    axis: Array
    radius_mm: float
    width_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class Line(Primitive):
    """A line through places, shape (k, 3); dashed where the role says so."""

    places: Array


@dataclass(frozen=True, slots=True, eq=False)
class Sheet(Primitive):
    """A plane piece of ground: four corners, shape (4, 3)."""

    corners: Array


@dataclass(frozen=True, slots=True, eq=False)
class Solid(Primitive):
    """A mesh from a file, moved with its body: place = turn @ vertex + shift."""

    mesh: MeshFile
    turn: Array
    shift: Array


@dataclass(frozen=True, slots=True, eq=False)
class Label(Primitive):
    """A text with a leader to its place.

    Attributes
    ----------
    rank : int
        Labels of low rank are placed first.
    start : ndarray, shape (3,), or None
        Where the line to the place begins; a place outside the picture is labelled where the line leaves it.
    far : str
        What is added to the text there.
    """

    text: str
    place: Array
    rank: int = 0
    start: Array | None = None
    far: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """Everything that is seen of one position.

    Attributes
    ----------
    items : tuple of Primitive
    centre : ndarray, shape (3,)
        Where a camera looks.
    size_mm : float
        Radius of the ball about `centre` that holds the mechanism, construction lines apart.
    level : Level
        How it lies in the picture.
    """

    items: tuple[Primitive, ...]
    centre: Array = field(default_factory=lambda: np.zeros(3))
    size_mm: float = 1000.0
    level: Level = field(default_factory=Level)

    def __getitem__(self, name: str) -> Primitive:
        for item in self.items:
            if item.name == name:
                return item
        raise KeyError(name)

    def of(self, kind: type) -> list[Primitive]:
        """All primitives of a kind, in order."""
        return [p for p in self.items if isinstance(p, kind)]


def place(values: Sequence[float] | Array) -> Array:
    """Return three coordinates as an array."""
    return np.asarray(values, dtype=float)
