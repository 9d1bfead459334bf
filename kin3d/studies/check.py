"""Check a car: the design position, mobility, reach, and what an engineer would want to be warned of."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, Severity
from kin3d.linkage.car import Car
from kin3d.linkage.design import SIDES
from kin3d.linkage.names import AxleName
from kin3d.measures.entry import Measure
from kin3d.solve.lanes import Status
from kin3d.solve.limits import limit_sentence
from kin3d.solve.mobility import Mobility
from kin3d.solve.model import AxleModel
from kin3d.studies.registry import left_out_sentences, shown
from kin3d.studies.result import SweepResult, findings_table
from kin3d.studies.sweep import sweep
from kin3d.writing.result import Result
from kin3d.writing.tables import Column, Quantity, Table

Array = NDArray[np.float64]
REACH_MM = 150.0  # travel up to which the limits are looked for
SHORT_REACH_MM = 40.0  # a corner that ends sooner than this is worth a warning (common practice, no source)


@dataclass(frozen=True, slots=True)
class AxleCheck:
    """What was found of one axle.

    Attributes
    ----------
    axle : {"front", "rear"}
    layout : str
    mobility : Mobility
    parts : tuple of str
        Parts of the layout that are there.
    sides : tuple of str
        Sides worth showing: both where the file gives points for both, else the one that it gives points for.
    design : SweepResult
        The design position alone.
    reach : tuple of str
        A sentence each for droop and bump of every side in `sides`: how far the travel goes.
    findings : tuple of Finding
        Warnings about the geometry.
    """

    axle: AxleName
    layout: str
    mobility: Mobility
    parts: tuple[str, ...]
    sides: tuple[str, ...]
    design: SweepResult
    reach: tuple[str, ...]
    findings: tuple[Finding, ...]

    def sentences(self) -> tuple[str, ...]:
        """What the linkage is, whether travel and rack determine it, how far it goes, which measures are left out."""
        parts = ", ".join(self.parts) or "no rod, no rocker"
        left_out = left_out_sentences(self.design.left_out)
        return (f"linkage: {self.layout}; {parts}", f"mobility: {self.mobility}", *self.reach, *left_out)

    def figures(self) -> Iterator[tuple[str, Measure, float]]:
        """Side, measure and value in the design position."""
        for side in self.sides:
            for m in self.design.measures:
                yield side, m, float(self.design.values[m.name].reshape(-1, 2)[0, SIDES.index(side)])


@dataclass(frozen=True, slots=True, repr=False)
class CarCheck(Result):
    """What was found of a car.

    Attributes
    ----------
    title : str
    axles : tuple of AxleCheck
    read : tuple of Finding
        What was assumed or doubted in reading the files.
    """

    title: str
    axles: tuple[AxleCheck, ...]
    read: tuple[Finding, ...]
    kind = "check"

    @property
    def findings(self) -> tuple[Finding, ...]:
        """All of them: of the files, of each axle's geometry, of the solved design position."""
        return (*self.read, *(f for a in self.axles for f in (*a.findings, *a.design.findings)))

    def summary(self) -> str:
        """The axles with their layouts, and how many warnings there are."""
        warnings = sum(f.severity is Severity.WARNING for f in self.findings)
        axles = "; ".join(f"{a.axle} axle: {a.layout}" for a in self.axles)
        return f"{self.title}, {axles}; {warnings} warning{'' if warnings == 1 else 's'}"

    def tables(self, measures: Sequence[str] | None = None) -> tuple[Table, ...]:
        """The design position, a table an axle and side, a row a measure; default all of them."""
        return tuple(t for a in self.axles for t in _design_tables(a, measures))

    def records(self) -> tuple[Table, ...]:
        """Figures of the design position, sentences about each linkage, findings."""
        figures = ((a.axle, side, m.name, v, m.unit) for a in self.axles for side, m, v in a.figures())
        said = ((a.axle, text) for a in self.axles for text in a.sentences())
        return (
            Table.of("design", ("axle", "side", "measure", "value", "unit"), figures),
            Table.of("linkage", ("axle", "sentence"), said),
            findings_table(self.findings),
        )


