"""Points from photographs: the result with its covariance, and `locate`, which makes it of a file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from math import cos, sin
from os import PathLike
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, Severity
from kin3d.linkage.car import PointTable, TableErrors
from kin3d.linkage.layout import WHEEL_AXIS, WHEEL_CENTRE, Layout
from kin3d.linkage.names import AxleName, Side
from kin3d.photographs.advice import Help, helps
from kin3d.photographs.model import Model
from kin3d.photographs.parameters import AXES, Parameters, parameters_of
from kin3d.photographs.refusal import refuse_few, refuse_misfit
from kin3d.photographs.second_look import cameras_again, second_look
from kin3d.photographs.snooping import UNCHECKED, Checked, snoop, snoop_on
from kin3d.photographs.start import start
from kin3d.reading.photo_records import CarPhotos
from kin3d.reading.photographs import read_photographs
from kin3d.reading.points import write_points_csv
from kin3d.writing.files import TABLES, check_place
from kin3d.writing.result import Result
from kin3d.writing.tables import Column, Table

Array = NDArray[np.float64]
AXIS_MM = 100.0  # how far outboard of the wheel centre the point of the wheel's axis stands
CARRIED = 0.5  # part of a coordinate's variance that is left of its box; more, and the box carries it


@dataclass(frozen=True, slots=True)
class PhotoSource:
    """One independent source of error of located points.

    Attributes
    ----------
    identity : str
        The same for two cars where it is the same mark or figure.
    name : str
        For a person: ``"pit: leg left upper_rear"``, ``"known wheelbase"``.
    kind : {"mark", "figure", "assumption"}
    group : str
        Under what name it is summed up with others: ``"pit: legs"``; empty: by itself.
    """

    identity: str
    name: str
    kind: str
    group: str = ""


@dataclass(frozen=True, slots=True)
class LocatedCar:
    """The points of one car.

    Attributes
    ----------
    title : str
    source : pathlib.Path
        The file of photographs.
    layout : Layout
    axle, side : str
    names : tuple of str
        Points, ``wheel_axis`` last.
    xyz_mm : ndarray, shape (points, 3)
        Vehicle frame, of `side`.
    seeds : ndarray, shape (sources, points, 3)
        Change of the coordinates for one sigma of each source of `Located.sources`; the covariance is the sum of
        their products.
    figures : dict of str to (float, float)
        ``loaded_radius_mm``, ``camber_deg``, ``toe_deg``, ``rim_diameter_mm``, ``wheelbase_mm`` with sigma.
    figure_seeds : dict of str to ndarray, shape (sources,)
    by_numbers : ndarray, shape (points, 3, parameters)
        How coordinates follow from the parameters of the adjustment.
    carried : tuple of str
        Coordinates that rest on the template's box by more than half.
    """

    title: str
    source: Path
    layout: Layout
    axle: AxleName
    side: Side
    names: tuple[str, ...]
    xyz_mm: Array
    seeds: Array
    figures: dict[str, tuple[float, float]]
    figure_seeds: dict[str, Array]
    by_numbers: Array
    carried: tuple[str, ...]

    def gradient(self, along_points: Array) -> Array:
        """Derivative along the parameters of a measure whose derivative along the points is given.

        Parameters
        ----------
        along_points : ndarray, shape (points, 3)
            Per mm of each coordinate of `xyz_mm`.
        """
        out: Array = np.einsum("pk,pkn->n", along_points, self.by_numbers)
        return out

    @property
    def covariance_mm2(self) -> Array:
        """Covariance of all coordinates, point by point x, y, z, shape (3 points, 3 points)."""
        flat = self.seeds.reshape(len(self.seeds), -1)
        out: Array = flat.T @ flat
        return out

    @property
    def sigma_mm(self) -> Array:
        """Standard deviation of each coordinate, shape (points, 3)."""
        out: Array = np.sqrt((self.seeds**2).sum(axis=0))
        return out

    def table(self, sources: Sequence[PhotoSource]) -> PointTable:
        """The points as a point table with their errors."""
        places = tuple(f"{self.source}, {n}" for n in self.names)
        return PointTable(
            self.source, self.names, self.xyz_mm, self.sigma_mm, places, ("",) * len(self.names),
            errors=self.errors(sources),
        )  # fmt: skip

    def errors(self, sources: Sequence[PhotoSource]) -> TableErrors:
        """The sources that reach this car, with their effects on its points and on figures of a car file."""
        figures = {f"{self.axle}.loaded_radius_mm": "loaded_radius_mm", "car.wheelbase_mm": "wheelbase_mm"}
        seeds = {key: self.figure_seeds[own] for key, own in figures.items()}
        reach = (self.seeds != 0.0).any(axis=(1, 2)) | (np.array(list(seeds.values())) != 0.0).any(axis=0)
        kept = [s for s, there in zip(sources, reach.tolist(), strict=True) if there]
        return TableErrors(
            self.seeds[reach], tuple(s.name for s in kept), tuple(s.group for s in kept),
            tuple(s.identity for s in kept), {key: seed[reach] for key, seed in seeds.items()},
        )  # fmt: skip


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
    """

    kind = "locate"
    cars: tuple[LocatedCar, ...]
    sources: tuple[PhotoSource, ...]
    checked: Checked
    findings: tuple[Finding, ...] = ()

    @property
    def car(self) -> LocatedCar:
        """The car asked for."""
        return self.cars[-1]

    def helps(self, along_points: Array) -> tuple[float, tuple[Help, ...]]:
        """Sigma of a measure now, and with each further mark, figure or photograph, the best first.

        Parameters
        ----------
        along_points : ndarray, shape (points, 3)
            The measure's derivative per mm of each coordinate of `car`.
        """
        return helps(self.checked, self.car.gradient(along_points))

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
        """Everything, as tidy tables; the first is the point table."""
        return (self._points(), self._marks(), self._figures(), *(self._covariance(c) for c in self.cars[-1:]))

    def tables(self, measures: Sequence[str] | None = None) -> tuple[Table, ...]:
        """Points with sigma; marks and figures that cannot be right; what rests on assumptions."""
        del measures
        wrong = self._wrong()
        return (self._points(), *([wrong] if wrong.rows else []), self._assumed())

    def notes(self) -> tuple[str, ...]:
        """What is not checked, what rests on assumptions, what was assumed."""
        out = []
        alone = [
            str(m) for k, (_, m) in enumerate(self.checked.model.marks)
            if self.checked.redundancy[k] < UNCHECKED and k not in self.checked.out
        ]  # fmt: skip
        if alone:
            out.append(f"no other mark checks these: {'; '.join(alone)}")
        for car in self.cars:
            if car.carried:
                out.append(f"{car.title}: rests on the template by more than half: {', '.join(car.carried)}")
        return (*out, *(str(f) for f in self.findings))

    def save(self, path: str | PathLike[str], table: str | None = None) -> int:
        """Write the result; a point table (.csv) gets its covariance beside it as NAME.covariance.csv."""
        place = Path(path)
        if place.suffix.lower() != ".csv" or table not in (None, "points"):
            return Result.save(self, path, table)
        check_place(place, TABLES, "save")
        write_points_csv(self.car.table(self.sources), place)
        return len(self.car.names)

    def _points(self) -> Table:
        own = self.car
        columns = [
            Column("point", text=True),
            *(Column(a, "mm") for a in AXES),
            *(Column(f"sigma_{a}", "mm") for a in AXES),
        ]
        rows = [(n, *p.tolist(), *s.tolist()) for n, p, s in zip(own.names, own.xyz_mm, own.sigma_mm, strict=True)]
        return Table.of("points", columns, rows, f"{own.title}, {own.side} {own.axle} corner, mm")

    def _covariance(self, car: LocatedCar) -> Table:
        names = [f"{n}.{a}" for n in car.names for a in AXES]
        rows = [(n, *row.tolist()) for n, row in zip(names, car.covariance_mm2, strict=True)]
        return Table.of("covariance", [Column("coordinate", text=True), *(Column(n, "mm²") for n in names)], rows)

    def _marks(self) -> Table:
        columns = [
            *(Column(n, text=True) for n in ("car", "photo", "kind", "name", "side")), Column("u", "px"),
            Column("v", "px"), Column("sigma_px", "px"), Column("miss_u_px", "px"),
            Column("miss_v_px", "px"), Column("w"),
            Column("redundancy"), Column("used", text=True),
        ]  # fmt: skip
        rows = []
        for k, (c, m) in enumerate(self.checked.model.marks):
            miss, w, part = self.checked.miss_px[k], float(self.checked.w[k]), float(self.checked.redundancy[k])
            used = "no" if k in self.checked.out else "yes"
            place = (m.u, m.v, m.sigma_px, float(miss[0]), float(miss[1]), w, part, used)
            rows.append((self.files[c].title, m.photo, m.kind, m.name, m.side, *place))
        return Table.of("marks", columns, rows)

    def _figures(self) -> Table:
        columns = [
            Column("figure", text=True), Column("of", text=True), Column("group", text=True), Column("known"),
            Column("sigma_known"), Column("adjusted"), Column("sigma"), Column("w"), Column("redundancy"),
            Column("stated", text=True), Column("used", text=True),
        ]  # fmt: skip
        known, spread = self.checked.fit.known, self.checked.spread
        numbers, sigma = self.checked.fit.state.numbers, np.sqrt((spread.factor**2).sum(axis=1))
        rows = []
        for k, p in enumerate(self.checked.model.parameters.listed):
            if p.name.startswith("turn ") or not known.free[k]:
                continue
            said = (p.value, p.sigma) if np.isfinite(p.sigma) else (None, None)
            w, part = float(self.checked.figure_w[k]), float(self.checked.figure_redundancy[k])
            used = "no" if k in self.checked.figures_out else "yes"
            found = (float(numbers[k]), float(sigma[k]), w, part, "yes" if p.stated else "no", used)
            rows.append((p.name, p.owner, p.group, *said, *found))
        return Table.of("figures", columns, rows)

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

    def _wrong(self) -> Table:
        columns = [
            Column("what", head="cannot be right", text=True),
            Column("miss", head="misses by", text=True),
            Column("w", places=1),
        ]
        return Table.of("wrong", columns, self.wrong(), "Marks and figures left out")

    def _assumed(self) -> Table:
        rows = [(f.place, f.text, f.assumed) for f in self.findings if f.severity is Severity.NOTE]
        columns = [Column("place", text=True), Column("what", text=True), Column("assumed", text=True)]
        return Table.of("assumed", columns, rows, "Assumed where the files are silent")


