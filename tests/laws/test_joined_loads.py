"""Axles whose sides are one system under load: what gives way, bars on the axle, one spring across; by rigid bodies."""

from __future__ import annotations

from dataclasses import replace
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.optimize import fsolve

import kin3d
from kin3d.errors import RequestError
from kin3d.linkage.car import Car
from kin3d.linkage.keys import LoadCase
from kin3d.linkage.layout_file import builtin
from kin3d.linkage.record import changed
from kin3d.loads.elements import axle_elements
from kin3d.measures.corner_pair import CornerPair
from kin3d.solve.model import AxleModel
from tests.kinds import demo_car
from tests.laws.test_joined_axles import whole_car
from tests.laws.test_kinds import carried, contact, reference

PANHARD = "live axle with panhard rod"
AREA, MODULUS = np.pi * (20.0**2 - 16.0**2) / 4.0, 205000.0
TUBE = {"diameter_mm": 20.0, "wall_mm": 2.0, "modulus_n_per_mm2": MODULUS}
SPRINGS = [(f"{s}_spring_outer", f"{s}_spring_inner") for s in ("left", "right")]
TURN = LoadCase(name="turn", lateral_g=0.4, braking_g=0.3)
T_BAR = """
[[parts]]
name = "T-bar"
points = ["tbar_link_axle", "tbar_end", "tbar_axis_1", "tbar_axis_2"]
[parts.bodies]
chassis = ["tbar_axis_1", "tbar_axis_2"]
axle = ["tbar_link_axle"]
"T-bar link" = ["tbar_link_axle", "tbar_end"]
"T-bar" = ["tbar_axis_1", "tbar_axis_2", "tbar_end"]
[parts.bar]
form = "t"
body = "T-bar"
axis = ["tbar_axis_1", "tbar_axis_2"]
link = ["tbar_link_axle", "tbar_end"]
"""
POINTS = {
    "tbar_link_axle": (30.0, 300.0, 260.0),
    "tbar_end": (40.0, 290.0, 420.0),
    "tbar_axis_1": (250.0, 100.0, 430.0),
    "tbar_axis_2": (250.0, -100.0, 430.0),
}


def elastic(tmp_path: Path) -> Car:
    car = changed(whole_car(tmp_path, PANHARD), cases=(TURN, LoadCase(name="rest", vertical_g=1.0)))
    return car.with_figures({"rear.links": {"lower link": TUBE, "Panhard rod": TUBE}})


def own_layout(folder: Path, part: str) -> None:
    """The layout without its own bar and with one more part, as a file of one's own."""
    text = (files("kin3d") / "linkage" / "layouts" / f"{PANHARD.replace(chr(32), chr(95))}.toml").read_text("utf-8")
    text = text[: text.index("# An anti-roll bar")].replace(builtin(PANHARD).name, "own")
    (folder / "own.toml").write_text(text + part, "utf-8")


def with_bar(folder: Path, points: dict[str, tuple[float, float, float]]) -> Car:
    """A whole car with that layout and a bar of 60 N·m/deg at the rear."""
    demo_car(folder, PANHARD, more="[rear.spring]\nrate_n_per_mm = 40\ndesign_force_n = 2700\n")
    path, table = folder / "car.toml", folder / "points.csv"
    rows = [f"{n},{','.join(map(str, p))}" for n, p in points.items()]
    table.write_text("\n".join([table.read_text("utf-8").rstrip(), *rows, ""]), "utf-8")
    text = path.read_text("utf-8").replace(f'layout = "{PANHARD}"', 'layout = "own.toml"')
    path.write_text(text + "[rear.bar]\nrate_n_m_per_deg = 60\n", "utf-8")
    return changed(whole_car(folder / "other", PANHARD), rear=kin3d.load(path).axle("rear"), cases=(TURN,))


