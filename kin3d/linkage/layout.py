"""Layouts and linkages: how points make bodies, as data. A new suspension is a new file, no new code.

A layout says which points each body has, which points the rack moves, which body carries the wheel, and which parts
come and go with the car file; `kin3d.linkage.layout_file` reads one. `kin3d.linkage.resolve` makes a linkage of it,
once it is known which points and keys the car file has. Everything else (joints, unknowns, equations, mobility)
follows from the points that bodies share.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Literal

from kin3d.linkage.names import Side

CHASSIS = "chassis"
WHEEL_CENTRE = "wheel_centre"
WHEEL_AXIS = "wheel_axis"
SIDES: tuple[Side, Side] = ("left", "right")

Bodies = dict[str, tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class Slider:
    """A point that stays on the line through two other points: a strut's rod in its tube."""

    point: str
    line: tuple[str, str]


@dataclass(frozen=True, slots=True)
class Guide:
    """A point that keeps its design distance from the plane through three points of a body."""

    point: str
    plane: tuple[str, str, str]


@dataclass(frozen=True, slots=True)
class Drive:
    """What a car file's user moves beside travel and rack; which of the three it is, `kind` says.

    Attributes
    ----------
    name : str
        As in ``--drive NAME=…``; on each side of an axle that is one system a drive of one name.
    kind : {"turns", "along", "length"}
        A body turned about the line of two points of its own and of the chassis, right hand from the first to the
        second; points placed along the line from the first to the second; a length beyond that of the design.
    line : tuple of str
        The two points.
    points : tuple of str
        Points that are placed by it: all of the body's own, or those named; none for a length.
    body : str
        The body that turns; empty for the others.
    """

    name: str
    kind: Literal["turns", "along", "length"]
    line: tuple[str, str]
    points: tuple[str, ...] = ()
    body: str = ""

    @property
    def key(self) -> str:
        """What tells it from the drive of the same name on the other side."""
        return " ".join((self.name, *self.line))

    @property
    def unit(self) -> str:
        """Unit in which it is asked for: degrees or mm."""
        return "deg" if self.kind == "turns" else "mm"


@dataclass(frozen=True, slots=True)
class Rocker:
    """The body that turns on the chassis, its pivot line (first to second point) and its rod (outer, inner)."""

    body: str
    axis: tuple[str, str]
    rod: tuple[str, str]


@dataclass(frozen=True, slots=True)
class BarRole:
    """An anti-roll bar: its arm, the line that the arm turns about, and its link (point driven, point of the arm).

    `form` is "u" for two arms on one torsion bar, each turned by its own side; "t" for one T on a hinge across the
    car, whose stem twists as its two ends move apart.
    """

    form: str
    body: str
    axis: tuple[str, str]
    link: tuple[str, str]


@dataclass(frozen=True, slots=True)
class Part:
    """Bodies and roles that are there on a condition.

    `key` is the car file's key whose presence calls for the part and whose value, one of `choices`, names
    the body that takes the points of `attach`. A part without a key is there when the table has all of `points`.
    `not_with` is a key of another part that cannot be there at the same time.
    """

    name: str
    bodies: Bodies
    key: str | None = None
    choices: tuple[str, ...] = ()
    attach: tuple[str, ...] = ()
    needs: str | None = None
    not_with: str | None = None
    points: tuple[str, ...] = ()
    rocker: Rocker | None = None
    spring: tuple[str, str] | None = None
    bar: BarRole | None = None
    across_points: tuple[str, ...] = ()
    across_bodies: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Layout:
    """A layout as its file gives it, before it is known which points and keys the car file has.

    `about` says what it is, `notes` in words where a point is on the car, `demo` where it is on an invented one (mm,
    left side).
    """

    name: str
    source: str
    bodies: Bodies
    wheel_body: str
    rack: tuple[str, ...] = ()
    steering_axis: tuple[str, str] | None = None
    sliders: tuple[Slider, ...] = ()
    guides: tuple[Guide, ...] = ()
    drives: tuple[Drive, ...] = ()
    parts: tuple[Part, ...] = ()
    across_points: tuple[str, ...] = ()
    across_bodies: tuple[str, ...] = ()
    about: str = ""
    notes: Mapping[str, str] = field(default_factory=dict)
    demo: Mapping[str, tuple[float, float, float]] = field(default_factory=dict)

    @property
    def across(self) -> Across:
        """What stands once, all parts taken as present."""
        every: tuple[Layout | Part, ...] = (self, *self.parts)
        return Across(
            frozenset(n for e in every for n in e.across_points),
            frozenset(n for e in every for n in e.across_bodies),
            frozenset(self._named()),
        )

    def keys(self) -> dict[str, tuple[str, ...]]:
        """Car-file keys that this layout knows, with the values each may have."""
        return {p.key: p.choices for p in self.parts if p.key}

    def known_points(self) -> tuple[str, ...]:
        """Every point name that this layout can use in a table, where sides have no name."""
        return tuple(dict.fromkeys(map(self.across.bare, self._named())))

    def _named(self) -> tuple[str, ...]:
        names = [n for b in self.bodies.values() for n in b] + [WHEEL_CENTRE, WHEEL_AXIS, *self.rack]
        for part in self.parts:
            names += [n for b in part.bodies.values() for n in b] + [*part.attach, *part.points]
            names += part.spring or ()
        return tuple(dict.fromkeys(names))


