"""The model of an axle: linkage, kernel and the variants left and right, made once and used by every study."""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass, replace
from threading import local

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import AssemblyError, LayoutError
from kin3d.linkage.car import Axle, Car
from kin3d.linkage.design import SIDES, SideCoordinates, side_coordinates
from kin3d.linkage.keys import CarData
from kin3d.linkage.layout import Linkage
from kin3d.linkage.names import AxleName
from kin3d.solve.kernel import Kernel
from kin3d.solve.lanes import Lanes, Variants, pair_lanes

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
    kernel : Kernel
    variants : Variants
        The design positions of left and right.
    """

    axle: Axle
    car: CarData
    linkage: Linkage
    sides: tuple[SideCoordinates, SideCoordinates]
    kernel: Kernel
    variants: Variants

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
        joined = self.kernel.linkage.both_sides
        return pair_lanes(travel, rack, more, joined=joined, variant=variant, variants=self.variants.count)

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
        for model in made:
            if model.axle is found and model.car is car.data:
                return model
        if found.points.pending:
            raise ValueError(f"{found.points.source}: these points are not adjusted yet; kin3d.load does it")
        linkage = found.linkage
        left, right = (side_coordinates(found, s) for s in SIDES)
        kernel = _kernel(found, linkage, left)
        if found.other_points is not None:
            _kernel(found, linkage, right)  # for what it refuses: its points are not a mirror image
        variants = kernel.variants(np.stack([left.design, right.design]), np.stack([left.rack_axis, right.rack_axis]))
        made.append(AxleModel(found, car.data, linkage, (left, right), kernel, variants))
        return made[-1]


def _kernel(axle: Axle, linkage: Linkage, side: SideCoordinates) -> Kernel:
    """The kernel of one side; what it refuses is told with the file of that side's points and the layout."""
    try:
        return Kernel(linkage, side.design)
    except (LayoutError, AssemblyError) as error:
        place = f"{side.table.source}, [{axle.name}], {axle.layout.source}"
        raise type(error)([replace(f, place=place) for f in error.findings]) from None
