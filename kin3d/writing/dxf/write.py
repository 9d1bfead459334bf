"""The whole drawing: the linkage in space in the car's own coordinates, under it a row of two views for each travel."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError
from kin3d.studies.poses import AxlePoses, Pose
from kin3d.writing.dxf.canvas import Pen
from kin3d.writing.dxf.document import VERSIONS, new_document, save, set_dimensions, state_name, state_words
from kin3d.writing.dxf.front import draw_front, front_frame
from kin3d.writing.dxf.plane import Frame
from kin3d.writing.dxf.side import draw_side, side_frame
from kin3d.writing.dxf.space import draw_space
from kin3d.writing.files import check_place

if TYPE_CHECKING:
    from ezdxf.document import Drawing

Array = NDArray[np.float64]
TEXT_MM = 34.0  # height of texts and dimensions in the views
GAP, UNDER = 18.0, 24.0  # text heights between views side by side, and under a view for dimensions and notes


def write_dxf(axle: AxlePoses, path: Path | str, version: str = "R2010", option: str = "--out") -> None:
    """Write an axle at its travels as a drawing, 1 unit = 1 mm.

    Model space holds the linkage in the vehicle frame and, below it in the plane z = 0, front and side view of each
    pose. Layers are named for position and part (``BUMP_30_L_LOWER_ARM``), those of the views for position, view and
    kind (``DESIGN_FRONT_DIMS``). Every point is a reference of the block ``PICKUP_POINT`` with its name in the
    attribute ``POINT``; `kin3d.reading.dxf.read_drawing` gives back the design position of the side that the car
    file gives. Points of the other side and other travels stand on layers that are frozen (``BUMP_30_L_POINTS``):
    thaw one, and name it in ``layers`` of ``views.toml``, to read that one.

    Parameters
    ----------
    axle : AxlePoses
        As `kin3d.studies.poses.axle_poses` gives it.
    path : path-like
        ``.dxf``.
    version : {"R12", "R2000", "R2010", "R2018"}
        R12 cannot say its unit; whoever reads it must be told mm.
    option : str
        Name of the command's option, for messages.

    Raises
    ------
    RequestError
        For another ending or version, a folder that is not there, a file that cannot be written.
    """
    target = Path(path)
    check_place(target, (".dxf",), option)
    if version not in VERSIONS:
        text = f'version "{version}" is not known; expected one of {", ".join(VERSIONS)}'
        raise RequestError(Finding("version-unknown", text, str(target)))
    doc = new_document(version)
    set_dimensions(doc, TEXT_MM)
    draw_space(doc, axle)
    front, side = front_frame(axle), side_frame(axle)
    top = _title(Pen(doc, ("sheet", ""), TEXT_MM), axle)
    for pose in axle.poses:
        top = _row(doc, axle, pose, front, side, top)
    _border(Pen(doc, ("sheet", ""), TEXT_MM), axle, front, side, top)
    save(doc, target)


def _title(pen: Pen, axle: AxlePoses) -> float:
    """Title and words over the linkage in space; gives the height under which the views may begin."""
    places = np.concatenate([p.places.reshape(-1, 3) for p in axle.poses])
    radius = axle.model.axle.loaded_radius_mm or 0.0
    left, top = float(places[:, 0].min()) - radius - 400.0, float(places[:, 1].max()) + 6.5 * TEXT_MM
    pen.text(f"{axle.title}, {axle.model.axle.name} axle", (left, top), size=1.6)
    words = "; ".join(state_words(p) for p in axle.poses)
    pen.note([f"linkage in space, x forward is right, y left is up; {words}"], (left, top - 2.4 * TEXT_MM))
    return float(places[:, 1].min()) - 4.0 * TEXT_MM


def _row(doc: Drawing, axle: AxlePoses, pose: Pose, front: Frame, side: Frame, top: float) -> float:
    """Side view under the linkage with x in line, front view to the right of it with z in line; gives the next top."""
    high, low = max(front.high[1], side.high[1]), min(front.low[1], side.low[1])
    rise = top - 6.0 * TEXT_MM - high
    pens = {
        "side": Pen(doc, (state_name(pose), "side"), TEXT_MM, np.array([0.0, rise])),
        "front": Pen(doc, (state_name(pose), "front"), TEXT_MM, np.array([_front_shift(front, side), rise])),
    }
    draw_side(pens["side"], axle, pose, side)
    draw_front(pens["front"], axle, pose, front)
    seen = {"side": "side view, left wheel, nose to the right", "front": "front view, seen from ahead of the car"}
    for view, frame in (("side", side), ("front", front)):
        at = np.array([frame.low[0], high + 3.6 * TEXT_MM])
        pens[view].text(f"{seen[view].capitalize()}: {state_words(pose)}", at, size=1.25)
        pens[view].text("scale 1:1, 1 unit = 1 mm", at - np.array([0.0, 1.9 * TEXT_MM]))
    return float(rise + low) - UNDER * TEXT_MM


def _border(pen: Pen, axle: AxlePoses, front: Frame, side: Frame, low: float) -> None:
    """A frame around everything, by which programs find the sheet's extent."""
    places = np.concatenate([p.places.reshape(-1, 3) for p in axle.poses])
    left = min(float(side.low[0]), float(places[:, 0].min()) - 700.0) - 3.0 * TEXT_MM
    right = _front_shift(front, side) + float(front.high[0]) + 3.0 * TEXT_MM
    top = float(places[:, 1].max()) + 11.0 * TEXT_MM
    pen.path("text", np.array([(left, low), (right, low), (right, top), (left, top), (left, low)]))


def _front_shift(front: Frame, side: Frame) -> float:
    return float(side.high[0] - front.low[0] + GAP * TEXT_MM)