@dataclass(frozen=True, slots=True)
class Across:
    """Points and bodies that stand once; `known` are all point names of the layout, without a side."""

    points: frozenset[str]
    bodies: frozenset[str]
    known: frozenset[str]

    @property
    def there(self) -> bool:
        """Whether anything stands once."""
        return bool(self.points or self.bodies)

    def side_of(self, name: str) -> Side | None:
        """The side that a name has in it, where it is one side's of a point that stands on both."""
        for side in SIDES:
            bare = name.removeprefix(f"{side}_")
            if self.there and bare != name and name not in self.points and bare in self.known - self.points:
                return side
        return None

    def bare(self, name: str) -> str:
        """The name as the table has it."""
        side = self.side_of(name)
        return name.removeprefix(f"{side}_") if side else name

    def once(self, name: str) -> bool:
        """Whether a name means one place of the car: it stands once, or has a side."""
        return name in self.points or self.side_of(name) is not None

    def on(self, name: str, side: Side) -> str:
        """A name on a body, or in an entry, of one side."""
        return name if self.once(name) else f"{side}_{name}"

    def both(self, name: str) -> tuple[str, ...]:
        """All places that a name means on a body that stands once."""
        return (name,) if self.once(name) else (f"left_{name}", f"right_{name}")

    def body(self, name: str, side: Side) -> str:
        """A body of one side, or the one that stands once."""
        return name if name in self.bodies else f"{side} {name}"

    def every(self, names: Iterable[str]) -> tuple[str, ...]:
        """All places that some names mean, each once."""
        return tuple(dict.fromkeys(p for name in names for p in self.both(name)))


NOTHING_ACROSS = Across(frozenset(), frozenset(), frozenset())


@dataclass(frozen=True, slots=True)
class Linkage:
    """Points and bodies of one corner: a layout once its points are known. Holds no coordinates.

    Attributes
    ----------
    points : tuple of str
        Order of the points in every coordinate array of this linkage.
    bodies : dict of str to tuple of str
        Moving bodies and their points.
    fixed : tuple of str
        Points of the chassis.
    rack : tuple of str
        Points that the rack moves.
    steering_axis : tuple of tuple of str, or None
        Points of the lower and of the upper ball joint; a joint stands in the mean of its points.
    across : Across
        What stands once in the car.
    system : Linkage or None
        Both sides as one linkage, where something stands once; the others are this side's view of it.
    rack_turned : tuple of str
        Points of the rack that go along its axis as seen from the other side of the car: those of a mirrored side.
    wheel_centres : tuple of str
        One, or the left one and the right one where both sides are one system.
    """

    layout: str
    points: tuple[str, ...]
    bodies: Bodies
    fixed: tuple[str, ...]
    rack: tuple[str, ...]
    wheel_body: str
    steering_axis: tuple[tuple[str, ...], tuple[str, ...]] | None = None
    sliders: tuple[Slider, ...] = ()
    guides: tuple[Guide, ...] = ()
    drives: tuple[Drive, ...] = ()
    rocker: Rocker | None = None
    spring: tuple[str, str] | None = None
    bar: BarRole | None = None
    parts: tuple[str, ...] = ()
    across: Across = NOTHING_ACROSS
    system: Linkage | None = None
    rack_turned: tuple[str, ...] = ()
    wheel_centres: tuple[str, ...] = (WHEEL_CENTRE,)

    @property
    def both_sides(self) -> bool:
        """Whether this is the linkage of both sides of an axle, with two wheels."""
        return len(self.wheel_centres) > 1

    @property
    def wheel_bodies(self) -> tuple[str, ...]:
        """The bodies that carry wheels."""
        return tuple(b for b, points in self.bodies.items() if set(points) & set(self.wheel_centres))

    @property
    def driven(self) -> dict[str, str]:
        """Drives beside travel and rack by name, with their units."""
        return {d.name: d.unit for d in self.drives}

    @property
    def steers(self) -> str:
        """The drive that steers: the rack, else the only drive; empty where there is none, or where there are more."""
        names = tuple(self.driven)
        return "rack" if self.rack else (names[0] if len(names) == 1 else "")

    @property
    def links(self) -> tuple[str, ...]:
        """Bodies of two points that nothing turns."""
        turned = {d.body for d in self.drives}
        return tuple(b for b, points in self.bodies.items() if len(points) == 2 and b not in turned)

    def bodies_at(self, point: str) -> tuple[str, ...]:
        """Bodies that meet at a point, the chassis (with its rack) last."""
        moving = tuple(b for b, points in self.bodies.items() if point in points)
        return (*moving, CHASSIS) if point in self.fixed or point in self.rack else moving

    def hinge_at(self, point: str) -> tuple[str, str] | None:
        """Line of a hinge on the chassis that has its pickup at a point; at the rod's ends that of the body there."""
        at_rod = self.rocker is not None and point in self.rocker.rod
        for body in self.bodies.values():
            fixed = [p for p in body if p in self.fixed]
            if point in body and len(body) > 2 and len(fixed) == 2 and (at_rod or point in fixed):
                return fixed[0], fixed[1]
        return None

    def index(self, name: str) -> int:
        """Row of a point in a coordinate array of shape (n, 3)."""
        return self.points.index(name)
