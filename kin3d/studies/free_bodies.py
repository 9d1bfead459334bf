"""Free bodies: upright, arms and rocker apart, seen from ahead and from the left, each with the forces on it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.layout import WHEEL_AXIS
from kin3d.linkage.parts import PartName, part_of
from kin3d.studies.case_forces import CAUTION, CaseForces
from kin3d.writing.drawing import Drawing, Frame, Layer
from kin3d.writing.drawing_picture import write_picture
from kin3d.writing.placing import Placer

Array = NDArray[np.float64]
LONGEST_MM = 190.0  # length of the longest arrow
SCALE = 4.0  # mm of the thing on one mm of paper
ROOM = np.array([150.0, 70.0])  # about a body and its arrows, for words, mm
LAYERS = {
    "body": Layer("ink", "solid", 2.2),
    "force": Layer("raises", "solid", 1.6),
    "words": Layer("ink", "solid", 0.6),
    "frame": Layer("mid", "solid", 0.5),
}
SMALL = 0.85
# (name, how a place in the vehicle frame lies on paper): from ahead the left side is at the right, nose to the left
VIEWS = (
    ("from ahead", np.array([[0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])),
    ("from the left", np.array([[-1.0, 0, 0], [0, 0, 1.0]])),
)


@dataclass(frozen=True, slots=True)
class _Arrow:
    """A force on a body: where, and what it says."""

    at: Array
    force: Array
    name: str


@dataclass(frozen=True, slots=True)
class _FreeBody:
    name: str
    part: PartName
    joints: Array
    arrows: tuple[_Arrow, ...]
    notes: tuple[str, ...]


def draw_free_bodies(part: CaseForces, path: Path, title: str) -> None:
    """Draw the bodies of one corner under one case, at the travel nearest to 0.

    Parameters
    ----------
    path : pathlib.Path
        ``.svg``, ``.pdf`` or ``.png``.
    """
    lane = part.nearest
    bodies = _bodies(part, lane)
    longest = max(float(np.linalg.norm(a.force)) for b in bodies for a in b.arrows)
    per_newton = LONGEST_MM / longest
    drawing = Drawing(SCALE, LAYERS)
    foot, wide = 0.0, [_cells(bodies, view, per_newton) for _, view in VIEWS]
    lefts = (0.0, max(float(size[0]) for _, size in wide[0]) + 20.0)
    right = lefts[1] + max(float(size[0]) for _, size in wide[1])
    for k, body in enumerate(bodies):
        high = max(float(wide[v][k][1][1]) for v in (0, 1))
        for v, (name, view) in enumerate(VIEWS):
            low, size = wide[v][k]
            shift = np.array([lefts[v], foot - high]) - low
            frame = Frame(np.array([lefts[v], foot - high]), np.array([lefts[v] + float(size[0]), foot]))
            _draw(drawing, body, view, shift, per_newton, frame, f"{body.name}, {name}")
        foot -= high + 12.0
        drawing.line("frame", (0.0, foot + 6.0), (right, foot + 6.0))
    frame = Frame(np.array([0.0, foot]), np.array([right, 20.0]))
    place = (
        f"{part.case}, {part.axle} {part.side}, travel {part.travel_mm[lane]:.4g} mm, rack {part.rack_mm[lane]:g} mm"
    )
    subtitle = f"{place}. Longest arrow {longest:,.0f} N; each is the whole force seen in that view."
    caution = CAUTION.replace(". ", ".\n").split("\n")
    notes = [["Forces on the body that is drawn.", *(n for b in bodies for n in b.notes)], caution]
    write_picture(drawing, frame, path, f"{title}: free bodies", subtitle, notes, "--bodies")


def _bodies(part: CaseForces, lane: int) -> list[_FreeBody]:
    at = {p: v[:, lane] for p, v in part.joints.at.items()}
    out = []
    for body, points in part.linkage.bodies.items():
        if len(points) < 3:
            continue
        arrows = [_Arrow(at[p], f[:, lane], p) for (b, p), f in part.joints.on_body.items() if b == body]
        arrows += [_Arrow(a.place[:, lane], a.force[:, lane], a.name) for a in part.acting if a.body == body]
        notes: tuple[str, ...] = ()
        for road in (r for r in part.roads if r.body == body):
            arrows.append(_Arrow(road.foot[:, lane], road.force[:, lane], "road"))
            couple = road.couple[:, lane] / 1000.0
            if np.abs(couple).max() > 0.05:
                told = "({:,.1f}, {:,.1f}, {:,.1f})".format(*(couple.round(1) + 0.0)).replace("-", "−")
                notes += (f"On the {body} also a couple of {told} N·m about x, y, z.",)
        felt = tuple(a for a in arrows if float(np.linalg.norm(a.force)) > 0.5)
        if felt:
            joints = np.stack([at[p] for p in points if not p.endswith(WHEEL_AXIS)])
            out.append(_FreeBody(body, part_of(part.linkage, body, at), joints, felt, notes))
    return out


def _cells(bodies: list[_FreeBody], view: Array, per_newton: float) -> list[tuple[Array, Array]]:
    """Lower left corner and size of what each body needs in a view."""
    out = []
    for body in bodies:
        places = [body.joints @ view.T]
        for a in body.arrows:
            places.append(np.stack([a.at, a.at + per_newton * a.force]) @ view.T)
        flat = np.concatenate(places)
        low, high = flat.min(axis=0) - ROOM, flat.max(axis=0) + ROOM
        out.append((low, high - low))
    return out


def _draw(
    drawing: Drawing, body: _FreeBody, view: Array, shift: Array, per_newton: float, frame: Frame, head: str
) -> None:
    drawing.words("words", (frame.low[0], frame.high[1]), head, (1.0, -1.0), level="top", bold=True)
    placer = Placer(drawing, frame)
    placer.keep(
        np.array([frame.low[0], frame.high[1] - 6.0 * drawing.height]), np.array([frame.low[0] + 140.0, frame.high[1]])
    )
    flat = body.joints @ view.T + shift
    middle = flat.mean(axis=0)
    for p in flat:
        drawing.line("body", middle, p, colour=body.part)
    for p in flat:
        drawing.mark("body", p, "joint", 0.5, colour=body.part, filled=True)
    tips = []
    for a in body.arrows:
        start = a.at @ view.T + shift
        tip = start + per_newton * (view @ a.force)
        drawing.line("force", start, tip, arrows="end")
        placer.avoid(np.stack([start, tip]))
        tips.append((a, start, tip))
    for p in flat:
        placer.avoid(np.stack([middle, p]))
    for a, start, tip in tips:
        way = tip - start
        aim = float(np.degrees(np.arctan2(way[1], way[0])))
        text = f"{a.name}\n{float(np.linalg.norm(a.force)):,.0f} N"
        placer.words("words", tip, text, SMALL, aim)
