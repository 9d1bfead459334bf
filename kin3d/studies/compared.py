"""What a comparison is made of: a car as compared, and a pair of cars with what moved, what that changed and why."""

from __future__ import annotations

from dataclasses import dataclass

from kin3d.linkage.names import AxleName, Side
from kin3d.measures.entry import Measure
from kin3d.studies.attribution import Attribution
from kin3d.studies.corner_model import CornerModel
from kin3d.studies.fit import FittedCar
from kin3d.studies.point_changes import Planes, PointChange
from kin3d.studies.significance import Difference, FigureKind
from kin3d.studies.tolerance import Tolerance


@dataclass(frozen=True, slots=True, repr=False)
class ComparedCar:
    """One car of a comparison.

    Attributes
    ----------
    label : str
        ``A``, ``B``, …
    fitted : FittedCar
        The car as compared.
    corner : CornerModel
    tolerance : Tolerance
        Its curves over the drive, with uncertainty where points carry deviations.
    planes : Planes
    """

    label: str
    fitted: FittedCar
    corner: CornerModel
    tolerance: Tolerance
    planes: Planes

    @property
    def title(self) -> str:
        """The car's title."""
        return self.fitted.car.title

    @property
    def known(self) -> bool:
        """Whether its points carry deviations."""
        return self.tolerance.uncertainty.known

    def __repr__(self) -> str:
        return f"<{self.label}: {self.title}>"


@dataclass(frozen=True, slots=True, repr=False)
class CarPair:
    """The first car and one other.

    Attributes
    ----------
    a, b : ComparedCar
    moves : tuple of PointChange
    lone : tuple of str
        Points that only one of the two has.
    differences : tuple of Difference
        Every measure in the design position, its rate and its range.
    attribution : Attribution
    not_compared : dict of str to str
        Measures that one of the cars lacks, and why.
    cautions : tuple of str
    """

    a: ComparedCar
    b: ComparedCar
    moves: tuple[PointChange, ...]
    lone: tuple[str, ...]
    differences: tuple[Difference, ...]
    attribution: Attribution
    not_compared: dict[str, str]
    cautions: tuple[str, ...]

    @property
    def measures(self) -> tuple[Measure, ...]:
        """Measures that both cars have."""
        return tuple(dict.fromkeys(x.measure for x in self.differences))

    @property
    def axle(self) -> AxleName:
        """The axle that is compared."""
        return self.a.tolerance.axle

    @property
    def side(self) -> Side:
        """The side of the cars that is compared."""
        return self.a.tolerance.side

    @property
    def judged(self) -> int:
        """Number of differences that were weighed against their doubt."""
        return sum(x.judged for x in self.differences)

    def difference(self, measure: str, kind: FigureKind) -> Difference:
        """The difference of a measure in one kind of figure."""
        return next(x for x in self.differences if x.measure.name == measure and x.kind == kind)

    def __repr__(self) -> str:
        return f"<{self.a!r} and {self.b!r}: {len(self.differences)} differences>"
