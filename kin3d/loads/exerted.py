"""What the springs, bars and stops of an axle exert on its bodies in one position of both wheels.

Units: N, N·mm, mm. Frame: vehicle. Lane 0 is the left corner, lane 1 the right one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.design import SIDES
from kin3d.loads.applied import Acting, between, carrier, over_lanes, pulled, turning
from kin3d.loads.elements import Element
from kin3d.loads.joint_forces import Push
from kin3d.loads.tbar import TBar
from kin3d.loads.whole_axle import lane_of, point_on
from kin3d.measures.corner import Corner
from kin3d.measures.corner_pair import CornerPair
from kin3d.measures.two_travels import LEFT, RIGHT

Array = NDArray[np.float64]


def exerted(
    elements: Sequence[Element], pair: CornerPair, in_air: dict[str, bool]
) -> tuple[tuple[Acting, ...], list[Push]]:
    """What every spring, bar and stop exerts on left and right (lanes 0 and 1) with the forces of the attitude."""
    acting: list[Acting] = []
    turned: list[Push] = []
    linkage = pair.linkage
    for e in elements:
        force = force_of(e, pair, in_air)
        mine = np.array([e.side in (side, "both") for side in SIDES], dtype=float)
        if e.turned is not None:
            turned += turning(e.turned, pair, force * mine)
        elif e.ends is None:
            raise ValueError(f'"{e.name}" has neither ends nor a body that it turns')
        elif e.t_bar is not None:
            places, pulls = _links_of_t(e, e.t_bar, pair, force)
            acting.append(pulled(e.name, linkage, e.ends[0], places, pulls))
        elif e.side == "both":
            acting += _across(e, pair, force)
        else:
            first, second = ((carrier(linkage, p), p, over_lanes(pair.place(p), 2)) for p in e.ends)
            acting += between(e.name, (first, second), force * mine)
    return tuple(acting), turned


def force_of(element: Element, pair: CornerPair, in_air: dict[str, bool]) -> float:
    """Force of an element, N or N·mm."""
    u = element.deflection(pair.left, pair.right).value
    return float(np.ravel(element.force(u, hangs=in_air.get(element.side, False))[0])[0])


def _links_of_t(element: Element, t: TBar, pair: CornerPair, moment: float) -> tuple[tuple[Array, Array], Array]:
    """Of a T-bar's left and right link the driven point's place and the head's, and the force on the former."""
    driven = (element.ends or ("",))[0]
    ends = pair.left.place(driven), pair.right.place(driven)
    places, heads, pulls = (
        np.concatenate([over_lanes(v, 1) for v in both], axis=1)
        for both in (ends, t.heads(pair.left, pair.right), t.pulls(pair.left, pair.right))
    )
    return (places, heads), moment * pulls


def _across(element: Element, pair: CornerPair, force: float) -> tuple[Acting, ...]:
    """A spring across the car: from a point of the left corner to one of the right."""
    left, right = element.ends or ("", "")
    one, other = (over_lanes(pair.place(p), 2) for p in (left, right))
    ends = (
        (carrier(pair.linkage, left), left, one[:, LEFT:][:, :1]),
        (carrier(pair.linkage, right), right, other[:, RIGHT:][:, :1]),
    )
    out = []
    for k, end in enumerate(between(element.name, ends, np.array([force]))):
        mask = np.arange(2) == k
        place = (one, other)[k]
        out.append(replace(end, place=place, force=end.force * mask, axial=end.axial * mask))
    return tuple(out)


def whole_elements(
    elements: Sequence[Element], pair: CornerPair, seen: Corner, in_air: dict[str, bool]
) -> tuple[tuple[Acting, ...], list[Push]]:
    """The same of an axle whose sides are one system, on the bodies of the whole axle; both lanes are one position.

    Parameters
    ----------
    seen : Corner
        The whole axle.
    """
    acting: list[Acting] = []
    turned: list[Push] = []
    for e in elements:
        force = force_of(e, pair, in_air)
        if e.turned is not None:
            for k, side in enumerate(SIDES):
                if e.side in (side, "both"):
                    turned += [lane_of(push, pair.linkage, k) for push in turning(e.turned, pair, np.full(2, force))]
            continue
        if e.ends is None:
            raise ValueError(f'"{e.name}" has neither ends nor a body that it turns')
        if e.t_bar is not None:
            places, pulls = _links_of_t(e, e.t_bar, pair, force)
            for k, side in enumerate(SIDES):
                (place, head), pull = ((np.repeat(v[:, k : k + 1], 2, axis=1) for v in places), pulls[:, k : k + 1])
                driven = point_on(pair.linkage, e.ends[0], side)
                acting.append(
                    pulled(f"{side} {e.name}", seen.linkage, driven, (place, head), np.repeat(pull, 2, axis=1))
                )
            continue
        sides = SIDES if e.side == "both" else (e.side, e.side)
        points = [point_on(pair.linkage, p, side) for p, side in zip(e.ends, sides, strict=True)]
        first, second = ((carrier(seen.linkage, p), p, over_lanes(seen.place(p), 2)) for p in points)
        label = e.name if e.side == "both" else f"{e.side} {e.name}"
        acting += between(label, (first, second), np.full(2, force))
    return tuple(acting), turned
