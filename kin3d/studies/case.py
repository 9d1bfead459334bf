"""A case: over which drive figures are asked, of one corner, of an axle on the ground, or of the whole car.

Studies of doubt, comparison and causes ask every measure through a `CaseModel`, whatever moves the wheels: travel in
the chassis frame, or heave, roll and pitch of the body over the ground. It gives values with exact derivatives along
its drive and along any change of design coordinates and of figures of the car file.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal, Protocol, Self

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError
from kin3d.linkage.keys import LoadCase
from kin3d.linkage.names import AxleName, Side
from kin3d.loads.force_measures import settled_force, settled_names
from kin3d.measures.car import MEASURES as ON_THE_GROUND
from kin3d.measures.entry import Measure
from kin3d.studies.car_measures import car_measure
from kin3d.studies.car_stands import CarStands
from kin3d.studies.corner_model import CornerModel
from kin3d.studies.derived import AskedMeasures, Derived
from kin3d.studies.drive_values import Given, drive_values, refuse_travel
from kin3d.studies.element_measures import element_measure, name_an_element
from kin3d.studies.registry import EVERY, asked, axle_measures, corner_measures, is_made, pick

Array = NDArray[np.float64]
DriveName = Literal["travel", "heave", "roll", "pitch", "lateral", "loads"]


@dataclass(frozen=True, slots=True)
class SweptDrive:
    """What moves the wheels.

    Attributes
    ----------
    name : str
    column : str
        As in files, with its unit.
    label : str
        For a person.
    unit : str
    sign : str
        What a positive value means.
    """

    name: DriveName
    column: str
    label: str
    unit: str
    sign: str

    @property
    def axis(self) -> str:
        """Title of an axis."""
        return f"{self.label} ({self.unit}), {self.sign}"

    def coordinate(self, at: Array) -> tuple[str, Array, dict[str, str]]:
        """Values of the drive as a coordinate of a Dataset."""
        said = f"{self.label[0].upper()}{self.label[1:]}, {self.sign}"
        return self.column, at, {"units": self.unit, "long_name": said}

    def place(self, value: float) -> str:
        """A value in words."""
        if self.name == "loads":
            return "under the case's loads" if value == 1.0 else f"under {100.0 * value:g} % of the case's loads"
        name = self.label if self.name == "lateral" else self.name
        return f"{name} {value:+g} {self.unit}".replace("+0 ", "0 ")

    def places(self, values: Array) -> str:
        """Several values in words."""
        return f"{self.name} {', '.join(f'{v:+g}' for v in values)} {self.unit}"


DRIVES: dict[DriveName, SweptDrive] = {
    d.name: d
    for d in (
        SweptDrive("travel", "travel_mm", "wheel travel", "mm", "bump positive"),
        SweptDrive("heave", "heave_mm", "heave of both wheels", "mm", "bump positive"),
        SweptDrive("roll", "roll_deg", "roll of the body", "deg", "left side up positive"),
        SweptDrive("pitch", "pitch_deg", "pitch of the body", "deg", "nose down positive"),
        SweptDrive("lateral", "lateral_g", "lateral acceleration", "g", "to the left positive"),
        SweptDrive("loads", "loads_share", "share of the case's loads", "1", "1 for all of them"),
    )
}
DriveRange = Given | None


@dataclass(frozen=True, slots=True)
class Case:
    """What is asked.

    Attributes
    ----------
    axle : {"front", "rear"}
    drive : SweptDrive
    at : ndarray, shape (positions,)
        Values of the drive.
    held : mapping of str to float
        The other drives, ``"rack"`` among them; 0 where they are not named.
    side : {"left", "right"}, optional
        Whose wheel's figures are told; default the side that the points were given for.
    whole : bool
        Whether all four wheels stand on the ground: figures of the car are asked.
    elements : tuple of str
        Names of figures of springs and bars that are asked, and of what they make of the car.
    forces : tuple of str
        Names of forces of the settled car, where these are asked.
    """

    axle: AxleName
    drive: SweptDrive
    at: Array
    held: Mapping[str, float] = field(default_factory=dict)
    side: Side | None = None
    whole: bool = False
    elements: tuple[str, ...] = ()
    forces: tuple[str, ...] = ()

    @property
    def on_ground(self) -> bool:
        """Whether the wheels stand on the ground, else they move in the chassis frame."""
        return self.drive.name != "travel"

    @property
    def measures(self) -> tuple[Measure, ...]:
        """Every measure that can be asked."""
        if self.drive.name == "loads":
            return tuple(settled_force(n) for n in self.forces)
        if not self.on_ground:
            return corner_measures(self.axle)
        more = [m for n in self.elements if (m := _sprung_measure(n))]
        return (*axle_measures(self.axle), *(ON_THE_GROUND if self.whole else ()), *more)

    def chosen(self, names: Sequence[str] | None) -> tuple[Measure, ...]:
        """Measures of the given names, all for None."""
        if self.drive.name == "loads":
            return tuple(m for m in self.measures if names is None or m.name in asked(names))
        return pick(self.measures, self.axle, names)

    def only(self, good: NDArray[np.bool_]) -> Case:
        """The same at some of the positions."""
        return replace(self, at=self.at[good])

    @property
    def origin(self) -> float:
        """Value of the drive at which single figures and gradients are told: 0, or the only one on the ground.

        Of several turns without rest it is the first.
        """
        turns = self.drive.name == "lateral" and 0.0 not in self.at
        return float(self.at[0]) if turns or (self.on_ground and len(self.at) == 1) else 0.0

    def told_held(self) -> list[str]:
        """The drives that are held and not at 0, in words."""
        return [DRIVES[n].place(v) if n in DRIVES else f"rack {v:+g} mm" for n, v in self.held.items() if v]

    @property
    def start(self) -> str:
        """That position in words."""
        held = self.told_held()
        if not self.origin and not held:
            return "at rest" if self.drive.name == "lateral" else "in the design position"
        at = "" if self.drive.name == "loads" else "at "
        return f"{at}{', '.join([self.drive.place(self.origin), *held])}"


def case_of(
    axle: AxleName,
    travel: DriveRange,
    default: Sequence[float],
    measures: Sequence[str] | None,
    side: Side | None = None,
    *,
    heave: DriveRange = None,
    roll: DriveRange = None,
    pitch: DriveRange = None,
    lateral: DriveRange = None,
    rack: float = 0.0,
    cases: Sequence[LoadCase] = (),
) -> Case:
    """The case of the drives that are given and the measures that are named.

    Parameters
    ----------
    travel, heave, roll, pitch : float or sequence of float, mm or deg
        One of them may have several values: over that one curves and ranges go. Without any, travel takes `default`;
        measures that need both wheels on the ground take it as heave.
    lateral : float or sequence of float, g
        In place of the drives: wheels as they stand when the car has settled under those accelerations.
    rack : float, mm
    cases : sequence of LoadCase
        Of the car: forces under those of the settled car are asked of the car as it settles, without any drive.

    Raises
    ------
    RequestError
        For several drives with more than one value, drives that do not go together, or a measure that is not known.
    """
    given: dict[DriveName, DriveRange] = {"heave": heave, "roll": roll, "pitch": pitch, "lateral": lateral}
    found = drive_values({**{n: v for n, v in given.items() if v is not None}, "rack": rack})
    there = {n: found[n] for n in given if n in found}
    names = None if measures is None else asked(measures)
    _known(axle, names)
    settled = settled_names(names or (), cases)
    if settled:
        _alone(settled, names or (), [n for n, v in {"travel": travel, **given}.items() if v is not None])
        return Case(axle, DRIVES["loads"], np.ones(1), {"rack": float(rack)}, side, whole=True, forces=settled)
    over_ground = bool(there) or _needs_ground(axle, names)
    if "lateral" in there and (len(there) > 1 or rack):
        text = "lateral settles the car, and that says how it stands; give it without heave, roll, pitch and rack"
        raise RequestError(Finding("drives-mixed", text))
    refuse_travel(travel, given.values())
    if not there:
        drive: DriveName = "heave" if over_ground else "travel"
        at = drive_values({"travel": default if travel is None else travel})["travel"]
        held: dict[str, float] = {}
    else:
        many = [n for n, v in there.items() if len(v) > 1]
        if len(many) > 1:
            text = f"{' and '.join(many)} have several values each; curves and ranges go over one drive, hold the other"
            raise RequestError(Finding("drives-many", text))
        drive = (many or list(there))[0]
        at = there.pop(drive)
        held = {n: float(v[0]) for n, v in there.items()}
    whole = "pitch" in (drive, *held) or any(m.name in (names or ()) for m in ON_THE_GROUND)
    whole |= any(car_measure(n) for n in names or ())
    elements = tuple(n for n in names or () if _sprung_measure(n))
    return Case(axle, DRIVES[drive], at, {**held, "rack": float(rack)}, side, whole, elements)


def _sprung_measure(name: str) -> Measure | None:
    """The measure of that name that springs and bars make: of elements, or of the car on them."""
    return element_measure(name) or car_measure(name)


def _alone(settled: Sequence[str], names: Sequence[str], drives: Sequence[str]) -> None:
    """Refuse what does not go with forces of the settled car: other measures, drives."""
    others = [n for n in names if n not in settled]
    found = []
    if others:
        text = f"{settled[0]} is of the car as it settles; ask for {', '.join(others)} by themselves"
        found.append(Finding("measures-mixed", text))
    if drives:
        text = f"{settled[0]} is of the car as it settles; give it without {' and '.join(drives)}"
        found.append(Finding("drives-mixed", text))
    if found:
        raise RequestError(found)


def _needs_ground(axle: AxleName, names: Sequence[str] | None) -> bool:
    """Whether some of the names are no measure of one corner alone."""
    of_corner = {m.name for m in corner_measures(axle)}
    return any(n not in of_corner and not is_made(n) for n in names or ())


def _known(axle: AxleName, names: Sequence[str] | None) -> None:
    """Refuse names that no case can answer: unknown ones, and those that another command has."""
    if names is None:
        return
    here = (*axle_measures(axle), *ON_THE_GROUND)
    known = {m.name for m in (*here, *corner_measures(axle))}
    names = [n for n in names if _sprung_measure(n) is None]
    elsewhere = {m.name: m for m in EVERY if m.name not in known}
    found = [_elsewhere(elsewhere[n], axle) for n in names if n in elsewhere]
    if found:
        raise RequestError(found)
    if names:
        pick(tuple({m.name: m for m in (*corner_measures(axle), *here)}.values()), axle, names)


def _elsewhere(m: Measure, axle: AxleName) -> Finding:
    if m.axle is not None:
        return Finding("measure-axle", f'"{m.name}" is a measure of the {m.axle} axle; the {axle} axle is asked')
    return name_an_element(m.name) or Finding("measure-elsewhere", f'"{m.name}" is told by kin3d rates alone')


class CaseModel(Protocol):
    """A car of which a case is asked.

    Attributes
    ----------
    case : Case
    parts : tuple of CornerModel
        Corners whose points matter, in the order of the rows of design coordinates.
    design : ndarray, shape (rows, 3)
        Design coordinates of all parts, one after the other, mm.
    subject : object
        What figures of the car file are asked of, by the keys that measures name.
    side : {"left", "right"}
    """

    @property
    def case(self) -> Case: ...  # noqa: D102
    @property
    def parts(self) -> tuple[CornerModel, ...]: ...  # noqa: D102
    @property
    def design(self) -> Array: ...  # noqa: D102
    @property
    def subject(self) -> object: ...  # noqa: D102
    @property
    def corner(self) -> CornerModel: ...  # noqa: D102

    def available(self, wanted: Sequence[Measure]) -> tuple[tuple[Measure, ...], dict[str, str]]:
        """Measures that there is data for, and the reason for each that is left out."""
        ...

    def with_figures_of(self, other: Self) -> Self:
        """The same linkages with the figures of the car file of another car."""
        ...

    def between(self, other: Self, share: Array, at: Array, first: int, directions: int) -> CarStands | None:
        """How cars on the way to another one stand in turns; None over other drives."""
        ...

    def derive(self, designs: Array, at: Array, asked: AskedMeasures) -> Derived:
        """Solve cars in all positions and compute measures with derivatives.

        Parameters
        ----------
        designs : ndarray, shape (cars, rows, 3)
            Design coordinates of each car.
        at : ndarray, shape (positions,)
            Values of the drive; lanes are all positions of the first car, then of the next.
        asked : AskedMeasures
        """
        ...
