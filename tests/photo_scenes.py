"""Synthetic photographs of the demo cars: cameras, marks with noise, and a truth with asymmetry and marked joints off.

The cars stand as in the issue's table: pictures 4,000 px wide, points marked to 2 px, legs and rims to 1.5 px, contacts
to 5 px; the tub hides what is behind it, a wheel what is behind the wheel.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from functools import cache
from math import radians
from pathlib import Path

import numpy as np

import kin3d
from kin3d.linkage.layout import WHEEL_CENTRE
from kin3d.linkage.layout_file import builtin
from kin3d.linkage.resolve import points_needed, resolve
from kin3d.photographs.model import Model, State
from kin3d.photographs.parameters import Parameters, parameters_of
from kin3d.reading.photo_records import CarPhotos, Figure, Mark, Photo
from kin3d.solve.upright import pose, slopes, upright_of

MODELS = Path(__file__).parents[1] / "models"
SIZE = (4000.0, 2667.0)
OF_BOTH = ("wheelbase_mm", "loaded_radius_mm", "rim_diameter_mm", "rim_offset_mm")
SIGMA = {"point": 2.0, "leg": 1.5, "rim": 1.5, "contact": 5.0}


@dataclass(frozen=True)
class Shot:
    """Where a photograph is taken from: azimuth off the nose (deg, to the car's left), height, focal length, fill."""

    name: str
    azimuth_deg: float
    height_mm: float
    focal_mm: float
    focal_known: bool = True
    cropped: bool = False
    width_mm: float = 2100.0  # what the picture's width covers there
    ahead_mm: float = 0.0  # where the camera looks at, along the car


FRONT = Shot("front", 0.0, 900.0, 400.0, width_mm=2000.0)
QUARTER = Shot("quarter", 38.0, 1300.0, 50.0, width_mm=3300.0, ahead_mm=-700.0)
LOW = Shot("low", -15.0, 350.0, 200.0, width_mm=2100.0)
SIDE = Shot("side", 88.0, 900.0, 85.0, width_mm=3800.0, ahead_mm=-1150.0)
# of a rear axle: from behind, from three quarters behind, low from behind
BEHIND = (
    Shot("behind", 180.0, 900.0, 400.0, width_mm=2000.0, ahead_mm=-2380.0),
    Shot("quarter", 142.0, 1300.0, 50.0, width_mm=3300.0, ahead_mm=-1680.0),
    Shot("low", 195.0, 350.0, 200.0, width_mm=2100.0, ahead_mm=-2380.0),
)


def double_wishbone(rod_on: str | None = None):
    """The upright of the built-in layout, with rod and rocker where `rod_on` is given."""
    keys = {"rod_on": rod_on} if rod_on else {}
    layout = builtin("double wishbone")
    return upright_of(resolve(layout, points_needed(layout, keys), keys))


@cache
def design(name: str, axle: str = "front", rods: bool = False) -> dict[str, np.ndarray]:
    """Left-hand points of a demo car's axle, vehicle frame, mm; with those of rod and rocker if wanted."""
    axle = kin3d.load(MODELS / name / "car.toml").axle(axle)
    sign = np.array([1.0, 1.0 if axle.side == "left" else -1.0, 1.0])
    return {p: axle.points[p] * sign for p in double_wishbone(axle.rod_on if rods else None).points}


@cache
def axle_of(name: str):
    return kin3d.load(MODELS / name / "car.toml")


@dataclass(frozen=True)
class Scene:
    """Marks of one or two cars, and what is true."""

    car: CarPhotos
    parameters: Parameters
    truth: State
    model: Model


def blank(
    name, shots, *, template=None, same_as=None, shares=(), travel=4.0, box=40.0, rng=None, axle="front", rods=False
):
    """A car's file without marks that starts from `template`; with `rng`, figures are off as they may be."""
    car = axle_of(name)
    photos = tuple(_photo(s, travel) for s in shots)
    points = template if template is not None else design(name, axle, rods)
    own, other = car.axle(axle), car.axle("rear" if axle == "front" else "front")
    sign = 1.0 if other.side == "left" else -1.0
    known = {
        "wheelbase_mm": Figure(car.data.wheelbase_mm, 2.0, True),
        "rim_diameter_mm": Figure(354.2, 2.0, True),
        "rim_offset_mm": Figure(0.0, 10.0),
        "loaded_radius_mm": Figure(own.loaded_radius_mm, 3.0, True),
        "half_track_mm": Figure(float(design(name, axle)[WHEEL_CENTRE][1]), 30.0, True),
        "camber_deg": Figure(own.camber_deg, 0.5, True),
        "toe_deg": Figure(own.toe_deg, 0.3, True),
        "other_camber_deg": Figure(other.camber_deg, 2.0),
        "other_toe_deg": Figure(other.toe_deg, 0.5),
        "other_loaded_radius_mm": Figure(other.loaded_radius_mm, 15.0),
        "other_rim_diameter_mm": Figure(354.2, 20.0),
        "other_rim_offset_mm": Figure(0.0, 10.0),
        "other_half_track_mm": Figure(sign * float(other.points[WHEEL_CENTRE][1]), 40.0),
    }
    if rng is not None:
        known = {k: replace(f, value=f.value + f.sigma * rng.normal()) for k, f in known.items()}
        if same_as is not None:  # what is shared is written in the other car's file
            known |= {k: same_as.known[k] for k in known if k in OF_BOTH}
    return CarPhotos(
        title=name, source=Path(f"{name}.photos.toml"), layout=builtin("double wishbone"), side="left", axle=axle,
        template=points, box_mm=Figure(box, 0.0), joint_mm=Figure(3.0, 0.0), asymmetry_mm=Figure(1.5, 0.0), known=known,
        photos=photos, marks=(), marks_file=Path(f"{name}.marks.csv"), same_as=same_as, shares=frozenset(shares),
        layout_keys={"rod_on": own.rod_on} if rods else {},
    )  # fmt: skip


def _photo(shot: Shot, travel: float) -> Photo:
    px = shot.focal_mm / 36.0 * SIZE[0]
    focal = Figure(px, 0.02, True) if shot.focal_known else Figure(1.5 * SIZE[0], float(np.log(2.0)))
    return Photo(
        name=shot.name, file=None, size_px=SIZE, focal_px=focal,
        centre_sigma_px=(0.25 if shot.cropped else 0.005) * SIZE[0], distortion_sigma=0.01,
        travel_mm=Figure(0.0, travel, True), rear_travel_mm=Figure(0.0, travel, True), rack_mm=Figure(0.0, 8.0, True),
    )  # fmt: skip


def aim(shot: Shot, jitter: np.random.Generator | None = None):
    """Turn, principal point and place of a shot that looks at the front axle: (turn, u0, v0, mm per px, f px)."""
    rng = jitter
    off = (lambda s: rng.normal(0.0, s)) if rng is not None else (lambda s: 0.0)
    azimuth = radians(shot.azimuth_deg + off(3.0))
    f = shot.focal_mm / 36.0 * SIZE[0]
    per_px = shot.width_mm * (1.0 + off(0.04)) / SIZE[0]
    distance = f * per_px
    target = np.array([shot.ahead_mm + off(40.0), off(40.0), 260.0 + off(30.0)])
    elevation = np.arcsin(np.clip((shot.height_mm * (1.0 + off(0.1)) - 260.0) / distance, -0.5, 0.9))
    back = np.array([np.cos(elevation) * np.cos(azimuth), np.cos(elevation) * np.sin(azimuth), np.sin(elevation)])
    forward = -back
    right = np.cross(forward, [0.0, 0.0, 1.0])
    right /= np.linalg.norm(right)
    down = np.cross(forward, right)
    turn = np.stack([right, down, forward])
    roll = radians(off(1.0))
    spin = np.array([[np.cos(roll), -np.sin(roll), 0.0], [np.sin(roll), np.cos(roll), 0.0], [0.0, 0.0, 1.0]])
    return spin @ turn, target, distance, f


def scene(
    names, shots, seed, *, travel=4.0, shares=("tyre", "rim", "wheelbase", "joint marking"), noise=True,
    template_off=0.0, right=True, wheels=True, legs=True, contacts=True, inboard=True, axle="front", rods=False,
):  # fmt: skip
    """Marks of one car or of two cars that share `shares`; what is known only so well is drawn accordingly."""
    rng = np.random.default_rng(seed)
    cars = []
    for exact in (True, False):
        car = None
        for name in names:
            template = {k: v.copy() for k, v in design(name, axle, rods).items()}
            if template_off and not exact:
                template = {k: v + rng.uniform(-template_off, template_off, 3) for k, v in template.items()}
            car = blank(
                name, shots, template=template, same_as=car, shares=shares if car else (), travel=travel,
                rng=rng if noise and not exact else None, axle=axle, rods=rods,
            )  # fmt: skip
        cars.append(_named_apart(car))
    numbers, targets, turns = _truth(parameters_of(cars[0]), shots, rng, noise)
    marked = _mark_all(cars[1], numbers, targets, turns, rng, noise, (right, wheels, legs, contacts, inboard))
    parameters = parameters_of(marked)
    model = Model(parameters)
    return Scene(marked, parameters, _at_reference(model, numbers, targets, turns), model)


def _named_apart(car):
    """Photographs of two cars under names that tell them apart."""
    if car.same_as is None:
        return car

    def named(one):
        return tuple(replace(p, name=f"{one.title} {p.name}") for p in one.photos)

    first = replace(car.same_as, photos=named(car.same_as))
    return replace(car, same_as=first, photos=named(car))


def _truth(parameters, shots, rng, noise):
    """True values of all parameters, where each camera looks at, and its turn."""
    numbers = parameters.value.copy()
    if noise:
        for k, p in enumerate(parameters.listed):
            if p.group in ("other side", "joints", "position") or p.name == "distortion":
                numbers[k] += p.sigma * rng.normal()
    turns, targets = np.zeros((len(parameters.photos), 3, 3)), np.zeros((len(parameters.photos), 3))
    for k in range(len(parameters.photos)):
        shot, index = shots[k % len(shots)], parameters.pictures[k]
        turns[k], targets[k], distance, f = aim(shot, rng if noise else None)
        factor = np.exp(rng.normal(0.0, 0.02)) if noise else 1.0
        middle = np.array(SIZE) / 2
        if noise and shot.cropped:
            middle = middle + rng.uniform(-0.25, 0.25, 2) * SIZE[0]
        elif noise:
            middle = middle + rng.normal(0.0, 0.005 * SIZE[0], 2)
        numbers[index[3:9]] = [SIZE[0] / 2, SIZE[1] / 2, np.log(distance / f), np.log(f * factor), *middle]
    return numbers, targets, turns


def _at_reference(model, numbers, targets, turns):
    """The state whose cameras refer to the model's own reference points in place of where they look at."""
    numbers = numbers.copy()
    for k, target in enumerate(targets):
        index = model.parameters.pictures[k]
        u0, v0, scale, log_f, cx, cy = numbers[index[3:9]]
        f = np.exp(log_f)
        place = np.exp(scale) * np.array([u0 - cx, v0 - cy, f]) + turns[k] @ (model.reference[k] - target)
        numbers[index[3:6]] = [cx + f * place[0] / place[2], cy + f * place[1] / place[2], np.log(place[2] / f)]
    return model.state(numbers, turns.copy())


def _mark_all(car, numbers, targets, turns, rng, noise, what):
    """Fill in the marks: every feature that can be seen, projected, with noise."""
    done = None
    for one in car.cars():
        upright = upright_of(one.linkage())
        marks = tuple(m for p in one.photos for m in _wanted(p, upright, *what))
        done = replace(one, marks=marks, same_as=done)
    model = Model(parameters_of(done))
    places = visible_pixels(model, _at_reference(model, numbers, targets, turns))
    out = None
    for c, one in enumerate(done.cars()):
        marks = []
        for k, (owner, mark) in enumerate(model.marks):
            if owner == c and places[k] is not None:
                u, v = places[k]
                if noise:
                    u, v = np.array([u, v]) + rng.normal(0.0, mark.sigma_px, 2)
                if 0 <= u <= SIZE[0] and 0 <= v <= SIZE[1]:
                    marks.append(replace(mark, u=float(u), v=float(v), row=len(marks) + 2))
        rims = Counter((m.photo, m.name, m.side) for m in marks if m.kind == "rim")
        marks = [m for m in marks if m.kind != "rim" or rims[m.photo, m.name, m.side] >= 5]
        out = replace(one, marks=tuple(marks), same_as=out)
    return out


def _wanted(photo, upright, right, wheels, legs, contacts, inboard):
    """Candidate marks of one photograph; legs and rims carry their place along the curve in `note`."""
    out = []
    for side in ("left", "right") if right else ("left",):
        for name in upright.points:
            if not inboard and not upright.on_upright[upright.index(name)]:
                continue
            out.append(Mark(photo.name, "point", name, side, 0.0, 0.0, SIGMA["point"]))
        if legs:
            for inner, _ in upright.tubes:
                for part in (0.2, 0.45, 0.7):
                    out.append(
                        Mark(photo.name, "leg", upright.points[inner], side, 0.0, 0.0, SIGMA["leg"], note=str(part))
                    )
        for wheel in ("front", "rear") if wheels else ():
            for angle in np.linspace(0.0, 2 * np.pi, 8, endpoint=False) + 0.2:
                out.append(Mark(photo.name, "rim", wheel, side, 0.0, 0.0, SIGMA["rim"], note=str(angle)))
            if contacts:
                out.append(Mark(photo.name, "contact", wheel, side, 0.0, 0.0, SIGMA["contact"]))
    return out


def visible_pixels(model: Model, truth: State):
    """Where each mark's feature falls, px; None where tub or wheels hide it or it leaves the picture."""
    cameras = model.cameras(truth)
    eyes = cameras.centres()
    out: list = [None] * len(model.marks)
    for c, car in enumerate(model.cars):
        seen = model.seen(truth, c)
        own = [k for k, (owner, _) in enumerate(model.marks) if owner == c]
        for local, k in enumerate(own):
            mark = model.marks[k][1]
            lane = car.lane[local]
            mirror = np.array([1.0, car.mirror[lane], 1.0])
            place = _feature(model, truth, car, seen, lane, local, mark) * mirror
            photo = car.photo[local]
            if _hidden(place, mark, eyes[photo], seen, car, photo, car.which[local]):
                continue
            view = cameras.seen(np.array([photo]), place[None])
            u, v = view.pixels[0]
            if not view.behind[0] and 20 < u < SIZE[0] - 20 and 20 < v < SIZE[1] - 20:
                out[k] = (u, v)
    return out


def _feature(model, truth, car, seen, lane, local, mark):
    if mark.kind == "point":
        which = car.which[local]
        shift = truth.numbers[car.block.joints[which]]
        if car.upright.on_upright[which]:
            shift = seen.pose.turn[lane] @ shift
        return seen.points[lane, which] + shift
    if mark.kind == "leg":
        inner, outer = seen.points[lane, car.which[local]], seen.points[lane, car.outer[local]]
        return inner + float(mark.note) * (outer - inner)
    wheel = seen.wheels[car.which[local]]
    if mark.kind == "contact":
        return wheel.contact()[0][lane]
    return wheel.edge(np.array([lane]), np.array([float(mark.note)]))[0][0]


TUBS = (
    (np.array([-1500.0, -205.0, 95.0]), np.array([480.0, 205.0, 560.0])),
    (np.array([-2800.0, -140.0, 95.0]), np.array([-1500.0, 140.0, 560.0])),  # engine and gearbox
)
TYRE_WIDTH = 170.0


def _hidden(place, mark, eye, seen, car, photo, which):
    """Whether the tub or a tyre stands between the camera and a place (a box, and discs with a width)."""
    ray = place - eye
    reach = np.linalg.norm(ray)
    if any(_through_box(eye, ray, reach, box) for box in TUBS):
        return True
    for lane, (p, side) in enumerate(car.lanes):
        if p != photo:
            continue
        mirror = np.array([1.0, 1.0 if side == "left" else -1.0, 1.0])
        for k, wheel in enumerate(seen.wheels):
            axis = wheel.axis[lane] * mirror
            centre = wheel.centre[lane] * mirror
            own = side == mark.side and mark.kind in ("rim", "contact") and k == which
            if own:
                # the outer face of a wheel is seen from outside only
                if mark.kind == "rim" and np.dot(eye - place, axis) < 0.15 * reach:
                    return True
                continue
            if _through_wheel(eye, ray, centre, axis, wheel.radius[lane]):
                return True
    return False


def _through_box(eye, ray, reach, box):
    with np.errstate(divide="ignore", invalid="ignore"):
        a, b = ((corner - eye) / ray for corner in box)
    enter, leave = np.minimum(a, b).max(), np.maximum(a, b).min()
    return bool(enter < leave and enter < 1.0 - 20.0 / reach and leave > 0.0)


def _through_wheel(eye, ray, centre, axis, radius):
    """Whether a ray passes through a tyre, taken as a cylinder whose outer face stands 65 mm outboard of the centre."""
    reach = np.linalg.norm(ray)
    near = (centre - eye) @ ray / reach**2
    t = near + np.linspace(-1.2, 1.2, 161) * radius / reach
    t = t[(t > 0.0) & (t < 1.0 - 5.0 / reach)]
    off = eye + t[:, None] * ray - centre
    along = off @ axis
    radial = np.sqrt(np.maximum((off**2).sum(axis=-1) - along**2, 0.0))
    return bool(((along > 65.0 - TYRE_WIDTH) & (along < 65.0) & (radial < radius - 2.0)).any())


def write_files(scene: Scene, folder: Path) -> Path:
    """The files of a scene as a user would write them; the path of the last car's file of photographs."""
    path = None
    for car in scene.car.cars():
        stem = car.title
        lines = [f'title = "{car.title}"', f'marks = "{stem}.marks.csv"', f'template = "{stem}.template.csv"']
        lines += [f"box_mm = {car.box_mm.value}", 'layout = "double wishbone"', 'side = "left"', f'axle = "{car.axle}"']
        lines += [f'{key} = "{value}"' for key, value in car.layout_keys.items()]
        if car.same_as is not None:
            what = ", ".join(f'"{w}"' for w in sorted(car.shares))
            lines += ["[same_as]", f'file = "{car.same_as.title}.photos.toml"', f"what = [{what}]"]
        lines += ["[known]"] + [f"{k} = [{f.value!r}, {f.sigma!r}]" for k, f in car.known.items() if f.stated]
        for photo in car.photos:
            lines += ["[[photos]]", f'name = "{photo.name}"', f"size_px = [{photo.size_px[0]:g}, {photo.size_px[1]:g}]"]
            if photo.focal_px.stated:
                lines += [f"focal_mm = {photo.focal_px.value * 36.0 / photo.size_px[0]!r}", "sensor_width_mm = 36"]
            lines += [f"cropped = {'true' if photo.centre_sigma_px > 100.0 else 'false'}"]
            for key in ("travel_mm", "rear_travel_mm", "rack_mm"):
                figure = getattr(photo, key)
                lines += [f"{key} = [{figure.value!r}, {figure.sigma!r}]"]
        path = folder / f"{stem}.photos.toml"
        path.write_text("\n".join(lines) + "\n", "utf-8")
        rows = ["photo,kind,name,side,u,v,sigma_px,note"]
        rows += [f"{m.photo},{m.kind},{m.name},{m.side},{m.u!r},{m.v!r},," for m in car.marks]
        (folder / f"{stem}.marks.csv").write_text("\n".join(rows) + "\n", "utf-8")
        rows = ["point,x,y,z"] + [f"{n},{','.join(repr(float(x)) for x in p)}" for n, p in car.template.items()]
        (folder / f"{stem}.template.csv").write_text("\n".join(rows) + "\n", "utf-8")
    return path


MEASURES = ("roll_centre_height_mm", "anti_dive_pct", "caster_deg")


def measures_of(name, points, camber, toe, radius):
    """Roll centre height, anti-dive and caster of corners by the definitions of the conventions, shape (corners, 3).

    From the upright's exact velocities in the design position; `points` has the shape (corners, points, 3), mm and rad.
    """
    car = axle_of(name)
    upright = double_wishbone()
    nothing = np.zeros(len(points))
    at = pose(upright, points, nothing, nothing)
    along = slopes(upright, points, nothing, at)
    axis = np.stack([np.sin(toe) * np.cos(camber), np.cos(toe) * np.cos(camber), -np.sin(camber)], axis=-1)
    down = np.array([0.0, 0.0, 1.0]) - axis[:, 2:] * axis
    down /= np.linalg.norm(down, axis=-1, keepdims=True)
    centre = points[:, upright.centre]
    contact = centre - radius[:, None] * down
    velocity = along.centre[:, :, -2] + np.cross(along.turn[:, :, -2], contact - centre)
    share, base, height = car.data.front_brake_share, car.data.wheelbase_mm, car.data.cg_height_mm
    lower, upper = (points[:, k] for k in upright.steering_axis)
    king = upper - lower
    return np.stack(
        [
            contact[:, 1] * velocity[:, 1] / velocity[:, 2],
            100.0 * share * velocity[:, 0] / velocity[:, 2] * base / height,
            np.degrees(np.arctan2(-king[:, 0], king[:, 2])),
        ],
        axis=-1,
    )


def measures_with_slopes(scene_parameters, number, name, numbers):
    """Measures of one car of an adjustment, and their derivatives along all parameters, by central differences."""
    block, upright = scene_parameters.blocks[number], scene_parameters.uprights[number]
    own = [*block.points[block.points >= 0], *block.wheel[:3]]
    step = np.array([1e-3] * (len(own) - 3) + [1e-6, 1e-6, 1e-3])
    variants = np.tile(numbers, (2 * len(own) + 1, 1))
    for k, (index, h) in enumerate(zip(own, step, strict=True)):
        variants[2 * k + 1, index] += h
        variants[2 * k + 2, index] -= h
    points = np.zeros((len(variants), *block.points.shape))
    there = block.points >= 0
    points[:, there] = variants[:, block.points[there]]
    camber, toe, radius = (variants[:, k] for k in block.wheel[:3])
    points[:, upright.centre, 2] = radius * np.cos(camber)
    values = measures_of(name, points, camber, toe, radius)
    gradient = np.zeros((3, len(numbers)))
    gradient[:, own] = ((values[1::2] - values[2::2]) / (2.0 * step[:, None])).T
    return values[0], gradient
