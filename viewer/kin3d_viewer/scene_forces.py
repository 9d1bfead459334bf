"""Forces of a load case on links and springs: as thick as they are large, with sign and figure."""

from __future__ import annotations

import math
from collections.abc import Iterator

from kin3d.linkage.across import spanning
from kin3d_viewer.primitives import Array, Label, Primitive, Rod
from kin3d_viewer.snapshot import SIDES, Snapshot

# the section goes with the force: a rod under force is as thick as its root, 10 mm at 1 kN
FORCE_MM_PER_ROOT_N = 5.0 / 1000.0**0.5
LEAST_MM, CORE_MM, UNSEEN_MM = 1.0, 0.6, 0.01  # radii: of a small force, of what bears it, of the sign that it has not
NOTHING_N = 0.5
THICKNESS = "thick 10 mm at 1 kN, 20 mm at 4 kN"


def force_radius(force_n: float) -> float:
    """Radius of a rod under a force, mm."""
    return FORCE_MM_PER_ROOT_N * math.sqrt(abs(force_n))


def member_forces(now: Snapshot) -> Iterator[Primitive]:
    """A bar along every link and spring whose force is known, and its figure beside it.

    Both signs are there in every position, the one that a force has not too thin to be seen, so that a moving picture
    has the same parts throughout.
    """
    for rank, (name, forces) in enumerate(now.loads_n.items()):
        for side in (0, 1):
            if not now.loaded(side, name) or (side and name in now.linkage.across.bodies):
                continue  # what stands once is shown once
            force = float(forces[side])
            start, end = _ends(now, side, name)
            for sign, role in ((1.0, "tension"), (-1.0, "compression")):
                shown = sign * force > NOTHING_N
                radius = max(LEAST_MM, force_radius(force)) if shown else UNSEEN_MM
                yield Rod(f"{SIDES[side]}/{name}/{role}", role, start, end, radius)
            text = f"{name} {force:+,.0f} N".replace("-", "−") if abs(force) > NOTHING_N else f"{name} 0 N"
            yield Label(f"{SIDES[side]}/{name}/force", "force figure", text, 0.5 * (start + end), rank)


def _ends(now: Snapshot, side: int, name: str) -> tuple[Array, Array]:
    whole = spanning(now.linkage).get(name)
    if whole is not None:
        (first_side, p), (second_side, q) = whole
        return now.at(SIDES.index(first_side), p), now.at(SIDES.index(second_side), q)
    own = {"spring": now.linkage.spring} if now.linkage.spring else {}
    first, second = {**own, **now.springs}.get(name) or now.linkage.bodies[name]
    return now.at(side, first), now.at(side, second)
