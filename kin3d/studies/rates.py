"""Motion ratios and rates of every inboard element of an axle over its travel, in heave, roll and on one wheel.

The energy of the elements is a function of both wheels' travels, E(z_left, z_right). Its second derivatives are the
rates; the part f·d²u/dz² in them is the *second term*, what the force makes of a changing motion ratio.
- single wheel: the other wheel held, E_LL
- heave, a wheel: both wheels move alike, (E_LL + 2·E_LR + E_RR)/2
- roll: the wheels move against each other, (T/2)²·(E_LL − 2·E_LR + E_RR) with T the track
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError, Severity
from kin3d.linkage.car import Car
from kin3d.linkage.names import AxleName
from kin3d.loads.elements import NMM_PER_RAD, Element, axle_elements, element_findings
from kin3d.measures.corner_pair import CornerPair
from kin3d.measures.entry import Measure
from kin3d.solve.model import AxleModel
from kin3d.spatial.jets import Algebra, Jet, value
from kin3d.spatial.vectors import Number
from kin3d.studies.drive_values import drive_values
from kin3d.studies.stroke import stroke_findings

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class RateCurve:
    """An element, or the sum of all, over the travel; every array has the shape (travels,), or is a jet of that shape.

    Attributes
    ----------
    name, kind : str
    unit : {"mm", "rad", ""}
        Unit of the deflection; empty for the sum, which has no deflection, ratio and force (NaN).
    deflection, force : ndarray
        Of the left one, in heave: mm and N, or rad and N·mm.
    heave_ratio, roll_ratio, single_ratio : ndarray
        Deflection per mm of travel: both wheels up; left up and right down; left up alone.
    heave_slope : ndarray
        d(heave_ratio)/d(travel), the progression.
    heave_rate, single_rate : ndarray
        At one wheel, N/mm.
    roll_rate : ndarray
        Of the axle, N·m/deg.
    heave_second, single_second, roll_second : ndarray
        The second term in each.
    """

    name: str
    kind: str
    unit: str
    deflection: Array
    force: Array
    heave_ratio: Array
    roll_ratio: Array
    single_ratio: Array
    heave_slope: Array
    heave_rate: Array
    single_rate: Array
    roll_rate: Array
    heave_second: Array
    single_second: Array
    roll_second: Array

    @property
    def turn(self) -> float:
        """What takes a deflection to mm or deg."""
        return 180.0 / np.pi if self.unit == "rad" else 1.0

    @property
    def torque(self) -> float:
        """What takes a force to N or N·m."""
        return 1e-3 if self.unit == "rad" else 1.0

    @property
    def shown_unit(self) -> str:
        """Unit of the deflection at interfaces."""
        return "deg" if self.unit == "rad" else self.unit


@dataclass(frozen=True, slots=True)
class AxleRates:
    """Rates of one axle in heave over the travel.

    Attributes
    ----------
    travel_mm : ndarray, shape (travels,)
        Of both wheels.
    ok : ndarray of bool
        Where both corners were solved.
    track_mm : ndarray
        Between the contact points (wheel centres where no loaded radius is given).
    curves : tuple of RateCurve
        One an element; corner elements stand for both sides.
    total : RateCurve
        Their sum.
    findings : tuple of Finding
        What was assumed; stops, strokes, dead centres.
    """

    title: str
    axle: AxleName
    travel_mm: Array
    ok: NDArray[np.bool_]
    track_mm: Array
    curves: tuple[RateCurve, ...]
    total: RateCurve
    findings: tuple[Finding, ...]

    def at_design(self, name: str) -> float:
        """A quantity of the sum in the design position (nearest travel to 0)."""
        return float(getattr(self.total, name)[int(np.argmin(np.abs(self.travel_mm)))])


ELEMENTS = tuple(f"axle.{t}" for t in ("spring", "springs", "torsion", "bar", "third", "roll_spring", "stops"))
_ENERGY = "of E(z_left, z_right), the energy of the element over both wheels' travels"


def _entry(
    name: str, label: str, unit: str, sign: str, definition: str, function: Callable[[RateCurve], Array], order: int = 2
) -> Measure:
    uses = (*ELEMENTS, "axle.loaded_radius_mm") if "roll_rate" in name or "roll_second" in name else ELEMENTS
    source = "own formula from energy"
    return Measure(
        name, label, unit, sign, definition, source, function, "rates", scope="element", order=order, uses=uses
    )


_SHORTER = "shortened, or wound, in bump positive"
_PER_MM = "mm or deg per mm"
MEASURES = (
    _entry(
        "deflection",
        "Deflection",
        "mm or deg",
        _SHORTER,
        "from the design position",
        lambda c: c.turn * c.deflection,
        0,
    ),
    _entry(
        "force",
        "Force",
        "N or N·m",
        "against a positive deflection: positive",
        "of the left one, in heave",
        lambda c: c.torque * c.force,
        0,
    ),
    _entry(
        "heave_ratio",
        "Ratio in heave",
        _PER_MM,
        _SHORTER,
        "deflection per mm of travel, both wheels up",
        lambda c: c.turn * c.heave_ratio,
        1,
    ),
    _entry(
        "heave_ratio_slope_per_mm",
        "Slope of the ratio in heave",
        f"{_PER_MM}²",
        "ratio rises in bump: positive",
        "d(ratio in heave)/d(travel)",
        lambda c: c.turn * c.heave_slope,
    ),
    _entry(
        "roll_ratio",
        "Ratio in roll",
        _PER_MM,
        _SHORTER,
        "deflection per mm of travel, left wheel up and right wheel down",
        lambda c: c.turn * c.roll_ratio,
        1,
    ),
    _entry(
        "single_ratio",
        "Ratio on one wheel",
        _PER_MM,
        _SHORTER,
        "deflection per mm of travel of the left wheel alone",
        lambda c: c.turn * c.single_ratio,
        1,
    ),
    _entry(
        "heave_rate_n_per_mm",
        "Heave rate of one wheel",
        "N/mm",
        "stiffer positive",
        f"(E_LL + 2·E_LR + E_RR)/2 {_ENERGY}",
        lambda c: c.heave_rate,
    ),
    _entry(
        "heave_second_term_n_per_mm",
        "Second term in the heave rate",
        "N/mm",
        "stiffer positive",
        "its part f·d²u/dz²",
        lambda c: c.heave_second,
    ),
    _entry(
        "single_rate_n_per_mm",
        "Rate of one wheel, the other held",
        "N/mm",
        "stiffer positive",
        f"E_LL {_ENERGY}",
        lambda c: c.single_rate,
    ),
    _entry(
        "single_second_term_n_per_mm",
        "Second term in it",
        "N/mm",
        "stiffer positive",
        "its part f·d²u/dz²",
        lambda c: c.single_second,
    ),
    _entry(
        "roll_rate_n_m_per_deg",
        "Roll rate of the axle",
        "N·m/deg",
        "stiffer positive",
        f"(T/2)²·(E_LL − 2·E_LR + E_RR) {_ENERGY}, T the track",
        lambda c: c.roll_rate,
    ),
    _entry(
        "roll_second_term_n_m_per_deg",
        "Second term in the roll rate",
        "N·m/deg",
        "stiffer positive",
        "its part f·d²u/dz²",
        lambda c: c.roll_second,
    ),
)


def axle_rates(car: Car, axle: AxleName, travel_mm: Sequence[float] | Array) -> AxleRates:
    """Compute ratios and rates of an axle.

    Parameters
    ----------
    travel_mm : array-like
        Travel of both wheels in heave, bump positive, mm.

    Raises
    ------
    RequestError
        When the axle has no element, or the travel is empty or not finite.
    """
    travel = drive_values({"travel": travel_mm})["travel"]
    model = AxleModel.of(car, axle)
    elements = axle_elements(model)
    if not elements:
        text = (
            f"the {axle} axle has no spring: give [{axle}.spring], [{axle}.torsion], [{axle}.bar] or [{axle}.third], "
            "and the points that they need"
        )
        raise RequestError(Finding("no-element", text, str(car.source)))
    pair = CornerPair.at(model, travel, travel)
    track = track_of(pair)
    names = dict.fromkeys(e.name for e in elements)
    found_curves = [element_curve([e for e in elements if e.name == n], pair, track) for n in names]
    curves = tuple(_over_travel(c, pair.ok.shape) for c in found_curves)
    found = (*element_findings(model), *_one_side(model), *_unreached(travel, pair.ok))
    found += stroke_findings(model, elements, travel, pair)
    return AxleRates(car.title, axle, travel, pair.ok, track, curves, sum_of(curves), found)


def _unreached(travel: Array, ok: NDArray[np.bool_]) -> list[Finding]:
    """Says which travels both wheels together do not reach."""
    missed = travel[~ok]
    if not missed.size:
        return []
    many = f"{missed.size} of {travel.size} travels, {missed.min():+g} to {missed.max():+g} mm"
    where = many if missed.size > 1 else f"travel {missed[0]:+g} mm"
    text = f"{where}: not reached by both wheels, and without a figure (kin3d sweep says why)"
    return [Finding("out-of-reach", text, severity=Severity.WARNING)]


def _one_side(model: AxleModel) -> list[Finding]:
    """Says whose figures stand for an element that each side has, where the sides differ."""
    if model.axle.other_points is None:
        return []
    text = (
        "the two sides have points of their own: ratios, deflections, forces and rates of a single wheel are those of "
        "the left side; rates in heave are the mean of both, rates in roll hold for both"
    )
    return [Finding("left-side", text, f"[{model.axle.name}] other_points", Severity.NOTE)]


def track_of(pair: CornerPair) -> Array:
    """Distance of the contact points (or wheel centres) across the car, mm, shape (lanes,)."""
    known = pair.left.axle.loaded_radius_mm is not None
    left, right = (c.contact[1] if known else c.centre[1] for c in (pair.left, pair.right))
    return np.asarray(value(left) - value(right))


def _over_travel(curve: RateCurve, shape: tuple[int, ...]) -> RateCurve:
    """The curve with every figure over all travels."""
    words, numbers = (curve.name, curve.kind, curve.unit), [getattr(curve, f.name) for f in fields(RateCurve)][3:]
    return RateCurve(*words, *(np.broadcast_to(np.asarray(v, dtype=float), shape) for v in numbers))


def outer_part(u: Jet, inner: tuple[int, int], outer: Algebra) -> Number:
    """Coefficient of powers of both travels: a number, or a jet of what a study derives along beside them."""
    found = [u.coefficients[u.algebra.index[(*inner, *m)]] for m in outer.monomials]
    if len(found) > 1:
        return Jet(outer, found)
    return 0.0 if found[0] is None else found[0]


@dataclass(frozen=True, slots=True)
class _Part:
    """Second derivatives of the energy along both wheels (LL, LR, RR), and the second term in them."""

    rate: list[Number]
    second: list[Number]


def _part(element: Element, u: Jet, outer: Algebra) -> _Part:
    force, stiffness = element.force(outer_part(u, (0, 0), outer))
    a, b = (outer_part(u, m, outer) for m in ((1, 0), (0, 1)))
    bends = [2.0 * outer_part(u, (2, 0), outer), outer_part(u, (1, 1), outer), 2.0 * outer_part(u, (0, 2), outer)]
    second = [force * bend for bend in bends]
    squares = [a * a, a * b, b * b]
    return _Part([stiffness * q + s for q, s in zip(squares, second, strict=True)], second)


def element_curve(elements: Sequence[Element], pair: CornerPair, track: Number) -> RateCurve:
    """The curve of an element, or of one that each side has, in the positions of a pair.

    Rates and forces of the elements are numbers, or jets of the pair's outer generators.
    """
    outer = pair.outer
    jets = [e.deflection(pair.left, pair.right) for e in elements]
    parts = [_part(e, u, outer) for e, u in zip(elements, jets, strict=True)]
    rate = [sum(each) for each in zip(*(p.rate for p in parts), strict=True)]
    second = [sum(each) for each in zip(*(p.second for p in parts), strict=True)]
    u, first = jets[0], elements[0]
    a, b = (outer_part(u, m, outer) for m in ((1, 0), (0, 1)))
    heave, single, roll = _modes(rate, track)
    heave2, single2, roll2 = _modes(second, track)
    deflection = outer_part(u, (0, 0), outer)
    slope = 2.0 * (outer_part(u, (2, 0), outer) + outer_part(u, (1, 1), outer) + outer_part(u, (0, 2), outer))
    return RateCurve(
        first.name, first.kind, first.unit, deflection, first.force(deflection)[0], a + b, a - b, a, slope,
        heave, single, roll, heave2, single2, roll2,
    )  # fmt: skip


def _modes(rows: Sequence[Number], track: Number) -> tuple[Number, Number, Number]:
    """Heave a wheel, single wheel (N/mm), roll of the axle (N·m/deg) of rows LL, LR, RR."""
    ll, lr, rr = rows
    roll = 0.25 * track * track * (ll - 2.0 * lr + rr) / NMM_PER_RAD
    return 0.5 * (ll + 2.0 * lr + rr), ll, roll


def sum_of(curves: Sequence[RateCurve]) -> RateCurve:
    """The sum of all elements."""
    names = ("heave_rate", "single_rate", "roll_rate", "heave_second", "single_second", "roll_second")
    sums = [sum(getattr(c, n) for c in curves) for n in names]
    return RateCurve("sum", "sum", "", *[np.full(np.shape(value(sums[0])), np.nan)] * 6, *sums)
