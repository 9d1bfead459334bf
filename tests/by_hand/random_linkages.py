"""Random linkages over their whole travel: every position solved or its end named, and both against an independent way.

``python -m tests.by_hand.random_linkages [COUNT] [--first SEED] [--sample N] [--batch N]``

Each number is the seed of one linkage: a double wishbone with rod and rocker, or an upright on five links. Points are
those of a usual corner, each moved at random, far enough that many of them bind within the travel that is asked for.
All linkages of a kind are variants of one kernel, compiled for the usual corner; what fails there is tried once more
with a kernel of its own, as the program makes it.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any
from unittest.mock import patch

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Kin3dError
from kin3d.linkage.layout_file import builtin, parse
from kin3d.linkage.resolve import resolve
from kin3d.solve import continuation
from kin3d.solve.kernel import Kernel
from kin3d.solve.lanes import Lanes, Status, Variants
from kin3d.solve.system import System
from tests.oracles import branch_by_arclength as branch

Array = NDArray[np.float64]
STATIONS = np.arange(10.0, 151.0, 10.0)
TRAVEL = np.concatenate([-STATIONS, STATIONS])  # outwards, one way after the other
LIMIT_MM, PLACE_MM = 0.01, 1e-5
SINGULAR = 1e-6  # of J at an end; where one is more, det J is looked at along the way
NEAR = (1e-4, 1e-6)  # shares of an end's travel at which det J is looked at before it
FALLS = 0.3  # det J falls at a turn by the root of the distance, where another branch crosses by the distance itself
WISHBONES = {
    "lower_front": (120, 250, 130), "lower_rear": (-160, 240, 140), "lower_outer": (5, 640, 140),
    "upper_front": (100, 290, 330), "upper_rear": (-150, 300, 320), "upper_outer": (-15, 600, 350),
    "tie_inner": (-110, 250, 190), "tie_outer": (-90, 640, 195), "wheel_centre": (0, 680, 255),
    "rod_outer": (0, 560, 160), "rod_inner": (0, 300, 430), "rocker_axis_1": (-30, 260, 400),
    "rocker_axis_2": (30, 260, 402), "spring_outer": (0, 235, 475), "spring_inner": (-230, 200, 470),
}  # fmt: skip
FIVE = {
    "upper_front_inner": (110, 300, 330), "upper_front_outer": (20, 600, 350), "upper_rear_inner": (-140, 310, 320),
    "upper_rear_outer": (-30, 605, 345), "lower_front_inner": (140, 250, 130), "lower_front_outer": (40, 640, 140),
    "lower_rear_inner": (-170, 240, 140), "lower_rear_outer": (-30, 645, 135), "tie_inner": (-110, 250, 190),
    "tie_outer": (-90, 640, 195), "wheel_centre": (0, 680, 255),
}  # fmt: skip
LINKS = ("upper_front", "upper_rear", "lower_front", "lower_rear", "tie")
INNER = ("lower_front", "lower_rear", "upper_front", "upper_rear", "tie_inner")
OUTER = ("lower_outer", "lower_outer", "upper_outer", "upper_outer", "tie_outer")
FIVE_LAYOUT = parse(
    {
        "name": "five links",
        "bodies": {
            "chassis": [f"{n}_inner" for n in LINKS[:4]],
            "upright": [f"{n}_outer" for n in LINKS],
            **{f"{n.replace('_', ' ')} link": [f"{n}_inner", f"{n}_outer"] for n in LINKS},
        },
        "rack": {"points": ["tie_inner"]},
        "wheel": {"body": "upright"},
    },
    "five links",
)


@dataclass
class Tried:
    """What became of one linkage: positions by status, ends by direction, faults in words, places of its points."""

    seed: int
    counts: Counter[str] = field(default_factory=Counter)
    ends: dict[int, float] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)
    places: Array = field(default_factory=lambda: np.empty(0))  # (travels, points, 3)


def points_of(seed: int) -> dict[str, Array]:
    """Points of one linkage: even seeds a double wishbone, odd ones five links; moved by 10 to 90 mm (one sigma)."""
    draw = np.random.default_rng(seed)
    size = draw.choice([10.0, 30.0, 60.0, 90.0])
    return {n: p + draw.normal(0.0, size, 3) for n, p in usual(seed).items()}


def usual(seed: int) -> dict[str, Array]:
    """Points of the usual corner of a seed's kind."""
    return {n: np.array(p, dtype=float) for n, p in (WISHBONES if seed % 2 == 0 else FIVE).items()}


def kernel_of(points: dict[str, Array], seed: int) -> Kernel:
    """The program's solver, compiled for these points."""
    layout, keys = (builtin("double wishbone"), {"rod_on": "lower arm"}) if seed % 2 == 0 else (FIVE_LAYOUT, {})
    linkage = resolve(layout, tuple(points), keys)
    return Kernel(linkage, design_of(linkage.points, points))


