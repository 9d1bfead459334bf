"""``kin3d tolerance``: how far each figure may be believed."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from kin3d.cli.options import Measures, Seed, Sigma, Travel, Workers, names_of, processes
from kin3d.cli.screen import Screen, check_places
from kin3d.cli.shared import parse_values
from kin3d.linkage.names import AxleName, Side


def tolerance(
    screen: Screen,
    car: Annotated[Path, typer.Argument(help="The car file (TOML).", show_default=False)],
    axle: Annotated[AxleName, typer.Option(help="Which axle.")] = "front",
    travel: Travel = "-40:40:2",
    samples: Annotated[int, typer.Option(help="Sampled cars; 0: first order alone.")] = 20_000,
    sigma: Sigma = None,
    seed: Seed = 1,
    measures: Measures = None,
    side: Annotated[Side | None, typer.Option(help="Default: the side that the points were given for.")] = None,
    out: Annotated[Path | None, typer.Option(help="Write values, deviations and bands: .csv, .json or .nc.")] = None,
    shares: Annotated[Path | None, typer.Option(help="Write which coordinate causes how much of it: .csv.")] = None,
    plot: Annotated[Path | None, typer.Option(help="Draw curves with bands: .png, .svg or .pdf.")] = None,
    workers: Workers = 0,
) -> None:
    """Carry the standard deviations of the points to every measure over wheel travel.

    Deviations come from the point table (sigma), the drawing, tables [[front.shared_error]] of the car file for errors
    that points have in common, and --sigma for whatever has none. Shown are first order (exact derivatives) and sampled
    cars, one beside the other, bands of 68 and 95 %, and which coordinates cause most of each variance.

    Example:  kin3d tolerance models/dunlin/car.toml --plot bands.png
    """
    from kin3d import load
    from kin3d.cli.progress import progress_bar
    from kin3d.studies.tolerance import tolerance as study

    check_places(tables={"--out": out, "--shares": shares}, pictures={"--plot": plot})
    travels = parse_values(travel, "--travel")
    read = load(car)
    with progress_bar("Sampled cars", samples * len(travels)) as advance:
        result = study(
            read,
            axle,
            travels,
            names_of(measures),
            sigma_mm=sigma,
            samples=samples,
            seed=seed,
            side=side,
            workers=processes(workers),
            progress=advance,
        )
    screen.show(result)
    for place, key in ((out, "bands"), (shares, "shares")):
        if place:
            screen.save(result, place, key)
    if plot:
        screen.plot(result, plot, "Bands")
    screen.findings(read.findings, result.findings)
