"""The record that every sweep returns: drives, sides, measures, status; plain arrays that show themselves."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError
from kin3d.linkage.design import SIDES
from kin3d.linkage.names import AxleName
from kin3d.measures.entry import Measure
from kin3d.solve.lanes import Status
from kin3d.studies.registry import left_out_sentences, shown
from kin3d.writing.numbers import with_sign
from kin3d.writing.result import Result
from kin3d.writing.style import CARS, tones
from kin3d.writing.tables import Cell, Column, Table

if TYPE_CHECKING:
    import xarray

    from kin3d.writing.panels import Panel

Array = NDArray[np.float64]

# drives by name: what they are, for tables, plots and datasets; the unit stands in the name
DRIVES = {
    "travel_mm": "Wheel travel, bump positive",
    "rack_mm": "Rack displacement, left positive",
    "heave_mm": "Heave, bump on both sides positive",
    "roll_deg": "Body roll, left side up positive",
    "pitch_deg": "Body pitch, nose down positive",
}


def drive_label(name: str) -> str:
    """What a drive is, by its column; one of a layout's own is told by its name."""
    if name in DRIVES:
        return DRIVES[name]
    own, _, unit = name.rpartition("_")
    sense = "right hand about its axis" if unit == "deg" else "as the layout has it"
    return f"Drive {own.replace('_', ' ')}, {sense} positive"


MOST_ROWS = 41  # in a table for a person
MOST_PANELS = 9  # so many measures are all drawn when none were named
MOST_FAMILY = 12  # lines in one panel


