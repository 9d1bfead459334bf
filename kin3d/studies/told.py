"""A difference between two cars as a sentence: what changed, by how much, how sure, and what made it.

Nothing is claimed that the verdict does not bear out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from kin3d.studies.attribution import ANGLES, ATTITUDE, FIGURES, Attribution, Cause
from kin3d.studies.compared import CarPair
from kin3d.studies.significance import EXACT, HIDDEN, SAID, UNSAID, Difference
from kin3d.studies.uncertainty import half_width
from kin3d.writing.numbers import fixed, number, percent, signed

# what a measure is called in a sentence, and what it does when its figure is larger or smaller
CHANGES = {
    "roll_centre_height_mm": ("the roll centre", "rose", "sank"),
    "anti_dive_pct": ("anti-dive", "grew", "shrank"),
    "anti_lift_pct": ("anti-lift", "grew", "shrank"),
    "anti_squat_pct": ("anti-squat", "grew", "shrank"),
    "caster_deg": ("caster", "grew", "shrank"),
    "caster_trail_mm": ("the caster trail", "grew", "shrank"),
    "motion_ratio": ("the motion ratio", "grew", "shrank"),
    "wheel_rate_n_per_mm": ("the wheel rate", "grew", "shrank"),
}
GROUP_WORDS = {
    "inboard upper": ("the upper arm's inboard pivots", "the upper links' inboard joints"),
    "inboard lower": ("the lower arm's inboard pivots", "the lower links' inboard joints"),
    "steering": ("the tie link's inner end",) * 2,
    "outboard": ("the joints on the upright",) * 2,
    "wheel": ("the wheel",) * 2,
    "rod": ("the rod's ends",) * 2,
    "rocker": ("rocker and spring",) * 2,
    "bar": ("the anti-roll bar",) * 2,
    "other": ("other points",) * 2,
    ANGLES: ("static camber and toe",) * 2,
    ATTITUDE: ("heave, roll and pitch of the settled cars",) * 2,
    FIGURES: ("figures of the car file",) * 2,
}
_WAYS = {"x": ("forward", "rearward"), "y": ("outward", "inward"), "z": ("up", "down")}
STILL_MM = 0.05  # a movement that is not put into words
WITH = 0.25  # part of the greatest part in a group's movement under which a point is not named
WORTH = 0.15  # part of the difference under which a cause is not named


@dataclass(frozen=True, slots=True)
class GroupMove:
    """What one group of points did to a measure.

    Attributes
    ----------
    group : str
    part : float
        Its part of the difference, in the measure's unit.
    who, did : str
        ``the lower arm's inboard pivots``, ``went up``; `did` is empty where there is no way to name.
    moved_mm : float
        How far along that way, the mean of the points named; NaN where they went apart.
    points : tuple of str
        Those that are named.
    """

    group: str
    part: float
    who: str
    did: str
    moved_mm: float
    points: tuple[str, ...]

    @property
    def clause(self) -> str:
        """``the lower arm's inboard pivots went up``."""
        return f"{self.who} {self.did}" if self.did else f"{self.who} differ"


def moves_of(pair: CarPair, measure: str) -> list[GroupMove]:
    """What made the difference of a measure in the design position, the greatest part first.

    Empty where it cannot be split.
    """
    found = pair.attribution
    names = [m.name for m in found.measures]
    if measure not in names or not found.adds_up()[names.index(measure)]:
        return []
    k = names.index(measure)
    arms = any(len(p) > 2 for b, p in pair.a.corner.model.linkage.bodies.items() if "arm" in b.split())
    sums = {g: float(v[k]) for g, v in found.grouped(found.start_parts).items()}
    order = sorted(sums, key=lambda g: -abs(sums[g]))
    return [_move(pair, found, k, g, sums[g], arms) for g in order if abs(sums[g]) > 0.0]


def worth_telling(moves: list[GroupMove], difference: float, most: int = 3) -> list[GroupMove]:
    """Those that matter to a difference."""
    size = max(abs(difference), max((abs(m.part) for m in moves), default=0.0))
    return [m for m in moves if abs(m.part) >= WORTH * size][:most]


def _move(pair: CarPair, found: Attribution, k: int, group: str, part: float, arms: bool) -> GroupMove:
    rows = [(c, float(found.start_parts[k, n])) for n, c in enumerate(found.causes) if c.group == group]
    who = GROUP_WORDS[group][0 if arms else 1]
    sums: dict[str, float] = {}
    for cause, own in rows:
        sums[cause.axis] = sums.get(cause.axis, 0.0) + own
    axis = max(sums, key=lambda a: sums[a] * math.copysign(1.0, part))
    if axis not in _WAYS:
        return GroupMove(group, part, who, "", math.nan, ())
    along = [(c, own) for c, own in rows if c.axis == axis and abs(c.change_mm) >= STILL_MM]
    greatest = max((own * math.copysign(1.0, part) for _, own in along), default=0.0)
    named = [c for c, own in along if own * math.copysign(1.0, part) >= WITH * greatest > 0.0]
    if not named:
        return GroupMove(group, part, who, "", math.nan, ())
    outward = pair.a.corner.sign if axis == "y" else 1.0
    changes = [c.change_mm * outward for c in named]
    points = tuple(c.name for c in named)
    if len(named) < _members(pair, group) and group != "wheel":
        who = _joined([_point_words(pair, c, arms) for c in named])
    if max(changes) * min(changes) < 0.0:
        did = " and ".join(_apart(pair, c, axis, v) for c, v in zip(named, changes, strict=True))
        return GroupMove(group, part, GROUP_WORDS[group][0 if arms else 1], f"went apart ({did})", math.nan, points)
    mean = float(np.mean(changes))
    return GroupMove(group, part, who, f"went {_WAYS[axis][0 if mean > 0.0 else 1]}", abs(mean), points)


