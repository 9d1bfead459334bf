"""What a targets file wants, in the window: bands in the curves, and where the points have all of it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from kin3d.errors import Finding, RequestError
from kin3d.linkage.car import Car
from kin3d.linkage.design import SIDES
from kin3d.linkage.names import AxleName
from kin3d.linkage.record import values_of
from kin3d.reading.targets import ALONG, read_targets
from kin3d.studies.tune import made_ready, tune
from kin3d.studies.tune_plot import allowed, span
from kin3d.studies.tune_result import TuneResult
from kin3d.studies.tune_wants import Aim
from kin3d_viewer.curves import Curves
from kin3d_viewer.model import Drives
from kin3d_viewer.primitives import Array

SAME = 1e-9  # values of a slider that differ by less are one


@dataclass(frozen=True, slots=True, eq=False)
class WantedBand:
    """What is allowed of a measure over the drive of the curves: an outline, shape (corners, 2)."""

    measure: str
    outline: Array


@dataclass(frozen=True, slots=True, eq=False)
class OpenTargets:
    """A targets file that is open.

    Attributes
    ----------
    file : pathlib.Path
    aims : tuple of Aim
        Its wants.
    side : int
        0 where the table is of the left side, 1 of the right.
    """

    file: Path
    aims: tuple[Aim, ...]
    side: int

    @staticmethod
    def of(car: Car, axle: AxleName, file: Path) -> OpenTargets:
        """Read a file; raises everything that is wrong with it, or does not fit the axle that is shown."""
        read = read_targets(file)
        if read.axle not in (None, axle):
            text = f"the targets are of the {read.axle} axle, and the {axle} axle is shown"
            raise RequestError(Finding("targets-axle", text, str(file)))
        ready = made_ready(car, read)
        return OpenTargets(file, tuple(ready.problem.aims), SIDES.index(ready.corner.side))

    @property
    def measures(self) -> tuple[str, ...]:
        """Measures of which something is wanted."""
        return tuple(dict.fromkeys(a.measure.name for a in self.aims))

    def bands(self, curves: Curves, drives: Drives) -> tuple[WantedBand, ...]:
        """Bands of the wants that are asked over the drive of the curves, the other sliders where they stand."""
        return tuple(b for b in (self._band(a, curves) for a in self.aims if _seen(a, curves, drives)) if b)

    def _band(self, aim: Aim, curves: Curves) -> WantedBand | None:
        side = self.side if aim.want.side is None else SIDES.index(aim.want.side)
        values = curves.values.get(aim.measure.name)
        if values is None:
            return None
        at = span(aim)
        curve = np.interp(at, curves.at, values[side], left=np.nan, right=np.nan)
        if not np.isfinite(curve).any():
            return None
        known = np.isfinite(curve)
        x, middle, spread = allowed(aim, at[known], curve[known])
        low, high = np.stack([x, middle - spread], axis=1), np.stack([x, middle + spread], axis=1)
        return WantedBand(aim.measure.name, np.concatenate([low, high[::-1]]))

    def solved(self, car: Car) -> TuneResult:
        """The moves of least change of a car, from the points of its file."""
        return tune(car, self.file)


def _seen(aim: Aim, curves: Curves, drives: Drives) -> bool:
    """Whether a want is one over the drive of the curves, at the present place of the other sliders."""
    drive = next((name for name, along in ALONG.items() if along == aim.along), "")
    given = {} if aim.want.at is None else values_of(aim.want.at)
    held = {**drives.as_dict(), curves.drive: 0.0}
    asked = {name: float(given.get(name) or 0.0) for name in held} | {curves.drive: 0.0}
    return drive == curves.drive and all(abs(asked[n] - v) < SAME for n, v in held.items())
