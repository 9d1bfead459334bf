"""Random targets files over all layouts: what can be had is found, nothing is said to be met that is not.

``python -m tests.by_hand.random_targets [COUNT] [--seed S]`` makes so many files that can be had (wants are figures of
a car with its points elsewhere in the boxes) and as many that cannot (two wants of one figure that exclude each other),
solves them, and looks at each answer by a sweep of the new car.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from pathlib import Path

import numpy as np

import kin3d
from tests.kinds import KINDS, demo_car
from tests.tuned import moved_car, swept, targets_text

MEASURES = ("camber_deg", "toe_deg", "roll_centre_height_mm", "caster_deg", "scrub_radius_mm", "caster_trail_mm")
TRAVEL = np.array([-20.0, -0.5, 0.0, 0.5, 20.0])
BOX_MM = 12.0


def figure(values, measure, way):
    """Value, gradient or change of a measure in curves over `TRAVEL`."""
    v = values[measure]
    return {"value": v[2], "gradient": v[3] - v[1], "change": v[4] - v[2]}[way]


def want_of(measure, way, value, within):
    goal = {"value": value} if way == "value" else {"gradient": value}
    if way == "change":
        goal = {"change": [0, 20], "value": value}
    return {"measure": measure, **goal, "within": within}


def coordinates(car, rng, count):
    """Coordinates of the table that may go, away from what is across the car."""
    table = car.rear.points
    names = [f"{n}.{a}" for n in table.names for a in "xyz" if n not in ("wheel_centre", "wheel_axis")]
    return [str(n) for n in rng.choice(names, min(count, len(names)), replace=False)]


def case(car, rng):
    """Coordinates, wants that can be had, and figures of the car as it is."""
    moves = coordinates(car, rng, 8)
    there = [m for m in MEASURES if m in {x.name for x in kin3d.sweep(car, "rear", [0.0]).measures}]
    true = dict(zip(moves, rng.uniform(-0.7, 0.7, len(moves)) * BOX_MM, strict=True))
    goal, now = swept(moved_car(car, true, "rear"), TRAVEL, "rear", measures=there), None
    now = swept(car, TRAVEL, "rear", measures=there)
    asked = []
    for measure in rng.choice(there, min(3, len(there)), replace=False):
        way = str(rng.choice(["value", "gradient", "change"]))
        wanted, is_now = figure(goal, measure, way), figure(now, measure, way)
        if np.isfinite(wanted) and np.isfinite(is_now):
            asked.append((str(measure), way, float(wanted), max(0.02 * abs(wanted - is_now), 1e-4)))
    return moves, asked


def holds(car, asked):
    values = swept(car, TRAVEL, "rear", measures=tuple({a[0] for a in asked}))
    # a gradient by differences is good to a millionth
    return all(abs(figure(values, m, way) - v) <= within + 2e-6 * (1 + abs(v)) for m, way, v, within in asked)


def main() -> None:
    """Run and count."""
    parser = argparse.ArgumentParser()
    parser.add_argument("count", type=int, nargs="?", default=50)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    found = told = wrong = tried = named = 0
    start = time.process_time()
    with tempfile.TemporaryDirectory() as folder:
        for k in range(options.count):
            rng = np.random.default_rng([options.seed, k])
            kind = KINDS[k % len(KINDS)]
            try:
                car = demo_car(Path(folder) / str(k), kind)
                moves, asked = case(car, rng)
            except kin3d.Kin3dError as error:
                print(f"{k} {kind}: no car: {error}")
                continue
            if not asked:
                continue
            tried += 1
            file = Path(folder) / f"{k}.toml"
            boxes = dict.fromkeys(moves, BOX_MM)
            file.write_text(targets_text("rear", boxes, [want_of(*a) for a in asked]), "utf-8")
            result = kin3d.tune(car, file)
            found += result.met
            if result.met and not holds(result.car, asked):
                wrong += 1
                print(f"{k} {kind}: said to be met and is not: {asked}")
            if not result.met:
                print(f"{k} {kind}: not found ({'cannot' if result.established else 'none found'}): {result.verdict()}")
            measure, way, value, within = asked[0]
            other = (measure, way, value + 50.0 * within, within)
            asked = [*asked, other]
            file.write_text(targets_text("rear", boxes, [want_of(*a) for a in asked]), "utf-8")
            result = kin3d.tune(car, file)
            wrong += result.met
            told += not result.met
            named += set(result.conflict) == {1, len(asked)} or not result.established
    spent = time.process_time() - start
    print(f"{tried} that can be had: {found} found; {tried} that cannot: {told} told, {named} with their conflict; "
          f"{wrong} said to be met that are not; {spent:.0f} s")  # fmt: skip


if __name__ == "__main__":
    main()
