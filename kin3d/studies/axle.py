"""Sweep both wheels of an axle over heave, roll and rack: contact points on one plane, measures of wheel and axle."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError, Severity
from kin3d.linkage.car import Car
from kin3d.linkage.names import AxleName
from kin3d.measures.corner_pair import CornerPair
from kin3d.measures.entry import Measure, available, values
from kin3d.measures.roll_centre import PARALLEL_DEG
from kin3d.solve.kernel import Solved
from kin3d.solve.lanes import Lanes
from kin3d.solve.model import AxleModel
from kin3d.solve.status import Status
from kin3d.studies.ground_contact import Stance, Standing, need_radius, put_on_ground
from kin3d.studies.registry import axle_measures, pick
from kin3d.studies.result import SweepResult

Array = NDArray[np.float64]
Given = Sequence[float] | Array | float
BATCH = 4096  # positions whose derivatives and measures are held at once
_MOST_ROLL_DEG = 45.0


def sweep_axle(
    car: Car,
    axle: AxleName,
    heave_mm: Given = 0.0,
    roll_deg: Given = 0.0,
    rack_mm: Given = 0.0,
    measures: Sequence[str] | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> SweepResult:
    """Solve every combination of heave, roll and rack and compute the measures of both wheels and of the axle.

    Parameters
    ----------
    car : Car
    axle : {"front", "rear"}
    heave_mm : float or array-like, mm
        Mean travel of the two wheels; bump positive.
    roll_deg : float or array-like, deg
        Of the body over the ground; left side up positive.
    rack_mm : float or array-like, mm
        To the left positive.
    measures : sequence of str, optional
        Names (`kin3d.studies.registry.axle_measures`); default all.
    progress : callable, optional
        Called with positions done and in all.

    Returns
    -------
    SweepResult
        Drives heave_mm, roll_deg, rack_mm. Figures of the whole axle stand in the rows of both wheels.

    Raises
    ------
    RequestError
        An unknown axle or measure, an empty or non-finite drive, no loaded radius.
    """
    drives = {
        "heave_mm": drive_values("heave", heave_mm, "mm"),
        "roll_deg": roll_values("roll", roll_deg),
        "rack_mm": drive_values("rack", rack_mm, "mm"),
    }
    wanted = pick(axle_measures(axle), axle, measures)
    model = AxleModel.of(car, axle)
    need_radius([model])
    grid = [g.ravel() for g in np.meshgrid(*drives.values(), indexing="ij")]
    stance = Stance(grid[0], np.radians(grid[1]), grid[2], np.zeros_like(grid[0]))
    return axle_result(car, model, drives, stance, put_on_ground([model], stance), 0, wanted, progress)


def axle_result(
    car: Car,
    model: AxleModel,
    drives: dict[str, Array],
    stance: Stance,
    standing: Standing,
    number: int,
    wanted: Sequence[Measure],
    progress: Callable[[int, int], None] | None = None,
) -> SweepResult:
    """The measures of one axle, `number` among those that were stood on the ground, as a result."""
    lanes, solved = standing.axles[number]
    there, left_out, found = _measure(model, stance, (lanes, solved), wanted, progress)
    shape = (2, *(len(v) for v in drives.values()))
    ok = standing.status == Status.OK
    both = np.tile(ok, 2)
    for v in found.values():
        v[~both] = np.nan
    return SweepResult(
        title=car.title,
        axle=model.axle.name,
        drives=drives,
        values={n: np.moveaxis(v.reshape(shape), 0, -1) for n, v in found.items()},
        status=np.moveaxis(np.tile(standing.status, 2).reshape(shape), 0, -1),
        measures=there,
        left_out=left_out,
        findings=(*standing.findings, *_without_value(found, both), *_runs_away(found, ok)),
        stepped=solved.stepped,
        closure_mm=float(solved.error_mm[both].max()) if ok.any() else float("nan"),
    )


def drive_values(name: str, given: Given, unit: str) -> Array:
    """Values of a drive as an array; refuses an empty or non-finite one."""
    array = np.atleast_1d(np.asarray(given, dtype=float))
    if array.ndim != 1 or not array.size or not np.isfinite(array).all():
        text = f"{name}: expected one or more finite numbers in {unit}, found {given!r}"
        raise RequestError(Finding("drive-empty", text))
    return array


def roll_values(name: str, given: Given) -> Array:
    """Values of roll or pitch in degrees; refuses angles at which no car stands."""
    array = drive_values(name, given, "deg")
    if np.abs(array).max() >= _MOST_ROLL_DEG:
        worst = array[np.argmax(np.abs(array))]
        text = f"{name}: {worst:g} deg is found; angles of the body between -45 and 45 deg are expected"
        raise RequestError(Finding("drive-range", text))
    return array




def _measure(
    model: AxleModel,
    stance: Stance,
    stood: tuple[Lanes, Solved],
    wanted: Sequence[Measure],
    progress: Callable[[int, int], None] | None,
) -> tuple[tuple[Measure, ...], dict[str, str], dict[str, Array]]:
    """Values of all measures that there is data for, each (2n,), batch by batch."""
    straight = _straight(model, stance, stood[0], wanted)
    found: dict[str, list[Array]] = {}
    there: tuple[Measure, ...] = ()
    left_out: dict[str, str] = {}
    for first in range(0, stance.count, BATCH):
        part = slice(first, min(first + BATCH, stance.count))
        size = part.stop - part.start
        which = np.concatenate([np.arange(part.start, part.stop) + k * stance.count for k in (0, 1)])
        lanes, solved = stood[0].take(which), stood[1].take(which)
        ahead = None if straight is None else straight[:, part]
        here = stance.take(part)
        corner = CornerPair.on_ground(model, lanes, solved, here.roll_rad, here.pitch_rad, ahead)
        there, left_out = available(corner, wanted)
        for name, v in values(corner, there, (2 * size,)).items():
            found.setdefault(name, []).append(v.reshape(2, size))
        if progress:
            progress(part.stop, stance.count)
    return there, left_out, {n: np.concatenate(v, axis=1).reshape(-1) for n, v in found.items()}


def _straight(model: AxleModel, stance: Stance, lanes: Lanes, wanted: Sequence[Measure]) -> Array | None:
    """Steers with the rack in the middle at the same travels, where a measure asks for them."""
    if not lanes.rack.any() or not any(m.name == "ackermann_pct" for m in wanted):
        return None
    middle = Lanes(lanes.variant, lanes.travel, np.zeros(lanes.count))
    solved = model.kernel.solve(model.variants, middle)
    corner = CornerPair.on_ground(model, middle, solved, stance.roll_rad, stance.pitch_rad)
    return corner.pair(corner.steer)


def _without_value(found: dict[str, Array], ok: NDArray[np.bool_]) -> list[Finding]:
    out = []
    for name, v in found.items():
        count = int((~np.isfinite(v) & ok).sum())
        if count and name not in ("ackermann_pct", "turning_radius_mm"):
            text = f"{name} has no finite value in {count} solved row(s): its axis or centre is at infinity there"
            out.append(Finding("no-value", text, severity=Severity.NOTE))
    straight = [n for n in ("ackermann_pct", "turning_radius_mm") if n in found]
    if straight and (~np.isfinite(found[straight[0]]) & ok).any():
        text = f"{' and '.join(straight)}: no value where the wheels are not steered (mean steer under 0.1 deg)"
        out.append(Finding("not-steered", text, severity=Severity.NOTE))
    return out


def _runs_away(found: dict[str, Array], ok: NDArray[np.bool_]) -> list[Finding]:
    """Says where the roll centre is the crossing of two nearly parallel lines."""
    angle = found.get("roll_centre_lines_deg")
    if angle is None:
        return []
    flat = int(((angle[: len(ok)] < PARALLEL_DEG) & ok).sum())
    if not flat:
        return []
    text = (
        f"in {flat} position(s) the two lines of the roll centre cross at less than {PARALLEL_DEG:g} deg: the crossing "
        "runs away there; roll_centre_height_force_mm, from the jacking forces, stays finite"
    )
    return [Finding("roll-centre-far", text, severity=Severity.NOTE)]
