"""Errors that points have in common: the tables ``[[front.shared_error]]`` of a car file."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from kin3d.linkage.car import SharedError
from kin3d.reading.finding_log import FindingLog
from kin3d.reading.model import SharedErrorKeys
from kin3d.reading.names import did_you_mean, normalise


def shared_errors(
    axle: str, given: Sequence[SharedErrorKeys] | None, known: Iterable[str], log: FindingLog
) -> tuple[SharedError, ...]:
    """Return the shared errors of an axle; points that its table does not have are findings."""
    points = tuple(known)
    out = []
    for number, keys in enumerate(given or (), 1):
        where = f"[{axle}.shared_error], element {number}"
        names = tuple(dict.fromkeys(normalise(p) for p in keys.points or ()))
        if keys.points is not None and not names:
            text = "points is an empty list; name points, or leave the key out for all points of the table"
            log.error("points-empty", text, where)
        for name in names:
            if points and name not in points:
                text = f'points names "{name}", which the point table does not have; {did_you_mean(name, points)}'
                log.error("point-unknown", text, where)
        if not any(keys.sigma_mm):
            log.error("sigma-zero", "sigma_mm is 0 along all three axes; give a deviation over 0", where)
        x, y, z = keys.sigma_mm
        out.append(SharedError(keys.name or f"shared error {number}", names, (x, y, z)))
    return tuple(out)
