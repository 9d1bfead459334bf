"""Pictures of clearance: gaps over a drive; the place of the least gap in section, from the front, from above."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.layout import CHASSIS, WHEEL_AXIS, WHEEL_CENTRE
from kin3d.measures.gaps import MeshSolid, SolidShape, TubeSolid, TurnedSolid, pair_name
from kin3d.reading.meshes import read_mesh
from kin3d.studies.clearance_gaps import UNITS, AxleClearance, drive_words
from kin3d.writing.panels import Panel, Trace, draw_grid, draw_panels
from kin3d.writing.style import CARS, INK, NEAR, SOFT

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Array = NDArray[np.float64]
MOST = 6  # pairs whose curves are drawn
LINES = 3  # of one panel: the ends and the middle of the second drive
AROUND_MM = 110.0  # what a picture shows to either side of the gap
RING = 96
MOST_EDGES = 4000  # of a mesh that are drawn


def draw_curves(title: str, parts: Sequence[AxleClearance], wanted: float, path: Path) -> None:
    """Draw the gaps of the nearest pairs over the first drive, at the ends and the middle of the second."""
    every = sorted(((p, r) for p in parts for r in p.rows()), key=lambda x: (x[0].still(x[1]), x[0].least(x[1])))
    seen: dict[tuple[str, str], tuple[AxleClearance, int]] = {}
    for part, row in every:
        seen.setdefault((part.axle, pair_name(part.pairs[row])), (part, row))
    panels = [_panel(part, row, wanted) for part, row in list(seen.values())[:MOST]]
    draw_panels(f"{title}: gaps", panels, path)


def _panel(part: AxleClearance, row: int, wanted: float) -> Panel:
    over = max(part.drives, key=lambda n: len(np.unique(part.drives[n])))
    others = [n for n in part.drives if n != over and len(np.unique(part.drives[n])) > 1][:1]
    x = part.drives[over]
    held = np.zeros(len(x)) if not others else part.drives[others[0]]
    values = np.unique(held)
    chosen = values[np.unique(np.linspace(0, len(values) - 1, LINES).round().astype(int))]
    traces = []
    for k, value in enumerate(chosen):
        lanes = np.flatnonzero((held == value) & part.ok)
        lanes = lanes[np.argsort(x[lanes])]
        label = drive_words(others[0], float(value)) if others else ""
        traces.append(Trace(x[lanes], part.gap[row, lanes], label, CARS[0], k))
    ends = np.array([x.min(), x.max()])
    traces.append(Trace(ends, np.full(2, wanted), f"wanted, {wanted:g} mm", NEAR, 3))
    axis = f"{'wheel travel' if over == 'travel' else over} ({UNITS[over]})"
    sign = f"{part.axle} {part.side}: {part.least(row):.1f} mm at {part.place(part.worst(row))}"
    return Panel(pair_name(part.pairs[row]), "mm", sign, axis, tuple(traces))


@dataclass(frozen=True, slots=True)
class _View:
    """How places in space become places on paper; `section` has widths and radii about the wheel's axis."""

    title: str
    across: str
    upward: str
    flat: Callable[[Array], Array]
    section: bool = False


def draw_place(title: str, part: AxleClearance, row: int, path: Path) -> None:
    """Draw the position of the least gap: the corner's solids, the nearest pair strong, the gap with its figure.

    Parameters
    ----------
    row : int
        Of the pair.
    """
    head = f"{title}, {part.axle} {part.side}: {pair_name(part.pairs[row])}, {_said(part, row)} at "
    head += part.place(part.worst(row))
    draw_grid(head, list(place_views(part, row).values()), path, width=3.6)


def place_views(part: AxleClearance, row: int) -> dict[str, Callable[[Axes], None]]:
    """What draws each view of the position of a pair's least gap on axes of its own, by the view's name."""
    lane = part.worst(row)
    at = dict(zip(part.points, part.at[lane], strict=True))
    views = [
        _View("from the front", "y, to the left (mm)", "z, up (mm)", lambda p: p[..., [1, 2]]),
        _View("from above", "y, to the left (mm)", "x, forward (mm)", lambda p: p[..., [1, 0]]),
    ]
    if any(isinstance(s, TurnedSolid) for s in part.pairs[row]):
        views.insert(0, _section(at))
    shapes = {s.name: s for pair in part.pairs for s in pair}
    near = {s.name for s in part.pairs[row]}
    gap = np.stack([part.first[row, :, lane], part.second[row, :, lane]])
    ends, said = _surface_ends(gap, *part.pairs[row]), _said(part, row)
    every = list(shapes.values())
    return {
        v.title: partial(_draw, view=v, shapes=every, near=near, part=part, lane=lane, gap=ends, said=said)
        for v in views
    }


def _said(part: AxleClearance, row: int) -> str:
    least = part.least(row)
    return f"{least:.1f} mm" if least > 0.0 else "contact"


def _section(at: dict[str, Array]) -> _View:
    centre = at[WHEEL_CENTRE]
    axis = at[WHEEL_AXIS] - centre
    axis = axis / np.linalg.norm(axis)

    def flat(p: Array) -> Array:
        width = (p - centre) @ axis
        radius = np.linalg.norm(p - centre - width[..., None] * axis, axis=-1)
        return np.stack([width, radius], axis=-1)

    return _View("section: turned into one plane", "width, outboard (mm)", "radius (mm)", flat, section=True)


