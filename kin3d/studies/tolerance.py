"""How far may each figure be believed: deviations of points carried to every measure over travel.

First order: the variance of a measure is the sum over all independent errors of (derivative times deviation)², with
exact derivatives. Monte Carlo: sampled cars, solved one and all. Where the two differ, the measure bends within the
uncertainty, and the Monte Carlo figures are the better ones.
(First-order propagation: JCGM 100:2008, 5.1; Monte Carlo: JCGM 101:2008; from memory.)
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError, Severity
from kin3d.linkage.car import Car
from kin3d.linkage.names import AxleName, Side
from kin3d.measures.entry import Measure
from kin3d.solve.lanes import Status
from kin3d.studies import tolerance_view as view
from kin3d.studies.case import Case, DriveRange, case_of
from kin3d.studies.corner_case import model_of
from kin3d.studies.counted import counted_spread
from kin3d.studies.first_order import NOTHING, FirstOrder, first_order
from kin3d.studies.force_names import refuse_unknown_forces
from kin3d.studies.monte_carlo import LEVELS, SampledSpread, Study, draw, fits_in_memory, spread_of
from kin3d.studies.one_corner import said_beside
from kin3d.studies.registry import left_out_sentences, need_some, shown
from kin3d.studies.settled_case import not_carried
from kin3d.studies.uncertainty import Uncertainty, doubt_of, exact_figures, half_width
from kin3d.writing.panels import draw_panels
from kin3d.writing.result import Result
from kin3d.writing.tables import Table

if TYPE_CHECKING:
    import xarray

Array = NDArray[np.float64]
SAMPLES = 20_000
SEED = 1
TRAVEL = tuple(5.0 * k for k in range(-8, 9))  # mm, where none is asked for


@dataclass(frozen=True, slots=True, repr=False)
class Tolerance(Result):
    """Measures over a drive with their uncertainty, by both ways.

    Attributes
    ----------
    title : str
    case : Case
        Over what, of which axle.
    side : {"left", "right"}
        Whose wheel's figures they are.
    measures : tuple of Measure
    uncertainty : Uncertainty
    first : FirstOrder
    spread : SampledSpread or None
        None when no samples were asked for.
    left_out : dict of str to str
    findings : tuple of Finding
    exact : tuple of str
        Points and figures that the measures rest on and that have no deviation: they are taken as exact.
    chosen : bool
        Whether the measures were asked for by name: then all of them are shown.
    """

    kind = "tolerance"
    title: str
    case: Case
    side: Side
    measures: tuple[Measure, ...]
    uncertainty: Uncertainty
    first: FirstOrder
    spread: SampledSpread | None
    left_out: dict[str, str]
    findings: tuple[Finding, ...]
    exact: tuple[str, ...] = ()
    chosen: bool = False

    @property
    def axle(self) -> AxleName:
        """Which axle."""
        return self.case.axle

    def row(self, measure: str) -> int:
        """Row of a measure in every array."""
        return [m.name for m in self.measures].index(measure)

    def band(self, level: float, first_order: bool = False) -> tuple[Array, Array]:
        """Ends of the band of a level, shapes (measures, positions): of the samples, or first order without samples."""
        if self.spread is not None and not first_order:
            return self.spread.low[level], self.spread.high[level]
        half = half_width(level) * self.first.sigma
        return self.first.value - half, self.first.value + half

    def disagreement(self) -> Array:
        """Deviation of the samples (half the 68 % band) over that of first order, less 1; shape (measures, positions).

        NaN where the points do not matter to the measure.
        """
        low, high = self.band(LEVELS[0])
        sigma = self.first.sigma
        first = np.where(sigma > NOTHING * (1.0 + np.abs(self.first.value)), sigma, np.nan)
        out: Array = (high - low) / (2.0 * half_width(LEVELS[0]) * first) - 1.0
        return out

    @property
    def how(self) -> str:
        """How the bands were found."""
        if self.spread is None:
            return "first order alone; bands of a normal distribution"
        classes = f", counted in {self.spread.classes} classes" if self.spread.classes else ""
        return f"bands from {self.spread.samples} sampled cars (Latin hypercube, seed {self.spread.seed}{classes})"

    def summary(self) -> str:
        """Car, axle, what was studied and how."""
        over = f"{len(self.measures)} measures in {len(self.case.at)} positions of {self.case.drive.name}"
        sources = len(self.uncertainty.sources)
        return f"{self.title}, {self.axle} axle, {self.side} side, {over}, {sources} sources of error; {self.how}"

    def tables(self, measures: Sequence[str] | None = None) -> tuple[Table, ...]:
        """Values with deviations and bands at the ends and in the middle; what causes the variances."""
        there = shown(self.measures, measures, self.chosen)
        return view.values_table(self, there), view.causes_table(self, there)

    def records(self) -> tuple[Table, ...]:
        """``bands``: a row a measure and position; ``shares``: a row a measure, position and source."""
        return view.bands_record(self), view.shares_record(self)

    def notes(self) -> tuple[str, ...]:
        """Where both ways differ, samples that failed, measures that were left out."""
        return (*view.agreement(self, shown(self.measures, None, self.chosen)), *left_out_sentences(self.left_out))

    def plot(self, path: str | PathLike[str], measures: Sequence[str] | None = None) -> None:
        """Draw measures over the drive with bands of 68 and 95 %."""
        title = f"{self.title}, {self.axle} axle, {self.side} side"
        panels = view.curves([(self.title, self)], shown(self.measures, measures, self.chosen))
        draw_panels(title, panels, Path(path), view.BANDS if self.uncertainty.known else ())

    def dataset(self) -> xarray.Dataset:
        """The result with dimensions measure, the drive (``travel_mm``, …), source, level and end (low, high)."""
        import xarray

        drive = self.case.drive
        over = ("measure", drive.column)
        bands = np.stack([np.stack(self.band(level)) for level in LEVELS], axis=2)
        variables: dict[str, object] = {
            "value": (over, self.first.value, {"long_name": "Value of the points as given"}),
            "sigma_first_order": (over, self.first.sigma, {"long_name": "Standard deviation, first order"}),
            "share": (("measure", "source", drive.column), self.first.share, {"long_name": "Part of the variance"}),
            "band": (("end", "measure", "level", drive.column), bands, {"long_name": "Ends of the band"}),
        }
        if self.spread is not None:
            variables["mean"] = (over, self.spread.mean, {"long_name": "Mean of the samples"})
            variables["sigma_samples"] = (over, self.spread.sigma, {"long_name": "Standard deviation of the samples"})
            variables["failed"] = (drive.column, self.spread.failed, {"long_name": "Samples that cannot be assembled"})
        coordinates = {
            "measure": [m.name for m in self.measures],
            "unit": ("measure", [m.unit for m in self.measures]),
            drive.column: drive.coordinate(self.case.at),
            "source": [str(s) for s in self.uncertainty.sources],
            "level": list(LEVELS),
            "end": ["low", "high"],
        }
        notes = "\n".join(str(f) for f in self.findings)
        about = {"title": self.title, "axle": self.axle, "side": self.side, "notes": notes}
        return xarray.Dataset(variables, coordinates, about)


def tolerance(
    car: Car,
    axle: AxleName = "front",
    travel: DriveRange = None,
    measures: Sequence[str] | None = None,
    *,
    heave: DriveRange = None,
    roll: DriveRange = None,
    pitch: DriveRange = None,
    lateral: DriveRange = None,
    rack: float = 0.0,
    sigma: float | None = None,
    samples: int = SAMPLES,
    seed: int = SEED,
    side: Side | None = None,
    workers: int = 1,
    executor: Executor | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Tolerance:
    """Carry the deviations of the points to measures over travel, or over heave, roll or pitch, rack held.

    Parameters
    ----------
    car : Car
    axle : {"front", "rear"}
    travel : float or sequence of float, mm
        Height of the wheel centre over its design height in the chassis frame; bump positive. Default −40 to 40.
        Measures that need both wheels on the ground take it as heave.
    measures : sequence of str, optional
        Names; default all that there is data for.
    heave, roll, pitch : float or sequence of float, mm or deg, optional
        In place of travel, of wheels on the ground, as `kin3d.sweep` has them. One of them may have several values.
    lateral : float or sequence of float, g, optional
        In their place: the car as it settles under those accelerations to the left; its attitude is taken as exact.
    rack : float, mm
        To the left positive.
    sigma : float, mm, optional
        Standard deviation of every coordinate to which the file gives none.
    samples : int
        Sampled cars; 0: first order alone.
    seed : int
        The same seed gives the same figures.
    side : {"left", "right"}, optional
        Default the side that the points were given for.
    workers : int
        Processes for the samples; see `monte_carlo.draw`.
    executor : concurrent.futures.Executor, optional
        Who works on the samples instead: what has `submit`, such as the executor of a cluster's client. The figures
        are the same, bit for bit.
    progress : callable, optional
        Called with samples done and in all.

    Returns
    -------
    Tolerance
        Values, deviations and bands of 68 and 95 % over the drive, and what each source adds to the variance.

    Raises
    ------
    RequestError
        When no point carries a deviation and none is given, or fewer than 100 samples are asked for.
    """
    drives = {"heave": heave, "roll": roll, "pitch": pitch, "lateral": lateral}
    case = case_of(axle, travel, TRAVEL, measures, side, **drives, rack=rack, cases=car.cases)
    refuse_unknown_forces([car], axle, measures)
    model = model_of(case, car)
    uncertainty = doubt_of(model, sigma)
    _refuse(car, uncertainty, samples)
    there, left_out = model.available(case.chosen(measures))
    need_some(there, left_out)
    first = first_order(model, uncertainty, case.at, there)
    findings = (*_unreached(first.status, case), *not_carried(case, car))
    findings += said_beside(case, car, [m.name for m in there])
    spread = None
    if samples:
        study = Study(car, case, uncertainty, tuple(m.name for m in there))
        if fits_in_memory(study, samples):
            spread = spread_of(draw(study, samples, seed, workers, progress, model, executor=executor))
        else:
            spread = counted_spread(study, samples, seed, workers, progress, model, executor)
        findings += _failed(spread, case)
    exact = (*uncertainty.exact, *exact_figures(model, there))
    return Tolerance(
        car.title, case, model.corner.side, there, uncertainty, first, spread, left_out,
        (*findings, *_exact(exact)), exact, chosen=measures is not None,
    )  # fmt: skip


def _refuse(car: Car, uncertainty: Uncertainty, samples: int) -> None:
    findings = []
    if not uncertainty.known:
        text = (
            "neither a point nor a figure has a standard deviation, so there is nothing to carry; give a column sigma "
            "in the point table, a table [[front.shared_error]] or a figure as [value, sigma] in the car file, or "
            "--sigma MM for all coordinates without one"
        )
        findings.append(Finding("sigma-missing", text, str(car.source)))
    if samples and samples < 100:
        text = f"samples is {samples}; 100 or more are expected for a 95 % band, or 0 for first order alone"
        findings.append(Finding("samples-few", text))
    if findings:
        raise RequestError(findings)


def _unreached(status: NDArray[np.int8], case: Case) -> tuple[Finding, ...]:
    bad = status != Status.OK
    if not bad.any():
        return ()
    where = case.drive.places(case.at[bad])
    if bad.all():
        raise RequestError(Finding("out-of-reach", f"{where}: none of it is reached (kin3d sweep says why)"))
    text = f"the linkage does not reach {where}; there are no figures there (kin3d sweep says why)"
    return (Finding("out-of-reach", text, severity=Severity.WARNING),)


def _failed(drawn: SampledSpread, case: Case) -> tuple[Finding, ...]:
    failed = drawn.failed
    if not failed.any():
        return ()
    worst = int(failed.argmax())
    count, where = int(failed.max()), case.drive.place(case.at[worst])
    left = "the bands there are those of the others, and so too narrow"
    text = f"{count} of {drawn.samples} sampled cars cannot be assembled at {where}"
    text += f"; {left}" if count < drawn.samples else "; there are no bands"
    return (Finding("samples-failed", text, severity=Severity.WARNING),)


def _exact(names: tuple[str, ...]) -> tuple[Finding, ...]:
    if not names:
        return ()
    text = f"without a deviation, taken as exact: {', '.join(names)}"
    return (Finding("taken-as-exact", text, severity=Severity.NOTE),)
