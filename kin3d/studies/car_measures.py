"""Figures of the car on its springs as measures with exact derivatives: frequencies, front share of the roll rate.

`kin3d.rates` tells them in the design position; here they are those of the positions that are asked.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial

from kin3d.linkage.record import changed
from kin3d.measures.car import WholeCar, of_all_wheels
from kin3d.measures.corner_pair import CornerPair
from kin3d.measures.entry import Measure
from kin3d.spatial.vectors import Number
from kin3d.studies import frequencies
from kin3d.studies.element_measures import ENTRIES, FIGURES, curves_of
from kin3d.studies.frequencies import Sprung, SprungCar
from kin3d.studies.rates import sum_of

_OF_CAR = {m.name: m for m in frequencies.MEASURES if m.name not in ENTRIES}  # a roll rate is that of the asked axle
_RATES = tuple(key.replace("axle.", f"{axle}.") for axle in ("front", "rear") for key in FIGURES)


def car_measure(name: str) -> Measure | None:
    """The measure of the whole car of that name; None where the name is of nothing that its springs make."""
    entry = _OF_CAR.get(name)
    if entry is None:
        return None
    return replace(
        entry,
        definition=entry.definition.replace("design position", "position"),
        function=of_all_wheels(partial(_figure, entry)),
        uses=(*entry.uses, *_RATES),
        unless=partial(_lacks, entry),
    )


def _figure(entry: Measure, whole: WholeCar) -> Number:
    return entry.function(_sprung(whole))


def _lacks(entry: Measure, whole: WholeCar) -> str:
    return entry.lacks(_sprung(whole))


def _sprung(whole: WholeCar) -> SprungCar:
    """The car in the positions of its axles, with figures that vary as jets."""
    front, rear = (_axle(pair) for pair in (whole.front, whole.rear))
    names = ("mass_kg", "front_mass_share", "roll_inertia_kg_m2")
    return SprungCar(changed(whole.car, **_given(whole.front, "car", names)), front, rear)


def _axle(pair: CornerPair) -> Sprung | None:
    curves = curves_of(pair)
    if not curves:
        return None
    total = sum_of(curves)
    axle = changed(pair.axle, **_given(pair, "axle", ("unsprung_mass_kg", "tyre_rate_n_per_mm")))
    return Sprung(axle, total.heave_rate, total.roll_rate)


def _given(pair: CornerPair, head: str, names: Sequence[str]) -> dict[str, Number]:
    """Figures of the car file of those that are given, by their keys."""
    there = [n for n in names if getattr(getattr(pair, head), n) is not None]
    return {n: pair.of_file(f"{head}.{n}") for n in there}
