"""Standing wheels on one plane: the travels at which all contact points of an axle or a car meet the same ground.

Unknown is the travel of every wheel. The contact points have to lie on one plane of given direction, and the mean of
the travels is the heave. With h_i the height of contact point i along the plane's normal and b_i = dh_i/dz_i (exact,
from jets) Newton's step has a closed form for any number of wheels: δ_i = (d − h_i)/b_i, with the plane's height d such
that the mean keeps its value.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError, Severity
from kin3d.linkage.design import SIDES
from kin3d.measures.corner import TRAVEL, Along, Corner, ground_normal
from kin3d.measures.corner_pair import design_contact, signs_of
from kin3d.measures.two_travels import apply_inverse
from kin3d.solve.lanes import Lanes, Solved, Status
from kin3d.solve.limits import limit_sentence
from kin3d.solve.model import AxleModel
from kin3d.spatial.jets import total_degree
from kin3d.spatial.vectors import Number, Vec, dot

Array = NDArray[np.float64]
MOST_ANGLE_DEG = 45.0  # of roll and pitch, at which no car stands
BOTH: Along = (total_degree(2, 1), {"travel": 0, "apart": 1})  # both wheels alike, and apart
CLOSE_MM = 1e-10  # a last step smaller than this is the end
BLOCKS = 3  # so often a step is halved before the position counts as out of reach: Newton aims well by then
ITERATIONS = 40


@dataclass(frozen=True, slots=True)
class Stance:
    """Where the body is asked to stand: flat arrays of one shape (n,).

    Attributes
    ----------
    heave_mm, rack_mm : ndarray
    roll_rad, pitch_rad : ndarray
        Of the body over the ground; roll positive with the left side up, pitch positive with the nose down (ISO 8855).
    more : mapping of str to ndarray
        Drives of the axle's own layout, mm or rad; those of the axle that `steered` names.
    variant : ndarray of int, or None
        Which car each position is of, where the models hold several: all left corners, then all right ones.
    """

    heave_mm: Array
    roll_rad: Array
    rack_mm: Array
    pitch_rad: Array
    more: Mapping[str, Array] = field(default_factory=dict)
    variant: NDArray[np.intp] | None = None

    @property
    def count(self) -> int:
        """Number of positions."""
        return len(self.heave_mm)

    def take(self, which: NDArray[np.intp] | slice) -> Stance:
        """Some of the positions."""
        more = {name: x[which] for name, x in self.more.items()}
        cars = None if self.variant is None else self.variant[which]
        flat = self.heave_mm[which], self.roll_rad[which], self.rack_mm[which], self.pitch_rad[which]
        return Stance(*flat, more, cars)

    def of(self, model: AxleModel) -> dict[str, Array]:
        """Those of the drives that an axle's layout has."""
        return {name: x for name, x in self.more.items() if name in model.linkage.driven}

    def lanes(self, model: AxleModel, travel: Array, steered: bool = True) -> Lanes:
        """Lanes of an axle at travels of shape (2, n)."""
        return model.pair(travel, self.rack_mm * steered, self.of(model), self.variant)

    @property
    def normal(self) -> Vec:
        """Unit normal of the ground in the chassis frame, components of shape (n,)."""
        return ground_normal(self.roll_rad, self.pitch_rad)


@dataclass(frozen=True, slots=True)
class Standing:
    """Wheels that stand on the ground.

    Attributes
    ----------
    travel_mm : ndarray, shape (wheels, n)
        Left and right of each axle in turn; NaN where the status is not OK.
    status : ndarray of int8, shape (n,)
    axles : tuple of (Lanes, Solved)
        For each axle its lanes: all left corners, then all right ones.
    findings : tuple of Finding
        Limits met.
    """

    travel_mm: Array
    status: NDArray[np.int8]
    axles: tuple[tuple[Lanes, Solved], ...]
    findings: tuple[Finding, ...]


def need_radius(models: Sequence[AxleModel]) -> None:
    """Refuse axles whose wheels have no loaded radius: without it there is no contact point."""
    lacking = [m.axle for m in models if m.axle.loaded_radius_mm is None]
    if lacking:
        text = "is missing; heave, roll and pitch over the ground need the radius of the loaded wheel in mm"
        raise RequestError([Finding("radius-missing", text, f"[{a.name}] loaded_radius_mm") for a in lacking])


