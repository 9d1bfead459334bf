"""Both sides of an axle as one system, seen from each of its wheels.

The system is solved by the one kernel; here its points are shown under the names that they have for one side, so that
whatever looks at a corner looks at this one. A lane of the left and a lane of the right with the same drives are one
position, solved once.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.design import MIRROR, SideCoordinates
from kin3d.linkage.layout import SIDES, WHEEL_CENTRE, Linkage
from kin3d.solve.drives import RIGHT as TRAVEL_RIGHT
from kin3d.solve.drives import TRAVEL
from kin3d.solve.kernel import Kernel, Motion
from kin3d.solve.lanes import Lanes, Solved, Variants
from kin3d.solve.system import System
from kin3d.spatial.jets import Algebra, Jet, choose, in_lanes, stacked
from kin3d.spatial.vectors import Vec, vector

Array = NDArray[np.float64]
LEFT, RIGHT = 0, 1


@dataclass(frozen=True, slots=True)
class SidedVariants(Variants):
    """Variants of the system, each seen from one side: `design` holds that side's points.

    Attributes
    ----------
    whole : Variants
        The same with the points of the system.
    side : ndarray of int, shape (variants,)
        0 for the left, 1 for the right.
    twins : bool
        Whether the second half is the right side of the systems of the first.
    """

    whole: Variants
    side: NDArray[np.intp]
    twins: bool


class JoinedKernel:
    """What a `Kernel` is to a corner, for a corner that is one side of a system of both.

    Design coordinates are those of one side, in the order of ``linkage.points``; the other side's are their mirror
    image, or where it has points of its own, those.

    Parameters
    ----------
    linkage : Linkage
        As one side sees it, with its `system`.
    sides : tuple of SideCoordinates
        Left and right.
    mirrored : bool
        Whether one side is the mirror image of the other.
    """

    def __init__(
        self, linkage: Linkage, sides: tuple[SideCoordinates, SideCoordinates], mirrored: bool, rack_axis: Array
    ) -> None:
        if linkage.system is None:
            raise ValueError("the linkage has no system of both sides")
        self.linkage, self.joined = linkage, linkage.system
        self._designs = (sides[LEFT].design, sides[RIGHT].design)
        self._mirrored, self._rack_axis = mirrored, rack_axis
        across = linkage.across
        self._own = [[self.joined.index(across.on(p, side)) for p in linkage.points] for side in SIDES]
        self._flip = np.array([np.ones(3) if p in across.points else MIRROR for p in linkage.points])
        self._once = np.array([p in across.points for p in linkage.points])
        self._whole = Kernel(self.joined, self._spread(self._designs[LEFT][None], np.zeros(1, dtype=np.intp))[0])

    @property
    def whole(self) -> Kernel:
        """The kernel of both sides, with the points by the names that they have in the car."""
        return self._whole

    @property
    def system(self) -> System:
        """The compiled system of both sides."""
        return self._whole.system

    @property
    def wheel_base(self) -> tuple[str, str, str]:
        """Three points of the wheel's body, off one line, by names that hold for both sides."""
        across, body = self.linkage.across, self.linkage.wheel_body
        base = self.system.equations.unknowns.bases[across.body(body, SIDES[LEFT])]
        once = body in across.bodies
        a, b, c = (p if once else across.bare(p) for p in base.points)
        return a, b, c

    def _together(self, left: Array, right: Array) -> Array:
        """Coordinates of the system, shape (…, joined points, 3, …), from those of both sides, (…, points, 3, …)."""
        out = np.zeros((len(left), len(self.joined.points), *left.shape[2:]))
        out[:, self._own[RIGHT]] = right
        out[:, self._own[LEFT]] = left
        return out

    def _spread(self, designs: Array, side: NDArray[np.intp], change: bool = False) -> Array:
        """The same from one side's; of changes: what goes along."""
        out = np.zeros((len(designs), len(self.joined.points), 3))
        for own in (LEFT, RIGHT):
            mine = side == own
            there = 1 - own
            if self._mirrored:
                other = designs[mine] * self._flip
            else:
                other = np.where(change, 0.0, self._designs[there]) * np.ones_like(designs[mine])
            out[np.ix_(mine, self._own[there])] = other
            out[np.ix_(mine, self._own[own])] = designs[mine]
        return out

    def variants(self, design: Array, _rack_axis: Array | None = None) -> SidedVariants:
        """Prepare variants from design coordinates of one side each; which one tells the wheel centre's y.

        Where the first half are left sides and the second half right ones, each left one goes with its right one;
        otherwise the other side is the mirror image, or what it is in the design position.
        """
        coordinates = np.asarray(design, dtype=float).reshape(-1, len(self.linkage.points), 3)
        side = (coordinates[:, self.linkage.index(WHEEL_CENTRE), 1] < 0.0).astype(np.intp)
        half = len(side) // 2
        twins = side.tolist() == [LEFT] * half + [RIGHT] * half
        every = np.tile(self._together(coordinates[:half], coordinates[half:]), (2, 1, 1)) if twins else None
        whole = self._whole.variants(self._spread(coordinates, side) if every is None else every, self._rack_axis)
        plain = {f.name: getattr(whole, f.name) for f in fields(Variants)} | {"design": coordinates}
        return SidedVariants(**plain, whole=whole, side=side, twins=twins)

    def of_system(self, variants: Variants) -> Variants:
        """The variants with the points of `system`."""
        return _sided(variants).whole

    def lanes(self, variants: Variants, travel: Any, rack: Any = 0.0, more: Mapping[str, Any] | None = None) -> Lanes:
        """As `Kernel.lanes`; both wheels are alike unless ``"travel_right"`` is among `more`."""
        return self._whole.lanes(self.of_system(variants), travel, rack, more)

    def _halves(self, variants: Variants, lanes: Lanes) -> Lanes | None:
        """The left half of the lanes, where the right half has the same positions."""
        half = lanes.count // 2
        if not isinstance(variants, SidedVariants) or not variants.twins or lanes.count != 2 * half:
            return None
        left, right = lanes.take(slice(0, half)), lanes.take(slice(half, None))
        same = bool((right.variant == left.variant + variants.count // 2).all())
        drives = [(left.travel, right.travel), (left.rack, right.rack)]
        drives += [(x, right.more[name]) for name, x in left.more.items()]
        return left if same and all(np.array_equal(a, b) for a, b in drives) else None

    def solve(self, variants: Variants, lanes: Lanes, *, step: bool = True) -> Solved:
        """As `Kernel.solve`."""
        half = self._halves(variants, lanes)
        if half is None:
            return self._whole.solve(self.of_system(variants), lanes, step=step)
        found = self._whole.solve(self.of_system(variants), half, step=step)
        again = {k + half.count: v for k, v in found.limits.items()}
        names = {k + half.count: v for k, v in found.in_line.items()}
        return Solved(
            np.tile(found.q, (1, 2)),
            np.tile(found.status, 2),
            np.tile(found.error_mm, 2),
            2 * found.stepped,
            found.limits | again,
            found.in_line | names,
            found.units,
        )

    def points(self, variants: Variants, lanes: Lanes, solved: Solved) -> Array:
        """Coordinates of the points of each lane's side, shape (lanes, points, 3), mm."""
        every = self._whole.points(self.of_system(variants), lanes, solved)
        side = self._side(variants, lanes)
        out: Array = np.where(side[:, None, None] == LEFT, every[:, self._own[LEFT]], every[:, self._own[RIGHT]])
        return out

    @staticmethod
    def _side(variants: Variants, lanes: Lanes) -> NDArray[np.intp]:
        return _sided(variants).side[lanes.variant]

    def motion(
        self,
        variants: Variants,
        lanes: Lanes,
        solved: Solved,
        algebra: Algebra,
        generators: Mapping[str, int],
        seeds: Array | None = None,
        driven: Mapping[str, Jet] | None = None,
    ) -> Motion:
        """As `Kernel.motion`, points by their names for each lane's side and by those of the system too.

        `seeds` are directions of one side's coordinates, and all lanes are of that side; or they differ from lane to
        lane, and then, as with drives as jets, every left lane needs its right one.
        """
        by_lane = seeds is not None and seeds.ndim > 3
        half = self._halves(variants, lanes) if seeds is None or by_lane else None
        if half is None and (driven or by_lane):
            raise ValueError("drives as jets and directions of every lane need both sides of each position")
        here = lanes if half is None else half
        n, spread, moved = here.count, None, {}
        if by_lane and seeds is not None:
            spread = self._together(seeds[..., :n], seeds[..., n:])
        elif seeds is not None:
            spread = self.changes(seeds, int(self._side(variants, lanes)[0]))
        for name, jet in (driven or {}).items():
            moved[name] = in_lanes(jet, slice(0, n))
            if name == TRAVEL:
                moved[TRAVEL_RIGHT] = in_lanes(jet, slice(n, None))
        place = solved.take(slice(0, n))
        found = self._whole.motion(self.of_system(variants), here, place, algebra, generators, spread, moved)
        if half is None:
            left = self._side(variants, lanes) == LEFT
            return self._seen(found, lambda a, b: choose(left, a, b))
        return self._seen(found, lambda a, b: stacked(a, b, here.count))

    def seen_from(self, motion: Motion, side: int) -> Motion:
        """A motion of the whole system by the names of one side, 0 for the left."""
        return self._seen(motion, lambda a, b: a if side == LEFT else b)

    def changes(self, seeds: Array, side: int) -> Array:
        """Directions of change of the whole system from those of one side, shape (directions, joined points, 3)."""
        return self._spread(seeds, np.full(len(seeds), side), change=True)

    def _seen(self, found: Motion, join: Callable[[Any, Any], Any]) -> Motion:
        def of_both(places: Mapping[str, Vec], there: int) -> dict[str, Vec]:
            out: dict[str, Vec] = {}
            names = self.joined.points
            for p, own, other in zip(self.linkage.points, self._own[there], self._own[1 - there], strict=True):
                one, two = names[own], names[other]
                if one in places and two in places:
                    out[p] = vector(join(a, b) for a, b in zip(places[one], places[two], strict=True))
            return out | {n: vector(join(c, c) for c in v) for n, v in places.items() if n not in out}

        at, design = of_both(found.at, LEFT), of_both(found.design, LEFT)
        return Motion(at, design, found.algebra, found.generators, of_both(found.at, RIGHT))


def _sided(variants: Variants) -> SidedVariants:
    if not isinstance(variants, SidedVariants):
        raise TypeError("variants of a system of both sides know their sides")
    return variants
