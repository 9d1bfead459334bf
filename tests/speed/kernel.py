"""Positions a second of a push-rod corner beside three rivals, and a fresh `kin3d sweep` beside its imports.

Run with ``python -m tests.speed.kernel [CAR.toml]`` from the repository (needs the extras ``test`` and ``speed``).
Every position is independent and random in ±40 mm of travel; every rival must close to the same places.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import numba
import numpy as np
from numpy.typing import NDArray
from rich.console import Console
from rich.table import Table

import kin3d
from kin3d.solve.model import AxleModel
from tests.speed import closed_form, natural
from tests.speed.start_up import report_start_up

Array = NDArray[np.float64]
REACH, POSITIONS, SAMPLE, RUNS = 40.0, 100_000, 200, 9
ROOT = "scipy.optimize.root, one by one"
DUNLIN = Path(__file__).parents[2] / "models" / "dunlin" / "car.toml"
JOINTS = ("lower_outer", "upper_outer", "tie_outer", "rod_inner")


class Ours:
    """The kernel on the left front corner of a car."""

    def __init__(self, path: Path) -> None:
        model = AxleModel.of(kin3d.load(path), "front")
        self.kernel = model.kernel
        self.variants = self.kernel.variants(model.variants.design[:1], model.variants.rack_axis[:1])
        self.points = dict(zip(model.linkage.points, model.variants.design[0], strict=True))

    def solve(self, travel: Array) -> object:
        """Solve positions; what a study would go on with."""
        return self.kernel.solve(self.variants, self.kernel.lanes(self.variants, travel))

    def joints(self, travel: Array) -> Array:
        """Places (n, 12) of the joints that the rivals give too."""
        lanes = self.kernel.lanes(self.variants, travel)
        solved = self.kernel.solve(self.variants, lanes)
        assert not solved.status.any()
        assert solved.error_mm.max() < 1e-9
        rows = [self.kernel.linkage.index(p) for p in JOINTS]
        return self.kernel.points(self.variants, lanes, solved)[:, rows].reshape(-1, 12)


_WORKER: list[Ours] = []


def _start(path: Path) -> None:
    _WORKER.append(Ours(path))


def _work(travel: Array) -> int:
    _WORKER[0].solve(travel)
    return len(travel)


def best(jobs: dict[str, Callable[[], object]]) -> dict[str, float]:
    """Shortest of several times of each job, s; the jobs are taken in turn so that all see the same machine."""
    times: dict[str, list[float]] = {name: [] for name in jobs}
    for _ in range(RUNS):
        for name, job in jobs.items():
            begin = time.perf_counter()
            job()
            times[name].append(time.perf_counter() - begin)
    return {name: min(t) for name, t in times.items()}


def rates(path: Path, travel: Array) -> dict[str, float]:
    """Positions a second of every contender, checked against each other beforehand."""
    ours = Ours(path)
    chain, corner = closed_form.chain(ours.points, REACH), natural.Corner(ours.points)
    out, angle = np.empty((12, len(travel))), np.empty(len(travel))

    def run(function: Callable[..., None], start: Array) -> Callable[[], None]:
        return lambda: function(chain.vectors, chain.scalars, start, travel, out, angle)

    _same(ours, chain, corner, travel)
    numba.set_num_threads(min(2, numba.config.NUMBA_NUM_THREADS))
    run(closed_form.solve_parallel, chain.polynomial)()
    sample, halves = travel[:SAMPLE], [travel[::2], travel[1::2]]
    with ProcessPoolExecutor(2, get_context("spawn"), _start, (path,)) as pool:
        list(pool.map(_work, halves))
        jobs: dict[str, Callable[[], object]] = {
            "kernel, 1 core": lambda: ours.solve(travel),
            "kernel, 2 cores (processes)": lambda: list(pool.map(_work, halves)),
            "closed form, polynomial start, 1 core": run(closed_form.solve, chain.polynomial),
            "closed form, polynomial start, 2 cores": run(closed_form.solve_parallel, chain.polynomial),
            "closed form, tangent start, 1 core": run(closed_form.solve, chain.tangent),
            "stacked np.linalg.solve, 1 core": lambda: natural.stacked(corner, travel),
            ROOT: lambda: natural.one_by_one(corner, sample),
        }
        times = best(jobs)
    return {name: (SAMPLE if name == ROOT else len(travel)) / t for name, t in times.items()}


def _same(ours: Ours, chain: closed_form.Chain, corner: natural.Corner, travel: Array) -> None:
    expected = ours.joints(travel)
    out, angle = np.empty((12, len(travel))), np.empty(len(travel))
    for start in (chain.polynomial, chain.tangent):
        closed_form.solve(chain.vectors, chain.scalars, start, travel, out, angle)
        np.testing.assert_allclose(out.T, expected, rtol=0, atol=5e-9)
    np.testing.assert_allclose(natural.stacked(corner, travel), expected, rtol=0, atol=5e-9)
    some = natural.one_by_one(corner, travel[:SAMPLE])
    np.testing.assert_allclose(some, expected[:SAMPLE], rtol=0, atol=5e-9)


def report(path: Path) -> None:
    """Print both tables."""
    travel = np.random.default_rng(2).uniform(-REACH, REACH, POSITIONS)
    found = rates(path, travel)
    first = found["kernel, 1 core"]
    table = Table(title=f"{POSITIONS} independent positions of {path.parent.name}, upright and rocker")
    for heading in ("", "positions/s", "kernel on 1 core is"):
        table.add_column(heading, justify="left" if not heading else "right")
    for name, rate in found.items():
        table.add_row(name, f"{rate:,.0f}", f"{first / rate:,.3g} ×")
    Console().print(table)
    report_start_up(path)


if __name__ == "__main__":
    report(Path(sys.argv[1]) if len(sys.argv) > 1 else DUNLIN)
