"""Renders the demo photographs of Dunlin and Plover, and sets their marks as a hand would.

Run it from the repository's root:  python models/render_photographs.py [CAR ...] [--check]
(needs the extra `viewer`; no screen). `--check` renders small bright balls in place of a car and prints how far their
middles fall from where the camera model puts them.

Truth: the tables of the car, the right side off by 1.5 mm, every joint's visible middle off by 3 mm (the same for both
cars), and in each picture the car at its own travel and rack (`SHOTS`). Marks are set where the rendered depth says
that a feature can be seen, with the deviations that the files of photographs state.
"""

from __future__ import annotations

import csv
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyvista as pv
from numpy.typing import NDArray
from photo_car import RIM_MM, RIM_OUT_MM, Corner, Livery, Scene, Wheel, add_body, add_corner
from PIL import Image
from scipy.ndimage import gaussian_filter

import kin3d
from kin3d.linkage.layout_file import builtin
from kin3d.linkage.resolve import points_needed, resolve
from kin3d.photographs.camera import Cameras
from kin3d.photographs.lanes import spin
from kin3d.solve.upright import pose, upright_of
from kin3d.studies.construction import construct_at

Array = NDArray[np.float64]
HERE = Path(__file__).parent
SIZE = (2000, 1333)
SIGMA = {"point": 1.0, "leg": 0.75, "rim": 0.75, "contact": 2.5}  # px; twice that in a picture 4,000 px wide
ON_TUBE = (0.1, 0.3, 0.5, 0.7, 0.9)  # of the part of a tube that is seen, where it is marked
ON_RIM = 12  # places around a rim
ASYMMETRY_MM, JOINT_MM = 1.5, 3.0
SEED = {"dunlin": 20, "plover": 21, "joints": 22}
MIRROR = np.array([1.0, -1.0, 1.0])


@dataclass(frozen=True)
class Shot:
    """Where a picture is taken from, and how the car stands in it.

    Azimuth off the nose to the car's left; what the picture's width covers at the car; travel of the wheels front
    left, front right, rear left, rear right and the rack, mm.
    """

    name: str
    azimuth_deg: float
    height_mm: float
    focal_mm: float
    width_mm: float
    ahead_mm: float
    roll_deg: float
    stands: tuple[float, float, float, float, float]


SHOTS = {
    "dunlin": (
        Shot("front", 0.8, 1700.0, 400.0, 2020.0, 0.0, 0.3, (1.0, 1.3, 0.8, 1.1, -1.5)),
        Shot("quarter", 37.0, 1320.0, 50.0, 3350.0, -700.0, -0.6, (-0.7, -0.4, -1.2, -1.0, 6.5)),
        Shot("low", -15.5, 350.0, 200.0, 2150.0, -60.0, 0.2, (1.1, 0.7, 1.1, 1.3, 2.0)),
    ),
    "plover": (
        Shot("front", -0.9, 1660.0, 400.0, 2060.0, 0.0, -0.4, (-1.1, -1.4, -0.6, -0.9, 2.5)),
        Shot("quarter", 39.5, 1260.0, 50.0, 3300.0, -680.0, 0.5, (0.7, 1.0, 1.0, 1.2, -7.5)),
        Shot("low", -14.0, 365.0, 200.0, 2120.0, -40.0, -0.3, (-0.3, 0.1, 0.3, 0.0, -3.0)),
    ),
}  # fmt: skip
LIVERIES = {
    "dunlin": Livery((0.42, 0.030, 0.022), (0.70, 0.68, 0.60), (0.66, 0.66, 0.64), (0.20, 0.20, 0.21), "7"),
    "plover": Livery((0.016, 0.075, 0.26), (0.75, 0.40, 0.03), (0.75, 0.40, 0.03), (0.36, 0.28, 0.10), "12"),
}


