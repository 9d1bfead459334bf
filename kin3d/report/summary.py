"""What can be said, in sentences: the differences that the points bear out, what makes them, and those they do not."""

from __future__ import annotations

from collections.abc import Sequence

from kin3d.measures.entry import Measure
from kin3d.report.glance import GRADIENTS
from kin3d.report.markup import listed
from kin3d.studies.compare import Comparison
from kin3d.studies.compared import CarPair
from kin3d.studies.significance import EXACT, SAID, UNSAID, Difference
from kin3d.studies.told import finding, places_of, unit_words, with_doubt
from kin3d.writing.html import prose, tag
from kin3d.writing.numbers import fixed, percent, rate, signed

SAME = "No differences: both cars have the same figures."
SAME_THERE = "No differences on the {side} side: all figures are the same. The {other} side has points of its own."
KINDS_SAID = {"design": "", "rate": ", per mm of travel"}  # figures that the summary speaks of


def summary(results: Sequence[Comparison]) -> str:
    """Sentences on the usual measures, axle by axle and pair by pair."""
    return "".join(_pair(result, pair) for result in results for pair in result.pairs)


def _pair(result: Comparison, pair: CarPair) -> str:
    found = [x for x in pair.differences if x.measure.usual and _worth(x)]
    said = [x for x in found if x.verdict == SAID]
    unsure = [x for x in found if x.verdict == UNSAID]
    exact = [x for x in found if x.verdict == EXACT]
    between = f", {pair.a.title} to {pair.b.title}" if len(result.pairs) > 1 else ""
    parts = [tag("h3", prose(f"{result.axle.capitalize()} axle{between}"))]
    if said:
        parts.append(listed((_sentence(x, pair) for x in said), "said"))
    elif unsure:
        none = f"No difference can be said at {percent(result.threshold)}"
        parts.append(tag("p", f"{none}: each is less than what doubt of the points alone can make.", class_="lead"))
    if unsure:
        parts.append(tag("p", prose(f"Cannot be said from these points: {_unsure(unsure)}."), class_="unsure"))
    if exact:
        told = "; ".join(f"{x.measure.label.lower()} ({signed(x.difference, x.measure.unit)}{_unit(x)})" for x in exact)
        parts.append(tag("p", prose(f"Set by figures that are taken as exact: {told}."), class_="unsure"))
    if not said and not unsure and not exact:
        same = pair.cautions[0] if pair.cautions and any(not x.same for x in found) else _same(result)
        parts += [tag("p", prose(finding(x, pair) + ".")) for x in _plain(found)] or [tag("p", prose(same))]
    return tag("div", "".join(parts), class_="pair")


def _same(result: Comparison) -> str:
    """Of two cars whose figures are alike: those of one side, where a car has other points on the other."""
    if all(c.fitted.car.axle(result.axle).other_points is None for c in result.cars):
        return SAME
    return SAME_THERE.format(side=result.side, other="right" if result.side == "left" else "left")


def _plain(found: Sequence[Difference]) -> list[Difference]:
    """The differences of cars whose points carry no deviations, in the design position."""
    return [x for x in found if x.kind == "design" and not x.same and x.measure.name == "roll_centre_height_mm"]


def _worth(x: Difference) -> bool:
    """Whether the summary speaks of a figure: gradients of places change by nothing that could be read."""
    if x.kind == "rate" and x.measure.name not in GRADIENTS:
        return False
    return x.kind in KINDS_SAID


def _unsure(unsure: Sequence[Difference]) -> str:
    """Names of what cannot be said; of what changes with travel the number alone, the rows below have all."""
    names = [x.measure.label.lower() for x in unsure if x.kind == "design"]
    rates = sum(x.kind == "rate" for x in unsure)
    change = f"how {rates} of the figures change with travel" if rates > 1 else "how one figure changes with travel"
    return "; ".join([*names, *([change] if rates else [])])


def _sentence(x: Difference, pair: CarPair) -> str:
    """What changed, by how much and how sure, what made it, from what to what."""
    if x.kind == "rate":
        unit = "" if x.unit == "1" else f" {x.unit}"
        values = f"{rate(x.a, x.measure.unit)} → {rate(x.b, x.measure.unit)}{unit}"
        change = f"{with_doubt(x.difference, x, with_sign=True)}, {percent(x.threshold)}"
        return tag("b", prose(x.measure.label + KINDS_SAID["rate"])) + prose(f": {values} ({change}).")
    places = places_of(x.half_width)
    values = f"{fixed(x.a, places)}\u00a0→\u00a0{fixed(x.b, places)}{unit_words(x, False)}"
    return tag("b", prose(finding(x, pair))) + prose(f" ({values}).")


def _unit(x: Difference) -> str:
    return "" if x.unit == "1" else f" {x.unit}"


def shown_measures(results: Sequence[Comparison], names: Sequence[str]) -> list[Measure]:
    """Measures of the given names that any car of any axle has, once each."""
    every: dict[str, Measure] = {}
    for result in results:
        for car in result.cars:
            every |= {m.name: m for m in car.tolerance.measures}
    return [every[n] for n in names if n in every]
