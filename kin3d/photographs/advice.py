"""What would help most: the sigma that a wanted measure would have with one more mark, figure or photograph.

To first order, before anything is marked: an observation of slope j (in sigmas) takes (j·C·g)² / (1 + j·C·j) off the
variance g·C·g of a measure with gradient g; a photograph takes it with all its marks at once, its camera being unknown.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from math import inf, pi
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.names import Side
from kin3d.photographs.hiding import FACE, hidden
from kin3d.photographs.marked import rows_of
from kin3d.photographs.model import Model, State
from kin3d.photographs.parameters import RELATIVE, parameters_of
from kin3d.photographs.snooping import Checked
from kin3d.reading.photo_records import SIGMA_PX, CarPhotos, Figure, Mark, MarkKind, Photo

Array = NDArray[np.float64]
BETTER = 4.0  # a figure measured with a quarter of its deviation
AZIMUTHS_DEG = (-90, -60, -40, -20, 0, 20, 40, 60, 90)
SHOTS = ((50.0, 1300.0, 3300.0), (50.0, 400.0, 2600.0), (200.0, 400.0, 2100.0))  # lens, height, width covered, mm
SIZE_PX = (4000.0, 2667.0)
FULL_FRAME_MM = 36.0
FLAT = 1e3  # deviations, in units of a change that matters, of what nothing is known of


@dataclass(frozen=True, slots=True)
class Help:
    """One thing that could be marked, measured or photographed.

    Attributes
    ----------
    kind : {"mark", "figure", "photograph"}
    what : str
        For a person.
    sigma : float
        Of the wanted measure with it, in the measure's unit.
    mark : Mark or None
        Where the mark would be.
    """

    kind: Literal["mark", "figure", "photograph"]
    what: str
    sigma: float
    mark: Mark | None = None


def helps(checked: Checked, gradient: Array) -> tuple[float, tuple[Help, ...]]:
    """What would help a measure of the car asked for, the most helpful first.

    Parameters
    ----------
    checked : Checked
    gradient : ndarray, shape (parameters,)
        Derivative of the measure along the parameters; `LocatedCar.gradient` makes it of one along points.

    Returns
    -------
    sigma : float
        Of the measure now.
    helps : tuple of Help
    """
    parameters = checked.model.parameters
    car = len(parameters.cars) - 1
    factor = checked.spread.factor
    pulled = factor.T @ gradient
    now = float(np.linalg.norm(pulled))
    state = checked.fit.state
    out = [*_figures(checked, factor, pulled)]
    taken = {(m.photo, m.kind, m.name, m.side) for c, m in checked.model.marks if c == car}
    extra = tuple(m for p in parameters.cars[car].photos for m in _visible(checked.model, state, p.name)
                  if (m.photo, m.kind, m.name, m.side) not in taken)  # fmt: skip
    rims: dict[tuple[str, str, str], list[int]] = {}
    if extra:
        model = Model(parameters, [(car, m) for m in extra])
        model.reference = checked.model.reference
        slopes = model.evaluate(model.state(state.numbers, state.turns)).jacobian @ factor
        for k, mark in enumerate(extra):
            if mark.kind == "rim":
                rims.setdefault((mark.photo, mark.name, mark.side), []).append(k)
            else:
                sigma = _with(pulled, slopes[model.rows == k])
                out.append(Help("mark", str(mark), sigma, mark))
        for (photo, name, side), chosen in rims.items():
            sigma = _with(pulled, slopes[np.isin(model.rows, chosen)])
            what = f"{len(chosen)} marks on the rim of the {side} {name} wheel in {photo}"
            out.append(Help("mark", what, sigma, extra[chosen[0]]))
    out += _photographs(checked, factor, pulled)
    return now, tuple(sorted(out, key=lambda h: h.sigma))


def _with(pulled: Array, rows: Array, own: Array | None = None) -> float:
    """Sigma with observations whose slopes times the covariance's factor are `rows`, and further variance `own`."""
    inner = np.eye(len(rows)) + rows @ rows.T
    if own is not None:
        inner += own
    seen = rows @ pulled
    left = float(pulled @ pulled - seen @ np.linalg.solve(inner, seen))
    return float(np.sqrt(max(left, 0.0)))


