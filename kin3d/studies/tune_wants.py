"""Wants made ready: each is a few linear bounds on figures at positions, and knows how far a car is from it."""

from __future__ import annotations

from collections.abc import Callable, Generator, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from kin3d.measures.entry import Measure
from kin3d.reading.targets import Want
from kin3d.studies.tune_samples import SampleKey, SampleModel
from kin3d.writing.numbers import number

Array = NDArray[np.float64]
WantKind = Literal["value", "held", "gradient", "range", "change", "curve"]
FIRST = 9  # positions of an interval with which a solve begins
DENSE = 41  # positions over which the extremes of an interval are looked for
SETTLED_ROOM = 1e-3
REFINED = 3  # times that the neighbourhood of an extreme is looked at again
CLOSE = 1e-6  # of an interval: positions nearer than this are one


@dataclass(frozen=True, slots=True, eq=False)
class Bound:
    """low ≤ Σ coefficient · figure − middle ≤ high.

    Attributes
    ----------
    parts : tuple of (SampleKey, float)
    middle : bool
        Whether the want's middle, a number of its own that the solve is free to choose, is taken off.
    slack : float
        By how much of `low` and `high` an excess of one `within` widens them.
    """

    parts: tuple[tuple[SampleKey, float], ...]
    low: float
    high: float
    slack: float
    middle: bool = False


@dataclass(frozen=True, slots=True)
class Got:
    """What a car has of a want.

    Attributes
    ----------
    value : float
        The figure itself; over an interval the one that is farthest off.
    off : float
        How far it is from what is wanted, without what is allowed.
    excess : float
        By how much of `within` it is over what is allowed; 0 or less: it is met.
    at : tuple of float
        Where along the drive it is so.
    """

    value: float
    off: float
    excess: float
    at: tuple[float, ...] = ()


@dataclass(slots=True, eq=False)
class Aim:
    """One want of a targets file for one car.

    Attributes
    ----------
    number : int
        From 1, as in the file.
    key : callable
        Value along the drive to the sample there.
    target : callable
        Value along the drive to what is wanted there; for a curve.
    at : list of float
        Positions that bounds stand for at present; of an interval they become more.
    """

    number: int
    want: Want
    measure: Measure
    kind: WantKind
    along: str
    unit_along: str
    place: str
    key: Callable[[float], SampleKey]
    interval: tuple[float, float] | None = None
    at: list[float] = field(default_factory=list)
    target: Callable[[Array], Array] = lambda at: 0.0 * at
    pair: tuple[float, float] | None = None
    room: float | None = None  # in place of `within`, where bounds are asked for with more or less

    @property
    def within(self) -> float:
        """What is allowed either way."""
        return self.want.within

    @property
    def unit(self) -> str:
        """Unit of the wanted figure."""
        unit = "" if self.measure.unit == "1" else self.measure.unit
        return f"{unit or '1'}/{self.unit_along}" if self.kind == "gradient" else unit

    @property
    def name(self) -> str:
        """Which want it is, for a person."""
        spell = {"value": "", "held": "", "gradient": "gradient of ", "range": "range of ", "change": "change of "}
        return f"{spell.get(self.kind, 'curve of ')}{self.measure.name}{f' {self.place}' if self.place else ''}"

    @property
    def wanted(self) -> float:
        """The figure that is wanted; of a curve the largest distance from it, of a range without a value 0."""
        if self.kind == "gradient":
            return float(self.want.gradient or 0.0)
        return float(self.want.value or self.want.least or 0.0)

    @property
    def most(self) -> bool:
        """Whether `within` is the most that the figure may be: a range without a value, a distance from a curve."""
        return self.kind == "curve" or (self.kind == "range" and self.want.value is None)

    def show(self, value: float) -> str:
        """A figure of this want with as many places as what is allowed deserves."""
        places = max(0, int(np.ceil(-np.log10(self.within))) + 1) if self.within < 1.0 else 1
        return f"{value:.{min(places, 9)}f}".replace("-", "−") if np.isfinite(value) else number(value, "")

    def figure_key(self, at: float) -> SampleKey:
        """The measure itself at a place along the drive, whatever is wanted of it."""
        return replace(self.key(at), rate=False)

    def bounds(self) -> list[Bound]:
        """What holds if the want is met, at the present positions."""
        # a settled car's attitude is followed by turns, so that more room is left
        w, v = self.within * (1.0 - (SETTLED_ROOM if self.along == "lateral" else 0.0)), self.wanted
        slack = w
        w = w if self.room is None else self.room
        if self.want.least is not None:
            return [Bound(((self.key(t), 1.0),), v - w, np.inf, slack) for t in self.at]
        if self.kind in ("value", "gradient", "held"):
            return [Bound(((self.key(t), 1.0),), v - w, v + w, slack) for t in self.at]
        if self.kind == "curve":
            goal = self.target(np.array(self.at))
            return [Bound(((self.key(t), 1.0),), g - w, g + w, slack) for t, g in zip(self.at, goal, strict=True)]
        if self.kind == "change":
            first, second = self.at
            return [Bound(((self.key(second), 1.0), (self.key(first), -1.0)), v - w, v + w, slack)]
        half = 0.5 * (v + w)
        out = [Bound(((self.key(t), 1.0),), -half, half, 0.5 * slack, middle=True) for t in self.at]
        if self.want.value is not None and v > w and self.pair:
            greatest, smallest = self.pair
            out.append(Bound(((self.key(greatest), 1.0), (self.key(smallest), -1.0)), v - w, np.inf, slack))
        return out

    def looking(self, *, add: bool = False) -> Generator[list[SampleKey], Array, Got]:
        """What a car has of the want, over the whole interval: asks for figures and ends with what is found.

        Parameters
        ----------
        add : bool
            Whether the extremes that are found join the positions.
        """
        if self.interval is None:
            at = np.array(self.at)
            return self._got(at, (yield [self.key(t) for t in self.at]))
        at = np.union1d(np.linspace(*self.interval, DENSE), np.array(self.at))
        value = yield [self.key(float(t)) for t in at]
        if not np.isfinite(value).all():
            return Got(np.nan, np.inf, np.inf)
        for _ in range(REFINED):
            aim = self.target(at) if self.kind == "curve" else 0.0
            new = [t for t in _extremes(at, value - aim) if np.abs(at - t).min() > CLOSE * np.ptp(at)]
            if not new:
                break
            at, value = np.append(at, new), np.append(value, (yield [self.key(t) for t in new]))
            order = np.argsort(at)
            at, value = at[order], value[order]
        rest = value - (self.target(at) if self.kind == "curve" else 0.0)
        ends = (float(at[np.argmax(rest)]), float(at[np.argmin(rest)]))
        if add:
            self.pair = ends if self.kind == "range" else None
            for t in ends:
                if np.abs(np.array(self.at) - t).min() > CLOSE * np.ptp(at):
                    self.at.append(t)
        return self._got(at, value)

    def _got(self, at: Array, value: Array) -> Got:
        w, v = self.within, self.wanted
        if not np.isfinite(value).all():
            return Got(np.nan, np.inf, np.inf)
        if self.kind == "change":
            found = float(value[1] - value[0])
            return Got(found, abs(found - v), abs(found - v) / w - 1.0)
        if self.kind == "range":
            found, ends = float(np.ptp(value)), (float(at[np.argmax(value)]), float(at[np.argmin(value)]))
            off = abs(found - v) if self.want.value is not None else found
            return Got(found, off, off / w - 1.0, ends)
        goal = self.target(at) if self.kind == "curve" else np.full(len(at), v)
        away = np.maximum(goal - value, 0.0) if self.want.least is not None else np.abs(value - goal)
        k = int(np.argmax(away if away.any() else -value))
        off = float(away[k])
        return Got(off if self.kind == "curve" else float(value[k]), off, off / w - 1.0, (float(at[k]),))


