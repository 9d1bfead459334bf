"""Time and memory of a big tolerance study: 20,000 samples of Dunlin in 41 positions, every measure, two processes.

Run it as ``python -m tests.speed.tolerance``; aim: under 5 s and 1 GB.
"""

from __future__ import annotations

import resource
import time
from pathlib import Path

import numpy as np

import kin3d
from kin3d.studies.tolerance import tolerance

CAR = Path(__file__).parents[2] / "models" / "dunlin" / "car.toml"
SAMPLES, WORKERS = 20_000, 2


def main() -> None:
    car, travel = kin3d.load(CAR), np.linspace(-40.0, 40.0, 41)
    start = time.perf_counter()
    found = tolerance(car, "front", travel, samples=SAMPLES, workers=WORKERS)
    took = time.perf_counter() - start
    own, each = (resource.getrusage(w).ru_maxrss / 1e3 for w in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    print(f"{SAMPLES} samples, {len(travel)} positions, {len(found.measures)} measures: {took:.2f} s")
    print(f"memory: {own:.0f} MB and at most {each:.0f} MB in each of {WORKERS} processes")


if __name__ == "__main__":
    main()