def _figures(checked: Checked, factor: Array, pulled: Array) -> list[Help]:
    """Every figure that a person can measure, known four times as well."""
    out = []
    for k, p in enumerate(checked.model.parameters.listed):
        if not p.measurable or not 0.0 < p.sigma < inf:
            continue
        # known with sigma / BETTER in all: what is added to the one there is
        added = p.sigma / (BETTER**2 - 1.0) ** 0.5
        degrees = 180.0 / pi if p.name.split()[-1] in ("camber", "toe", "steer") else 1.0
        unit = "°" if degrees != 1.0 else (" %" if p.name in RELATIVE else " mm")
        size = p.sigma / BETTER * (100.0 if p.name in RELATIVE else degrees)
        out.append(Help("figure", f"{p} to {size:.2g}{unit}", _with(pulled, factor[k : k + 1] / added)))
    return out


def _visible(model: Model, state: State, photo: str) -> list[Mark]:
    """Marks that a photograph of the last car would have, but for what its wheels hide, at their predicted places."""
    number = len(model.parameters.cars) - 1
    file, upright = model.parameters.cars[number], model.parameters.uprights[number]
    index = next(k for k, (c, p) in enumerate(model.parameters.photos) if c == number and p.name == photo)
    size = model.parameters.photos[index][1].size_px
    sides: tuple[Side, Side] = ("left", "right")
    both = [(number, Mark(photo, "point", upright.points[0], s, 0.0, 0.0, 1.0)) for s in sides]
    dummy = Model(model.parameters, both)
    dummy.reference = model.reference
    seen = dummy.seen(dummy.state(state.numbers, state.turns), number)
    cameras = dummy.cameras(state)
    eye = cameras.centres()[index]
    found: list[tuple[MarkKind, str, Side, Array]] = []
    wheels = []
    for lane, side in enumerate(sides):
        mirror = np.array([1.0, 1.0 if side == "left" else -1.0, 1.0])
        points = seen.points[lane] * mirror
        found += [("point", n, side, points[i]) for i, n in enumerate(upright.points)]
        for a, b in upright.tubes:
            found.append(("leg", upright.points[a], side, 0.6 * points[a] + 0.4 * points[b]))
        for k, wheel in enumerate(seen.wheels):
            name = file.axle if k == 0 else ("rear" if file.axle == "front" else "front")
            centre, axis = wheel.centre[lane] * mirror, wheel.axis[lane] * mirror
            wheels.append((centre, axis, float(wheel.radius[lane]), float(wheel.rim[lane]), side, name))
            found.append(("contact", name, side, wheel.contact()[0][lane] * mirror))
            if (eye - centre) @ axis > FACE * np.linalg.norm(eye - centre):
                angles = np.linspace(0.0, 2.0 * pi, 8, endpoint=False)
                edge = wheel.edge(np.full(8, lane), angles)[0] * mirror
                found += [("rim", name, side, p) for p in edge]
    places = np.array([p for *_, p in found])
    view = cameras.seen(np.full(len(places), index), places)
    pixels = view.pixels
    edge_px = 0.01 * min(size)
    good = ~view.behind & (pixels > edge_px).all(axis=1) & (pixels < np.array(size) - edge_px).all(axis=1)
    for centre, axis, radius, rim, side, name in wheels:
        own = np.array([k in ("rim", "contact") and n == name and s == side for k, n, s, _ in found])
        good &= own | ~hidden(eye, places, centre, axis, radius, rim)
    marks = [
        Mark(photo, k, n, s, float(pixels[i, 0]), float(pixels[i, 1]), SIGMA_PX[k])
        for i, (k, n, s, _) in enumerate(found) if good[i]
    ]  # fmt: skip
    many = Counter((m.name, m.side) for m in marks if m.kind == "rim")
    return [m for m in marks if m.kind != "rim" or many[m.name, m.side] >= 5]