def corners_of(name: str, shot: Shot) -> list[Corner]:
    """The four corners of a car as it stands in a picture."""
    car = kin3d.load(HERE / name / "car.toml")
    layout = builtin("double wishbone")
    upright = upright_of(resolve(layout, points_needed(layout, {}), {}))
    count = len(upright.points)
    rng = np.random.default_rng(SEED[name])
    off = np.random.default_rng(SEED["joints"]).normal(0.0, JOINT_MM, (count, 3))
    rack, out = shot.stands[4], []
    for k, axle in enumerate((car.front, car.rear)):
        sign = np.array([1.0, 1.0 if axle.side == "left" else -1.0, 1.0])
        left = np.stack([axle.points[p] * sign for p in upright.points])
        lean = np.arctan(ASYMMETRY_MM / (2.0 * RIM_MM))
        apart, tilt = rng.normal(0.0, ASYMMETRY_MM, (count, 3)), rng.normal(0.0, lean, 2)
        for side, mirror in (("left", np.ones(3)), ("right", MIRROR)):
            design = left + (apart if side == "right" else 0.0)
            angles = np.radians([axle.camber_deg, axle.toe_deg]) + (tilt if side == "right" else 0.0)
            travel = shot.stands[2 * k + (side == "right")]
            steer = rack * mirror[1] if axle.name == "front" else 0.0
            at = pose(upright, design[None], np.array([travel]), np.array([steer]))
            places = at.points(upright, design[None], np.array([steer]))[0]
            axis = at.turn[0] @ spin(*(np.array([a]) for a in angles))[0][0]
            turn = np.where(upright.on_upright[:, None, None], at.turn[0], np.eye(3))
            marked = places + (turn @ off[..., None])[..., 0]
            solved = construct_at(car, axle.name, [travel], rack if axle.name == "front" else 0.0)
            more = next(s for s in solved if np.isclose(s.heave_mm, travel)).wheel(side).points
            wheel = Wheel(axle.name, places[upright.centre] * mirror, axis * mirror, axle.loaded_radius_mm)
            legs = [(upright.points[i], upright.points[o]) for i, o in upright.tubes]
            true, seen = (dict(zip(upright.points, x * mirror, strict=True)) for x in (places, marked))
            out.append(Corner(wheel, true, seen, legs, more))
    return out


def contact(wheel: Wheel) -> Array:
    """The lowest place of a wheel's disc."""
    down = np.array([0.0, 0.0, 1.0]) - wheel.axis[2] * wheel.axis
    return wheel.centre - wheel.radius * down / np.linalg.norm(down)


def camera_of(shot: Shot) -> Cameras:
    """The camera of a picture, in the car's frame."""
    azimuth, f = np.radians(shot.azimuth_deg), shot.focal_mm / 36.0 * SIZE[0]
    per_px = shot.width_mm / SIZE[0]
    target = np.array([shot.ahead_mm, 0.0, 300.0])
    up = np.arcsin((shot.height_mm - target[2]) / (f * per_px))
    forward = -np.array([np.cos(up) * np.cos(azimuth), np.cos(up) * np.sin(azimuth), np.sin(up)])
    right = np.cross(forward, [0.0, 0.0, 1.0])
    right /= np.linalg.norm(right)
    roll = np.radians(shot.roll_deg)
    spun = np.array([[np.cos(roll), -np.sin(roll), 0.0], [np.sin(roll), np.cos(roll), 0.0], [0.0, 0.0, 1.0]])
    turn = spun @ np.stack([right, np.cross(forward, right), forward])
    middle = np.array(SIZE) / 2.0
    numbers = np.array([0.0, 0.0, 0.0, *middle, np.log(per_px), np.log(f), *middle, 0.0])
    return Cameras(turn[None], numbers[None], target[None], np.array([0.5 * np.hypot(*SIZE)]))


def pixels(camera: Cameras, places: Array) -> tuple[Array, Array]:
    """Where places fall, px, and how far they lie before the camera, mm."""
    view = camera.seen(np.zeros(len(places), dtype=np.intp), places)
    return view.pixels, view.place[:, 2]


