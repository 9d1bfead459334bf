"""Forces under load cases as measures, by names made of case and part: ``force_kerb_tie_link_n``.

Under the road's force on one tyre the measure is of the corner that is asked, in whatever position: on the side that
the case does not name, the force is mirrored. Under accelerations it is of the corner as the car settles, and there is
no other position. Links and springs have the force along them, points the resultant (at a joint on the first body of
the tables of `kin3d forces`), pickups ``_x``, ``_y`` and ``_z`` of it too.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from functools import partial
from operator import itemgetter
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import RequestError
from kin3d.linkage.keys import LoadCase
from kin3d.linkage.misfits import SETTLED
from kin3d.linkage.names import did_you_mean, normalise
from kin3d.measures.corner import Corner
from kin3d.measures.entry import RADIUS, Measure
from kin3d.spatial.vectors import Number

if TYPE_CHECKING:
    from kin3d.loads.listed import Force

Array = NDArray[np.float64]
PREFIX, UNIT = "force_", "_n"
ALONG = "along a link or spring tension; of a pickup along x, y, z as the force on the chassis; else without sign"
_OF_AXLE = (
    "loaded_radius_mm",
    "unsprung_mass_kg",
    "tyre_rate_n_per_mm",
    *(f"{t}.{k}" for t in ("spring", "third", "roll_spring") for k in ("rate_n_per_mm", "design_force_n")),
    *(f"torsion.{k}" for k in ("rate_n_m_per_deg", "design_torque_n_m")),
    "bar.rate_n_m_per_deg",
)
_OF_CAR = ("wheelbase_mm", "mass_kg", "front_mass_share", "cg_height_mm", "front_brake_share", "front_drive_share")
SETTLED_ELSEWHERE = (
    "it is of the car as it settles, in one position: kin3d forces, tolerance, sensitivity and compare tell it"
)
NO_CASE = "the car file has no case of a force on one tyre ([[cases]] with contact_n)"


def is_force(name: str) -> bool:
    """Whether a measure's name is that of a force under a load case."""
    return name.startswith(PREFIX) and name.endswith(UNIT)


def settled_force(name: str) -> Measure:
    """The measure of a name like ``force_braking_tie_link_n``, of forces by name under cases of the settled car."""
    function: Any = itemgetter(name)
    return Measure(
        name=name,
        label=_label(name),
        unit="N",
        sign=ALONG,
        definition="force in the car as it settles under the load case, on the side that is asked; points and figures "
        "that differ settle it anew",
        source="own formula, statics of the linkage; links without weight and friction",
        function=function,
        scope="car",
        uses=(*(f"car.{k}" for k in _OF_CAR), *(f"{a}.{k}" for a in ("front", "rear") for k in _OF_AXLE)),
        group="forces",
        by_lanes=True,
    )


def of_settled_car(case: LoadCase) -> bool:
    """Whether a case is one of accelerations, under which the whole car settles."""
    return any(getattr(case, key) is not None for key in SETTLED)


def case_of_force(name: str, cases: Sequence[LoadCase]) -> LoadCase | None:
    """The case of a force's name; the longest where one case's name begins like another's."""
    fits = [c for c in cases if is_force(name) and name.startswith(_stem(c.name))]
    return max(fits, key=lambda c: len(c.name), default=None)


def settled_names(names: Iterable[str], cases: Sequence[LoadCase]) -> tuple[str, ...]:
    """Those of the names that are forces under cases of the settled car."""
    found = ((n, case_of_force(n, cases)) for n in names)
    return tuple(n for n, case in found if case is not None and of_settled_car(case))


def _label(name: str) -> str:
    return f"Force, {name.removeprefix(PREFIX).removesuffix(UNIT).replace('_', ' ')}"


def force_measure(name: str) -> Measure:
    """The measure of a name like ``force_kerb_tie_link_n``; whether a car has it, its `lacks` says."""
    of_y = name.endswith(f"_y{UNIT}")
    return Measure(
        name=name,
        label=_label(name),
        unit="N",
        sign=ALONG,
        definition="force under the load case on this tyre, the spring holding the wheel, from the multipliers of the "
        "constraints; on the side that the case does not name it acts as the mirror image",
        source="own formula, statics of the linkage; links without weight and friction",
        function=partial(_force, name=name),
        needs=RADIUS,
        unless=partial(_lacks, name=name),
        group="forces",
        mirror=-1 if of_y else 1,
        by_lanes=True,
    )


def force_names(corner: Corner) -> tuple[str, ...]:
    """Names of all forces that a corner has under the cases of its car."""
    return tuple(name for case in cases_of(corner) for name in _figures(corner, case))


def cases_of(corner: Corner) -> tuple[LoadCase, ...]:
    """Cases of the road's force on one tyre of this axle."""
    every = corner.model.cases
    return tuple(c for c in every if c.axle == corner.axle.name and (c.contact_n or c.contact_moment_n_m))


def _force(corner: Corner, *, name: str) -> Number:
    case = case_of_force(name, cases_of(corner))
    if case is None:
        raise ValueError(f"{name}: no such case")
    return _figures(corner, case)[name]


def _stem(case: str) -> str:
    return f"{PREFIX}{normalise(case)}_"


def _lacks(corner: Corner, *, name: str) -> str:
    if settled_names([name], corner.model.cases):
        return SETTLED_ELSEWHERE
    if not cases_of(corner):
        return f"{NO_CASE} on the {corner.axle.name} axle"
    if corner.axle.loaded_radius_mm is None:
        return ""  # the entry's needs say it
    try:
        there = force_names(corner)
        return "" if name in there else f"there is no such force; {did_you_mean(name, there)}"
    except RequestError as error:
        return str(error.findings[0].text)


def _figures(corner: Corner, case: LoadCase) -> dict[str, Number]:
    """Every force of a case by its measure's name; made once of a corner, as statics give all at once."""
    from kin3d.loads.differences import with_derivatives  # statics are imported where a force is asked for

    key = ("forces", case.name)
    if key not in corner.kept:
        corner.kept[key] = with_derivatives(corner, partial(_under, case=case))
    found: dict[str, Number] = corner.kept[key]
    return found


def _under(corner: Corner, *, case: LoadCase) -> dict[str, Array]:
    from kin3d.loads.held import held_corner, on_tyre
    from kin3d.loads.listed import listed_forces
    from kin3d.loads.whole_axle import whole_axle

    acting, joints = held_corner(corner, on_tyre(corner, case).pushes())
    return named_forces(case.name, listed_forces(whole_axle(corner).linkage, joints, acting))


def named_forces(case: str, forces: Iterable[Force]) -> dict[str, Array]:
    """Forces under a case by the names of their measures."""
    out: dict[str, Array] = {}
    for part, values in _parts(forces):
        out.setdefault(f"{_stem(case)}{part}{UNIT}", values)
    return out


def _parts(forces: Iterable[Force]) -> Iterator[tuple[str, Array]]:
    for force in forces:
        part = normalise(force.name)
        if force.axial is not None:
            yield part, force.axial
            continue
        yield part, force.size
        if force.kind == "pickup":
            yield from ((f"{part}_{axis}", v) for axis, v in zip("xyz", force.force, strict=True))
