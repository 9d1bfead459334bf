"""``kin3d compare``: what changed between cars, which points did it, and may one say so."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from kin3d.cli.options import Measures, Seed, Sigma, Travel, Workers, names_of, processes
from kin3d.cli.screen import Screen, check_places
from kin3d.cli.shared import parse_values
from kin3d.linkage.names import AxleName, Side
from kin3d.studies.fit import Scale


def compare(
    screen: Screen,
    cars: Annotated[
        list[Path], typer.Argument(help="Two or more car files; each is set against the first.", show_default=False)
    ],
    axle: Annotated[AxleName, typer.Option(help="Which axle.")] = "front",
    travel: Travel = "-40:40:5",
    measures: Measures = None,
    sigma: Sigma = None,
    samples: Annotated[int, typer.Option(help="Sampled cars for bands and probabilities; 0: first order.")] = 4_000,
    threshold: Annotated[float, typer.Option(help="Probability from which on a difference can be said.")] = 0.95,
    scale: Annotated[Scale, typer.Option(help="Scale the other cars to the first one's track or wheelbase.")] = "none",
    align: Annotated[bool, typer.Option(help="Set the other cars' wheel centres on the first one's (x, z).")] = False,
    side: Annotated[Side | None, typer.Option(help="Default: the side of the first car's points.")] = None,
    seed: Seed = 1,
    out: Annotated[Path | None, typer.Option(help="Write differences and verdicts: .csv, .json or .nc.")] = None,
    parts: Annotated[Path | None, typer.Option(help="Write the parts of each difference: .csv.")] = None,
    plot: Annotated[Path | None, typer.Option(help="Draw the curves over each other: .png, .svg or .pdf.")] = None,
    causes: Annotated[Path | None, typer.Option(help="Draw what makes the differences: .png, .svg or .pdf.")] = None,
    workers: Workers = 0,
) -> None:
    """Compare corners: points that moved, measures with the uncertainty of their difference, and what causes it.

    Example:  kin3d compare models/dunlin/car.toml models/plover/car.toml --plot curves.png --causes causes.png
    """
    from kin3d import load
    from kin3d.studies.compare import compare as study

    check_places(tables={"--out": out, "--parts": parts}, pictures={"--plot": plot, "--causes": causes})
    travels = parse_values(travel, "--travel")
    read = [load(car) for car in cars]
    result = study(
        read,
        axle,
        travels,
        names_of(measures),
        side=side,
        sigma_mm=sigma,
        samples=samples,
        seed=seed,
        threshold=threshold,
        scale=scale,
        align=align,
        workers=processes(workers),
    )
    screen.show(result)
    for place, key in ((out, "differences"), (parts, "parts")):
        if place:
            screen.save(result, place, key)
    if plot:
        screen.plot(result, plot, "Curves")
    if causes:
        result.plot(causes, figure="causes")
        screen.say(f"Causes drawn to {causes}")
    screen.findings(*(car.findings for car in read), result.findings)
