"""Time and memory of a big study of sampled cars, every measure of Dunlin's front axle in 41 positions.

``python -m tests.speed.tolerance [--samples N] [--workers W] [--compare]`` from the repository's root; ``--compare``
compares it with Plover. Aims: 20,000 cars under 5 s, a million under 1 GB (in each process).
"""

from __future__ import annotations

import argparse
import resource
import time
from pathlib import Path

import numpy as np

import kin3d

MODELS = Path(__file__).parents[2] / "models"
SAMPLES, WORKERS = 20_000, 2


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--samples", type=int, default=SAMPLES)
    parser.add_argument("--workers", type=int, default=WORKERS)
    parser.add_argument("--compare", action="store_true")
    asked = parser.parse_args()
    cars = [kin3d.load(MODELS / name / "car.toml") for name in ("dunlin", "plover")]
    travel, how = np.linspace(-40.0, 40.0, 41), {"samples": asked.samples, "workers": asked.workers}
    start, here = time.perf_counter(), time.process_time()
    if asked.compare:
        found = kin3d.compare(cars, "front", travel, **how, split=False).cars[0].tolerance
    else:
        found = kin3d.tolerance(cars[0], "front", travel, **how)
    took, here = time.perf_counter() - start, time.process_time() - here
    own, others = (resource.getrusage(w) for w in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    print(f"{found.how}, {len(travel)} positions, {len(found.measures)} measures: {took:.2f} s")
    print(f"processor time: {here:.1f} s here, {others.ru_utime + others.ru_stime:.1f} s in other processes")
    each = f" and at most {others.ru_maxrss / 1e3:.0f} MB in each of {asked.workers} processes"
    print(f"memory: {own.ru_maxrss / 1e3:.0f} MB{each if others.ru_maxrss else ''}")


if __name__ == "__main__":
    main()
