"""The points of one car out of an adjustment, and the independent sources of their errors: every mark and figure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from math import cos, sin
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.car import PointTable, TableErrors
from kin3d.linkage.layout import WHEEL_AXIS, Layout
from kin3d.linkage.names import AxleName, Side
from kin3d.photographs.parameters import AXES, Parameters
from kin3d.photographs.snooping import Checked

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
    figure_numbers : dict of str to (int, float)
        The parameter of each figure, and the figure's unit in the parameter's.
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
    figure_numbers: dict[str, tuple[int, float]]
    carried: tuple[str, ...]

    def gradient(self, along_points: Array, along_figures: Mapping[str, float] | None = None) -> Array:
        """Derivative along the parameters of a measure whose derivatives along points and figures are given.

        Parameters
        ----------
        along_points : ndarray, shape (points, 3)
            Per mm of each coordinate of `xyz_mm`.
        along_figures : mapping of str to float, optional
            Per unit of figures, by their names in `figures`.
        """
        out: Array = np.einsum("pk,pkn->n", along_points, self.by_numbers)
        for name, slope in (along_figures or {}).items():
            index, factor = self.figure_numbers[name]
            out[index] += factor * slope
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


def sources_of(checked: Checked) -> tuple[tuple[PhotoSource, ...], Array]:
    """Independent sources of error, and the change of every parameter for one sigma of each (parameters, sources)."""
    parameters, spread = checked.model.parameters, checked.spread
    observed = np.flatnonzero(checked.fit.known.observed)
    sources = [_mark_source(checked, int(k), part) for k, part in _parts(checked.fit.model.rows)]
    sources += [known_source(parameters, int(k)) for k in observed]
    return tuple(sources), np.hstack([spread.effect, spread.known_effect[:, observed]])


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


def known_source(parameters: Parameters, number: int) -> PhotoSource:
    """What is known beforehand of one parameter, as a source of error."""
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


def car_of(checked: Checked, number: int, effect: Array) -> LocatedCar:
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
        wanted,
        carried,
    )
