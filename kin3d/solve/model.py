"""The model of an axle: linkage, kernel and the variants left and right, made once and used by every study."""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass, replace
from threading import local

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import AssemblyError, LayoutError, raise_errors
from kin3d.linkage.car import Axle, Car
from kin3d.linkage.design import SIDES, SideCoordinates, side_coordinates
from kin3d.linkage.keys import CarData, LoadCase
from kin3d.linkage.layout import Linkage
from kin3d.linkage.names import AxleName
from kin3d.solve.both_sides import JoinedKernel
from kin3d.solve.kernel import Kernel
from kin3d.solve.lanes import Lanes, Variants, pair_lanes
from kin3d.solve.mobility import spanning

Array = NDArray[np.float64]
SIGNS = np.array([1.0, -1.0])
KEPT = 6  # models of the cars at hand: a command looks at its car several times
_made = local()  # a kernel works in a space of its own, which two threads must not share


@dataclass(frozen=True, slots=True)
class AxleModel:
    """An axle ready to be solved; variant 0 is the left corner, variant 1 the right one.

    Attributes
    ----------
    axle, car : Axle, CarData
        What the car file says.
    linkage : Linkage
    sides : tuple of SideCoordinates
        Left and right: how the coordinates of the point table move the linkage.
    kernel : Kernel or JoinedKernel
        The latter where both sides are one system: it shows each lane the points of its side.
    variants : Variants
        The design positions of left and right.
    cases : tuple of LoadCase
        The car's load cases.
    """

    axle: Axle
    car: CarData
    linkage: Linkage
    sides: tuple[SideCoordinates, SideCoordinates]
    kernel: Kernel | JoinedKernel
    variants: Variants
    cases: tuple[LoadCase, ...] = ()

    @property
    def joined(self) -> bool:
        """Whether both sides are one system."""
        return self.linkage.system is not None

    @property
    def kernel_of_a_corner(self) -> Kernel:
        """The kernel where each side is a linkage by itself; ValueError where both are one system."""
        if self.joined:
            raise ValueError(f'layout "{self.linkage.layout}": both sides are one system')
        return self.kernel.whole

    def pair(
        self,
        travel: Array,
        rack: Array,
        more: Mapping[str, Array] | None = None,
        variant: NDArray[np.intp] | None = None,
    ) -> Lanes:
        """Lanes of both wheels, all left ones, then all right ones: travel (2, n), rack (n,), other drives (n,).

        `variant` (n,) says of which car each position is, where the variants are those of several cars.
        """
        return pair_lanes(travel, rack, more, joined=self.joined, variant=variant, variants=self.variants.count)

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
        found = car.axle(axle)
        made: deque[AxleModel] = _made.__dict__.setdefault("models", deque(maxlen=KEPT))
        of_axle = [m for m in made if m.axle is found and m.car is car.data]
        for model in of_axle:
            if model.cases is car.cases:
                return model
        if of_axle:  # the same but for its load cases
            made.append(replace(of_axle[0], cases=car.cases))
            return made[-1]
        if found.points.pending:
            raise ValueError(f"{found.points.source}: these points are not adjusted yet; kin3d.load does it")
        linkage = found.linkage
        left, right = (side_coordinates(found, s) for s in SIDES)
        kernel = _kernel(found, linkage, (left, right))
        if found.other_points is not None and linkage.system is None:
            _kernel(found, linkage, (right, left))  # for what it refuses: its points are not a mirror image
        variants = kernel.variants(np.stack([left.design, right.design]), np.stack([left.rack_axis, right.rack_axis]))
        made.append(AxleModel(found, car.data, linkage, (left, right), kernel, variants, car.cases))
        return made[-1]


def _kernel(axle: Axle, linkage: Linkage, sides: tuple[SideCoordinates, SideCoordinates]) -> Kernel | JoinedKernel:
    """The kernel of one side, or of both; what it refuses is told with the file of the points and the layout."""
    try:
        raise_errors(spanning(linkage, sides[0].design, [p for d in linkage.drives for p in d.points]), LayoutError)
        if linkage.system is not None:
            return JoinedKernel(linkage, sides, axle.other_points is None, np.array(axle.rack_axis))
        return Kernel(linkage, sides[0].design)
    except (LayoutError, AssemblyError) as error:
        table = sides[0].table
        rows = dict(zip(table.names, table.places, strict=True))
        place = f"{table.source}, [{axle.name}], {axle.layout.source}"
        raise type(error)([replace(f, place=rows.get(f.place, place)) for f in error.findings]) from None
