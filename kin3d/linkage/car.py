"""A car as read: the keys of its file, the points of its axles and the linkages that join them, all frozen."""

from __future__ import annotations

from collections.abc import Collection, Hashable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Annotated, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from kin3d.errors import Finding, RequestError, raise_errors
from kin3d.frames import parse_axes
from kin3d.linkage.across import turned_on_the_rack
from kin3d.linkage.ball_joints import steering_joints
from kin3d.linkage.checking import check, choice_fault, set_key
from kin3d.linkage.expected import HELD
from kin3d.linkage.key_types import AnyText, FileOrigin
from kin3d.linkage.keys import AxleFiles, AxleKeys, CarData, CarFigures, LoadCase, in_axes
from kin3d.linkage.layout import Layout, Linkage
from kin3d.linkage.misfits import case_misfits, misfits
from kin3d.linkage.names import AxleName, Side, did_you_mean, normalise
from kin3d.linkage.record import Record, changed, keys_of, known_keys, of_values, plain
from kin3d.linkage.resolve import resolve
from kin3d.units import length_factor


@dataclass(frozen=True, slots=True, eq=False)
class TableErrors:
    """Independent errors of a table, each of which may move many coordinates together.

    Attributes
    ----------
    effect_mm : ndarray, shape (errors, points, 3)
        Change of the coordinates for one standard deviation of each error, vehicle frame.
    names : tuple of str
        For a person: ``"pit: leg left upper_rear"``.
    groups : tuple of str
        Under what name an error is summed up with others where there are many; empty: by itself.
    identities : tuple of hashable
        By which errors are known: equal ones in two tables are the same error. Empty: no other table has them.
    figures : mapping of str to ndarray, shape (errors,)
        Change of figures of the car file, by dotted key, that come from the same place as the points.
    """

    effect_mm: NDArray[np.float64]
    names: tuple[str, ...]
    groups: tuple[str, ...]
    identities: tuple[Hashable, ...] = ()
    figures: Mapping[str, NDArray[np.float64]] = field(default_factory=dict)

    @property
    def reached(self) -> NDArray[np.bool_]:
        """Coordinates that any of the errors moves, shape (points, 3)."""
        out: NDArray[np.bool_] = (self.effect_mm != 0.0).any(axis=0)
        return out


@dataclass(frozen=True, slots=True)
class PointTable:
    """Named points in the vehicle frame (ISO 8855: x forward, y left, z up).

    Attributes
    ----------
    source : pathlib.Path
        The file they came from.
    names : tuple of str
        Point names as the program writes them: lower case, underscores.
    xyz_mm : ndarray, shape (n, 3)
        Coordinates in mm.
    sigma_mm : ndarray, shape (n, 3)
        One standard deviation of each coordinate in mm, of all its errors together; 0 where the file gives none.
    places : tuple of str
        Where each point stands in the file, for messages.
    notes : tuple of str
        The file's own note to each point; empty where there is none.
    findings : tuple of Finding
        Warnings and notes of the reading.
    errors : TableErrors or None
        Errors that coordinates have in common. The deviation of a coordinate that one of them moves is theirs
        together; every other coordinate errs by itself.
    """

    source: Path
    names: tuple[str, ...]
    xyz_mm: NDArray[np.float64]
    sigma_mm: NDArray[np.float64]
    places: tuple[str, ...]
    notes: tuple[str, ...]
    findings: tuple[Finding, ...] = ()
    errors: TableErrors | None = None

    def __contains__(self, name: str) -> bool:
        return name in self.names

    @property
    def pending(self) -> bool:
        """Whether the places are no more than a start for an adjustment that is still to be made."""
        return False

    @property
    def own_side(self) -> Side | None:
        """Side that the points are given for, where they say it themselves; None: the car file says it."""
        return None

    def __getitem__(self, name: str) -> NDArray[np.float64]:
        """Coordinates of one point, shape (3,), mm."""
        row: NDArray[np.float64] = self.xyz_mm[self.names.index(name)]
        return row

    def with_places(self, places: Mapping[str, ArrayLike]) -> PointTable:
        """The table with points in other places, mm, vehicle frame; a moved point loses the file's note."""
        xyz, notes = self.xyz_mm.copy(), list(self.notes)
        for name, place in places.items():
            xyz[self.names.index(name)] = place
            notes[self.names.index(name)] = ""
        return replace(self, xyz_mm=xyz, notes=tuple(notes))

    def scaled(self, factor: float) -> PointTable:
        """The table with all lengths multiplied by a factor, deviations too."""
        errors = self.errors and replace(
            self.errors,
            effect_mm=factor * self.errors.effect_mm,
            figures={key: factor * seed for key, seed in self.errors.figures.items()},  # lengths, all of them
        )
        return replace(self, xyz_mm=factor * self.xyz_mm, sigma_mm=factor * self.sigma_mm, errors=errors)

    def only(self, kept: Collection[str]) -> PointTable:
        """The table with some of its points."""
        rows = [k for k, name in enumerate(self.names) if name in kept]
        return replace(
            self,
            names=tuple(self.names[k] for k in rows),
            xyz_mm=self.xyz_mm[rows],
            sigma_mm=self.sigma_mm[rows],
            places=tuple(self.places[k] for k in rows),
            notes=tuple(self.notes[k] for k in rows),
            errors=self.errors and replace(self.errors, effect_mm=self.errors.effect_mm[:, rows]),
        )


