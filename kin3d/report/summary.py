"""What can be said, in sentences: the differences that the points bear out, what makes them, and those they do not."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from kin3d.measures.entry import Measure
from kin3d.report.markup import listed
from kin3d.studies.compare import Comparison
from kin3d.studies.compared import CarPair
from kin3d.studies.significance import EXACT, SAID, UNSAID, Difference
from kin3d.writing.html import tag, text
from kin3d.writing.numbers import number, percent, rate, signed, signed_rate

KINDS_SAID = {"design": "", "rate": ", per mm of travel"}  # figures that the summary speaks of
GRADIENTS = (
    "camber_deg",
    "toe_deg",
    "caster_deg",
    "roll_centre_height_mm",
    "anti_dive_pct",
    "anti_squat_pct",
    "motion_ratio",
    "wheel_rate_n_per_mm",
)
MOST_CAUSES = 2
SMALL = 0.15  # part of the difference under which a cause is not named here


def summary(results: Sequence[Comparison]) -> str:
    """Sentences on the usual measures, axle by axle and pair by pair."""
    out = []
    for result in results:
        for pair in result.pairs:
            out.append(_pair(result, pair))
    return "".join(out)


def _pair(result: Comparison, pair: CarPair) -> str:
    found = [x for x in pair.differences if x.measure.usual and _worth(x)]
    said = [x for x in found if x.verdict == SAID]
    unsure = [x for x in found if x.verdict == UNSAID]
    exact = [x for x in found if x.verdict == EXACT]
    same = list(dict.fromkeys(x.measure.label for x in found if x.verdict == "no difference" and x.kind == "design"))
    between = f", {pair.a.title} to {pair.b.title}" if len(result.pairs) > 1 else ""
    parts = [tag("h3", text(f"{result.axle.capitalize()} axle{between}"))]
    if said:
        parts.append(tag("p", f"Can be said, at {percent(result.threshold)}:", class_="lead"))
        parts.append(listed((_sentence(x, pair) for x in said), "said"))
    if unsure:
        parts.append(tag("p", "Cannot be said from these points:", class_="lead"))
        parts.append(tag("p", "; ".join(_short(x) for x in unsure) + ".", class_="unsure"))
    if exact:
        parts.append(tag("p", "Set by figures of the car files that are taken as exact:", class_="lead"))
        parts.append(tag("p", "; ".join(_short(x) for x in exact) + ".", class_="unsure"))
    if same:
        parts.append(tag("p", text(f"No difference in the design position: {', '.join(same)}.")))
    if not said and not unsure and not exact:
        parts.append(tag("p", text(pair.cautions[0] if pair.cautions else "No differences.")))
    return tag("div", "".join(parts), class_="pair")


def _worth(x: Difference) -> bool:
    """Whether the summary speaks of a figure: gradients of places change by nothing that could be read."""
    if x.kind == "rate" and x.measure.name not in GRADIENTS:
        return False
    return x.kind in KINDS_SAID


def _sentence(x: Difference, pair: CarPair) -> str:
    figure = rate if x.kind == "rate" else number
    unit = "" if x.unit == "1" else f" {x.unit}"
    values = f"{figure(x.a, x.measure.unit)} → {figure(x.b, x.measure.unit)}{unit}"
    sign = "+" if x.difference > 0.0 else ""
    change = f"{sign}{figure(x.difference, x.measure.unit)}"
    uncertainty = f" ± {figure(x.half_width, x.measure.unit)}, {percent(x.threshold)}"
    because = "; ".join(_causes(x, pair))
    ending = f". Mostly {because}." if because else "."
    name = tag("b", text(x.measure.label + KINDS_SAID[x.kind]))
    return f"{name}: {text(values)} ({text(change)}{text(uncertainty)}){text(ending)}"


def _causes(x: Difference, pair: CarPair) -> Iterator[str]:
    """The groups that make most of the difference, where it could be attributed."""
    found = pair.attribution
    names = [m.name for m in found.measures]
    if x.measure.name not in names or not found.adds_up()[names.index(x.measure.name)]:
        return
    k = names.index(x.measure.name)
    whole = found.of(x.kind)[0]
    parts = {g: float(v[k]) for g, v in found.grouped(whole).items()}
    top = sorted(parts, key=lambda g: -abs(parts[g]))[:MOST_CAUSES]
    for group in top:
        if abs(parts[group]) >= SMALL * abs(x.difference):
            yield f"{group} {(signed_rate if x.kind == 'rate' else signed)(parts[group], x.measure.unit)}"


def _short(x: Difference) -> str:
    figure = rate if x.kind == "rate" else number
    sign = "+" if x.difference > 0.0 else ""
    change = f"{sign}{figure(x.difference, x.measure.unit)}"
    change += "" if x.exact else f" ± {figure(x.half_width, x.measure.unit)}"
    unit = "" if x.unit == "1" else f" {x.unit}"
    return text(f"{x.measure.label.lower()}{KINDS_SAID[x.kind]} ({change}{unit})")


def shown_measures(results: Sequence[Comparison], names: Sequence[str]) -> list[Measure]:
    """Measures of the given names that any car of any axle has, once each."""
    every: dict[str, Measure] = {}
    for result in results:
        for car in result.cars:
            every |= {m.name: m for m in car.tolerance.measures}
    return [every[n] for n in names if n in every]