def locate(path: str | PathLike[str]) -> Located:
    """Locate the points of a car from marks in photographs.

    Parameters
    ----------
    path : path-like
        A file of photographs (``x.photos.toml``). The car that it names in ``[same_as]`` is adjusted with it.

    Raises
    ------
    ReadingError
        With everything that is wrong with the files.
    RequestError
        When there are too few marks, or marks and figures contradict each other so that no figure may be given.
    """
    return located(read_photographs(Path(path)))


def located(*photographs: CarPhotos) -> Located:
    """The same of files that have been read; several are adjusted together, the car asked for last."""
    parameters = parameters_of(*photographs)
    model = Model(parameters)
    refuse_few(model)
    checked = solved(model)
    refuse_misfit(checked)
    return result_of(checked, tuple(dict.fromkeys(f for p in photographs for f in p.findings)))


def solved(model: Model) -> Checked:
    """Adjust marks without any help, and test them."""
    checked = snoop(second_look(start(model)))
    again = cameras_again(checked.fit)
    return checked if again is checked.fit else snoop_on(checked, again)


def result_of(checked: Checked, findings: tuple[Finding, ...] = ()) -> Located:
    """The result of an adjustment that has been tested."""
    parameters, spread = checked.model.parameters, checked.spread
    rows = checked.fit.model.rows
    observed = np.flatnonzero(checked.fit.known.observed)
    effect = np.hstack([spread.effect, spread.known_effect[:, observed]])
    sources = [_mark_source(checked, int(k), part) for k, part in _parts(rows)]
    sources += [_known_source(parameters, int(k)) for k in observed]
    cars = tuple(_car(checked, c, effect) for c in range(len(parameters.cars)))
    return Located(cars, tuple(sources), checked, findings)


