"""Is anything slower than it was? Every benchmark as a ratio to a reference of the same run, beside the kept ratios.

``python -m tests.speed.compare [--only NAME,NAME] [--allow PERCENT] [--keep]`` from the repository's root.

Job and reference are taken in turn and the shortest time of each counts, so that a ratio hardly depends on the machine
or on what else runs there. Exit code 1 when a ratio is more than PERCENT (default 20) over that in ``baseline.json``;
``--keep`` writes the ratios there instead, which belongs in the commit that is meant to change them.
"""

from __future__ import annotations

import argparse
import gc
import json
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from rich.console import Console
from rich.table import Table

import kin3d
from kin3d.solve.engine import EngineName, using_engine
from kin3d.solve.model import AxleModel
from tests.kinds import demo_car
from tests.speed import natural, start_up

BASELINE = Path(__file__).with_name("baseline.json")
HISTORY = Path(__file__).with_name("history.csv")  # every ratio that was kept, with its day
DUNLIN = Path(__file__).parents[2] / "models" / "dunlin" / "car.toml"
RUNS, ALLOWED_PCT = 7, 20.0
POSITIONS, ROOTS = 20_000, 100
ACROSS_FEW, ACROSS_MANY = 500, 10_000
Job = Callable[[], object]


@dataclass(frozen=True)
class Benchmark:
    """What is timed, what it is seen against, and a sentence that says both."""

    job: Job
    reference: Job
    said: str
    runs: int = RUNS

    def ratio(self) -> float:
        """Shortest time of the processor for the job over that of the reference; each runs once beforehand.

        A job that works in another process returns the time that it took there.
        """
        times: tuple[list[float], list[float]] = ([], [])
        for k in range(self.runs + 1):
            for out, run in zip(times, (self.job, self.reference), strict=True):
                gc.collect()  # else the one pays for what the other leaves
                begin = time.process_time()
                passed = run()
                own = passed if isinstance(passed, float) else time.process_time() - begin
                if k:
                    out.append(own)
        return min(times[0]) / min(times[1])


def _stacked() -> tuple[AxleModel, Job]:
    """Dunlin's front axle, and its corner in 20,000 positions by Newton on stacked matrices: the reference."""
    model = AxleModel.of(kin3d.load(DUNLIN), "front")
    corner = natural.Corner(dict(zip(model.linkage.points, model.variants.design[0], strict=True)))
    travel = np.random.default_rng(2).uniform(-40.0, 40.0, POSITIONS)
    return model, lambda: natural.stacked(corner, travel)


def kernel(_: Path) -> Benchmark:
    """The solver alone."""
    model, reference = _stacked()
    solver = model.kernel
    variants = solver.variants(model.variants.design[:1], model.variants.rack_axis[:1])
    lanes = solver.lanes(variants, np.random.default_rng(2).uniform(-40.0, 40.0, POSITIONS))
    job = _by("numpy", lambda: solver.solve(variants, lanes))
    return Benchmark(job, reference, "20,000 positions to stacked np.linalg.solve")


def machine_code(_: Path) -> Benchmark:
    """The solver through llvmlite."""
    model, reference = _stacked()
    solver = model.kernel
    variants = solver.variants(model.variants.design[:1], model.variants.rack_axis[:1])
    lanes = solver.lanes(variants, np.random.default_rng(2).uniform(-40.0, 40.0, POSITIONS))
    said = "20,000 positions, machine code, to stacked np.linalg.solve"
    job = _by("llvm", lambda: solver.solve(variants, lanes))
    return Benchmark(job, reference, said, runs=3 * RUNS)  # it takes 2 ms


def one_by_one(_: Path) -> Benchmark:
    """The solver beside SciPy's root."""
    model, _stacked_positions = _stacked()
    solver = model.kernel
    variants = solver.variants(model.variants.design[:1], model.variants.rack_axis[:1])
    travel = np.random.default_rng(2).uniform(-40.0, 40.0, POSITIONS)
    lanes = solver.lanes(variants, travel)
    corner = natural.Corner(dict(zip(model.linkage.points, model.variants.design[0], strict=True)))
    said = f"20,000 positions to {ROOTS} by scipy.optimize.root"
    return Benchmark(
        _by("numpy", lambda: solver.solve(variants, lanes)), lambda: natural.one_by_one(corner, travel[:ROOTS]), said
    )


def _by(engine: EngineName, job: Job) -> Job:
    def run() -> None:
        with using_engine(engine):
            job()

    return run