def _photographs(checked: Checked, factor: Array, pulled: Array) -> list[Help]:
    """One more photograph of the car asked for, from several places with several lenses."""
    out: list[Help] = []
    if all(photo.drawing for photo in checked.model.parameters.cars[-1].photos):
        return out  # who has sheets alone has no car to photograph
    front = checked.model.parameters.cars[-1].axle == "front"
    for lens, height, width in SHOTS:
        for azimuth in AZIMUTHS_DEG:
            about = azimuth + (0.0 if front else 180.0)  # off the end of the car where the axle is
            sigma, count = _photograph(checked, factor, pulled, (lens, height, width, about))
            if count:
                end, straight = ("nose", "straight ahead") if front else ("tail", "straight behind")
                side = "left" if (azimuth > 0) == front else "right"
                place = f"{abs(azimuth)}° to the {side} of the {end}" if azimuth else straight
                what = f"a photograph from {place}"
                what += f", {lens:g} mm lens, camera {height / 1000:.1f} m over the ground, {count} marks"
                out.append(Help("photograph", what, sigma))
    return sorted(out, key=lambda h: h.sigma)[:3]


def _photograph(
    checked: Checked, factor: Array, pulled: Array, shot: tuple[float, float, float, float]
) -> tuple[float, int]:
    parameters = checked.model.parameters
    file = parameters.cars[-1]
    name = "one more"
    lens, height, width, azimuth = shot
    travel = Figure(0.0, 4.0)
    f = lens / FULL_FRAME_MM * SIZE_PX[0]
    photo = Photo(
        name, None, SIZE_PX, Figure(f, 0.02), 0.005 * SIZE_PX[0], 0.01, travel, travel, Figure(0.0, 8.0)
    )  # fmt: skip
    wider = _wider(file, photo, ())
    model = Model(parameters_of(wider))
    model.reference = np.vstack([checked.model.reference, [_middle(file, width)]])
    turn, per_px = _aimed(azimuth, height, width, f)
    numbers = np.concatenate([checked.fit.state.numbers, model.parameters.value[len(checked.fit.state.numbers) :]])
    numbers[model.parameters.pictures[-1, 3:6]] = [SIZE_PX[0] / 2, SIZE_PX[1] / 2, np.log(per_px)]
    turns = np.concatenate([checked.fit.state.turns, turn[None]])
    state = model.state(numbers, turns)
    marks = _visible(model, state, name)
    if sum(map(rows_of, marks)) < 12:
        return inf, 0
    number = len(parameters.cars) - 1
    seeing = Model(model.parameters, [(number, m) for m in marks])
    seeing.reference = model.reference
    jacobian = seeing.evaluate(seeing.state(numbers, turns)).jacobian
    before = len(checked.fit.state.numbers)
    sigma, scale = model.parameters.sigma[before:], model.parameters.scale[before:]
    own = jacobian[:, before:] * np.where(np.isfinite(sigma), sigma, FLAT * scale)
    return _with(pulled, jacobian[:, :before] @ factor, own @ own.T), len(marks)


def _wider(file: CarPhotos, photo: Photo, marks: tuple[Mark, ...]) -> CarPhotos:
    return replace(file, photos=(*file.photos, photo), marks=(*file.marks, *marks))


def _middle(file: CarPhotos, width: float) -> Array:
    """Where such a photograph looks at: the axle, or between the axles where it covers more."""
    x = 0.0 if file.axle == "front" else -file.known["wheelbase_mm"].value
    back = max(0.0, width - 2200.0) * 0.6 * (1.0 if file.axle == "front" else -1.0)
    return np.array([x - back, 0.0, file.known["loaded_radius_mm"].value])


def _aimed(azimuth: float, height: float, width: float, f: float) -> tuple[Array, float]:
    per_px = width / SIZE_PX[0]
    up = np.arcsin(np.clip((height - 260.0) / (f * per_px), -0.5, 0.9))
    a = np.radians(azimuth)
    forward = -np.array([np.cos(up) * np.cos(a), np.cos(up) * np.sin(a), np.sin(up)])
    right = np.cross(forward, [0.0, 0.0, 1.0])
    right /= np.linalg.norm(right)
    return np.stack([right, np.cross(forward, right), forward]), per_px