@dataclass(frozen=True, slots=True, repr=False)
class SweepResult(Result):
    """What a sweep found.

    Attributes
    ----------
    title, axle : str
    drives : dict of str to ndarray
        Values of each drive by its name (`DRIVES`), in the order of the arrays' axes.
    values : dict of str to ndarray, shape (*drives, 2)
        Each measure by name; the last axis is left, right. NaN where a position has a status other than OK, or where
        the measure has no value there (a finding says so).
    status : ndarray of int8, shape (*drives, 2)
    measures : tuple of Measure
        The measures in `values`, in order.
    left_out : dict of str to str
        Measures without the data they need, and what is missing.
    findings : tuple of Finding
        Limits met, measures without value.
    stepped : int
        Positions that needed continuation in steps.
    closure_mm : float
        Largest error of a length over all solved positions.
    chosen : bool
        Whether the measures were asked for by name; else tables and pictures show the usual ones.
    """

    title: str
    axle: AxleName
    drives: dict[str, Array]
    values: dict[str, Array]
    status: NDArray[np.int8]
    measures: tuple[Measure, ...]
    left_out: dict[str, str]
    findings: tuple[Finding, ...]
    stepped: int
    closure_mm: float
    chosen: bool = False
    kind = "sweep"

    @property
    def complete(self) -> bool:
        """Whether every position was reached."""
        return bool((self.status == Status.OK).all())

    def driven(self) -> tuple[str, ...]:
        """Drives with more than one value; the first drive when none has."""
        several = tuple(n for n, v in self.drives.items() if len(v) > 1)
        return several or tuple(self.drives)[:1]

    def ends(self) -> tuple[list[float], float]:
        """The least and the greatest travel that both wheels reach, and the rack displacement of it: the smallest, mm.

        Raises
        ------
        RequestError
            When no position was reached.
        """
        travels, racks = self.drives["travel_mm"], self.drives["rack_mm"]
        column = int(np.abs(racks).argmin())
        there = travels[(self.status[:, column] == Status.OK).all(axis=-1)]
        if not there.size:
            raise RequestError(Finding("out-of-reach", "no position of the sweep was reached: nothing to draw"))
        return [float(there.min()), float(there.max())], float(racks[column])

    def alike(self, shown: Sequence[Measure]) -> bool:
        """Whether left and right have the same figures in all that is shown, so that one side says it all."""
        if not np.array_equal(self.status[..., 0], self.status[..., 1]):
            return False
        found = [self.values[m.name] for m in shown]
        return all(np.allclose(v[..., 0], v[..., 1], rtol=1e-9, atol=1e-9, equal_nan=True) for v in found)

    def summary(self) -> str:
        """What was swept, how much of it, and how much was reached."""
        drives = " × ".join(f"{n} {len(v)}" for n, v in self.drives.items())
        return f"{self.title}, {self.axle} axle, {drives}: {len(self.measures)} measures. {self._solved()}"

    def _solved(self) -> str:
        every, solved = self.status.size, int((self.status == Status.OK).sum())
        if not solved:
            return f"None of {every} positions was reached."
        count = f"{solved}" if solved == every else f"{solved} of {every}"
        return f"{count} positions solved to {self.closure_mm:.0e} mm in every length."

    def tables(self, measures: Sequence[str] | None = None) -> tuple[Table, ...]:
        """One table: the drives, one side where both are the same, the usual measures unless others were chosen."""
        every = shown(self.measures, measures, self.chosen)
        both = not self.alike(every)
        index = [i for i in np.ndindex(self.status.shape) if both or i[-1] == 0]
        driven = self.driven()
        columns = [Column(n, head=measure_head(n, n.rpartition("_")[2]), key=True) for n in driven]
        columns += [Column("side", text=True, key=True)] if both else []
        columns += [Column(m.name, m.unit, measure_head(m.name, m.unit)) for m in every]
        held = [f"{n.partition('_')[0]} {v[0]:g} {n.rpartition('_')[2]}" for n, v in self.drives.items()]
        held = [text for n, text in zip(self.drives, held, strict=True) if n not in driven]
        rows = [self._row(i, every, both) for i in index[:MOST_ROWS]]
        title = ", ".join([self.title, f"{self.axle} axle", *held])
        chosen = measures is not None or self.chosen
        return (Table.of("sweep", columns, rows, title, self._remarks(every, chosen, len(index), both)),)

    def _row(self, index: tuple[int, ...], every: Sequence[Measure], both: bool) -> list[Cell]:
        position = dict(zip(self.drives, index, strict=False))
        cells: list[Cell] = [f"{self.drives[n][position[n]]:g}".replace("-", "−") for n in self.driven()]
        if both:
            cells.append(SIDES[index[-1]])
        if self.status[index] != Status.OK:
            gone = Status(int(self.status[index])).name.lower()
            return [*cells, gone, *[None] * (len(every) - 1)] if every else cells
        return [*cells, *(float(self.values[m.name][index]) for m in every)]

    def _remarks(self, every: Sequence[Measure], chosen: bool, count: int, both: bool) -> list[str]:
        said = []
        if count > MOST_ROWS:
            said.append(f"{count - MOST_ROWS} more rows: write them with --out.")
        if not both:
            said.append("Left side; the right side shows the same figures.")
        if not chosen and len(every) < len(self.measures):
            rest = len(self.measures) - len(every)
            said.append(f"{rest} more measures: choose with --measures, or write all with --out.")
        if any(m.name == "motion_ratio" for m in every):
            said.append("motion ratio: spring mm per mm of wheel travel, bump shortens positive.")
        return said

    def records(self) -> tuple[Table, ...]:
        """A row a position and side with the drives, all measures and the status; what each measure is; findings."""
        drives = [Column(n, n.rpartition("_")[2]) for n in self.drives]
        measures = [Column(m.name, m.unit) for m in self.measures]
        columns = (*drives, Column("side"), *measures, Column("status"))
        entries = [(m.name, m.unit, m.label, m.sign, m.definition) for m in self.measures]
        about = ("name", "unit", "label", "sign", "definition")
        return (
            Table.of("sweep", columns, self._rows()),
            Table.of("measures", about, entries),
            findings_table(self.findings),
        )

    def _rows(self) -> Iterator[list[Cell]]:
        found = [self.values[m.name] for m in self.measures]
        for index in np.ndindex(self.status.shape):
            drives = [float(v[i]) for v, i in zip(self.drives.values(), index, strict=False)]
            status = Status(int(self.status[index])).name.lower()
            yield [*drives, SIDES[index[-1]], *(float(v[index]) for v in found), status]

    def notes(self) -> tuple[str, ...]:
        """Measures left out and why; how many positions were solved, and how well."""
        return (*left_out_sentences(self.left_out), self._solved())

    def plot(
        self,
        path: str | PathLike[str],
        measures: Sequence[str] | None = None,
        figure: Literal["curves", "migration"] = "curves",
    ) -> None:
        """Draw measures over the first drive that has several values: a panel each, a line a side or second drive.

        Parameters
        ----------
        path : path-like
            ``.png``, ``.svg`` or ``.pdf``.
        measures : sequence of str, optional
            Names; default all when there are at most nine, else the usual ones.
        figure : {"curves", "migration"}
            Or the path of the roll centre over roll and heave.
        """
        if figure == "migration":
            from kin3d.studies.migration import draw_migration

            draw_migration(self, Path(path))
            return
        from kin3d.writing.panels import draw_panels  # most sweeps are not drawn

        every = shown(self.measures, measures, len(self.measures) <= MOST_PANELS)
        draw_panels(self._drawn_title(), [sweep_panel(self, m) for m in every], Path(path))

    def _drawn_title(self) -> str:
        """What is drawn: of which side, and how many of the values of a second drive."""
        driven = self.driven()
        if len(driven) < 2:
            return f"{self.title}, {self.axle} axle"
        name, several = driven[1].partition("_")[0], self.drives[driven[1]]
        some = f"; {MOST_FAMILY} of {len(several)} values of {name}" if len(several) > MOST_FAMILY else ""
        return f"{self.title}, {self.axle} axle, left side{some}"

    def dataset(self) -> xarray.Dataset:
        """The result as an `xarray.Dataset` with the drives and ``side`` as dimensions.

        Every variable carries ``units``, ``long_name``, ``definition`` and ``sign``; ``status`` carries the meaning of
        its values, ``attrs["notes"]`` what was left out and why.
        """
        import xarray

        dims = (*self.drives, "side")
        variables: dict[str, object] = {
            m.name: (
                dims,
                self.values[m.name],
                {"units": m.unit, "long_name": m.label, "definition": m.definition, "sign": m.sign},
            )
            for m in self.measures
        }
        meaning = "; ".join(f"{int(s)} = {s.sentence}" for s in Status)
        variables["status"] = (dims, self.status, {"units": "1", "long_name": "Status", "definition": meaning})
        coordinates: dict[str, object] = {
            name: (name, v, {"units": name.rpartition("_")[2], "long_name": drive_label(name)})
            for name, v in self.drives.items()
        }
        coordinates["side"] = ("side", list(SIDES))
        return xarray.Dataset(variables, coordinates, self._attributes())

    def _attributes(self) -> dict[str, str]:
        notes = [f"{name}: left out, {reason}" for name, reason in self.left_out.items()]
        notes += [str(f) for f in self.findings]
        return {"title": self.title, "axle": self.axle, "notes": "\n".join(notes)}


