"""What the marks say so far, followed live: expected places with ellipses, links, rims, ground, misses. No Qt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Kin3dError
from kin3d.photographs.adjust import Fit, adjust, huber, spread
from kin3d.photographs.located import solved
from kin3d.photographs.model import Model, State
from kin3d.photographs.parameters import Parameters, parameters_of
from kin3d.photographs.refusal import refuse_few
from kin3d.reading.photo_records import CarPhotos, Mark

Array = NDArray[np.float64]
CERTAIN = 5.991  # of the chi-square distribution with two degrees of freedom: 95 %
ROBUST = huber(2.5)
GRID = 5  # lines of the ground's grid each way
RIM = np.linspace(0.0, 2.0 * np.pi, 73)
POOR = 4.0  # mean square of the misses beyond which a fit is begun anew


@dataclass(frozen=True, slots=True)
class Predicted:
    """Where a point is expected in a photograph.

    Attributes
    ----------
    name, side : str
    place : ndarray, shape (2,)
        px.
    ellipse : ndarray, shape (2, 2)
        Its columns are the half axes of the 95 % ellipse, px.
    """

    name: str
    side: str
    place: Array
    ellipse: Array


@dataclass(frozen=True, slots=True)
class PhotoOverlay:
    """What is laid over one photograph, px.

    Attributes
    ----------
    points : tuple of Predicted
    links : tuple of ndarray, shape (2, 2)
        Legs from inner to outer end.
    rims : tuple of ndarray, shape (n, 2)
    grid : tuple of ndarray, shape (n, 2)
        Lines on the ground.
    misses : dict of int to ndarray, shape (2,)
        For each mark of a place, by its number among the car's: where the model puts it.
    """

    points: tuple[Predicted, ...]
    links: tuple[Array, ...]
    rims: tuple[Array, ...]
    grid: tuple[Array, ...]
    misses: dict[int, Array]


@dataclass(frozen=True, slots=True)
class Solution:
    """An adjustment of all marks, and what it lays over each photograph of each car.

    Attributes
    ----------
    fit : Fit
    overlays : dict of (int, str) to Overlay
        By the number of the car and the name of the photograph.
    chi : float
        Mean square of all misses in sigmas; about 1 where all is well.
    """

    fit: Fit
    overlays: dict[tuple[int, str], PhotoOverlay]
    chi: float


def solve(photographs: CarPhotos, before: Solution | None = None) -> Solution | str:
    """Adjust the marks, from the solution before where there is one; or say why there is none yet."""
    parameters = parameters_of(photographs)
    model = Model(parameters)
    try:
        refuse_few(model)
    except Kin3dError as error:
        return str(error.findings[0].text)
    fit = _followed(model, before)
    if fit is None:
        try:
            fit = solved(model).fit
        except (Kin3dError, np.linalg.LinAlgError) as error:
            return f"no solution yet: {error}"
    return _laid_over(parameters, model, fit)


def _followed(model: Model, before: Solution | None) -> Fit | None:
    """The fit that follows the one before; None where it does not hold any more."""
    if before is None or len(before.fit.state.numbers) != len(model.parameters.listed):
        return None
    model.reference[:] = before.fit.model.reference
    try:
        fit = adjust(model, model.state(before.fit.state.numbers, before.fit.state.turns), loss=ROBUST)
    except (np.linalg.LinAlgError, ValueError):
        return None
    good = fit.settled and fit.equations.sound and fit.cost < POOR * max(1, len(model.rows))
    return fit if good else None


def _laid_over(parameters: Parameters, model: Model, fit: Fit) -> Solution:
    factor = spread(fit).factor
    overlays = {}
    for photo, (car, one) in enumerate(parameters.photos):
        wanted = _every_point(parameters, car, one.name)
        asked = Model(parameters, [(car, m) for m in wanted])
        asked.reference = fit.model.reference
        overlays[car, one.name] = _overlay(asked, wanted, model, fit, factor, (photo, car))
    residual = fit.equations.residual
    return Solution(fit, overlays, float((residual**2).mean()) if len(residual) else 0.0)


def _every_point(parameters: Parameters, car: int, photo: str) -> list[Mark]:
    names = parameters.uprights[car].points
    return [Mark(photo, "point", n, side, 0.0, 0.0, 1.0) for side in ("left", "right") for n in names]


def _overlay(
    asked: Model, wanted: Sequence[Mark], model: Model, fit: Fit, factor: Array, which: tuple[int, int]
) -> PhotoOverlay:
    photo, car = which
    state = asked.state(fit.state.numbers, fit.state.turns)
    there = asked.evaluate(state)  # marks at 0 with a sigma of 1: the residuals are the pixels themselves
    place = there.residual.reshape(-1, 2)
    slope = (there.jacobian @ factor).reshape(len(wanted), 2, -1)
    points, at = [], {}
    for k, mark in enumerate(wanted):
        values, vectors = np.linalg.eigh(slope[k] @ slope[k].T)
        points.append(Predicted(mark.name, mark.side, place[k], vectors * np.sqrt(CERTAIN * np.maximum(values, 0.0))))
        at[mark.name, mark.side] = place[k]
    upright = asked.parameters.uprights[car]
    names = upright.points
    ends = [(names[i], names[o]) for i, o in upright.tubes]
    links = [np.stack([at[i, s], at[o, s]]) for s in ("left", "right") for i, o in ends]
    rims, grid = _wheels_and_ground(asked, state, photo, car)
    return PhotoOverlay(tuple(points), tuple(links), rims, grid, _misses(model, fit, car, asked, photo))


def _wheels_and_ground(asked: Model, state: State, photo: int, car: int) -> tuple[tuple[Array, ...], tuple[Array, ...]]:
    marks, cameras = asked.cars[car], asked.cameras(state)
    seen = asked.seen(state, car)
    mirror = np.stack([np.ones(len(marks.lanes)), marks.mirror, np.ones(len(marks.lanes))], axis=-1)

    def drawn(places: Array) -> Array:
        return np.asarray(cameras.seen(np.full(len(places), photo), places).pixels)

    rims, feet = [], {}
    for number, wheel in enumerate(seen.wheels):
        for lane in range(len(marks.lanes)):
            edge = wheel.edge(np.full(len(RIM), lane), RIM)[0] * mirror[lane]
            rims.append(drawn(edge))
            feet[number, marks.lanes[lane][1]] = (wheel.contact()[0] * mirror)[lane]
    if len(feet) < 4:
        return tuple(rims), ()
    corners = np.array([[feet[0, "left"], feet[0, "right"]], [feet[1, "left"], feet[1, "right"]]])
    part = np.linspace(-0.25, 1.25, 3 * GRID)
    lines = []
    for share in np.linspace(-0.25, 1.25, GRID):
        along = (1 - part)[:, None] * (corners[0, 0] * (1 - share) + corners[0, 1] * share)
        lines.append(along + part[:, None] * (corners[1, 0] * (1 - share) + corners[1, 1] * share))
        across = (1 - part)[:, None] * (corners[0, 0] * (1 - share) + corners[1, 0] * share)
        lines.append(across + part[:, None] * (corners[0, 1] * (1 - share) + corners[1, 1] * share))
    return tuple(rims), tuple(drawn(line) for line in lines)


def _misses(model: Model, fit: Fit, car: int, asked: Model, photo: int) -> dict[int, Array]:
    """Where the model puts each mark of a place, by its number among the marks of the car."""
    name = asked.parameters.photos[photo][1].name
    out: dict[int, Array] = {}
    own = -1
    for k, (owner, mark) in enumerate(model.marks):
        own += owner == car
        if owner != car or mark.photo != name or mark.kind not in ("point", "contact"):
            continue
        rows = np.flatnonzero(model.rows == k)
        out[own] = np.array([mark.u, mark.v]) + mark.sigma_px * fit.equations.residual[rows]
    return out
