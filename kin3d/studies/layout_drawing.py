"""A layout as a picture: where each point is on the car, with its name, seen from ahead on the left and from above."""

from __future__ import annotations

from collections.abc import Iterator
from importlib.resources import as_file, files
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.across import spanning
from kin3d.linkage.design import MIRROR, side_coordinates
from kin3d.linkage.layout import WHEEL_AXIS, WHEEL_CENTRE, Layout, Linkage
from kin3d.linkage.resolve import resolve
from kin3d.reading.car import read_car
from kin3d.studies.wheel_construction import MANY, DrawnWheel, drawn_wheel
from kin3d.writing.drawing import Drawing, Frame, Layer, Plane
from kin3d.writing.drawing_picture import write_picture
from kin3d.writing.placing import Placer

Array = NDArray[np.float64]
SCALE, WIDE_SCALE = 5.0, 8.0  # of one side, and of both
WHEEL_SHARE = 0.97  # of the wheel centre's height: how large the wheel is drawn
AXIS_MM = 100.0
AROUND, ABOVE = np.radians(58.0), np.radians(24.0)  # the eye, from ahead towards the left, and over the ground
ROOM = np.array([34.0, 12.0])  # for names about the axle, mm on paper
NAME_SIZE = 1.0
LAYERS = {
    "far": Layer("mid", "solid", 0.7),
    "links": Layer("ink", "solid", 1.8),
    "wheel": Layer("mid", "solid", 0.7),
    "guides": Layer("mid", "short", 0.9),
    "words": Layer("ink", "solid", 0.6),
}


def draw_layout(layout: Layout, path: Path) -> None:
    """Draw an invented car of a layout: the left side and what stands once with names, the other side thin.

    Parameters
    ----------
    path : pathlib.Path
        ``.svg``, ``.pdf`` or ``.png``.
    """
    linkage, places = example(layout)
    drawing, frame = layout_sheet(linkage, places)
    once = linkage.across.there
    said = "the left side and what stands once in the car; the right side thin" if once else "the left side"
    dashed = "; dashed: what points slide on or keep their distance from" if linkage.sliders or linkage.guides else ""
    subtitle = f"Seen from ahead and above, the car's nose to the left: {said}{dashed}."
    write_picture(drawing, frame, path, f"Layout: {layout.name}", subtitle, (), "--plot")


def layout_sheet(linkage: Linkage, places: Array) -> tuple[Drawing, Frame]:
    """The drawing of a linkage's left side in its design position, and what it takes up.

    Parameters
    ----------
    places : ndarray, shape (points, 3)
        In the order of ``linkage.points``, mm.
    """
    stands = np.array([p in linkage.across.points for p in linkage.points])
    opposite = np.where(stands[:, None], places, places * MIRROR)
    wheel = drawn_wheel(linkage, places, opposite, "left", 0.0, None)
    scale = WIDE_SCALE if linkage.across.there else SCALE
    drawing, plane = Drawing(scale, LAYERS), _seen_from_ahead()
    rim = wheel.rim(WHEEL_SHARE * float(wheel.centre[2]))
    rims = [rim, rim * MIRROR] if linkage.across.there else [rim]
    every = plane.flat(np.concatenate([*_lines(wheel), *_far(linkage, wheel), *rims, *_guides(linkage, wheel)]))
    frame = Frame(every.min(axis=0) - ROOM * scale, every.max(axis=0) + ROOM * scale)
    for one in rims:
        drawing.path("wheel", plane.flat(one), closed=True)
    for line in _far(linkage, wheel):
        drawing.path("far", plane.flat(line))
    for path_of in _guides(linkage, wheel):
        drawing.path("guides", plane.flat(path_of), closed=len(path_of) > 2)
    for body in wheel.bodies:
        if body.role != "upright" and 2 < len(body.places) < MANY:
            drawing.path("links", plane.flat(body.places), closed=True, width=0.0, fill=body.part, tint=0.16)
        for line in body.lines:
            drawing.path("links", plane.flat(line), colour=body.part)
    named = {p: at for p, at in wheel.points.items() if p != WHEEL_AXIS}
    for at in named.values():
        drawing.mark("links", plane.flat(at[None])[0], "joint", 0.4)
    placer = Placer(drawing, frame)
    placer.learn()
    middle = every.mean(axis=0)
    for name, at in sorted(named.items(), key=lambda item: float(-item[1][2])):
        place = plane.flat(at[None])[0]
        way = place - middle
        placer.words("words", place, name, NAME_SIZE, float(np.degrees(np.arctan2(way[1], way[0]))))
    return drawing, frame


def example(layout: Layout) -> tuple[Linkage, Array]:
    """The linkage of a layout's invented car with all parts that it has points for, and the places of the left side."""
    if not layout.demo:
        with as_file(files("kin3d") / "guide" / "new") as folder:
            axle = read_car(folder / "car.toml").axle("front")
        return axle.linkage, side_coordinates(axle, "left").design
    linkage = resolve(layout, tuple(layout.demo), {})
    at = {p: np.array(xyz, dtype=float) for p, xyz in layout.demo.items()}
    at[WHEEL_AXIS] = at[WHEEL_CENTRE] + np.array([0.0, AXIS_MM, 0.0])
    return linkage, np.stack([at[p] for p in linkage.points])


def _lines(wheel: DrawnWheel) -> Iterator[Array]:
    for body in wheel.bodies:
        yield from body.lines


def _guides(linkage: Linkage, wheel: DrawnWheel) -> Iterator[Array]:
    """Lines that points slide on, and triangles of the planes that they keep their distance from."""
    named = [s.line for s in linkage.sliders] + [g.plane for g in linkage.guides]
    for names in named:
        if all(n in wheel.points for n in names):
            yield np.stack([wheel.points[n] for n in names])


def _far(linkage: Linkage, wheel: DrawnWheel) -> Iterator[Array]:
    """Lines of the other side, where something stands once: mirror images, but for what stands once itself."""
    if not linkage.across.there:
        return
    once = [at for p, at in wheel.points.items() if p in linkage.across.points]

    def other(place: Array) -> Array:
        stands = any(np.array_equal(place, at) for at in once)
        return place if stands else place * MIRROR

    whole = spanning(linkage)
    for line in (line for body in wheel.bodies if body.name not in whole for line in body.lines):
        mirrored = np.stack([other(place) for place in line])
        if not np.array_equal(mirrored, line):
            yield mirrored


def _seen_from_ahead() -> Plane:
    eye = np.array([np.cos(ABOVE) * np.cos(AROUND), np.cos(ABOVE) * np.sin(AROUND), np.sin(ABOVE)])
    right = np.array([-np.sin(AROUND), np.cos(AROUND), 0.0])
    return Plane(np.zeros(3), np.stack([right, eye, np.cross(eye, right)]), 0)