class Studio:
    """A plotter that looks as a camera does."""

    def __init__(self, camera: Cameras, near: float, far: float) -> None:
        self.plotter = pv.Plotter(off_screen=True, window_size=list(SIZE), lighting="none")
        self.plotter.set_background("black")
        cam, turn = self.plotter.camera, camera.turn[0]
        eye = camera.centres()[0]
        cam.position, cam.focal_point, cam.up = eye, eye + 1000.0 * turn[2], -turn[1]
        cam.view_angle = float(np.degrees(2.0 * np.arctan(0.5 * SIZE[1] / np.exp(camera.numbers[0, 6]))))
        cam.clipping_range = (near, far)
        self.range = (near, far)

    def picture(self, shift: tuple[float, float] = (0.0, 0.0)) -> Array:
        """Linear light, shape (height, width, 3); `shift` moves the picture by parts of a pixel."""
        self.plotter.camera.SetWindowCenter(2.0 * shift[0] / SIZE[0], 2.0 * shift[1] / SIZE[1])
        self.plotter.camera.clipping_range = self.range
        self.plotter.render()
        return np.asarray(self.plotter.screenshot(return_img=True), float) / 255.0

    def depth(self) -> Array:
        """How far each pixel's surface lies before the camera, mm; infinite where there is none."""
        self.picture()
        far = np.abs(np.asarray(self.plotter.get_image_depth(), float))
        return np.where(np.isfinite(far), far, np.inf)


def lights() -> list[tuple[Array, float]]:
    """Directions towards the light and their parts: a soft sun to the car's front left, and an overcast sky."""
    rng = np.random.default_rng(5)
    sun = np.array([0.50, 0.42, 0.76])
    out = []
    for _ in range(4):
        way = sun + rng.normal(0.0, 0.055, 3)
        out.append((way / np.linalg.norm(way), 0.58 / 4))
    count = 8
    for k in range(count):  # a sky that is brighter above, evenly spread
        height, turn = 0.10 + 0.88 * (k + 0.5) / count, 2.39996 * k
        flat = np.sqrt(1.0 - height**2)
        out.append((np.array([flat * np.cos(turn), flat * np.sin(turn), height]), 0.85 * (0.6 + 0.6 * height) / count))
    return out


def tarmac(rng: np.random.Generator) -> Array:
    """Linear colours of the ground, 5 mm a pixel, 12 × 12 m, with grit, patches, skid marks and worn lines."""
    n = 2560
    grit = rng.standard_normal((n, n), dtype=np.float32)
    tone = 0.15 * np.exp(0.20 * grit + 0.35 * gaussian_filter(grit, 1.4) * 3.0
                          + 6.0 * gaussian_filter(grit, 30))  # fmt: skip
    side = (np.arange(n, dtype=np.float32) + 0.5) * 12000.0 / n - 6000.0
    x, y = side[:, None], side[None, :]
    for across, dark in ((700.0, 0.35), (-820.0, 0.25), (1900.0, 0.3)):
        wobble = across + 90.0 * np.sin(x / 2600.0 + across)
        tone *= 1.0 - dark * np.exp(-(((y - wobble) / 120.0) ** 2)) * np.clip(1.1 - np.abs(x + 1500.0) / 5200.0, 0, 1)
    out = tone[..., None] * np.array([1.0, 0.985, 0.96], np.float32)
    worn = gaussian_filter(rng.standard_normal((n, n), dtype=np.float32), 2.0) * 7.0
    keep = np.clip(1.9 + 0.5 * worn + 0.35 * np.clip(grit, -1, 1), 0.0, 1.0)
    line = (
        (np.abs(y - 1480.0) < 55.0) | (np.abs(y + 1560.0) < 55.0) | ((np.abs(x - 1350.0) < 60.0) & (np.abs(y) < 1500))
    )
    paint = keep[..., None] * np.array([0.50, 0.49, 0.46]) * (1.0 + 0.06 * grit[..., None])
    return np.clip(np.where((line & (keep > 0.05))[..., None], np.maximum(paint, out), out), 0.0, 1.0)


