"""The construction of roll centre or support lines: its figures, and the drawing of it to scale."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from os import PathLike
from pathlib import Path

import numpy as np

from kin3d.errors import Finding, RequestError
from kin3d.linkage.car import Car
from kin3d.linkage.names import AxleName
from kin3d.studies.construction import AxleConstruction, construct, construct_car
from kin3d.studies.front_view import front_frame, front_notes, front_view
from kin3d.studies.photo_draw import PhotoConstruction, draw_on_photograph
from kin3d.studies.side_view import levels, side_frame, side_notes, side_view
from kin3d.studies.view_parts import LAYERS, AxleOnPlane, ground_plane, signed
from kin3d.studies.wheel_construction import ViewName
from kin3d.writing.drawing import Drawing, Frame
from kin3d.writing.drawing_picture import paper_scale, write_picture
from kin3d.writing.result import Result
from kin3d.writing.tables import Cell, Column, Quantity, Table

_NOT_SCALED = 8.0  # scale for which room for words is kept before the sheet's own is known


@dataclass(frozen=True, slots=True, repr=False)
class Construction(Result):
    """One axle, or both axles of a car, in one position, as the view that was asked for shows it.

    Attributes
    ----------
    view : {"front", "side"}
        Roll-centre construction of the first axle, or support lines of all.
    axles : tuple of AxleConstruction
        Every place in them is in space and in the vehicle frame.
    """

    kind = "draw"

    view: ViewName
    axles: tuple[AxleConstruction, ...]

    def summary(self) -> str:
        """Car, view and position."""
        return f"{self._title()}; {self.position()}"

    def _title(self) -> str:
        first = self.axles[0]
        if self.view == "front":
            return f"{first.title}, {first.axle} axle: roll-centre construction"
        which = "side view" if len(self.axles) > 1 else f"{first.axle} axle, side view"
        return f"{first.title}: {which}, support lines"

    def position(self) -> str:
        """Heave, pitch, roll and rack in words."""
        a = self.axles[0]
        parts = [("heave", a.heave_mm, " mm", 1), ("pitch", a.pitch_deg, "°", 2), ("roll", a.roll_deg, "°", 2)]
        parts.append(("rack", a.rack_mm, " mm", 1))
        return ", ".join(f"{n} {signed(v, p)}{u}" for n, v, u, p in parts if v) or "design position"

    def tables(self, measures: Sequence[str] | None = None) -> tuple[Table, ...]:  # noqa: ARG002
        """Instant centres and contact points of every wheel over the ground; figures of the view."""
        return (self._figures(), *self.records())

    def _figures(self) -> Table:
        said = self.said()[:-1] if self.view == "front" else self.said()
        return Table.of("figures", [Column("figure", text=True)], [(s,) for s in said], self._title())

    def said(self) -> list[str]:
        """The figures of the view in words."""
        return front_notes(self.axles[0]) if self.view == "front" else side_notes(self.axles, levels(self.axles))

    def records(self) -> tuple[Table, ...]:
        """Where the points of the construction stand: vehicle frame, and over the ground from its middle."""
        rows: list[tuple[Cell, ...]] = []
        for axle in self.axles:
            for name, side, place in construction_points(axle):
                over = place if axle.ground is None else axle.ground.over(place)
                cells = [Quantity(float(c), "mm") for c in (*place, *over)]
                rows.append((axle.axle, side, name, *cells))
        heads = ["x_mm", "y_mm", "z_mm", "ground_x_mm", "ground_y_mm", "ground_z_mm"]
        columns = [*(Column(n, text=True) for n in ("axle", "side", "point")), *(Column(h, "mm") for h in heads)]
        return (Table.of("points", columns, rows, "Points of the construction, mm"),)

    def drawing(self) -> tuple[Drawing, Frame]:
        """What is drawn over the level ground, and the part of it that is shown."""
        seen = [AxleOnPlane(a, ground_plane(a, self.view)) for a in self.axles]
        if self.view == "side":
            on = levels(self.axles)
            frame = side_frame(seen, on)
            drawing = Drawing(paper_scale(frame), LAYERS)
            side_view(drawing, seen, frame, on)
            return drawing, frame
        # the room for words follows from the scale, which follows from the frame
        frame = front_frame(seen[:1], paper_scale(front_frame(seen[:1], _NOT_SCALED)))
        drawing = Drawing(paper_scale(frame), LAYERS)
        front_view(drawing, seen[0], frame)
        return drawing, frame

    def plot(self, path: str | PathLike[str], measures: Sequence[str] | None = None) -> None:  # noqa: ARG002
        """Draw the view to scale: ``.svg``, ``.pdf`` (text stays text) or ``.png``."""
        drawing, frame = self.drawing()
        said = self.said()
        whence = (
            "from ahead, the car's left on the right" if self.view == "front" else "from the left, nose to the left"
        )
        position = self.position()
        subtitle = f"{position[:1].upper()}{position[1:]}.  Seen {whence}; the ground is drawn level."
        half = -(-len(said) // 2)
        write_picture(drawing, frame, Path(path), self._title(), subtitle, (said[:half], said[half:]), "--out")


def construction_points(axle: AxleConstruction) -> list[tuple[str, str, np.ndarray]]:
    """Name, side and place of every point that is constructed, in the vehicle frame."""
    out = []
    for wheel in axle.wheels:
        if wheel.lines is not None:
            found = (wheel.lines.contact, wheel.lines.front.place, wheel.lines.side.place)
            names = ("contact point", "instant centre, front view", "instant centre, side view")
            out += [(n, str(wheel.side), p) for n, p in zip(names, found, strict=True)]
    if axle.ground is not None and axle.ground.roll_centre_place is not None:
        out.append(("roll centre", "", axle.ground.roll_centre_place))
    if axle.ground is not None and axle.ground.mass_centre is not None:
        out.append(("mass centre of the body", "", axle.ground.mass_centre))
    return out


def draw(
    car: Car,
    view: ViewName = "front",
    axle: AxleName = "front",
    *,
    heave: float = 0.0,
    pitch: float = 0.0,
    roll: float = 0.0,
    rack: float = 0.0,
    photo: str | None = None,
    ghost: Car | None = None,
    crop: bool = False,
    plain: bool = False,
) -> Construction | PhotoConstruction:
    """The roll-centre construction of an axle, or the support lines of the car, in one position on the ground.

    With `photo` the construction of the design position is drawn back onto that photograph of the car instead.

    Parameters
    ----------
    car : Car
    view : {"front", "side"}
        Roll-centre construction, or support lines.
    axle : {"front", "rear"}
        For the front view; the side view shows both axles where there are two.
    heave : float, mm
        Mean travel; bump positive.
    pitch : float, deg
        Nose down positive; for the side view of both axles.
    roll : float, deg
        Left side up positive.
    rack : float, mm
        To the left positive.
    photo : str, optional
        Name of one of the photographs that the axle's points come from.
    ghost : Car, optional
        With `photo`: another car from photographs, drawn through the same camera.
    crop, plain : bool
        With `photo`: show the car and its construction alone; leave the picture out.

    Returns
    -------
    Construction or PhotoConstruction
        ``plot("front.svg")`` draws it, the first to scale.

    Raises
    ------
    RequestError
        When the position is out of reach, data are missing, pitch is asked for where it has no meaning, or the car
        does not come from photographs where one is asked for.
    """
    if photo is not None:
        if view != "front" or heave or pitch or roll or rack:
            text = "--photo draws the front view of the design position; leave out --view side and the position"
            raise RequestError(Finding("drives-mixed", text))
        return draw_on_photograph(car, photo, axle, ghost, crop=crop, plain=plain)
    if ghost is not None or crop or plain:
        raise RequestError(Finding("drives-mixed", "--ghost, --crop and --plain belong to --photo"))
    if view == "front":
        if pitch:
            raise RequestError(Finding("drives-mixed", "--pitch belongs to --view side; the front view has --roll"))
        return Construction(view, (construct(car, axle, heave, roll, rack),))
    if len(car.axles()) == 2:
        return Construction(view, construct_car(car, heave, pitch, roll, rack))
    if pitch:
        raise RequestError(Finding("axle-missing", "--pitch needs both axles in the car file", str(car.source)))
    return Construction(view, (construct(car, car.axles()[0].name, heave, roll, rack),))
