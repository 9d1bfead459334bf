"""Figures of springs and bars as measures of an axle, with exact derivatives: rates of all of them, figures of one.

``roll_rate_n_m_per_deg`` is that of all elements together, ``bar.roll_ratio`` that of one by its name in the car file.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from weakref import WeakKeyDictionary

import numpy as np

from kin3d.errors import Finding
from kin3d.loads.elements import Element, axle_elements
from kin3d.measures.corner import Corner
from kin3d.measures.corner_pair import CornerPair, of_axle
from kin3d.measures.entry import Measure
from kin3d.spatial.jets import Jet
from kin3d.spatial.vectors import Number
from kin3d.studies.rates import MEASURES, RateCurve, element_curve, outer_part, sum_of

ENTRIES = {m.name: m for m in MEASURES}
OF_ALL = tuple(n for n in ENTRIES if "_rate_" in n or "_second_term_" in n)  # what has a sum over the elements
FIGURES = (
    *(f"axle.{t}.{k}" for t in ("spring", "third", "roll_spring") for k in ("rate_n_per_mm", "design_force_n")),
    *(f"axle.torsion.{k}" for k in ("rate_n_m_per_deg", "design_torque_n_m")),
    "axle.bar.rate_n_m_per_deg",
)
_made: WeakKeyDictionary[CornerPair, list[RateCurve]] = WeakKeyDictionary()  # several measures ask for the same


def element_measure(name: str) -> Measure | None:
    """The measure of an axle of that name; None where the name is of nothing that is told of elements."""
    element, _, own = name.rpartition(".")
    entry = ENTRIES.get(own)
    if entry is None or not (element or own in OF_ALL):
        return None
    return replace(
        entry,
        name=name,
        label=f"{entry.label}, {element or 'all elements'}",
        function=of_axle(partial(_figure, entry, element)),
        scope="axle",
        uses=(*entry.uses, *FIGURES),
        unless=partial(_lacks, element),
    )


def name_an_element(name: str) -> Finding | None:
    """What to do with the name of a figure that only one element has; None for other names."""
    if name not in ENTRIES or name in OF_ALL:
        return None
    text = f'"{name}" is a figure of one element: put its name and a dot before it, as in spring.{name}, bar.{name}'
    return Finding("element-unnamed", text)


def _figure(entry: Measure, element: str, pair: CornerPair) -> Number:
    curves = curves_of(pair)
    return entry.function(next(c for c in curves if c.name == element) if element else sum_of(curves))


def curves_of(pair: CornerPair) -> list[RateCurve]:
    """Every element of a pair, as numbers or jets of its outer generators; made once."""
    if pair not in _made:
        elements = _elements(pair)
        names = dict.fromkeys(e.name for e in elements)
        _made[pair] = [element_curve([e for e in elements if e.name == n], pair, pair.track) for n in names]
    return _made[pair]


def _elements(pair: CornerPair) -> Sequence[Element]:
    """The elements as the car file gives them, figures that vary as jets; signs are those of the design position."""
    model = pair.model
    design, axes = (np.stack([getattr(s, n) for s in model.sides]) for n in ("design", "rack_axis"))
    found = axle_elements(replace(model, axle=pair.left.axle, variants=model.kernel.variants(design, axes)))
    still = [replace(e, **{n: _still(getattr(e, n), pair) for n in ("rate", "design_force", "gap")}) for e in found]
    return [_of_cars(e, pair) for e in still]


def _of_cars(element: Element, pair: CornerPair) -> Element:
    """The element with the design of the pair's cars, where it has a shape of its own: a T-bar."""
    if element.t_bar is None:
        return element
    made = element.t_bar.of_design(pair.left, pair.right)
    return replace(element, _deflection=made.twist, t_bar=made)


def _still(x: Number, pair: CornerPair) -> Number:
    """A figure without the travels, which do not change it."""
    return outer_part(x, (0, 0), pair.outer) if isinstance(x, Jet) else x


def _lacks(element: str, corner: Corner) -> str:
    """Says what stands in the way of a figure of an element, or of all."""
    names = list(dict.fromkeys(e.name for e in axle_elements(corner.model)))
    if not names:
        return f"the {corner.axle.name} axle has no spring and no bar"
    return "" if not element or element in names else f'no element "{element}"; there are: {", ".join(names)}'
