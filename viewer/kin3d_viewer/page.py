"""A page that shows the sweep in any browser: no network, no other file, orbit with the mouse, a slider, curves."""

from __future__ import annotations

import base64
import json
import re
from html import escape
from importlib import resources
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.measures.entry import Measure
from kin3d.writing.files import MARK
from kin3d.writing.numbers import number
from kin3d.writing.style import INK
from kin3d_viewer.charts import default_measures
from kin3d_viewer.geometry import corners, strokes
from kin3d_viewer.instances import instance, unit_mesh
from kin3d_viewer.level import Level
from kin3d_viewer.pictures import PictureOptions
from kin3d_viewer.primitives import Label, Line, Primitive
from kin3d_viewer.scene import visible
from kin3d_viewer.session import Session
from kin3d_viewer.style import PAPER, ROLES

STEPS = 16  # at least, of the slider over a range of the drive
ROUND = (5.0, 2.5, 2.0, 1.0)


def page(session: Session, options: PictureOptions) -> str:
    """The page's text.

    Positions of the sweep that cannot be reached are left out.
    """
    names = options.curves or default_measures(list(session.view.now.values))
    data = _data(session, set(options.layers), tuple(names))
    template = (resources.files("kin3d_viewer") / "page.html").read_text("utf-8")
    # no tag can begin inside the data, so that nothing in it ends the block or becomes a comment
    text = json.dumps(data, separators=(",", ":"), ensure_ascii=False).replace("<", "\\u003c")
    given = {"TITLE": escape(session.caption()), "DATA": text, "MARK": MARK}
    # every place is filled once: what is put in may look like a place itself
    return re.sub("@(TITLE|DATA|MARK)@", lambda place: given[place[1]], template)


def _data(session: Session, layers: set[str], names: tuple[str, ...]) -> dict[str, Any]:
    model = session.editor.model
    over, here = session.over, session.editor.drives
    ends = np.asarray(model.ranges[over])
    frames: list[list[Primitive]] = []
    levels: list[Level] = []
    at: list[float] = []
    values: list[dict[str, Any]] = []
    beside: list[dict[str, float | None]] = []
    along = np.unique(np.append(round_steps(ends[0], ends[-1]), here.as_dict()[over]))
    session.run_through(along)
    for value in along:
        if not session.editor.drive(**{over: float(value)}).reason:
            scene = session.scene(layers)
            frames.append(visible(scene, layers))
            levels.append(scene.level)
            at.append(float(value))
            values.append({n: [_number(v) for v in session.view.now.values[n]] for n in names})
            ghost = session.ghost()
            beside.append({n: None if ghost is None else _number(ghost.now.values[n][0]) for n in names})
    session.editor.drive(**here.as_dict())
    first = session.scene(layers)
    there, named = _everywhere(frames), [_named(f) for f in frames]
    return {
        "title": session.editor.model.car.title,
        "drive": over,
        "at": at,
        "start": int(np.argmin(np.abs(np.array(at) - here.as_dict()[over]))),
        "centre": first.centre.round(2).tolist(),
        "size": round(first.size_mm, 1),
        "ink": INK,
        "paper": PAPER,
        "items": [d for n in there if (d := _item([f[n] for f in named]))],
        "meshes": _meshes(frames),
        "level": [_packed(_matrix(v)) for v in levels] if over == "roll_deg" or here.roll_deg else None,
        "axle": model.axle,
        "legend": [{"colour": c, "title": t} for c, t in (*_loads(session), *session.legend())],
        "cars": [{"colour": c, "title": t} for c, t in _cars(session)],
        "curves": [_curve(model.every_measure[n], values, beside if session.other else None) for n in names],
    }


def round_steps(first: float, last: float) -> NDArray[np.float64]:
    """Values over a range, its ends among them, at the longest round step that makes at least so many."""
    low, high = min(first, last), max(first, last)
    most = (high - low) / STEPS
    if most <= 0.0:
        return np.array([low])
    size = 10.0 ** np.floor(np.log10(most * (1.0 + 1e-9)))
    step = size * next(s for s in ROUND if s * size <= most * (1.0 + 1e-9))
    between = step * np.arange(np.ceil(low / step - 1e-9), np.floor(high / step + 1e-9) + 1.0)
    inside = between[(between > low + 1e-6 * step) & (between < high - 1e-6 * step)]
    return np.array([low, *inside.round(9), high])


