"""Deviations of figures carried to what a study finds, to first order: for studies that look at a whole car at once.

Each figure that stands as ``[value, sigma]`` in the car file is moved a little to either side and the study repeated.
Points are taken as exact here; `kin3d.tolerance` carries those to measures.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Kin3dError
from kin3d.linkage.car import Car
from kin3d.writing.tables import Column, Quantity, Table

Array = NDArray[np.float64]
STEP = 0.01  # of a standard deviation, to either side
NOTE = "± of figures given as [value, sigma] alone, to first order; points are taken as exact here."
_SHOWN = 3  # causes a line
_LEAST = 0.02  # of a variance
_ROUNDING = 1e-9  # of the value


@dataclass(frozen=True, slots=True)
class FigureDoubt:
    """How far findings may be believed for the figures that they rest on.

    Attributes
    ----------
    names, units : tuple of str
        Of the findings.
    value : ndarray, shape (findings,)
    sources : tuple of str
        Dotted keys of the car file.
    slope : ndarray, shape (findings, sources)
        Change of a finding for one standard deviation of a figure; NaN where the study has no answer beside it.
    """

    names: tuple[str, ...]
    units: tuple[str, ...]
    value: Array
    sources: tuple[str, ...]
    slope: Array

    @property
    def sigma(self) -> Array:
        """Standard deviation of every finding, shape (findings,)."""
        return np.asarray(np.sqrt((self.slope**2).sum(axis=1)))

    @property
    def share(self) -> Array:
        """Part of each variance that every figure causes, shape (findings, sources); 0 where nothing matters."""
        total = self.sigma[:, None] ** 2
        matters = total > (_ROUNDING * (1.0 + np.abs(self.value[:, None]))) ** 2
        return np.asarray(np.where(matters, self.slope**2 / np.where(matters, total, 1.0), 0.0))

    def table(self) -> Table:
        """Findings with their deviations and what causes them."""
        rows = []
        for name, unit, value, sigma, share in zip(
            self.names, self.units, self.value, self.sigma, self.share, strict=True
        ):
            order = sorted(range(len(share)), key=lambda k: -share[k])[:_SHOWN]
            causes = ", ".join(f"{self.sources[k]} {100.0 * share[k]:.0f} %" for k in order if share[k] >= _LEAST)
            places = "%" if unit.startswith("N") else unit  # one place for forces and rates
            rows.append((name, Quantity(float(value), places, sigma=float(sigma)), unit, causes))
        columns = (Column("figure", text=True), Column("value"), Column("unit", text=True), Column("from", text=True))
        return Table.of("doubt", columns, rows, "How far the figures of the car file let one believe it", (NOTE,))

    def record(self) -> Table:
        """A row a finding and source."""
        columns = ("figure", "value", "unit", "sigma", "source", "change", "share")
        sigma, share = self.sigma, self.share
        rows = [
            (name, float(self.value[k]), unit, float(sigma[k]), source, float(self.slope[k, n]), float(share[k, n]))
            for k, (name, unit) in enumerate(zip(self.names, self.units, strict=True))
            for n, source in enumerate(self.sources)
        ]
        return Table.of("doubt", columns, rows)


Findings = Sequence[tuple[str, str, float]]  # name, unit, value


def figure_doubt(car: Car, found: Findings, again: Callable[[Car], Findings]) -> FigureDoubt | None:
    """Carry the deviations of all figures of a car file; None where no figure has one.

    Parameters
    ----------
    found : sequence of (name, unit, value)
        What the study finds for the car as it is.
    again : callable
        Car to the same findings; a `Kin3dError` says that there is no answer.
    """
    sigmas = {key: s for key, s in car.sigmas.items() if s and _value(car, key) is not None}
    if not sigmas:
        return None
    slope = np.full((len(found), len(sigmas)), np.nan)
    for n, (key, sigma) in enumerate(sigmas.items()):
        value, step = _value(car, key), STEP * sigma
        try:
            more, less = ([f[2] for f in again(car.with_figures({key: v}))] for v in (value + step, value - step))
        except Kin3dError:
            continue
        slope[:, n] = (np.array(more) - np.array(less)) / (2.0 * STEP)
    names, units = tuple(f[0] for f in found), tuple(f[1] for f in found)
    return FigureDoubt(names, units, np.array([f[2] for f in found]), tuple(sigmas), slope)


def _value(car: Car, key: str) -> Any:
    """A number of the car file by its dotted key; an element of a list by its name or number."""
    head, *rest = key.split(".")
    found: Any = car.data if head == "car" else getattr(car, head)
    for word in rest:
        if isinstance(found, tuple):
            numbered = dict(enumerate(found, 1))
            found = next((r for r in found if getattr(r, "name", None) == word), numbered.get(_whole(word)))
        else:
            found = getattr(found, word, None)
    return found if isinstance(found, int | float) else None


def _whole(word: str) -> int:
    return int(word) if word.isdigit() else 0
