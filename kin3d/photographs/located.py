"""Points from photographs: the result with its covariance, and `located`, which makes it of a file that was read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from os import PathLike
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding
from kin3d.linkage.layout import WHEEL_AXIS, WHEEL_CENTRE
from kin3d.photographs import located_view as view
from kin3d.photographs.advice import Help, helps
from kin3d.photographs.located_car import LocatedCar, PhotoSource, car_of, known_source, sources_of
from kin3d.photographs.model import Model
from kin3d.photographs.other_car import refuse_another
from kin3d.photographs.parameters import parameters_of
from kin3d.photographs.refusal import doubtful_photos, large_misses, refuse_few, refuse_misfit
from kin3d.photographs.second_look import cameras_again, second_look
from kin3d.photographs.snooping import UNCHECKED, Checked, snoop, snoop_on
from kin3d.photographs.start import start
from kin3d.reading.photo_records import CarPhotos
from kin3d.reading.points import write_points_csv
from kin3d.writing.files import TABLES, check_place
from kin3d.writing.numbers import fixed
from kin3d.writing.result import Result
from kin3d.writing.tables import Table

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Wanted:
    """A measure that the points are located for.

    Attributes
    ----------
    name, label, unit : str
    value, sigma : float
        In the design position.
    helps : tuple of Help
        What would make its sigma smaller, the best first.
    """

    name: str
    label: str
    unit: str
    value: float
    sigma: float
    helps: tuple[Help, ...]


@dataclass(frozen=True, repr=False)
class Located(Result):
    """Points of one car, or of cars that were adjusted together, from marks in photographs.

    Attributes
    ----------
    cars : tuple of LocatedCar
        The car asked for last.
    sources : tuple of PhotoSource
        Independent sources of error; the seeds of all cars follow their order.
    checked : Checked
        The adjustment with its tests.
    findings : tuple of Finding
        Warnings and assumptions of the files.
    doubts : tuple of Finding
        Warnings of photographs that may not show this car.
    wanted : tuple of Wanted
        Measures of the car asked for, where they were asked for.
    left_out : tuple of str
        Measures that there is no data for, and why.
    """

    kind = "locate"
    cars: tuple[LocatedCar, ...]
    sources: tuple[PhotoSource, ...]
    checked: Checked
    findings: tuple[Finding, ...] = ()
    doubts: tuple[Finding, ...] = ()
    wanted: tuple[Wanted, ...] = ()
    left_out: tuple[str, ...] = ()

    @property
    def car(self) -> LocatedCar:
        """The car asked for."""
        return self.cars[-1]

    def helps(
        self, along_points: Array, along_figures: Mapping[str, float] | None = None
    ) -> tuple[float, tuple[Help, ...]]:
        """Sigma of a measure now, and with each further mark, figure or photograph, the best first.

        Parameters
        ----------
        along_points, along_figures : ndarray, mapping
            The measure's derivatives; see `LocatedCar.gradient`.
        """
        return helps(self.checked, self.car.gradient(along_points, along_figures or {}))

    @property
    def files(self) -> tuple[CarPhotos, ...]:
        """The files of all cars as read."""
        return self.checked.model.parameters.cars

    def summary(self) -> str:
        """What was found, in two lines."""
        own, checked = self.car, self.checked
        inner = [k for k, n in enumerate(own.names) if n not in (WHEEL_AXIS, WHEEL_CENTRE)]
        sigma = own.sigma_mm[inner]
        used = len(checked.model.marks) - len(checked.out)
        photos = len(checked.model.parameters.photos)
        return (
            f"{own.title}: {len(inner)} points from {used} marks in {photos} photographs, sigma {sigma.min():.1f} to "
            f"{sigma.max():.1f} mm; {len(checked.out)} marks and {len(checked.figures_out)} figures left out, "
            f"chance of such misses {checked.chance:.2g}"
        )

    def records(self) -> tuple[Table, ...]:
        """``points``, ``marks``, ``figures``, ``covariance``, ``measures`` and ``helps`` as tidy tables."""
        return (
            view.points_table(self), view.marks_record(self), view.figures_record(self),
            view.covariance_record(self.car), view.measures_table(self), view.helps_record(self),
        )  # fmt: skip

    def tables(self, measures: Sequence[str] | None = None) -> tuple[Table, ...]:
        """Points, wanted measures and what would help them, what cannot be right, figures, assumptions."""
        there = [w for w in self.wanted if measures is None or w.name in measures]
        found = (
            view.points_table(self), view.measures_table(self, there), view.helps_table(there),
            view.wrong_table(self), view.known_table(self), view.assumed_table(self),
        )  # fmt: skip
        return tuple(t for t in found if t.rows or t.key == "points")

    def plot(self, path: str | PathLike[str], measures: Sequence[str] | None = None) -> None:
        """Draw every photograph with its marks and where the model sees them: ``.png``, ``.svg`` or ``.pdf``."""
        del measures
        view.draw_marks(self, Path(path))

    def wrong(self) -> list[tuple[str, str, float]]:
        """Marks and figures that cannot be right and were left out: which, by how much, its test value; worst first."""
        checked = self.checked
        found: list[tuple[str, str, float]] = []
        for k in checked.out:
            car, mark = checked.model.marks[k]
            size = float(np.hypot(*checked.miss_px[k]))
            where = f"{self.files[car].marks_file.name}, row {mark.row}"
            found.append((f"{mark} ({where})", f"{size:.0f} px", float(checked.w[k])))
        for k in checked.figures_out:
            p = checked.model.parameters.listed[k]
            off = float(checked.fit.state.numbers[k] - p.value)
            found.append((f"{p} ({p.place})", f"{-off:+.4g}", abs(float(checked.figure_w[k]))))
        return sorted(found, key=lambda f: -f[2])

    def notes(self) -> tuple[str, ...]:
        """What is not checked, what rests on assumptions, what was assumed."""
        out = [self.summary()]
        several = len(self.cars) > 1
        alone = [
            f"{self.files[c].title}, {m}" if several else str(m) for k, (c, m) in enumerate(self.checked.model.marks)
            if self.checked.redundancy[k] < UNCHECKED and k not in self.checked.out
        ]  # fmt: skip
        if alone:
            out.append(f"no other mark checks these: {'; '.join(alone)}")
        if lone := self._unchecked_figures():
            told = "no other mark or figure checks these, so that an error below the one in brackets would not show"
            out.append(f"{told}: {'; '.join(lone)}")
        for car in self.cars:
            if car.carried:
                out.append(f"{car.title}: rests on the template by more than half: {', '.join(car.carried)}")
        return (*out, *self.left_out)

    def _unchecked_figures(self) -> list[str]:
        """Stated figures that nothing else checks, with the error that each could have unseen."""
        checked, out = self.checked, []
        for k, p in enumerate(checked.model.parameters.listed):
            measured = p.group in ("wheels", "points", "position") and p.stated and checked.fit.known.observed[k]
            if measured and checked.figure_redundancy[k] < UNCHECKED:
                size = float(checked.figure_unseen[k])
                turned = p.name.split()[-1] in ("camber", "toe")
                off = f"{fixed(np.degrees(size), 1)}°" if turned else f"{fixed(size, 0)} mm"
                name = known_source(checked.model.parameters, k).name
                out.append(f"{name} ({off})" if np.isfinite(size) else f"{name} (any)")
        return out

    def save(self, path: str | PathLike[str], table: str | None = None) -> int:
        """Write the result; a point table (.csv) gets its covariance beside it as NAME.covariance.csv."""
        place = Path(path)
        if place.suffix.lower() != ".csv" or table not in (None, "points"):
            return Result.save(self, path, table)
        check_place(place, TABLES, "save")
        write_points_csv(self.car.table(self.sources), place)
        return len(self.car.names)


def located(*photographs: CarPhotos) -> Located:
    """Locate the points of a car from marks in photographs; several cars are adjusted together, the last is asked for.

    Raises
    ------
    RequestError
        When there are too few marks, or marks and figures contradict each other so that no figure may be given.
    """
    parameters = parameters_of(*photographs)
    model = Model(parameters)
    refuse_few(model)
    checked = solved(model)
    refuse_misfit(checked)
    doubts = (*doubtful_photos(checked), *refuse_another(checked), *large_misses(checked))
    found = result_of(checked, tuple(dict.fromkeys(f for p in photographs for f in p.findings)))
    return replace(found, doubts=doubts)


def solved(model: Model) -> Checked:
    """Adjust marks without any help, and test them."""
    checked = snoop(second_look(start(model)))
    again = cameras_again(checked.fit, changed=bool(checked.out or checked.figures_out))
    return checked if again is checked.fit else snoop_on(checked, again)


def result_of(checked: Checked, findings: tuple[Finding, ...] = ()) -> Located:
    """The result of an adjustment that has been tested."""
    sources, effect = sources_of(checked)
    cars = tuple(car_of(checked, c, effect) for c in range(len(checked.model.parameters.cars)))
    return Located(cars, sources, checked, findings)
