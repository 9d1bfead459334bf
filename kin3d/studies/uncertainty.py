"""Where the points may be wrong, and what that does to every measure in first order.

Doubt is a list of *sources*. A source is one independent error of known size with its effect on every point (and on
figures of the car file) for one standard deviation of it. A coordinate's own deviation is a source; a shared error (all
points of a view shifted together) is one source an axis; a figure of the car file with its deviation is one.
Sources are independent of each other, so that variances add, each measure's variance splits into what every source
causes, and samples need one number a source.

A source has an *identity*. Two cars that have a source of the same identity were wronged by the same error: it is drawn
once for both, and its effects on a difference are subtracted before they are squared.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError
from kin3d.linkage.design import angle_seeds
from kin3d.linkage.keys import unit_of_key
from kin3d.linkage.layout import WHEEL_AXIS
from kin3d.linkage.record import Record
from kin3d.measures.entry import Measure, figure, keys_of
from kin3d.studies.case import CaseModel
from kin3d.studies.corner_model import AXES, CornerModel, by_rows
from kin3d.studies.registry import corner_measures

Array = NDArray[np.float64]
Hashables = tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class ErrorSource:
    """One independent error.

    Attributes
    ----------
    identity : hashable
        By which the error is known: sources of two cars with equal identities are the same error.
    name : str
        For a person: the point, or the name of the shared error.
    axis : str
        ``x``, ``y`` or ``z``, vehicle frame; empty for an error that has no axis.
    sigma : float
        Its standard deviation in `unit`.
    effect : ndarray, shape (linkage points, 3)
        Change of design coordinates for one standard deviation, mm.
    figures : mapping of str to float
        Change of figures of the car file for one standard deviation, by the key that measures name
        (``"car.cg_height_mm"``, ``"axle.loaded_radius_mm"``).
    unit : str
    shared : bool
        Whether it moves several points together.
    group : str
        Under what name it is summed up with others where there are many; empty: by itself.
    """

    identity: Hashable
    name: str
    axis: str
    sigma: float
    effect: Array = field(repr=False)
    figures: Mapping[str, float] = field(default_factory=dict)
    unit: str = "mm"
    shared: bool = False
    group: str = ""

    def __str__(self) -> str:
        return f"{self.name} {self.axis}".strip()


@dataclass(frozen=True, slots=True)
class Uncertainty:
    """All sources of one corner: what may be wrong with its points, and with figures of the car file.

    Attributes
    ----------
    sources : tuple of ErrorSource
        Of identities that differ from each other.
    points : tuple of str
        Points of the linkage, as in the effects.
    assumed_mm : float or None
        Deviation that was given by option for coordinates without one.
    exact : tuple of str
        Points of the table without any deviation: they are taken as exact.
    """

    sources: tuple[ErrorSource, ...]
    points: tuple[str, ...]
    assumed_mm: float | None
    exact: tuple[str, ...]

    def __post_init__(self) -> None:
        twice = [i for i, n in Counter(self.identities).items() if n > 1]
        if twice:
            raise ValueError(f"sources of one identity are one error and belong together: {twice}")

    @property
    def known(self) -> bool:
        """Whether there is any source at all."""
        return bool(self.sources)

    @property
    def identities(self) -> tuple[Hashable, ...]:
        """Identity of every source, in order."""
        return tuple(s.identity for s in self.sources)

    @property
    def seeds(self) -> Array:
        """Effects of all sources on design coordinates, shape (sources, linkage points, 3)."""
        return np.array([s.effect for s in self.sources]).reshape(-1, len(self.points), 3)

    @property
    def figure_seeds(self) -> dict[str, Array]:
        """Effects of all sources on figures of the car file by key, each of shape (sources,)."""
        keys = dict.fromkeys(key for s in self.sources for key in s.figures)
        return {key: np.array([s.figures.get(key, 0.0) for s in self.sources]) for key in keys}


def doubt_of(model: CaseModel, sigma_mm: float | None = None, owner: str = "") -> Uncertainty:
    """Collect the sources of a case: of every corner whose points matter to it.

    Parameters
    ----------
    model : CaseModel
    sigma_mm, owner
        As of `uncertainty_of`.

    Returns
    -------
    Uncertainty
        An error that several corners have, as those of a table for both sides, is one source with its effect on all.
    """
    wanted = keys_of(model.case.measures)
    if len(model.parts) == 1:
        return uncertainty_of(model.parts[0], sigma_mm, owner, wanted)
    several = len(model.parts) > 2
    found: dict[Hashable, ErrorSource] = {}
    exact: dict[str, None] = {}
    for rows, part in by_rows(model.parts):
        axle = part.model.axle.name
        mine = _keys_here(wanted, axle, axle == model.case.axle)
        place = f"{axle} {part.side}" if part.model.axle.other_points is not None else axle
        own = uncertainty_of(part, sigma_mm, owner, mine, place)
        exact |= dict.fromkeys(f"{axle} {n}" if several else n for n in own.exact)
        for source in own.sources:
            whole = np.zeros(model.design.shape) if source.identity not in found else found[source.identity].effect
            whole[rows] = source.effect
            figures = {_canonical(key, axle) if several else key: v for key, v in source.figures.items()}
            of_car = any(key.startswith("car.") for key in figures)
            name = f"{axle} {source.name}" if several and not of_car else source.name
            found[source.identity] = replace(source, name=name, effect=whole, figures=figures)
    points = tuple(p for part in model.parts for p in part.model.linkage.points)
    return Uncertainty(tuple(found.values()), points, sigma_mm, tuple(exact))


def _keys_here(keys: Iterable[str], axle: str, asked: bool) -> tuple[str, ...]:
    """Those of the keys that an axle and the car have, as a corner of that axle asks for them."""
    own = [f"axle.{k.removeprefix(f'{axle}.')}" for k in keys if k.startswith(f"{axle}.")]
    return tuple(dict.fromkeys([*own, *(k for k in keys if k.startswith("car.") or (asked and k.startswith("axle.")))]))


def _canonical(key: str, axle: str) -> str:
    return f"{axle}.{key.removeprefix('axle.')}" if key.startswith("axle.") else key


def uncertainty_of(
    corner: CornerModel,
    sigma_mm: float | None = None,
    owner: str = "",
    keys: Sequence[str] | None = None,
    place: str = "",
) -> Uncertainty:
    """Collect the sources of a corner.

    Parameters
    ----------
    corner : CornerModel
    sigma_mm : float, optional
        Standard deviation of each coordinate to which the file gives none. A ``wheel_axis`` point is left alone: it
        stands for a direction, whose uncertainty is not that of a pickup point.
    owner : str
        Whose errors they are, where several cars are studied together; part of the identity of every error that no
        other car can have.
    keys : sequence of str, optional
        Figures of the car file that count, by the key that measures name; default those that measures of a corner read.
    place : str
        Of which of several tables of points the errors are; part of the identity of those that are of a table.

    Raises
    ------
    RequestError
        For a deviation that is negative or not finite.
    """
    if sigma_mm is not None and not 0.0 <= sigma_mm < float("inf"):
        text = f"sigma is {sigma_mm:g}; a standard deviation of 0 or more in mm is expected"
        raise RequestError(Finding("sigma-negative", text))
    table = (owner, place) if place else (owner,)
    of_points = (*_own(corner, sigma_mm, table), *_of_table(corner, table), *_shared(corner, table))
    read = keys_of(corner_measures(corner.model.axle.name)) if keys is None else keys
    sources = (*of_points, *_figures(corner, table, read))
    points = corner.model.linkage.points
    moved = {points[r] for s in of_points for r in np.flatnonzero(s.effect.any(axis=-1))}
    return Uncertainty(sources, points, sigma_mm, tuple(p for p in corner.names if p not in moved))


def _own(corner: CornerModel, sigma_mm: float | None, owner: Hashables) -> Iterator[ErrorSource]:
    errors = corner.table.errors
    for row, name in enumerate(corner.names):
        for k, axis in enumerate(AXES):
            if errors is not None and errors.reached[corner.table.names.index(name), k]:
                continue  # its deviation is that of errors of the table
            sigma = float(corner.sigma_mm[row, k])
            if not sigma and sigma_mm is not None and name != WHEEL_AXIS:
                sigma = sigma_mm
            if sigma:
                yield ErrorSource((*owner, "point", name, axis), name, axis, sigma, sigma * corner.seeds[row, k])


def _of_table(corner: CornerModel, owner: Hashables) -> Iterator[ErrorSource]:
    """Errors that coordinates of the table have in common."""
    errors = corner.table.errors
    if errors is None:
        return
    rows = [corner.table.names.index(n) for n in corner.names]
    effects = np.tensordot(errors.effect_mm[:, rows], corner.seeds, axes=2)
    figures = _figures_of_table(corner)
    for k, (name, group) in enumerate(zip(errors.names, errors.groups, strict=True)):
        identity = errors.identities[k] if errors.identities else (*owner, "error of the table", k)
        reached = {key: float(seed[k]) for key, seed in figures.items() if seed[k]}
        yield ErrorSource(identity, name, "", 1.0, effects[k], reached, "1", shared=True, group=group)


def _figures_of_table(corner: CornerModel) -> dict[str, Array]:
    """Effects of the table's errors on figures of the car file, by the key that measures name."""
    errors, axle = corner.table.errors, f"{corner.model.axle.name}."
    found = {} if errors is None else errors.figures
    return {f"axle.{k.removeprefix(axle)}" if k.startswith(axle) else k: seed for k, seed in found.items()}


