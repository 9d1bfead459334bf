"""One corner over travel, asked as a case; and the model of any case."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.car import Car
from kin3d.linkage.joined import independent_only
from kin3d.measures.entry import Measure
from kin3d.solve.model import AxleModel
from kin3d.studies.case import Case, CaseModel
from kin3d.studies.corner_model import CornerModel, derive
from kin3d.studies.derived import AskedMeasures, Derived
from kin3d.studies.ground_case import GroundCase
from kin3d.studies.settled_case import SettledCase

Array = NDArray[np.float64]


def model_of(case: Case, car: Car, stands: CaseModel | None = None) -> CaseModel:
    """A car, ready to be asked a case.

    Parameters
    ----------
    stands : CaseModel, optional
        The same case of the whole car, where this one lacks what it takes to settle.

    Raises
    ------
    RequestError
        When the car lacks what the case needs.
    """
    if case.drive.name == "loads":
        return SettledCase.of(case, car)
    if case.on_ground:
        return GroundCase.of(case, car, stands)
    axle = car.axle(case.axle)
    if axle.other_points is not None:  # the other side's table would have its part in every figure
        over = "ask over --heave or --roll, where both tables have their part"
        independent_only("sensitivity, tolerance and compare over travel with other_points", [axle], over)
    return CornerCase(case, CornerModel.of(car, case.axle, case.side))


@dataclass(frozen=True, slots=True)
class CornerCase:
    """One corner over travel in the chassis frame; see `CaseModel`."""

    case: Case
    corner: CornerModel

    @property
    def parts(self) -> tuple[CornerModel, ...]:
        """The corner."""
        return (self.corner,)

    @property
    def design(self) -> Array:
        """Design coordinates of the corner."""
        return self.corner.design

    @property
    def subject(self) -> AxleModel:
        """The axle."""
        return self.corner.model

    def available(self, wanted: Sequence[Measure]) -> tuple[tuple[Measure, ...], dict[str, str]]:
        """See `CaseModel`."""
        return self.corner.available(wanted)

    def with_figures_of(self, other: CornerCase) -> CornerCase:
        """See `CaseModel`."""
        mine, theirs = self.corner.model, other.corner.model
        return replace(self, corner=replace(self.corner, model=replace(mine, axle=theirs.axle, car=theirs.car)))

    def between(self, other: CornerCase, share: Array, at: Array, first: int, directions: int) -> None:
        """See `CaseModel`: no car stands on the ground here."""

    def derive(self, designs: Array, at: Array, asked: AskedMeasures) -> Derived:
        """See `CaseModel`."""
        kernel = self.corner.model.kernel
        axis = self.corner.rack_axis if asked.rack_axes is None else asked.rack_axes[0]
        variants = kernel.variants(designs, axis)
        lanes = kernel.lanes(variants, at, self.case.held.get("rack", 0.0))
        return derive(self.corner, variants, lanes, asked)
