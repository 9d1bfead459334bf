"""Is it likely how a corner moves? Rates in the design position that no car has: a point is then in the wrong place.

A swapped pair of rows or a digit of a tie's height leaves every point where points may be; its bump steer tells. Ranges
are common practice, no source, and wide.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import asin, atan2, degrees

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, LayoutError
from kin3d.linkage.layout import WHEEL_AXIS, WHEEL_CENTRE
from kin3d.solve.velocities import design_velocities
from kin3d.studies.given_corner import GivenCorner
from kin3d.studies.plausible_points import CAMBER_DEG
from kin3d.writing.numbers import fixed

Array = NDArray[np.float64]
Speeds = Mapping[str, Array]
BUMP_STEER_DEG_PER_MM = 0.05
CAMBER_RATE_DEG_PER_MM = (-0.3, 0.08)
CENTRE_RADII = (-1.5, 2.0)  # height of the roll centre over the loaded radius
PIVOTS_DEG = 24.0  # slope of the line through an arm's two pivots, seen from the side
BAR_SHARE = (0.004, 15.0)  # rate of an anti-roll bar at the wheel over the spring's
NEAR_MM = 30.0  # two points of a line that are nearer to each other do not say where it runs


def design_speeds(corner: GivenCorner) -> Speeds | None:
    """Velocity of every point a mm of travel; None where the linkage cannot be put together (other checks tell it)."""
    try:
        return design_velocities(corner.linkage, corner.side.design)
    except LayoutError:
        return None


def implausible_motion(c: GivenCorner, speeds: Speeds | None) -> Iterator[Finding]:
    """What is probably a slip in the points of a corner, by how it moves and by pairs that do not go together."""
    yield from _copied(c)
    yield from _pairs(c)
    yield from _axis(c)
    if speeds is None or c.linkage.both_sides or WHEEL_AXIS not in speeds:
        return
    turned = {n: v * np.array([1.0, c.side.sign, 1.0]) for n, v in speeds.items()}
    spin = c.at[WHEEL_AXIS] - c.at[WHEEL_CENTRE]
    size = float(np.linalg.norm(spin))
    a, rate = spin / size, (turned[WHEEL_AXIS] - turned[WHEEL_CENTRE]) / size
    yield from _bump_steer(c, degrees(float(rate[0] * a[1] - a[0] * rate[1])))
    yield from _camber_rate(c, degrees(-float(rate[2])))
    radius = c.axle.loaded_radius_mm
    if radius is not None and c.double_wishbone:
        sideways = float(turned[WHEEL_CENTRE][1]) + float(radius) * float(rate[2])
        yield from _roll_centre(c, c.half_track * sideways, float(radius))


def _bump_steer(c: GivenCorner, rate: float) -> Iterator[Finding]:
    if abs(rate) > BUMP_STEER_DEG_PER_MM and "tie_outer" in c.at:
        text = (
            f"toe changes by {fixed(rate, 3)}° a mm of travel; less than 0.02° is usual: has a tie end or an arm's "
            "point a wrong height, or have two rows been exchanged?"
        )
        yield c.warn("bump-steer-implausible", text, "tie_outer")


def _camber_rate(c: GivenCorner, rate: float) -> Iterator[Finding]:
    low, high = CAMBER_RATE_DEG_PER_MM
    if not low <= rate <= high:
        usual = "−0.1 to 0.02° is usual"
        text = f"camber changes by {fixed(rate, 3)}° a mm of travel; {usual}: is a point of an arm wrong?"
        yield c.warn("camber-rate-implausible", text, WHEEL_CENTRE)


def _roll_centre(c: GivenCorner, height: float, radius: float) -> Iterator[Finding]:
    low, high = (share * radius for share in CENTRE_RADII)
    if not low <= height <= high:
        text = (
            f"the roll centre is {fixed(height, 0)} mm over the ground in the design position; −100 to 300 mm is "
            "usual: is a point of an arm wrong?"
        )
        yield c.warn("roll-centre-implausible", text, WHEEL_CENTRE)


_APART = (
    "lower_front", "lower_rear", "upper_front", "upper_rear", "lower_outer", "upper_outer", "tie_inner", "tie_outer",
    WHEEL_CENTRE,
)  # fmt: skip


def _copied(c: GivenCorner) -> Iterator[Finding]:
    """Two rows with the same three numbers."""
    if not c.double_wishbone:
        return
    there = [n for n in _APART if n in c.at]
    for k, name in enumerate(there):
        same = [n for n in there[:k] if not np.any(c.at[n] != c.at[name])]
        if same:
            text = f"{name} and {same[0]} have the same three coordinates: is one of the rows a copy of the other?"
            yield c.warn("rows-alike", text, name)


def _pairs(c: GivenCorner) -> Iterator[Finding]:
    """Points that go in pairs: an arm's pivots, the two of a bar's line, the ends of a spring on a rocker."""
    for arm in ("lower", "upper") if c.double_wishbone else ():
        along = c.at[f"{arm}_front"] - c.at[f"{arm}_rear"]
        slope = degrees(abs(asin(float(along[2]) / (float(np.linalg.norm(along)) or 1.0))))
        if slope > PIVOTS_DEG:
            text = (
                f"the line through {arm}_front and {arm}_rear slopes by {slope:.0f}°; 0 to 12° is usual: have rows of "
                "the lower and of the upper arm been exchanged, or is a height wrong?"
            )
            yield c.warn("pivots-implausible", text, f"{arm}_front")
    bar = [c.at[n] for n in ("bar_axis_1", "bar_axis_2") if n in c.at]
    if len(bar) == 2 and float(np.linalg.norm(bar[0] - bar[1])) < NEAR_MM:
        apart = float(np.linalg.norm(bar[0] - bar[1]))
        text = f"is {apart:.3g} mm from bar_axis_1: so near, they do not say where the bar's line runs; a sign lost?"
        yield c.warn("axis-short", f"bar_axis_2 {text}", "bar_axis_2")
    rocker, spring = c.linkage.rocker, c.linkage.spring
    if rocker is None or spring is None or not {*spring, *rocker.axis} <= set(c.at):
        return
    if spring[0] not in c.linkage.bodies[rocker.body] or spring[1] not in c.linkage.fixed:
        return
    pivot, axis = c.at[rocker.axis[0]], c.at[rocker.axis[1]] - c.at[rocker.axis[0]]
    axis = axis / (float(np.linalg.norm(axis)) or 1.0)
    outer, inner = (float(np.linalg.norm(np.cross(axis, c.at[n] - pivot))) for n in spring)
    if outer > 1.5 * inner:
        text = (
            f"{spring[0]} is {outer:.0f} mm from the rocker's pivot line and {spring[1]} {inner:.0f} mm; the end on "
            "the rocker is the nearer one: have the two been exchanged?"
        )
        yield c.warn("spring-exchanged", text, spring[0])


def motion_ratio(c: GivenCorner, speeds: Speeds) -> float | None:
    """Motion ratio of the layout's own spring in the design position; None without one."""
    spring = c.linkage.spring
    if spring is None:
        return None
    at = dict(zip(c.linkage.points, c.side.design, strict=True))
    along = at[spring[0]] - at[spring[1]]
    ratio = -float(along @ (speeds[spring[0]] - speeds[spring[1]])) / float(np.linalg.norm(along))
    return ratio if np.isfinite(ratio) else None