@dataclass(frozen=True, slots=True)
class MeshFile:
    """A mesh for looks: its file, the vehicle's origin in it, and what takes its coordinates from there to mm.

    place in the vehicle frame = `to_mm` · (place in the file − `origin`)
    """

    path: Path
    to_mm: tuple[tuple[float, float, float], ...]
    origin: tuple[float, float, float] = (0.0, 0.0, 0.0)


class Axle(AxleKeys):
    """One axle: the points of one side, the layout that joins them, and the keys that the file has for it.

    Attributes
    ----------
    points : PointTable
        The pickup points of the side named by `side`.
    side : {"left", "right"}
        The side that the points were given for; the other is its mirror image in y = 0
        unless `other_points` holds points of its own.
    layout : Layout
        How the points make bodies.
    layout_keys : mapping of str to str
        Every key that the layout adds and the car file gives, ``rod_on`` among them.
    units, axes : str or None
        Unit and axes of the axle's files; None: a drawing's own. Meshes are in these, and it is written in these.
    origin : tuple of float or None
        Where the vehicle's origin lies in those files, in their own axes and unit.
    """

    name: AxleName
    points: Annotated[PointTable, HELD]
    side: Side
    layout: Annotated[Layout, HELD]
    other_points: Annotated[PointTable | None, HELD] = None
    layout_keys: Annotated[dict[str, str], HELD]
    units: AnyText = None
    axes: AnyText = None
    origin: FileOrigin = None

    @cached_property
    def linkage(self) -> Linkage:
        """The linkage of the layout with the points and keys that there are.

        Raises
        ------
        LayoutError
            With every missing and every unused point, and every wrong value of a layout's key.
        """
        places = dict(zip(self.points.names, self.points.places, strict=True))
        found = resolve(
            self.layout, self.points.names, self.layout_keys, str(self.points.source), places, self.attached()
        )
        if found.system is not None:
            other: Side = "right" if self.side == "left" else "left"
            turned = turned_on_the_rack(found.system, other if self.other_points is None else None)
            system = replace(found.system, rack_turned=turned)
            found = replace(found, system=system)
        if found.steering_axis is not None or found.wheel_body in found.across.bodies:
            return found
        tables = [t for t in (self.points, self.other_points) if t is not None]
        corners = [dict(zip(t.names, t.xyz_mm, strict=True)) for t in tables]
        return replace(found, steering_axis=steering_joints(found, corners))

    @property
    def rod_on(self) -> str | None:
        """Body that carries ``rod_outer``; None: no rod, no rocker."""
        return self.layout_keys.get("rod_on")

    def keys(self) -> AxleKeys:
        """The axle's own keys, without points, layout and their files; those that were not given stay so."""
        given = self.given & known_keys(AxleKeys).keys()
        bare = of_values(AxleKeys, **{name: getattr(self, name) for name in given})
        return changed(bare, self.own_sigmas)

    def mesh_files(self) -> dict[str, MeshFile]:
        """Meshes for looks by what they show: ``upright``, ``wheel``, ``tyre`` of the given side, ``chassis``."""
        turn = np.eye(3) if self.axes is None else parse_axes(self.axes)
        rows = (turn * (1.0 if self.units is None else length_factor(self.units))).tolist()
        to_mm = tuple((x, y, z) for x, y, z in rows)
        at = self.origin or (0.0, 0.0, 0.0)
        return {body: MeshFile(path, to_mm, at) for body, path in self.meshes or () if path is not None}


