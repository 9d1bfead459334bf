"""Is it likely that a table means what it says? Points that are well written and yet probably a slip.

Every rule names what it found, what is usual, and which slip would explain it. Ranges without a source are common
practice; they are wide, so that karts, lorries and single-seaters pass without a word.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import atan2, degrees, hypot

import numpy as np

from kin3d.errors import Finding
from kin3d.linkage.layout import WHEEL_AXIS, WHEEL_CENTRE
from kin3d.studies.given_corner import GivenCorner
from kin3d.studies.plausible_sides import across_the_middle, upside_down
from kin3d.studies.plausible_slips import HINGE_MM, MOST_OVER_CENTRE_MM, slips_of
from kin3d.writing.numbers import fixed

HALF_TRACK_MM = (280.0, 1150.0)  # from karts to lorries
FAR_MM = 1600.0  # no pickup point is so far from its wheel centre
ROD_OFF_PLANE_MM = 35.0  # a rod's outer end stands on its arm, or on a bracket not higher than this
CASTER_DEG = (-1.5, 17.0)
KINGPIN_DEG = (-3.0, 25.0)
CAMBER_DEG, TOE_DEG = 8.0, 4.0
SIGMA_MM = 25.0
ROD_ANGLE_DEG = 20.0  # a rod nearer than this to its rocker arm's line is near the dead centre
_ORIGIN = "origin, where the vehicle's origin lies in the table"
UNITS = ((25.4, "inches"), (10.0, "centimetres"), (1000.0, "metres"), (304.8, "feet"))


def implausible_points(corner: GivenCorner) -> list[Finding]:
    """What is probably a slip in the points of one axle; when the unit or the sense of z is, that alone is told."""
    found = [*_unit(corner)] or [*upside_down(corner)]
    if found:
        return found
    slips = list(_slips(corner))
    rules = (_origin, _far, _tie, _arms, _rod_on, _angles, _steering, _wheel, _sigma)
    found = [*slips, *(f for rule in rules for f in rule(corner))]
    if slips:
        return found
    middle_known = all(f.code != "origin-implausible" for f in found)
    return [*found, *(across_the_middle(corner) if middle_known else ()), *_dead_centre(corner)]


def _unit(c: GivenCorner) -> Iterator[Finding]:
    """Size of the whole: a wrong unit is seen at the distance of the wheels from the centre plane."""
    low, high = HALF_TRACK_MM
    h = c.half_track
    if low <= h <= high:
        return
    usual = f"the wheel centre is {h:.4g} mm from the centre line; {low:g} to {high:g} mm is usual"
    for factor, name in UNITS:
        if 450.0 <= h * factor <= 1050.0:
            text = f"{usual}; {factor:g} times as far would be {h * factor:.0f} mm: are the coordinates in {name}?"
            yield c.warn("unit-implausible", f"{text} Look at units in [{c.axle.name}]", WHEEL_CENTRE)
            return
        if 450.0 <= h / factor <= 1050.0 and h > 3.0 * high:
            text = f"{usual}; it would be {h / factor:.0f} mm if the coordinates were millimetres and not {name}"
            yield c.warn("unit-implausible", f"{text}; look at units in [{c.axle.name}]", WHEEL_CENTRE)
            return
    centre = f"is y measured from the centre line of the car? Else give {_ORIGIN}"
    slip = centre if h > high else "has a digit been lost?"
    yield c.warn("origin-implausible", f"{usual}; {slip}", WHEEL_CENTRE)


def _origin(c: GivenCorner) -> Iterator[Finding]:
    """Y counts from the centre plane: pivots of arms neither stand beyond it nor all close to the wheel."""
    if not c.double_wishbone:
        return
    inner = [n for n in ("lower_front", "lower_rear", "upper_front", "upper_rear") if n in c.linkage.fixed]
    over = [n for n in inner if c.at[n][1] < -MOST_OVER_CENTRE_MM]
    if len(over) > 1:
        text = (
            f"{', '.join(over)} stand up to {-min(c.at[n][1] for n in over):.0f} mm on the other side of the car; "
            f"pivots of an arm stand on its own side: is y measured from the centre line? Else give {_ORIGIN}"
        )
        yield c.warn("origin-implausible", text, over[0])
    share = min(c.at[n][1] for n in inner) / c.half_track
    if share > 0.72:
        text = (
            f"the innermost pivot is {100 * share:.0f} % of the half track from the centre line; 15 to 65 % is usual: "
            f"is y measured from the centre line? Else give {_ORIGIN}"
        )
        yield c.warn("origin-implausible", text, min(inner, key=lambda n: float(c.at[n][1])))


def _far(c: GivenCorner) -> Iterator[Finding]:
    """A point far from all others has a digit too many, or another origin."""
    for name, at in c.at.items():
        away = float(np.linalg.norm((at - c.at[WHEEL_CENTRE]) * np.array([1.0, float("bar" not in name), 1.0])))
        if away > FAR_MM and name != WHEEL_AXIS:
            text = f"{name} is {away:.0f} mm from the wheel centre; less than {FAR_MM:g} mm is usual: a digit too many?"
            yield c.warn("point-far", text, name)


def _slips(c: GivenCorner) -> Iterator[Finding]:
    """Coordinates with a wrong sign or a digit too many or too few; not told of bodies that reach across the car."""
    if c.linkage.across.there:
        return
    for slip in slips_of(c.at, c.origin):
        axis, sign = "xyz"[slip.axis], slip.kind == "the wrong sign"
        would = "With the other sign it would fit" if sign else f"{fixed(slip.meant, 2)} mm would fit"
        text = (
            f"{slip.point} stands {slip.away:.0f} mm in {axis} from where the points beside it let one expect it; has "
            f"its {axis} ({abs(slip.value):g} mm) {slip.kind}? {would}"
        )
        yield c.warn("coordinate-implausible", text, slip.point)


# --- arms, tie, rod ---------------------------------------------------------------------------------------------


def _tie(c: GivenCorner) -> Iterator[Finding]:
    """The outer end of a tie is farther out than the inner one."""
    if "tie_inner" in c.at and "tie_outer" in c.at and c.at["tie_inner"][1] > c.at["tie_outer"][1]:
        inner, outer = (float(c.at[n][1]) for n in ("tie_inner", "tie_outer"))
        text = (
            f"tie_inner stands {inner:.0f} mm and tie_outer {outer:.0f} mm from the centre line; the outer end is "
            "farther out: have the two been exchanged?"
        )
        yield c.warn("tie-exchanged", text, "tie_inner")


def _arms(c: GivenCorner) -> Iterator[Finding]:
    """An arm's two pivots stand apart, and nearer to the centre line than its ball joint."""
    if not c.double_wishbone:
        return
    for arm in ("lower", "upper"):
        front, rear, outer = (f"{arm}_front", f"{arm}_rear", f"{arm}_outer")
        apart = float(np.linalg.norm(c.at[front] - c.at[rear]))
        if apart < HINGE_MM:
            text = f"{front} and {rear} are {apart:.0f} mm apart; 100 mm and more is usual: is one of them wrong?"
            yield c.warn("arm-narrow", text, front)
        out = [n for n in (front, rear) if c.at[n][1] > c.at[outer][1]]
        if len(out) == 2:
            text = f"{front} and {rear} stand outboard of {outer}: have inboard and outboard ends been exchanged?"
            yield c.warn("arm-exchanged", text, outer)
    if c.at["lower_outer"][1] - c.half_track > 120.0 or c.half_track - c.at["lower_outer"][1] > 420.0:
        off = fixed(c.half_track - float(c.at["lower_outer"][1]), 0)
        text = f"lower_outer is {off} mm inboard of the wheel centre; −100 to 400 mm is usual: is one of the two wrong?"
        yield c.warn("ball-joint-implausible", text, "lower_outer")


