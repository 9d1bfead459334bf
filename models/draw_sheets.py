"""Draws the demo drawings with ezdxf's primitives: a three-view sheet of Plover, a labelled 3D drawing of Dunlin.

Run it from the repository's root after a change of the point tables:  python models/draw_sheets.py
It shares nothing with the reader of drawings; what it writes is read back in the tests and compared with the tables.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from itertools import product
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
from numpy.typing import NDArray

from kin3d.reading.points import read_points_csv

HERE = Path(__file__).parent
SCALE = 5.0  # mm of the car per mm of paper
PLACES = 2  # decimals on paper: 0.01 mm there is 0.05 mm of the car
TEXT = 2.5
LINKS = (
    ("lower_front", "lower_outer"), ("lower_rear", "lower_outer"), ("upper_front", "upper_outer"),
    ("upper_rear", "upper_outer"), ("tie_inner", "tie_outer"), ("lower_outer", "upper_outer"),
    ("rod_outer", "rod_inner"), ("rocker_axis_1", "rocker_axis_2"), ("rod_inner", "spring_outer"),
    ("spring_outer", "spring_inner"), ("bar_link_rocker", "bar_link_arm"),
    ("bar_axis_1", "bar_axis_2"),
)  # fmt: skip
# Third angle: the view from the car's right stands to the left of the front view, the plan above it, nose down.
VIEWS: dict[str, dict[str, Any]] = {
    "front": {"title": "FRONT VIEW", "axes": ("y", "z"), "origin": (478.0, 92.0)},
    "side": {"title": "SIDE VIEW, FROM THE RIGHT", "axes": ("x", "z"), "origin": (140.0, 92.0)},
    "plan": {"title": "PLAN VIEW", "axes": ("y", "-x"), "origin": (478.0, 300.0)},
}
SHEET = (594.0, 420.0)
LAYERS = {
    "POINTS": 1, "LINKS": 5, "LABELS": 7, "LEADERS": 8, "CENTRE": 8, "TYRE": 9, "FRAME": 7, "TITLES": 7,
    "DIMENSIONS": 3,
}  # fmt: skip
Points = Mapping[str, NDArray[np.float64]]


def points_of(car: str) -> dict[str, NDArray[np.float64]]:
    """Read the front points of a demo car into the vehicle frame, mm."""
    keys = tomllib.loads((HERE / car / "car.toml").read_text("utf-8"))["front"]
    table = read_points_csv(HERE / car / "front.csv", units=keys["units"], axes=keys["axes"])
    return dict(zip(table.names, table.xyz_mm, strict=True))


def on_sheet(view: Mapping[str, Any], xyz: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the place of a point in a view, mm of paper."""
    signed = [(-1.0 if a[0] == "-" else 1.0) * xyz["xyz".index(a[-1])] for a in view["axes"]]
    return np.round(np.array(view["origin"]) + np.array(signed) / SCALE, PLACES)


def draw_plover() -> None:
    """Write the three-view sheet and the views.toml beside it."""
    points = points_of("plover")
    doc = _document()
    for view in VIEWS.values():
        _view(doc.modelspace(), view, points)
    _frame(doc.modelspace())
    _dimensions(doc, points)
    doc.saveas(HERE / "plover" / "front.dxf")
    lines = [
        "# How front.dxf is to be read: scale, the car's axes on the sheet, the datum of each view.",
        f'scale = "1:{SCALE:g}"',
        "sigma_mm = 0.05   # places on the sheet are rounded to 0.01 mm of paper",
    ]
    for name, view in VIEWS.items():
        axes = ", ".join(f'"{a}"' for a in view["axes"])
        origin = ", ".join(f"{c:g}" for c in view["origin"])
        lines += ["", f"[views.{name}]", f'title = "{view["title"]}"', f"axes = [{axes}]", f"origin = [{origin}]"]
    (HERE / "plover" / "front.views.toml").write_text("\n".join(lines) + "\n", "utf-8")