def put_on_ground(
    models: Sequence[AxleModel],
    stance: Stance,
    shift_x_mm: Sequence[float | Array] = (0.0,),
    steered: Sequence[bool] = (True,),
    figures: Sequence[Mapping[str, Array]] | None = None,
) -> Standing:
    """Find the travels at which all wheels stand on the ground.

    Parameters
    ----------
    models : sequence of AxleModel
        One axle, or both.
    stance : Stance
    shift_x_mm : sequence of float or ndarray, shape (n,)
        What has to be added to each axle's x to place it in the frame of the car.
    steered : sequence of bool
        Whether the rack that is driven is that axle's.
    figures : sequence of mapping of str to ndarray, shape (n,), optional
        For each axle figures of the car file that are others than in the file, by the key that measures name.

    Raises
    ------
    RequestError
        When an axle has no loaded radius.
    """
    need_radius(models)
    search = _Search(models, stance, shift_x_mm, steered, figures or [{} for _ in models])
    search.run()
    axles, findings = [], []
    for k, model in enumerate(models):
        lanes = stance.lanes(model, search.last[2 * k : 2 * k + 2], steered[k])
        axles.append((lanes, model.kernel.solve(model.variants, lanes)))
        findings += _limits(model, *axles[-1])
    status = np.max([s.status.reshape(2, -1).max(axis=0) for _, s in axles], axis=0).astype(np.int8)
    status[(status == Status.OK) & ~search.done] = Status.UNSOLVED
    travel = np.where(status == Status.OK, search.last, np.nan)
    return Standing(travel, status, tuple(axles), tuple(findings))


class _Search:
    """Newton's iteration with steps that are halved where the linkage does not reach.

    `good` is the last travel that was reached, `last` the last one tried; a position that runs into a limit ends with
    `last` beyond it, so that solving there again tells what stopped it.
    """

    def __init__(
        self,
        models: Sequence[AxleModel],
        stance: Stance,
        shift: Sequence[float | Array],
        steered: Sequence[bool],
        figures: Sequence[Mapping[str, Array]],
    ) -> None:
        self.models, self.stance, self.steered = models, stance, steered
        self.shift = [np.broadcast_to(np.asarray(s, dtype=float), stance.count) for s in shift]
        self.figures = figures
        self.good = np.zeros((2 * len(models), stance.count))
        self.step = self._first_guess()
        self.last = self.step.copy()
        self.done = np.zeros(stance.count, dtype=bool)
        self.blocks = np.zeros(stance.count, dtype=int)

    def _first_guess(self) -> Array:
        """Travels of wheels whose contact points keep their place across the car."""
        nx, ny, nz = self.stance.normal
        places = []
        for model, shift in zip(self.models, self.shift, strict=True):
            for foot in np.split(design_contact(model), 2):
                x, y, _ = foot[0 if self.stance.variant is None else self.stance.variant].T
                places.append((x + shift, y))
        heights = np.stack([-(nx * x + ny * y) / nz for x, y in places])
        return np.asarray(heights - heights.mean(axis=0) + self.stance.heave_mm)

    def run(self) -> None:
        active = np.arange(self.stance.count)
        for _ in range(ITERATIONS):
            if not active.size:
                return
            trial = self.good[:, active] + self.step[:, active]
            self.last[:, active] = trial
            heights, slopes, reached = self._heights(active, trial)
            fresh = _level(heights, slopes, trial, self.stance.heave_mm[active])
            reached &= np.isfinite(fresh).all(axis=0)
            self.good[:, active[reached]] = trial[:, reached]
            self.step[:, active] = np.where(reached, fresh, 0.5 * self.step[:, active])
            size = np.abs(self.step[:, active]).max(axis=0)
            self.done[active[reached & (size < CLOSE_MM)]] = True
            self.blocks[active] += ~reached
            active = active[~self.done[active] & (self.blocks[active] < BLOCKS)]

    def _heights(self, active: NDArray[np.intp], travel: Array) -> tuple[Array, list[Array], NDArray[np.bool_]]:
        """Heights of the contact points along the normal, their slopes over travel, which positions are reached.

        Slopes of an axle have shape (2, n); where both sides are one system those along both travels alike and apart,
        (2, 2, n).
        """
        here = self.stance.take(active)
        nx, ny, nz = (np.tile(c, 2) for c in here.normal)
        heights, slopes, reached = [], [], []
        for k, (model, shift) in enumerate(zip(self.models, self.shift, strict=True)):
            lanes = here.lanes(model, travel[2 * k : 2 * k + 2], self.steered[k])
            solved = model.kernel.solve(model.variants, lanes)
            other = {key: np.tile(v[active], 2) for key, v in self.figures[k].items()}
            along = BOTH if model.joined else TRAVEL
            corner = Corner.of(
                model, lanes, solved, along=along, normal=(nx, ny, nz), sign=signs_of(lanes), figures=other
            )
            height = dot(corner.contact, corner.normal) + np.tile(shift[active], 2) * nx
            heights.append(height.value.reshape(2, -1))
            own = height.rate(0).value.reshape(2, -1)
            slopes.append(np.stack([own, height.rate(1).value.reshape(2, -1)]) if model.joined else own)
            reached.append((solved.status == Status.OK).reshape(2, -1))
        every = np.asarray(np.concatenate(reached).all(axis=0))
        return np.concatenate(heights), slopes, every