def add_ground(studio: Studio, contacts: Array, image: Array, flat: float) -> None:
    """The ground through the tyres' contact points; with `flat` it shines by itself, that bright."""
    matrix = np.column_stack([contacts[:, :2], np.ones(4)])
    a, b, c = np.linalg.lstsq(matrix, contacts[:, 2], rcond=None)[0]
    plane = pv.Plane(i_size=12000.0, j_size=12000.0, i_resolution=60, j_resolution=60)
    plane.points[:, 2] = a * plane.points[:, 0] + b * plane.points[:, 1] + c
    plane.active_texture_coordinates = (plane.points[:, [1, 0]] / 12000.0 + 0.5).astype(np.float32)
    shine = np.clip(image[::-1] * (flat or 1.0), 0.0, 1.0)
    texture = pv.numpy_to_texture((shine * 255).round().astype(np.uint8))
    texture.mipmap = texture.interpolate = True
    look = {"ambient": 1.0, "diffuse": 0.0} if flat else {"ambient": 0.0, "diffuse": 1.0, "specular": 0.0}
    studio.plotter.add_mesh(plane, texture=texture, **look)


def backdrop(camera: Cameras, flat: float, rng: np.random.Generator) -> Array:
    """Linear light of what lies far behind: tarmac, a kerb, grass, a hedge, a pale sky; out of focus later."""
    u, v = np.meshgrid(np.arange(SIZE[0]) + 0.5, np.arange(SIZE[1]) + 0.5)
    f = np.exp(camera.numbers[0, 6])
    ray = np.stack([(u - SIZE[0] / 2) / f, (v - SIZE[1] / 2) / f, np.ones_like(u)], axis=-1) @ camera.turn[0]
    eye = camera.centres()[0]
    with np.errstate(all="ignore"):
        reach = np.where(ray[..., 2] < -1e-6, -eye[2] / ray[..., 2], np.inf)
    far = np.hypot(*(reach[..., None] * ray[..., :2] + eye[:2]).transpose(2, 0, 1))
    slope = ray[..., 2] / np.hypot(ray[..., 0], ray[..., 1])
    azimuth = np.arctan2(ray[..., 1], ray[..., 0])
    wave = sum(np.sin(azimuth * k + p) / k**0.6 for k, p in ((31, 0.3), (83, 1.0), (190, 2.2), (410, 4.0)))
    hedge = 0.052 + 0.010 * wave
    out = np.full((*u.shape, 3), 0.0)
    sky = np.clip(slope * 4.0, 0.0, 1.0)[..., None]
    out[:] = np.array([0.72, 0.76, 0.80]) * (1.0 - 0.25 * sky) + np.array([0.0, 0.02, 0.06]) * sky
    leaves = (0.045 + 0.02 * rng.normal(0, 1, (SIZE[1], SIZE[0])))[..., None] * np.array([0.8, 1.25, 0.55])
    out[slope < hedge] = np.clip(leaves, 0.004, 1.0)[slope < hedge]
    grass = (0.10 + 0.02 * rng.normal(0, 1, (SIZE[1], SIZE[0])))[..., None] * np.array([0.85, 1.2, 0.45])
    out[np.isfinite(reach)] = np.clip(grass, 0.01, 1.0)[np.isfinite(reach)] * flat
    kerb = np.isfinite(reach) & (far < 15500.0)
    out[kerb] = (
        np.where((np.floor(azimuth * 24.0) % 2 == 0)[kerb][:, None], [0.42, 0.40, 0.37], [0.33, 0.05, 0.04]) * flat
    )
    out[np.isfinite(reach) & (far < 14800.0)] = np.array([0.155, 0.153, 0.149]) * flat
    return out


