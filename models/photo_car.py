"""Shapes of an invented race car round the points of a table: what `render_photographs.py` puts before its camera.

Nothing here is measured; only the joints, the tubes between them, the wheels' rims and where the tyres stand are true.
Colours are linear light, not what a file holds. Places are in the vehicle frame, mm.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pyvista as pv
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

Array = NDArray[np.float64]
RIM_MM = 177.1  # radius of the rim's edge
RIM_OUT_MM = {"front": 70.0, "rear": 82.0}  # plane of the rim's edge outboard of the wheel centre
TYRE_HALF_MM = {"front": 86.0, "rear": 104.0}
ZINC, STEEL, RUBBER, BLACK = (0.42, 0.43, 0.44), (0.25, 0.25, 0.26), (0.018, 0.018, 0.019), (0.012, 0.012, 0.013)
GOLD, ALLOY = (0.34, 0.22, 0.06), (0.40, 0.41, 0.43)


@dataclass(frozen=True)
class Livery:
    """Colours of a car and its number."""

    body: tuple[float, float, float]
    band: tuple[float, float, float]
    helmet: tuple[float, float, float]
    wheel: tuple[float, float, float]
    number: str


@dataclass(frozen=True)
class Wheel:
    """Where one wheel stands."""

    axle: str
    centre: Array
    axis: Array  # unit, outboard
    radius: float  # loaded


@dataclass(frozen=True)
class Corner:
    """One corner as it stands in a picture.

    Attributes
    ----------
    points : dict
        Joints of the upright's links and the upright, true places.
    marked : dict
        Where the middle of each visible joint is: what a hand marks.
    legs : list of (str, str)
        Inner and outer end of every tube.
    more : dict
        Rod, rocker and spring.
    """

    wheel: Wheel
    points: dict[str, Array]
    marked: dict[str, Array]
    legs: list[tuple[str, str]]
    more: dict[str, Array]


class Scene:
    """Collects meshes with their look."""

    def __init__(self) -> None:
        self.parts: list[tuple[pv.PolyData, dict[str, Any]]] = []

    def add(self, mesh: pv.PolyData, colour: Any = None, gloss: float = 0.15, power: float = 12.0) -> None:
        """Take a mesh with one colour, or with the colours "rgb" of its points."""
        look: dict[str, Any] = {"specular": gloss, "specular_power": power, "ambient": 0.09, "diffuse": 1.0}
        look |= {"scalars": "rgb", "rgb": True} if colour is None else {"color": colour}
        self.parts.append((mesh, look))

    def tube(self, a: Array, b: Array, radius: float, colour: Any, gloss: float = 0.35) -> None:
        """A round tube between two places."""
        way = b - a
        self.add(
            pv.Cylinder(
                center=0.5 * (a + b), direction=way, radius=radius, height=float(np.linalg.norm(way)), resolution=28
            ),
            colour,
            gloss,
            25.0,
        )

    def ball(self, at: Array, radius: float, colour: Any, gloss: float = 0.35) -> None:
        """A sphere."""
        self.add(pv.Sphere(radius=radius, center=at, theta_resolution=28, phi_resolution=28), colour, gloss, 25.0)

    def bow(self, places: Any, radius: float, colour: Any) -> None:
        """A bent tube through places."""
        self.add(pv.Spline(np.asarray(places, float), 90).tube(radius=radius, n_sides=20), colour, 0.4, 30.0)

    def lump(self, at: Any, size: Any, colour: Any, gloss: float = 0.3, sharp: float = 0.7) -> None:
        """A box with soft edges."""
        mesh = pv.ParametricSuperEllipsoid(
            xradius=size[0], yradius=size[1], zradius=size[2], n1=sharp, n2=sharp, u_res=60, v_res=60, w_res=60
        ).translate(np.asarray(at, float))
        self.add(mesh.extract_surface(algorithm="dataset_surface").compute_normals(), colour, gloss, 25.0)


def _grid(places: Array) -> pv.PolyData:
    """A surface through places of shape (m, n, 3)."""
    grid = pv.StructuredGrid(places[..., 0], places[..., 1], places[..., 2])
    surface = grid.extract_surface(algorithm="dataset_surface")
    return surface.clean(tolerance=1e-7).compute_normals(split_vertices=False, consistent_normals=True)


def lathe(scene: Scene, wheel: Wheel, profile: Any, colour: Any, gloss: float = 0.2, power: float = 15.0) -> None:
    """A surface of revolution about a wheel's axis; the profile has (outboard of the centre, radius)."""
    out, radius = np.asarray(profile, float).T
    side = np.cross(wheel.axis, [1.0, 0.0, 0.0])
    side /= np.linalg.norm(side)
    turn = np.linspace(0.0, 2.0 * np.pi, 145)
    around = np.cos(turn)[:, None] * side + np.sin(turn)[:, None] * np.cross(wheel.axis, side)
    places = wheel.centre + out[:, None, None] * wheel.axis + radius[:, None, None] * around
    scene.add(_grid(places), colour, gloss, power)


