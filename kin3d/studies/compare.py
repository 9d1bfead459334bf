"""Compare corners of cars: which points moved, what that changed, which points did it, and whether one may say so."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError, Severity
from kin3d.linkage.car import AxleName, Car, Side
from kin3d.measures.table import Measure
from kin3d.solve.status import Status
from kin3d.studies.attribution import attribute
from kin3d.studies.common import common_corners
from kin3d.studies.comparison import Comparison, Entry, Pair
from kin3d.studies.corner_model import CornerModel
from kin3d.studies.derive import derive
from kin3d.studies.first_order import first_order
from kin3d.studies.fit import Fit, Scale, fit
from kin3d.studies.monte_carlo import Samples, Study, draw
from kin3d.studies.point_changes import planes_of, point_changes
from kin3d.studies.sample_statistics import spread_of
from kin3d.studies.significance import KINDS, THRESHOLD, Figures, Line, figures, lines
from kin3d.studies.sweep import chosen_measures
from kin3d.studies.tolerance import SEED, Tolerance
from kin3d.studies.uncertainty import uncertainty_of

Array = NDArray[np.float64]
SAMPLES = 4_000
INDEPENDENT = (
    "The errors of the cars are taken as independent. Points taken off in the same way may err alike; the difference "
    "is then better known than said here."
)
ONE_BY_ONE = "Each line is judged by itself: among many lines some are wrong by chance, one in twenty at 95 %."


def compare(
    cars: Sequence[Car],
    axle: AxleName,
    travel_mm: Sequence[float] | Array,
    measures: Sequence[str] | None = None,
    *,
    side: Side | None = None,
    sigma_mm: float | None = None,
    samples: int = SAMPLES,
    seed: int = SEED,
    threshold: float = THRESHOLD,
    scale: Scale = "none",
    align: bool = False,
    workers: int = 1,
    least: int = 2,
    progress: Callable[[int, int], None] | None = None,
) -> Comparison:
    """Compare the first car with each of the others.

    Parameters
    ----------
    cars : sequence of Car
        `least` or more.
    side : {"left", "right"}, optional
        Default the side that the first car's points were given for; points given for the other side are mirrored.
    sigma_mm : float, optional
        Standard deviation of every coordinate to which a file gives none.
    samples : int
        Sampled cars for the probabilities; 0: normal distributions of first order.
    threshold : float
        Probability from which on the sign of a difference can be said.
    scale, align
        See `fit.fit`.
    least : int
        How many cars there must be; of one car alone there are no pairs, and its entry has its curves and uncertainty.

    Raises
    ------
    RequestError
        For too few cars, a threshold outside 0.5 to 1, or an axle or measure that is not there.
    """
    _refuse(cars, threshold, least)
    fits = [Fit(cars[0], 1.0, np.zeros(3), ()), *(fit(c, axle, cars[0], scale, align) for c in cars[1:])]
    corners = [CornerModel.of(f.car, axle, side or CornerModel.of(cars[0], axle).side) for f in fits]
    travel, findings = _reached(corners, np.atleast_1d(np.asarray(travel_mm, dtype=float)))
    wanted = chosen_measures(axle, measures)
    runs = []
    for k, (one, corner) in enumerate(zip(fits, corners, strict=True)):
        there, left_out = corner.available(wanted)
        study = Study(one.car, axle, corner.side, sigma_mm, travel, tuple(m.name for m in there), rates=True)
        runs.append(_run(f"{chr(65 + k)}", one, corner, study, there, left_out, samples, seed + k, workers))
        if progress:
            progress(k + 1, len(fits))
    pairs = tuple(_pair(runs[0], other, axle, wanted, travel, threshold) for other in runs[1:])
    entries = tuple(r[0] for r in runs)
    return Comparison(axle, corners[0].side, travel, entries, pairs, threshold, findings)


Run = tuple[Entry, Samples | None]


def _run(
    label: str,
    fitted: Fit,
    corner: CornerModel,
    study: Study,
    there: tuple[Measure, ...],
    left_out: dict[str, str],
    samples: int,
    seed: int,
    workers: int,
) -> Run:
    """Curves, derivatives and samples of one car."""
    uncertainty = uncertainty_of(corner, study.sigma_mm)
    first = first_order(corner, uncertainty, study.travel_mm, there)
    drawn = draw(study, samples, seed, workers, side=corner) if samples and uncertainty.known else None
    spread = None if drawn is None else spread_of(drawn)
    curves = Tolerance(
        fitted.car.title, study.axle, corner.side, study.travel_mm, there, uncertainty, first, spread, left_out, ()
    )
    return Entry(label, fitted, corner, curves, planes_of(corner)), drawn


def _pair(a: Run, b: Run, axle: AxleName, wanted: Sequence[Measure], travel: Array, threshold: float) -> Pair:
    ours, theirs = a[0].tolerance, b[0].tolerance
    missing = {**ours.left_out, **theirs.left_out}
    both = tuple(m for m in ours.measures if m.name not in missing)
    found: list[Line] = []
    for kind in KINDS:
        sides = []
        for entry, drawn in (a, b):
            rows = [entry.tolerance.row(m.name) for m in both]
            sides.append(_rows(figures(kind, entry.tolerance.first, drawn, entry.known), rows))
        found += lines(both, kind, sides[0], sides[1], threshold)
    common = common_corners(a[0].fit.car, b[0].fit.car, axle, a[0].corner.side)
    changed, lone = point_changes(a[0].corner, b[0].corner)
    return Pair(
        a=a[0],
        b=b[0],
        moves=changed,
        lone=lone,
        lines=tuple(found),
        attribution=attribute(common, [m for m in wanted if m in both], travel),
        not_compared=missing,
        cautions=_cautions(a[0], b[0]),
    )


def _rows(whole: Figures, rows: list[int]) -> Figures:
    return Figures(whole.value[rows], whole.sigma[rows], None if whole.drawn is None else whole.drawn[rows])


def _cautions(a: Entry, b: Entry) -> tuple[str, ...]:
    unknown = [e.title for e in (a, b) if not e.known]
    if len(unknown) == 2:
        return ("Neither car's points carry deviations, so that nothing is said of how sure the differences are.",)
    said = [f"The points of {t} carry no deviations and are taken as exact." for t in unknown]
    return (*said, INDEPENDENT, ONE_BY_ONE)


def _reached(corners: Sequence[CornerModel], travel: Array) -> tuple[Array, tuple[Finding, ...]]:
    """Positions that all corners reach; a finding for those that are left out."""
    good = np.ones(len(travel), dtype=bool)
    for corner in corners:
        variants = corner.variants(corner.design)
        good &= derive(corner, variants, corner.model.kernel.lanes(variants, travel), ()).status == Status.OK
    if good.all():
        return travel, ()
    where = ", ".join(f"{t:+g}" for t in travel[~good])
    if not good.any():
        raise RequestError(Finding("out-of-reach", f"travel {where} mm: none of it is reached by all cars"))
    text = f"travel {where} mm is not reached by all cars and is left out of curves and ranges (kin3d sweep says why)"
    return travel[good], (Finding("out-of-reach", text, severity=Severity.WARNING),)


def _refuse(cars: Sequence[Car], threshold: float, least: int) -> None:
    findings = []
    if len(cars) < least:
        findings.append(Finding("cars-few", f"{len(cars)} car given; two or more are needed to compare"))
    if not 0.5 < threshold < 1.0:
        text = f"the threshold is {threshold:g}; a probability over 0.5 and under 1 is expected, e.g. 0.95"
        findings.append(Finding("threshold", text))
    if findings:
        raise RequestError(findings)
