"""One car's construction in one picture: its lines with their bands, wheels and tubes, and what the wheels hide."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.car import Car
from kin3d.linkage.names import AxleName
from kin3d.photographs.camera import Cameras
from kin3d.photographs.hiding import hidden
from kin3d.studies import photo_lines
from kin3d.studies.photo_lines import Lines, spread_of
from kin3d.studies.photo_view import LEVEL, Band, Figure95, Hidden, OnPhoto
from kin3d.studies.uncertainty import half_width

Array = NDArray[np.float64]
STATIONS = 41  # places along a line at which its band is worked out
SEEN_END_ON = 0.35  # sine of the angle to the line of sight under which a line along the car is not drawn
ON_TUBE = np.linspace(0.0, 1.0, 25)
HALF_A_PLACE = 0.5 / 24  # of the way along a tube


@dataclass(frozen=True, slots=True)
class _Wheels:
    """The wheels as the car stands in the picture: of the axle looked for left and right, then of the other.

    Attributes
    ----------
    eye : ndarray, shape (3,)
        Where the camera stands.
    centre, axis : ndarray, shape (wheels, 3)
    radius, rim : ndarray, shape (wheels,)
    edges, tyres : ndarray, shape (wheels, n, 3)
        Edges of the rims, outlines of the tyres' middle planes.
    """

    eye: Array
    centre: Array
    axis: Array
    radius: Array
    rim: Array
    edges: Array
    tyres: Array

    @staticmethod
    def of(stands: Lines, camera: Cameras) -> _Wheels:
        turn = np.linspace(0.0, 2.0 * np.pi, 73)
        rows = []
        for wheel in stands.wheels:
            for k, mirror in enumerate(photo_lines.MIRROR):
                around = np.cos(turn)[:, None] * wheel.plane[k, 0] + np.sin(turn)[:, None] * wheel.plane[k, 1]
                tyre = (wheel.centre[k] + wheel.radius[k] * around) * mirror
                edge = wheel.edge(np.full(len(turn), k), turn)[0] * mirror
                own = (wheel.centre[k] * mirror, wheel.axis[k] * mirror, wheel.radius[k], wheel.rim[k], edge, tyre)
                rows.append(own)
        return _Wheels(camera.centres()[0], *(np.array(v) for v in zip(*rows, strict=True)))

    def hide(self, places: Array, own: int | None = None) -> Hidden:
        """Whether a wheel stands before places of shape (…, 3); `own` is the wheel whose rim they are."""
        flat = places.reshape(-1, 3)
        out = np.zeros(len(flat), dtype=bool)
        for k in range(len(self.centre)):
            if k == own:
                out |= (self.eye - flat) @ self.axis[k] < 0.0  # the face of a wheel is seen from outboard
            else:
                out |= hidden(self.eye, flat, self.centre[k], self.axis[k], self.radius[k], self.rim[k])
        return out.reshape(places.shape[:-1])


def on_photo(
    title: str, axle: AxleName, given: photo_lines.CarInPhoto, views: Cameras, car: Car | None,
    marked: Array | None = None,
) -> OnPhoto:  # fmt: skip
    """A car as it stands before cameras (as found, then off along every error), with the construction of its design.

    `marked` is from where to where its tubes are marked (`photo_lines.marked_parts`); absent: from end to end.
    """
    design = photo_lines.lines(photo_lines.at_design(given))
    stands = photo_lines.lines(photo_lines.CarInPhoto(given.upright, given.inputs, given.along[:0]))
    roll = _pixels(views, design.roll_centre[:, None])[:, 0]
    slip = spread_of(roll)
    first = Cameras(views.turn[:1], views.numbers[:1], views.reference[:1], views.half_px[:1])
    wheels = _Wheels.of(stands, first)
    near, far = np.array(given.upright.tubes).T
    ends = stands.points[0][:, near, None], stands.points[0][:, far, None]
    legs = ends[0] + ON_TUBE[:, None] * (ends[1] - ends[0])

    def seen(places: Array) -> Array:
        return _pixels(first, places.reshape(1, -1, 3)).reshape(*places.shape[:-1], 2)

    unseen = wheels.hide(legs)
    if marked is not None:
        low, high = marked[..., :1], marked[..., 1:]
        unseen |= (low - ON_TUBE > HALF_A_PLACE) | (ON_TUBE - high > HALF_A_PLACE)
    return OnPhoto(
        title=title, bands=tuple(_bands(design, views, wheels)), roll_centre=roll[0], roll_centre_cov=slip.T @ slip,
        centres=seen(design.centre[0]), contacts=seen(design.contact[0]), figures=_figures(design, axle, car),
        legs=seen(legs), legs_hidden=unseen, rims=seen(wheels.edges),
        rims_hidden=np.array([wheels.hide(edge, k) for k, edge in enumerate(wheels.edges)]), tyres=seen(wheels.tyres),
    )  # fmt: skip


def _pixels(views: Cameras, places: Array) -> Array:
    """Places of shape (sets, n, 3) through the camera of each set, shape (sets, n, 2)."""
    which = np.repeat(np.arange(len(places)), places.shape[1])
    return views.seen(which, places.reshape(-1, 3)).pixels.reshape(*places.shape[:2], 2)


def _bands(design: Lines, views: Cameras, wheels: _Wheels) -> list[Band]:
    """Arms produced to the instant centres, lines to the contact points, and the side view's line of the near side."""
    out = []
    track = float(np.linalg.norm(design.contact[0, 0] - design.contact[0, 1]))
    for k, side in enumerate(photo_lines.SIDES):
        inward = design.front[0, k, 1]
        far = float((design.centre[0, k, 1] - design.contact[0, k, 1]) / inward)
        reach = far if 0.0 < far < 2.5 * track else 2.5 * track
        named = [*design.arms.items(), ("contact line", (design.contact, design.front))]
        out += [_band(name, side, (at[:, k], way[:, k], reach), views, wheels) for name, (at, way) in named]
    eye = wheels.eye
    near = int(eye[1] < 0.0)
    sight = design.contact[0, near] - eye
    if abs(np.cross(sight / np.linalg.norm(sight), design.side[0, near])).max() > SEEN_END_ON:
        line = (design.contact[:, near], design.side[:, near], track)
        out.append(_band("side line", photo_lines.SIDES[near], line, views, wheels))
    return out