def _surface_ends(gap: Array, first: SolidShape, second: SolidShape) -> Array:
    """Ends of the gap on the surfaces: on tubes from the axis to the skin."""
    way = gap[1] - gap[0]
    length = float(np.linalg.norm(way))
    if not np.isfinite(length) or length < 1e-9:
        return gap
    return np.stack([gap[0] + first.radius / length * way, gap[1] - second.radius / length * way])


def _draw(
    ax: Axes,
    view: _View,
    shapes: list[SolidShape],
    near: set[str],
    part: AxleClearance,
    lane: int,
    gap: Array,
    said: str,
) -> None:
    at = dict(zip(part.points, part.at[lane], strict=True))
    for shape in sorted(shapes, key=lambda s: s.name in near):
        strong = shape.name in near
        colour, alpha = (CARS[0], 0.9) if strong else (SOFT, 0.45)
        if isinstance(shape, TubeSolid):
            _tube(ax, view, at[shape.points[0]], at[shape.points[1]], shape.radius, colour, alpha)
        elif isinstance(shape, TurnedSolid):
            _turned(ax, view, shape, at, colour, alpha)
        elif shape.rides == CHASSIS and not view.section:
            _mesh(ax, view, shape, colour, alpha)
    ends = view.flat(gap)
    middle = ends.mean(axis=0)
    ax.plot(*ends.T, color=NEAR, lw=2.2, marker="o", ms=3.5, zorder=6)
    ax.annotate(
        said, middle, xytext=(14, 14), textcoords="offset points", color=NEAR, fontsize=10, fontweight="bold", zorder=7,
        bbox={"boxstyle": "round,pad=0.15", "fc": "white", "ec": "none", "alpha": 0.8},
        arrowprops={"arrowstyle": "-", "color": NEAR, "lw": 0.7},
    )  # fmt: skip
    ax.set_xlim(middle[0] - AROUND_MM, middle[0] + AROUND_MM)
    ax.set_ylim(middle[1] - AROUND_MM, middle[1] + AROUND_MM)
    ax.set_aspect("equal")
    ax.set_title(view.title, loc="left")
    ax.set_xlabel(view.across)
    ax.set_ylabel(view.upward)
    if view.title == "from above":
        ax.invert_xaxis()  # the nose is up, so that the car's left is on the left; from ahead it is on the right
    ax.tick_params(colors=INK)


def _tube(ax: Axes, view: _View, a: Array, b: Array, radius: float, colour: str, alpha: float) -> None:
    """The outline of a tube: its axis on paper with its width to both sides."""
    axis = view.flat(a + np.linspace(0.0, 1.0, RING)[:, None] * (b - a))
    way = np.gradient(axis, axis=0)
    size = np.linalg.norm(way, axis=1, keepdims=True)
    square = np.column_stack([-way[:, 1], way[:, 0]]) / np.where(size > 1e-9, size, 1.0)
    outline = np.concatenate([axis + radius * square, (axis - radius * square)[::-1]])
    ax.fill(*outline.T, facecolor=colour, edgecolor=colour, alpha=0.35 * alpha, lw=0)
    ax.plot(*np.vstack([outline, outline[:1]]).T, color=colour, alpha=alpha, lw=1.0)


def _turned(ax: Axes, view: _View, shape: TurnedSolid, at: dict[str, Array], colour: str, alpha: float) -> None:
    """The section itself, or the rings of its corners and eight of its sections."""
    if view.section:
        ax.plot(*shape.profile.corners.T, color=colour, alpha=alpha, lw=2.2)
        return
    centre = at[WHEEL_CENTRE]
    z = at[WHEEL_AXIS] - centre
    z = z / np.linalg.norm(z)
    x = np.cross(np.array([1.0, 0.0, 0.0]), z)
    x = x / np.linalg.norm(x)
    y = np.cross(z, x)
    turn = np.linspace(0.0, 2.0 * np.pi, RING + 1)
    ring = np.cos(turn)[:, None] * x + np.sin(turn)[:, None] * y
    for width, radius in shape.profile.corners:
        ax.plot(*view.flat(centre + width * z + radius * ring).T, color=colour, alpha=0.6 * alpha, lw=0.7)
    for direction in ring[: -1 : RING // 8]:
        line = np.array([centre + w * z + r * direction for w, r in shape.profile.corners])
        ax.plot(*view.flat(line).T, color=colour, alpha=0.6 * alpha, lw=0.7)


def _mesh(ax: Axes, view: _View, shape: MeshSolid, colour: str, alpha: float) -> None:
    """Edges of a mesh that stays with the chassis."""
    from matplotlib.collections import LineCollection

    mesh = read_mesh(shape.file)
    edges = np.unique(np.sort(mesh.triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1), axis=0)
    some = edges[:: max(1, len(edges) // MOST_EDGES)]
    lines = list(view.flat(mesh.points[some]))
    ax.add_collection(LineCollection(lines, colors=colour, alpha=0.5 * alpha, linewidths=0.4))
