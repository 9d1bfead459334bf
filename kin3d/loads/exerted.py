"""What the springs, bars and stops of an axle exert on its bodies in positions of both wheels.

Units: N, N·mm, mm. Frame: vehicle. Lanes are the left corners of all positions, then the right ones.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.design import SIDES
from kin3d.loads.applied import Acting, between, carrier, pulled, turning
from kin3d.loads.elements import Element
from kin3d.loads.joint_forces import Push
from kin3d.loads.tbar import TBar
from kin3d.loads.whole_axle import lane_of, point_on
from kin3d.measures.corner import Corner
from kin3d.measures.corner_pair import CornerPair
from kin3d.spatial.jets import over_lanes

Array = NDArray[np.float64]


def exerted(
    elements: Sequence[Element], pair: CornerPair, in_air: dict[str, bool]
) -> tuple[tuple[Acting, ...], list[Push]]:
    """What every spring, bar and stop exerts on left and right with the forces of the attitude."""
    acting: list[Acting] = []
    turned: list[Push] = []
    linkage = pair.linkage
    for e in elements:
        force, lanes = force_of(e, pair, in_air), 2 * pair.count
        mine = np.repeat([float(e.side in (side, "both")) for side in SIDES], pair.count)
        if e.turned is not None:
            turned += turning(e.turned, pair, np.tile(force, 2) * mine)
        elif e.ends is None:
            raise ValueError(f'"{e.name}" has neither ends nor a body that it turns')
        elif e.t_bar is not None:
            places, pulls = _links_of_t(e, e.t_bar, pair, force)
            acting.append(pulled(e.name, linkage, e.ends[0], places, pulls))
        elif e.side == "both":
            acting += _across(e, pair, force)
        else:
            first, second = ((carrier(linkage, p), p, over_lanes(pair.place(p), lanes)) for p in e.ends)
            acting += between(e.name, (first, second), np.tile(force, 2) * mine)
    return tuple(acting), turned


def force_of(element: Element, pair: CornerPair, in_air: dict[str, bool]) -> Array:
    """Force of an element in every position, N or N·mm."""
    u = element.deflection(pair.left, pair.right).value
    return np.broadcast_to(element.force(u, hangs=in_air.get(element.side, False))[0], pair.count)


def _links_of_t(element: Element, t: TBar, pair: CornerPair, moment: Array) -> tuple[tuple[Array, Array], Array]:
    """Of a T-bar's left and right link the driven point's place and the head's, and the force on the former."""
    driven = (element.ends or ("",))[0]
    ends = pair.left.place(driven), pair.right.place(driven)
    places, heads, pulls = (
        np.concatenate([over_lanes(v, pair.count) for v in both], axis=1)
        for both in (ends, t.heads(pair.left, pair.right), t.pulls(pair.left, pair.right))
    )
    return (places, heads), np.tile(moment, 2) * pulls


def _across(element: Element, pair: CornerPair, force: Array) -> tuple[Acting, ...]:
    """A spring across the car: from a point of the left corner to one of the right."""
    left, right = element.ends or ("", "")
    count = pair.count
    one, other = (over_lanes(pair.place(p), 2 * count) for p in (left, right))
    ends = (
        (carrier(pair.linkage, left), left, one[:, :count]),
        (carrier(pair.linkage, right), right, other[:, count:]),
    )
    out = []
    for k, end in enumerate(between(element.name, ends, force)):
        mask = np.repeat(np.arange(2) == k, count)
        place = (one, other)[k]
        out.append(replace(end, place=place, force=np.tile(end.force, 2) * mask, axial=np.tile(end.axial, 2) * mask))
    return tuple(out)


def whole_elements(
    elements: Sequence[Element], pair: CornerPair, seen: Corner, in_air: dict[str, bool]
) -> tuple[tuple[Acting, ...], list[Push]]:
    """The same of an axle whose sides are one system, on the bodies of the whole axle; both lanes of a position are it.

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
                    all_lanes = turning(e.turned, pair, np.tile(force, 2))
                    turned += [lane_of(push, pair.linkage, k) for push in all_lanes]
            continue
        if e.ends is None:
            raise ValueError(f'"{e.name}" has neither ends nor a body that it turns')
        if e.t_bar is not None:
            places, pulls = _links_of_t(e, e.t_bar, pair, force)
            for k, side in enumerate(SIDES):
                mine = slice(k * pair.count, (k + 1) * pair.count)
                place, head, pull = (np.tile(v[:, mine], 2) for v in (*places, pulls))
                driven = point_on(pair.linkage, e.ends[0], side)
                acting.append(pulled(f"{side} {e.name}", seen.linkage, driven, (place, head), pull))
            continue
        sides = SIDES if e.side == "both" else (e.side, e.side)
        points = [point_on(pair.linkage, p, side) for p, side in zip(e.ends, sides, strict=True)]
        first, second = ((carrier(seen.linkage, p), p, over_lanes(seen.place(p), 2 * pair.count)) for p in points)
        label = e.name if e.side == "both" else f"{e.side} {e.name}"
        acting += between(label, (first, second), np.tile(force, 2))
    return tuple(acting), turned