def closed_form(_: Path) -> Benchmark:
    """The solver as machine code beside a hand-written chain of circles, compiled (needs numba)."""
    return _beside_closed_form("llvm", "machine code")


def closed_form_numpy(_: Path) -> Benchmark:
    """The same without the extra."""
    return _beside_closed_form("numpy", "numpy alone")


def _beside_closed_form(engine: EngineName, how: str) -> Benchmark:
    from tests.speed import closed_form as chain_of

    model, _unused = _stacked()
    solver, travel = model.kernel, np.random.default_rng(2).uniform(-40.0, 40.0, 5 * POSITIONS)
    variants = solver.variants(model.variants.design[:1], model.variants.rack_axis[:1])
    lanes = solver.lanes(variants, travel)
    made = chain_of.chain(dict(zip(model.linkage.points, model.variants.design[0], strict=True)), 40.0)
    out, angle = np.empty((12, len(travel))), np.empty(len(travel))

    def rival() -> None:
        chain_of.solve(made.vectors, made.scalars, made.polynomial, travel, out, angle)

    said = f"100,000 positions, {how}, to a compiled closed form of the same corner"
    return Benchmark(_by(engine, lambda: solver.solve(variants, lanes)), rival, said)


def many_cars(_: Path) -> Benchmark:
    """The solver over cars that all differ."""
    model, reference = _stacked()
    solver, design = model.kernel, model.variants.design[0]
    designs = design + np.random.default_rng(1).normal(0.0, 0.5, (400, *design.shape))
    at = np.linspace(-40.0, 40.0, 81)

    def run() -> None:
        variants = solver.variants(designs, model.variants.rack_axis[0])
        solver.solve(variants, solver.lanes(variants, at))

    return Benchmark(_by("llvm", run), reference, "400 cars in 81 positions, machine code, to 20,000 stacked ones")


def across(folder: Path) -> Benchmark:
    """Both sides as one system, with two travels: it may take three times as long as two corners."""
    return _across(folder, ACROSS_FEW)


def across_many(folder: Path) -> Benchmark:
    """The same in many positions."""
    return _across(folder, ACROSS_MANY)


def _across(folder: Path, positions: int) -> Benchmark:
    one = AxleModel.of(demo_car(folder / "across", "one spring across"), "rear")
    two = AxleModel.of(kin3d.load(DUNLIN), "front")
    travel = np.random.default_rng(2).uniform(-30.0, 30.0, (2, positions))
    lanes = [m.pair(travel, np.zeros(positions)) for m in (one, two)]
    said = f"one spring across in {positions:,} positions of two travels to both corners of Dunlin; 3 is the limit"
    jobs = (lambda m=m, here=here: m.kernel.solve(m.variants, here) for m, here in zip((one, two), lanes, strict=True))
    return Benchmark(_by("numpy", next(jobs)), _by("numpy", next(jobs)), said)


def sweep(_: Path) -> Benchmark:
    """Solver and all measures."""
    from kin3d.studies.sweep import sweep as study

    car, (_model, reference) = kin3d.load(DUNLIN), _stacked()
    travel, rack = np.linspace(-40.0, 40.0, 81), np.linspace(-15.0, 15.0, 11)
    said = "every measure in 891 positions of both sides to 20,000 positions by stacked np.linalg.solve"
    return Benchmark(lambda: study(car, "front", travel, rack), reference, said)


def tolerance(_: Path) -> Benchmark:
    """Sampled cars in one process."""
    from kin3d.studies.tolerance import tolerance as study

    car, (_model, reference) = kin3d.load(DUNLIN), _stacked()
    travel = np.linspace(-40.0, 40.0, 9)
    said = "1,000 sampled cars in 9 positions to 20,000 positions by stacked np.linalg.solve"
    return Benchmark(lambda: study(car, "front", travel, samples=1000, workers=1), reference, said, 3)


def drawing(folder: Path) -> Benchmark:
    """Reading a sheet."""
    import ezdxf

    from kin3d.reading.dxf import read_drawing
    from tests.speed.drawing import drawing as draw
    from tests.unit.drawn import plan_of, three_views

    path, views = draw(5_000, folder / "d.dxf"), plan_of(three_views())
    said = "pickup points of a drawing of 5,000 entities to ezdxf.readfile of the same file"
    return Benchmark(lambda: read_drawing(path, views=views), lambda: ezdxf.readfile(path), said, 3)


def start(_: Path) -> Benchmark:
    """A fresh process."""
    words = ["-m", "kin3d", "sweep", str(DUNLIN), "--axle", "front", "--travel=-40:40:1"]
    said = "a fresh kin3d sweep of 81 positions to a fresh import of numpy, typer, pydantic, rich"
    return Benchmark(lambda: start_up.seconds(words), lambda: start_up.seconds(start_up.IMPORTS), said)


