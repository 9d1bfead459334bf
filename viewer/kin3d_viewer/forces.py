"""Forces to be seen: in the rod for the static wheel load, in links and springs under a load case of the car file."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from kin3d.errors import Finding, RequestError
from kin3d.linkage.car import Car
from kin3d.linkage.keys import LoadCase
from kin3d.measures.corner import Corner
from kin3d.solve.lanes import Solved, Status
from kin3d_viewer.model import LiveModel, View
from kin3d_viewer.primitives import Array
from kin3d_viewer.snapshot import SIDES

GRAVITY = 9.80665  # m/s²
NO_CASE = "forces: the car file has no load case ([[cases]]) for the {axle} axle"


def rod_force(model: LiveModel, view: View) -> dict[str, Array] | str:
    """Force in the rod on both sides, N, tension positive, by the rod's body; or the sentence of what is missing.

    The wheel load is the static one: half of the axle's share of the car's weight, on each wheel, in every position.
    """
    from kin3d.loads.rod import rod_body, rod_force_per_load

    linkage, data = model.base.linkage, model.base.car
    if linkage.rocker is None:
        return "rod force: the linkage has no rod and rocker"
    if data.mass_kg is None or data.front_mass_share is None:
        return "rod force: [car] mass_kg and front_mass_share are needed for the static wheel load"
    share = data.front_mass_share if model.axle == "front" else 1.0 - data.front_mass_share
    per_load = rod_force_per_load(_corner(model, view))
    return {rod_body(linkage): 0.5 * share * data.mass_kg * GRAVITY * per_load}


def _corner(model: LiveModel, view: View) -> Corner:
    """Both corners in the present position, left and right."""
    lanes = model.base.pair(view.travel_mm[:, None], np.full(1, view.now.drives["rack_mm"]))
    solved = Solved(view.q, np.full(2, Status.OK, dtype=np.int8), np.zeros(2), 0, {}, {})
    x, y, z = view.now.normal.tolist()
    return Corner.of(model.base, lanes, solved, 1, variants=model.variants(view.design), normal=(x, y, z))


def cases_on(model: LiveModel) -> tuple[LoadCase, ...]:
    """Load cases that load the axle that is seen."""
    return tuple(c for c in model.car.cases if c.axle in (None, model.axle))


@dataclass(eq=False)
class CaseShown:
    """Forces of a load case in the position that is seen, and how they are told.

    A case of the road's force on one tyre is taken in the position as it stands. A settled car has an attitude of its
    own: its forces are those of the car as read, wherever the linkage is looked at.

    Attributes
    ----------
    name : str
        Of the case; empty: the first one of the axle.
    """

    name: str = ""
    _settled: tuple[tuple[Car, str, str], dict[str, Array], str] | None = field(default=None, init=False)

    def case(self, model: LiveModel) -> LoadCase | None:
        """The case that is shown; None where the axle has none of that name."""
        there = cases_on(model)
        return next((c for c in there if c.name == self.name), None if self.name or not there else there[0])

    def next(self, model: LiveModel) -> str:
        """Take the next case; returns its name, empty where there is none."""
        names = [c.name for c in cases_on(model)]
        now = self.case(model)
        self.name = "" if not names else names[(names.index(now.name) + 1) % len(names) if now else 0]
        return self.name

    def forces(self, model: LiveModel, view: View) -> dict[str, Array] | str:
        """Force along every link and spring on the left and right, N; NaN on a side that the case does not load.

        Or the sentence of what stands in the way.
        """
        case = self.case(model)
        if case is None:
            return NO_CASE.format(axle=model.axle)
        try:
            return _on_tyre(model, view, case) if case.axle is not None else self._of_settled(model, case)[0]
        except RequestError as error:
            return f"forces, {case.name}: {error.findings[0].text}"

    def told(self, model: LiveModel) -> str:
        """The case in words, for the caption."""
        case = self.case(model)
        if case is None:
            return ""
        if case.axle is not None:
            return f"forces: {case.name}, {case.side} tyre"
        stands = "" if self._settled is None else self._settled[2]
        return f"forces: {case.name}, settled car{stands}"

    def _of_settled(self, model: LiveModel, case: LoadCase) -> tuple[dict[str, Array], str]:
        key = (model.car, model.axle, case.name)
        before = self._settled[0] if self._settled else None
        if self._settled is None or before is None or before[0] is not key[0] or before[1:] != key[1:]:
            from kin3d.studies.forces import forces

            found: dict[str, Array] = {}
            travels = []
            for part in forces(model.car, axle=model.axle, cases=[case.name]).parts:
                travels.append(f"{part.side} {part.travel_mm[0]:+.1f} mm".replace("-", "−"))
                for force in part.forces():
                    if force.axial is not None:
                        for side, name in _seen_as(model, force.name, part.side):
                            found.setdefault(name, np.full(2, np.nan))[SIDES.index(side)] = force.axial[0]
            self._settled = key, found, f" at {', '.join(travels)}"
        return self._settled[1], self._settled[2]


def _on_tyre(model: LiveModel, view: View, case: LoadCase) -> dict[str, Array]:
    from kin3d.loads.held import held_corner, on_tyre
    from kin3d.loads.listed import listed_forces
    from kin3d.loads.whole_axle import whole_axle

    if model.base.axle.loaded_radius_mm is None:
        raise RequestError(Finding("key-missing", "loaded_radius_mm is missing; it tells where the contact point is"))
    corner = _corner(model, view)
    acting, joints = held_corner(corner, on_tyre(corner, case).pushes())
    loaded = SIDES.index(case.side or "left")
    found: dict[str, Array] = {}
    for f in listed_forces(whole_axle(corner).linkage, joints, acting):
        if f.axial is not None:
            for side, name in _seen_as(model, f.name, SIDES[loaded]):
                found.setdefault(name, np.full(2, np.nan))[SIDES.index(side)] = f.axial[loaded]
    return found


def _seen_as(model: LiveModel, name: str, side: str) -> list[tuple[str, str]]:
    """On which sides a link or spring is drawn, and by which name: what stands once on both."""
    if not model.base.joined:
        return [(side, name)]
    own = [s for s in SIDES if name.startswith(f"{s} ")]
    return [(s, name.removeprefix(f"{s} ")) for s in own or SIDES]
