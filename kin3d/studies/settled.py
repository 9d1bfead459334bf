"""A settled car: body, wheels, springs, how well it balances."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, fields

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding
from kin3d.loads.elastic import DISPLACEMENTS
from kin3d.studies.figure_doubt import FigureDoubt
from kin3d.studies.steady_loads import Loads
from kin3d.writing.numbers import number
from kin3d.writing.result import Result
from kin3d.writing.tables import Column, Quantity, Table

Array = NDArray[np.float64]
# the body's figures: name in files, unit
BODY = (
    ("heave_mm", "mm"),
    ("pitch_deg", "deg"),
    ("roll_deg", "deg"),
    ("centre_height_mm", "mm"),
    ("centre_rise_mm", "mm"),
    ("error_n", "N"),
    ("error_n_m", "N·m"),
    ("energy_n_mm", "N·mm"),
)

BENT_HEADS = ("toe °", "camber °", "caster °", "wheel x mm", "wheel y mm", "wheel z mm")
BENT = (
    "Joints and links are unbent in the car at rest; what the loads add bends them, linearly, and moves the wheels. "
    "Bars and springs are taken to follow the rigid linkage."
)


@dataclass(frozen=True, slots=True)
class WheelState:
    """One wheel in the settled car.

    Attributes
    ----------
    name : str
        ``"front left"`` …
    travel_mm : float
        From the design position; bump positive.
    load_n, side_n, along_n : float
        Force of the ground on the tyre: up, to the left, forward.
    camber_ground_deg, toe_ground_deg : float
    contact_mm : ndarray, shape (3,)
        Where the tyre stands, in the frame of the front points.
    lifted : bool
    gap_mm : float
        Between a lifted tyre and the ground; 0 otherwise (a tyre with a rate: how far it is let out from static). A
        tyre with a rate is lifted from its free radius on.
    """

    name: str
    travel_mm: float
    load_n: float
    side_n: float
    along_n: float
    camber_ground_deg: float
    toe_ground_deg: float
    contact_mm: Array
    lifted: bool
    gap_mm: float

    def record(self) -> dict[str, str | float | bool]:
        """Every figure by its name in files."""
        plain = {f.name: getattr(self, f.name) for f in fields(self) if f.name != "contact_mm"}
        places = {f"contact_{axis}_mm": float(c) for axis, c in zip("xyz", self.contact_mm, strict=True)}
        return {"wheel": plain.pop("name"), **plain, **places}


@dataclass(frozen=True, slots=True)
class ElementState:
    """One spring, bar or stop in the settled car: deflection (mm or rad) from design and force (N or N·mm).

    ``slack_mm`` is how far a spring is let out beyond its free length, where it carries nothing.
    """

    axle: str
    name: str
    kind: str
    unit: str
    deflection: float
    force: float
    slack_mm: float = 0.0

    def outside(self) -> tuple[float, str, float, str]:
        """Deflection and force with their units as at interfaces: turns in deg, torques in N·m."""
        if self.unit == "rad":
            return float(np.degrees(self.deflection)), "deg", self.force / 1000.0, "N·m"
        return self.deflection, "mm", self.force, "N"


@dataclass(frozen=True, slots=True, repr=False)
class Settled(Result):
    """A settled car.

    Attributes
    ----------
    title : str
    loads : Loads
    heave_mm : float
        Mean travel of the four wheels.
    pitch_deg, roll_deg : float
        Of the body from the design position; nose down and left side up positive.
    centre_height_mm : float
        Of the centre of the sprung mass over the ground; `centre_rise_mm`: how much more than as designed.
    wheels : tuple of WheelState
    elements : tuple of ElementState
    error_n, error_n_m : float
        Largest components of force and moment (about the chassis frame's origin) that are left over.
    energy_n_mm : float
        Energy of springs and bars since the design position.
    findings : tuple of Finding
        Wheels lifted, springs loose or beyond their stroke, what was assumed.
    state : ndarray, shape (13,)
        Unknowns as in `kin3d.studies.attitude`.
    bends : ndarray, shape (4, displacements), or None
        What the loads add to toe, camber, caster and place of each wheel by the compliance of joints and links, beyond
        what they do at rest (`loads.elastic.DISPLACEMENTS`), deg and mm; None: rigid.
    doubt : FigureDoubt or None
        What deviations of figures make of body, wheels and springs; None where no figure has one.
    """

    kind = "settle"

    title: str
    loads: Loads
    heave_mm: float
    pitch_deg: float
    roll_deg: float
    centre_height_mm: float
    centre_rise_mm: float
    wheels: tuple[WheelState, ...]
    elements: tuple[ElementState, ...]
    error_n: float
    error_n_m: float
    energy_n_mm: float
    findings: tuple[Finding, ...]
    state: Array
    bends: Array | None = None
    doubt: FigureDoubt | None = None

    def summary(self) -> str:
        """Title with loads, and how the body stands: two lines."""
        sense = "lower" if self.centre_rise_mm < 0.0 else "higher"
        body = (
            f"heave {number(self.heave_mm, 'mm')} mm, pitch {number(self.pitch_deg, 'deg')}° (nose down positive), "
            f"roll {number(self.roll_deg, 'deg')}° (left side up positive), "
            f"mass centre {number(abs(self.centre_rise_mm), 'mm')} mm {sense} than designed"
        )
        return f"{self.title}, {self.loads}\n{body}"

    def tables(self, measures: Sequence[str] | None = None) -> tuple[Table, ...]:  # noqa: ARG002 - none to choose
        """A row a wheel, and a row a spring, bar or stop; with deviations of figures, a row a figure and its doubt."""
        doubt = (self.doubt.table(),) if self.doubt else ()
        return self._wheel_table(), *self._bend_table(BENT_HEADS), self._element_table(), *doubt

    def figures(self) -> tuple[tuple[str, str, float], ...]:
        """What the settled car is told by: name, unit and value of body, wheels and elements."""
        body = [(n, u, float(getattr(self, n))) for n, u in BODY[:3]] + [("centre_rise_mm", "mm", self.centre_rise_mm)]
        wheels = [(f"{w.name} travel", "mm", w.travel_mm) for w in self.wheels]
        wheels += [(f"{w.name} load", "N", w.load_n) for w in self.wheels]
        forces = [(f"{e.axle} {e.name} force", *reversed(e.outside()[2:])) for e in self.elements]
        return (*body, *wheels, *forces)

    def records(self) -> tuple[Table, ...]:
        """Every figure: wheels, elements, the body, the loads, findings."""
        wheels = [w.record() for w in self.wheels]
        elements = []
        for e in self.elements:
            deflection, unit, force, force_unit = e.outside()
            elements.append((e.axle, e.name, e.kind, deflection, unit, force, force_unit))
        columns = ("axle", "name", "kind", "deflection", "unit", "force", "force_unit")
        body = [Column(n, u) for n, u in BODY]
        found = [(f.severity.value, f.code, str(f)) for f in self.findings]
        loads = asdict(self.loads)
        return (
            Table.of("wheels", wheels[0], [tuple(w.values()) for w in wheels]),
            Table.of("elements", columns, elements),
            Table.of("body", body, [tuple(float(getattr(self, c.name)) for c in body)]),
            Table.of("loads", loads, [tuple(loads.values())]),
            Table.of("findings", ("severity", "code", "finding"), found),
            *self._bend_table(DISPLACEMENTS),
            *((self.doubt.record(),) if self.doubt else ()),
        )

    def notes(self) -> tuple[str, ...]:
        """How well the car balances; what bends."""
        balance = f"Forces balance to {self.error_n:.0e} N, moments to {self.error_n_m:.0e} N·m."
        return (balance,) if self.bends is None else (BENT, balance)

    def _bend_table(self, heads: Sequence[str]) -> tuple[Table, ...]:
        """What gives way at each wheel; nothing where all is rigid."""
        if self.bends is None:
            return ()
        columns = (Column(n, head=h, places=4) for n, h in zip(DISPLACEMENTS, heads, strict=True))
        each = zip(self.wheels, self.bends, strict=True)
        rows = [(w.name, *(float(v) if np.isfinite(v) else None for v in b)) for w, b in each]
        return (Table.of("bends", (Column("wheel", text=True), *columns), rows, "bent, beside the car at rest"),)

    def _wheel_table(self) -> Table:
        columns = [
            Column("wheel", text=True),
            Column("travel_mm", "mm", "travel mm"),
            Column("load_n", "N", "load N", places=1),
            Column("side_n", "N", "side force N", places=1),
            Column("along_n", "N", "long. force N", places=1),
            Column("camber_ground_deg", "deg", "camber to\nground °"),
            Column("toe_ground_deg", "deg", "toe to\nground °"),
        ]
        rows: list[tuple[str | float, ...]] = [
            (w.name, w.travel_mm, w.load_n, w.side_n, w.along_n, w.camber_ground_deg, w.toe_ground_deg)
            for w in self.wheels
        ]
        if any(w.lifted for w in self.wheels):
            columns.append(Column("lifted", text=True))
            rows = [(*row, "lifted" if w.lifted else "") for row, w in zip(rows, self.wheels, strict=True)]
        return Table.of("wheels", columns, rows)

    def _element_table(self) -> Table:
        columns = [
            Column("element", text=True),
            Column("deflection"),
            Column("deflection_unit", head="unit", text=True),
            Column("force"),
            Column("force_unit", head="unit", text=True),
        ]
        rows: list[tuple[str | Quantity, ...]] = []
        for e in self.elements:
            deflection, unit, force, force_unit = e.outside()
            rows.append((f"{e.axle} {e.name}", Quantity(deflection, "mm"), unit, Quantity(force, "%"), force_unit))
        if any(e.slack_mm for e in self.elements):
            columns.append(Column("slack", text=True))
            rows = [(*row, "slack" if e.slack_mm else "") for row, e in zip(rows, self.elements, strict=True)]
        return Table.of("elements", columns, rows)