def _design_tables(found: AxleCheck, measures: Sequence[str] | None) -> Iterator[Table]:
    chosen = shown(found.design.measures, measures, every=True)
    for number, side in enumerate(found.sides):
        rows = [(m, v) for of, m, v in found.figures() if of == side and m in chosen]
        breaks = [k for k in range(1, len(rows)) if rows[k][0].group != rows[k - 1][0].group]
        columns = (
            Column("measure", text=True),
            Column("value"),
            Column("unit", text=True),
            Column("sign", head="positive when", long=True),
        )
        cells = [
            (m.name, Quantity(v, m.unit), m.unit, m.sign.removesuffix(" positive").removesuffix(":")) for m, v in rows
        ]
        title = f"{found.axle} axle, design position, {side} side"
        last = number == len(found.sides) - 1
        yield Table.of(f"{found.axle}_{side}", columns, cells, title, found.sentences() if last else (), breaks)


def check(car: Car, axle: AxleName | None = None) -> CarCheck:
    """Look at a car, or at one axle of it: design position, mobility, reach, what is not as it should be.

    Parameters
    ----------
    car : Car
    axle : {"front", "rear"}, optional
        Default: all that there are.

    Returns
    -------
    CarCheck
        Findings, mobility, reach, and the measures of the design position.

    Raises
    ------
    Kin3dError
        For an axle that is not there, or points that make no determined linkage.
    """
    names = [axle] if axle else [a.name for a in car.axles()]
    return CarCheck(car.title, tuple(check_axle(car, n) for n in names), car.findings)


def check_axle(car: Car, axle: AxleName) -> AxleCheck:
    """Solve the design position of an axle and look how far it goes; what is implausible is told when it is loaded."""
    model = AxleModel.of(car, axle)
    design = sweep(car, axle)
    both = model.axle.other_points is not None or (model.joined and not design.alike(design.measures))
    sides = SIDES if both else (model.axle.side,)
    reach: list[str] = []
    findings: list[Finding] = []
    for side in map(SIDES.index, sides):
        said, short = _reach(model, side)
        if not (reach and model.joined):  # the travel of both wheels alike ends once
            reach += said
            findings += short
        findings += _spring(model, design, side)
    return AxleCheck(
        axle=axle,
        layout=model.linkage.layout,
        mobility=model.kernel.system.mobility,
        parts=model.linkage.parts,
        sides=sides,
        design=design,
        reach=tuple(reach),
        findings=tuple(findings),
    )


def _side(model: AxleModel, side: int) -> str:
    """Name of the side where the file gives both, else nothing: what is said holds for both then."""
    return f"{SIDES[side]} side, " if model.axle.other_points is not None and not model.joined else ""


def _warn(model: AxleModel, side: int, code: str, text: str) -> Finding:
    axle = model.axle
    table = axle.points if axle.other_points is None or SIDES[side] == axle.side else axle.other_points
    return Finding(code, text, f"{table.source.name}, {axle.name} axle", Severity.WARNING)


def _reach(model: AxleModel, side: int) -> tuple[list[str], list[Finding]]:
    lanes = model.kernel.lanes(model.variants, np.array([-REACH_MM, REACH_MM])).take(slice(2 * side, 2 * side + 2))
    solved = model.kernel.solve(model.variants, lanes)
    said, findings = [], []
    for lane, name in enumerate(("droop", "bump")):
        if solved.status[lane] == Status.OK:
            said.append(f"{_side(model, side)}{name}: {REACH_MM:g} mm and more")
            continue
        sentence = limit_sentence(lanes, solved, lane)
        said.append(f"{_side(model, side)}{name}: {sentence.text}")
        if abs(solved.limits.get(lane, (0.0, 0.0))[0]) < SHORT_REACH_MM:
            findings.append(_warn(model, side, "short-reach", f"{name} ends early: {sentence.text}"))
    return said, findings


def _spring(model: AxleModel, design: SweepResult, side: int) -> list[Finding]:
    ratios = design.values.get("motion_ratio")
    if ratios is None or (ratio := float(ratios[..., side].flat[0])) > 0.0:
        return []
    text = (
        f"the spring gets longer in bump (motion ratio {ratio:+.3f}): "
        "look at spring_outer, the side of the rocker's pivot that it is on, and spring_inner"
    )
    return [_warn(model, side, "spring-lengthens", text)]
