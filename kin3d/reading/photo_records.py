"""What a file of photographs and its table of marks say, as frozen data; `kin3d.reading.photographs` makes it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding
from kin3d.linkage.car import PointTable
from kin3d.linkage.layout import WHEEL_AXIS, WHEEL_CENTRE, Layout, Linkage
from kin3d.linkage.names import AxleName, Side
from kin3d.linkage.resolve import points_needed, resolve

MarkKind = Literal["point", "leg", "rim", "contact"]
KINDS: tuple[MarkKind, ...] = ("point", "leg", "rim", "contact")
SIGMA_PX: dict[MarkKind, float] = {"point": 2.0, "leg": 1.5, "rim": 1.5, "contact": 5.0}
SHARES = ("tyre", "rim", "wheelbase", "joint marking")


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure with its standard deviation.

    Attributes
    ----------
    value, sigma : float
        In the unit of the key's name.
    stated : bool
        Whether the file says it; else it is assumed.
    place : str
        Where it stands, for messages; for an assumption, what it follows from.
    """

    value: float
    sigma: float
    stated: bool = False
    place: str = ""


@dataclass(frozen=True, slots=True)
class Mark:
    """One mark in a photograph.

    Attributes
    ----------
    photo : str
    kind : {"point", "leg", "rim", "contact"}
    name : str
        The point; for a leg its inboard end; ``"front"`` or ``"rear"`` for rims and contacts.
    side : {"left", "right"}
        Side of the car.
    u, v : float
        px to the right and down from the first pixel's corner, in the picture as shown.
    sigma_px : float
    row : int
        Row of the table.
    note : str
    """

    photo: str
    kind: MarkKind
    name: str
    side: Side
    u: float
    v: float
    sigma_px: float
    row: int = 0
    note: str = ""

    def __str__(self) -> str:
        what = "wheel " if self.kind in ("rim", "contact") else ""
        return f"{self.kind} of the {self.side} {self.name} {what}in {self.photo}".replace("  ", " ")


@dataclass(frozen=True, slots=True)
class Photo:
    """One photograph.

    Attributes
    ----------
    name : str
    file : pathlib.Path or None
    size_px : (float, float)
        Width and height as shown.
    focal_px : Figure
        Its sigma is relative: of the logarithm.
    centre_sigma_px : float
        Of the principal point, about the middle of the picture.
    distortion_sigma : float
        Of k₁ over the half diagonal.
    travel_mm, rear_travel_mm, rack_mm : Figure
        The car in this picture against its design position.
    sha256 : str
        Of the picture's file; empty where it is not at hand.
    sigma_px : mapping of str to float
        Deviation of a mark of each kind, where the mark has none of its own.
    drawing : bool
        Whether it is a scanned sheet's view, seen straight on without a lens.
    px_per_mm : Figure or None
        Of a drawing whose scale is known: pixels for one mm of the car.
    axes : tuple of (int, float) or None
        Of a drawing, which axes of the car run right and up, 0 to 2 with their signs.
    """

    name: str
    file: Path | None
    size_px: tuple[float, float]
    focal_px: Figure
    centre_sigma_px: float
    distortion_sigma: float
    travel_mm: Figure
    rear_travel_mm: Figure
    rack_mm: Figure
    sha256: str = ""
    sigma_px: Mapping[MarkKind, float] = field(default_factory=lambda: dict(SIGMA_PX))
    drawing: bool = False
    px_per_mm: Figure | None = None
    axes: tuple[tuple[int, float], tuple[int, float]] | None = None


@dataclass(frozen=True, slots=True)
class CarPhotos:
    """The photographs of one car, their marks, and what else is known of it.

    Attributes
    ----------
    title : str
    source : pathlib.Path
        The file of photographs.
    layout : Layout
    side : {"left", "right"}
        The side that the point table is made for.
    axle : {"front", "rear"}
        The axle whose points are looked for.
    template : mapping of point to ndarray, shape (3,)
        Where to start, vehicle frame, left side, mm.
    box_mm, joint_mm, asymmetry_mm : Figure
        `value` is the deviation; sigma is 0.
    known : mapping of str to Figure
        By key: mm and degrees.
    photos : tuple of Photo
    marks : tuple of Mark
    marks_file : pathlib.Path
    same_as : CarPhotos or None
        The other car, with which it is adjusted.
    shares : frozenset of str
        What it shares with it, of `SHARES`.
    findings : tuple of Finding
        Warnings, and notes of what was assumed.
    layout_keys : mapping of str to str
        Every key that the layout adds and the file gives, ``rod_on`` among them.
    """

    title: str
    source: Path
    layout: Layout
    side: Side
    axle: AxleName
    template: Mapping[str, NDArray[np.float64]]
    box_mm: Figure
    joint_mm: Figure
    asymmetry_mm: Figure
    known: Mapping[str, Figure]
    photos: tuple[Photo, ...]
    marks: tuple[Mark, ...]
    marks_file: Path
    same_as: CarPhotos | None = None
    shares: frozenset[str] = frozenset()
    findings: tuple[Finding, ...] = field(default=())
    layout_keys: Mapping[str, str] = field(default_factory=dict)

    def linkage(self) -> Linkage:
        """What is located: the layout with the parts that the file calls for."""
        return resolve(self.layout, points_needed(self.layout, self.layout_keys), self.layout_keys)

    def cars(self) -> Iterator[CarPhotos]:
        """This car and those that it shares something with, the farthest first."""
        if self.same_as is not None:
            yield from self.same_as.cars()
        yield self


@dataclass(frozen=True, slots=True)
class PhotoPoints(PointTable):
    """Points that photographs give: those of the template until they are adjusted (`pending`).

    Attributes
    ----------
    photographs : CarPhotos
    located_mm : ndarray, shape (points, 3), or None
        Where the adjustment put the points; a point that stands elsewhere has been moved since.
    figures : mapping of str to float
        Figures of the car file that the adjustment gave, by dotted key.
    """

    photographs: CarPhotos = None  # type: ignore[assignment]
    located_mm: NDArray[np.float64] | None = None
    figures: Mapping[str, float] = field(default_factory=dict)

    @property
    def pending(self) -> bool:
        """Whether they are not adjusted yet."""
        return self.located_mm is None

    @property
    def own_side(self) -> Side:
        """The side that the photographs' file names."""
        return self.photographs.side

    @staticmethod
    def of(photographs: CarPhotos) -> PhotoPoints:
        """The points that photographs are to give, at their start."""
        template, names = photographs.template, photographs.linkage().points
        camber, toe = (np.radians(photographs.known[k].value) for k in ("camber_deg", "toe_deg"))
        spin = np.array([np.sin(toe) * np.cos(camber), np.cos(toe) * np.cos(camber), -np.sin(camber)])
        places = {**template, WHEEL_AXIS: template[WHEEL_CENTRE] + 100.0 * spin}
        mirror = np.array([1.0, 1.0 if photographs.side == "left" else -1.0, 1.0])
        return PhotoPoints(
            photographs.source,
            names,
            np.array([places[n] for n in names]) * mirror,
            np.zeros((len(names), 3)),
            tuple(f"{photographs.source}, {n}" for n in names),
            ("",) * len(names),
            photographs=photographs,
        )
