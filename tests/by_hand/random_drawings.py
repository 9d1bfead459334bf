"""Random drawings: nine ways of labelling, six writers, 22 habits (14 in space); counts what the reader makes of them.

``python -m tests.by_hand.random_drawings 200`` draws and reads 200 drawings, half of them dense with labels apart from
their marks; ``--stress 8`` reads 40 label stress sheets with 8 seeds each in place of them; ``--case 17`` one
again. A drawing is *right* (all points, all within tolerance), *refused* (nothing wrong, something left out with an
error) or *wrong* (a point, or a coordinate shown of a refused one, is off). A refusal of a drawing that says everything
by leaders, attributes or one common offset is a *wrong refusal*. The exit code is 1 if anything was wrong.
"""

from __future__ import annotations

import argparse
import tempfile
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np

from kin3d.errors import ReadingError
from kin3d.reading.dxf import read_drawing
from tests.by_hand.drawing_writers import BARE, WRITERS, write
from tests.unit.drawn import LINKS, POINTS

HEIGHT = 2.5
GERMAN = {
    "lower_front": "Querlenker unten vorn", "lower_rear": "Querlenker unten hinten", "lower_outer": "Traggelenk unten",
    "upper_front": "Querlenker oben vorn", "upper_rear": "Querlenker oben hinten", "upper_outer": "Traggelenk oben",
    "tie_inner": "Spurstange innen", "tie_outer": "Spurstange aussen", "wheel_centre": "Radmitte",
    "rod_outer": "Schubstange aussen", "rod_inner": "Schubstange innen", "rocker_axis_1": "Umlenkhebel Achse 1",
    "rocker_axis_2": "Umlenkhebel Achse 2", "spring_outer": "Feder aussen", "spring_inner": "Feder innen",
}  # fmt: skip
SYMBOLS = ("circle", "polyline", "point", "cross", "block", "chain")
POINTERS = ("LINE", "LEADER", "POLYLINE", "SHOULDER", "MULTILEADER", "SHORT")
SURE = (*POINTERS, "attribute", "offset")
LOOKS = {
    "front": (("y", "z"), ("-y", "z")),
    "side": (("-x", "z"), ("x", "z")),
    "plan": (("-x", "-y"), ("x", "y"), ("y", "x"), ("-y", "x")),
}


@dataclass
class Case:
    """One drawing: how it is drawn, what is true, and what a person says beside it."""

    seed: int
    form: str
    symbol: str
    label: str
    dense: bool
    apart: bool
    habits: set[str]
    writer: str = "library"
    points: dict[str, np.ndarray] = field(default_factory=dict)
    give: dict[str, Any] = field(default_factory=dict)

    @property
    def readable(self) -> bool:
        """Whether the drawing says everything."""
        missing = {"no origin", "some in one view", "no proof", "no axes"} & self.habits
        return self.label in SURE and not missing

    def __str__(self) -> str:
        habits = ", ".join(sorted(self.habits)) or "none"
        kind = f"{'dense' if self.dense else 'wide'}{', apart' if self.apart else ''}"
        return f"{self.seed}: {self.form}, {self.symbol}, {self.label}, by {self.writer}, {kind}; habits: {habits}"


def choose(seed: int, stress: bool = False) -> Case:
    """Choose a way of drawing by the seed."""
    rng = np.random.default_rng([seed, 77])
    form = "space" if rng.random() < 0.3 else "sheet"
    apart = stress or seed % 2 == 0
    labels = [*POINTERS, "none"] if apart else [*POINTERS, "attribute", "offset", "offset", "none"]
    label = str(rng.choice(labels))
    symbol = "block" if label == "attribute" else str(rng.choice(SYMBOLS))
    if form == "space":
        symbol = {"polyline": "circle", "chain": "ends", "cross": "ends"}.get(symbol, symbol)
    pool = {
        "sheet": ["known", "scale in title", "two views", "inch", "one layer", "tyre", "legend", "german", "rounded",
                  "dimensions", "coordinates", "parts table", "other corner", "no origin", "no axes", "detail",
                  "some in one view", "centre lines", "dangling links", "notes", "projection lines",
                  "bolts"],
        "space": ["inch", "one layer", "tyre", "legend", "german", "rounded", "axes", "coordinates", "parts table",
                  "centre lines", "dangling links", "metres", "notes", "bolts"],
    }[form]  # fmt: skip
    habits = {str(h) for h in rng.choice(pool, int(rng.integers(0, 5)), replace=False)}
    if "metres" in habits:
        habits.discard("inch")
    if symbol == "ends" and label in ("offset", "none", "SHORT"):  # a leader that stops in the air aims at nothing
        habits.add("no proof")
    case = Case(seed, form, symbol, label, bool(rng.random() < 0.5) or apart, apart, habits)
    whole = label == "MULTILEADER"  # which old programs have no word for
    case.writer = str(np.random.default_rng([seed, 78]).choice(WRITERS[:3] if whole else WRITERS))
    return case


