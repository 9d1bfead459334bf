"""What is told of a tuned car: a line a want, what a box would buy, rounding, the forecast."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.car import Car
from kin3d.studies.tune_wants import Aim, Got

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class WantedLine:
    """A want with what the car has of it before and after."""

    aim: Aim
    before: Got
    after: Got

    @property
    def met(self) -> bool:
        """Whether it is within what is allowed."""
        return self.after.excess <= 0.0

    @property
    def wanted(self) -> str:
        """What is wanted, as a person reads it."""
        aim = self.aim
        if aim.want.least is not None:
            return f"≥ {aim.wanted:g} − {aim.want.within:g}".replace("-", "−")
        return f"≤ {aim.want.within:g}" if aim.most else f"{aim.wanted:g} ± {aim.want.within:g}".replace("-", "−")

    @property
    def short(self) -> float:
        """How far the car is from what is wanted: from the value, or from the most that is allowed."""
        return self.after.off - (self.aim.within if self.aim.most else 0.0)

    def sentence(self, verdict: str) -> str:
        """Why it is not met: measure, verdict, how far short."""
        aim, unit = self.aim, f" {self.aim.unit}" if self.aim.unit else ""
        goal = f"{aim.want.within:g}" if aim.most else f"{aim.wanted:g}".replace("-", "−")
        word = "too much" if aim.most else "short"
        if not np.isfinite(self.short):
            return f"{aim.name}: {goal}{unit} {verdict}"
        said = f"{aim.name}: {goal}{unit} {verdict}: {aim.show(self.short)}{unit} {word}"
        return f"{said}, the nearest is {aim.show(self.after.value)}{unit}"


@dataclass(frozen=True, slots=True, eq=False)
class BoxPrice:
    """A box that presses and what a further mm of it would buy.

    Attributes
    ----------
    name, end : str
    bought : float
        Of the change, or where not all can be had of the weighted sum of excesses, both per mm.
    """

    name: str
    end: str
    bought: float


@dataclass(frozen=True, slots=True, eq=False)
class Rounding:
    """What rounding to a grid does: the car on it, whether all is still met, and figures by want."""

    grid_mm: float
    car: Car
    got: tuple[Got, ...]
    change: float

    @property
    def met(self) -> bool:
        """Whether all wants are met on the grid."""
        return all(g.excess <= 0.0 for g in self.got)


@dataclass(frozen=True, slots=True, eq=False)
class Forecast:
    """What the linear model says before anything is solved.

    Attributes
    ----------
    met : bool
    conflict : tuple of int
        Wants that cannot be had together, by number; none of them can be left out of it.
    excess : ndarray, shape (wants,)
        Of the nearest, in units of what each want allows.
    """

    met: bool
    conflict: tuple[int, ...]
    excess: Array