def sweep_panel(result: SweepResult, measure: Measure) -> Panel:
    """One measure over the first drive with several values."""
    from kin3d.writing.panels import Panel, Trace

    first, *rest = result.driven()
    lines = _over_second(result, measure, first, rest[0]) if rest else _sides(result, measure, first)
    colours = tones(len(lines)) if rest else [CARS[0]] * len(lines)
    traces = tuple(
        Trace(result.drives[first], y, label, colour, 0 if rest else k)
        for k, ((label, y), colour) in enumerate(zip(lines, colours, strict=True))
    )
    name, _, sign = drive_label(first).partition(",")
    over = f"{name.lower()} ({first.rpartition('_')[2]}),{sign}"
    return Panel(measure.label, measure.unit, measure.sign, over, traces)


def _sides(result: SweepResult, measure: Measure, first: str) -> list[tuple[str, Array]]:
    """Left and right; the left alone where the right is its mirror image."""
    v = np.moveaxis(result.values[measure.name], list(result.drives).index(first), 0)
    left, right = v.reshape(len(v), -1, 2)[:, 0].T
    if np.allclose(np.abs(left), np.abs(right), rtol=1e-9, atol=1e-9, equal_nan=True):
        return [("", left)]
    return [("left", left), ("right", right)]


def _over_second(result: SweepResult, measure: Measure, first: str, second: str) -> list[tuple[str, Array]]:
    """The left side for some values of a second drive."""
    names = list(result.drives)
    v = np.moveaxis(result.values[measure.name][..., 0], (names.index(first), names.index(second)), (0, 1))
    flat = v.reshape(*v.shape[:2], -1)[..., 0]
    values = result.drives[second]
    picked = np.unique(np.linspace(0, len(values) - 1, min(MOST_FAMILY, len(values))).round().astype(int))
    name, _, unit = second.partition("_")
    return [(f"{name} {with_sign(values[k])} {unit}", flat[:, k]) for k in picked]


def findings_table(findings: Sequence[Finding]) -> Table:
    """A row a finding."""
    rows = ((str(f.severity), f.code, f.place, f.text, f.assumed) for f in findings)
    return Table.of("findings", ("severity", "code", "place", "text", "assumed"), rows)


def measure_head(name: str, unit: str) -> str:
    """A column's head: the measure's name without its unit, a word a line, the unit last."""
    for ending in ("_n_per_mm", "_deg_per_mm", "_mm_per_rad", "_per_mm", "_deg", "_mm", "_pct", "_n"):
        if name.endswith(ending):
            name = name.removesuffix(ending)
            break
    return "\n".join([*name.split("_"), unit if unit != "1" else "–"])
