"""The options that commands share, with their help, and how what is typed becomes values."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Literal

import typer

from kin3d.errors import Finding, Kin3dError, RequestError, raise_errors
from kin3d.linkage.car import Car
from kin3d.linkage.names import AxleName, Side
from kin3d.solve.engine import EngineName

RANGE = "START:STOP:STEP with both ends, one value, or a comma list"
MOST_VALUES = 200_000
LARGEST = 1e7  # of a travel, angle or load that is typed

CarPath = Annotated[Path, typer.Argument(help="The car file (TOML).", show_default=False)]
OneAxle = Annotated[AxleName, typer.Option(help="Which axle.")]
AnyAxle = Annotated[AxleName | None, typer.Option(help="Only this axle. Default: all that there are.")]
Over = Annotated[
    str | None, typer.Option(help=f"Wheel travel in mm: {RANGE}. Default -40:40 without the drives below.")
]
Heave = Annotated[
    str | None, typer.Option(help="In place of travel, wheels on the ground: mean travel in mm, one value or a range.")
]
Roll = Annotated[str | None, typer.Option(help="Roll of the body in degrees, left side up positive.")]
Pitch = Annotated[
    str | None, typer.Option(help="Pitch of the body in degrees, nose down positive; needs both axles.")
]
Lateral = Annotated[
    str | None, typer.Option(help=f"In place of all: each car settled under so many g, to the left positive: {RANGE}.")
]
Travel = Annotated[str, typer.Option(help=f"Wheel travel in mm: {RANGE}.")]
Rack = Annotated[float, typer.Option(help="Rack displacement in mm; to the left positive.")]
Measures = Annotated[
    str | None,
    typer.Option(help="Names of measures, with commas; `kin3d measures` lists them. Default: all, the usual shown."),
]
Sigma = Annotated[
    float | None,
    typer.Option(help="Standard deviation in mm of every coordinate to which the file gives none."),
]
SampleCount = Annotated[int, typer.Option(help="Sampled cars for bands and probabilities; 0: first order alone.")]
Seed = Annotated[int, typer.Option(help="Seed of the samples: the same seed gives the same figures.")]
Threshold = Annotated[float, typer.Option(help="Level of verdicts: of lines without a difference, the rest is said.")]
ScaleTo = Annotated[
    Literal["none", "track", "wheelbase"],
    typer.Option(help="Scale the other cars to the first one's track or wheelbase."),
]
AlignWheels = Annotated[bool, typer.Option(help="Set the other cars' wheel centres on the first one's (x, z).")]
OneSide = Annotated[Side | None, typer.Option(help="Default: the side that the points were given for.")]
Workers = Annotated[int, typer.Option(help="Processes for big studies; 0: one a processor.")]
Cluster = Annotated[
    str | None,
    typer.Option(help="Dask scheduler (tcp://HOST:PORT) whose workers solve the samples.", metavar="ADDRESS"),
]
Engine = Annotated[
    EngineName | None,
    typer.Option(help="What runs many positions: numpy, or machine code through llvmlite. Default: what is quicker."),
]
Out = Annotated[Path | None, typer.Option(help="Write the result: .csv, .json or .nc.")]
OutTables = Annotated[Path | None, typer.Option(help="Write the result: .csv or .json.")]
Plot = Annotated[Path | None, typer.Option(help="Draw it: .png, .svg or .pdf.")]
Narrow = Annotated[bool, typer.Option("--narrow", help="Draw for a phone: panels below one another.")]


def names_of(names: str | None) -> list[str] | None:
    """Names of a list with commas; None when it is not given."""
    return None if names is None else [n.strip() for n in names.split(",") if n.strip()]


def cars_of(paths: Sequence[Path]) -> list[Car]:
    """Read car files; what is wrong with any of them is told at once."""
    from kin3d.studies.loading import load  # slow to import, and commands read options first

    cars: list[Car] = []
    findings: list[Finding] = []
    for path in paths:
        try:
            cars.append(load(path))
        except Kin3dError as error:
            findings += error.findings
    raise_errors(findings, RequestError)
    return cars


def processes(workers: int) -> int:
    """Number of processes that the option stands for; never more than there are processors: they would only wait.

    Raises
    ------
    RequestError
        For a number below 0.
    """
    if workers < 0:
        raise RequestError(Finding("workers", f"--workers is {workers}; 0 (one a processor) or more is expected"))
    there = os.cpu_count() or 1
    return min(workers, there) if workers else there


def parse_drives(given: Sequence[str]) -> dict[str, list[float]]:
    """Read ``NAME=START:STOP:STEP`` of drives, each once.

    Raises
    ------
    RequestError
        For what has no name or no values, and a name that stands twice.
    """
    out: dict[str, list[float]] = {}
    for text in given:
        name, equals, values = text.partition("=")
        if not equals or not name.strip():
            raise RequestError(Finding("drive-form", f'--drive "{text}": expected NAME={RANGE}'))
        if name.strip() in out:
            raise RequestError(Finding("drive-twice", f'--drive {name.strip()} is given twice; once is expected'))
        out[name.strip()] = parse_values(values, f"--drive {name.strip()}")
    return out


def parse_values(text: str, option: str) -> list[float]:
    """Read ``START:STOP:STEP`` (both ends included), one value, or a comma list.

    Raises
    ------
    RequestError
        With the option's name and what was expected.
    """
    expected = "expected START:STOP:STEP (both ends included, e.g. -40:40:2.5), one value, or a comma list"
    try:
        numbers = [float(part) for part in text.split(":" if ":" in text else ",")]
        if not all(abs(v) <= LARGEST for v in numbers):
            what = f"beyond {LARGEST:g}" if all(abs(v) < float("inf") for v in numbers) else "not a finite number"
            raise RequestError(Finding("range", f'{option} "{text}": {what}; {expected}'))
        if ":" not in text:
            return numbers
        start, stop, step = numbers
        return _range(start, stop, step)
    except ValueError as problem:
        raise RequestError(Finding("range", f'{option} "{text}": {expected}{_why(problem)}')) from None


def usual_travel(car: Car, measures: str | None, usual: str) -> str | None:
    """The range of travel where none is given; None where forces of the settled car are asked, which has its own."""
    from kin3d.loads.force_measures import settled_names

    return None if settled_names(names_of(measures) or (), car.cases) else usual


def drives_of(
    travel: str | None,
    heave: str | None,
    roll: str | None,
    pitch: str | None,
    lateral: str | None,
    default: str | None,
) -> dict[str, list[float]]:
    """Values of the drives that are given, by name; of travel by default, none where that is None."""
    given = {"travel": travel, "heave": heave, "roll": roll, "pitch": pitch, "lateral": lateral}
    if lateral is not None and any(v is not None for n, v in given.items() if n != "lateral"):
        text = "--lateral settles the car; give it without --travel, --heave, --roll and --pitch"
        raise RequestError(Finding("drives-mixed", text))
    there = {name: text for name, text in given.items() if text is not None}
    if not there and default is not None:
        there = {"travel": default}
    return {name: parse_values(text, f"--{name}") for name, text in there.items()}


def _why(problem: ValueError) -> str:
    said = str(problem)
    return f" ({said})" if said.startswith("the ") else ""


def _range(start: float, stop: float, step: float) -> list[float]:
    if not step or (stop - start) / step < 0:
        raise ValueError("the step must lead from START to STOP")
    count = (stop - start) / step
    if not count < MOST_VALUES:
        raise ValueError(f"the range has more than {MOST_VALUES:,} values")
    whole = round(count)
    if abs(count - whole) > 1e-9 * max(1.0, abs(count)):
        raise ValueError("the step does not divide the range, so that STOP would be left out")
    # rounded so that -40:40:0.1 gives 0.3 and not 0.30000000000000004
    return [round(start + k * step, 9) + 0.0 for k in range(whole + 1)]
