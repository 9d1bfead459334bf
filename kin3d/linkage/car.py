"""What is known of a car, as frozen data. Reading makes it, studies use it; it computes nothing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding
from kin3d.linkage.layout import Layout

Side = Literal["left", "right"]
AxleName = Literal["front", "rear"]


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


@dataclass(frozen=True, slots=True)
class CarData:
    """Figures of the whole car; a measure that needs one that is None is left out and says so."""

    wheelbase_mm: float | None = None
    cg_height_mm: float | None = None
    mass_kg: float | None = None
    front_mass_share: float | None = None
    front_brake_share: float | None = None
    brakes: Literal["outboard", "inboard"] = "outboard"
    drive: Literal["front", "rear", "all"] | None = None
    front_drive_share: float | None = None
    roll_inertia_kg_m2: float | None = None


@dataclass(frozen=True, slots=True)
class Spring:
    """A coil spring between two points of a corner; the force is compression, N.

    Attributes
    ----------
    points : (str, str) or None
        The two points it acts between; None: ``spring_outer`` and ``spring_inner`` of the layout.
    """

    rate_n_per_mm: float
    design_force_n: float | None = None
    name: str = "spring"
    points: tuple[str, str] | None = None


@dataclass(frozen=True, slots=True)
class Torsion:
    """A torsion spring on the rocker's pivot line; the torque resists bump, N·m."""

    rate_n_m_per_deg: float
    design_torque_n_m: float | None = None


@dataclass(frozen=True, slots=True)
class Bar:
    """An anti-roll bar; the rate is between its two arms."""

    rate_n_m_per_deg: float


@dataclass(frozen=True, slots=True)
class CrossSpring:
    """A spring across the car, from a point of the left corner to one of the right; force is compression, N.

    With the same point on both sides it is a third (heave) spring; with two points that move along one another
    in heave and apart in roll it is a roll spring.
    """

    rate_n_per_mm: float
    points: tuple[str, str]
    design_force_n: float = 0.0


@dataclass(frozen=True, slots=True)
class Stop:
    """A bump or droop stop, or a packer: a gap and a rate on the stroke of a spring.

    Attributes
    ----------
    on : str
        Name of the spring whose stroke it ends: ``"spring"``, a name of `Axle.springs`, ``"third"``, ``"roll_spring"``.
    gap_mm : float
        Stroke of that spring from the design position to where the stop begins to work.
    sense : {"bump", "droop"}
        Whether it works as the spring shortens or lengthens.
    """

    rate_n_per_mm: float
    gap_mm: float
    name: str = "stop"
    on: str = "spring"
    sense: Literal["bump", "droop"] = "bump"


@dataclass(frozen=True, slots=True)
class Damper:
    """Stroke that a damper has from its design position: shorter in bump, longer in droop, mm; `on` as in `Stop`."""

    bump_mm: float
    droop_mm: float
    on: str = "spring"


@dataclass(frozen=True, slots=True)
class Rod:
    """The push- or pull-rod as a part: a tube, and what its rod ends allow.

    Attributes
    ----------
    bolt_outer, bolt_inner : tuple of float or None
        Direction of the bolt in each rod end in the design position, vehicle frame; None: the hinge line of the
        body that carries the rod's outer end, and the rocker's pivot line.
    """

    diameter_mm: float | None = None
    wall_mm: float | None = None
    modulus_n_per_mm2: float | None = None
    rod_end_limit_deg: float | None = None
    bolt_outer: tuple[float, float, float] | None = None
    bolt_inner: tuple[float, float, float] | None = None


@dataclass(frozen=True, slots=True)
class Masses:
    """Masses of the inboard parts of one corner, kg."""

    rod_kg: float | None = None
    rocker_kg: float | None = None
    spring_kg: float | None = None


@dataclass(frozen=True, slots=True)
class SharedError:
    """An error that several points have in common: all points taken off one view of a drawing, say.

    Attributes
    ----------
    name : str
        For tables and messages.
    points : tuple of str
        Points that it moves together; empty: all points of the table.
    sigma_mm : tuple of float
        Standard deviation of the common shift along x, y and z of the vehicle frame.
    """

    name: str
    points: tuple[str, ...]
    sigma_mm: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class MeshFile:
    """A mesh for looks: its file, and the matrix that takes its coordinates to mm in the vehicle frame."""

    path: Path
    to_mm: tuple[tuple[float, float, float], ...]


@dataclass(frozen=True, slots=True)
class Axle:
    """One axle: the points of one side, the layout that joins them, and what belongs to its wheels.

    Attributes
    ----------
    points : PointTable
        The pickup points of the side named by `side`.
    side : {"left", "right"}
        The side that the points were given for; the other is its mirror image in y = 0
        unless `other_points` holds points of its own.
    layout : Layout
        How the points make bodies.
    rod_on : str or None
        Body that carries ``rod_outer``; None: no rod, no rocker.
    camber_deg, toe_deg : float
        Static angles, used when the table has no ``wheel_axis``.
    layout_keys : mapping of str to str
        Every key that the layout adds and the car file gives, `rod_on` among them; `resolve` takes it.
    rack_axis : tuple of float
        Unit direction in which the rack's points move for positive ``rack_mm``, vehicle frame.
    springs : tuple of Spring
        Springs beside `spring`, each between two named points.
    attached : mapping of str to str
        Points that elements of the car file add to the linkage, and the body that carries each.
    unsprung_mass_kg : float or None
        Mass of one wheel with all that moves with it.
    tyre_rate_n_per_mm : float or None
        Vertical rate of one tyre.
    shared_errors : tuple of SharedError
        Errors that points have in common, beside the standard deviations of the table.
    meshes : mapping of str to MeshFile
        Meshes for looks by what they show: ``upright``, ``wheel``, ``tyre`` of the given side, ``chassis``.
    """

    name: AxleName
    points: PointTable
    side: Side
    layout: Layout
    loaded_radius_mm: float | None = None
    rod_on: str | None = None
    camber_deg: float = 0.0
    toe_deg: float = 0.0
    rack_axis: tuple[float, float, float] = (0.0, 1.0, 0.0)
    spring: Spring | None = None
    torsion: Torsion | None = None
    bar: Bar | None = None
    other_points: PointTable | None = None
    layout_keys: Mapping[str, str] = field(default_factory=dict)
    springs: tuple[Spring, ...] = ()
    third: CrossSpring | None = None
    roll_spring: CrossSpring | None = None
    stops: tuple[Stop, ...] = ()
    damper: Damper | None = None
    rod: Rod | None = None
    masses: Masses | None = None
    attached: Mapping[str, str] = field(default_factory=dict)
    unsprung_mass_kg: float | None = None
    tyre_rate_n_per_mm: float | None = None
    shared_errors: tuple[SharedError, ...] = ()
    meshes: Mapping[str, MeshFile] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Car:
    """A car file as read: either axle may be missing."""

    title: str
    source: Path
    data: CarData
    front: Axle | None = None
    rear: Axle | None = None
    findings: tuple[Finding, ...] = field(default=())

    def axles(self) -> tuple[Axle, ...]:
        """The axles that the file gives, front first."""
        return tuple(a for a in (self.front, self.rear) if a is not None)