def _parts(rows: NDArray[np.intp]) -> list[tuple[int, int]]:
    return [(int(k), int(i and rows[i - 1] == k)) for i, k in enumerate(rows)]


def _mark_source(checked: Checked, number: int, part: int) -> PhotoSource:
    car, mark = checked.fit.model.marks[number]
    axis = " uv"[1 + part] if mark.kind in ("point", "contact") else ""
    parameters = checked.model.parameters
    where = _photo_name(parameters, car, mark.photo)
    file = parameters.cars[car].marks_file
    identity = f"{file.resolve()} row {mark.row} {axis}".strip()
    return PhotoSource(identity, f"{where}: {mark.kind} {mark.side} {mark.name}", "mark", f"{where}: {mark.kind}s")


def _photo_name(parameters: Parameters, car: int, photo: str) -> str:
    """A photograph's name, with its car's where other cars have photographs too."""
    return photo if len(parameters.cars) == 1 else f"{parameters.cars[car].title}, {photo}"


# what many figures together are called, by the group of the parameters
_GROUPED = {
    "points": "template (box_mm)", "other side": "left unlike right (asymmetry_mm)",
    "joints": "joints marked off their centres (joint_mm)",
}  # fmt: skip


def _known_source(parameters: Parameters, number: int) -> PhotoSource:
    p = parameters.listed[number]
    car, photo = _owner(parameters, number)
    file = f"{parameters.cars[car].source.resolve()}{f' {photo}' if photo else ''}"
    kind = "figure" if p.stated else "assumption"
    several = f" of {parameters.cars[car].title}" if len(parameters.cars) > 1 and p.group != "joints" else ""
    if photo:
        where = _photo_name(parameters, car, photo)
        group = f"{where}: camera" if p.group == "camera" else f"{where}: position of the car"
        return PhotoSource(f"{file}: {p.name}", f"{where}: {p.name}", kind, group)
    if p.group in _GROUPED:
        return PhotoSource(f"{file}: {p.name}", f"{p.name}{several}", kind, _GROUPED[p.group] + several)
    return PhotoSource(f"{file}: {p.name}", f"{'known' if p.stated else 'assumed'} {p.name}{several}", kind)


