"""``kin3d compare``: what changed between cars, which points did it, and may one say so."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

import kin3d
from kin3d.cli import options as opt
from kin3d.cli.cluster import executor_at
from kin3d.cli.progress import progress_bar
from kin3d.cli.screen import Screen, check_places
from kin3d.solve.engine import using_engine


def compare(
    screen: Screen,
    cars: Annotated[
        list[Path], typer.Argument(help="Two or more car files; each is set against the first.", show_default=False)
    ],
    axle: opt.OneAxle = "front",
    travel: opt.Over = None,
    heave: opt.Heave = None,
    roll: opt.Roll = None,
    pitch: opt.Pitch = None,
    lateral: opt.Lateral = None,
    rack: opt.Rack = 0.0,
    measures: opt.Measures = None,
    sigma: opt.Sigma = None,
    samples: opt.SampleCount = 4_000,
    threshold: opt.Threshold = 0.95,
    scale: opt.ScaleTo = "none",
    align: opt.AlignWheels = False,
    side: opt.OneSide = None,
    seed: opt.Seed = 1,
    out: opt.Out = None,
    parts: Annotated[Path | None, typer.Option(help="Write the parts of each difference: .csv or .json.")] = None,
    plot: opt.Plot = None,
    narrow: opt.Narrow = False,
    causes: Annotated[Path | None, typer.Option(help="Draw what makes the differences: .png, .svg or .pdf.")] = None,
    figure: Annotated[
        Path | None, typer.Option(help="Draw the finding: both cars over each other, and why: .svg, .png or .pdf.")
    ] = None,
    workers: opt.Workers = 0,
    cluster: opt.Cluster = None,
    engine: opt.Engine = None,
) -> None:
    """Compare corners: points that moved, measures with the uncertainty of their difference, and what causes it.

    With --heave, --roll or --pitch both wheels stand on the ground, and measures of the axle and of the car join; one
    of the drives may be a range, a single value is held. Measures that need it are put on the ground in any case. With
    --lateral each car stands as it settles in a turn.

    Example:  kin3d compare models/dunlin/car.toml models/plover/car.toml --figure why.svg --plot curves.png
    """
    check_places({"--out": out, "--parts": parts}, {"--plot": plot, "--causes": causes, "--figure": figure})
    read = opt.cars_of(cars)
    usual = opt.usual_travel(read[0], measures, "-40:40:5")
    drives: dict[str, Any] = opt.drives_of(travel, heave, roll, pitch, lateral, usual)
    bar = progress_bar("Sampled cars", len(read) * samples * max(map(len, drives.values()), default=1))
    with using_engine(engine), bar as advance, executor_at(cluster, advance.say if advance else None) as executor:
        result = kin3d.compare(
            read,
            axle,
            measures=opt.names_of(measures),
            **drives,
            rack=rack,
            side=side,
            sigma=sigma,
            samples=samples,
            seed=seed,
            threshold=threshold,
            scale=scale,
            align=align,
            workers=opt.processes(workers),
            executor=executor,
            progress=advance,
        )
    screen.show(result)
    screen.save(result, out, "differences")
    screen.save(result, parts, "parts")
    screen.plot(result, plot, "Curves", narrow=narrow)
    screen.plot(result, figure, "Finding", narrow=narrow, figure="why")
    screen.findings(*(car.findings for car in read), result.findings)
    screen.plot(result, causes, "Causes", narrow=narrow, figure="causes")
    if any(f.code == "out-of-reach" for f in result.findings):
        screen.fail()
