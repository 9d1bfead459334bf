"""Warning signs of the inboard side over the travel: stops met, stroke used, springs loose, dead centres near."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, Severity
from kin3d.linkage.design import SIDES
from kin3d.loads.elements import Element
from kin3d.measures.corner import Corner
from kin3d.measures.corner_pair import CornerPair
from kin3d.measures.rod import misalignment_inner, misalignment_outer, rod_to_rocker
from kin3d.solve.model import AxleModel
from kin3d.spatial.jets import value

Array = NDArray[np.float64]
DEAD_CENTRE_DEG = 20.0  # a rod nearer to its rocker arm's line is near dead centre (common practice, no source)


def stroke_findings(
    model: AxleModel, elements: Sequence[Element], travel_mm: Array, pair: CornerPair
) -> tuple[Finding, ...]:
    """What is worth a word over a heave travel; of each side where both have points of their own.

    Parameters
    ----------
    travel_mm : ndarray, shape (lanes,)
        Heave of each lane.
    pair : CornerPair
        Both corners over these lanes.
    """
    strokes = {e.label: np.broadcast_to(e.deflection(pair.left, pair.right).value, travel_mm.shape) for e in elements}
    both = model.axle.other_points is not None
    across = [e for e in elements if e.side == "both"]
    out = _of_elements(model, across, travel_mm, strokes)
    for side, corner in zip(SIDES, (pair.left, pair.right), strict=True) if both else (("left", pair.left),):
        found = _of_elements(model, [e for e in elements if e.side == side], travel_mm, strokes)
        if model.linkage.rocker is not None:
            found += _rocker(model, travel_mm, corner)
        out += [replace(f, place=f"{f.place}, {side} side") for f in found] if both else found
    return tuple(out)


def _of_elements(
    model: AxleModel, elements: Sequence[Element], travel: Array, strokes: dict[str, Array]
) -> list[Finding]:
    found = [f for e in elements for f in _of_element(model, e, travel, strokes[e.label])]
    return found + _damper(model, elements, strokes)


def _of_element(model: AxleModel, element: Element, travel: Array, u: Array) -> list[Finding]:
    place = f"[{model.axle.name}] {element.name}"
    force, _ = element.force(u)
    if element.kind == "stop":
        met = np.isfinite(u) & (force != 0.0)
        if not met.any():
            return []
        at = _first(travel, met)
        text = f"is met at {at:+.1f} mm of travel; its force at {_end(travel, met):+.1f} mm is {_largest(force):,.0f} N"
        return [Finding("stop-met", text, place, Severity.NOTE)]
    loose = element.beyond_free_length(u) > 0.0
    if not loose.any():
        return []
    text = f"is slack from {_first(travel, loose):+.1f} mm of travel on: beyond its free length it carries nothing"
    return [Finding("spring-loose", text, place, Severity.WARNING)]


def _damper(model: AxleModel, elements: Sequence[Element], strokes: dict[str, Array]) -> list[Finding]:
    damper = model.axle.damper
    found = next((e for e in elements if damper and e.name == damper.on), None)
    if damper is None or found is None:
        return []
    u = strokes[found.label]
    out = _preload(model, found)
    used = (float(np.nanmax(np.maximum(u, 0.0))), float(np.nanmax(np.maximum(-u, 0.0))))
    for sense, need, have in zip(("bump", "droop"), used, (damper.bump_mm, damper.droop_mm), strict=True):
        part = f" ({100.0 * need / have:.0f} %)" if have else ""
        text = f"{sense} uses {need:.1f} mm of {have:g} mm of stroke{part}"
        bad = need > have
        text += ": the damper is at its end before the travel is" if bad else ""
        severity = Severity.WARNING if bad else Severity.NOTE
        out.append(Finding("damper-stroke", text, f"[{model.axle.name}.damper]", severity))
    return out


def _preload(model: AxleModel, element: Element) -> list[Finding]:
    """What is left of the spring's force where the damper is fully out: below it the wheel hangs on the damper."""
    damper = model.axle.damper
    if damper is None or element.design_force is None:
        return []
    force, slack = float(element.force(-damper.droop_mm)[0]), float(element.beyond_free_length(-damper.droop_mm))
    place = f"[{model.axle.name}.damper]"
    if slack > 0.0:
        text = f"the spring is slack in the last {slack:.1f} mm before the damper is fully out"
        return [Finding("preload", text, place, Severity.WARNING)]
    text = f"fully out, the spring still presses on it with {force:,.0f} N: the preload"
    return [Finding("preload", text, place, Severity.NOTE)]


def _rocker(model: AxleModel, travel: Array, corner: Corner) -> list[Finding]:
    place = f"[{model.axle.name}]"
    out = []
    angle = np.degrees(np.broadcast_to(value(rod_to_rocker(corner)), travel.shape))
    near = np.isfinite(angle) & (angle < DEAD_CENTRE_DEG)
    if near.any():
        k = int(np.nanargmin(angle))
        text = f"the rocker is {angle[k]:.0f} deg from its dead centre at {travel[k]:+.1f} mm of travel"
        out.append(Finding("dead-centre-near", text, place, Severity.WARNING))
    limit = model.axle.rod_part.rod_end_limit_deg if model.axle.rod_part else None
    for name, function in (("outer", misalignment_outer), ("inner", misalignment_inner)):
        out_of_line = np.degrees(np.broadcast_to(value(function(corner)), travel.shape))
        k = int(np.nanargmax(np.where(np.isfinite(out_of_line), out_of_line, -1.0)))
        if limit is not None and out_of_line[k] > limit:
            text = (
                f"the {name} rod end is {out_of_line[k]:.1f} deg out of line at {travel[k]:+.1f} mm of travel; "
                f"rod_end_limit_deg is {limit:g}"
            )
            out.append(Finding("rod-end", text, f"[{model.axle.name}.rod_part]", Severity.WARNING))
    return out


def _first(travel: Array, where: NDArray[np.bool_]) -> float:
    """The travel nearest to the design position at which something holds."""
    return float(travel[where][np.argmin(np.abs(travel[where]))])


def _end(travel: Array, where: NDArray[np.bool_]) -> float:
    return float(travel[where][np.argmax(np.abs(travel[where]))])


def _largest(force: Array) -> float:
    return float(np.nanmax(np.abs(force)))