def draw_dunlin() -> None:
    """Write the 3D drawing: each point a block with its name as an attribute, links as lines, the wheel a circle."""
    points = points_of("dunlin")
    doc = _document()
    block = doc.blocks.new("PICKUP")
    block.add_circle((0, 0), 5.0)
    block.add_line((-8, 0), (8, 0))
    block.add_line((0, -8), (0, 8))
    block.add_attdef("NAME", (9, 4), dxfattribs={"height": 9.0})
    space = doc.modelspace()
    for name, xyz in points.items():
        x, y, z = (float(c) for c in xyz)
        insert = space.add_blockref("PICKUP", (x, y, z), dxfattribs={"layer": "POINTS"})
        insert.add_attrib("NAME", name, (x + 9.0, y + 4.0, z), dxfattribs={"height": 9.0, "layer": "LABELS"})
    for a, b in _drawn(points):
        space.add_line(tuple(points[a]), tuple(points[b]), dxfattribs={"layer": "LINKS"})
    x, y, z = (float(c) for c in points["wheel_centre"])
    # a circle in the plane y = constant: its own frame has -x, z, y for x, y, z
    space.add_circle((-x, z, y), z, dxfattribs={"layer": "TYRE", "extrusion": (0.0, 1.0, 0.0)})
    doc.saveas(HERE / "dunlin" / "front.dxf")


def _document() -> Any:
    doc = ezdxf.new("R2010", setup=True, units=4)
    for name, colour in LAYERS.items():
        doc.layers.add(name, color=colour)
    doc.layers.get("CENTRE").dxf.linetype = "CENTER"
    return doc


def _drawn(points: Points) -> list[tuple[str, str]]:
    return [(a, b) for a, b in LINKS if a in points and b in points]


def _view(space: Any, view: Mapping[str, Any], points: Points) -> None:
    places = {name: on_sheet(view, xyz) for name, xyz in points.items()}
    for a, b in _drawn(points):
        space.add_line(tuple(places[a]), tuple(places[b]), dxfattribs={"layer": "LINKS"})
    for place in places.values():
        space.add_circle(tuple(place), 1.0, dxfattribs={"layer": "POINTS"})
    _wheel(space, view, points["wheel_centre"])
    _datum(space, view, places.values())
    lines = [(places[a], places[b]) for a, b in _drawn(points)]
    for name, (place, tail, right) in _labels(places, lines).items():
        text = name.replace("_", " ").upper()
        align = {"halign": 2, "valign": 2} if right else {"halign": 0, "valign": 2}
        kind = {"layer": "LABELS", "insert": tuple(tail), "align_point": tuple(tail), **align}
        space.add_text(text, height=TEXT, dxfattribs=kind)
        space.add_leader([tuple(place), tuple(tail)], dxfattribs={"layer": "LEADERS"}, override={"dimasz": 1.5})
    low = np.min(list(places.values()), axis=0)
    tyre = on_sheet(view, points["wheel_centre"])[1] - points["wheel_centre"][2] / SCALE
    title = (float(low[0]), float(min(view["origin"][1] - 12.0, low[1], tyre)) - 12.0)
    space.add_text(view["title"], height=5.0, dxfattribs={"layer": "TITLES", "insert": title})


def _labels(
    places: Points, lines: list[tuple[NDArray[np.float64], NDArray[np.float64]]]
) -> dict[str, tuple[NDArray[np.float64], NDArray[np.float64], bool]]:
    """Find a free place for every label: nothing covered, its leader short; crowded points choose first."""
    dots = np.array(list(places.values()))
    crowd = {n: int((np.linalg.norm(dots - p, axis=1) < 18.0).sum()) for n, p in places.items()}
    taken = [np.array([*(d - 1.4), *(d + 1.4)]) for d in dots]
    out = {}
    for name in sorted(places, key=lambda n: -crowd[n]):
        place, width = places[name], 0.95 * TEXT * len(name)
        best: tuple[float, NDArray[np.float64], bool, NDArray[np.float64]] | None = None
        for step, turn in product((6.0, 9.0, 13.0, 18.0, 24.0, 31.0), np.radians(np.arange(15, 360, 30))):
            tail = np.round(place + step * np.array([np.cos(turn), np.sin(turn)]), PLACES)
            right = bool(tail[0] < place[0])
            left = tail[0] - width if right else tail[0]
            box = np.array([left - 0.6, tail[1] - 0.7 * TEXT, left + width + 0.6, tail[1] + 0.7 * TEXT])
            cost = _cost(box, place, tail, taken, [*lines, *((p, t) for p, t, _ in out.values())]) + step
            if best is None or cost < best[0]:
                best = (cost, tail, right, box)
        assert best is not None
        out[name] = (place, best[1], best[2])
        taken.append(best[3])
    return out


