"""Points on the wrong side: z that counts downwards, and what reaches over the middle of the car."""

from __future__ import annotations

from collections.abc import Iterator

from kin3d.errors import Finding
from kin3d.studies.given_corner import GivenCorner
from kin3d.studies.plausible_slips import MOST_OVER_CENTRE_MM


def upside_down(c: GivenCorner) -> Iterator[Finding]:
    """Everything that is above something else stands below it: z counts downwards."""
    pair = _turned_over(c)
    if pair is not None:
        high, low = pair
        text = (
            f"{high} is at z = {c.at[high][2]:g} mm, below {low} at z = {c.at[low][2]:g} mm, and all else is upside "
            f"down with them: does z count downwards in this file? Then say so in axes of [{c.axle.name}], e.g. "
            '"x forward, y right, z down". No figure can be used so'
        )
        yield c.warn("upside-down", text, high)


def _turned_over(c: GivenCorner) -> tuple[str, str] | None:
    """A point that belongs above another one and stands below it, where the corner as a whole says so."""
    if c.double_wishbone:
        pairs = [(f"upper_{end}", f"lower_{end}") for end in ("outer", "front", "rear")]
        return pairs[0] if all(c.at[high][2] < c.at[low][2] for high, low in pairs) else None
    if c.linkage.steering_axis is not None and "strut_top" in c.at:
        (lower, *_), (upper, *_) = c.linkage.steering_axis
        return (upper, lower) if c.at[upper][2] < c.at[lower][2] else None
    spring = c.linkage.spring if c.linkage.rocker is None else None
    every = [float(at[2]) for at in c.at.values()]
    if spring is not None and c.at[spring[1]][2] < c.at[spring[0]][2] and max(every) < 0.0:
        return spring[1], spring[0]  # the chassis stands on its springs, and no height is over the file's zero
    return None


def across_the_middle(c: GivenCorner) -> Iterator[Finding]:
    """What reaches over the middle of the car would pass through its own mirror image there."""
    if c.axle.other_points is not None or c.linkage.across.there:
        return
    linkage = c.linkage
    held = {*linkage.fixed, *linkage.rack} & set(c.at)
    joints = set(linkage.bodies[linkage.wheel_body])
    for link in linkage.links:  # an arm may well have a pivot on the far side: twin beams have
        ends = linkage.bodies[link]
        far = [p for p in ends if p in held and c.at[p][1] < -MOST_OVER_CENTRE_MM]
        if far and joints & set(ends):
            yield _beyond(c, far[0], f"the {link}")
    if linkage.spring is not None:
        outer, inner = linkage.spring
        if inner in held and c.at[outer][1] > 0.0 and c.at[inner][1] < -0.1 * c.at[outer][1]:
            yield _beyond(c, inner, "the spring")


def _beyond(c: GivenCorner, point: str, what: str) -> Finding:
    text = (
        f"{point} stands {-c.at[point][1]:g} mm from the middle of the car on the other side than its wheel, where "
        f"{what} of the left and of the right side would pass through each other: has its y the wrong sign?"
    )
    return c.warn("side-implausible", text, point)