def _apart(pair: CarPair, cause: Cause, axis: str, change: float) -> str:
    words = _end(pair, cause) or cause.name.replace("_", " ")
    return f"{words} {_WAYS[axis][0 if change > 0.0 else 1]}"


def _members(pair: CarPair, group: str) -> int:
    return sum(m.group == group for m in pair.moves)


def _joined(words: list[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else words[0]


def _end(pair: CarPair, cause: Cause) -> str:
    """``front`` or ``rear`` of a pivot, by the points of its group."""
    at = {m.point: m.a[0] for m in pair.moves if m.group == cause.group}
    if len(at) != 2 or cause.name not in at or len(set(at.values())) < 2:
        return ""
    return "front" if at[cause.name] == max(at.values()) else "rear"


def _point_words(pair: CarPair, cause: Cause, arms: bool) -> str:
    if cause.group in ("inboard upper", "inboard lower") and arms and (end := _end(pair, cause)):
        return f"the {cause.group.split()[1]} arm's {end} inboard pivot"
    linkage = pair.a.corner.model.linkage
    links = [b for b, points in linkage.bodies.items() if cause.name in points and len(points) == 2]
    if links and cause.name in linkage.fixed:
        return f"the {links[0]}'s inboard joint"
    outer = {"lower_outer": "the lower outer joint", "upper_outer": "the upper outer joint"}
    return outer.get(cause.name, f"the {cause.name.replace('_', ' ')}")


# --- sentences ------------------------------------------------------------------------------------------------------


def finding(x: Difference, pair: CarPair) -> str:
    """One sentence on a figure in the design position; it names a cause where a difference may be told."""
    name, more, less = CHANGES.get(x.measure.name, (x.measure.label.lower(), "", ""))
    verb = (more if x.difference > 0.0 else less) or "changed by"
    amount = _amount(x, with_sign=not more)
    if x.verdict == SAID:
        return _capital(f"{name} {verb} {amount} ({percent(x.threshold)}){_because(x, pair)}")
    if x.verdict == UNSAID:
        asked = f"whether {name} {more or 'grew'} or {less or 'shrank'} cannot be said"
        return _capital(f"{asked}: {_amount(x, with_sign=True)} ({percent(x.threshold)})")
    if x.same or x.verdict == HIDDEN:
        return _capital(f"{name} is the same in both cars: {_value(x)}{unit_words(x, False)}")
    if x.verdict == EXACT:
        return _capital(f"{name} {verb} {amount}, set by figures that are taken as exact{_because(x, pair)}")
    if not math.isfinite(x.difference):
        return _capital(f"{name} has no value that could be compared")
    told = f"{name} {verb} {amount} from the points as given{_because(x, pair)}"
    return _capital(f"{told}. How sure that is cannot be told: no deviations are given")


def _value(x: Difference) -> str:
    """The first car's figure in as many places as its own doubt leaves meaning to."""
    half = half_width(x.threshold) * x.sigma_a
    return fixed(x.a, places_of(half)) if math.isfinite(half) and half > 0.0 else number(x.a, x.measure.unit)


def _because(x: Difference, pair: CarPair) -> str:
    """The greatest cause that works in the direction of the difference."""
    sign = math.copysign(1.0, x.difference)
    moves = [m for m in moves_of(pair, x.measure.name) if m.part * sign > 0.0]
    return f": {moves[0].clause}" if moves and abs(moves[0].part) >= WORTH * abs(x.difference) else ""


def _amount(x: Difference, with_sign: bool) -> str:
    """``13 ± 9 mm``, as many places as the doubt leaves meaning to."""
    return with_doubt(x.difference if with_sign else abs(x.difference), x, with_sign) + unit_words(x, True)


def unit_words(x: Difference, difference: bool) -> str:
    """The unit after a figure; a difference of percentages is told in points."""
    if x.measure.unit == "1":
        return ""
    if x.measure.unit == "%":
        return " percentage points" if difference else " %"
    return "°" if x.measure.unit == "deg" else f" {x.measure.unit}"


def with_doubt(value: float, x: Difference, with_sign: bool = False) -> str:
    """A difference and the half width of its band, both to the figure that the band leaves meaning to."""
    if x.exact or not math.isfinite(x.half_width):
        return (signed if with_sign else number)(value, x.measure.unit)
    places = places_of(x.half_width)
    if math.isfinite(value) and fixed(abs(value), places) == fixed(x.half_width, places):
        places += 1
    text = fixed(value, places)
    plus = "+" if with_sign and value > 0.0 and any(c in "123456789" for c in text) else ""
    return f"{plus}{text} ± {fixed(x.half_width, places)}"


def places_of(half_width: float) -> int:
    """Decimal places by a half width: one digit of it, two where it begins with 1 or 2 (common practice, no source)."""
    if not 0.0 < half_width < math.inf:
        return 2
    size = math.floor(math.log10(half_width))
    leading = half_width / 10.0**size
    return max(0, -size + (1 if leading < 2.95 else 0))


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