def _band(name: str, side: str, line: tuple[Array, Array, float], views: Cameras, wheels: _Wheels) -> Band:
    """A line with its band; `line` has its start and unit vector over sets, and how far it reaches, mm."""
    start, way, reach = line
    places = start[:, None] + np.linspace(0.0, reach, STATIONS)[:, None] * way[:, None]
    pixels = _pixels(views, places)
    along = np.gradient(pixels[0], axis=0)
    across = np.stack([-along[:, 1], along[:, 0]], axis=-1) / np.linalg.norm(along, axis=-1, keepdims=True)
    off = (spread_of(pixels) * across).sum(axis=-1)
    half = half_width(LEVEL) * np.sqrt((off**2).sum(axis=0))
    return Band(name, side, pixels[0], across, half, wheels.hide(places[0]))


def _figures(design: Lines, axle: AxleName, car: Car | None) -> tuple[Figure95, ...]:
    """Roll-centre height, and what the links carry of the braking forces where the car's figures allow it."""
    out = [Figure95("roll centre", "mm", float(design.height_mm[0]), spread_of(design.height_mm))]
    if car is None or (car.axle(axle).brakes or car.data.brakes) == "inboard":
        return tuple(out)
    share, base, level = car.data.front_brake_share, car.data.wheelbase_mm, car.data.cg_height_mm
    if share is not None and base is not None and level is not None:
        label, part = ("anti-dive", share) if axle == "front" else ("anti-lift", share - 1.0)
        per = 100.0 * part * base / level
        out.append(Figure95(label, "%", per * float(design.rise[0]), per * spread_of(design.rise)))
    return tuple(out)
