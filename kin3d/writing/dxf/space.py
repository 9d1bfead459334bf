"""The linkage in space, in the vehicle frame: bodies, wheels and springs by layers, points as blocks with their names.

The points of the side that the car file gives, in the design position, stand on a layer that is on; those of the other
side and of other travels stand on frozen layers with the same names, so that a reader meets every name once.
"""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.design import SIDES
from kin3d.linkage.layout import WHEEL_AXIS, WHEEL_CENTRE, Linkage
from kin3d.solve.model import AxleModel
from kin3d.studies.poses import AxlePoses, Pose
from kin3d.writing.dxf.document import (
    COLOURS,
    FAINT,
    INK,
    POINT_BLOCK,
    STYLE,
    SYMBOL_MM,
    layer,
    state_name,
    state_words,
)

if TYPE_CHECKING:
    from ezdxf.document import Drawing

Array = NDArray[np.float64]
NAME_MM = 27.0  # height of a point's name
ROUND = 36  # sides of half a wheel's outline
Segment = tuple[str, str]


def segments(linkage: Linkage) -> dict[str, list[Segment]]:
    """Lines that stand for each body: a link, an arm's two legs, an upright's spokes, a rocker's edges."""
    out: dict[str, list[Segment]] = {}
    for body, points in linkage.bodies.items():
        held = [p for p in points if p in linkage.fixed]
        free = [p for p in points if p not in linkage.fixed and p not in (WHEEL_CENTRE, WHEEL_AXIS)]
        if body == linkage.wheel_body:
            out[body] = [(WHEEL_CENTRE, p) for p in (*held, *free)]
        elif len(held) >= 2 and free:
            out[body] = [(h, f) for f in free for h in held] + list(combinations(free, 2))
        elif len(points) > 1:
            out[body] = list(combinations(points, 2))
    if linkage.spring is not None:
        out["spring"] = [linkage.spring]
    return out


def wheel_outline(centre: Array, spin: Array, radius_mm: float) -> Array:
    """The wheel's disc as two open halves, shape (2, corners, 3): a closed ring would pass for a point's circle."""
    up = np.array([0.0, 0.0, 1.0]) - spin[2] * spin
    up /= np.linalg.norm(up)
    turn = np.linspace(0.0, np.pi, ROUND + 1)[:, None] + np.array([0.0, np.pi])[:, None, None]
    halves: Array = centre + radius_mm * (np.cos(turn) * up + np.sin(turn) * np.cross(spin, up))
    return halves


def part_colours(linkage: Linkage) -> dict[str, int]:
    """Colour number of each body and of the spring."""
    return {body: COLOURS[k % len(COLOURS)] for k, body in enumerate(segments(linkage))}


def draw_space(doc: Drawing, axle: AxlePoses) -> None:
    """Draw all poses; the design position carries the names that are on."""
    design = axle.design
    for pose in axle.poses:
        state, line = state_name(pose), "CONTINUOUS" if pose is design else "DASHED2"
        for k, side in enumerate(SIDES):
            _bodies(doc, axle.model, pose, k, (state, side[0]), line)
            if not (pose is design and side == axle.model.axle.side):
                name = layer(doc, state, side[0], "points", colour=FAINT, frozen=True)
                _points(doc, axle.model.linkage, pose, k, name, None)
    own = SIDES.index(axle.model.axle.side)
    name = layer(doc, "DESIGN", SIDES[own][0], "points", colour=INK)
    _points(doc, axle.model.linkage, design, own, name, _name_places(axle.model.linkage, design.places[own]))


def _bodies(doc: Drawing, model: AxleModel, pose: Pose, side: int, words: tuple[str, str], line: str) -> None:
    space, linkage = doc.modelspace(), model.linkage
    at = dict(zip(linkage.points, pose.places[side], strict=True))
    for body, colour in part_colours(linkage).items():
        on = layer(doc, *words, body, colour=colour, linetype=line)
        for a, b in segments(linkage)[body]:
            space.add_line(at[a], at[b], dxfattribs={"layer": on})
    if model.axle.loaded_radius_mm is not None:
        on = layer(doc, *words, "wheel", colour=FAINT, linetype=line)
        for half in wheel_outline(at[WHEEL_CENTRE], pose.spin[side], model.axle.loaded_radius_mm):
            space.add_polyline3d([tuple(p) for p in half], dxfattribs={"layer": on})


def _points(doc: Drawing, linkage: Linkage, pose: Pose, side: int, on: str, names_at: dict[str, Array] | None) -> None:
    """Block references with the attributes STATE (not shown) and POINT (shown at `names_at`, with a line to it)."""
    space = doc.modelspace()
    for name, place in zip(linkage.points, pose.places[side], strict=True):
        x, y, z = (float(c) for c in place)
        block = space.add_blockref(POINT_BLOCK, (x, y, z), dxfattribs={"layer": on})
        for tag, words in (("POINT", name), ("STATE", f"{SIDES[side]}, {state_words(pose)}")):
            attribute = block.add_attrib(tag, words, (x, y, z), {"layer": on, "style": STYLE, "height": SYMBOL_MM})
            attribute.is_invisible = True
        if names_at:
            _name(doc, place, names_at[name], name)


def _name(doc: Drawing, place: Array, end: Array, name: str) -> None:
    """The name as a text, for programs that do not show attributes, and a thin line from the point to it."""
    from ezdxf.enums import TextEntityAlignment

    ahead = bool(end[0] > place[0])
    aim = end - np.array([0.4 * NAME_MM if ahead else -0.4 * NAME_MM, 0.0, 0.0])
    doc.modelspace().add_line(tuple(place), tuple(aim), dxfattribs={"layer": layer(doc, "names", colour=FAINT)})
    text = doc.modelspace().add_text(
        name, height=NAME_MM, dxfattribs={"layer": layer(doc, "names"), "style": STYLE, "color": INK}
    )
    side = TextEntityAlignment.MIDDLE_LEFT if ahead else TextEntityAlignment.MIDDLE_RIGHT
    text.set_placement(tuple(end), align=side)


def _name_places(linkage: Linkage, places: Array) -> dict[str, Array]:
    """Where names stand: in two columns ahead of and behind the linkage, in the order of y, each at its point's z."""
    x, y, z = places.T
    ahead, order = np.argsort(np.argsort(x)) >= len(x) // 2, np.argsort(-y)
    out = {}
    for front in (True, False):
        column = [k for k in order if ahead[k] == front]
        middle, step = float(np.mean(y[column])), 1.7 * NAME_MM
        for row, k in enumerate(column):
            name = linkage.points[k]
            across = x.max() + 320.0 if front else x.min() - 320.0
            out[name] = np.array([across, middle + step * ((len(column) - 1) / 2.0 - row), z[k]])
    return out