def add_wheel(scene: Scene, wheel: Wheel, look: Livery, turned: float) -> None:
    """Tyre, rim with spokes, hub, brake."""
    half, lip, top = TYRE_HALF_MM[wheel.axle], RIM_OUT_MM[wheel.axle], wheel.radius + 4.0
    wall = [(lip - 3, 177), (half - 4, 195), (half, 215), (half - 2, 236), (half - 9, top - 12), (half - 22, top - 3)]
    across = [*wall, (half - 45, top), (0.0, top + 0.5)]
    across += [(-s, r) for s, r in reversed(across[:-1])]
    knots = np.array(across, float)
    for _ in range(2):  # corners cut
        cut = np.stack([0.75 * knots[:-1] + 0.25 * knots[1:], 0.25 * knots[:-1] + 0.75 * knots[1:]], axis=1)
        knots = np.concatenate([knots[:1], cut.reshape(-1, 2), knots[-1:]])
    lathe(scene, wheel, knots, RUBBER, 0.10, 6.0)
    lathe(scene, wheel, [(lip - 2, RIM_MM), (lip, RIM_MM), (lip, 172.0), (lip - 8, 168.0)], ALLOY, 0.6, 30.0)
    lathe(scene, wheel, [(lip - 8, 168.0), (20, 158.0), (-40, 160.0), (-lip + 3, 168.0), (-lip, RIM_MM)], look.wheel)
    lathe(scene, wheel, [(30, 1), (34, 20), (30, 40), (22, 58), (4, 62), (-8, 64)], look.wheel, 0.4, 20.0)
    lathe(scene, wheel, [(52, 1), (52, 20), (50, 24), (30, 26)], STEEL, 0.6, 30.0)
    lathe(scene, wheel, [(-18, 62), (-18, 128), (-28, 128), (-28, 62)], STEEL, 0.5, 25.0)
    side = np.cross(wheel.axis, [1.0, 0.0, 0.0])
    side /= np.linalg.norm(side)
    for angle in turned + np.arange(7) * 2.0 * np.pi / 7:
        ray = np.cos(angle) * side + np.sin(angle) * np.cross(wheel.axis, side)
        across_ray = np.cross(ray, wheel.axis)
        for lean in (-1.0, 1.0):
            a = wheel.centre + 24 * wheel.axis + 45 * ray + 6 * lean * across_ray
            b = wheel.centre + (lip - 22) * wheel.axis + 166 * ray + 22 * lean * across_ray
            scene.tube(a, b, 8.0, look.wheel, 0.35)


def add_corner(scene: Scene, corner: Corner, look: Livery, turned: float) -> None:
    """Wheel, upright, arms with their joints, rod, rocker, spring."""
    p, wheel = corner.points, corner.wheel
    add_wheel(scene, wheel, look, turned)
    inner = wheel.centre - 62.0 * wheel.axis
    scene.tube(wheel.centre + 10 * wheel.axis, inner, 42.0, STEEL)
    for a, b in (("lower_outer", "upper_outer"), ("tie_outer", "lower_outer")):
        scene.tube(p[a], p[b], 15.0, ALLOY, 0.4)
    scene.tube(p["upper_outer"], inner, 17.0, ALLOY, 0.4)
    scene.tube(p["lower_outer"], inner, 19.0, ALLOY, 0.4)
    brake = np.array([-100.0, 0.0, 25.0])
    scene.lump(wheel.centre - 22 * wheel.axis + brake, (38, 30, 55), GOLD)
    for a, b in corner.legs:
        scene.tube(p[a], p[b], 8.5 if a.startswith("tie") else 11.0, ZINC)
    for name, at in corner.marked.items():
        if name != "wheel_centre":
            scene.ball(at, 15.0 if name.endswith("outer") else 14.0, STEEL, 0.5)
    for name in p:
        if not name.endswith("outer") and name != "wheel_centre":
            inboard = p[name] - np.array([0.0, 22.0 * np.sign(p[name][1]), 0.0])
            scene.lump(inboard, (17, 19, 13), STEEL, 0.3)
    _spring(scene, corner.more)


