"""Axes and centres: where the measures say that the wheel turns about, and the lines that lead there."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from kin3d.spatial.vectors import cross
from kin3d.studies.wheel_construction import ViewName, arm_lines
from kin3d_viewer.level import Level
from kin3d_viewer.primitives import Array, Ball, Label, Line, Primitive
from kin3d_viewer.snapshot import SIDES, SIGNS, Snapshot

REACH_MM = 4000.0  # lines to a centre farther away than this end here and say how far it is
AXIS_MM = 420.0  # half the length that is drawn of a screw axis
SENSE_MM = 26.0  # radius of the helix that shows the sense of the pitch
ABOVE_SHARE = 1.12  # how far the steering axis goes on above the wheel centre, in tyre radii


STEERING = ("caster_deg", "kingpin_deg", "scrub_radius_mm", "caster_trail_mm")
SCREW = ("isa_px_mm", "isa_py_mm", "isa_pz_mm", "isa_dx", "isa_dy", "isa_dz", "isa_pitch_mm_per_rad")
# measures that the axes and centres of a scene are made from
SEEN = (
    *(f"contact_{a}_mm" for a in "xyz"), *STEERING, "front_ic_y_mm", "front_ic_z_mm", "side_ic_x_mm", "side_ic_z_mm",
    "roll_centre_height_mm", "roll_centre_offset_mm",
)  # fmt: skip


def steering_axis(now: Snapshot) -> Iterator[Primitive]:
    """The steering axis from the ground to above the wheel centre, from the measures of the axis."""
    for side in (0, 1):
        found = axis_at_ground(now, side)
        if found is None:
            continue
        foot, along = found
        top = now.at(side, "wheel_centre")[2] + ABOVE_SHARE * (now.radius_mm or 200.0)
        places = np.array([foot, foot + (top - foot[2]) / along[2] * along])
        yield Line(f"{SIDES[side]}/steering axis", "steering axis", places)
        yield Ball(f"{SIDES[side]}/steering axis/foot", "steering axis", foot, 8.0, "diamond")
        if side == 0:
            yield Label("left/steering axis/label", "steering axis", "steering axis", places[1])


def axis_at_ground(now: Snapshot, side: int) -> tuple[Array, Array] | None:
    """Where the steering axis meets the ground, and its direction with a z of 1; None without the measures."""
    contact = now.vector(side, "contact_")
    found = [now.value(side, n) for n in STEERING]
    if contact is None or any(v is None for v in found):
        return None
    caster, kingpin, scrub, trail = (float(v) for v in found if v is not None)
    sign = SIGNS[side]
    spin = now.spin(side)
    heading = sign * np.array(cross(spin.tolist(), now.normal.tolist()))
    heading /= np.linalg.norm(heading)
    outboard = sign * np.array(cross(now.normal.tolist(), heading.tolist()))
    along = np.array([-np.tan(np.radians(caster)), -sign * np.tan(np.radians(kingpin)), 1.0])
    return contact - scrub * outboard + trail * heading, along


def screw_axis(now: Snapshot) -> Iterator[Primitive]:
    """The upright's screw axis about its point nearest to the wheel centre, and a helix with the sense of its pitch."""
    for side in (0, 1):
        place, along = now.vector(side, "isa_p"), now.vector(side, "isa_d", "")
        pitch = now.value(side, "isa_pitch_mm_per_rad")
        centre = now.at(side, "wheel_centre")
        if place is None or along is None or pitch is None or np.linalg.norm(place - centre) > REACH_MM:
            continue
        stem = f"{SIDES[side]}/screw axis"
        yield Line(stem, "screw axis", np.array([place - AXIS_MM * along, place + AXIS_MM * along]))
        yield Line(f"{stem}/sense", "screw sense", helix(place, along, pitch))
        yield Ball(f"{stem}/point", "screw axis", place, 8.0, "diamond")
        if side == 0:
            text = f"screw axis, {'right' if pitch >= 0 else 'left'}-handed, {abs(pitch):.1f} mm/rad"
            yield Label(f"{stem}/label", "screw axis", text, place)


def helix(place: Array, along: Array, pitch: float) -> Array:
    """Two turns about an axis, right-handed where the pitch is positive, with an arrow head at the end; shape (k, 3).

    The rise of a turn is that of the pitch within what can be seen.
    """
    aside = np.cross(along, np.array([0.0, 0.0, 1.0]) if abs(along[2]) < 0.9 else np.array([1.0, 0.0, 0.0]))
    aside /= np.linalg.norm(aside)
    third = np.cross(along, aside)
    turns = np.linspace(-2.0 * np.pi, 2.0 * np.pi, 97)
    rise = np.sign(pitch) * np.clip(abs(pitch), 8.0, 60.0)
    ring = SENSE_MM * (np.cos(turns)[:, None] * aside + np.sin(turns)[:, None] * third)
    curve = place + ring + (rise * turns)[:, None] * along
    back = curve[-1] - curve[-7]
    back /= np.linalg.norm(back)
    out = ring[-1] / SENSE_MM
    head = [curve[-1] - 14.0 * back + 8.0 * out, curve[-1], curve[-1] - 14.0 * back - 8.0 * out]
    return np.vstack([curve, *head])