def _extremes(at: Array, value: Array) -> list[float]:
    """Where the greatest and the smallest value probably are: vertices of parabolas through their neighbourhoods."""
    out = []
    for k in (int(np.argmax(value)), int(np.argmin(value))):
        if 0 < k < len(at) - 1:
            (a, b, c), (fa, fb, fc) = at[k - 1 : k + 2], value[k - 1 : k + 2]
            below = (b - a) * (fb - fc) - (b - c) * (fb - fa)
            if below:
                t = b - 0.5 * ((b - a) ** 2 * (fb - fc) - (b - c) ** 2 * (fb - fa)) / below
                out.append(float(np.clip(t, a, c)))
    return out


def first_positions(interval: tuple[float, float]) -> list[float]:
    """Positions of an interval with which a solve begins: its ends, more densely towards them."""
    low, high = interval
    part = 0.5 * (1.0 - np.cos(np.pi * np.arange(FIRST) / (FIRST - 1)))
    return [float(low + (high - low) * p) for p in part]


def look(aims: Sequence[Aim], model: SampleModel, moves: Array, *, add: bool = False) -> list[Got]:
    """What a car has of every want; all that they ask for at a time is solved together.

    Parameters
    ----------
    moves : ndarray, shape (moves,)
        mm.
    add : bool
        Whether extremes of intervals join the positions that bounds stand for.
    """
    asking = {k: aim.looking(add=add) for k, aim in enumerate(aims)}
    wanted = {k: next(one) for k, one in asking.items()}
    found: dict[int, Got] = {}
    while wanted:
        keys = list(dict.fromkeys(key for each in wanted.values() for key in each))
        place = {key: n for n, key in enumerate(keys)}
        figure = model.evaluate(keys, moves[None], slopes=False, exact=True)[0][0]
        for k, each in list(wanted.items()):
            try:
                wanted[k] = asking[k].send(figure[[place[key] for key in each]])
            except StopIteration as end:
                found[k] = end.value
                del wanted[k]
    return [found[k] for k in range(len(aims))]


def all_bounds(aims: Sequence[Aim]) -> list[tuple[int, Bound]]:
    """Bounds of all wants, each with the number of its want from 0."""
    return [(k, b) for k, aim in enumerate(aims) for b in aim.bounds()]