def _spring(scene: Scene, at: dict[str, Array]) -> None:
    scene.tube(at["rod_outer"], at["rod_inner"], 7.5, ZINC)
    scene.ball(at["rod_outer"], 12.0, STEEL)
    scene.ball(at["rod_inner"], 12.0, STEEL)
    scene.tube(at["rocker_axis_1"], at["rocker_axis_2"], 15.0, STEEL)
    hub = 0.5 * (at["rocker_axis_1"] + at["rocker_axis_2"])
    for name in ("rod_inner", "spring_outer"):
        scene.tube(hub, at[name], 9.0, ALLOY)
    a, b = at["spring_outer"], at["spring_inner"]
    scene.tube(a, b, 9.0, STEEL)
    way = b - a
    scene.tube(a + 0.55 * way, b, 19.0, BLACK)
    side = np.cross(way, [0.3, 0.2, 1.0])
    side /= np.linalg.norm(side)
    up = np.cross(way / np.linalg.norm(way), side)
    t = np.linspace(0.0, 1.0, 400)[:, None]
    turn = 2.0 * np.pi * 8.0 * t
    coil = a + (0.12 + 0.6 * t) * way + 27.0 * (np.cos(turn) * side + np.sin(turn) * up)
    scene.add(pv.Spline(coil, 700).tube(radius=4.5, n_sides=10), GOLD, 0.4, 25.0)


# stations of the body: x, half widths at bottom, middle and top, heights of the three; "l", "u": at the front pickups
STATIONS = (
    (640, 6, 10, 6, 205, 222, 240), (610, 55, 70, 45, 170, 222, 268), (520, 100, 122, 80, 140, 225, 310),
    (360, 150, 185, 120, 112, 250, 378), (210, "l", "u", 160, 96, 310, 430), (0, "l", "u", 182, 92, 312, 452),
    (-220, "l", "u", 205, 90, 320, 480), (-480, 245, 292, 240, 82, 350, 530), (-700, 262, 312, 272, 78, 360, 560),
    (-1000, 268, 318, 280, 78, 370, 580), (-1250, 262, 305, 250, 80, 380, 640), (-1450, 250, 285, 190, 85, 390, 720),
    (-1800, 205, 240, 130, 95, 380, 610), (-2150, 192, 228, 95, 105, 350, 500), (-2480, 185, 222, 80, 125, 330, 420),
    (-2640, 110, 130, 60, 170, 290, 350), (-2650, 5, 6, 4, 240, 260, 280),
)  # fmt: skip


def add_body(scene: Scene, look: Livery, lower: float, upper: float) -> None:
    """Tub, nose and engine cover in one skin; `lower` and `upper` are y of the front pickups."""
    at = {"l": lower - 14.0, "u": upper - 13.0}
    table = np.array([[at.get(c, c) if isinstance(c, str) else c for c in s] for s in STATIONS], float)
    table = table[np.argsort(table[:, 0])]
    x = np.unique(np.concatenate([np.linspace(-2650, 640, 700), table[:, 0]]))
    from scipy.interpolate import PchipInterpolator

    wb, wm, wt, zb, zm, zt = PchipInterpolator(table[:, 0], table[:, 1:])(x).T
    zero = np.zeros_like(x)
    side = [(wb + t * (wm - wb), zb + 24 + t * (zm - zb - 24)) for t in (0.04, 0.3, 0.65, 0.97)]
    top = [(0.9 * wm + 0.1 * wt, zm + 0.3 * (zt - zm)), (wt + 0.4 * (wm - wt), zt - 0.28 * (zt - zm)), (wt, zt - 8)]
    half = [(zero, zb), (0.9 * wb - 20, zb), (0.97 * wb, zb + 8), *side, *top, (0.6 * wt, zt), (zero, zt + 0.02 * wt)]
    ring = np.array([*half, *[(-y, z) for y, z in reversed(half[1:-1])]]).transpose(2, 0, 1)
    for _ in range(4):  # corners cut until they are round
        after = np.roll(ring, -1, axis=1)
        ring = np.stack([0.75 * ring + 0.25 * after, 0.25 * ring + 0.75 * after], axis=2).reshape(len(x), -1, 2)
    ring = np.concatenate([ring, ring[:, :1]], axis=1)
    places = np.concatenate([np.broadcast_to(x[:, None, None], (*ring.shape[:2], 1)), ring], axis=2)
    hollow = _hole(places)
    places[..., 2] -= 210.0 * hollow
    skin = _grid(places)
    skin["rgb"] = _paint(skin.points, look)
    scene.add(skin, None, 0.30, 22.0)
    _driver(scene, look)
    for side in (1.0, -1.0):
        scene.lump((-1330, side * 395, 235), (400, 135, 150), look.body, 0.3, 0.45)
        scene.lump((-955, side * 400, 235), (32, 100, 105), BLACK, 0.1, 0.5)
        scene.tube(np.array([-470, side * 262, 520]), np.array([-430, side * 372, 585]), 7.0, BLACK)
        scene.lump((-432, side * 405, 592), (22, 62, 36), look.body, 0.4, 0.8)
        scene.lump((-447, side * 405, 592), (12, 54, 29), ALLOY, 0.9, 0.8)