def _level(heights: Array, slopes: list[Array], travel: Array, heave: Array) -> Array:
    """Newton's step that brings all heights to one level with the mean travel at the heave; shapes (wheels, n)."""
    with np.errstate(all="ignore"):
        if all(s.ndim == 2 for s in slopes):
            give = 1.0 / np.concatenate(slopes)
            level = (heave - travel.mean(axis=0) + (heights * give).mean(axis=0)) / give.mean(axis=0)
            step: Array = (level - heights) * give
            return step
        give, rest = (np.stack(travels_for(slopes, x)) for x in (np.ones_like(heights), heights))
        level = (heave - travel.mean(axis=0) + rest.mean(axis=0)) / give.mean(axis=0)
        return np.asarray(level * give - rest)


def travels_for(slopes: Sequence[Array], values: Sequence[Number] | Array) -> list[Number]:
    """Travels that change the heights of all wheels by so much.

    Parameters
    ----------
    slopes : sequence of ndarray
        Of each axle: (2, n), each wheel's height along its own travel; (2, 2, n) where both sides are one system, along
        both travels alike and apart.
    values : sequence of number, shape (n,), or ndarray, shape (wheels, n)
        Arrays or jets, left and right of each axle in turn.
    """
    out: list[Number] = []
    for k, s in enumerate(slopes):
        left, right = values[2 * k : 2 * k + 2]
        if s.ndim == 2:
            out += [left * (1.0 / s[0]), right * (1.0 / s[1])]
        else:
            out += apply_inverse((s[0, 0], s[0, 1]), (s[1, 0], s[1, 1]), (left, right))
    return out


def _limits(model: AxleModel, lanes: Lanes, solved: Solved) -> list[Finding]:
    """One warning a wheel and direction in which positions were out of reach; the first of them tells why."""
    out = []
    bad = solved.status != Status.OK
    for side, up in ((0, True), (0, False), (1, True), (1, False)):
        of_side = lanes.variant >= model.variants.count // 2
        which = np.flatnonzero(bad & (of_side == bool(side)) & ((lanes.travel > 0.0) == up))
        if which.size:
            sentence = limit_sentence(lanes, solved, int(which[0]))
            missed = f"{which.size} position{'s' if which.size > 1 else ''} not reached"
            text = f"{model.axle.name} {SIDES[side]} wheel: {sentence.text} ({missed})"
            out.append(Finding("out-of-reach", text, severity=Severity.WARNING))
    return out


def directions(roll: float | Array, pitch: float | Array) -> Array:
    """The ground's x, y and normal in the chassis frame, as the rows of a matrix, shape (3, 3, …)."""
    n = np.stack(np.broadcast_arrays(*(np.asarray(c, dtype=float) for c in ground_normal(roll, pitch))))
    ahead = -n[0] * n
    ahead[0] += 1.0
    ahead /= np.linalg.norm(ahead, axis=0)
    return np.stack([ahead, np.cross(n, ahead, axis=0), n])
