"""Inboard elements: springs, torsion springs, bars, cross springs and stops as scalar deflections with a force law.

An element has a *deflection* u(z_left, z_right), a jet in the travels of both wheels, and a force law f(u). All
else follows from energy: the generalised force at a wheel is f·du/dz, the rate there k·(du/dz)² + f·d²u/dz².

Lengths mm, angles rad, forces N, torques N·mm.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from math import pi
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, Severity
from kin3d.linkage.design import SIDES
from kin3d.linkage.keys import Stop
from kin3d.loads.deflections import Deflection, across, arm_turn, difference, of_side, shortening
from kin3d.loads.tbar import TBar, t_bar
from kin3d.measures.corner import Corner
from kin3d.measures.corner_pair import CornerPair
from kin3d.solve.model import AxleModel
from kin3d.spatial.jets import Jet, choose, value

Array = NDArray[np.float64]
ElementKind = Literal["spring", "torsion", "bar", "third", "roll spring", "stop"]
DAMPER_END = "damper end"
END_RATE = 1000.0  # of the stiff end on which a wheel in the air hangs, as a multiple of its spring's
NMM_PER_RAD = 1000.0 * 180.0 / pi  # from N·m/deg


@dataclass(frozen=True, slots=True)
class Turned:
    """A body of each side that an element turns about a line of the chassis.

    Attributes
    ----------
    body : str
    axis : tuple of str
    senses : (float, float)
        Deflection by the turn of the left and of the right body, right hand about the axis: 1 or −1.
    """

    body: str
    axis: tuple[str, str]
    senses: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Element:
    """One inboard element of an axle.

    Attributes
    ----------
    name : str
        As in the car file: ``"spring"``, ``"torsion"``, ``"bar"``, ``"third"``, ``"roll_spring"``, or one's own name.
    kind : str
    side : {"left", "right", "both"}
        Corner that it belongs to; both for an element across the car.
    unit : {"mm", "rad"}
        Unit of the deflection; the force is N or N·mm accordingly.
    rate : float
        N/mm or N·mm/rad.
    design_force : float or None
        N or N·mm in the design position; None where the car file does not give it (counted as 0).
    gap : float
        For a stop, the deflection at which it begins to work.
    sense : {1.0, -1.0}
        For a stop, 1 where it works in compression.
    captive : bool
        Whether it pulls beyond its free length; a spring that is not held at both ends goes slack there. Without
        a force in the design position the free length is not known, and it counts as held.
    ends : tuple of str or None
        Points between which it acts: of its corner; across the car of the left and the right one. Of a T-bar the point
        that it drives and the end of its head.
    turned : Turned or None
        What it turns, where it does not act between points.
    t_bar : TBar or None
        The T, where it is one.
    """

    name: str
    kind: ElementKind
    side: Literal["left", "right", "both"]
    unit: Literal["mm", "rad"]
    rate: float
    design_force: float | None
    _deflection: Deflection = field(repr=False)
    gap: float = 0.0
    sense: float = 1.0
    captive: bool = True
    ends: tuple[str, str] | None = None
    turned: Turned | None = None
    t_bar: TBar | None = field(default=None, repr=False)

    @property
    def label(self) -> str:
        """Name with its side: ``"spring left"``, ``"bar"``."""
        return self.name if self.side == "both" else f"{self.name} {self.side}"

    @property
    def preload(self) -> Any:
        """Force in the design position, 0 where it is not given; an array or jet where cars differ in it."""
        return 0.0 if self.design_force is None else self.design_force

    def deflection(self, left: Corner, right: Corner) -> Jet:
        """Deflection from the design position, mm or rad.

        Positive as the element is compressed or wound in bump of the wheel it belongs to; a bar is wound positive by
        the left wheel's bump, an element across the car is compressed positive.

        Parameters
        ----------
        left, right : Corner
            The two corners over the same lanes, in one algebra, left travel and right travel each its own generator.
        """
        return self._deflection(left, right)

    def force(self, u: Any, *, hangs: bool = False) -> tuple[Any, Any]:
        """Force (N, N·mm) against positive deflection and stiffness (N/mm, N·mm/rad) at deflections u, arrays or jets.

        Parameters
        ----------
        hangs : bool
            Whether its wheel hangs in the air: something, the damper's end as a rule, then holds it where the spring is
            slack. It is counted as a stiff end at the free length.
        """
        u = u if isinstance(u, Jet) else np.asarray(u, dtype=float)
        if self.kind != "stop":
            slack = self.beyond_free_length(value(u))
            end = END_RATE * self.rate if hangs else 0.0
            force = self.preload + self.rate * u
            return choose(slack > 0.0, -end * slack, force), choose(slack > 0.0, end, self.rate)
        pressed = self.sense * u - self.gap
        works = value(pressed) > 0.0
        return choose(works, self.sense * self.rate * pressed, 0.0), choose(works, self.rate, 0.0)

    def beyond_free_length(self, u: Any) -> Array:
        """How far a spring that goes slack is let out beyond its free length at deflections u, mm; 0 where it works."""
        u = np.asarray(u, dtype=float)
        if self.captive or self.design_force is None:
            return np.zeros_like(u)
        return np.asarray(np.maximum(-value(self.design_force) / value(self.rate) - u, 0.0))

    def energy(self, u: Any) -> Array:
        """Energy stored since the design position, N·mm: the integral of the force over the deflection."""
        u = np.asarray(u, dtype=float)
        if self.kind != "stop":
            u = u + self.beyond_free_length(u)
            return np.asarray(self.preload * u + 0.5 * self.rate * u * u)
        return np.asarray(0.5 * self.rate * np.maximum(self.sense * u - self.gap, 0.0) ** 2)


def axle_elements(model: AxleModel, design: CornerPair | None = None) -> tuple[Element, ...]:
    """Every inboard element of an axle, corner elements once a side; in the order of the car file's table.

    Elements that the linkage has no place for are left out; `element_findings` says so.

    Parameters
    ----------
    design : CornerPair, optional
        Design positions of several cars over the lanes in which the elements are asked then; default the model's own.
    """
    build = _Builder(model, design)
    return (*build.springs(), *build.torsion(), *build.bar(), *build.cross(), *build.stops())


def element_findings(model: AxleModel) -> tuple[Finding, ...]:
    """What was assumed or left out in `axle_elements`."""
    axle, out = model.axle, []
    for name, spring in axle.corner_springs().items():
        if spring.design_force_n is None:
            text = f'spring "{name}" has no design_force_n'
            out.append(Finding("force-assumed", text, f"[{axle.name}]", Severity.NOTE, "0 N in the design position"))
    if axle.torsion and axle.torsion.design_torque_n_m is None:
        text = "design_torque_n_m is not given"
        place = f"[{axle.name}.torsion]"
        out.append(Finding("force-assumed", text, place, Severity.NOTE, "0 N·m in the design position"))
    if axle.bar and model.linkage.bar is None:
        text = "is left out: the point table has no anti-roll bar"
        out.append(Finding("bar-without-points", text, f"[{axle.name}.bar]", Severity.WARNING))
    if model.linkage.bar is not None and axle.bar is None:
        text = f"the points have a {model.linkage.bar.body}, but its rate is not given: it carries no load"
        out.append(Finding("bar-without-rate", text, f"[{axle.name}.bar]", Severity.WARNING))
    return tuple(out)


class _Builder:
    """Makes the elements of one axle."""

    def __init__(self, model: AxleModel, design: CornerPair | None) -> None:
        self.model, self.given = model, design
        self.axle, self.linkage = model.axle, model.linkage

    def _design(self) -> CornerPair:
        return self.given or CornerPair.at(self.model, 0.0, 0.0, degree=1)

    def _both(
        self,
        name: str,
        kind: ElementKind,
        unit: Literal["mm", "rad"],
        rate: float,
        force: float | None,
        one: Any,
        **more: Any,
    ) -> list[Element]:
        sides: tuple[Literal["left", "right"], ...] = ("left", "right")
        return [Element(name, kind, s, unit, rate, force, of_side(s, one(s)), **more) for s in sides]

    def _between(
        self, name: str, kind: ElementKind, rate: float, force: float | None, points: tuple[str, str], **more: Any
    ) -> list[Element]:
        """An element between two points of a corner, one a side; between points that stand once, one alone."""
        one = shortening(*points)
        if all(map(self.linkage.across.once, points)):
            alone: Deflection = lambda left, _right: one(left)  # noqa: E731
            return [Element(name, kind, "both", "mm", rate, force, alone, ends=points, **more)]
        return self._both(name, kind, "mm", rate, force, lambda _s: one, ends=points, **more)

    def _spring_points(self) -> dict[str, tuple[str, str]]:
        """Ends of every spring of a corner that the linkage has a place for, by name."""
        own = {"spring": self.linkage.spring} if self.linkage.spring else {}
        return own | {s.name: s.points for s in self.axle.springs}

    def springs(self) -> list[Element]:
        ends, out = self._spring_points(), []
        for name, spring in self.axle.corner_springs().items():
            if name in ends:
                rate, force = spring.rate_n_per_mm, spring.design_force_n
                out += self._between(name, "spring", rate, force, ends[name], captive=spring.captive)
        return out

    def torsion(self) -> list[Element]:
        torsion, rocker = self.axle.torsion, self.linkage.rocker
        if torsion is None or rocker is None:
            return []
        senses = self._senses(rocker.axis, rocker.rod[1])
        torque = None if torsion.design_torque_n_m is None else 1000.0 * torsion.design_torque_n_m
        rate = torsion.rate_n_m_per_deg * NMM_PER_RAD
        turned = Turned(rocker.body, rocker.axis, senses)
        one = self._turns(rocker.axis, rocker.rod[1], senses)
        return self._both("torsion", "torsion", "rad", rate, torque, one.__getitem__, turned=turned)

    def _senses(self, axis: tuple[str, str], point: str) -> tuple[float, float]:
        """For each side 1 where a body turns right-handed in bump of its own wheel, −1 where it turns the other way."""
        design = self._design()
        rates = (arm_turn(axis, point, 1.0)(c).rate(c.travel).value for c in (design.left, design.right))
        left, right = (-1.0 if float(np.ravel(rate)[0]) < 0.0 else 1.0 for rate in rates)
        return left, right

    @staticmethod
    def _turns(axis: tuple[str, str], point: str, senses: tuple[float, float]) -> dict[str, Callable[[Corner], Jet]]:
        """For each side the turn of a body, positive in bump of its own wheel."""
        return {side: arm_turn(axis, point, sense) for side, sense in zip(SIDES, senses, strict=True)}

    def bar(self) -> list[Element]:
        bar, role = self.axle.bar, self.linkage.bar
        if bar is None or role is None:
            return []
        rate = bar.rate_n_m_per_deg * NMM_PER_RAD
        if role.form == "t":
            made = t_bar(role, self._design())
            return [Element("bar", "bar", "both", "rad", rate, 0.0, made.twist, ends=role.link, t_bar=made)]
        left, right = self._senses(role.axis, role.link[1])
        turns = self._turns(role.axis, role.link[1], (left, right))
        twist = difference(turns["left"], turns["right"])
        turned = Turned(role.body, role.axis, (left, -right))
        return [Element("bar", "bar", "both", "rad", rate, 0.0, twist, turned=turned)]

    def cross(self) -> list[Element]:
        kinds: tuple[tuple[str, ElementKind, Any], ...] = (
            ("third", "third", self.axle.third),
            ("roll_spring", "roll spring", self.axle.roll_spring),
        )
        return [
            Element(
                name,
                kind,
                "both",
                "mm",
                spring.rate_n_per_mm,
                spring.design_force_n,
                across(*spring.points),
                captive=spring.captive,
                ends=spring.points,
            )
            for name, kind, spring in kinds
            if spring is not None
        ]

    def stops(self) -> list[Element]:
        return [e for stop in self.axle.stops for e in self._stop(stop)]

    def _stop(self, stop: Stop) -> list[Element]:
        sense = 1.0 if stop.sense == "bump" else -1.0
        springs, cross = self._spring_points(), {"third": self.axle.third, "roll_spring": self.axle.roll_spring}
        if stop.on in springs:
            where = {"gap": stop.gap_mm, "sense": sense}
            return self._between(stop.name, "stop", stop.rate_n_per_mm, 0.0, springs[stop.on], **where)
        over = cross.get(stop.on)
        if over is None:
            return []
        law = across(*over.points)
        return [
            Element(stop.name, "stop", "both", "mm", stop.rate_n_per_mm, 0.0, law, stop.gap_mm, sense, ends=over.points)
        ]
