"""Cars recovered from their own curves: wants met, the true points among the answers, and stationary.

``python -m tests.by_hand.recovered_cars [COUNT] [--seed S]`` moves points of Dunlin's front axle by up to 15 mm and
asks for the curves that this car has, each to 1e-6 of its unit. Whether they are determined is asked of differences of
sweeps; that an answer of least change is stationary too, by SciPy's bounded least squares over those differences.
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

import numpy as np
from scipy.optimize import lsq_linear

import kin3d
from tests.laws.cars import car
from tests.tuned import FEW, curve_text, moved_car, swept, targets_text

TRAVEL = np.linspace(-25.0, 25.0, 7)
BOX_MM = 15.0
STEP_MM = 1e-3
COORDINATES = (
    "lower_front.z", "lower_rear.z", "upper_front.z", "upper_rear.z", "tie_inner.z", "tie_outer.z", "upper_front.y",
    "upper_rear.y", "lower_front.y", "lower_rear.y", "tie_inner.y", "lower_outer.z", "upper_outer.z",
)  # fmt: skip
DETERMINED = 1e-4  # per mm, of the curves' least singular value: below it places far apart have the same curves


def curves(moves: dict[str, float]) -> np.ndarray:
    """All wanted curves of Dunlin with coordinates moved."""
    values = swept(moved_car(car("dunlin"), moves), TRAVEL)
    return np.concatenate([values[m] for m in FEW])


def slopes(names: list[str], at: np.ndarray) -> np.ndarray:
    """Change of the curves per mm of each coordinate, by central differences of sweeps."""
    out = []
    for k in range(len(names)):
        step = STEP_MM * (np.arange(len(names)) == k)
        ends = [curves(dict(zip(names, at + s * step, strict=True))) for s in (-1.0, 1.0)]
        out.append((ends[1] - ends[0]) / (2.0 * STEP_MM))
    return np.array(out).T


def stationary(slope: np.ndarray, moves: np.ndarray) -> float:
    """What is left of the change's gradient beside the curves' gradients (either way) and pressed boxes."""
    n = len(moves)
    press = [np.eye(n)[k] * np.sign(moves[k]) for k in range(n) if BOX_MM - abs(moves[k]) < 1e-6]
    size = np.linalg.norm(slope, axis=1)
    rows = slope[size > 1e-9] / size[size > 1e-9, None]
    columns = np.column_stack([rows.T, *press])
    low = np.full(columns.shape[1], -np.inf)
    high = np.concatenate([np.full(len(rows), np.inf), np.zeros(len(press))])
    found = lsq_linear(columns, moves, (low, high), tol=1e-14)
    return float(np.linalg.norm(columns @ found.x - moves) / np.linalg.norm(moves))


def main() -> None:
    """Recover and count."""
    parser = argparse.ArgumentParser()
    parser.add_argument("count", type=int, nargs="?", default=20)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    met = determined = true_found = 0
    worst, least_stationary = 0.0, 0.0
    for k in range(options.count):
        rng = np.random.default_rng([options.seed, k])
        names = sorted(str(n) for n in rng.choice(COORDINATES, int(rng.integers(4, 9)), replace=False))
        true = rng.uniform(-BOX_MM, BOX_MM, len(names))
        other = moved_car(car("dunlin"), dict(zip(names, true, strict=True)))
        with tempfile.TemporaryDirectory() as folder:
            wants = []
            for measure in FEW:
                (Path(folder) / f"{measure}.csv").write_text(curve_text(other, measure, TRAVEL), "utf-8")
                wants.append({"measure": measure, "curve": f"{measure}.csv", "within": 1e-6})
            file = Path(folder) / "targets.toml"
            file.write_text(targets_text("front", dict.fromkeys(names, BOX_MM), wants), "utf-8")
            found = kin3d.tune(car("dunlin"), file)
            if not found.met or np.abs(found.moves - true).max() > 0.01:  # others may have the same curves
                found = kin3d.tune(car("dunlin"), file, starts=200)
        goal = curves(dict(zip(names, true, strict=True)))
        got = curves(dict(zip(names, found.moves, strict=True)))
        off = float(np.abs(got - goal).max())
        slope = slopes(names, found.moves)
        size = float(np.linalg.svd(slopes(names, true), compute_uv=False)[-1])
        near = min((float(np.abs(a - true).max()) for a in found.answers), default=np.inf)
        there = near < 0.01
        left = stationary(slope, found.moves)
        met += off <= 1e-6
        determined += size > DETERMINED
        true_found += there and size > DETERMINED
        worst, least_stationary = max(worst, off), max(least_stationary, left)
        said = f"{len(names)} coordinates, off {off:.1e}, true points {near:.2e} mm from one of {len(found.answers)}"
        print(f"{k}: {said}, least singular value {size:.1e}, stationary to {left:.1e}", flush=True)
    said = f"{met} met to 1e-6 (worst {worst:.1e}); determined {determined}, true points found {true_found}"
    print(f"{options.count} cars: {said}; stationary to {least_stationary:.1e}")


if __name__ == "__main__":
    main()