def test_what_a_settled_axle_bends(tmp_path: Path) -> None:
    """Three elastic rods grow by F·L/(E·A) and both springs keep their lengths: where rigid bodies put the wheels."""
    car = elastic(tmp_path)
    part = next(p for p in kin3d.forces(car, axle="rear", cases=["turn"]).parts if p.side == "both")
    settled = kin3d.settle(car, 0.3, 0.4)
    machine, design = reference(PANHARD)
    at = machine.solve(design, {"left": settled.wheels[2].travel_mm, "right": settled.wheels[3].travel_mm})
    force = {f.name: float(f.axial[0]) for f in part.forces() if f.axial is not None}
    rods = {rod: machine.bodies[rod] for rod in ("left lower link", "right lower link", "Panhard rod")}
    rigid = {b: p for b, p in machine.bodies.items() if b not in rods}
    soft = replace(
        machine, bodies=rigid, wheels={}, lengths={"held": SPRINGS, **{r: [tuple(p)] for r, p in rods.items()}}
    )
    grown = {r: force[r] * np.linalg.norm(at[p[0]] - at[p[1]]) / (MODULUS * AREA) for r, p in rods.items()}
    scale = 1e-2  # small enough to be linear
    ends = [soft.solve(at, {r: s * scale * g for r, g in grown.items()}) for s in (-1.0, 1.0)]
    for (side, way), sign in zip(part.bends(), (1.0, -1.0), strict=True):
        moved = [e[f"{side}_wheel_centre"] for e in ends]
        spins = [e[f"{side}_wheel_axis"] - c for e, c in zip(ends, moved, strict=True)]
        spins = [s / np.linalg.norm(s) for s in spins]
        toe = np.degrees([np.arctan2(s[0], sign * s[1]) for s in spins])
        camber = np.degrees([-np.arcsin(s[2]) for s in spins])
        expected = [np.diff(toe)[0], np.diff(camber)[0], *(moved[1] - moved[0])]
        assert np.abs(expected[0]) / (2.0 * scale) > 5e-4
        found = way[[0, 1, 3, 4, 5], 0]
        assert_allclose(found, np.array(expected) / (2.0 * scale), rtol=1e-4, atol=1e-7, err_msg=side)


def test_settled_with_compliance(tmp_path: Path) -> None:
    """Bends are those of the case beside the car at rest, but for what bending itself changes; forces still balance."""
    car = elastic(tmp_path)
    bent = kin3d.settle(car, 0.3, 0.4, compliance=True)
    parts = {p.case: dict(p.bends()) for p in kin3d.forces(car, axle="rear").parts}
    assert bent.bends is not None
    for row, side in ((2, "left"), (3, "right")):
        expected = (parts["turn"][side] - parts["rest"][side])[:, 0]
        assert np.nanmax(np.abs(expected)) > 1e-2
        assert_allclose(bent.bends[row], expected, rtol=0.02, atol=0.01 * np.nanmax(np.abs(expected)))
    assert bent.error_n < 1e-6
    assert bent.error_n_m < 1e-6


def test_t_bar_on_an_axle(tmp_path: Path) -> None:
    """The stem's moment on a settled axle does the work of its twist along both travels, by rigid bodies."""
    own_layout(tmp_path, T_BAR)
    car = with_bar(tmp_path, POINTS)
    (part,) = (p for p in kin3d.forces(car, axle="rear").parts)
    assert part.error < 1e-6
    settled = kin3d.settle(car, 0.3, 0.4)
    travels = [w.travel_mm for w in settled.wheels[2:]]
    machine, design = reference(PANHARD)
    design = design | {
        f"{s}_tbar_link_axle": np.array([30.0, k * 300.0, 260.0]) for s, k in (("left", 1), ("right", -1))
    }

    def driven(left: float, right: float) -> tuple[np.ndarray, np.ndarray]:
        at = machine.solve({k: v for k, v in design.items() if "tbar" not in k}, {"left": left, "right": right})
        names = ["left_lower_outer", "right_lower_outer", "upper_axle", "panhard_axle"]
        out = []
        for s in ("left", "right"):
            a, b = (np.array([q[n] for n in names]) for q in (design, at))
            u, _, vt = np.linalg.svd((a - a.mean(0)).T @ (b - b.mean(0)))
            turn = vt.T @ np.diag([1.0, 1.0, np.linalg.det(vt.T @ u.T)]) @ u.T
            out.append(b.mean(0) + turn @ (design[f"{s}_tbar_link_axle"] - a.mean(0)))
        return out[0], out[1]

    def twist(left: float, right: float) -> float:
        """Swing and twist of the T that leave both links their lengths, by fsolve."""
        places = driven(left, right)
        pivot, stem = np.array([250.0, 0.0, 430.0]), np.array([-210.0, 0.0, -10.0])

        def heads(swing: float, turned: float) -> list[np.ndarray]:
            c, s = np.cos(swing), np.sin(swing)
            about_y = np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]])
            k = stem / np.linalg.norm(stem)
            cross = np.array([[0.0, -k[2], k[1]], [k[2], 0.0, -k[0]], [-k[1], k[0], 0.0]])
            about_stem = np.eye(3) + np.sin(turned) * cross + (1.0 - np.cos(turned)) * cross @ cross
            return [pivot + about_y @ about_stem @ (stem + np.array([0.0, y, 0.0])) for y in (290.0, -290.0)]

        length = np.linalg.norm(np.array([10.0, -10.0, 160.0]))
        gap = lambda x: [np.linalg.norm(p - h) - length for p, h in zip(places, heads(*x), strict=True)]  # noqa: E731
        return float(fsolve(gap, [0.0, 0.0], xtol=1e-13)[1])

    moment = 60.0 * 1000.0 * np.degrees(abs(twist(*travels)))
    assert moment > 1e4
    by_link = {a.point: a for a in part.acting if "tbar" in a.point}
    h = 0.05
    for k in (0, 1):
        step = h * np.eye(2)[k]
        ahead, behind = driven(*(travels + step)), driven(*(travels - step))
        work = sum(
            float(by_link[f"{s}_tbar_link_axle"].force[:, 0] @ (a - b)) / (2.0 * h)
            for s, a, b in zip(("left", "right"), ahead, behind, strict=True)
        )
        change = (abs(twist(*(travels + step))) - abs(twist(*(travels - step)))) / (2.0 * h)
        assert_allclose(work, -moment * change, rtol=1e-4)