def _matrix(level: Level) -> NDArray[np.float64]:
    """From the vehicle frame to the picture's, in which the ground lies level: 16 numbers, column by column."""
    out = np.eye(4)
    out[:3, :3] = level.turn.T
    out[:3, 3] = level.foot - level.turn.T @ level.foot
    return out.T


def _cars(session: Session) -> list[tuple[str, str]]:
    """Colour and title of every car."""
    return [*session.cars()] or [(session.colours[0], session.editor.model.car.title)]


def _loads(session: Session) -> list[tuple[str, str]]:
    """The load case whose forces are drawn, where there are any."""
    return [("", session.load.told(session.editor.model))] if session.legend() else []


def _named(items: list[Primitive]) -> dict[str, Primitive]:
    return {p.name: p for p in items}


def _everywhere(frames: list[list[Primitive]]) -> list[str]:
    """Names of what is there in every frame, in order."""
    common = set.intersection(*({p.name for p in f} for f in frames))
    return [p.name for p in frames[0] if p.name in common]


def _item(poses: list[Primitive]) -> dict[str, Any] | None:
    """One primitive over all frames."""
    first = poses[0]
    look = ROLES[first.role]
    out: dict[str, Any] = {"name": first.name, "colour": look.colour, "opacity": look.opacity}
    if isinstance(first, Label):
        tags = [p for p in poses if isinstance(p, Label)]
        texts = [t.text for t in tags]
        said: str | list[str] = texts if len(set(texts)) > 1 else first.text
        return out | {"label": said, "data": _packed(np.array([t.place for t in tags]))}
    unit = instance(first)
    if unit is not None:
        matrices = np.array([i.matrix() for i in map(instance, poses) if i is not None])
        return out | {"mesh": unit.mesh, "data": _packed(matrices)}
    lines = [_pieces([p.places] if isinstance(p, Line) else strokes(p)) for p in poses]
    triangles = [corners(p) for p in poses]
    if not len(triangles[0]) and not len(lines[0]):
        return None
    return out | {
        "lines": [_packed(x) for x in _once(lines)],
        "triangles": [_packed(x) for x in _once(triangles)],
    }


def _pieces(polylines: list[NDArray[np.float64]]) -> NDArray[np.float64]:
    """Polylines as separate straight pieces, shape (2·pieces, 3); whole, because dashes would be most of the page."""
    pairs = [np.stack([s[:-1], s[1:]], 1).reshape(-1, 3) for s in polylines]
    return np.concatenate(pairs) if pairs else np.empty((0, 3))


def _once(frames: list[NDArray[np.float64]]) -> list[NDArray[np.float64]]:
    """What does not move is sent once."""
    return frames[:1] if all(np.array_equal(f, frames[0]) for f in frames) else frames


def _meshes(frames: list[list[Primitive]]) -> dict[str, Any]:
    names = {i.mesh for p in frames[0] if (i := instance(p)) is not None}
    out = {}
    for name in sorted(names):
        mesh = unit_mesh(name)
        out[name] = {
            "points": _packed(mesh.points),
            "normals": base64.b64encode(np.round(mesh.normals * 127).astype(np.int8).tobytes()).decode("ascii"),
            "triangles": base64.b64encode(mesh.triangles.astype(np.uint16).tobytes()).decode("ascii"),
        }
    return out


def _curve(
    measure: Measure, values: list[dict[str, Any]], beside: list[dict[str, float | None]] | None
) -> dict[str, Any]:
    """One measure in every frame: both sides, what is read of the left one, and the same of the car beside."""
    every = [v[measure.name] for v in values]
    others = [v[measure.name] for v in beside or ()]
    return {
        "name": measure.name,
        "label": measure.label if measure.unit == "1" else f"{measure.label}, {measure.unit}",
        "sign": f"{measure.sign}; {measure.definition}",
        "values": every,
        "shown": [_shown(v[0], measure.unit) for v in every],
        "beside": others,
        "shownBeside": [_shown(v, measure.unit) for v in others],
    }


def _shown(value: float | None, unit: str) -> str:
    """A figure with as many places as everywhere else."""
    return number(np.nan if value is None else value, unit)


def _number(value: float) -> float | None:
    return float(f"{value:.6g}") if np.isfinite(value) else None


def _packed(array: NDArray[np.float64]) -> str:
    return base64.b64encode(np.ascontiguousarray(array, dtype="<f4").tobytes()).decode("ascii")