class Car(Record):
    """A car file as read: either axle may be missing."""

    title: str
    source: Path
    data: Annotated[CarData, HELD]
    front: Annotated[Axle | None, HELD] = None
    rear: Annotated[Axle | None, HELD] = None
    cases: Annotated[tuple[LoadCase, ...], HELD] = ()
    findings: Annotated[tuple[Finding, ...], HELD] = ()

    def __repr__(self) -> str:
        axles = ", ".join(f"{a.name} axle ({a.layout.name}, {len(a.points.names)} points)" for a in self.axles())
        return f"<car: {self.title}: {axles or 'no axle'}>"

    def __str__(self) -> str:
        return repr(self)

    @property
    def sigmas(self) -> dict[str, float]:
        """Standard deviations of figures by dotted key: ``"car.mass_kg"``, ``"front.camber_deg"``."""
        found = super().sigmas
        return {f"car.{k.removeprefix('data.')}" if k.startswith("data.") else k: s for k, s in found.items()}

    def axles(self) -> tuple[Axle, ...]:
        """The axles that the file gives, front first."""
        return tuple(a for a in (self.front, self.rear) if a is not None)

    def axle(self, name: AxleName) -> Axle:
        """One axle.

        Raises
        ------
        RequestError
            When the car file does not give it.
        """
        found = {"front": self.front, "rear": self.rear}.get(name)
        if found is None:
            there = ", ".join(a.name for a in self.axles())
            text = f"the car file has no [{name}] axle; it has: {there}"
            raise RequestError(Finding("axle-missing", text, str(self.source)))
        return found

    def with_points(self, places: Mapping[str, ArrayLike], axle: AxleName = "front", side: Side | None = None) -> Car:
        """The car with points of one axle in other places; its files are untouched.

        Parameters
        ----------
        places : mapping of str to (3,)
            Where each named point is to be: mm, vehicle frame (x forward, y left, z up), on `side`.
        axle : {"front", "rear"}
        side : {"left", "right"}, optional
            Side that is meant; needed only where both sides have points of their own. Default: the side that the
            points were given for. A side that is the mirror image of the other goes along with it.

        Raises
        ------
        RequestError
            For an axle that is not there, unknown points (with the nearest known name), places that are not three
            numbers, and a side that is only a mirror image.
        """
        own = self.axle(axle)
        key = "points" if side in (None, own.side) else "other_points"
        table: PointTable | None = getattr(own, key)
        if table is None:
            text = f"is the mirror image of the {own.side} side; say where the points are to be on the {own.side}"
            raise RequestError(Finding("side-mirrored", text, f"[{axle}], {side} side"))
        new: dict[str, NDArray[np.float64]] = {}
        findings = []
        for written, place in places.items():
            name = normalise(written)
            values = np.asarray(place)
            if name not in table:
                text = f'point "{written}" is not in the table of the axle; {did_you_mean(name, table.names)}'
                findings.append(Finding("point-unknown", text, f"[{axle}]"))
            elif values.shape != (3,) or values.dtype.kind not in "iuf" or not np.isfinite(values).all():
                text = f'the place of "{written}" is {place!r}; three finite numbers in mm are expected'
                findings.append(Finding("place-wrong", text, f"[{axle}]"))
            else:
                new[name] = values.astype(float)
        raise_errors(findings, RequestError)
        return changed(self, **{axle: changed(own, **{key: table.with_places(new)})})

    def with_figures(self, figures: Mapping[str, Any]) -> Car:
        """The car with other figures of its file; the file is untouched.

        Parameters
        ----------
        figures : mapping of str to value
            Keys as in the car file, dotted: ``"car.mass_kg"``, ``"front.camber_deg"``,
            ``"front.spring.rate_n_per_mm"``, ``"front.rod_on"``; an element of a list of tables by its name or its
            number from 1 on (``"front.stops.packer.gap_mm"``). A value is what the file would have; a number may be
            given with its standard deviation, ``[value, sigma]``, and has none otherwise. A table may be given as a
            whole (a mapping), and None takes a key or a table out. Directions are in the vehicle frame.

        Raises
        ------
        RequestError
            With everything that is wrong at once: unknown keys with the nearest known one, values that the car file
            could not have, and what does not fit together.
        LayoutError
            When points are missing for what the keys ask for.
        """
        table = {a.name: keys_of(a.keys()) for a in self.axles()}
        layout_keys = {str(a.name): dict(a.layout_keys) for a in self.axles()}
        data: dict[str, Any] = {"title": self.title, "car": keys_of(self.data)} | table
        data["cases"] = [keys_of(case) for case in self.cases]
        findings: list[Finding] = []
        for dotted, value in figures.items():
            fault = self._set(data, layout_keys, dotted.split("."), plain(value))
            findings += [Finding("figure-unknown", fault, dotted)] if fault else []
        extra = {a.name: tuple(a.layout.keys()) for a in self.axles()}
        checked, wrong = check(CarFigures, data, {str(name): keys for name, keys in extra.items()})
        raise_errors([*findings, *wrong], RequestError)
        new: dict[str, Axle] = {}
        for axle in self.axles():
            keys = in_axes(getattr(checked, axle.name), np.eye(3))
            fields = {name: getattr(keys, name) for name in known_keys(AxleKeys)}
            other = {name: value for name, value in fields.items() if value != getattr(axle, name)}
            new[axle.name] = changed(axle, keys.own_sigmas, **other, layout_keys=layout_keys[axle.name])
            findings += misfits(axle.name, keys, axle.layout, new[axle.name].linkage, axle.points.names)
        findings += case_misfits(checked.cases, [a.name for a in self.axles()])
        raise_errors(findings, RequestError)
        return changed(self, title=checked.title or self.title, data=checked.car, cases=checked.cases, **new)

    def _set(self, data: dict[str, Any], layout_keys: Mapping[str, dict[str, str]], path: list[str], value: Any) -> str:
        """Set a figure in the file's tables; what is wrong with its key, or empty."""
        axle = next((a for a in self.axles() if a.name == path[0]), None)
        if path[0] in ("front", "rear") and axle is None:
            return f"the car file has no [{path[0]}] axle; it has: {', '.join(a.name for a in self.axles())}"
        if axle and len(path) == 2 and path[1] in known_keys(AxleFiles):
            return "belongs to the file of the points and is no figure; with_points moves points"
        if axle and len(path) == 2 and path[1] in axle.layout.keys():  # noqa: SIM118
            layout_keys[axle.name].pop(path[1], None)
            if value is not None:
                layout_keys[axle.name][path[1]] = value
                return choice_fault(value, axle.layout.keys()[path[1]])
            return ""
        return set_key(data, path, value)
