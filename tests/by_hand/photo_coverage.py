"""Coverage of coordinates and measures from photographs over many scenes, and the sigmas of several sets of pictures.

``python -m tests.by_hand.photo_coverage coverage 300 [first seed] [--workers N] [--cluster ADDRESS]``; in place of it
``rear 300`` for rear axles from behind, and ``sets 12`` for the sets of pictures. Scenes go to N processes, or to the
workers of a Dask scheduler (which need this repository), and are the same bit for bit.
Each scene's seed is its number, so that any of them can be made again.

Beside each share stands that of the linear estimate at the truth, whose misses are normal by their making: where both
are low, the scenes drawn are the reason and not the adjustment. Over 300 scenes one figure in 40 is under 92.5 % by
chance alone.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import Executor
from functools import partial
from math import erf, sqrt
from typing import Any

import numpy as np

from kin3d.cli.cluster import executor_at
from kin3d.photographs.adjust import Fit, adjust, spread
from kin3d.studies.pieces import by_workers
from tests import photo_scenes as scenes
from tests.photo_scenes import BEHIND, FRONT, LOW, QUARTER, SIDE

SETS = {
    "front": ([FRONT], {}),
    "front + quarter": ([FRONT, QUARTER], {}),
    "the same, ride height 1 mm": ([FRONT, QUARTER], {"travel": 1.0}),
    "+ low": ([FRONT, QUARTER, LOW], {}),
    "those three, ride height 1 mm": ([FRONT, QUARTER, LOW], {"travel": 1.0}),
    "those three, inboard ends hidden": ([FRONT, QUARTER, LOW], {"inboard": False}),
    "front + quarter without legs": ([FRONT, QUARTER], {"legs": False}),
    "front + quarter, left side only": ([FRONT, QUARTER], {"right": False}),
    "front + quarter without rims, contacts, rear": ([FRONT, QUARTER], {"wheels": False}),
    "side": ([SIDE], {}),
}
CARS = ("dunlin", "plover")
Solver = Callable[[int], dict[str, Any]]


def scenes_of(
    solver: Solver, seeds: range, workers: int = 1, executor: Executor | None = None
) -> Iterator[dict[str, Any]]:
    """Solve the scenes of some seeds, here or by others, and say on a terminal how many are done."""
    with by_workers(_by_seed, solver, workers, executor) as run:
        for done, found in enumerate(run(seeds), 1):
            if sys.stderr.isatty():
                print(f"\r{done} of {len(seeds)} scenes", end="\n" if done == len(seeds) else "", file=sys.stderr)
            yield found


def _by_seed(solver: Solver) -> Solver:
    return solver


def linear(scene, fit):
    """What the linear estimate at the truth makes of the same marks: how far each parameter is off, and its spread."""
    at = scene.model.evaluate(scene.truth)
    found = spread(Fit(scene.model, fit.known, at, 0.0, True, 0))
    missed = np.where(fit.known.observed, fit.known.misses(scene.truth.numbers), 0.0)
    return -(found.effect @ at.residual + found.known_effect @ missed), found


def solve(seed, shots, **options):
    """One scene of both cars adjusted from the truth: values, gradients, sigmas, and how far coordinates are off."""
    scene = scenes.scene(CARS, shots, seed, **options)
    fit = adjust(scene.model, scene.truth)
    found = spread(fit)
    values, gradients, true, slopes = [], [], [], []
    for number, name in enumerate(CARS):
        value, gradient = scenes.measures_with_slopes(scene.parameters, number, name, fit.state.numbers)
        values.append(value)
        gradients.append(gradient)
        value, gradient = scenes.measures_with_slopes(scene.parameters, number, name, scene.truth.numbers)
        true.append(value)
        slopes.append(gradient)
    astray, chance = linear(scene, fit)
    slopes.append(slopes[1] - slopes[0])
    by_chance = [(g @ astray) / np.linalg.norm(g @ chance.factor, axis=1) for g in slopes]
    points = [b.points[b.points >= 0] for b in scene.parameters.blocks]
    index = np.concatenate(points)
    sigma = np.sqrt((found.factor**2).sum(axis=1))
    off = (fit.state.numbers - scene.truth.numbers)[index] / sigma[index]
    apart = (values[1] - values[0]) - (true[1] - true[0])
    spread_apart = np.linalg.norm((gradients[1] - gradients[0]) @ found.factor, axis=1)
    single = [np.linalg.norm(g @ found.factor, axis=1) for g in gradients]
    return {
        "settled": fit.settled,
        "off": off,
        "off by chance": astray[index] / np.sqrt((chance.factor[index] ** 2).sum(axis=1)),
        "names": [str(scene.parameters.listed[k]) for k in index],
        "measure": np.array([(v - t) / s for v, t, s in zip(values, true, single, strict=True)]),
        "difference": apart / spread_apart,
        "measure by chance": np.array(by_chance[:2]),
        "difference by chance": by_chance[2],
        "sigma": np.array(single),
        "sigma_difference": spread_apart,
        "true_difference": true[1] - true[0],
        "found_difference": values[1] - values[0],
        "chi": (2.0 * fit.cost, len(fit.equations.residual) + fit.known.observed.sum() - fit.known.free.sum()),
    }


def solve_rear(seed):
    """One scene of a rear axle from behind: how far coordinates are off."""
    scene = scenes.scene([CARS[seed % 2]], BEHIND, seed, axle="rear", template_off=40.0)
    fit = adjust(scene.model, scene.truth)
    block = scene.parameters.blocks[0]
    index = np.append(block.points[block.points >= 0], block.other_centre[0])
    sigma = np.sqrt((spread(fit).factor ** 2).sum(axis=1))
    off = (fit.state.numbers - scene.truth.numbers)[index] / sigma[index]
    names = [scene.parameters.listed[k].name for k in index]
    astray, chance = linear(scene, fit)
    by_chance = astray[index] / np.sqrt((chance.factor[index] ** 2).sum(axis=1))
    return {"settled": fit.settled, "off": off, "off by chance": by_chance, "names": names}


def rear(count, first=0, **who):
    """The same of rear axles of one car, coordinates alone."""
    _coordinates(list(scenes_of(solve_rear, range(first, first + count), **who)))


def _coordinates(runs):
    """Print how often the bands of coordinates hold the truth, and how wide their misses spread in sigmas."""
    off, held = np.array([r["off"] for r in runs]), _held(runs, "off")
    by_chance = _held(runs, "off by chance")
    print(f"{len(runs)} scenes, {sum(r['settled'] for r in runs)} settled")
    print(f"coordinates: {held.min():.3f} to {held.max():.3f}, mean {held.mean():.4f}")
    order = np.argsort(held)
    for k in (*order[:3], *order[-3:]):
        print("  least, most:", runs[0]["names"][k], f"{held[k]:.3f}, spread {off[:, k].std():.2f}, "
              f"by chance {by_chance[k]:.3f}")  # fmt: skip


def _held(runs, key):
    """Part of the runs in which a 95 % band holds, for every figure under a key."""
    return (np.abs([r[key] for r in runs]) < 1.959964).mean(axis=0)


def coverage(count, first=0, **who):
    """Part of the scenes in which 95 % bands hold the truth."""
    solver = partial(solve, shots=[FRONT, QUARTER, LOW], template_off=40.0)
    runs = list(scenes_of(solver, range(first, first + count), **who))
    _coordinates(runs)
    for key in ("measure", "difference"):
        for row in (key, f"{key} by chance"):
            print(row, np.round(_held(runs, row), 3).tolist(), list(scenes.MEASURES))
    wrong = sum(bool((np.abs(r["difference"]) < 50).all() and _wrong_sign(r)) for r in runs)
    print("said with 95 % and of the wrong sign:", wrong)
    chi = np.array([r["chi"] for r in runs])
    print("mean square over freedom:", (chi[:, 0] / chi[:, 1]).mean())


def _wrong_sign(run):
    said = np.abs(run["found_difference"]) > 1.959964 * run["sigma_difference"]
    return bool((said & (np.sign(run["found_difference"]) != np.sign(run["true_difference"])))[:2].any())


def sets(count, first=0, **who):
    """Sigmas of one car and of the difference, and the chance that the difference can be said."""
    for name, (shots, options) in SETS.items():
        runs = list(scenes_of(partial(solve, shots=shots, **options), range(first, first + count), **who))
        one = np.median(np.concatenate([r["sigma"] for r in runs]), axis=0)
        two = np.median([r["sigma_difference"] for r in runs], axis=0)
        chance = [_power(abs(d) / s) for d, s in zip(runs[0]["true_difference"], two, strict=True)]
        print(
            f"{name:46s} one car {one[0]:6.1f} mm {one[1]:6.1f} %   difference {two[0]:6.1f} {two[1]:6.1f}   "
            f"can be said {100 * chance[0]:.0f} / {100 * chance[1]:.0f} %", flush=True,
        )  # fmt: skip


def _power(ratio):
    """Chance that a difference of so many sigmas is found significant at 95 %, two-sided."""

    def below(x):
        return 0.5 * (1.0 + erf(x / sqrt(2.0)))

    return below(ratio - 1.959964) + below(-ratio - 1.959964)


def main(words: list[str]) -> None:
    """Run one of them."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=["coverage", "rear", "sets"])
    parser.add_argument("count", type=int)
    parser.add_argument("first", type=int, nargs="?", default=0)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--cluster", metavar="ADDRESS")
    asked = parser.parse_args(words)
    run = {"coverage": coverage, "rear": rear, "sets": sets}[asked.what]
    with executor_at(asked.cluster) as executor:
        run(asked.count, asked.first, workers=asked.workers, executor=executor)


if __name__ == "__main__":
    from tests.by_hand import photo_coverage  # workers find what they need under its own name

    photo_coverage.main(sys.argv[1:])