def _shared(corner: CornerModel, owner: Hashables) -> Iterator[ErrorSource]:
    for number, error in enumerate(corner.model.axle.shared_error):
        rows = [corner.names.index(p) for p in error.points or corner.names if p in corner.names]
        for k, axis in enumerate(AXES):
            sigma = error.sigma_mm[k]
            if sigma:
                effect = sigma * corner.seeds[rows, k].sum(axis=0)
                identity = (*owner, "shared error", number, axis)
                yield ErrorSource(identity, error.name, axis, sigma, effect, shared=True)


def _figures(corner: CornerModel, owner: Hashables, keys: Iterable[str]) -> Iterator[ErrorSource]:
    """Figures with a deviation that places the wheel, or that stand among the keys."""
    model, none = corner.model, np.zeros_like(corner.design)
    turns = {f"axle.{key}": seed for key, seed in angle_seeds(corner, model.axle).items()}
    for key in dict.fromkeys((*turns, *keys)):
        sigma = figure_sigma(model, key)
        if sigma:
            turn = turns.get(key)
            of = owner[:1] if key.startswith("car.") else (owner[0], *[w.split()[0] for w in owner[1:]])
            identity = (*of, "figure", key)
            effect = none if turn is None else sigma * turn
            figures = {key: sigma} if turn is None else {}
            yield ErrorSource(identity, _short(key), "", sigma, effect, figures, unit_of_key(key))