def design_of(names: Sequence[str], points: dict[str, Array]) -> Array:
    """Design coordinates in the linkage's order."""
    there = points | {"wheel_axis": points["wheel_centre"] + [0.0, 1.0, 0.0]}
    return np.stack([there[p] for p in names])


def independent(seeds: Sequence[int]) -> branch.Linkages:
    """The same linkages, all of one kind, for the independent continuation."""
    points = [points_of(s) for s in seeds]
    centre = np.stack([p["wheel_centre"] for p in points])

    def table(names: Sequence[str]) -> Array:
        return np.stack([[p[n] for n in names] for p in points])

    if seeds[0] % 2:
        inner, outer = (table([f"{n}_{end}" for n in LINKS]) for end in ("inner", "outer"))
        return branch.Linkages(inner, outer, centre)
    rod = table(["rod_outer", "rod_inner", "rocker_axis_1", "rocker_axis_2"])
    axis = rod[:, 3] - rod[:, 2]
    rod[:, 3] = axis / np.linalg.norm(axis, axis=1, keepdims=True)
    return branch.Linkages(table(INNER), table(OUTER), centre, rod, arm=0)


def tried(seeds: Sequence[int], kernel: Kernel) -> list[Tried]:
    """Solve linkages of one kind over the travel, as variants of one kernel."""
    names = kernel.linkage.points
    variants = kernel.variants(np.stack([design_of(names, points_of(s)) for s in seeds]))
    lanes = kernel.lanes(variants, TRAVEL)
    with _noted() as singular:
        solved = kernel.solve(variants, lanes)
    places = kernel.points(variants, lanes, solved).reshape(len(seeds), len(TRAVEL), len(names), 3)
    found = [Tried(s, places=p) for s, p in zip(seeds, places, strict=True)]
    for k, one in enumerate(found):
        status = solved.status[k * len(TRAVEL) :][: len(TRAVEL)]
        one.counts.update(Status(int(s)).name for s in status)
        for sign, ways in ((-1, slice(0, len(STATIONS))), (1, slice(len(STATIONS), None))):
            _one_way(one, sign, status[ways], k * len(TRAVEL) + (ways.start or 0), solved)
    if max(singular, default=0.0) > SINGULAR:
        _det_falls(found, kernel, variants)
    return found


@contextmanager
def _noted() -> Iterator[list[float]]:
    """Within it, how singular J is at every end that is found: the smallest singular value over the largest."""
    found: list[float] = []
    original = continuation._in_line

    def noting(system: System, dense: Array) -> str:
        values = [np.linalg.svd(dense[b.slice, b.slice], compute_uv=False) for b in system.blocks]
        found.append(min(float(v[-1] / v[0]) for v in values))
        return original(system, dense)

    with patch.object(continuation, "_in_line", noting):
        yield found


def _one_way(one: Tried, sign: int, status: Array, first: int, solved: Any) -> None:
    """Faults on the way up or down: unsolved, holes, ends that differ or lie on the wrong side of a position."""
    unsolved, ended = np.flatnonzero(status == Status.UNSOLVED), np.flatnonzero(status != Status.OK)
    if unsolved.size:
        one.faults.append(f"unsolved at {sign * STATIONS[unsolved[0]]:g} mm")
    if ended.size and (status[ended[0] :] == Status.OK).any():
        one.faults.append(f"a hole at {sign * STATIONS[ended[0]]:g} mm")
    limits = [k for k in range(first, first + len(status)) if k in solved.limits]
    if limits:
        ends = [sign * solved.limits[k][0] for k in limits]
        one.ends[sign] = sign * ends[0]
        if max(ends) - min(ends) > LIMIT_MM:
            one.faults.append(f"ends differ: {min(ends):.3f} to {max(ends):.3f} mm")
        last = STATIONS[ended[0] - 1] if ended[0] else 0.0
        if not last <= ends[0] <= STATIONS[ended[0]]:
            one.faults.append(f"the end {sign * ends[0]:.3f} mm is not between solved and unsolved")
        if not all(solved.in_line[k] for k in limits):
            one.faults.append("an end without bodies")


def _det_falls(found: list[Tried], kernel: Kernel, variants: Variants) -> None:
    """Faults at ends where det J of no block goes to zero, or short of which a position is missing."""
    ends = [(k, sign, end) for k, one in enumerate(found) for sign, end in one.ends.items()]
    if not ends:
        return
    which, travel = np.array([e[0] for e in ends]), np.array([e[2] for e in ends])
    blocks = []
    solved_all = np.ones(len(ends), dtype=bool)
    for share in NEAR:
        lanes = Lanes(which, travel * (1.0 - share), np.zeros(len(ends)))
        solved = kernel.solve(variants, lanes)
        solved_all &= solved.status == Status.OK
        dense = kernel.system.dense(continuation.Numbers(kernel.system, variants)(lanes, solved.q), lanes.count)
        with np.errstate(all="ignore"):
            blocks.append([np.linalg.slogdet(dense[:, b.slice, b.slice])[1] for b in kernel.system.blocks])
    with np.errstate(all="ignore"):
        falls = np.exp(np.array(blocks[1]) - np.array(blocks[0])).min(axis=0)
    for (k, sign, end), there, fall in zip(ends, solved_all, falls, strict=True):
        if not there:
            found[k].faults.append(f"towards {sign:+d}: not solved just before the end at {end:.3f} mm")
        elif not fall < FALLS:
            found[k].faults.append(f"det J does not vanish at the end at {end:.3f} mm (falls to {fall:.2f})")


