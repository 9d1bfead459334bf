"""The car file's keys for inboard elements: further springs, springs across the car, stops, damper, rod, masses.

They join `kin3d.reading.model` as tables of an axle.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

Rate = Annotated[float, Field(gt=0, description="a rate over 0 in N/mm")]
Name = Annotated[str, Field(min_length=1, description="a text in quotation marks")]
Pair = Annotated[list[str], Field(min_length=2, max_length=2, description="a list of two names")]
Stroke = Annotated[float, Field(ge=0, description="a length of 0 or more in mm")]
Optional_ = Annotated[float | None, Field(gt=0, description="a number over 0")]
Kilogram = Annotated[float | None, Field(ge=0, description="a mass of 0 or more in kg")]
Swing = Annotated[float | None, Field(gt=0, lt=90, description="an angle between 0 and 90 degrees")]
Bolt = Annotated[
    list[float] | None,
    Field(min_length=3, max_length=3, description="a list of three numbers, in the axes of the points' file,"),
]


class InboardKeys(BaseModel):
    """One table: nothing unknown, no conversion of types, no NaN."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


class MoreSpringKeys(InboardKeys):
    """A spring beside ``[front.spring]``: ``[[front.springs]]``, a table for each.

    ``bodies`` names the bodies of two new points (``["rocker", "chassis"]``); it is left out where the layout has both.
    """

    name: Name
    points: Pair
    bodies: Pair | None = None
    rate_n_per_mm: Rate
    design_force_n: Annotated[float | None, Field(description="a number")] = None


class CrossKeys(InboardKeys):
    """A spring across the car: ``[front.third]`` (heave) or ``[front.roll_spring]``.

    ``points`` is one point name (the same on both sides) or two (left, right); ``body`` carries them.
    """

    points: Annotated[list[str], Field(min_length=1, max_length=2, description="a list of one or two point names")]
    body: Name = "rocker"
    rate_n_per_mm: Rate
    design_force_n: Annotated[float, Field(description="a number")] = 0.0


class StopKeys(InboardKeys):
    """A bump or droop stop or a packer: ``[[front.stops]]``, a table for each.

    ``on`` is the spring whose stroke it ends, ``gap_mm`` that spring's stroke from the design position to the stop.
    """

    name: Name = "stop"
    on: Name = "spring"
    sense: Literal["bump", "droop"] = "bump"
    gap_mm: Stroke
    rate_n_per_mm: Rate


class DamperKeys(InboardKeys):
    """The damper's stroke from the design position: ``[front.damper]``."""

    on: Name = "spring"
    bump_mm: Stroke
    droop_mm: Stroke


class RodKeys(InboardKeys):
    """The push- or pull-rod as a tube with rod ends: ``[front.rod_part]``.

    ``bolt_outer`` and ``bolt_inner`` are directions of the rod ends' bolts in the design position.
    """

    diameter_mm: Optional_ = None
    wall_mm: Optional_ = None
    modulus_n_per_mm2: Optional_ = None
    rod_end_limit_deg: Swing = None
    bolt_outer: Bolt = None
    bolt_inner: Bolt = None


class MassesKeys(InboardKeys):
    """Masses of the inboard parts of one corner: ``[front.masses]``."""

    rod_kg: Kilogram = None
    rocker_kg: Kilogram = None
    spring_kg: Kilogram = None


def tables(name: str) -> Any:
    """Annotation text of a list of tables."""
    return Field(description=f"tables headed [[...{name}]]")


class InboardTables(InboardKeys):
    """Keys of an axle that speak of its inboard elements and what they need."""

    springs: Annotated[list[MoreSpringKeys] | None, tables("springs")] = None
    third: CrossKeys | None = None
    roll_spring: CrossKeys | None = None
    stops: Annotated[list[StopKeys] | None, tables("stops")] = None
    damper: DamperKeys | None = None
    rod_part: RodKeys | None = None
    masses: MassesKeys | None = None
    unsprung_mass_kg: Annotated[float | None, Field(gt=0, description="a mass over 0 in kg")] = None
    tyre_rate_n_per_mm: Annotated[float | None, Field(gt=0, description="a rate over 0 in N/mm")] = None