def render(name: str, shot: Shot, corners: list[Corner], image: Array) -> tuple[Array, Array]:
    """A picture (height, width, 3), 0 to 1 as in a file, and the depth behind each pixel."""
    camera = camera_of(shot)
    scene = Scene()
    front = corners[0].points
    look = LIVERIES[name]
    add_body(scene, look, float(front["lower_front"][1]), float(front["upper_front"][1]))
    for k, corner in enumerate(corners):
        add_corner(scene, corner, look, 0.4 + 1.3 * k)
    contacts = np.stack([contact(c.wheel) for c in corners])
    sources = lights()
    flat = sum(part * way[2] for way, part in sources)
    middle = float(pixels(camera, np.array([[0.0, 0.0, 300.0]]))[1][0])
    studio = Studio(camera, max(300.0, middle - 6500.0), middle + 9000.0)
    for mesh, style in scene.parts:
        studio.plotter.add_mesh(mesh, smooth_shading=True, **style)
    depth = studio.depth()
    body = np.isfinite(depth)
    add_ground(studio, contacts, image, 0.0)
    every = studio.depth()
    studio.plotter.enable_shadows()
    rng = np.random.default_rng(9)
    total = np.zeros((SIZE[1], SIZE[0], 3))
    for way, part in sources:
        studio.plotter.remove_all_lights()
        light = pv.Light(position=way * 20000.0, focal_point=(0, 0, 0), light_type="scene light")
        light.positional = False
        studio.plotter.add_light(light)
        total += part * studio.picture(tuple(rng.uniform(-0.5, 0.5, 2)))
    studio.plotter.close()
    ground = Studio(camera, max(300.0, middle - 6500.0), middle + 9000.0)
    add_ground(ground, contacts, image, flat)
    empty = ground.picture()
    near = np.isfinite(every)
    ground.plotter.close()
    behind = backdrop(camera, flat, rng)
    behind = np.where((empty.sum(axis=2) > 0.0)[..., None], empty, behind)
    return _developed(total, behind, body, near, every, middle, rng), every


def _developed(
    total: Array, behind: Array, body: Any, near: Any, depth: Array, middle: float, rng: np.random.Generator
) -> Array:
    """What stands in focus over what does not; exposure, tone, vignette, grain."""
    focus = np.where(near, np.clip((middle + 4200.0 - np.where(near, depth, 0.0)) / 1500.0, 0.0, 1.0), 0.0)
    focus = gaussian_filter(np.where(body, 1.0, focus), 0.7)
    soft = np.stack([gaussian_filter(behind[..., k], 9.0, mode="nearest") for k in range(3)], axis=-1)
    light = focus[..., None] * total + (1.0 - focus[..., None]) * soft
    u, v = np.meshgrid(np.linspace(-1, 1, SIZE[0]), np.linspace(-0.67, 0.67, SIZE[1]))
    light = light * (1.0 - 0.16 * (u**2 + v**2))[..., None] * 1.55
    glow = np.stack([gaussian_filter(np.maximum(light[..., k] - 0.8, 0.0), 6.0) for k in range(3)], axis=-1)
    light = light + 0.3 * glow
    light = light * (1.0 + 0.10 * light) / (1.0 + 0.45 * light) * 1.18  # a soft shoulder
    out = np.clip(light, 0.0, 1.0) ** (1.0 / 2.2)
    grain = rng.normal(0.0, 1.0, (SIZE[1], SIZE[0]))
    return np.clip(out + 0.010 * gaussian_filter(grain, 0.6)[..., None], 0.0, 1.0)


