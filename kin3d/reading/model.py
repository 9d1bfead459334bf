"""The car file's keys: types, ranges and what is expected of each, as one table of pydantic models.

A new key or a new table is a new line here; messages and hints for mistyped keys follow from it. Every key is
optional to pydantic, so that what is right can still be used while what is wrong is collected;
`AXLE_NEEDS` lists what an axle cannot do without.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from kin3d.reading.inboard_model import InboardTables

AXLE_NEEDS = {
    "points": "the file of its pickup points",
    "side": 'the side that the points are given for, "left" or "right"',
    "layout": 'a built-in layout such as "double wishbone", or the path of a layout file',
}

Text = Annotated[str | None, Field(description="a text in quotation marks")]
Length = Annotated[float | None, Field(gt=0, description="a length over 0 in mm")]
Mass = Annotated[float | None, Field(gt=0, description="a mass over 0 in kg")]
Share = Annotated[float | None, Field(ge=0, le=1, description="a share from 0 to 1")]
Angle = Annotated[float | None, Field(gt=-45, lt=45, description="an angle between -45 and 45 degrees")]
Number = Annotated[float | None, Field(description="a number")]
Direction = Annotated[
    list[float] | None,
    Field(
        min_length=3, max_length=3, description="a list of three numbers, in the axes of the points' file,"
    ),
]


class Keys(BaseModel):
    """One table of the file: nothing unknown, no conversion of types, no NaN."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


class CarKeys(Keys):
    """Figures of the whole car: ``[car]``."""

    wheelbase_mm: Length = None
    cg_height_mm: Length = None
    mass_kg: Mass = None
    front_mass_share: Share = None
    front_brake_share: Share = None
    brakes: Literal["outboard", "inboard"] = "outboard"
    drive: Literal["front", "rear", "all"] | None = None
    front_drive_share: Share = None
    roll_inertia_kg_m2: Annotated[float | None, Field(gt=0, description="a moment of inertia over 0 in kg·m²")] = None


class SpringKeys(Keys):
    """The coil spring of a corner: ``[front.spring]``."""

    rate_n_per_mm: Annotated[float, Field(gt=0, description="a rate over 0 in N/mm")]
    design_force_n: Number = None


class TorsionKeys(Keys):
    """The torsion spring on the rocker's pivot line: ``[front.torsion]``."""

    rate_n_m_per_deg: Annotated[float, Field(gt=0, description="a rate over 0 in N·m/deg")]
    design_torque_n_m: Number = None


class BarKeys(Keys):
    """The anti-roll bar: ``[front.bar]``."""

    rate_n_m_per_deg: Annotated[float, Field(gt=0, description="a rate over 0 in N·m/deg")]


class SharedErrorKeys(Keys):
    """An error that points have in common: ``[[front.shared_error]]``."""

    name: Text = None
    points: Annotated[list[str] | None, Field(description="a list of point names")] = None
    sigma_mm: Annotated[
        list[Annotated[float, Field(ge=0)]],
        Field(
            min_length=3,
            max_length=3,
            description="a list of three standard deviations of 0 or more in mm (x, y, z of the vehicle frame)",
        ),
    ]


class MeshKeys(Keys):
    """Mesh files for looks, moved with their bodies: ``[front.meshes]``."""

    upright: Text = None
    wheel: Text = None
    tyre: Text = None
    chassis: Text = None


class CornerKeys(Keys):
    """What an axle says of its points and of the springs of a corner."""

    points: Text = None
    other_points: Text = None
    units: Text = None
    axes: Text = None
    side: Literal["left", "right"] | None = None
    layout: Text = None
    loaded_radius_mm: Length = None
    camber_deg: Angle = None
    toe_deg: Angle = None
    rack_axis: Direction = None
    spring: SpringKeys | None = None
    torsion: TorsionKeys | None = None
    bar: BarKeys | None = None
    meshes: MeshKeys | None = None
    shared_error: Annotated[
        list[SharedErrorKeys] | None, Field(description="tables headed [[...shared_error]]")
    ] = None


class AxleKeys(InboardTables, CornerKeys):
    """One axle: ``[front]`` or ``[rear]``. The layout adds keys of its own, such as ``rod_on``."""


class CarFile(Keys):
    """The whole file."""

    title: Text = None
    car: CarKeys = CarKeys()
    front: AxleKeys | None = None
    rear: AxleKeys | None = None