def bar_against_spring(c: GivenCorner, speeds: Speeds) -> Iterator[Finding]:
    """Rate of an anti-roll bar at the wheel in roll, against that of the spring."""
    bar, spring, role = c.axle.bar, c.axle.spring, c.linkage.bar
    ratio = motion_ratio(c, speeds)
    if bar is None or spring is None or role is None or role.form != "u" or not ratio:
        return
    at = dict(zip(c.linkage.points, c.side.design, strict=True))
    start, end = (at[n] for n in role.axis)
    axis = (end - start) / (float(np.linalg.norm(end - start)) or 1.0)
    arm = at[role.link[1]] - start
    arm = arm - axis * (axis @ arm)
    turn = float(np.cross(axis, arm) @ speeds[role.link[1]]) / (float(arm @ arm) or 1.0)
    # both arms turn against one another; each wheel has half of the energy
    share = 2.0 * degrees(1000.0 * float(bar.rate_n_m_per_deg)) * turn**2 / (float(spring.rate_n_per_mm) * ratio**2)
    if np.isfinite(share) and not BAR_SHARE[0] <= share <= BAR_SHARE[1]:
        text = (
            f"is {float(bar.rate_n_m_per_deg):g}, which makes {share:.2g} times the spring's rate at the wheel in "
            "roll; 0.1 to 3 times is usual: is it in N·m/rad or N·mm/deg?"
        )
        yield c.key("rate-implausible", "bar.rate_n_m_per_deg", text)


def _axis(c: GivenCorner) -> Iterator[Finding]:
    """A spin axis that is given by a point: its camber and toe."""
    if WHEEL_AXIS not in c.table:
        return
    a = c.at[WHEEL_AXIS] - c.at[WHEEL_CENTRE]
    camber = -degrees(asin(float(a[2]) / (float(np.linalg.norm(a)) or 1.0)))
    toe = degrees(atan2(float(a[0]), float(a[1])))
    if abs(camber) > CAMBER_DEG or abs(toe) > CAMBER_DEG:
        text = (
            f"wheel_axis and wheel_centre make a camber of {fixed(camber, 1)}° and a toe of {fixed(toe, 1)}°; "
            f"wheel_axis is a second point of the spin axis, outboard of the wheel centre: is one of them wrong?"
        )
        yield c.warn("angle-implausible", text, WHEEL_AXIS)
