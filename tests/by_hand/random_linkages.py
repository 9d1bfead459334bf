"""Random linkages over their whole travel: every position solved or its end named, and ends against an independent way.

``python -m tests.by_hand.random_linkages [COUNT] [--first SEED] [--sample N]``

Each number is the seed of one linkage: a double wishbone with rod and rocker, or an upright on five links. Points are
those of a usual corner, each moved at random, far enough that many of them bind within the travel that is asked for.
"""

from __future__ import annotations

import argparse
from collections import Counter
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Kin3dError
from kin3d.linkage.layout import resolve
from kin3d.linkage.layout_file import builtin, parse
from kin3d.solve.kernel import Kernel
from kin3d.solve.status import Status
from tests.oracles import branch_by_arclength as branch

Array = NDArray[np.float64]
TRAVEL = np.concatenate([np.arange(-150.0, 0.0, 10.0), np.arange(10.0, 151.0, 10.0)])
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
    """What became of one linkage: counts of positions by status, faults in words, its ends by direction."""

    seed: int
    counts: Counter[str] = field(default_factory=Counter)
    faults: list[str] = field(default_factory=list)
    ends: dict[int, float] = field(default_factory=dict)


def points_of(seed: int) -> dict[str, Array]:
    """Points of one linkage: even seeds a double wishbone, odd ones five links; moved by 10 to 90 mm (one sigma)."""
    draw = np.random.default_rng(seed)
    size = draw.choice([10.0, 30.0, 60.0, 90.0])
    base = WISHBONES if seed % 2 == 0 else FIVE
    return {n: np.array(p, dtype=float) + draw.normal(0.0, size, 3) for n, p in base.items()}


def kernel_of(points: dict[str, Array], seed: int) -> tuple[Kernel, Array]:
    """The program's solver of one linkage, and its design coordinates."""
    layout, keys = (builtin("double wishbone"), {"rod_on": "lower arm"}) if seed % 2 == 0 else (FIVE_LAYOUT, {})
    linkage = resolve(layout, tuple(points), keys)
    there = points | {"wheel_axis": points["wheel_centre"] + [0.0, 1.0, 0.0]}
    design = np.stack([there[p] for p in linkage.points])
    return Kernel(linkage, design), design


def independent(points: dict[str, Array], seed: int) -> branch.Linkage:
    """The same linkage for the independent continuation."""
    p = points
    if seed % 2:
        inner, outer = (np.stack([p[f"{n}_{end}"] for n in LINKS]) for end in ("inner", "outer"))
        return branch.Linkage(inner, outer, p["wheel_centre"])
    inner = np.stack([p[n] for n in ("lower_front", "lower_rear", "upper_front", "upper_rear", "tie_inner")])
    outer = np.stack([p[n] for n in ("lower_outer", "lower_outer", "upper_outer", "upper_outer", "tie_outer")])
    axis = p["rocker_axis_2"] - p["rocker_axis_1"]
    rod = (p["rod_outer"], p["rod_inner"], p["rocker_axis_1"], axis / np.linalg.norm(axis))
    return branch.Linkage(inner, outer, p["wheel_centre"], rod, arm=0)


def tried(seed: int) -> Tried | None:
    """Solve one linkage over the travel; None where the program refuses its design position with a reason."""
    points = points_of(seed)
    try:
        kernel, design = kernel_of(points, seed)
    except Kin3dError:
        return None
    out = Tried(seed)
    variants = kernel.variants(design)
    lanes = kernel.lanes(variants, TRAVEL)
    solved = kernel.solve(variants, lanes)
    out.counts.update(Status(int(s)).name for s in solved.status)
    for sign in (-1, 1):
        mine = np.flatnonzero(TRAVEL * sign > 0.0)
        mine = mine[np.argsort(np.abs(TRAVEL[mine]))]
        status = solved.status[mine]
        ended = np.flatnonzero(status != Status.OK)
        if (status == Status.UNSOLVED).any():
            out.faults.append(f"unsolved from {TRAVEL[mine[np.flatnonzero(status == Status.UNSOLVED)[0]]]:g} mm")
        if ended.size and (status[ended[0] :] == Status.OK).any():
            out.faults.append(f"a hole at {TRAVEL[mine[ended[0]]]:g} mm")
        found = [solved.limits[k][0] for k in mine if int(k) in solved.limits]
        if found:
            out.ends[sign] = found[0]
            if max(found) - min(found) > 0.01:
                out.faults.append(f"ends differ: {min(found):.3f} to {max(found):.3f} mm")
            if not all(solved.in_line[int(k)] for k in mine if int(k) in solved.limits):
                out.faults.append("an end without bodies")
    return out


def against(seed: int, found: Tried) -> list[str]:
    """Ends of one linkage that are not where the independent continuation has them."""
    other, out = independent(points_of(seed), seed), []
    for sign in (-1, 1):
        here = found.ends.get(sign, 150.0 * sign)
        try:
            there = branch.end_of_travel(other, 150.0 * sign)
        except RuntimeError as error:
            out.append(f"towards {150 * sign:+d} mm the program says {here:.3f} mm; the other way: {error}")
            continue
        if abs(here - there) > 0.01:
            out.append(f"towards {150 * sign:+d} mm the program says {here:.3f} mm, the other way {there:.3f} mm")
    return out


def main() -> int:
    """Try many and say what is wrong."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("count", type=int, nargs="?", default=400)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--sample", type=int, default=20, help="linkages held against the independent continuation")
    said = parser.parse_args()
    counts: Counter[str] = Counter()
    faults, compared = 0, 0
    for seed in range(said.first, said.first + said.count):
        found = tried(seed)
        if found is None:
            counts["refused"] += 1
            continue
        counts += found.counts
        wrong = list(found.faults)
        if found.ends and compared < said.sample:
            compared += 1
            wrong += against(seed, found)
        faults += bool(wrong)
        for text in wrong:
            print(f"seed {seed}: {text}", flush=True)
    print(f"{dict(counts)}; {compared} compared; {faults} linkages with a fault")
    return 1 if faults else 0


if __name__ == "__main__":
    raise SystemExit(main())
