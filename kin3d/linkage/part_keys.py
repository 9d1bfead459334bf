"""Parts of a corner as things that have strength, stiffness and mass: rod, links, joints; keys of the car file."""

from __future__ import annotations

from typing import Annotated

from kin3d.linkage.expected import After
from kin3d.linkage.key_types import (
    AnyText,
    Direction,
    MeshPath,
    Name,
    PartMass,
    Points,
    Positive,
    ProfilePairs,
    Swing,
    TyreRate,
)
from kin3d.linkage.names import normalise
from kin3d.linkage.record import NamedTable, Record


class Tube(Record):
    """A round tube; a bar has a wall of half its diameter.

    Attributes
    ----------
    yield_n_per_mm2 : float or None
        Stress at which its material yields.
    """

    diameter_mm: Positive = None
    wall_mm: Positive = None
    modulus_n_per_mm2: Positive = None
    yield_n_per_mm2: Positive = None


class RodPart(Tube):
    """The push- or pull-rod as a part, ``[front.rod_part]``: a tube, and what its rod ends allow.

    Attributes
    ----------
    bolt_outer, bolt_inner : tuple of float or None
        Direction of the bolt in each rod end in the design position, vehicle frame; None: the hinge line of the
        body that carries the rod's outer end, and the rocker's pivot line.
    """

    rod_end_limit_deg: Swing = None
    bolt_outer: Direction = None
    bolt_inner: Direction = None


class Masses(Record):
    """Masses of the inboard parts of one corner, ``[front.masses]``, kg."""

    rod_kg: PartMass = None
    rocker_kg: PartMass = None
    spring_kg: PartMass = None


class LinkPart(NamedTable, Tube):
    """A link (a body of two points) as a tube, ``[front.links."tie link"]``; the rod has its own, `RodPart`."""

    name: Name


class JointPart(NamedTable):
    """A ball joint, rod end or bush at a point, ``[front.joints.lower_outer]``.

    Attributes
    ----------
    radial_n, axial_n : float or None
        Force that it is rated for, square to its axis and along it.
    axis : tuple of float or None
        Direction of its stud or bolt in the design position, vehicle frame; None: the hinge line where a hinged body
        has its pickup, the bolts of `RodPart` at the rod's ends.
    limit_deg : float or None
        How far it may tilt.
    radial_n_per_mm, axial_n_per_mm : float or None
        Stiffness square to the axis and along it; None: rigid.
    """

    name: Annotated[Name, After(normalise)]
    radial_n: Positive = None
    axial_n: Positive = None
    axis: Direction = None
    limit_deg: Swing = None
    radial_n_per_mm: TyreRate = None
    axial_n_per_mm: TyreRate = None


class SolidPart(NamedTable):
    """What takes up room, ``[front.solids.rim]``: a tube, a solid of revolution about the wheel's axis, or a mesh.

    Attributes
    ----------
    points : tuple of str
        Two points between which a tube of `diameter_mm` lies.
    profile : tuple of (float, float)
        Half a section through something that turns with the wheel: width outboard from the wheel centre, and radius,
        mm; closed where the last pair is the first, else a thin shell.
    profile_file : Path or None
        A DXF file with that section as one polyline or chain of lines, x the width, y the radius; read once, into
        `profile`.
    mesh : Path or None
        A mesh file in the design position.
    body : str or None
        What a mesh goes with: a body of the layout, ``"wheel"`` or ``"chassis"``.
    units : str or None
        Of the file; None: those of the axle.
    """

    name: Name
    points: Points = ()
    diameter_mm: Positive = None
    profile: ProfilePairs = ()
    profile_file: MeshPath = None
    mesh: MeshPath = None
    body: AnyText = None
    units: AnyText = None
