"""What a key of the car file may hold: types with their ranges and the words that say what is expected."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any, Literal

from kin3d.linkage.expected import After, Before, Expected, UnfitError, path_of
from kin3d.linkage.names import normalise

# In the file a direction is in the axes of the points' file, in the data in the vehicle frame and of length 1.
FILE_AXES = "in the axes of the points' file"


def _both(value: Any) -> Any:
    """One point stands for itself on both sides."""
    if not isinstance(value, list | tuple) or len(value) != 1:
        return value
    if not isinstance(value[0], str):
        raise UnfitError("one name would stand for both")
    return [*value, *value]


def _once(names: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(names))


TEXT = Expected("a text in quotation marks")
SOME_TEXT = Expected("a text in quotation marks", least_length=1)


def tables(name: str) -> Expected:
    """What is expected where a list of tables stands."""
    return Expected(f"tables headed [[...{name}]]")


def _headed(value: Any) -> Any:
    """Tables of a table, each headed by its name, as a list of tables that have it as a key."""
    if isinstance(value, list) or (isinstance(value, Mapping) and any("name" in _table(v) for v in value.values())):
        raise UnfitError("the heading is the name")
    if not isinstance(value, Mapping):
        return value
    return [{"name": name, **inner} if isinstance(inner, Mapping) else inner for name, inner in value.items()]


def _table(value: Any) -> Mapping[str, Any]:
    return value if isinstance(value, Mapping) else {}


def headed(name: str) -> Expected:
    """What is expected of tables that are headed by their names, ``[front.KEY.NAME]``; it goes with `HEADED`."""
    return Expected(f'a table headed [...{name}.NAME], without a key "name" in it,')


HEADED = Before(_headed)
DIRECTION = Expected("a list of three numbers, in the axes of the points' file,")

AnyText = Annotated[str | None, TEXT]
Name = Annotated[str, SOME_TEXT]
NormalName = Annotated[str, After(normalise)]
Points = Annotated[tuple[NormalName, ...], After(_once), Expected("a list of point names")]
PointPair = Annotated[tuple[NormalName, NormalName], Expected("a list of two names")]
BodyPair = Annotated[tuple[str, str] | None, Expected("a list of two names")]
SidePoints = Annotated[
    tuple[NormalName, NormalName],
    Before(_both),
    Expected("a list of one or two point names"),
]
Triple = tuple[float, float, float]
Direction = Annotated[Triple | None, DIRECTION, FILE_AXES]
FileOrigin = Annotated[
    Triple | None,
    Expected("a list of three numbers, where the vehicle's origin lies in the points' file (its axes, unit),"),
]
MeshPath = Annotated[Path | None, Before(path_of), TEXT]
ProfilePairs = Annotated[
    tuple[tuple[float, Annotated[float, Expected(ge=0)]], ...],
    Expected(
        "a list of pairs [width, radius] in mm, width outboard from the wheel centre, radius of 0 or more,",
    ),
]
Sigmas = Annotated[
    tuple[Annotated[float, Expected(ge=0)], Annotated[float, Expected(ge=0)], Annotated[float, Expected(ge=0)]],
    Expected(
        "a list of three standard deviations of 0 or more in mm (x, y, z of the vehicle frame)",
    ),
]
AnyNumber = Annotated[float | None, Expected("a number")]
Positive = Annotated[float | None, Expected("a number over 0", gt=0)]
Length = Annotated[float | None, Expected("a length over 0 in mm", gt=0)]
LengthOrZero = Annotated[float, Expected("a length of 0 or more in mm", ge=0)]
Mass = Annotated[float | None, Expected("a mass over 0 in kg", gt=0)]
PartMass = Annotated[float | None, Expected("a mass of 0 or more in kg", ge=0)]
Inertia = Annotated[float | None, Expected("a moment of inertia over 0 in kg·m²", gt=0)]
Share = Annotated[float | None, Expected("a share from 0 to 1", ge=0, le=1)]
Angle = Annotated[float, Expected("an angle between -45 and 45 degrees", gt=-45, lt=45)]
Swing = Annotated[float | None, Expected("an angle between 0 and 90 degrees", gt=0, lt=90)]
Rate = Annotated[float, Expected("a rate over 0 in N/mm", gt=0)]
TyreRate = Annotated[float | None, Expected("a rate over 0 in N/mm", gt=0)]
TurnRate = Annotated[float, Expected("a rate over 0 in N·m/deg", gt=0)]
BrakePlace = Literal["outboard", "inboard"]
TorquePlace = Literal["chassis", "upright"]
YesNo = Annotated[bool, Expected("true or false")]
Accel = Annotated[float | None, Expected("an acceleration between -20 and 20 in g", ge=-20, le=20)]
_THREE = "a list of three numbers along x, y and z of the vehicle frame, in"
Newtons = Annotated[Triple | None, Expected(f"{_THREE} N,")]
Moments = Annotated[Triple | None, Expected(f"{_THREE} N·m,")]
