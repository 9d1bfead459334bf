"""Other explanations of a fit that is in doubt: what fails in a start is seldom the camera and mostly the mechanism.

Each explanation is a change that carries a fit out of one kind of wrong optimum, followed by a short robust
adjustment; the lowest robust cost wins. Steered wheels taken for straight ones, a steering arm on the wrong side of
the kingpin, a rim seen nearly edge-on and tilted the wrong way; of a lens that is not known, a focal length far off; of
a cropped picture, principal point and distortion that trade their signs.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray

from kin3d.photographs.adjust import SQUARES, Fit, Loss, adjust, cauchy, sizes
from kin3d.photographs.model import Model, State
from kin3d.photographs.parameters import Parameters

Array = NDArray[np.float64]
Change = Callable[[Array], None]
STEERED_MM = (-12.0, 12.0)
SHORT_ARM_MM = 60.0
STEERED = 0.3  # rad: wheels of the other axle
FAR_OFF = 3.3  # sigmas at which a mark of a robust fit casts doubt
OUT_OF_BOX = 1.8  # a template's box ends at 1.73 of its deviations
FOCAL_STEPS = (1.3, -1.0)
ROUNDS = 3
FAR_FROM_HOPE, HOPELESS = 50.0, 8.0  # times the cost, under a wide loss, beyond which a try is given up early or late
NEAR, NEAR_TURN, NEAR_SCALE = 0.15, 0.02, 0.1  # deviations, rad and logarithm of scale that are no other optimum
BETTER = 2e-3  # cost that is lower by less is rounding of unfinished adjustments
ROBUST = cauchy(2.0)


def second_look(fit: Fit) -> Fit:
    """The best of a robust fit and its other explanations."""
    for _ in range(ROUNDS):
        if not in_doubt(fit):
            break
        better = _best(fit, _mechanism(fit.model, fit))
        if better is fit:
            break
        fit = better
    return _best(fit, _cameras(fit.model))


def cameras_again(fit: Fit, changed: bool) -> Fit:
    """The best of a fit by squares and other explanations by its cameras alone, once wrong marks are out.

    Where the tests changed nothing, only those are tried of which squares may think otherwise than a robust loss did.
    """
    return _best(fit, _cameras(fit.model) if changed else _mirrored(fit.model), SQUARES)


def in_doubt(fit: Fit) -> bool:
    """Whether marks are far off, or a point is out of its box: right fits seldom have it, wrong ones mostly do."""
    parameters = fit.model.parameters
    misses = np.abs(fit.known.misses(fit.state.numbers))
    boxed = np.array([p.group == "points" and not p.stated for p in parameters.listed])
    return bool(sizes(fit.model, fit.equations.residual).max() > FAR_OFF or misses[boxed].max(initial=0.0) > OUT_OF_BOX)


def _best(fit: Fit, changes: Iterator[Change], loss: Loss = ROBUST) -> Fit:
    best, home = fit, _widely(fit, fit.state, 8)
    for change in changes:
        numbers = fit.state.numbers.copy()
        change(numbers)
        tried = _widely(fit, fit.model.state(numbers, fit.state.turns), 4)
        if tried.cost > FAR_FROM_HOPE * home.cost:
            continue
        if not tried.settled:
            tried = _widely(fit, tried.state, 4)
        if tried.cost > HOPELESS * home.cost or _same(tried, home):
            continue
        found = adjust(fit.model, tried.state, fit.known, loss, most=14, settled=0.05)
        if found.cost < best.cost - BETTER:
            best = found
            home = _widely(best, best.state, 8)
    return best


def _widely(fit: Fit, state: State, most: int) -> Fit:
    """Where a few steps with a wide loss lead from a state."""
    return adjust(fit.model, state, fit.known, cauchy(8.0), most=most, settled=0.3)


def _same(a: Fit, b: Fit) -> bool:
    """Whether two fits are on their way to the same optimum: others differ by far more than this."""
    known, pictures = a.known, a.model.parameters.pictures
    size = np.where(known.observed, np.where(known.observed, known.sigma, 1.0), np.inf)
    size[pictures[:, 5]] = NEAR_SCALE / NEAR
    apart = np.abs(a.state.numbers - b.state.numbers) / size
    return bool(apart.max() < NEAR and np.abs(a.state.turns - b.state.turns).max() < NEAR_TURN)


def _mechanism(model: Model, fit: Fit) -> Iterator[Change]:
    """Changes of how each car is steered, with points and positions as they are known beforehand."""
    parameters = model.parameters
    known = parameters.value
    photos = parameters.pictures

    def again(numbers: Array) -> None:
        cameras = numbers[photos[:, :10]].copy()
        numbers[:] = known
        numbers[photos[:, :10]] = cameras
        for car in range(len(parameters.cars)):
            _lengthen_arm(parameters, car, numbers)

    yield again
    for picture in photos:
        # the rack moves the front axle; where the rear one is looked for, the front wheels are those that steer
        column, steps = (12, STEERED_MM) if fit.known.free[picture[12]] else (15, (-STEERED, STEERED))
        for size in steps if fit.known.free[picture[column]] else ():

            def steered(numbers: Array, chosen: int = int(picture[column]), size: float = size) -> None:
                before = numbers[photos[:, [12, 15]]].copy()
                again(numbers)
                numbers[photos[:, [12, 15]]] = before
                numbers[chosen] = size

            yield steered
    rims = {(c, m.name) for (c, m), s in zip(model.marks, sizes(model, fit.equations.residual), strict=True)
            if m.kind == "rim" and s > FAR_OFF}  # fmt: skip
    for car, name in rims:
        block = parameters.blocks[car]
        toe = (block.wheel if name == parameters.cars[car].axle else block.other_wheel)[1]
        for sign in (2.0, -2.0):

            def tilted(numbers: Array, toe: int = int(toe), sign: float = sign) -> None:
                numbers[toe] = known[toe] + sign * parameters.listed[toe].sigma

            yield tilted


def _lengthen_arm(parameters: Parameters, car: int, numbers: Array) -> None:
    """Put the steering arm's end well off the steering axis, on its own side of it.

    A template may make an arm so short that the linkage does not close over a rack's stroke, or that a step carries its
    end to the wrong side.
    """
    upright, points = parameters.uprights[car], parameters.blocks[car].points
    ends = [int(o) for i, o in zip(upright.inner, upright.outer, strict=True) if upright.on_rack[i]]
    if upright.steering_axis is None or len(ends) != 1:
        return
    low, high, end = (np.where(points[k] >= 0, numbers[points[k]], 0.0) for k in (*upright.steering_axis, ends[0]))
    axis = low[0] + (high[0] - low[0]) * (end[2] - low[2]) / (high[2] - low[2])
    arm = end[0] - axis
    if abs(arm) < SHORT_ARM_MM and points[ends[0], 0] >= 0:
        numbers[points[ends[0], 0]] = axis + np.copysign(SHORT_ARM_MM, arm)


def _cameras(model: Model) -> Iterator[Change]:
    """Changes of cameras whose focal length or principal point is hardly known."""
    listed, photos = model.parameters.listed, model.parameters.pictures
    free = [int(k) for k in photos[:, 6] if listed[k].sigma > 0.3]
    sets = {(k,) for k in free} | {tuple(free)} | {tuple(k for k in free if k != out) for out in free}
    for chosen in sorted(sets - {()}):
        for step in FOCAL_STEPS:

            def zoomed(numbers: Array, chosen: tuple[int, ...] = chosen, step: float = step) -> None:
                for k in chosen:
                    numbers[k] = listed[k].value + step

            yield zoomed
    yield from _mirrored(model)
    for picture in photos:
        if _cropped(model, picture):
            for aside, bent in ((1, 1), (1, -1), (-1, 1), (-1, -1)):

                def shifted(
                    numbers: Array, picture: NDArray[np.intp] = picture, aside: int = aside, bent: int = bent
                ) -> None:
                    for k, sign in zip(picture[[7, 9]], (aside, bent), strict=True):
                        numbers[k] = listed[k].value + sign * listed[k].sigma

                yield shifted


def _cropped(model: Model, picture: NDArray[np.intp]) -> bool:
    """Whether a picture's principal point is hardly known."""
    centre = model.parameters.listed[picture[7]]
    return bool(centre.sigma > 0.1 * centre.value)


def _mirrored(model: Model) -> Iterator[Change]:
    """Principal point and distortion of cropped pictures with their signs turned: nearly as good, and the wrong one."""
    listed = model.parameters.listed
    for picture in model.parameters.pictures:
        if _cropped(model, picture):

            def mirrored(numbers: Array, picture: NDArray[np.intp] = picture) -> None:
                for k in picture[7:10]:
                    numbers[k] = 2.0 * listed[k].value - numbers[k]

            yield mirrored
