"""``kin3d tolerance``: how far each figure may be believed."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

import kin3d
from kin3d.cli import options as opt
from kin3d.cli.cluster import executor_at
from kin3d.cli.progress import progress_bar
from kin3d.cli.screen import Screen, check_places
from kin3d.solve.engine import using_engine


def tolerance(
    screen: Screen,
    car: opt.CarPath,
    axle: opt.OneAxle = "front",
    travel: opt.Over = None,
    heave: opt.Heave = None,
    roll: opt.Roll = None,
    pitch: opt.Pitch = None,
    lateral: opt.Lateral = None,
    rack: opt.Rack = 0.0,
    samples: opt.SampleCount = 20_000,
    sigma: opt.Sigma = None,
    seed: opt.Seed = 1,
    measures: opt.Measures = None,
    side: opt.OneSide = None,
    out: opt.Out = None,
    shares: Annotated[
        Path | None, typer.Option(help="Write which coordinate causes how much of the variance: .csv or .json.")
    ] = None,
    plot: opt.Plot = None,
    narrow: opt.Narrow = False,
    workers: opt.Workers = 0,
    cluster: opt.Cluster = None,
    engine: opt.Engine = None,
) -> None:
    """Carry the standard deviations of the points to every measure over wheel travel, heave, roll or pitch.

    Deviations come from the point table (sigma), the drawing, tables [[front.shared_error]] of the car file for errors
    that points have in common, and --sigma for whatever has none. Shown are first order (exact derivatives) and sampled
    cars, one beside the other, bands of 68 and 95 %, and which coordinates cause most of each variance.

    Example:  kin3d tolerance models/dunlin/car.toml --plot bands.png
    """
    check_places({"--out": out, "--shares": shares}, {"--plot": plot})
    read = kin3d.load(car)
    drives = opt.drives_of(travel, heave, roll, pitch, lateral, opt.usual_travel(read, measures, "-40:40:2"))
    size = samples * max(map(len, drives.values()), default=1)
    bar = progress_bar("Sampled cars", size)
    with using_engine(engine), bar as advance, executor_at(cluster, advance.say if advance else None) as executor:
        result = kin3d.tolerance(
            read,
            axle,
            measures=opt.names_of(measures),
            **drives,
            rack=rack,
            sigma=sigma,
            samples=samples,
            seed=seed,
            side=side,
            workers=opt.processes(workers),
            executor=executor,
            progress=advance,
        )
    screen.show(result)
    screen.save(result, out, "bands")
    screen.save(result, shares, "shares")
    screen.plot(result, plot, "Bands", narrow=narrow)
    screen.findings(read.findings, result.findings)
    if any(f.code == "out-of-reach" for f in result.findings):
        screen.fail()
