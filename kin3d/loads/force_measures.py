"""Forces under load cases as measures, by names made of case and part: ``force_kerb_tie_link_n``.

A case is the road's force on one tyre. The measure is of the corner that is asked, in whatever position: on the side
that the case does not name, the force is mirrored. Links and springs have the force along them, points the resultant
(at a joint on the first body of the tables of `kin3d forces`), pickups ``_x``, ``_y`` and ``_z`` of it too.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import partial

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import RequestError
from kin3d.linkage.keys import LoadCase
from kin3d.linkage.names import did_you_mean, normalise
from kin3d.loads.differences import with_derivatives
from kin3d.loads.held import held_corner, on_tyre
from kin3d.loads.listed import Force, listed_forces
from kin3d.loads.whole_axle import whole_axle
from kin3d.measures.corner import Corner
from kin3d.measures.entry import RADIUS, Measure
from kin3d.spatial.vectors import Number

Array = NDArray[np.float64]
PREFIX, UNIT = "force_", "_n"
NO_CASE = "the car file has no case of a force on one tyre ([[cases]] with contact_n)"


def is_force(name: str) -> bool:
    """Whether a measure's name is that of a force under a load case."""
    return name.startswith(PREFIX) and name.endswith(UNIT)


def force_measure(name: str) -> Measure:
    """The measure of a name like ``force_kerb_tie_link_n``; whether a car has it, its `lacks` says."""
    said = name.removeprefix(PREFIX).removesuffix(UNIT).replace("_", " ")
    of_y = name.endswith(f"_y{UNIT}")
    return Measure(
        name=name,
        label=f"Force, {said}",
        unit="N",
        sign="along a link or spring tension; of a pickup along x, y, z as the force on the chassis; else without sign",
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
    case = _case(corner, name)
    if case is None:
        raise ValueError(f"{name}: no such case")
    return _figures(corner, case)[name]


def _case(corner: Corner, name: str) -> LoadCase | None:
    """The case of a name; the longest where one case's name begins like another's."""
    fits = [c for c in cases_of(corner) if name.startswith(_stem(c))]
    return max(fits, key=lambda c: len(_stem(c)), default=None)


def _stem(case: LoadCase) -> str:
    return f"{PREFIX}{normalise(case.name)}_"


def _lacks(corner: Corner, *, name: str) -> str:
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
    key = ("forces", case.name)
    if key not in corner.kept:
        corner.kept[key] = with_derivatives(corner, partial(_under, case=case))
    found: dict[str, Number] = corner.kept[key]
    return found


def _under(corner: Corner, *, case: LoadCase) -> dict[str, Array]:
    acting, joints = held_corner(corner, on_tyre(corner, case).pushes())
    out: dict[str, Array] = {}
    for part, values in _parts(listed_forces(whole_axle(corner).linkage, joints, acting)):
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