def figure_sigma(subject: object, key: str) -> float:
    """Standard deviation that the car file gives for a figure, by the key that measures name; 0 for none."""
    head, _, rest = key.partition(".")
    found = getattr(subject, head)
    table: Record = found.axle if head in ("front", "rear") else found
    return table.sigmas.get(rest, 0.0)


def exact_figures(model: CaseModel, measures: Iterable[Measure]) -> tuple[str, ...]:
    """Figures of the car file that measures rest on and that have no deviation: they are taken as exact."""
    several = len(model.parts) > 2
    placing: dict[str, None] = {}
    located: set[str] = set()
    for part in model.parts:
        axle = part.model.axle.name
        keys = [f"axle.{key}" for key in angle_seeds(part, part.model.axle)]
        placing |= dict.fromkeys(_canonical(k, axle) if several else k for k in keys)
        located |= {_canonical(k, axle) if several else k for k in _figures_of_table(part)}
    read = keys_of(measures)
    wanted = dict.fromkeys((*placing, *(_canonical(k, model.case.axle) if several else k for k in read)))
    numbers = (key for key in wanted if isinstance(figure(model.subject, key), float))
    return tuple(_short(key, several) for key in numbers if not figure_sigma(model.subject, key) and key not in located)


def _short(key: str, several: bool = False) -> str:
    """A key without the table of the car or the axle; of several axles it keeps the axle's name."""
    head, _, rest = key.partition(".")
    return f"{head} {rest}" if several and head != "car" else rest


def half_width(level: float) -> float:
    """Standard deviations to either side that hold a part `level` of a normal distribution."""
    return NormalDist().inv_cdf(0.5 + level / 2.0)
