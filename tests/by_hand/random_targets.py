"""Random targets files over all layouts: what can be had is found, nothing is said to be met that is not.

``python -m tests.by_hand.random_targets [COUNT] [--seed S]`` makes so many files that can be had (wants are figures of
a car with its points elsewhere in the boxes) and as many that cannot: by turns two wants of one figure that exclude
each other, and one far beyond what slopes times boxes give. Each answer is looked at by a sweep of the new car; a
conflict that is named is one by its making, or SciPy's least squares over sweeps of moved cars finds no way either.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.optimize import least_squares, nnls

import kin3d
from kin3d.linkage.car import Car
from kin3d.linkage.names import AxleName
from tests.kinds import KINDS, demo_car
from tests.laws.cars import CORNERS
from tests.laws.cars import car as model_car
from tests.tuned import moved_car, swept, targets_text

MEASURES = ("camber_deg", "toe_deg", "roll_centre_height_mm", "caster_deg", "scrub_radius_mm", "caster_trail_mm")
TRAVEL = np.array([-20.0, -0.5, 0.0, 0.5, 20.0])
BOX_MM = 12.0
MOVES, WANTS = 8, 3
STEP_MM = 1e-3
ROUNDING = 5e-6  # of a gradient by differences
STARTS = 3  # of the least squares that look for a way where none is said to be
# points that a layout needs in one line go along with each other
IN_LINE = {"relay steering": (("pitman_end", "idler_end", "tie_inner"),)}


@dataclass(frozen=True)
class Asked:
    """A want: of which measure, value, gradient or change, and how much."""

    measure: str
    way: str
    value: float
    within: float

    @property
    def want(self) -> dict[str, object]:
        """As the targets file has it."""
        goal: dict[str, object] = {"gradient" if self.way == "gradient" else "value": self.value}
        if self.way == "change":
            goal["change"] = [0, 20]
        return {"measure": self.measure, **goal, "within": self.within}

    def of(self, values: dict[str, np.ndarray]) -> float:
        """What curves over `TRAVEL` have of it; a gradient by a difference over 1 mm."""
        v = values[self.measure]
        return float({"value": v[2], "gradient": v[3] - v[1], "change": v[4] - v[2]}[self.way])


@dataclass(frozen=True)
class Case:
    """A car, what may move (a coordinate, or several that go along with it), and wants that can be had."""

    car: Car
    axle: AxleName
    side: str
    moves: tuple[tuple[str, ...], ...]
    wants: tuple[Asked, ...]

    def text(self, wants: list[Asked]) -> str:
        """The targets file."""
        boxes = dict.fromkeys((m[0] for m in self.moves), BOX_MM)
        together = [list(m) for m in self.moves if len(m) > 1]
        return targets_text(self.axle, boxes, [w.want for w in wants]) + (f"[keep]\ntogether = {together}\n")

    def figures(self, x: np.ndarray, wants: list[Asked]) -> np.ndarray:
        """What the car has of wants, moved by x mm."""
        moves = {name: float(by) for names, by in zip(self.moves, x, strict=True) for name in names}
        return self.figures_of(moved_car(self.car, moves, self.axle), wants)

    def figures_of(self, car: Car, wants: list[Asked]) -> np.ndarray:
        """What any car has of them, by a sweep."""
        names = tuple({w.measure for w in wants})
        values = swept(car, TRAVEL, self.axle, self.side, measures=names)
        return np.array([w.of(values) for w in wants])

    def holds(self, car: Car, wants: list[Asked]) -> bool:
        """Whether a car has them; a gradient by differences is good to some millionths."""
        off = np.abs(self.figures_of(car, wants) - [w.value for w in wants])
        return bool((off <= [w.within + ROUNDING * (1 + abs(w.value)) for w in wants]).all())

    def stationary(self, moves: np.ndarray, wants: list[Asked]) -> float:
        """What is left of the change's gradient beside those of wants at their bounds and of boxes that press.

        By differences of sweeps and SciPy's non-negative least squares; every box is as wide, so that the gradient of
        half the change's square goes with the moves.
        """
        n, size = len(moves), np.linalg.norm(moves)
        ends = [[self.figures(moves + s * STEP_MM * e, wants) for s in (-1.0, 1.0)] for e in np.eye(n)]
        slope = np.array([(b - a) / (2.0 * STEP_MM) for a, b in ends]).T
        off = self.figures(moves, wants) - [w.value for w in wants]
        near = [w.within - abs(o) < 1e-3 * w.within + ROUNDING * (1 + abs(w.value))
                for o, w in zip(off, wants, strict=True)]  # fmt: skip
        outward = [np.sign(o) * s / np.linalg.norm(s) for o, s, at in zip(off, slope, near, strict=True) if at]
        outward += [np.sign(m) * e for m, e in zip(moves, np.eye(n), strict=True) if BOX_MM - abs(m) < 1e-6]
        if size < 1e-6 or not outward:
            return float(size >= 1e-6)
        return float(nnls(np.array(outward).T, -moves)[1] / size)

    def reachable(self, wants: list[Asked], rng: np.random.Generator) -> bool:
        """Whether least squares over sweeps of moved cars find a way to have wants."""
        goal, size = (np.array([getattr(w, a) for w in wants]) for a in ("value", "within"))

        def miss(x: np.ndarray) -> np.ndarray:
            try:
                off = (self.figures(x, wants) - goal) / size
            except kin3d.Kin3dError:
                return np.full(len(wants), 1e6)
            return np.where(np.isfinite(off), np.sign(off) * np.maximum(np.abs(off) - 1.0, 0.0), 1e6)

        n = len(self.moves)
        starts = [np.zeros(n), *rng.uniform(-0.9, 0.9, (STARTS - 1, n)) * BOX_MM]
        found = (least_squares(miss, s, bounds=(-BOX_MM, BOX_MM), diff_step=1e-4, max_nfev=30) for s in starts)
        return any(np.abs(f.fun).max() < 0.01 for f in found)


def coordinates(car: Car, axle: AxleName, kind: str, rng: np.random.Generator) -> tuple[tuple[str, ...], ...]:
    """Coordinates of the table that may go; points that belong in one line go along with each other."""
    own = car.axle(axle)
    bare = own.linkage.across.bare
    lines = [(*IN_LINE.get(kind, ()),), [tuple(bare(p) for p in (s.point, *s.line)) for s in own.linkage.sliders]]
    sets = [set(line) for found in lines for line in found]
    for one in list(sets):
        for other in sets:
            if one & other:
                one |= other
    out = []
    for name in own.points.names:
        if name not in ("wheel_centre", "wheel_axis"):
            along = next((sorted(s - {name}) for s in sets if name in s), [])
            out += [tuple(f"{n}.{a}" for n in (name, *along)) for a in "xyz"]
    unique = list({tuple(sorted(names)): names for names in out}.values())
    return tuple(unique[int(k)] for k in rng.choice(len(unique), min(MOVES, len(unique)), replace=False))


def made(folder: Path, kind: str, rng: np.random.Generator) -> Case:
    """A car of a kind, moves, and wants that a moved car has."""
    if kind in KINDS:
        car, axle, side = demo_car(folder, kind), "rear", "left"
    else:
        name, axle = kind.split()
        car = model_car(name)
        side = car.axle(axle).side
    moves = coordinates(car, axle, kind, rng)
    there = [m for m in MEASURES if m in {x.name for x in kin3d.sweep(car, axle, [0.0]).measures}]
    chosen = [str(m) for m in rng.choice(there, min(WANTS, len(there)), replace=False)]
    ways = [str(w) for w in rng.choice(["value", "gradient", "change"], len(chosen))]
    blank = [Asked(m, w, 0.0, 1.0) for m, w in zip(chosen, ways, strict=True)]
    case = Case(car, axle, side, moves, ())
    goal = case.figures(rng.uniform(-0.7, 0.7, len(moves)) * BOX_MM, blank)
    now = case.figures(np.zeros(len(moves)), blank)
    wants = [
        Asked(w.measure, w.way, float(g), max(0.02 * abs(float(g - n)), 1e-4))
        for w, g, n in zip(blank, goal, now, strict=True)
        if np.isfinite(g) and np.isfinite(n)
    ]
    return Case(car, axle, side, moves, tuple(wants))


def spoiled(case: Case, k: int) -> list[Asked]:
    """The wants with one more that cannot be had."""
    first = case.wants[0]
    if k % 2 == 0:
        return [*case.wants, Asked(first.measure, first.way, first.value + 50.0 * first.within, first.within)]
    here = case.figures(np.zeros(len(case.moves)), [first])[0]
    reach = 0.0
    for step in np.eye(len(case.moves)):
        ends = [case.figures(sign * step, [first])[0] for sign in (-1.0, 1.0)]
        reach += 0.5 * BOX_MM * abs(ends[1] - ends[0])
    far = here + 4.0 * reach + 100.0 * first.within
    return [Asked(first.measure, first.way, float(far), first.within), *case.wants[1:]]


def main() -> None:
    """Run and count."""
    parser = argparse.ArgumentParser()
    parser.add_argument("count", type=int, nargs="?", default=50)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    kinds = [*KINDS, *(f"{name} {axle}" for name, axle in CORNERS)]
    found = told = wrong = tried = named = 0
    slowest, worst = [], 0.0
    with tempfile.TemporaryDirectory() as folder:
        for k in range(options.count):
            rng = np.random.default_rng([options.seed, k])
            kind = kinds[k % len(kinds)]
            case = made(Path(folder) / str(k), kind, rng)
            file = Path(folder) / f"{k}.toml"
            tried += 1
            for good in (True, False):
                wants = list(case.wants) if good else spoiled(case, k)
                file.write_text(case.text(wants), "utf-8")
                begun = time.process_time()
                result = kin3d.tune(case.car, file)
                spent = time.process_time() - begun
                slowest.append((spent, f"{k} {kind} {'can' if good else 'cannot'}"))
                if result.met and not case.holds(result.car, wants):
                    wrong += 1
                    print(f"{k} {kind}: said to be met and is not: {wants}")
                if good and result.met:
                    left = case.stationary(result.moves, wants)
                    worst = max(worst, left)
                    if left > 1e-3:
                        print(f"{k} {kind}: stationary to {left:.1e}")
                if good:
                    found += result.met
                    if not result.met:
                        print(f"{k} {kind}: not found: {result.verdict()}")
                    continue
                told += not result.met
                conflict = [wants[n - 1] for n in result.conflict]
                by_making = {1, len(wants)} <= set(result.conflict) if k % 2 == 0 else 1 in result.conflict
                true = bool(conflict) and (by_making or not case.reachable(conflict, rng))
                named += true
                if not true:
                    said = "cannot" if result.established else "none found"
                    print(f"{k} {kind}: conflict {result.conflict} of {len(wants)}, {said}: {result.verdict()}")
            print(f"{k} {kind}: {slowest[-2][0]:.2f} s, {slowest[-1][0]:.2f} s", flush=True)
    times = np.array([s for s, _ in slowest])
    print(f"{tried} that can be had: {found} found; {tried} that cannot: {told} told, {named} with a true conflict")
    print(f"{wrong} said to be met that are not; stationary to {worst:.1e}")
    print(f"{times.mean():.2f} s a file, slowest {max(slowest)}")


if __name__ == "__main__":
    main()