def against(found: Sequence[Tried], names: Sequence[str]) -> tuple[int, list[float]]:
    """Hold linkages of one kind against the independent continuation; their faults are added.

    Returns
    -------
    positions : int
        Positions compared.
    off : list of float
        Distances between both ends of each way that has one, mm.
    """
    seeds = [f.seed for f in found]
    other, positions, off = independent(seeds), 0, []
    columns = [list(names).index(n) for n in (OUTER if other.size == 7 else [f"{n}_outer" for n in LINKS])]
    inner = list(names).index("rod_inner") if other.size == 7 else None
    for sign, ways in ((-1, slice(0, len(STATIONS))), (1, slice(len(STATIONS), None))):
        followed = branch.follow(other, sign * STATIONS)
        for k, one in enumerate(found):
            here, there = one.ends.get(sign, sign * STATIONS[-1]), followed.end[k]
            off.append(abs(here - there))
            if not off[-1] < LIMIT_MM:
                one.faults.append(f"the program ends at {here:.3f} mm, the other way at {there:.3f} mm")
        for s in range(len(STATIONS)):
            x = followed.places[:, s]
            places = other.outer_ends(x)
            mine = np.stack([one.places[ways][s] for one in found])
            distance = np.linalg.norm(mine[:, columns] - places, axis=2).max(axis=1)
            if inner is not None:
                distance = np.maximum(distance, np.linalg.norm(mine[:, inner] - other.rod_inner(x), axis=1))
            positions += int(np.isfinite(distance).sum())
            for k in np.flatnonzero(distance > PLACE_MM):
                found[k].faults.append(f"at {sign * STATIONS[s]:g} mm {distance[k]:.2g} mm from the other way")
    return positions, off


def both_ways(seeds: Sequence[int], kernels: dict[int, Kernel]) -> tuple[list[Tried], int]:
    """Seeds in their kinds' kernels; what fails there once more in a kernel of its own. How many were saved by that."""
    out, saved = [], 0
    for kind, kernel in kernels.items():
        mine = [s for s in seeds if s % 2 == kind]
        for one in tried(mine, kernel) if mine else []:
            if one.faults:
                try:
                    again = tried([one.seed], kernel_of(points_of(one.seed), one.seed))[0]
                except Kin3dError as error:
                    again = Tried(one.seed, Counter({f"refused: {error.findings[0].code}": 1}))
                saved += not again.faults
                if again.faults:
                    again.faults = [f"own kernel: {t}" for t in again.faults]
                out.append(again)
            else:
                out.append(one)
    return out, saved


def main() -> int:
    """Try many and say what is wrong."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("count", type=int, nargs="?", default=400)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--sample", type=int, default=20, help="linkages held against the independent continuation")
    parser.add_argument("--batch", type=int, default=1000)
    said = parser.parse_args()
    kernels = {kind: kernel_of(usual(kind), kind) for kind in (0, 1)}
    counts: Counter[str] = Counter()
    wrong, saved, compared, positions, ends = 0, 0, 0, 0, 0
    off: list[float] = []
    last = said.first + said.count
    for first in range(said.first, last, said.batch):
        start = time.process_time()
        found, helped = both_ways(range(first, min(first + said.batch, last)), kernels)
        saved += helped
        sample = [f for f in found if f.seed < said.first + said.sample]
        compared += len(sample)
        for kind, kernel in kernels.items():
            some = [f for f in sample if f.seed % 2 == kind and f.places.size]
            if some:
                more, distances = against(some, kernel.linkage.points)
                positions, off = positions + more, off + distances
        for one in found:
            counts += one.counts
            ends += len(one.ends)
            wrong += bool(one.faults)
            for text in one.faults:
                print(f"seed {one.seed}: {text}", flush=True)
        print(f"… {first + len(found)}: {time.process_time() - start:.0f} s", flush=True)
    print(f"{said.count} linkages from seed {said.first}: {dict(counts)}, {ends} ends; {wrong} linkages with a fault")
    print(f"{saved} needed a kernel of their own")
    print(f"{compared} held against the other way: {positions} positions, {len(off)} ways")
    if off:
        print(f"ends apart by {np.nanmedian(off):.2g} mm in the middle, {np.nanmax(off):.2g} mm at most")
    return 1 if wrong else 0


if __name__ == "__main__":
    raise SystemExit(main())