def _hole(places: Array) -> Array:
    """How deep the cockpit is at each place of the skin, 0 to 1."""
    x, y, z = np.moveaxis(places, -1, 0)
    far = ((x + 830.0) / 335.0) ** 4 + (y / 215.0) ** 4
    return np.where(z > 470.0, np.clip((1.08 - far) / 0.16, 0.0, 1.0), 0.0)


def _paint(places: Array, look: Livery) -> NDArray[np.uint8]:
    """Colours of the skin: body, band round the nose, stripe, number in a disc, dark cockpit."""
    x, y, z = np.asarray(places, float).T
    out = np.tile(np.array(look.body), (len(x), 1))
    stripe = (np.abs(y) < 52.0) & (z > 250.0) & (x > -450.0)
    out[stripe] = (0.72, 0.71, 0.66)
    out[(x > 430.0) | ((x > 385.0) & (x < 408.0))] = look.band
    lower = (z < 128.0) & (x < 380.0)
    out[lower] = BLACK
    for sign in (1.0, -1.0):  # on the sides, and on top of the nose
        _number(out, sign * -(x + 480.0), z - 300.0, sign * y > 150.0, look.number, 105.0)
    _number(out, y, 270.0 - x, (z > 300.0) & (np.abs(y) < 130.0), look.number, 92.0)
    cockpit = (((x + 830.0) / 335.0) ** 4 + (y / 215.0) ** 4 < 1.0) & (z < 560.0) & (np.abs(y) < 214.0) & (z > 200.0)
    out[cockpit] = (0.010, 0.010, 0.011)
    return (np.clip(out, 0.0, 1.0) * 255.0).round().astype(np.uint8)


def _number(out: Array, right: Array, up: Array, here: Any, number: str, radius: float) -> None:
    """Paint a white disc with a number; `right` and `up` run from its middle as it is read."""
    size = 400
    sheet = Image.new("L", (size, size), 255)
    pen = ImageDraw.Draw(sheet)
    pen.text((size / 2, size / 2), number, 0, ImageFont.load_default(size * 0.68), anchor="mm")
    letters = np.asarray(sheet, float) / 255.0
    inside = here & (right**2 + up**2 < radius**2)
    col = np.clip((right[inside] / radius + 1.0) / 2.0 * size, 0, size - 1).astype(int)
    row = np.clip((1.0 - up[inside] / radius) / 2.0 * size, 0, size - 1).astype(int)
    out[inside] = letters[row, col][:, None] * np.array([0.78, 0.78, 0.76]) + 0.01


def _driver(scene: Scene, look: Livery) -> None:
    """Helmet with visor, shoulders, arms, wheel, hoop and head rest."""
    head = np.array([-960.0, 0.0, 690.0])
    scene.lump(head, (138, 118, 135), look.helmet, 0.7, 0.95)
    scene.lump(head + np.array([58, 0, 8]), (90, 108, 42), BLACK, 0.9, 0.9)
    scene.lump(head + np.array([-10, 0, -50]), (142, 112, 82), (0.55, 0.55, 0.54), 0.6, 0.85)
    scene.lump((-985, 0, 500), (130, 205, 90), (0.05, 0.055, 0.075), 0.05, 0.9)
    for side in (1.0, -1.0):
        scene.bow(
            [(-985, side * 195, 510), (-800, side * 215, 480), (-640, side * 120, 500)], 42.0, (0.05, 0.055, 0.075)
        )
        scene.ball(np.array([-620.0, side * 118, 508]), 40.0, BLACK, 0.1)
    turn = np.linspace(0, 2 * np.pi, 60)
    scene.bow(np.stack([-600 - 35 * np.sin(turn), 125 * np.cos(turn), 500 + 90 * np.sin(turn)], 1), 13.0, BLACK)
    scene.bow([(-1235, 205, 560), (-1235, 195, 780), (-1230, 110, 925), (-1230, 0, 950), (-1230, -110, 925),
               (-1235, -195, 780), (-1235, -205, 560)], 19.0, STEEL)  # fmt: skip
    for side in (1.0, -1.0):
        scene.tube(np.array([-1230.0, side * 130, 900]), np.array([-1700.0, side * 140, 560]), 15.0, STEEL)
    scene.lump((-1165, 0, 700), (60, 110, 100), BLACK, 0.1, 0.7)