def _cost(
    box: NDArray[np.float64],
    place: NDArray[np.float64],
    tail: NDArray[np.float64],
    taken: Iterable[NDArray[np.float64]],
    lines: Iterable[tuple[NDArray[np.float64], NDArray[np.float64]]],
) -> float:
    """Count what a label covers and what its leader crosses."""
    cost = 0.0
    on_leader = place + np.linspace(0.15, 1.0, 12)[:, None] * (tail - place)
    for other in taken:
        if (box[:2] < other[2:]).all() and (other[:2] < box[2:]).all():
            cost += 200.0
        if ((on_leader > other[:2]) & (on_leader < other[2:])).all(axis=1).any() and np.ptp(other[::2]) > 3.0:
            cost += 150.0
    for a, b in lines:
        on_line = a + np.linspace(0.0, 1.0, 40)[:, None] * (b - a)
        cost += 2.0 * float(((on_line > box[:2]) & (on_line < box[2:])).all(axis=1).sum())
    return cost


def _wheel(space: Any, view: Mapping[str, Any], centre: NDArray[np.float64]) -> None:
    middle, radius = on_sheet(view, centre), float(centre[2]) / SCALE
    layer = {"layer": "TYRE"}
    if view["axes"][0][-1] == "x":
        space.add_circle(tuple(middle), radius, dxfattribs=layer)
        return
    half = np.array([100.0 / SCALE, radius])
    corners = [tuple(middle + half * s) for s in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    space.add_lwpolyline(corners, close=True, dxfattribs=layer)


def _datum(space: Any, view: Mapping[str, Any], places: Iterable[NDArray[np.float64]]) -> None:
    """Draw centre lines through the car's origin, a little longer than the view."""
    all_ = np.array([*places, view["origin"]])
    low, high = all_.min(axis=0) - 9.0, all_.max(axis=0) + 9.0
    x, y = view["origin"]
    space.add_line((low[0], y), (high[0], y), dxfattribs={"layer": "CENTRE"})
    space.add_line((x, low[1]), (x, high[1]), dxfattribs={"layer": "CENTRE"})
    note = {"layer": "CENTRE", "insert": (x + 2.0, y - 4.0)}
    space.add_text(f"0 / 0 ({view['axes'][0][-1]} / {view['axes'][1][-1]})", height=2.0, dxfattribs=note)


def _frame(space: Any) -> None:
    width, height = SHEET
    frame = {"layer": "FRAME"}
    space.add_lwpolyline(
        [(10, 10), (width - 10, 10), (width - 10, height - 10), (10, height - 10)], close=True, dxfattribs=frame
    )
    space.add_lwpolyline([(width - 210, 10), (width - 210, 46), (width - 10, 46)], dxfattribs=frame)
    rows = (
        "PLOVER, FRONT SUSPENSION, RIGHT HAND SIDE",
        f"SCALE 1:{SCALE:g}   THIRD ANGLE   DIMENSIONS IN MM",
        "SHEET 1 OF 1, ISSUE A",
    )
    for k, row in enumerate(rows):
        space.add_text(row, height=4.5, dxfattribs={"layer": "TITLES", "insert": (width - 205.0, 36.0 - 10.0 * k)})


def _dimensions(doc: Any, points: Points) -> None:
    """Half the track, under the front view: drawn on paper, shown in mm of the car."""
    view = VIEWS["front"]
    wheel, x0 = on_sheet(view, points["wheel_centre"]), view["origin"][0]
    style = {"dimlfac": SCALE, "dimtxt": 3.0, "dimasz": 2.5, "dimdec": 1, "dimexe": 1.5, "dimexo": 1.0, "dimgap": 1.0}
    kind = {"layer": "DIMENSIONS"}
    base = (0.0, float(view["origin"][1]) - 14.0)
    ends = ((float(wheel[0]), float(view["origin"][1])), (x0, float(view["origin"][1])))
    doc.modelspace().add_linear_dim(base, *ends, override=style, dxfattribs=kind).render()


if __name__ == "__main__":
    draw_plover()
    draw_dunlin()
