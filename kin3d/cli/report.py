"""``kin3d report``: one page to hand on."""

from __future__ import annotations

import shlex
import sys
from pathlib import Path
from typing import Annotated

import typer

import kin3d
from kin3d.cli import options as opt
from kin3d.cli.cluster import executor_at
from kin3d.cli.progress import doing
from kin3d.cli.screen import Screen, check_endings
from kin3d.solve.engine import using_engine


def report(
    screen: Screen,
    cars: Annotated[list[Path], typer.Argument(help="One car file, or several to compare.", show_default=False)],
    out: Annotated[Path, typer.Option(help="The page: .html; or its tables: .csv, .json.")] = Path("report.html"),
    axle: opt.AnyAxle = None,
    travel: opt.Travel = "-40:40:2.5",
    sigma: opt.Sigma = None,
    samples: opt.SampleCount = 4_000,
    threshold: opt.Threshold = 0.95,
    scale: opt.ScaleTo = "none",
    align: opt.AlignWheels = False,
    scene: Annotated[bool, typer.Option(help="With the linkage in motion in the page.")] = True,
    case: Annotated[str, typer.Option(help="Load case whose forces the linkage in motion shows.")] = "",
    seed: opt.Seed = 1,
    workers: opt.Workers = 0,
    cluster: opt.Cluster = None,
    engine: opt.Engine = None,
) -> None:
    """Write one self-contained page: what was read, curves with bands, constructions, comparison and its causes.

    It opens offline in any browser, and reads well on paper and on a phone.

    Example:  kin3d report models/dunlin/car.toml models/plover/car.toml --out report.html
    """
    check_endings([(out, (".html", ".csv", ".json"), "--out")])
    travels = opt.parse_values(travel, "--travel")
    read = opt.cars_of(cars)
    with using_engine(engine), doing() as told, executor_at(cluster, told) as executor:
        result = kin3d.report(
            read,
            axle,
            travels,
            sigma=sigma,
            samples=samples,
            seed=seed,
            threshold=threshold,
            scale=scale,
            align=align,
            scene=scene,
            case=case,
            command=shlex.join(["kin3d", *sys.argv[1:]]),
            workers=opt.processes(workers),
            executor=executor,
            doing=told,
        )
        if told:
            told("tables and pictures")
        result.save(out)
    screen.say(f"Report written to {out}")
    screen.findings(*(car.findings for car in read), result.data.findings)
