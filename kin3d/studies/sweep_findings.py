"""What a sweep says beside its figures: limits met, measures without a value, centres that run away, the axis meant."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, Severity
from kin3d.linkage.design import SIDES
from kin3d.measures.roll_centre import PARALLEL_DEG
from kin3d.measures.steering import HELD, MEASURES, SCREW
from kin3d.solve.lanes import Lanes, Solved, Status
from kin3d.solve.limits import STRAIGHT, drives_reached, limit_sentence
from kin3d.solve.model import AxleModel

Array = NDArray[np.float64]


def limits_met(lanes: Lanes, solved: Solved) -> list[Finding]:
    """One finding for each direction and cause for which positions were out of reach, sides and racks together."""
    first: dict[tuple[int, bool, float, int], int] = {}
    counts: dict[int, int] = {}
    for lane in map(int, np.flatnonzero(solved.status != Status.OK)):
        side, status = int(lanes.variant[lane]), int(solved.status[lane])
        key = (side, bool(lanes.travel[lane] > 0), float(lanes.rack[lane]), status)
        told = first.setdefault(key, lane)
        counts[told] = counts.get(told, 0) + 1
    groups: dict[tuple[bool, str], list[int]] = {}
    for lane in counts:
        cause = limit_sentence(lanes, solved, lane).cause
        groups.setdefault((bool(lanes.travel[lane] > 0), cause), []).append(lane)
    return [_limit(lanes, solved, told, sum(counts[k] for k in told)) for told in groups.values()]


def _limit(lanes: Lanes, solved: Solved, told: Sequence[int], count: int) -> Finding:
    """The finding of lanes that ended for the same cause; where they ended is a range if it differs."""
    sentences = {limit_sentence(lanes, solved, k).text: k for k in told}
    text = next(iter(sentences))
    if len(sentences) > 1:
        every = [drives_reached(lanes, solved, k) for k in told]
        units = {name: unit for reached in every for name, (_, unit) in reached.items()}
        spans = {n: _span([r[n][0] if n in r else 0.0 for r in every]) for n in units}
        travel, *others = (f"{name} {spans[name]} {unit}" for name, unit in units.items())
        where = f"{travel} is the limit" + (f", with {' and '.join(others)}{STRAIGHT}" if others else "")
        text = f"{where}: {limit_sentence(lanes, solved, told[0]).cause}"
    sides = dict.fromkeys(SIDES[int(lanes.variant[k])] for k in told)
    wheels = f"{' and '.join(sides)} wheel{'s' if len(sides) > 1 else ''}"
    missed = f"{count} position{'s' if count > 1 else ''} asked for {'are' if count > 1 else 'is'} beyond it"
    return Finding("out-of-reach", f"{wheels}: {text}; {missed}", severity=Severity.WARNING)


def _span(values: Sequence[float]) -> str:
    low, high = f"{min(values):+.2f}", f"{max(values):+.2f}"
    return low if low == high else f"{low} to {high}"


def without_value(found: dict[str, Array], ok: NDArray[np.bool_]) -> list[Finding]:
    """Says which measures have no value in solved rows; `found` and `ok` have one entry a row."""
    out = []
    for name, v in found.items():
        count = int((~np.isfinite(v) & ok).sum())
        if count and name not in ("ackermann_pct", "turning_radius_mm"):
            text = f"{name} has no finite value in {count} solved row(s): its axis or centre is at infinity there"
            out.append(Finding("no-value", text, severity=Severity.NOTE))
    straight = [n for n in ("ackermann_pct", "turning_radius_mm") if n in found]
    if straight and (~np.isfinite(found[straight[0]]) & ok).any():
        text = f"{' and '.join(straight)}: no value where the wheels are not steered (mean steer under 0.1 deg)"
        out.append(Finding("not-steered", text, severity=Severity.NOTE))
    return out


def lines_alike(found: dict[str, Array], ok: NDArray[np.bool_]) -> list[Finding]:
    """Says where the roll centre is the crossing of two nearly parallel lines."""
    angle = found.get("roll_centre_lines_deg")
    if angle is None:
        return []
    flat = int(((angle[: len(ok)] < PARALLEL_DEG) & ok).sum())
    if not flat:
        return []
    text = (
        f"in {flat} position(s) the two lines of the roll centre cross at less than {PARALLEL_DEG:g} deg: the crossing "
        "runs away there; roll_centre_height_force_mm, from the jacking forces, stays finite"
    )
    return [Finding("roll-centre-far", text, severity=Severity.NOTE)]


def steering_axis_told(model: AxleModel, names: Collection[str]) -> list[Finding]:
    """Says what the steering axis is where the layout names no ball joints: the figures depend on it."""
    told = [m.name for m in MEASURES if m.name in names]
    linkage = model.linkage
    if not told or model.axle.layout.steering_axis is not None:
        return []
    held = HELD[model.axle.steering_axis_holds]
    moves = SCREW if linkage.steers in ("rack", "") else SCREW.replace("the rack", f"drive {linkage.steers}")
    text = f"about {moves}, {held} held: layout \"{linkage.layout}\" has no two ball joints"
    if linkage.steering_axis is not None:
        lower, upper = (" and ".join(points) for points in linkage.steering_axis)
        text = f"the steering axis runs from {lower} to {upper}, which are two ball joints where links meet"
    return [Finding("steering-axis", f"{', '.join(told)}: {text}", severity=Severity.NOTE)]