def corner(rng: np.random.Generator, habits: set[str]) -> dict[str, np.ndarray]:
    """Return a random corner, mm; rounded corners have coordinates in common."""
    stretch = np.array([rng.uniform(0.8, 1.6), rng.uniform(0.9, 1.15), rng.uniform(0.85, 1.3)])
    out = {n: np.array(p) * stretch + rng.normal(0.0, 9.0, 3) for n, p in POINTS.items()}
    if "rounded" in habits:
        out = {n: np.round(p / 5.0) * 5.0 for n, p in out.items()}
        out["lower_rear"][1:] = out["lower_front"][1:]
        out["rocker_axis_2"][1:] = out["rocker_axis_1"][1:]
    if rng.random() < 0.3:
        for n in ("rod_outer", "rod_inner", "rocker_axis_1", "rocker_axis_2", "spring_outer", "spring_inner"):
            del out[n]
    return out


class Drawer:
    """Draws one case."""

    def __init__(self, case: Case, rng: np.random.Generator) -> None:
        self.case, self.rng = case, rng
        self.doc = ezdxf.new(
            str(rng.choice(["R12", "R2000", "R2010", "R2018"]))
            if case.label not in ("MULTILEADER", "LEADER") and case.symbol != "polyline"
            else "R2010",
            setup=False,
        )
        self.space = self.doc.modelspace()
        self.boxes: list[tuple[float, float, float, float]] = []
        self.unit = 25.4 if "inch" in case.habits else 1000.0 if "metres" in case.habits else 1.0
        self.doc.header["$INSUNITS"] = {25.4: 1, 1000.0: 6, 1.0: 4}[self.unit]
        self.height = HEIGHT / self.unit if case.form == "sheet" else (5.0 if case.dense else 8.0) / self.unit
        block = self.doc.blocks.new("PT")
        block.add_circle((0, 0), 0.4 * self.height)
        block.add_line((-0.6 * self.height, 0), (0.6 * self.height, 0))
        if case.label == "attribute":
            block.add_attdef("NAME", (self.height, 0.3 * self.height), height=self.height)

    def layer(self, name: str) -> dict[str, str]:
        return {"layer": "0" if "one layer" in self.case.habits else name}

    def words(self, name: str) -> str:
        if "legend" in self.case.habits:
            return str(1 + list(self.case.points).index(name))
        return GERMAN[name] if "german" in self.case.habits else name

    def mark(self, at: np.ndarray, name: str) -> None:
        h, kind, a = self.height, self.case.symbol, self.layer("POINTS")
        if kind == "circle":
            self.space.add_circle(tuple(at), 0.4 * h, dxfattribs=a)
        elif kind == "point":
            self.space.add_point(tuple(at), dxfattribs=a)
        elif kind in ("polyline", "chain"):
            turn = np.linspace(0, 2 * np.pi, 13)[: 13 if kind == "chain" else 12]
            ring = [(at[0] + 0.4 * h * np.cos(t), at[1] + 0.4 * h * np.sin(t)) for t in turn]
            if kind == "polyline":
                self.space.add_lwpolyline(ring, close=True, dxfattribs=a)
            else:
                for p, q in zip(ring[:-1], [*ring[1:-1], ring[0]], strict=True):
                    self.space.add_line(p, q, dxfattribs=a)
        elif kind == "cross":
            for step in ((0.5 * h, 0.0), (0.0, 0.5 * h)):
                self.space.add_line(tuple(at[:2] - step), tuple(at[:2] + step), dxfattribs=a)
        elif kind == "block":
            ref = self.space.add_blockref("PT", tuple(at), dxfattribs=a)
            if self.case.label == "attribute":
                ref.add_attrib("NAME", self.words(name), tuple(at + np.array([h, 0.3 * h, 0.0])[: len(at)]),
                               dxfattribs={"height": h})  # fmt: skip

    def _box(self, tail: np.ndarray, words: str, right: bool) -> tuple[float, float, float, float]:
        wide = 0.8 * self.height * len(words)
        return (tail[0] - wide * right, tail[1] - 0.2 * self.height, tail[0] + wide * (not right),
                tail[1] + 1.2 * self.height)  # fmt: skip

    def free(self, box: tuple[float, float, float, float]) -> bool:
        return not any(
            min(box[2], b[2]) > max(box[0], b[0]) and min(box[3], b[3]) > max(box[1], b[1]) for b in self.boxes
        )

    def label(self, at: np.ndarray, name: str) -> None:
        case, h, words = self.case, self.height, self.words(name)
        if case.label == "attribute":
            return
        if "coordinates" in case.habits and case.form == "space" and "legend" not in case.habits:
            x, y, z = case.points[name]
            words += f" X{x:.0f} Y{y:.0f} Z{z:.0f}"
        if case.label == "offset":
            tail, right = at + np.array([1.5 * h, 0.8 * h, 0.0])[: len(at)], False
        else:
            tail, right = self._spot(at, words)
        self.boxes.append(self._box(tail, words, right))
        self.write(words, tail, right)
        if case.label in POINTERS:
            self.pointer(at, tail, right, words)

    def _spot(self, at: np.ndarray, words: str) -> tuple[np.ndarray, bool]:
        low, high = ((5.0, 16.0) if self.case.apart else (2.5, 6.0)) if self.case.label in POINTERS else (
            (4.0, 14.0) if self.case.apart else (0.8, 1.6))  # fmt: skip
        tail, right = at, False
        for _ in range(40):
            turn, far = self.rng.uniform(0, 2 * np.pi), self.rng.uniform(low, high) * self.height
            step = far * np.array([np.cos(turn), np.sin(turn), 0.0])[: len(at)]
            tail, right = at + step, bool(step[0] < 0)
            if self.free(self._box(tail, words, right)):
                break
        return tail, right

    def write(self, words: str, tail: np.ndarray, right: bool) -> None:
        h = self.height
        if self.case.label == "MULTILEADER":
            return
        if self.case.label == "LEADER":
            at = {"insert": tuple(tail), "char_height": h, "attachment_point": 6 if right else 4}
            self.space.add_mtext(words, dxfattribs={**at, **self.layer("TEXT")})
            return
        align = {"halign": 2, "align_point": tuple(tail)} if right else {}
        self.space.add_text(words, height=h, dxfattribs={"insert": tuple(tail), **self.layer("TEXT"), **align})

    def pointer(self, at: np.ndarray, tail: np.ndarray, right: bool, words: str) -> None:
        a, kind, h = self.layer("LEADERS"), self.case.label, self.height
        way = (at - tail) / np.linalg.norm(at - tail)
        radius = 0.0 if self.case.symbol in ("point", "cross", "ends") else 0.4 * h
        head = at - way * radius if self.rng.random() < 0.5 else at
        if kind == "SHORT":
            head = at - way * (radius + 0.5 * h)
        if kind in ("LINE", "SHORT"):
            self.space.add_line(tuple(head), tuple(tail - way * 0.2 * h), dxfattribs=a)
        elif kind == "LEADER":
            self.space.add_leader([tuple(head), tuple(tail)], dxfattribs=a)
        elif kind == "POLYLINE":
            knee = tail + way * 2.0 * h * np.array([1.0, 0.0, 0.0])[: len(at)] - way * 0.5 * h
            self._polyline([head, knee, tail], a)
        elif kind == "SHOULDER":
            along = np.array([-1.0 if right else 1.0, 0.0, 0.0])[: len(at)]
            foot = tail - np.array([0.0, 0.3 * h, 0.0])[: len(at)]
            end = foot + along * 0.75 * h * len(words)
            self.space.add_line(tuple(head), tuple(foot), dxfattribs=a)
            self.space.add_line(tuple(foot), tuple(end), dxfattribs=a)
        elif kind == "MULTILEADER":
            from ezdxf.math import Vec2, Vec3
            from ezdxf.render import mleader

            build = self.space.add_multileader_mtext("Standard")
            build.set_content(words, char_height=h)
            side = mleader.ConnectionSide.right if right else mleader.ConnectionSide.left
            build.add_leader_line(side, [Vec2(head[:2])])
            build.build(insert=Vec2(tail[:2]))
            for entity in self.space.query("MULTILEADER")[-1:]:
                if len(at) == 3:  # the builder knows planes only: put it where it belongs
                    for leader in entity.context.leaders:
                        leader.last_leader_point = Vec3(leader.last_leader_point.x, leader.last_leader_point.y, at[2])
                        for line in leader.lines:
                            line.vertices = [Vec3(v.x, v.y, at[2]) for v in line.vertices]
                    entity.context.mtext.insert = Vec3(
                        entity.context.mtext.insert.x, entity.context.mtext.insert.y, at[2]
                    )

    def _polyline(self, corners: list[np.ndarray], a: dict[str, str]) -> None:
        if len(corners[0]) == 3:
            self.space.add_polyline3d([tuple(c) for c in corners], dxfattribs=a)
        elif self.doc.dxfversion <= "AC1009":
            self.space.add_polyline2d([tuple(c) for c in corners], dxfattribs=a)
        else:
            self.space.add_lwpolyline([tuple(c) for c in corners], dxfattribs=a)

    def links(self, at: Mapping[str, np.ndarray]) -> None:
        for a, b in LINKS:
            if a in at and b in at:
                p, q = at[a], at[b]
                if "dangling links" in self.case.habits and self.rng.random() < 0.3 and self.case.symbol != "ends":
                    q = q + (p - q) * self.rng.uniform(0.05, 0.3)
                self.space.add_line(tuple(p), tuple(q), dxfattribs=self.layer("LINKS"))
        if self.case.symbol == "ends":  # the wheel's axle
            hub = (at["lower_outer"] + at["upper_outer"]) / 2.0
            self.space.add_line(tuple(at["wheel_centre"]), tuple(hub), dxfattribs=self.layer("LINKS"))

    def extras(self, at: Mapping[str, np.ndarray]) -> None:
        h, places = self.height, np.array(list(at.values()))
        low, high = places.min(axis=0), places.max(axis=0)
        if "tyre" in self.case.habits:
            radius = 0.35 * float(high[0] - low[0])
            self.space.add_circle(tuple(at["wheel_centre"]), radius, dxfattribs=self.layer("TYRE"))
        if "centre lines" in self.case.habits:
            middle = (low + high) / 2.0
            for k in (0, 1):
                step = np.zeros(len(low))
                step[k] = 0.6 * float((high - low)[k])
                self.space.add_line(tuple(middle - step), tuple(middle + step), dxfattribs=self.layer("CENTRE"))
        if "notes" in self.case.habits:  # words that name nothing, with leaders of their own
            for words in ("weld all round", "see sheet 2", "M10 x 1"):
                spot = at[str(self.rng.choice(list(at)))]
                tail, right = self._spot(spot, words)
                self.boxes.append(self._box(tail, words, right))
                align = {"halign": 2, "align_point": tuple(tail)} if right else {}
                self.space.add_text(words, height=h, dxfattribs={"insert": tuple(tail), **self.layer("TEXT"), **align})
                self.space.add_line(tuple(spot), tuple(tail), dxfattribs=self.layer("LEADERS"))
        if "bolts" in self.case.habits:  # circles of the same size that are no points
            for _ in range(6):
                spot = low + (high - low) * self.rng.random(len(low))
                self.space.add_circle(tuple(spot), 0.4 * h, dxfattribs=self.layer("POINTS"))
        if "parts table" in self.case.habits:
            for row, cells in enumerate((("1", "bolt M8", "12"), ("2", "spring", "1"), ("3", "rod end", "4"))):
                for col, cell in enumerate(cells):
                    spot = (low[0] + col * 12 * h, low[1] - (14 + 2 * row) * h)
                    self.space.add_text(cell, height=h, dxfattribs={"insert": spot})
        if "dimensions" in self.case.habits:
            a, b = at["lower_front"], at["lower_outer"]
            base = (float(a[0]), float(low[1]) - 8 * h)
            dim = self.space.add_linear_dim(base, tuple(a[:2]), tuple(b[:2]), override={"dimtxt": h, "dimasz": h,
                                            "dimlfac": self.case.give.get("_lfac", 1.0)})  # fmt: skip
            dim.render()

    def project(self, views: list[dict[str, np.ndarray]]) -> None:
        for one, other in pairwise(views) if "projection lines" in self.case.habits else ():
            for name in list(one)[:6]:
                self.space.add_line(tuple(one[name]), tuple(other[name]), dxfattribs=self.layer("PROJECTION"))

    def legend(self, corner_: np.ndarray) -> None:
        if "legend" not in self.case.habits:
            return
        for row, name in enumerate(self.case.points):
            spot = (corner_[0], corner_[1] - 2.0 * row * self.height)
            words = GERMAN[name] if "german" in self.case.habits else name
            self.space.add_text(f"{row + 1}  {words}", height=self.height, dxfattribs={"insert": spot})


