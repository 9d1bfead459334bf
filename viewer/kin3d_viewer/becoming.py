"""A car becomes another one, group of points by group, in the order of what each does to one measure."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from kin3d.errors import Finding, RequestError
from kin3d.linkage.car import Car
from kin3d.linkage.layout import WHEEL_AXIS, WHEEL_CENTRE
from kin3d.linkage.names import AxleName
from kin3d.linkage.record import R, changed, known_keys
from kin3d.measures.entry import Measure
from kin3d.studies.attribution import ANGLES, FIGURES, Attribution, attribute
from kin3d.studies.case import case_of
from kin3d.studies.fit import bare_car, common_cases
from kin3d.studies.groups import groups_of
from kin3d.studies.registry import corner_measures, unnamed
from kin3d_viewer.model import Drives, LiveModel
from kin3d_viewer.primitives import Array, Scene
from kin3d_viewer.scene import Other, scene
from kin3d_viewer.scene_axes import roll_centre
from kin3d_viewer.snapshot import Snapshot
from kin3d_viewer.style import CARS

SMALL_SHARE = 0.02  # groups that do less than this part of all that is done change together, at the end
REST = "all else"


@dataclass(frozen=True, slots=True, eq=False)
class GroupStep:
    """One group on its way.

    Attributes
    ----------
    group : str
    part : float
        Its part in the difference by `kin3d compare`, in the measure's unit.
    change : ndarray, shape (2, points, 3)
        Of the design coordinates, left and right, mm.
    figures : bool
        Whether the figures of the car file go over with it.
    """

    group: str
    part: float
    change: Array
    figures: bool


@dataclass(eq=False)
class Becoming:
    """Two cars and the steps between them.

    Attributes
    ----------
    start, end : LiveModel
        Where the rods are joined differently, without rod, rocker, spring and bar.
    measure : Measure
    steps : tuple of GroupStep
        The largest part first.
    reason : str
        What is left out of the linkage, and why; empty when all of it is there.
    now : Snapshot
        As far as it has come.
    step : int
        The one on its way.
    """

    start: LiveModel
    end: LiveModel
    measure: Measure
    steps: tuple[GroupStep, ...]
    reason: str
    now: Snapshot = field(init=False)
    step: int = field(init=False, default=0)
    _way: LiveModel = field(init=False)
    _path: list[Array] = field(init=False, default_factory=list)
    _ends: tuple[Snapshot, Snapshot] = field(init=False)

    def __post_init__(self) -> None:
        self._way = LiveModel(self.start.car, self.start.axle)
        for model in (self.start, self.end, self._way):
            model.over, model.ranges = "travel_mm", {**model.ranges, "travel_mm": (0.0,)}
        self._ends = (self._solved(self.start), self._solved(self.end))
        self.go(0, 0.0)

    @staticmethod
    def of(car: Car, other: Car, axle: AxleName, name: str) -> Becoming:
        """Find the steps.

        Raises
        ------
        RequestError
            For linkages of different kinds, and a measure whose difference cannot be split.
        """
        side = car.axle(axle).side
        common = common_cases(car, other, case_of(axle, 0.0, (), None, side))
        wanted = [m for m in unnamed(corner_measures(axle)) if m.name == name]
        known = common.a is None or all(wanted and s.available(wanted)[0] for s in (common.a, common.b) if s)
        if not known:
            text = "it is no measure of a corner that both cars have figures for; kin3d measures lists them"
            raise RequestError(Finding("not-split", f"--becoming {name}: {text}"))
        found = attribute(common, wanted, np.zeros(1))
        measure = _split(found, name)
        cars = (bare_car(car, axle), bare_car(other, axle)) if common.reason else (car, other)
        start, end = (LiveModel(c, axle) for c in cars)
        return Becoming(start, end, measure, _steps(start, end, found), common.reason)

    @staticmethod
    def _solved(model: LiveModel) -> Snapshot:
        return model.solve(model.design, Drives()).now

    @property
    def value(self) -> float:
        """The measure as it is now."""
        return float(self.now.values[self.measure.name][self.start.own_side])

    @property
    def ends(self) -> tuple[float, float]:
        """The measure of the first car and of the other."""
        first, last = (float(s.values[self.measure.name][self.start.own_side]) for s in self._ends)
        return first, last

    def go(self, step: int, share: float) -> float:
        """Go to a share of a step, all before it done; returns the measure there.

        Raises
        ------
        RequestError
            Where the points do not make a linkage there.
        """
        self.step = step
        weights = [1.0 if k < step else share if k == step else 0.0 for k in range(len(self.steps))]
        design = self.start.design + sum(w * s.change for w, s in zip(weights, self.steps, strict=True))
        figures = sum(w for w, s in zip(weights, self.steps, strict=True) if s.figures)
        a, b = self.start.base, self.end.base
        mixed = replace(a, axle=_mixed(a.axle, b.axle, figures), car=_mixed(a.car, b.car, figures))
        rack = a.variants.rack_axis + figures * (b.variants.rack_axis - a.variants.rack_axis)
        rack = rack / np.linalg.norm(rack, axis=-1, keepdims=True)
        self._way.base = mixed
        with np.errstate(all="ignore"):
            variants = a.kernel.variants(design, rack)
        self.now = self._way.solve(design, Drives(), variants).now
        if not np.isfinite(self.value):
            group = self.steps[step].group
            text = f"the car cannot become the other one: no linkage while {group} changes, at {share:.0%} of the way"
            raise RequestError(Finding("no-way", text))
        self._keep()
        return self.value

    def restart(self) -> None:
        """Back to the first car, without a trail."""
        self._path.clear()
        self.go(0, 0.0)

    def _keep(self) -> None:
        """Remember where the roll centre is, for its trail."""
        place = roll_centre(self.now)
        if place is not None:
            self._path.append(place)
            self.now = replace(self.now, trails={"roll centre": np.array(self._path)})

    def scene(self, _layers: object = ()) -> Scene:
        """The car on its way, between the lines of the first one and the other one, pale."""
        bare = [replace(s, trails={}) for s in self._ends]
        return scene(self.now, [Other(bare[0], "A", whole=False), Other(bare[1], "B")], "now")

    def caption(self) -> str:
        """One line: what is seen."""
        return f"{self.start.axle.capitalize()} axle in its design position"

    def cars(self) -> tuple[tuple[str, str], ...]:
        """Colour and title of both cars."""
        return (CARS["A"], self.start.car.title), (CARS["B"], self.end.car.title)

    def legend(self) -> tuple[tuple[str, str], ...]:
        """No forces."""
        return ()


def _split(found: Attribution, name: str) -> Measure:
    """The measure whose difference was split; refused where it was not."""
    if not found.measures:
        raise RequestError(Finding("not-split", f"--becoming {name}: {found.reason}"))
    if not found.adds_up().all():
        raise RequestError(Finding("not-split", f"--becoming {name}: {found.sentence()}"))
    if not found.causes:
        raise RequestError(Finding("not-split", f"--becoming {name}: the two cars do not differ here"))
    return found.measures[0]


def _steps(start: LiveModel, end: LiveModel, found: Attribution) -> tuple[GroupStep, ...]:
    """Steps by the size of their parts; those that do next to nothing are one step."""
    parts = {g: float(v[0]) for g, v in found.grouped(found.of("design")[0]).items()}
    changes = _changes(start, end)
    small = SMALL_SHARE * sum(abs(v) for v in parts.values())
    large = sorted((g for g, v in parts.items() if abs(v) > small), key=lambda g: -abs(parts[g]))
    none = np.zeros_like(start.design)
    steps = [GroupStep(g, parts[g], changes.get(g, none), g == FIGURES) for g in large]
    rest = sum((c for g, c in changes.items() if g not in large), none)
    left = sum(v for g, v in parts.items() if g not in large)
    return (*steps, GroupStep(REST, left, rest, FIGURES not in large))


def _changes(start: LiveModel, end: LiveModel) -> dict[str, Array]:
    """Change of the design coordinates by group, shape (2, points, 3)."""
    linkage = start.base.linkage
    order = [end.base.linkage.index(p) for p in linkage.points]
    whole = end.design[:, order] - start.design
    groups = groups_of(linkage, start.design[0])
    out: dict[str, Array] = {}
    for row, point in enumerate(linkage.points):
        out.setdefault(groups[point], np.zeros_like(whole))[:, row] = whole[:, row]
    tables = [m.base.sides[m.own_side].names for m in (start, end)]
    if not all(WHEEL_AXIS in names for names in tables):
        centre, axis = linkage.index(WHEEL_CENTRE), linkage.index(WHEEL_AXIS)
        out["wheel"][:, axis] = whole[:, centre]
        out[ANGLES] = np.zeros_like(whole)
        out[ANGLES][:, axis] = whole[:, axis] - whole[:, centre]
    return out


def _mixed(a: R, b: R, share: float) -> R:
    """A record with its numbers part of the way to another one's, and all else the other's from half way on."""
    if share <= 0.0:
        return a
    if share >= 1.0:
        return b
    pairs = {key: (getattr(a, key), getattr(b, key)) for key in known_keys(type(a))}
    both = {k: v for k, v in pairs.items() if all(isinstance(x, float) for x in v)}
    return changed(a if share < 0.5 else b, **{k: x + share * (y - x) for k, (x, y) in both.items()})