def _rod_on(c: GivenCorner) -> Iterator[Finding]:
    """The rod's outer end stands near the plane of the arm that carries it."""
    rod_on = c.axle.rod_on
    if rod_on not in ("lower arm", "upper arm") or not c.double_wishbone or "rod_outer" not in c.at:
        return
    other = "upper arm" if rod_on == "lower arm" else "lower arm"
    mine, theirs = (_off_plane(c, arm) for arm in (rod_on, other))
    if mine > ROD_OFF_PLANE_MM and theirs < 0.6 * mine:
        text = (
            f'is "{rod_on}", but rod_outer is {mine:.0f} mm from the plane of the {rod_on} and {theirs:.0f} mm from '
            f'that of the {other}; a rod stands on its arm: is "{other}" meant?'
        )
        yield c.key("rod-on-implausible", "rod_on", text)


def _off_plane(c: GivenCorner, arm: str) -> float:
    a, b, o = (c.at[f"{arm.split()[0]}_{n}"] for n in ("front", "rear", "outer"))
    normal = np.cross(b - a, o - a)
    return abs(float(normal @ (c.at["rod_outer"] - a)) / float(np.linalg.norm(normal) or 1.0))


def _dead_centre(c: GivenCorner) -> Iterator[Finding]:
    """A rod nearly in line with its rocker arm: their angle, seen along the pivot line."""
    rocker = c.linkage.rocker
    if rocker is None:
        return
    axis = c.at[rocker.axis[1]] - c.at[rocker.axis[0]]
    axis = axis / (float(np.linalg.norm(axis)) or 1.0)
    inner = c.at[rocker.rod[1]]
    arm, rod = (v - axis * (axis @ v) for v in (inner - c.at[rocker.axis[0]], c.at[rocker.rod[0]] - inner))
    size = float(np.linalg.norm(arm) * np.linalg.norm(rod))
    angle = degrees(np.arcsin(min(float(np.linalg.norm(np.cross(arm, rod))) / (size or 1.0), 1.0)))
    if angle < ROD_ANGLE_DEG:
        text = (
            f"the rod is nearly in line with its rocker arm ({angle:.1f}° between them): the rocker is near its dead "
            f"centre, where a hair of error decides what the spring does; {ROD_ANGLE_DEG:g}° or more is usual"
        )
        yield c.warn("rod-in-line", text, rocker.rod[1])


