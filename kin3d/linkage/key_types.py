"""What a key of the car file may hold: types with their ranges and the words that say what is expected."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Field
from pydantic_core import PydanticCustomError

from kin3d.linkage.names import normalise

# In the file a direction is in the axes of the points' file, in the data in the vehicle frame and of length 1.
FILE_AXES = "in the axes of the points' file"


def _path(value: Any) -> Any:
    return Path(value) if isinstance(value, str) else value


def _both(value: Any) -> Any:
    """One point stands for itself on both sides."""
    return [*value, *value] if isinstance(value, list | tuple) and len(value) == 1 else value


def _once(names: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(names))


def text(description: str = "a text in quotation marks", **more: Any) -> Any:
    """Field of a text."""
    return Field(description=description, **more)


def tables(name: str) -> Any:
    """Field of a list of tables."""
    return Field(strict=False, description=f"tables headed [[...{name}]]")


def _headed(value: Any) -> Any:
    """Tables of a table, each headed by its name, as a list of tables that have it as a key."""
    if isinstance(value, list) or (isinstance(value, Mapping) and any("name" in _table(v) for v in value.values())):
        raise PydanticCustomError("tables_named_twice", "the heading is the name")
    if not isinstance(value, Mapping):
        return value
    return [{"name": name, **inner} if isinstance(inner, Mapping) else inner for name, inner in value.items()]


def _table(value: Any) -> Mapping[str, Any]:
    return value if isinstance(value, Mapping) else {}


def headed(name: str) -> Any:
    """Field of tables that are headed by their names, ``[front.KEY.NAME]``; it goes with `HEADED`."""
    return Field(strict=False, description=f'a table headed [...{name}.NAME], without a key "name" in it,')


HEADED = BeforeValidator(_headed)
DIRECTION = Field(description="a list of three numbers, in the axes of the points' file,")
_LAX = Field(strict=False)  # a list of the file becomes a tuple

AnyText = Annotated[str | None, text()]
Name = Annotated[str, text(min_length=1)]
NormalName = Annotated[str, AfterValidator(normalise)]
Points = Annotated[
    tuple[NormalName, ...], AfterValidator(_once), Field(strict=False, description="a list of point names")
]
PointPair = Annotated[tuple[NormalName, NormalName], Field(strict=False, description="a list of two names")]
BodyPair = Annotated[Annotated[tuple[str, str], _LAX] | None, Field(description="a list of two names")]
SidePoints = Annotated[
    tuple[NormalName, NormalName],
    BeforeValidator(_both),
    Field(strict=False, description="a list of one or two point names"),
]
Triple = tuple[float, float, float]
Direction = Annotated[Annotated[Triple, _LAX] | None, DIRECTION, FILE_AXES]
FileOrigin = Annotated[
    Annotated[Triple, _LAX] | None,
    Field(description="a list of three numbers, where the vehicle's origin lies in the points' file (its axes, unit),"),
]
MeshPath = Annotated[Annotated[Path, BeforeValidator(_path)] | None, text()]
ProfilePairs = Annotated[
    tuple[Annotated[tuple[float, Annotated[float, Field(ge=0)]], _LAX], ...],
    Field(
        strict=False,
        description="a list of pairs [width, radius] in mm, width outboard from the wheel centre, radius of 0 or more,",
    ),
]
Sigmas = Annotated[
    tuple[Annotated[float, Field(ge=0)], Annotated[float, Field(ge=0)], Annotated[float, Field(ge=0)]],
    Field(
        strict=False,
        description="a list of three standard deviations of 0 or more in mm (x, y, z of the vehicle frame)",
    ),
]
AnyNumber = Annotated[float | None, Field(description="a number")]
Positive = Annotated[float | None, Field(gt=0, description="a number over 0")]
Length = Annotated[float | None, Field(gt=0, description="a length over 0 in mm")]
LengthOrZero = Annotated[float, Field(ge=0, description="a length of 0 or more in mm")]
Mass = Annotated[float | None, Field(gt=0, description="a mass over 0 in kg")]
PartMass = Annotated[float | None, Field(ge=0, description="a mass of 0 or more in kg")]
Inertia = Annotated[float | None, Field(gt=0, description="a moment of inertia over 0 in kg·m²")]
Share = Annotated[float | None, Field(ge=0, le=1, description="a share from 0 to 1")]
Angle = Annotated[float, Field(gt=-45, lt=45, description="an angle between -45 and 45 degrees")]
Swing = Annotated[float | None, Field(gt=0, lt=90, description="an angle between 0 and 90 degrees")]
Rate = Annotated[float, Field(gt=0, description="a rate over 0 in N/mm")]
TyreRate = Annotated[float | None, Field(gt=0, description="a rate over 0 in N/mm")]
TurnRate = Annotated[float, Field(gt=0, description="a rate over 0 in N·m/deg")]
BrakePlace = Literal["outboard", "inboard"]
TorquePlace = Literal["chassis", "upright"]
YesNo = Annotated[bool, Field(description="true or false")]
Accel = Annotated[float | None, Field(ge=-20, le=20, description="an acceleration between -20 and 20 in g")]
_THREE = "a list of three numbers along x, y and z of the vehicle frame, in"
Newtons = Annotated[Annotated[Triple, _LAX] | None, Field(description=f"{_THREE} N,")]
Moments = Annotated[Annotated[Triple, _LAX] | None, Field(description=f"{_THREE} N·m,")]
