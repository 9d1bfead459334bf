"""The model of an axle: linkage, kernel and the variants left and right, made once and used by every study."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import AssemblyError, Finding, LayoutError, RequestError
from kin3d.linkage.car import Axle, AxleName, Car, CarData
from kin3d.linkage.design import both_sides, linkage_of
from kin3d.linkage.layout import Linkage
from kin3d.measures.corner import Corner
from kin3d.solve.kernel import Kernel, Solved
from kin3d.solve.lanes import Lanes, Variants
from kin3d.spatial.jets import Algebra, box

Array = NDArray[np.float64]
SIDES = ("left", "right")
SIGNS = np.array([1.0, -1.0])


@dataclass(frozen=True, slots=True)
class AxleModel:
    """An axle ready to be solved; variant 0 is the left corner, variant 1 the right one."""

    axle: Axle
    car: CarData
    linkage: Linkage
    kernel: Kernel
    variants: Variants

    @staticmethod
    def of(car: Car, axle: AxleName) -> AxleModel:
        """Build the model of one axle of a car.

        Raises
        ------
        RequestError
            When the car file has no such axle.
        LayoutError, AssemblyError
            When its points do not make a linkage that travel and rack determine.
        """
        found = next((a for a in car.axles() if a.name == axle), None)
        if found is None:
            there = ", ".join(a.name for a in car.axles())
            text = f"the car file has no [{axle}] axle; it has: {there}"
            raise RequestError(Finding("axle-missing", text, str(car.source)))
        linkage = linkage_of(found)
        design, rack = both_sides(found, linkage)
        kernel = _kernel(found, linkage, design[0], "left")
        if found.other_points is not None:
            _kernel(found, linkage, design[1], "right")  # for what it refuses: its points are not a mirror image
        return AxleModel(found, car.data, linkage, kernel, kernel.variants(design, rack))

    def corner(
        self,
        lanes: Lanes,
        solved: Solved,
        order: int = 2,
        *,
        variants: Variants | None = None,
        signs: Array | None = None,
        seeds: Array | None = None,
    ) -> Corner:
        """The corner in motion over solved lanes.

        Parameters
        ----------
        order : int
            Order of derivatives along travel.
        variants, signs : optional
            Other variants than left and right, with +1 or −1 for each.
        seeds : ndarray, shape (directions, points, 3), optional
            Directions of change of design coordinates, to carry sensitivities.
        """
        generators = {"travel": 0}
        orders = [order]
        for name, there in (("rack", self.linkage.steering_axis is None), ("points", seeds is not None)):
            if there:
                generators[name] = len(orders)
                orders.append(1)
        algebra: Algebra = box(*orders)
        chosen = self.variants if variants is None else variants
        motion = self.kernel.motion(chosen, lanes, solved, algebra, generators, seeds)
        base = self.kernel.system.equations.unknowns.bases[self.linkage.wheel_body]
        sign = (SIGNS if signs is None else signs)[lanes.variant]
        return Corner(self.linkage, base, motion, sign, self.axle, self.car)


def _kernel(axle: Axle, linkage: Linkage, design: Array, side: str) -> Kernel:
    """The kernel of one side; what it refuses is told with the file of that side's points and the layout."""
    try:
        return Kernel(linkage, design)
    except (LayoutError, AssemblyError) as error:
        other = axle.other_points is not None and side != axle.side
        table = axle.other_points if other and axle.other_points else axle.points
        place = f"{table.source}, [{axle.name}], {axle.layout.source}"
        raise type(error)([replace(f, place=place) for f in error.findings]) from None