def marks_of(shot: Shot, corners: list[Corner], depth: Array, rng: np.random.Generator) -> list[tuple[Any, ...]]:
    """What a hand marks in a picture: joints, places on each tube and rim, contact points."""
    camera = camera_of(shot)

    def seen(places: Array, before_mm: float) -> tuple[Array, NDArray[np.bool_]]:
        """Pixels, and whether nothing stands more than `before_mm` before the place."""
        at, far = pixels(camera, places)
        col, row = np.floor(at).astype(int).T
        inside = (col > 12) & (row > 12) & (col < SIZE[0] - 12) & (row < SIZE[1] - 12)
        there = depth[np.clip(row, 0, SIZE[1] - 1), np.clip(col, 0, SIZE[0] - 1)]
        return at, inside & (there > far - before_mm)

    out: list[tuple[Any, ...]] = []

    def put(kind: str, name: str, side: str, at: Array) -> None:
        u, v = at + rng.normal(0.0, SIGMA[kind], 2)
        out.append((shot.name, kind, name, side, round(float(u), 1), round(float(v), 1), "", ""))

    for corner in corners:
        wheel, side = corner.wheel, "left" if corner.wheel.centre[1] > 0.0 else "right"
        if wheel.axle == "front":
            for name, place in corner.marked.items():
                # an inboard joint stands free, with its own tube before it at most; before an outer one are spokes
                at, there = seen(place[None], 24.0 if name.endswith("outer") else 40.0)
                if there[0] and name != "wheel_centre":
                    put("point", name, side, at[0])
            for inner, outer in corner.legs:
                along = corner.points[inner] + np.linspace(0.04, 0.96, 93)[:, None] * (
                    corner.points[outer] - corner.points[inner]
                )
                at, there = seen(along, 18.0)
                found = np.flatnonzero(there)
                if len(found) > 7:
                    for part in ON_TUBE:
                        put("leg", inner, side, at[found[round(part * (len(found) - 1))]])
        ahead = np.cross(wheel.axis, [0.0, 0.0, 1.0])
        ahead /= np.linalg.norm(ahead)
        turn = np.linspace(0.0, 2.0 * np.pi, ON_RIM, endpoint=False) + 0.3
        edge = np.cos(turn)[:, None] * ahead + np.sin(turn)[:, None] * np.cross(wheel.axis, ahead)
        at, there = seen(wheel.centre + RIM_OUT_MM[wheel.axle] * wheel.axis + RIM_MM * edge, 7.0)
        if (camera.centres()[0] - wheel.centre) @ wheel.axis > 0.0 and there.sum() >= 5:
            for k in np.flatnonzero(there):
                put("rim", wheel.axle, side, at[k])
        at, there = seen(contact(wheel)[None], 210.0)
        if there[0]:
            put("contact", wheel.axle, side, at[0])
    return out


def make(name: str) -> None:
    """Write the pictures and the marks of one car."""
    folder = HERE / name / "photos"
    folder.mkdir(exist_ok=True)
    rng = np.random.default_rng(SEED[name] + 100)
    marks = []
    image = tarmac(np.random.default_rng(SEED[name]))
    for shot in SHOTS[name]:
        corners = corners_of(name, shot)
        picture, depth = render(name, shot, corners, image)
        Image.fromarray((picture * 255.0).round().astype(np.uint8)).save(
            folder / f"{shot.name}.jpg", quality=84, optimize=True
        )
        marks += marks_of(shot, corners, depth, rng)
    with (folder / "front.marks.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(("photo", "kind", "name", "side", "u", "v", "sigma_px", "note"))
        writer.writerows(marks)
    print(f"{name}: {len(marks)} marks in {len(SHOTS[name])} photographs")


def check() -> None:
    """Print how far rendered balls fall from where the camera model puts them, px."""
    rng = np.random.default_rng(1)
    for shot in SHOTS["dunlin"]:
        camera = camera_of(shot)
        places = rng.uniform([-900, -700, 60], [300, 700, 600], (40, 3))
        at, far = pixels(camera, places)
        kept = (at > 60).all(axis=1) & (at < np.array(SIZE) - 60).all(axis=1)
        misses = []
        for place, want, reach in zip(places[kept], at[kept], far[kept], strict=True):
            studio = Studio(camera, 200.0, 40000.0)
            radius = 9.0 * reach / np.exp(camera.numbers[0, 6])
            ball = pv.Sphere(radius=radius, center=place, theta_resolution=60, phi_resolution=60)
            studio.plotter.add_mesh(ball, color="white", ambient=1.0, diffuse=0.0)
            light = studio.picture().sum(axis=2)
            middle = [(np.arange(n) + 0.5) @ light.sum(k) / light.sum() for k, n in enumerate(SIZE)]
            misses.append(np.hypot(*(np.array(middle) - want)))
            studio.plotter.close()
        print(f"{shot.name}: {len(misses)} balls, farthest {max(misses):.3f} px off")


if __name__ == "__main__":
    chosen = [a for a in sys.argv[1:] if not a.startswith("--")] or list(SHOTS)
    if "--check" in sys.argv:
        check()
    else:
        for car in chosen:
            make(car)