# --- wheel and steering -----------------------------------------------------------------------------------------


def _angles(c: GivenCorner) -> Iterator[Finding]:
    """Static camber and toe."""
    if WHEEL_AXIS in c.table:
        return
    for key, value, most in (("camber_deg", c.axle.camber_deg, CAMBER_DEG), ("toe_deg", c.axle.toe_deg, TOE_DEG)):
        if abs(float(value)) > most:
            slip = "minutes in place of degrees, or a point lost?"
            text = f"is {float(value):g}; −{most:g} to {most:g} degrees is usual: {slip}"
            yield c.key("angle-implausible", key, text)


def _steering(c: GivenCorner) -> Iterator[Finding]:
    """Caster and kingpin angle of a steered axle, and a steering axis that runs downwards."""
    named = c.linkage.steering_axis
    if named is None:
        return
    bottom, top = (np.mean([c.at[p] for p in joint], axis=0) for joint in named)
    (lower, *_), (upper, *_) = named
    k = top - bottom
    if k[2] <= 0.0:
        text = (
            f"the steering axis runs downwards: {upper} is at z = {top[2]:g} mm, not above {lower} at "
            f"z = {bottom[2]:g} mm; have the two been exchanged? Caster and kingpin angles are not to be used so"
        )
        yield c.warn("steering-axis-down", text, upper)
        return
    if c.axle.name != "front":
        return
    caster, kingpin = degrees(atan2(-k[0], k[2])), degrees(atan2(-k[1], k[2]))
    if not CASTER_DEG[0] <= caster <= CASTER_DEG[1]:
        slip = "is x reversed? Caster and anti-dive would change sign with it" if caster < 0.0 else "a wrong x?"
        text = f"caster is {fixed(caster, 1)}° ({lower} to {upper}); 0 to 15° is usual: {slip}"
        yield c.warn("caster-implausible", text, upper)
    if not KINGPIN_DEG[0] <= kingpin <= KINGPIN_DEG[1]:
        text = f"the kingpin angle is {fixed(kingpin, 1)}° ({lower} to {upper}); 0 to 20° is usual: a wrong y?"
        yield c.warn("kingpin-implausible", text, upper)


def _wheel(c: GivenCorner) -> Iterator[Finding]:
    """Loaded radius against the height of the wheel centre and of the pickup points over the ground."""
    radius = c.axle.loaded_radius_mm
    if radius is None:
        return
    radius = float(radius)
    centre = float(c.at[WHEEL_CENTRE][2])
    height = {n: float(p[2]) for n, p in c.at.items() if n not in (WHEEL_CENTRE, WHEEL_AXIS)}
    lowest = min(height, key=lambda n: height[n])
    over = height[lowest] - (centre - radius)
    look = "look at loaded_radius_mm, the units and the height of wheel_centre"
    half = radius > 300.0 and abs(centre - 0.5 * radius) < 0.06 * radius
    if half or (radius > 470.0 and c.half_track < 850.0):
        text = f"is {radius:g} mm; 110 to 450 mm is usual for a wheel at this track: is it the diameter?"
        if half:
            text = f"is {radius:g} mm, and the wheel centre is {centre:g} mm high: is it the diameter?"
        yield c.key("radius-implausible", "loaded_radius_mm", text)
    elif over < 0.0:
        text = f"{lowest} is {-over:.0f} mm below the ground that the loaded radius ({radius:g} mm) gives: {look}"
        yield c.warn("below-ground", text, lowest)
    elif height[lowest] > centre:
        text = f"every pickup point is above the wheel centre, {lowest} as the lowest by {over - radius:.0f} mm: {look}"
        yield c.warn("above-wheel", text, lowest)


def _sigma(c: GivenCorner) -> Iterator[Finding]:
    """Standard deviations beyond what a picture on a screen gives are slips of units or of meaning."""
    table = c.table
    wide = [n for n, s in zip(table.names, table.sigma_mm, strict=True) if float(np.max(s)) > SIGMA_MM]
    if wide:
        most = float(table.sigma_mm.max())
        named = ", ".join(wide[:4]) + (f" and {len(wide) - 4} more" if len(wide) > 4 else "")
        text = f"sigma is up to {most:g} mm ({named}); up to {SIGMA_MM:g} mm is usual: a digit too many, another unit?"
        yield c.warn("sigma-implausible", text, wide[0])


def half_tracks_apart(front: GivenCorner, rear: GivenCorner) -> Iterator[Finding]:
    """Two axles of one car have tracks of one size, and points of their own."""
    a, b = front.half_track, rear.half_track
    if abs(a - b) > 0.3 * max(a, b):
        text = f"the wheels stand {a:.0f} mm from the centre line in front and {b:.0f} mm behind: is one y wrong?"
        yield front.warn("tracks-implausible", text, WHEEL_CENTRE)
    same = [n for n in front.at if n in rear.at and n != WHEEL_AXIS]
    if same and len(same) == len(front.at) - 1 and all(hypot(*(front.at[n] - rear.at[n])) < 1e-6 for n in same):
        text = "both axles have the same points: does one of them name the other one's table?"
        yield rear.key("axles-alike", "points", text)
