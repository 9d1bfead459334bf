"""An axle at chosen travels as one DXF drawing: the linkage in space, and front and side view of every travel.

Model space holds the linkage in the vehicle frame and, below it in the plane z = 0, a row of two views for each
travel. Layers are named for position and part (``BUMP_30_L_LOWER_ARM``), those of the views for position, view and
kind (``DESIGN_FRONT_DIMS``). The points of the side that the car file gives, in the design position, stand on a layer
that is on; those of the other side and of other travels stand on frozen layers with the same names, so that a reader
meets every name once: `kin3d.reading.dxf.read_drawing` gives back the design position. To read another one, thaw its
layer and name it in ``layers`` of ``views.toml``.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from os import PathLike
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError
from kin3d.linkage.car import Car
from kin3d.linkage.names import AxleName
from kin3d.studies.construction import AxleConstruction, construct_at
from kin3d.studies.draw import construction_points
from kin3d.studies.front_view import front_frame, front_notes, front_view
from kin3d.studies.side_view import Levels, side_frame, side_notes, side_view
from kin3d.studies.view_parts import LAYERS, AxleOnPlane, body_colours, car_plane
from kin3d.studies.wheel_construction import DrawnWheel
from kin3d.writing.drawing import LINE_STEP, Drawing, Frame, Layer
from kin3d.writing.drawing_dxf import write_dxf
from kin3d.writing.result import Result
from kin3d.writing.tables import Cell, Column, Quantity, Table

Array = NDArray[np.float64]
MOST_TRAVELS = 25  # each has its own row of views
SCALE = 16.0  # words are 33 mm high: legible on a print 1:10 to 1:20
NAME_SIZE = 0.82  # of points' names
GAP, UNDER = 18.0, 30.0  # heights of capitals between views side by side, and under a view for dimensions and notes


@dataclass(frozen=True, slots=True, repr=False)
class AxleDrawing(Result):
    """An axle at travels in rising order, the design position among them."""

    kind = "export"

    positions: tuple[AxleConstruction, ...]

    @property
    def design(self) -> AxleConstruction:
        """The position in which nothing is moved."""
        return next(p for p in self.positions if p.is_design)

    def summary(self) -> str:
        """Axle, travels and rack."""
        said = ["design" if p.is_design else f"{p.heave_mm:+g}" if p.heave_mm else "0" for p in self.positions]
        rack = max((p.rack_mm for p in self.positions), key=abs)
        where = f" with rack {rack:+g} mm" if rack else ""
        return f"the {self.design.axle} axle at travels {', '.join(said)} mm{where}"

    def tables(self, measures: Sequence[str] | None = None) -> tuple[Table, ...]:  # noqa: ARG002
        """Constructed points and roll-centre height of every travel."""
        return self.records()

    def records(self) -> tuple[Table, ...]:
        """Constructed points of every travel, vehicle frame."""
        rows: list[tuple[Cell, ...]] = [
            (p.heave_mm, p.rack_mm, side, name, *(Quantity(float(c), "mm") for c in place))
            for p in self.positions
            for name, side, place in construction_points(p)
        ]
        drives = [Column("travel_mm", "mm"), Column("rack_mm", "mm")]
        places = [Column(n, "mm") for n in ("x_mm", "y_mm", "z_mm")]
        columns = [*drives, Column("side", text=True), Column("point", text=True), *places]
        return (Table.of("points", columns, rows, f"{self.design.title}, {self.design.axle} axle"),)

    def drawings(self) -> list[Drawing]:
        """Everything that the file holds: what is in space, then the views in their places."""
        return [*_space(self), *_sheet(self)]

    def save(self, path: str | PathLike[str], table: str | None = None, version: str = "R2010") -> int:
        """Write the drawing (``.dxf``, 1 unit = 1 mm) or, as every result, its tables; return what was written.

        Parameters
        ----------
        version : {"R12", "R2000", "R2010", "R2018"}
            Of the DXF file. R12 cannot say its unit; whoever reads it must be told mm.

        Raises
        ------
        RequestError
            For another ending or version, a folder that is not there, a file that cannot be written.
        """
        if Path(path).suffix.lower() in (".csv", ".json"):
            return Result.save(self, path, table)
        self.write(path, version)
        return len(self.positions)

    def write(self, path: str | PathLike[str], version: str = "R2010", option: str = "--out") -> None:
        """Write the drawing; `option` is named in messages."""
        write_dxf(self.drawings(), Path(path), version, option)


def export(
    car: Car, axle: AxleName = "front", travel: Sequence[float] = (-30.0, 0.0, 30.0), rack: float = 0.0
) -> AxleDrawing:
    """An axle with both wheels at chosen travels, for a DXF file.

    Parameters
    ----------
    car : Car
    axle : {"front", "rear"}
    travel : sequence of float, mm
        Of both wheels; the design position is added where it is not among them.
    rack : float, mm
        To the left positive.

    Returns
    -------
    AxleDrawing
        ``save("front.dxf")`` writes the drawing, 1 unit = 1 mm.

    Raises
    ------
    RequestError
        Too many travels, one that is out of reach, an axle that is not there.
    """
    if len(travel) > MOST_TRAVELS:
        text = f"{len(travel)} travels; at most {MOST_TRAVELS} are drawn: choose the ends and what is between them"
        raise RequestError(Finding("travels-many", text))
    return AxleDrawing(construct_at(car, axle, travel, rack))


def state_name(position: AxleConstruction) -> str:
    """Name of a position for layers: ``DESIGN``, ``BUMP_30``, ``DROOP_12_5``; ``TRAVEL_0`` with the rack moved."""
    if not position.heave_mm:
        return "TRAVEL_0" if position.rack_mm else "DESIGN"
    figure = re.sub(r"[^0-9]", "_", f"{abs(position.heave_mm):.9g}")
    return f"{'BUMP' if position.heave_mm > 0 else 'DROOP'}_{figure}"


def state_words(position: AxleConstruction) -> str:
    """The same in words, for titles: ``travel +30 mm, rack 0 mm``."""
    design = " (design)" if position.is_design else ""
    travel, rack = (f"{x:+g}" if x else "0" for x in (position.heave_mm, position.rack_mm))
    return f"travel {travel} mm, rack {rack} mm{design}"


# --- in space -------------------------------------------------------------------------------------------------------


def _space(shown: AxleDrawing) -> Iterator[Drawing]:
    """The linkage of all positions, both sides; the design position carries the names that are on."""
    for position in shown.positions:
        for wheel in position.wheels:
            named = position.is_design and wheel.side == position.side
            yield _wheel_in_space(position, wheel, named)
    design = shown.design
    yield _point_names(design.wheel().points)


def _wheel_in_space(position: AxleConstruction, wheel: DrawnWheel, named: bool) -> Drawing:
    dash = "solid" if position.is_design else "short"
    shade = body_colours(wheel.bodies)
    layers = {b.name: Layer(shade[b.name], dash) for b in wheel.bodies}  # type: ignore[arg-type]
    layers |= {"wheel": Layer("mid", dash)} if position.radius_mm is not None else {}  # type: ignore[arg-type]
    layers["points"] = Layer("ink" if named else "mid", frozen=not named)
    out = Drawing(SCALE, layers, f"{state_name(position)}_{wheel.side[0]}")
    for body in wheel.bodies:
        for line in body.lines:
            out.path(body.name, line)
    if position.radius_mm is not None:
        out.path("wheel", wheel.rim(position.radius_mm), closed=True)
    for name, place in wheel.points.items():
        said = {"POINT": name, "STATE": f"{wheel.side}, {state_words(position)}"}
        out.mark("points", place, words=said)
    return out


def _point_names(points: dict[str, Array]) -> Drawing:
    """Names as texts, for programs that do not show attributes, with a thin line from each point.

    They stand in two columns ahead of and behind the linkage, in the order of y, each at its point's z.
    """
    out = Drawing(SCALE, {"names": Layer("mid")})
    names, places = list(points), np.stack(list(points.values()))
    x, y, z = places.T
    ahead, order = np.argsort(np.argsort(x)) >= len(x) // 2, np.argsort(-y)
    for front in (True, False):
        column = [k for k in order if ahead[k] == front]
        middle, step = float(np.mean(y[column])), 1.7 * NAME_SIZE * out.height
        sign = 1.0 if front else -1.0
        across = x.max() + 320.0 if front else x.min() - 320.0
        for row, k in enumerate(column):
            end = np.array([across, middle + step * ((len(column) - 1) / 2.0 - row), z[k]])
            out.line("names", places[k], end - np.array([sign * 0.3 * out.height, 0.0, 0.0]))
            look: dict[str, object] = {"level": "middle", "size": NAME_SIZE, "colour": "ink"}
            align = "left" if front else "right"
            out.words("names", end, names[k], (0.0, 0.0), align=align, **look)
    return out


# --- views ----------------------------------------------------------------------------------------------------------


def _sheet(shown: AxleDrawing) -> Iterator[Drawing]:
    """Title, a row of two views for each position, and a border by which programs find the extent."""
    seen = {v: [AxleOnPlane(p, car_plane(v)) for p in shown.positions] for v in ("front", "side")}
    on = Levels.given(shown.design.data)
    frames = {"front": front_frame(seen["front"], SCALE), "side": side_frame(seen["side"], on)}
    h = Drawing(SCALE, LAYERS).height
    places = np.concatenate([np.stack([*w.points.values()]) for p in shown.positions for w in p.wheels])
    radius = shown.design.radius_mm or 0.0
    sheet = Drawing(SCALE, LAYERS, "sheet")
    left, top = float(places[:, 0].min()) - radius - 400.0, float(places[:, 1].max()) + 6.5 * h
    said = "; ".join(state_words(p) for p in shown.positions)
    sheet.words("text", (left, top), f"{shown.design.title}, {shown.design.axle} axle", size=1.6)
    sheet.words("text", (left, top - 2.4 * h), f"linkage in space, x forward is right, y left is up; {said}")
    low = float(places[:, 1].min()) - 4.0 * h
    aside = float(frames["side"].high[0] - frames["front"].low[0]) + GAP * h
    for k, position in enumerate(shown.positions):
        high = max(float(f.high[1]) for f in frames.values())
        rise = low - 6.0 * h - high
        for view, shift in (("side", 0.0), ("front", aside)):
            drawing = Drawing(SCALE, LAYERS, f"{state_name(position)}_{view}")
            notes = _view(drawing, seen[view][k], view, frames[view])
            _captions(drawing, position, view, frames[view], high, notes)
            yield drawing.moved((shift, rise))
        low = rise + min(float(f.low[1]) for f in frames.values()) - UNDER * h
    ends = min(float(frames["side"].low[0]), float(places[:, 0].min()) - 700.0) - 3.0 * h
    right, head = aside + float(frames["front"].high[0]) + 3.0 * h, float(places[:, 1].max()) + 11.0 * h
    corners = [(ends, low), (right, low), (right, head), (ends, head), (ends, low)]
    sheet.path("text", np.array(corners))
    yield sheet


def _view(drawing: Drawing, seen: AxleOnPlane, view: str, frame: Frame) -> list[str]:
    """Draw one view; what is said below it."""
    if view == "front":
        front_view(drawing, seen, frame, detailed=True)
        return front_notes(seen.axle)
    on = Levels.given(seen.axle.data)
    side_view(drawing, [seen], frame, on, detailed=True)
    return side_notes([seen.axle], on)


def _captions(
    drawing: Drawing, position: AxleConstruction, view: str, frame: Frame, high: float, notes: Sequence[str]
) -> None:
    h, left = drawing.height, float(frame.low[0])
    said = "side view, left wheel, nose to the left" if view == "side" else "front view, seen from ahead of the car"
    drawing.words("text", (left, high + 3.6 * h), f"{said.capitalize()}: {state_words(position)}", size=1.25)
    drawing.words("text", (left, high + 1.7 * h), "scale 1:1, 1 unit = 1 mm")
    for k, line in enumerate(notes):
        drawing.words("text", (left, float(frame.low[1]) - (14.0 + LINE_STEP * k) * h), line)