def _owner(parameters: Parameters, number: int) -> tuple[int, str]:
    """The car that a parameter is listed for, and its photograph where it is one's."""
    for car, photo, index in (
        *((k, photo.name, parameters.pictures[n]) for n, (k, photo) in enumerate(parameters.photos)),
        *((k, "", np.concatenate([np.ravel(getattr(b, f.name)) for f in fields(b)]))
          for k, b in enumerate(parameters.blocks)),
    ):  # fmt: skip
        if number in index:
            return car, photo
    raise ValueError(f"parameter {number} is nobody's")


def _car(checked: Checked, number: int, effect: Array) -> LocatedCar:
    """Points, seeds and figures of one car; the wheel centre's height and the wheel's axis follow from its wheel."""
    parameters = checked.model.parameters
    file, upright, block = parameters.cars[number], parameters.uprights[number], parameters.blocks[number]
    numbers = checked.fit.state.numbers
    names = (*upright.points, WHEEL_AXIS)
    to = np.zeros((len(names), 3, len(numbers)))
    xyz = np.zeros((len(names), 3))
    for i, k in np.ndindex(block.points.shape):
        if block.points[i, k] >= 0:
            to[i, k, block.points[i, k]] = 1.0
            xyz[i, k] = numbers[block.points[i, k]]
    camber, toe, radius = (int(k) for k in block.wheel[:3])
    hub = upright.centre
    if file.axle == "rear":
        xyz[hub, 0], to[hub, 0, block.other_centre[0]] = -numbers[block.other_centre[0]], -1.0
    cc, sc, ct, st = cos(numbers[camber]), sin(numbers[camber]), cos(numbers[toe]), sin(numbers[toe])
    xyz[hub, 2] = numbers[radius] * cc
    to[hub, 2, radius], to[hub, 2, camber] = cc, -numbers[radius] * sc
    xyz[-1] = xyz[hub] + AXIS_MM * np.array([st * cc, ct * cc, -sc])
    to[-1] = to[hub]
    to[-1, :, camber] += AXIS_MM * np.array([-st * sc, -ct * sc, -cc])
    to[-1, :, toe] += AXIS_MM * np.array([ct * cc, -st * cc, 0.0])
    mirror = np.array([1.0, 1.0 if file.side == "left" else -1.0, 1.0])
    seeds = np.einsum("pkn,ns->spk", to, effect) * mirror
    wanted = {
        "loaded_radius_mm": (radius, 1.0), "camber_deg": (camber, 180.0 / np.pi), "toe_deg": (toe, 180.0 / np.pi),
        "rim_diameter_mm": (int(block.wheel[3]), 2.0), "wheelbase_mm": (int(block.other_centre[0]), 1.0),
    }  # fmt: skip
    figure_seeds = {n: f * effect[k] for n, (k, f) in wanted.items()}
    figures = {n: (float(f * numbers[k]), float(np.sqrt((figure_seeds[n] ** 2).sum()))) for n, (k, f) in wanted.items()}
    sigma = np.sqrt((effect**2).sum(axis=1))
    carried = tuple(
        f"{upright.points[i]} {AXES[k]}" for i, k in np.ndindex(block.points.shape)
        if block.points[i, k] >= 0 and not parameters.listed[block.points[i, k]].stated
        and sigma[block.points[i, k]] ** 2 > CARRIED * parameters.listed[block.points[i, k]].sigma ** 2
    )  # fmt: skip
    return LocatedCar(
        file.title,
        file.source,
        file.layout,
        file.axle,
        file.side,
        names,
        xyz * mirror,
        seeds,
        figures,
        figure_seeds,
        to * mirror[:, None],
        carried,
    )