def page(folder: Path) -> Benchmark:
    """The main job."""
    cars = [str(DUNLIN), str(DUNLIN.parents[1] / "plover" / "car.toml")]
    words = ["-m", "kin3d", "report", *cars, "--out", str(folder / "page.html")]
    said = "a fresh kin3d report of two cars to a fresh import of numpy, typer, pydantic, rich"
    return Benchmark(lambda: start_up.seconds(words), lambda: start_up.seconds(start_up.IMPORTS), said, 3)


def shell(engine: EngineName) -> Callable[[Path], Benchmark]:
    """A big study of one command, from its start to its tables."""

    def benchmark(_: Path) -> Benchmark:
        words = ["-m", "kin3d", "tolerance", str(DUNLIN), "--measures", ",".join(_on_tape()), "--engine", engine]
        said = f"a fresh kin3d tolerance of 20,000 cars in 41 positions, {engine}, to a fresh import of its libraries"
        return Benchmark(lambda: start_up.seconds(words), lambda: start_up.seconds(start_up.IMPORTS), said, 3)

    return benchmark


def _on_tape() -> list[str]:
    """Every measure of Dunlin's front corner but those that no tape is made of."""
    from kin3d.studies.corner_model import CornerModel
    from kin3d.studies.registry import corner_measures

    there, _ = CornerModel.of(kin3d.load(DUNLIN), "front").available(corner_measures("front"))
    return [m.name for m in there if not m.by_lanes]


BENCHMARKS: dict[str, Callable[[Path], Benchmark]] = {
    "kernel": kernel,
    "one_by_one": one_by_one,
    "across": across,
    "across_many": across_many,
    "machine_code": machine_code,
    "closed_form": closed_form,
    "closed_form_numpy": closed_form_numpy,
    "many_cars": many_cars,
    "sweep": sweep,
    "tolerance": tolerance,
    "drawing": drawing,
    "start_up": start,
    "report": page,
    "shell": shell("auto"),
    "shell_numpy": shell("numpy"),
}


def compare(found: dict[str, float], kept: dict[str, float], allowed_pct: float) -> dict[str, str]:
    """What is to be said about each ratio; empty where it is as it was or better."""
    said = {}
    for name, ratio in found.items():
        if name not in kept:
            said[name] = "not in the baseline"
        elif ratio > kept[name] * (1.0 + allowed_pct / 100.0):
            said[name] = "slower"
        else:
            said[name] = ""
    return said


def _remember(found: dict[str, float]) -> None:
    """Add the ratios to the history."""
    day = time.strftime("%Y-%m-%d")
    with HISTORY.open("a", encoding="utf-8") as file:
        file.writelines(f"{day},{name},{ratio:.3g}\n" for name, ratio in found.items())


def main(words: list[str]) -> int:
    """Measure, print, and compare with the baseline or write it."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--only", help="names with commas", default=",".join(BENCHMARKS))
    parser.add_argument("--allow", type=float, default=ALLOWED_PCT, help="per cent over the kept ratio")
    parser.add_argument("--keep", action="store_true", help="write the ratios to baseline.json")
    asked = parser.parse_args(words)
    names = asked.only.split(",")
    unknown = [n for n in names if n not in BENCHMARKS]
    if unknown:
        parser.error(f"no benchmark {', '.join(unknown)}; there are: {', '.join(BENCHMARKS)}")
    kept: dict[str, float] = json.loads(BASELINE.read_text("utf-8")) if BASELINE.exists() else {}
    table = Table()
    for heading in ("", "ratio", "kept", "", "what"):
        table.add_column(heading, justify="right" if heading in ("ratio", "kept") else "left")
    found: dict[str, float] = {}
    with tempfile.TemporaryDirectory() as folder:
        for name in names:
            benchmark = BENCHMARKS[name](Path(folder))
            found[name] = benchmark.ratio()
            said = compare(found, kept, asked.allow)[name]
            before = f"{kept[name]:.3f}" if name in kept else ""
            table.add_row(name, f"{found[name]:.3f}", before, said, benchmark.said)
    Console().print(table)
    if asked.keep:
        text = json.dumps(kept | {n: float(f"{r:.3g}") for n, r in found.items()}, indent=1)
        BASELINE.write_text(text + "\n", "utf-8")
        _remember(found)
        return 0
    return int(any(compare(found, kept, asked.allow).values()))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
