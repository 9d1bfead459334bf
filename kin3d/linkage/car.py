"""A car as read: the keys of its file, the points of its axles and the linkages that join them, all frozen."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Annotated

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pydantic import Field, GetPydanticSchema
from pydantic_core import core_schema

from kin3d.errors import Finding
from kin3d.frames import parse_axes
from kin3d.linkage.keys import AxleKeys, CarData, Text
from kin3d.linkage.layout import Layout, Linkage, resolve
from kin3d.linkage.names import AxleName, Side
from kin3d.linkage.record import Record
from kin3d.units import length_factor

_HELD = GetPydanticSchema(lambda _kind, _handler: core_schema.any_schema())  # taken as it is, not looked into


@dataclass(frozen=True, slots=True)
class PointTable:
    """Named points in the vehicle frame (ISO 8855: x forward, y left, z up).

    Attributes
    ----------
    source : pathlib.Path
        The file they came from.
    names : tuple of str
        Point names as the program writes them: lower case, underscores.
    xyz_mm : ndarray, shape (n, 3)
        Coordinates in mm.
    sigma_mm : ndarray, shape (n, 3)
        One standard deviation of each coordinate in mm; 0 where the file gives none.
    places : tuple of str
        Where each point stands in the file, for messages.
    notes : tuple of str
        The file's own note to each point; empty where there is none.
    findings : tuple of Finding
        Warnings and notes of the reading.
    """

    source: Path
    names: tuple[str, ...]
    xyz_mm: NDArray[np.float64]
    sigma_mm: NDArray[np.float64]
    places: tuple[str, ...]
    notes: tuple[str, ...]
    findings: tuple[Finding, ...] = ()

    def __contains__(self, name: str) -> bool:
        return name in self.names

    def __getitem__(self, name: str) -> NDArray[np.float64]:
        """Coordinates of one point, shape (3,), mm."""
        row: NDArray[np.float64] = self.xyz_mm[self.names.index(name)]
        return row

    def with_places(self, places: Mapping[str, ArrayLike]) -> PointTable:
        """The table with points in other places, mm, vehicle frame; a moved point loses the file's note."""
        xyz, notes = self.xyz_mm.copy(), list(self.notes)
        for name, place in places.items():
            xyz[self.names.index(name)] = place
            notes[self.names.index(name)] = ""
        return replace(self, xyz_mm=xyz, notes=tuple(notes))


@dataclass(frozen=True, slots=True)
class MeshFile:
    """A mesh for looks: its file, and the matrix that takes its coordinates to mm in the vehicle frame."""

    path: Path
    to_mm: tuple[tuple[float, float, float], ...]


class Axle(AxleKeys):
    """One axle: the points of one side, the layout that joins them, and the keys that the file has for it.

    Attributes
    ----------
    points : PointTable
        The pickup points of the side named by `side`.
    side : {"left", "right"}
        The side that the points were given for; the other is its mirror image in y = 0
        unless `other_points` holds points of its own.
    layout : Layout
        How the points make bodies.
    layout_keys : mapping of str to str
        Every key that the layout adds and the car file gives, ``rod_on`` among them.
    units, axes : str or None
        Unit and axes of the axle's files; None: a drawing's own. Meshes are in these, and it is written in these.
    """

    name: AxleName
    points: Annotated[PointTable, _HELD]
    side: Side
    layout: Annotated[Layout, _HELD]
    other_points: Annotated[PointTable | None, _HELD] = None
    layout_keys: dict[str, str] = Field(default_factory=dict)
    units: Text = None
    axes: Text = None

    @cached_property
    def linkage(self) -> Linkage:
        """The linkage of the layout with the points and keys that there are.

        Raises
        ------
        LayoutError
            With every missing and every unused point, and every wrong value of a layout's key.
        """
        places = dict(zip(self.points.names, self.points.places, strict=True))
        return resolve(
            self.layout, self.points.names, self.layout_keys, str(self.points.source), places, self.attached()
        )

    @property
    def rod_on(self) -> str | None:
        """Body that carries ``rod_outer``; None: no rod, no rocker."""
        return self.layout_keys.get("rod_on")

    def mesh_files(self) -> dict[str, MeshFile]:
        """Meshes for looks by what they show: ``upright``, ``wheel``, ``tyre`` of the given side, ``chassis``."""
        turn = np.eye(3) if self.axes is None else parse_axes(self.axes)
        rows = (turn * (1.0 if self.units is None else length_factor(self.units))).tolist()
        to_mm = tuple((x, y, z) for x, y, z in rows)
        return {body: MeshFile(path, to_mm) for body, path in self.meshes or () if path is not None}


class Car(Record):
    """A car file as read: either axle may be missing."""

    title: str
    source: Path
    data: CarData
    front: Axle | None = None
    rear: Axle | None = None
    findings: Annotated[tuple[Finding, ...], _HELD] = ()

    def axles(self) -> tuple[Axle, ...]:
        """The axles that the file gives, front first."""
        return tuple(a for a in (self.front, self.rear) if a is not None)