def draw(seed: int, folder: Path, stress: bool = False) -> tuple[Case, Path]:
    """Draw the case of a seed; return it with its file."""
    case = choose(seed, stress)
    rng = np.random.default_rng(seed)
    case.points = corner(rng, case.habits)
    drawer = Drawer(case, rng)
    if "german" in case.habits:
        case.give["names"] = {GERMAN[n]: n for n in case.points}
    (_draw_space if case.form == "space" else _draw_sheet)(case, drawer, rng)
    path = folder / f"case_{seed}.dxf"
    write(drawer.doc, path, case.writer)
    return case, path


def _draw_space(case: Case, drawer: Drawer, rng: np.random.Generator) -> None:
    turn = np.eye(3)
    if "axes" in case.habits:
        case.give["axes"] = "x rearward, y right, z up"
        turn = np.diag([-1.0, -1.0, 1.0])
    if drawer.doc.dxfversion <= "AC1009" or case.writer in BARE:  # no unit in the header
        case.give["units"] = {25.4: "in", 1000.0: "m", 1.0: "mm"}[drawer.unit]
    at = {n: turn @ p / drawer.unit for n, p in case.points.items()}
    drawer.links(at)
    for name, place in at.items():
        drawer.mark(place, name)
    for name in at:
        drawer.label(at[name], name)
    drawer.extras(at)
    drawer.legend(np.array(list(at.values())).min(axis=0) - 12.0 * drawer.height)