def test_a_bar_on_an_axle_winds_as_its_arms_turn(tmp_path: Path) -> None:
    """A U-bar whose links stand beyond the middle of the car resists roll as well: its links have the moment."""
    bar = T_BAR.replace("tbar", "bar").replace("T-bar", "bar").replace("bar_end", "bar_arm_end").replace('"t"', '"u"')
    own_layout(tmp_path, bar)
    points = {n.replace("tbar", "bar").replace("bar_end", "bar_arm_end"): p for n, p in POINTS.items()}
    car = with_bar(tmp_path, points)
    (part,) = kin3d.forces(car, axle="rear").parts
    assert part.error < 1e-6
    force = {f.name: float(f.axial[0]) for f in part.forces() if f.axial is not None}
    settled = kin3d.settle(car, 0.3, 0.4)
    pair = CornerPair.at(AxleModel.of(car, "rear"), *(w.travel_mm for w in settled.wheels[2:]), degree=1)
    element = next(e for e in axle_elements(pair.model) if e.kind == "bar")
    u = float(np.ravel(element.deflection(pair.left, pair.right).value)[0])
    assert abs(u) > 1e-3
    for side, corner in (("left", pair.left), ("right", pair.right)):
        names = ("bar_axis_1", "bar_axis_2", "bar_arm_end", "bar_link_axle")
        a, b, end, other = (np.array([float(np.ravel(c.value)[0]) for c in corner.place(p)]) for p in names)
        axis, link = (b - a) / np.linalg.norm(b - a), (other - end) / np.linalg.norm(other - end)
        about = float(np.cross(end - a, link) @ axis) * force[f"{side} bar link"]
        assert_allclose(abs(about), 60.0 * 1000.0 * np.degrees(abs(u)), rtol=1e-6)


def test_one_spring_across_under_one_tyre(tmp_path: Path) -> None:
    """A second spring that the rocker's slide presses holds the axle in roll: the work of both is the tyre's."""
    kerb = '[[cases]]\nname = "kerb"\naxle = "front"\nside = "left"\ncontact_n = [0, 0, 3000]\nwheel = "braked"\n'
    spring = "[front.spring]\nrate_n_per_mm = 40\ndesign_force_n = 2700\n"
    alone = demo_car(tmp_path / "alone", "one spring across", "front", more=spring + kerb)
    with pytest.raises(RequestError, match=r"nothing holds the axle in roll; give a spring .*\[\[front\.springs\]\]"):
        kin3d.forces(alone)
    twin = '[[front.springs]]\nname = "twin"\npoints = ["spring_outer", "spring_inner"]\nrate_n_per_mm = 30\n'
    with pytest.raises(RequestError, match="nothing holds the axle in roll"):
        kin3d.forces(demo_car(tmp_path / "twin", "one spring across", "front", more=spring + twin + kerb))
    stack = '[[front.springs]]\nname = "stack"\npoints = ["mono_1", "mono_axle_1"]\nrate_n_per_mm = 300\n'
    (part,) = kin3d.forces(demo_car(tmp_path / "two", "one spring across", "front", more=spring + stack + kerb)).parts
    force = {f.name: float(f.axial[0]) for f in part.forces() if f.axial is not None}
    machine, design = reference("one spring across")
    h, up = 0.05, 3000.0
    foot = contact(design, "left")
    for way in ({"left": 1.0}, {"right": 1.0}):
        ends = [machine.solve(design, {k: s * h * v for k, v in way.items()}) for s in (-1.0, 1.0)]
        rise = carried(machine, ends[1], design, "left", foot) - carried(machine, ends[0], design, "left", foot)
        work = up * rise[2]
        for name, pair in (("spring", ("spring_outer", "spring_inner")), ("stack", ("mono_1", "mono_axle_1"))):
            length = [np.linalg.norm(e[pair[0]] - e[pair[1]]) for e in ends]
            work -= force[name] * (length[1] - length[0])
        assert abs(work) < 1e-6 * up * 2.0 * h, way