def centres(now: Snapshot, car: str = "", level: Level | None = None) -> Iterator[Primitive]:
    """Instant centres in both views, the lines to the contact points, roll centre, and the trails of all.

    Parameters
    ----------
    now : Snapshot
    car : {"", "A", "B", "now"}
        Whose colour they have, where there is more than one car (`kin3d_viewer.style.CARS`).
    level : Level, optional
        Of the car that is shown, where this is another one: its trails lie in that picture.
    """
    mark = f"{car} " if car else ""
    for side in (0, 1):
        contact = now.vector(side, "contact_")
        if contact is not None:
            yield from _front(now, side, contact, mark)
            # of two cars the lines of the one in front are named: one name serves for both
            yield from _side(now, side, contact, mark, named=level is None)
    place = roll_centre(now)
    if place is not None:
        yield Ball("roll centre", f"{mark}roll centre", place, 15.0, "diamond")
        yield Label("roll centre/label", f"{mark}roll centre", _roll_centre_words(now, car), place)
    for name, path in now.trails.items():
        role = "roll path" if name == "roll centre" else f"{name.split('/')[1].split()[0]} trail"
        for number, piece in enumerate(_pieces(path)):
            yield Line(f"{name}/path {number}", f"{mark}{role}", (level or now.level).back(piece))


def _pieces(path: Array) -> list[Array]:
    """The parts of a path that have places, of two and more."""
    known = np.isfinite(path).all(axis=1)
    ends = np.flatnonzero(np.diff(known.astype(int))) + 1
    return [p for p in np.split(path, ends) if len(p) > 1 and np.isfinite(p[0]).all()]


def _roll_centre_words(now: Snapshot, car: str) -> str:
    """Where there are several cars: which, and how high."""
    height = now.value(0, "roll_centre_height_mm")
    if not car or height is None:
        return "roll centre"
    return f"{'' if car == 'now' else f'{now.title}: '}roll centre {height:+.1f} mm".replace("-", "−")


def _front(now: Snapshot, side: int, contact: Array, mark: str) -> Iterator[Primitive]:
    y, z = now.value(side, "front_ic_y_mm"), now.value(side, "front_ic_z_mm")
    if y is None or z is None:
        return
    centre = np.array([contact[0], y, z])
    yield from _arms(now, side, "front", contact, centre, mark)
    label = "" if mark else f"instant centre ({SIDES[side]})"
    yield from _line_to(f"{SIDES[side]}/front centre", f"{mark}front", contact, centre, label)


def _side(now: Snapshot, side: int, contact: Array, mark: str, *, named: bool) -> Iterator[Primitive]:
    x, z = now.value(side, "side_ic_x_mm"), now.value(side, "side_ic_z_mm")
    if x is None or z is None:
        return
    centre = np.array([x, contact[1], z])
    yield from _arms(now, side, "side", contact, centre, mark)
    label = "side-view centre" if side == 0 and named else ""
    yield from _line_to(f"{SIDES[side]}/side centre", f"{mark}side", contact, centre, label)


def _arms(
    now: Snapshot, side: int, view: ViewName, contact: Array, centre: Array, mark: str
) -> Iterator[Primitive]:
    """The arms produced in the view's plane, to where they come nearest to the instant centre."""
    for arm in arm_lines(now.linkage, view, now.points[side], contact, centre):
        reach = float(np.clip((centre - arm.start) @ arm.direction, -REACH_MM, REACH_MM))
        places = np.array([arm.start, arm.start + reach * arm.direction])
        if np.isfinite(places).all():
            yield Line(f"{SIDES[side]}/{view} centre/{arm.body}", f"{mark}{view} arms", places)


def _line_to(name: str, view: str, contact: Array, centre: Array, label: str) -> Iterator[Primitive]:
    """Line from the contact point to a centre, with a cross there; cut off where the centre is out of sight."""
    away = float(np.linalg.norm(centre - contact))
    near = away <= REACH_MM
    end = centre if near else contact + REACH_MM / away * (centre - contact)
    yield Line(f"{name}/line", f"{view} line", np.array([contact, end]))
    if near:
        yield Ball(name, f"{view} centre", centre, 13.0, "cross")
    if label:
        yield Label(f"{name}/label", f"{view} centre", label, end, 0, contact, f", {away / 1000.0:.1f} m away")


def roll_centre(now: Snapshot) -> Array | None:
    """Place of the roll centre: its height over the mid-point of the contact points, its offset to the left of it.

    Without an offset (symmetric axle, both corners at one travel) it stands in the middle. None without a value, or
    where the two sides say different heights and nothing says which is the axle's.
    """
    contacts = [now.vector(side, "contact_") for side in (0, 1)]
    heights = [now.value(side, "roll_centre_height_mm") for side in (0, 1)]
    if any(c is None for c in contacts) or any(h is None for h in heights):
        return None
    offset = now.value(0, "roll_centre_offset_mm")
    left, right = float(heights[0] or 0.0), float(heights[1] or 0.0)
    if offset is None and abs(left - right) > 1e-6 * max(1.0, abs(left)):
        return None
    middle = 0.5 * np.sum(np.array(contacts, dtype=float), axis=0)
    across = np.cross(now.normal, np.array([1.0, 0.0, 0.0]))
    found: Array = middle + left * now.normal + (offset or 0.0) * across / np.linalg.norm(across)
    return found if np.linalg.norm(found - middle) <= REACH_MM else None