def _draw_sheet(case: Case, drawer: Drawer, rng: np.random.Generator) -> None:
    scale = float(rng.choice([2.0, 2.5, 4.0, 5.0, 10.0])) * (1.0 if case.dense else 0.4)
    if case.label == "none" and not case.apart:
        scale = min(scale, 2.5)
    case.give["_lfac"] = scale
    per_unit = scale * drawer.unit  # mm of the car per drawing unit
    size = np.array(list(case.points.values()))
    span = float(np.ptp(size, axis=0).max()) / per_unit + 60.0 * drawer.height
    names = ["front", "side", "plan"][: 2 if "two views" in case.habits else 3]
    if "two views" in case.habits and rng.random() < 0.5:
        names = ["front", "plan"]
    views: dict[str, dict[str, Any]] = {}
    everywhere: list[dict[str, np.ndarray]] = []
    for k, name in enumerate(names):
        axes = LOOKS[name][int(rng.integers(len(LOOKS[name])))]
        spot = np.array([(k % 2) * 1.3 * span, (k // 2) * 1.3 * span]) + rng.uniform(-3, 3, 2) * drawer.height
        at = {n: np.array([(-1.0 if a[0] == "-" else 1.0) * p["xyz".index(a[-1])] for a in axes])
              for n, p in case.points.items()}  # fmt: skip
        low = np.min(list(at.values()), axis=0)
        origin = spot - low / per_unit
        at = {n: origin + q / per_unit for n, q in at.items()}
        shown = [n for n in at if not ("some in one view" in case.habits and k == 0 and rng.random() < 0.15)]
        drawer.links(at)
        for name_ in at:
            drawer.mark(at[name_], name_)
        for name_ in shown:
            drawer.label(at[name_], name_)
        drawer.extras(at)
        corner_ = np.min(list(at.values()), axis=0)
        drawer.space.add_text(f"{name.upper()} VIEW", height=1.6 * drawer.height,
                              dxfattribs={"insert": tuple(corner_ - (0.0, 24.0 * drawer.height))})  # fmt: skip
        views[name] = {"axes": list(axes), "origin": [float(c) for c in origin]}
        everywhere.append(at)
    drawer.project(everywhere)
    case.give.pop("_lfac", None)
    drawer.legend(np.array([-0.6 * span, 0.6 * span]))
    plan: dict[str, Any] = {"views": views}
    if "scale in title" in case.habits:
        drawer.space.add_text(f"SCALE 1:{scale:g}", height=drawer.height, dxfattribs={"insert": (-span, -span)})
    else:
        plan["scale"] = f"1:{scale:g}"
    if drawer.doc.dxfversion <= "AC1009" or case.writer in BARE:
        plan["units"] = "in" if drawer.unit == 25.4 else "mm"
    if "known" in case.habits:
        for view in views.values():
            view.pop("origin")
        plan["known"] = {"wheel_centre": [float(c) for c in case.points["wheel_centre"]]}
    elif "no origin" in case.habits:
        views[names[0]].pop("origin")
    if "no axes" in case.habits:
        for view in views.values():
            view.pop("axes")
    case.give["views"] = plan


def outcome(case: Case, path: Path) -> tuple[str, str]:
    """Read a drawing; return right, refused or wrong, and what is to be said of it."""
    try:
        reading = read_drawing(path, **case.give)
    except ReadingError as err:
        return "refused", "; ".join(f"{f.code}: {f.text[:110]}" for f in err.findings[:3])
    off = {}
    for kind, points in (("given", reading.points), ("refused", reading.partial)):
        for name, point in points.items():
            miss = np.abs(point.xyz_mm - case.points.get(name, np.full(3, 1e9)))
            if np.nanmax(miss, initial=0.0) > 0.02:
                off[name] = f"{kind} {np.round(miss, 2).tolist()}"
    if off:
        return "wrong", str(off)
    errors = [f for f in reading.findings if str(f.severity) == "error"]
    if set(reading.points) == set(case.points) and not errors:
        return "right", ""
    lost = sorted(set(case.points) - set(reading.points))
    said = "; ".join(f"{f.code}: {f.text[:110]}" for f in errors[:3])
    return ("refused" if errors else "silent"), f"without {lost}: {said}"


def main() -> int:
    """Draw, read, count."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("count", nargs="?", type=int, default=200)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--stress", type=int, default=0)
    parser.add_argument("--case", type=int)
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--verbose", action="store_true")
    asked = parser.parse_args()
    seeds = [asked.case] if asked.case is not None else list(range(asked.first, asked.first + asked.count))
    if asked.stress:
        seeds = [10_000 + 100 * s + k for k in range(40) for s in range(asked.stress)]
    counts: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as temporary:
        for seed in seeds:
            case, path = draw(seed, asked.keep or Path(temporary), bool(asked.stress) or seed >= 10_000)
            kind, said = outcome(case, path)
            if kind == "refused" and case.readable:
                kind = "wrongly refused"
            counts[kind] += 1
            if kind in ("wrong", "silent", "wrongly refused") or asked.verbose or asked.case is not None:
                print(f"{kind:16} {case}\n                 {said}", flush=True)
    total = sum(counts.values())
    print(", ".join(f"{n} {kind}" for kind, n in sorted(counts.items())), f"of {total}")
    return int(bool(counts["wrong"] or counts["silent"]))


if __name__ == "__main__":
    raise SystemExit(main())
