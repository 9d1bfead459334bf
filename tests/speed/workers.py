"""Two workers beside one: processes of this computer, and a Dask scheduler's; and who works how long.

``python -m tests.speed.workers [--samples N] [--runs K] [--only processes,cluster]`` from the repository's root, on an
idle machine with two cores or more. Aim: two workers of a cluster take less than 1/1.7 of the time of one.

One and two are taken in turn on workers that are there already, and the shortest time of each counts. The share is the
processor time of the process that asks (drawing, sending, reducing, and Dask's scheduler) of that of all: with two
cores two workers cannot be more than 2 − 2 × share times as quick as one. It hardly depends on what else runs.
"""

from __future__ import annotations

import argparse
import os
import time
import warnings
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np
from rich.console import Console
from rich.table import Table

import kin3d
from kin3d.linkage.car import Car

CAR = Path(__file__).parents[2] / "models" / "dunlin" / "car.toml"
TRAVEL = np.linspace(-40.0, 40.0, 41)
SAMPLES, RUNS = 200_000, 5  # so many that they are counted where they are solved
# as the guide says: a worker's thread else gives memory back after every array, and half its time goes into new pages;
# looking every 10 ms where a worker is takes a tenth of what is left
WORKER = {
    "MALLOC_MMAP_THRESHOLD_": 1 << 30,
    "MALLOC_TRIM_THRESHOLD_": 1 << 32,
    "OPENBLAS_NUM_THREADS": 1,
    "DASK_DISTRIBUTED__WORKER__PROFILE__ENABLED": False,
}


@dataclass
class Timed:
    """Workers of one kind, and what a study took: wall clock, processor time here, processor time there; s."""

    executor: Executor
    spent: Callable[[], float]
    runs: list[tuple[float, float, float]] = field(default_factory=list)

    def run(self, car: Car, samples: int) -> None:
        """One study."""
        there, here, begin = self.spent(), time.process_time(), time.perf_counter()
        kin3d.tolerance(car, "front", TRAVEL, samples=samples, executor=self.executor)
        took, own = time.perf_counter() - begin, time.process_time() - here
        self.runs.append((took, own, self.spent() - there))


def _used(process: int) -> float:
    """Processor time of a process, s (Linux)."""
    words = Path(f"/proc/{process}/stat").read_text("ascii").rpartition(")")[2].split()
    return (int(words[11]) + int(words[12])) / os.sysconf("SC_CLK_TCK")


def _id(_: int) -> int:
    time.sleep(1.0)  # so that each process has one of them
    return os.getpid()


@contextmanager
def processes() -> Iterator[tuple[Timed, Timed]]:
    """One process and two, as ``--workers`` starts them."""
    context = get_context("spawn")
    with ProcessPoolExecutor(1, context) as one, ProcessPoolExecutor(2, context) as two:
        yield _timed(one, set(one.map(_id, range(1)))), _timed(two, set(two.map(_id, range(2))))


@contextmanager
def cluster() -> Iterator[tuple[Timed, Timed]]:
    """One worker and both of a Dask scheduler of this computer, a process and a thread each.

    They are of one cluster: workers of another would take processor time even while they have nothing to do.
    """
    import dask
    from distributed import Client, LocalCluster

    dask.config.set({"distributed.nanny.pre-spawn-environ": WORKER, "distributed.worker.profile.enabled": False})
    options: dict[str, Any] = {"threads_per_worker": 1, "dashboard_address": None, "silence_logs": 50}
    with LocalCluster(n_workers=2, **options) as made, Client(made, set_as_default=False) as client:
        ids = client.run(os.getpid)
        first = next(iter(ids))
        one, two = client.get_executor(workers=[first]), client.get_executor()
        yield _timed(one, {ids[first]}), _timed(two, set(ids.values()))


def _timed(executor: Executor, ids: set[int]) -> Timed:
    return Timed(executor, lambda: sum(map(_used, ids)))


KINDS = {"processes": processes, "cluster": cluster}


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--samples", type=int, default=SAMPLES, help="cars")
    parser.add_argument("--runs", type=int, default=RUNS)
    parser.add_argument("--only", default=",".join(KINDS))
    asked = parser.parse_args()
    warnings.simplefilter("ignore")
    car = kin3d.load(CAR)
    table = Table(title=f"{asked.samples:,} sampled cars in {len(TRAVEL)} positions, every measure")
    for heading in ("", "one, s", "two, s", "two are", "here, s of processor", "there", "share here"):
        table.add_column(heading, justify="right" if heading else "left")
    for kind in asked.only.split(","):
        with ExitStack() as stack:
            one, two = stack.enter_context(KINDS[kind]())
            for turn in range(asked.runs + 1):
                for timed in (one, two):
                    timed.run(car, asked.samples)
                    if not turn:
                        timed.runs.clear()  # workers make what they need of the study once
        single, double = (min(r[0] for r in t.runs) for t in (one, two))
        here, there = (min(r[k] for r in two.runs) for k in (1, 2))
        cells = (single, double), (here, there)
        table.add_row(
            kind, *(f"{c:.2f}" for c in cells[0]), f"{single / double:.2f} × as quick",
            *(f"{c:.2f}" for c in cells[1]), f"{100.0 * here / (here + there):.0f} %",
        )  # fmt: skip
    Console().print(table)


if __name__ == "__main__":
    main()
