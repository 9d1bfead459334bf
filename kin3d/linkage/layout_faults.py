"""What the tables of a layout say of each other: names that are not there, points that cannot do what is asked."""

from __future__ import annotations

from collections.abc import Iterable

from kin3d.errors import Finding
from kin3d.linkage.layout import CHASSIS, WHEEL_AXIS, WHEEL_CENTRE, BarRole, Drive, Guide, Layout, Part, Rocker
from kin3d.linkage.names import did_you_mean


def layout_faults(layout: Layout) -> list[Finding]:
    """Names that a layout does not have, and points that cannot do what is asked of them."""
    faults = _Faults(layout)
    faults.wheel()
    faults.rack()
    faults.sliders()
    faults.across()
    for guide in layout.guides:
        faults.guide(guide)
    for drive in layout.drives:
        faults.drive(drive)
    for part in layout.parts:
        faults.part(part)
    return faults.findings


class _Faults:
    """Collects the findings of one layout, with all its parts taken as present."""

    def __init__(self, layout: Layout) -> None:
        self.layout = layout
        self.findings: list[Finding] = []
        self.bodies: dict[str, set[str]] = {CHASSIS: set()}
        for source in (layout.bodies, *(p.bodies for p in layout.parts)):
            for body, points in source.items():
                self.bodies.setdefault(body, set()).update(points)
        for part in layout.parts:
            for body in part.choices if part.attach else ():
                self.bodies.get(body, set()).update(part.attach)
        self.bodies.get(layout.wheel_body, set()).update((WHEEL_CENTRE, WHEEL_AXIS))
        free = {n for p in layout.parts if p.attach and not p.choices for n in p.attach}
        self.points = set().union(*self.bodies.values(), layout.rack, free)
        for names in (self.points, *self.bodies.values()):
            names |= {layout.across.bare(n) for n in names}

    def say(self, code: str, text: str, where: str) -> None:
        self.findings.append(Finding(code, text, f"{self.layout.source}, {where}"))

    def body(self, name: str, where: str) -> bool:
        """Whether there is such a body; a finding when there is none."""
        if name in self.bodies:
            return True
        self.say("body-unknown", f'body "{name}" is not one of the bodies; {_hint(name, self.bodies)}', where)
        return False

    def known(self, names: Iterable[str], where: str, on: str = "") -> bool:
        """Whether all points are on the body `on`, or on any; a finding for each that is not."""
        there = self.bodies.get(on, set()) if on else self.points
        lacking = [n for n in names if n not in there and self.layout.across.bare(n) not in there]
        for name in lacking:
            place = f'body "{on}"' if on else "any body"
            self.say("point-unknown", f'point "{name}" is not on {place}; {_hint(name, there)}', where)
        return not lacking

    def wheel(self) -> None:
        where = "[wheel]"
        if self.layout.wheel_body == CHASSIS:
            self.say("wheel-fixed", "the wheel's body is the chassis, which does not move; name the upright", where)
        else:
            self.body(self.layout.wheel_body, where)
        axis = self.layout.steering_axis
        if axis and self.known(axis, where) and not self._moving(axis):
            text = f"steering_axis {axis[0]}, {axis[1]} is held by the chassis; name the lower and the upper joint"
            self.say("steering-axis-fixed", text, where)
        for held, what in ((self.bodies[CHASSIS], "the chassis"), (self.layout.rack, "the rack")):
            if WHEEL_CENTRE in held:
                self.say("wheel-fixed", f"{WHEEL_CENTRE} is on {what}, which holds it; take it out there", where)

    def _moving(self, points: Iterable[str]) -> bool:
        return any(p not in self.bodies[CHASSIS] for p in points)

    def rack(self) -> None:
        for point in self.layout.rack:
            where = "[rack]"
            on = [b for b, points in self.bodies.items() if point in points]
            if CHASSIS in on:
                text = f'point "{point}" is on the chassis and moves with the rack; take it out of one of the two'
                self.say("rack-fixed", text, where)
            elif not on and point not in (n for p in self.layout.parts for n in p.attach):
                text = f'point "{point}" is on no body, so that it moves nothing; name the inner end of the tie link'
                self.say("rack-loose", text, where)

    def sliders(self) -> None:
        for slider in self.layout.sliders:
            where = "[[sliders]]"
            names = (slider.point, *slider.line)
            if self.known(names, where) and len(set(names)) < len(names):
                text = f'point "{slider.point}" slides on a line through itself; two other points are expected'
                self.say("slider-itself", text, where)

    def across(self) -> None:
        for where, points, bodies in (
            ("[across]", self.layout.across_points, self.layout.across_bodies),
            *((f'[[parts]] "{p.name}" across', p.across_points, p.across_bodies) for p in self.layout.parts),
        ):
            for body in bodies:
                self.body(body, where)
            self.known([p for p in points if p not in (WHEEL_CENTRE, WHEEL_AXIS)], where)
            for name in (p for p in points if p in (WHEEL_CENTRE, WHEEL_AXIS)):
                text = f"{name} stands on both sides, one for each wheel; take it out"
                self.say("across-wheel", f"{text}, it goes on the wheel's body by itself", where)

    def guide(self, guide: Guide) -> None:
        where = "[[guides]]"
        if not self.known((guide.point, *guide.plane), where):
            return
        owners = [b for b, points in self.bodies.items() if set(guide.plane) <= points]
        on = [b for b in owners if guide.point in self.bodies[b]]
        names = ", ".join(guide.plane)
        if not owners:
            text = f'point "{guide.point}" is guided by the plane of {names}, which are not on one body'
            self.say("guide-plane", f"{text}; three points of one body are expected, the chassis too", where)
        elif on:
            text = f'point "{guide.point}" is on body "{on[0]}" as its plane of {names} is, so that it is held anyway'
            self.say("guide-itself", f"{text}; a point of another body is expected", where)

    def drive(self, drive: Drive) -> None:
        where = f"[drives.{drive.name}]"
        if drive.kind == "turns":
            self._turned(drive, where)
        elif drive.kind == "along":
            self._placed(drive, where)
        elif self.known(drive.line, where):
            first, second = drive.line
            both = [b for b, points in self.bodies.items() if {first, second} <= points]
            if both:
                kind = "link" if len(self.bodies[both[0]]) == 2 else "body"
                text = f'length from {first} to {second} is held by {kind} "{both[0]}"'
                self.say("drive-held", f"{text}; two points of two bodies with no link between are expected", where)

    def _turned(self, drive: Drive, where: str) -> None:
        if drive.body == CHASSIS or drive.body == self.layout.wheel_body:
            fixed = drive.body == CHASSIS
            what = "the chassis, which does not move" if fixed else "the wheel's body, whose travel is a drive"
            self.say("drive-body", f'turns = "{drive.body}" is {what}; name a crank, a column or a pitman arm', where)
        elif self.body(drive.body, where):
            self.known(drive.line, where, drive.body)
            self.known(drive.line, where, CHASSIS)

    def _placed(self, drive: Drive, where: str) -> None:
        self.known(drive.line, where, CHASSIS)
        if not self.known(drive.points, where):
            return
        for point in drive.points:
            for there, what in ((self.bodies[CHASSIS], "the chassis"), (self.layout.rack, "the rack")):
                if point in there:
                    text = f'point "{point}" is on {what} and is placed by a drive; take it out of one of the two'
                    self.say("drive-fixed", text, where)

    def part(self, part: Part) -> None:
        where = f'[[parts]] "{part.name}"'
        keys = [p.key for p in self.layout.parts if p.key]
        if not part.key and not part.points:
            text = "has neither key nor points, so that it would never be there; give one of the two"
            self.say("part-never", text, where)
        for name, value in (("needs", part.needs), ("not_with", part.not_with)):
            if value and value not in keys:
                self.say("key-unknown", f'{name} = "{value}" is not the key of a part; {_hint(value, keys)}', where)
        for body in part.choices if part.attach else ():
            self.body(body, f"{where} choices")
        if part.rocker:
            self._rocker(part.rocker, f"{where} rocker")
        if part.bar:
            self._bar(part.bar, f"{where} bar")

    def _rocker(self, rocker: Rocker, where: str) -> None:
        outer, inner = rocker.rod
        if not self.body(rocker.body, where) or not self.known((*rocker.axis, inner), where, rocker.body):
            return
        if not any({outer, inner} <= points for body, points in self.bodies.items() if body != rocker.body):
            text = f"no body joins {outer} and {inner}; a rod with these two points is expected"
            self.say("rod-missing", text, where)
        elif not self._moving(rocker.rod):
            self.say("rod-fixed", f"the rod {outer}, {inner} is held by the chassis at both ends", where)

    def _bar(self, bar: BarRole, where: str) -> None:
        if self.body(bar.body, where):
            self.known((*bar.axis, bar.link[1]), where, bar.body)
            self.known(bar.link[:1], where)


def _hint(name: str, known: Iterable[str]) -> str:
    names = sorted(known)
    return did_you_mean(name, names, f"there are: {', '.join(names) or 'none'}")
