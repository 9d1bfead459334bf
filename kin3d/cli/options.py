"""Options that the studies of uncertainty and difference have in common, with their help."""

from __future__ import annotations

import os
from typing import Annotated

import typer

Travel = Annotated[
    str, typer.Option(help="Wheel travel in mm: START:STOP:STEP with both ends, one value, or a comma list.")
]
Measures = Annotated[
    str | None,
    typer.Option(help="Names of measures, with commas; `kin3d measures` lists them. Default: all, the usual shown."),
]
Sigma = Annotated[
    float | None,
    typer.Option(help="Standard deviation in mm of every coordinate to which the file gives none."),
]
Seed = Annotated[int, typer.Option(help="Seed of the samples: the same seed gives the same figures.")]
Workers = Annotated[int, typer.Option(help="Processes for big studies; 0: one a processor.")]


def names_of(measures: str | None) -> list[str] | None:
    """Names of a list with commas; None when it is not given."""
    return [n.strip() for n in measures.split(",") if n.strip()] if measures else None


def processes(workers: int) -> int:
    """Number of processes that the option stands for."""
    return max(1, workers) if workers else (os.cpu_count() or 1)
