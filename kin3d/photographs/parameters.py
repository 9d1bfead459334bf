"""The numbers that an adjustment finds, what is known of each beforehand, and how cars and pictures share them.

A *parameter* is one number with the value and deviation that figures, template and defaults give it. A *lane* is one
side of the car in one photograph. Everything that a lane sees of the car is a sum of parameters with constant
factors, so that one matrix a lane leads from parameters to lanes; only the height of the wheel centre follows from
radius and camber, because the ground is where the tyres stand in the design position.

The right side is treated as a left side in its mirror image.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from math import atan, inf, radians
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.layout import WHEEL_CENTRE
from kin3d.photographs.camera import CAMERA
from kin3d.reading.photo_records import CarPhotos, Figure, Photo
from kin3d.solve.upright import Upright, upright_of

Array = NDArray[np.float64]
Index = NDArray[np.intp]
AXES = ("x", "y", "z")
SIDES = ("left", "right")
# what a lane sees beyond the coordinates of the points
WHEEL = ("camber", "toe", "loaded radius", "rim radius", "rim offset")
# positions in a picture: mean travel, half of left − right, and so for the rear; `steer` is that of the other axle
PICTURE = ("travel", "travel apart", "rack", "rear travel", "rear travel apart", "steer")
STRAIGHT = radians(0.2)  # how straight a sheet lies on a scanner; common practice, no source
FOCAL, SEEN_FROM = "focal length", "seen from afar"  # the same number of a photograph, and of a drawing without a lens
RELATIVE = (FOCAL, "scale")  # logarithms: their deviations are shares
SHARED_BY = {
    "loaded radius": "tyre", "other loaded radius": "tyre", "rim radius": "rim", "rim offset": "rim",
    "other rim radius": "rim", "other rim offset": "rim", "wheelbase": "wheelbase",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Parameter:
    """One number of an adjustment.

    Attributes
    ----------
    name : str
        ``"lower_front x"``, ``"camber"``, ``"focal length"``.
    owner : str
        The car's or the photograph's name.
    group : str
        ``"points"``, ``"wheels"``, ``"other side"``, ``"joints"``, ``"camera"``, ``"position"``.
    value, sigma : float
        What is known beforehand, mm, rad or px; sigma is infinite where nothing is, 0 for a number that is held.
    scale : float
        A change that matters.
    stated : bool
        Whether the user's file gives it.
    place : str
        Where it is said, or what it is assumed from.
    """

    name: str
    owner: str
    group: str
    value: float
    sigma: float
    scale: float
    stated: bool = False
    place: str = ""

    def __str__(self) -> str:
        return f"{self.name} ({self.owner})"

    @property
    def measurable(self) -> bool:
        """Whether a person can measure it: a figure of wheels, a position, a lens, the scale that a drawing says."""
        told = self.name == "scale" and self.stated
        return self.group in ("wheels", "position") or self.name in (FOCAL, "wheel_centre y") or told


@dataclass(frozen=True, slots=True)
class CarParameters:
    """Where one car's parameters stand.

    Attributes
    ----------
    points, right, joints : ndarray of int, shape (points, 3)
        Coordinates of the left side, deviation of the right side's mirror image, deviation of marked joints; −1 where
        there is no parameter.
    wheel, other_wheel : ndarray of int, shape (5,)
        In the order of `WHEEL`.
    other_centre : ndarray of int, shape (2,)
        Wheelbase, and y of the other axle's wheel centre.
    right_angles : ndarray of int, shape (2,)
    right_other : ndarray of int, shape (3,)
    """

    points: Index
    right: Index
    joints: Index
    wheel: Index
    other_wheel: Index
    other_centre: Index
    right_angles: Index
    right_other: Index


@dataclass(frozen=True, slots=True)
class Parameters:
    """All parameters of cars that are adjusted together.

    Attributes
    ----------
    cars : tuple of CarPhotos
    uprights : tuple of Upright
    photos : tuple of (int, Photo)
        Every photograph with the number of its car.
    listed : tuple of Parameter
    blocks : tuple of CarParameters
    pictures : ndarray of int, shape (photographs, 16)
        Parameters of each photograph: `CAMERA`, then `PICTURE`.
    """

    cars: tuple[CarPhotos, ...]
    uprights: tuple[Upright, ...]
    photos: tuple[tuple[int, Photo], ...]
    listed: tuple[Parameter, ...]
    blocks: tuple[CarParameters, ...]
    pictures: Index

    @property
    def value(self) -> Array:
        """What is known beforehand, shape (parameters,)."""
        return np.array([p.value for p in self.listed])

    @property
    def sigma(self) -> Array:
        """Its standard deviation."""
        return np.array([p.sigma for p in self.listed])

    @property
    def scale(self) -> Array:
        """A change of each that matters."""
        return np.array([p.scale for p in self.listed])

    @property
    def front(self) -> tuple[bool, ...]:
        """Whether the axle looked for is the front one, car by car."""
        return tuple(c.axle == "front" for c in self.cars)


@dataclass(slots=True)
class _Listing:
    """Collects parameters; what cars share is listed once."""

    found: list[Parameter] = field(default_factory=list)

    def add(self, name: str, owner: str, group: str, figure: Figure, scale: float = 0.0) -> int:
        size = scale or (figure.sigma if 0.0 < figure.sigma < inf else 1.0)
        self.found.append(Parameter(name, owner, group, figure.value, figure.sigma, size, figure.stated, figure.place))
        return len(self.found) - 1


def united(chosen: Iterable[CarPhotos]) -> tuple[CarPhotos, ...]:
    """Cars and those that they share something with, each file once, the other car before the one that names it."""
    found: dict[Path, CarPhotos] = {}
    for car in chosen:
        for one in car.cars():
            found.setdefault(one.source.resolve(), one)
    return tuple(found.values())


def parameters_of(*chosen: CarPhotos) -> Parameters:
    """List the parameters of cars, with those of the cars that they share something with."""
    cars = united(chosen)
    files = [c.source.resolve() for c in cars]
    uprights = tuple(upright_of(c.linkage()) for c in cars)
    listing = _Listing()
    blocks: list[CarParameters] = []
    for car, upright in zip(cars, uprights, strict=True):
        other = None if car.same_as is None else files.index(car.same_as.source.resolve())
        marked: dict[str, Index] = {}
        if other is not None and "joint marking" in car.shares:
            marked = dict(zip(uprights[other].points, blocks[other].joints, strict=True))
        blocks.append(_block(car, upright, listing, None if other is None else blocks[other], marked))
    photos = tuple((k, p) for k, c in enumerate(cars) for p in c.photos)
    pictures = np.array([_picture(p, cars[k], listing) for k, p in photos], dtype=np.intp).reshape(-1, 16)
    return Parameters(cars, uprights, photos, tuple(listing.found), tuple(blocks), pictures)


def _block(
    car: CarPhotos, upright: Upright, listing: _Listing, before: CarParameters | None, marked: Mapping[str, Index]
) -> CarParameters:
    def known(key: str, factor: float = 1.0) -> Figure:
        f = car.known[key]
        return Figure(factor * f.value, factor * f.sigma, f.stated, f.place or key)

    def assumed(value: float, sigma: float, place: str) -> Figure:
        return Figure(value, sigma, False, place)

    box, apart = car.box_mm, car.asymmetry_mm
    off = assumed(0.0, car.joint_mm.value, "joint_mm")
    width = box.value / 3.0**0.5  # a template is somewhere in the box, no place of it likelier than another
    count = len(upright.points)
    points = np.full((count, 3), -1, dtype=np.intp)
    front = car.axle == "front"
    for i, name in enumerate(upright.points):
        for k, axis in enumerate(AXES):
            figure = Figure(float(car.template[name][k]), width, False, "template within box_mm")
            if name == WHEEL_CENTRE and (k == 2 or (k == 0 and front)):
                continue  # the ground, and the front axle, are where the frame stands
            if name == WHEEL_CENTRE and k == 0:
                continue  # at minus the wheelbase
            if name == WHEEL_CENTRE and k == 1:
                figure = known("half_track_mm")
            points[i, k] = listing.add(f"{name} {axis}", car.title, "points", figure)
    right = np.array(
        [[listing.add(f"right {n} {a}", car.title, "other side", assumed(0.0, apart.value, "asymmetry_mm"))
          for a in AXES] for n in upright.points]
    )  # fmt: skip
    # the other side's angles: as if the rim's edges were off by the asymmetry
    lean = atan(apart.value / car.known["rim_diameter_mm"].value)
    angles = [listing.add(f"right {w}", car.title, "other side", assumed(0.0, lean, "asymmetry_mm")) for w in WHEEL[:2]]
    other = [
        listing.add(f"right other wheel_centre {a}", car.title, "other side", assumed(0.0, apart.value, "asymmetry_mm"))
        for a in AXES
    ]

    def wheel(prefix: str, word: str) -> list[int]:
        figures = (
            known(f"{prefix}camber_deg", radians(1.0)), known(f"{prefix}toe_deg", radians(1.0)),
            known(f"{prefix}loaded_radius_mm"), known(f"{prefix}rim_diameter_mm", 0.5), known(f"{prefix}rim_offset_mm"),
        )  # fmt: skip
        return [once(f"{word}{w}", f) for w, f in zip(WHEEL, figures, strict=True)]

    def once(name: str, figure: Figure) -> int:
        if before is not None and SHARED_BY.get(name) in car.shares:
            return _shared(before, name)
        return listing.add(name, car.title, "wheels", figure)

    own, others = wheel("", ""), wheel("other_", "other ")
    centre = [once("wheelbase", known("wheelbase_mm")), once("other wheel_centre y", known("other_half_track_mm"))]
    joints = []
    for name in upright.points:
        new = [] if name in marked else [listing.add(f"marked {name} {a}", car.title, "joints", off) for a in AXES]
        joints.append(marked.get(name, new))
    arrays = (np.array(v, dtype=np.intp) for v in (right, joints, own, others, centre, angles, other))
    return CarParameters(points, *arrays)


def _shared(before: CarParameters, name: str) -> int:
    if name == "wheelbase":
        return int(before.other_centre[0])
    wheel = before.other_wheel if name.startswith("other ") else before.wheel
    return int(wheel[WHEEL.index(name.removeprefix("other "))])


def _picture(photo: Photo, car: CarPhotos, listing: _Listing) -> list[int]:
    nothing = Figure(0.0, inf)
    middle = (0.5 * photo.size_px[0], 0.5 * photo.size_px[1])
    focal = Figure(
        float(np.log(photo.focal_px.value)), photo.focal_px.sigma, photo.focal_px.stated, photo.focal_px.place
    )
    scale, told = nothing, photo.px_per_mm
    if told is not None:
        scale = Figure(-float(np.log(told.value)), told.sigma / told.value, told.stated, told.place)
    turned = nothing if photo.axes is None else Figure(0.0, STRAIGHT, True, "straight on")
    figures = [(turned, 0.01)] * 3 + [(nothing, 10.0)] * 2 + [(scale, 0.01), (focal, 0.0)]
    figures += [(Figure(m, photo.centre_sigma_px, False, "principal point"), 0.0) for m in middle]
    figures += [(Figure(0.0, photo.distortion_sigma, False, "k₁"), 0.0)]
    names = [SEEN_FROM if photo.drawing and n == FOCAL else n for n in CAMERA]
    out = [listing.add(n, photo.name, "camera", f, s) for n, (f, s) in zip(names, figures, strict=True)]
    front, rear = photo.travel_mm, photo.rear_travel_mm
    if car.axle == "rear":
        front, rear = rear, front  # `travel` is that of the axle looked for
    # left and right share the stated figure and differ by 0.4 of its sigma
    steered = Figure(0.0, radians(15.0) if car.axle == "rear" else 0.0)
    positions = (
        front, Figure(0.0, 0.2 * front.sigma, False, front.place),
        photo.rack_mm if car.axle == "front" else Figure(0.0, 0.0),
        rear, Figure(0.0, 0.2 * rear.sigma, False, rear.place), steered,
    )  # fmt: skip
    return out + [listing.add(n, photo.name, "position", f) for n, f in zip(PICTURE, positions, strict=True)]
